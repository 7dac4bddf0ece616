package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"groundwork/internal/folder"
	"groundwork/internal/shop"
	"groundwork/internal/store"
	"groundwork/internal/unit"
)

type measureCommand struct {
	Form string `arg:"" help:"The form with what you measured on the coupons: coupons.yaml of a job folder, filled in." type:"path"`
	Shop string `help:"The shop file to write it into." required:"" type:"path" placeholder:"FILE"`
	Dry  bool   `help:"Only tell what would change."`
}

func (measureCommand) Help() string {
	return "What is blank in the form changes nothing. Only the values that differ are rewritten; your comments and everything else in the shop file stay. What cannot be true is refused with its line. The version before is kept: the page's undo brings it back."
}

func (c *measureCommand) Run(out *output) error {
	data, err := os.ReadFile(c.Form)
	if err != nil {
		return err
	}
	m, err := shop.ParseMeasured(c.Form, data)
	if err != nil {
		return err
	}
	return editShop(out, c.Shop, c.Dry, "Measured: "+filepath.Base(c.Form), func(text []byte) ([]byte, []shop.Change, error) {
		return shop.Apply(text, m)
	})
}

// editShop changes values of a shop file as one step of its folder's history,
// and tells each with its reason.
func editShop(out *output, file string, dry bool, what string, edit func(text []byte) ([]byte, []shop.Change, error)) error {
	f, err := folder.Open(filepath.Dir(file), time.Now)
	if err != nil {
		return err
	}
	defer f.Close()
	was, err := f.Read(filepath.Base(file))
	if err != nil {
		return err
	}
	text, changes, err := edit(was.Data)
	if err != nil {
		return err
	}
	if len(changes) == 0 {
		fmt.Fprintf(out.Out, "%s says all of it already; nothing is changed.\n", file)
		return nil
	}
	for _, x := range changes {
		from := x.From
		if from == "" {
			from = "not given"
		}
		fmt.Fprintf(out.Out, "%s\n", x.Key)
		fmt.Fprintf(out.Out, "    %s, before: %s\n", x.To, from)
		fmt.Fprintf(out.Out, "    because %s\n", x.Why)
	}
	if dry {
		fmt.Fprintf(out.Out, "\nThis would change %s. It is as it was.\n", file)
		return nil
	}
	if _, err := f.Write(was.Name, text, was.Version, folder.Why{What: what}); err != nil {
		return err
	}
	fmt.Fprintf(out.Out, "\nWritten to %s. The version before is kept in the folder's history.\n", file)
	return nil
}

type calibrateCommand struct {
	Shop  string `help:"The shop file, to tell what would change in it." type:"path" placeholder:"FILE"`
	Write bool   `help:"Write it into the shop file: from then on plans go by it."`
	Since string `help:"Go only by loads that were logged on this day or later, as 2026-10-01: since the settings of the machine were changed, say." placeholder:"DAY"`
	jsonFlag
	storeFlag
}

func (calibrateCommand) Help() string {
	return "Every load that you log with groundwork stock print is held against what was worked out of its layers. From three loads of a printer and filament on, this tells by how much they differ, and how far a single load may lie beside it. From five on it also sees time that every load takes, however small. A load that goes with none of the others is shown; it counts until you set it aside with groundwork stock set-aside."
}

// calibrationDoc is a calibration for other programs: seconds and grams.
type calibrationDoc struct {
	Printer  string  `json:"printer"`
	Filament string  `json:"filament"`
	Loads    int     `json:"loads"`
	Time     *fitDoc `json:"time"` // null under three loads
	Grams    *fitDoc `json:"grams"`
}

type fitDoc struct {
	Times  float64 `json:"times"`
	Low    float64 `json:"times_low"` // 95 % confidence
	High   float64 `json:"times_high"`
	Plus   float64 `json:"plus"`
	Spread float64 `json:"spread"` // share within which 95 of 100 loads lie
	From   float64 `json:"from"`
	To     float64 `json:"to"`
	Odd    []int64 `json:"odd_runs"`
}

func docOfFit(f store.Fit) *fitDoc {
	c := f.Correction()
	if !c.Known() {
		return nil
	}
	return &fitDoc{c.Times, f.Low, f.High, c.Plus, c.Spread, c.From, c.To, append([]int64{}, f.Outliers...)}
}

func (c *calibrateCommand) Run(ctx context.Context, out *output) error {
	if c.Write && c.Shop == "" {
		return fmt.Errorf("--write wants to know where: add --shop FILE")
	}
	var since time.Time
	if c.Since != "" {
		var err error
		if since, err = time.ParseInLocation("2006-01-02", c.Since, time.Local); err != nil {
			return fmt.Errorf("--since %q: write the day as 2026-10-01", c.Since)
		}
	}
	return c.with(ctx, func(s *store.Store) error {
		runs, err := s.Runs(ctx)
		if err != nil {
			return err
		}
		runs = slices.DeleteFunc(runs, func(r store.Run) bool { return r.At.Before(since) })
		all := store.Calibrate(runs)
		if c.JSON {
			docs := []calibrationDoc{}
			for _, k := range all {
				docs = append(docs, calibrationDoc{k.Printer, k.Filament, k.Time.N, docOfFit(k.Time), docOfFit(k.Grams)})
			}
			if err := writeJSON(out, docs); err != nil || !c.Write {
				return err
			}
			return c.edit(&output{out.Err, out.Err}, all)
		}
		if len(all) == 0 && c.Since != "" {
			fmt.Fprintf(out.Out, "No load was logged since %s.\n", c.Since)
			return nil
		}
		showCalibrations(out, all, runs)
		if c.Shop == "" {
			return nil
		}
		fmt.Fprintln(out.Out)
		return c.edit(out, all)
	})
}

// edit writes what the log claims into the shop file, or tells what it would.
func (c *calibrateCommand) edit(out *output, all []store.Calibration) error {
	return editShop(out, c.Shop, !c.Write, "Calibrated by the log of print loads", func(text []byte) ([]byte, []shop.Change, error) {
		s, err := shop.Parse(c.Shop, text)
		if err != nil {
			return nil, nil, err
		}
		var changes []shop.Change
		for _, k := range all {
			l := shop.Logged{Filament: k.Filament, Time: k.Time.Correction(), Grams: k.Grams.Correction()}
			if !l.Time.Known() && !l.Grams.Known() {
				continue
			}
			_, filament := s.Filament(k.Filament)
			if !filament || !slices.ContainsFunc(s.Printers, func(p shop.Printer) bool { return p.ID == k.Printer }) {
				fmt.Fprintf(out.Out, "%s with %s is not in the shop file, and is left out.\n", k.Printer, k.Filament)
				continue
			}
			next, some, err := shop.ApplyLog(text, k.Printer, l, fmt.Sprintf("%d logged loads say so", k.Time.N))
			if err != nil {
				return nil, nil, err
			}
			text, changes = next, append(changes, some...)
		}
		for _, p := range s.Printers {
			for _, l := range p.Log {
				if !slices.ContainsFunc(all, func(k store.Calibration) bool {
					return k.Printer == p.ID && k.Filament == l.Filament && k.Time.Claimed
				}) {
					fmt.Fprintf(out.Out, "NOTE  %s goes by a log of %s with %s, of which this stock knows too little; it stays. Take it out of the file by hand if it is not true.\n", c.Shop, p.ID, l.Filament)
				}
			}
		}
		return text, changes, nil
	})
}

func showCalibrations(out *output, all []store.Calibration, runs []store.Run) {
	if len(all) == 0 {
		fmt.Fprintln(out.Out, "No load is logged yet. Log what one really took with:  groundwork stock print JOB LOAD --took TIME --grams AMOUNT")
		return
	}
	for i, k := range all {
		if i > 0 {
			fmt.Fprintln(out.Out)
		}
		fmt.Fprintf(out.Out, "%s with %s: %s logged\n", k.Printer, k.Filament, several(k.Time.N, "load"))
		if !k.Time.Claimed {
			fmt.Fprintln(out.Out, "  Too few to say anything: from three on.")
			continue
		}
		fmt.Fprintf(out.Out, "  Time      %s\n", fitText(k.Time, func(v float64) string { return unit.FormatDuration(v) }))
		fmt.Fprintf(out.Out, "  Filament  %s\n", fitText(k.Grams, unit.FormatMass))
		middle := (k.Time.MinX + k.Time.MaxX) / 2
		y, low, high, _ := k.Time.Predict(middle)
		fmt.Fprintf(out.Out, "  A load worked out at %s takes %s; 95 of 100 such loads take %s to %s.\n",
			unit.FormatDuration(middle), unit.FormatDuration(y), unit.FormatDuration(low), unit.FormatDuration(high))
		odd := slices.Concat(k.Time.Outliers, k.Grams.Outliers)
		slices.Sort(odd)
		for _, n := range slices.Compact(odd) {
			for _, r := range runs {
				if r.N == n {
					fmt.Fprintf(out.Out, "  Run %d goes with none of the others: %s of %s took %s and %s; worked out were %s and %s.\n    If something went wrong:  groundwork stock set-aside %d --why \"...\"\n",
						n, r.Load, r.Job, unit.FormatDuration(r.Seconds), unit.FormatMass(r.Grams), unit.FormatDuration(r.EstimatedSeconds), unit.FormatMass(r.EstimatedGrams), n)
				}
			}
		}
	}
}

// fitText says a fit in words.
func fitText(f store.Fit, format func(float64) string) string {
	c := f.Correction()
	var b strings.Builder
	fmt.Fprintf(&b, "%.2f times what is worked out", c.Times)
	switch {
	case c.Plus >= 0.5:
		fmt.Fprintf(&b, " and %s more for each load", format(c.Plus))
	case c.Plus <= -0.5:
		fmt.Fprintf(&b, " less %s for each load", format(-c.Plus))
	}
	fmt.Fprintf(&b, " (%d loads put that between %.2f and %.2f); 95 of 100 lie within %.0f %% of it", c.Runs, f.Low, f.High, math.Ceil(100*c.Spread))
	return b.String()
}
