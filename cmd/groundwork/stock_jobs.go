package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/geom"
	"groundwork/internal/job"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/store"
	"groundwork/internal/unit"
)

type stockPlan struct {
	Folder string `arg:"" help:"The job folder, as groundwork plan wrote it." type:"existingdir"`
	Job    string `help:"What the job is to be called; as its folder if you say nothing." placeholder:"NAME"`
	NoHold bool   `name:"no-reserve" help:"Only enter it; reserve nothing yet."`
	Bare   bool   `name:"without-fixtures" help:"The fixtures are there already, from an earlier job say: count no filament for them."`
	whyFlag
	storeFlag
}

func (stockPlan) Help() string {
	return "The folder is read once: from then on the stock knows what the job takes, what its loads were worked out at and which offcuts it leaves. Enter it again after planning again. With groundwork plan --stock it is not needed."
}

func (c *stockPlan) Run(ctx context.Context, out *output) error {
	j, err := readJob(c.Folder, c.Bare)
	if err != nil {
		return err
	}
	if j.ID = c.Job; j.ID == "" {
		j.ID = nameOf(c.Folder)
	}
	return c.with(ctx, func(s *store.Store) error {
		if err := s.Plan(ctx, j, c.note()); err != nil {
			return err
		}
		if c.NoHold {
			fmt.Fprintf(out.Out, "%s is entered: %s, and %s that it will leave.\n", j.ID, several(len(j.Loads), "print load"), several(len(j.Left), "offcut"))
			return nil
		}
		return reserveJob(ctx, out, s, j, c.Why)
	})
}

// readJob is what the stock has to know of a job folder; bare leaves its fixtures
// out.
func readJob(folder string, bare bool) (store.Job, error) {
	name := filepath.Join(folder, "plan.json")
	data, err := os.ReadFile(name)
	if err != nil {
		return store.Job{}, fmt.Errorf("%s is no job folder: %w", folder, err)
	}
	j, err := parseJob(data, bare)
	if err != nil {
		return store.Job{}, fmt.Errorf("%s: %w", name, err)
	}
	return j, nil
}

// parseJob reads plan.json.
func parseJob(data []byte, bare bool) (store.Job, error) {
	var d job.Document
	// What a load was worked out at, before a log corrected it. A plan that does not
	// say so was made by a program that corrected nothing.
	type reckoned struct {
		Seconds float64 `json:"reckoned_s"`
		Grams   float64 `json:"reckoned_g"`
	}
	var raw struct {
		Plates       []reckoned `json:"plates"`
		FixtureLoads []reckoned `json:"fixture_loads"`
	}
	if err := errors.Join(json.Unmarshal(data, &d), json.Unmarshal(data, &raw)); err != nil {
		return store.Job{}, fmt.Errorf("it is no plan: %w", err)
	}
	if d.SchemaVersion != job.Version {
		return store.Job{}, fmt.Errorf("its layout is version %d, and this program knows %d: plan the piece again", d.SchemaVersion, job.Version)
	}
	loads := func(plates []job.PlateDoc, r []reckoned) *printing.Result {
		out := &printing.Result{}
		for i, p := range plates {
			l := printing.Load{ID: strings.TrimPrefix(p.ID, "fixtures "), Printer: p.Printer, Filament: p.Filament, Grams: p.MassG, Seconds: p.Seconds, Reckoned: printing.Reckoned{Seconds: p.Seconds, Grams: p.MassG}}
			if r[i].Seconds > 0 && r[i].Grams > 0 {
				l.Reckoned = printing.Reckoned(r[i])
			}
			out.Loads = append(out.Loads, l)
		}
		return out
	}
	point := func(v job.Vec) geom.Vec2 {
		if len(v) < 2 {
			return geom.Vec2{}
		}
		return geom.V2(v[0], v[1])
	}
	sheets := &sheet.Result{}
	for _, x := range d.Sheets {
		sh := sheet.Sheet{ID: x.ID, Veneer: x.Veneer, Size: geom.V2(x.WidthMM, x.LengthMM), Kept: x.Kept}
		for _, b := range x.Reserved {
			sh.Reserved = append(sh.Reserved, sheet.Reserved{At: point(b.Min), Size: point(b.Max).Sub(point(b.Min))})
		}
		for _, b := range x.Offcuts {
			sh.Offcuts = append(sh.Offcuts, geom.Box2{Min: point(b.Min), Max: point(b.Max)})
		}
		sheets.Sheets = append(sheets.Sheets, sh)
	}
	b := &bill.Bill{}
	for _, l := range d.Bill {
		b.Lines = append(b.Lines, bill.Line{Section: bill.Section(l.Section), Item: l.Item, Quantity: l.Quantity, Unit: l.Unit})
	}
	piece, fixtures := loads(d.Plates, raw.Plates), loads(d.FixtureLoads, raw.FixtureLoads)
	if bare {
		fixtures = nil
	}
	j := store.Job{Piece: d.Piece.Name, Loads: store.LoadsOf(piece, fixtures), Needs: store.Needs(b, piece, fixtures, sheets), Left: store.LeftOf(sheets)}
	if d.Kit != nil {
		j.Revision = d.Kit.Revision
	}
	return j, nil
}

// jobFlags name a job that something is done to.
type jobFlags struct {
	Job string `arg:"" help:"The job's name."`
	whyFlag
	storeFlag
}

// withJob does something with the job, which must be under way.
func (f jobFlags) withJob(ctx context.Context, do func(s *store.Store, j store.Job) error) error {
	return f.with(ctx, func(s *store.Store) error {
		j, err := theJob(ctx, s, f.Job)
		if err != nil {
			return err
		}
		if err := underWay(j); err != nil {
			return err
		}
		return do(s, j)
	})
}

type stockReserve struct{ jobFlags }

func (c *stockReserve) Run(ctx context.Context, out *output) error {
	return c.withJob(ctx, func(s *store.Store, j store.Job) error {
		return reserveJob(ctx, out, s, j, c.Why)
	})
}

// underWay is an error for a job that has ended.
func underWay(j store.Job) error {
	switch j.State {
	case "finished":
		return fmt.Errorf("%s is finished already, since %s", j.ID, local(j.Since))
	case "abandoned":
		return fmt.Errorf("%s was given up on %s; to make it after all, enter it under another name", j.ID, local(j.Since))
	}
	return nil
}

// theJob is a job by its name; its error names those that there are.
func theJob(ctx context.Context, s *store.Store, name string) (store.Job, error) {
	all, err := s.Jobs(ctx)
	if err != nil {
		return store.Job{}, err
	}
	var names []string
	for _, j := range all {
		if j.ID == name {
			return j, nil
		}
		if j.State == "planned" || j.State == "reserved" {
			names = append(names, j.ID)
		}
	}
	if len(names) == 0 {
		return store.Job{}, fmt.Errorf("there is no job %s, and no other is under way; enter one with groundwork stock plan FOLDER", name)
	}
	return store.Job{}, fmt.Errorf("there is no job %s; under way are: %s", name, strings.Join(names, ", "))
}

type stockRelease struct{ jobFlags }

func (c *stockRelease) Run(ctx context.Context, out *output) error {
	return c.withJob(ctx, func(s *store.Store, j store.Job) error {
		if j.State == "planned" {
			return fmt.Errorf("nothing is reserved for %s", j.ID)
		}
		if err := s.Release(ctx, c.Job, c.note()); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Nothing is reserved for %s any more. To reserve it again:  groundwork stock reserve %s\n", c.Job, c.Job)
		return nil
	})
}

type stockAbandon struct{ jobFlags }

func (c *stockAbandon) Run(ctx context.Context, out *output) error {
	return c.withJob(ctx, func(s *store.Store, j store.Job) error {
		if err := s.Abandon(ctx, c.Job, c.note()); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s is given up; nothing is reserved for it any more. What was printed for it stays in the log.\n", c.Job)
		return nil
	})
}

type stockPrint struct {
	Job     string `arg:"" help:"The job's name."`
	Load    string `arg:"" help:"The load, as load-01, or its number alone."`
	Took    string `help:"How long the printer was busy, from heating up to the last layer, as \"3 h 20 min\"." required:"" placeholder:"TIME"`
	Grams   string `help:"What it took from the spool, weighed before and after, as 212g. Waste belongs to it." required:"" placeholder:"AMOUNT"`
	Spool   string `help:"What is written on the spool. Without it the spool that is reserved for the job, if there is only one." placeholder:"NAME"`
	Printer string `help:"Which printer, if it was another than planned: its id in the shop file." placeholder:"PRINTER"`
	New     bool   `name:"new-printer" help:"It is a printer that no job here was planned on or printed on yet."`
	Failed  bool   `help:"It did not come out. Hours and filament are counted, but nothing is learnt from it."`
	whyFlag
	storeFlag
}

func (c *stockPrint) Run(ctx context.Context, out *output) error {
	took, q, err := unit.Parse(c.Took)
	if err != nil || q != unit.Time {
		return fmt.Errorf("--took %q: write how long with its unit, as \"3 h 20 min\"", c.Took)
	}
	grams, err := store.ParseAmount(c.Grams, "g")
	if err != nil {
		return fmt.Errorf("--grams: %w", err)
	}
	return c.with(ctx, func(s *store.Store) error {
		j, err := theJob(ctx, s, c.Job)
		if err != nil {
			return err
		}
		l, err := loadOf(j, c.Load)
		if err != nil {
			return err
		}
		a := store.Actual{Job: j.ID, Load: l.ID, Seconds: took, Grams: grams.Units(), Printer: c.Printer, Spool: c.Spool, Failed: c.Failed}
		if a.Spool == "" {
			a.Spool = onlySpool(j, l.Filament)
		}
		if err := c.printer(ctx, s); err != nil {
			return err
		}
		why := l.ID
		if c.Failed {
			why += " failed"
		}
		if c.Why != "" {
			why += ": " + c.Why
		}
		if err := s.Actual(ctx, a, store.Note{Reason: why}); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s of %s took %s; worked out were %s.\n", l.ID, j.ID, unit.FormatDuration(took), unit.FormatDuration(l.Seconds))
		fmt.Fprintf(out.Out, "It took %s of %s; worked out were %s.\n", unit.FormatMass(a.Grams), l.Filament, unit.FormatMass(l.Grams))
		if a.Spool == "" {
			fmt.Fprintf(out.Out, "It is taken from no spool: say which with --spool, or weigh the spool with groundwork stock count.\n")
			return nil
		}
		has, err := s.Stock(ctx, store.StockOptions{Empty: true})
		if err != nil {
			return err
		}
		it, _ := has.Of(store.Item{Kind: store.Filament, ID: l.Filament})
		for _, lot := range it.Lots {
			if lot.Lot == a.Spool {
				fmt.Fprintf(out.Out, "Spool %s has %s left.\n", lot.Lot, amount(lot.OnHand, "g"))
			}
		}
		return nil
	})
}

// printer sees to it that another printer than planned is known.
func (c *stockPrint) printer(ctx context.Context, s *store.Store) error {
	if c.Printer == "" {
		return nil
	}
	has, err := s.Stock(ctx, store.StockOptions{})
	if err != nil {
		return err
	}
	var known []string
	for _, p := range has.Printers {
		if p.ID == c.Printer {
			return nil
		}
		known = append(known, p.ID)
	}
	if c.New {
		return s.SetPrinter(ctx, c.Printer, "", false)
	}
	return fmt.Errorf("no job was planned or printed on a printer %s yet, but on: %s; if it is right, say --new-printer too", c.Printer, strings.Join(known, ", "))
}

// several is a number of things, in words: "1 offcut", "3 offcuts".
func several(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// loadOf is a load by its name or its number.
func loadOf(j store.Job, name string) (store.Load, error) {
	if n, err := strconv.Atoi(name); err == nil {
		name = fmt.Sprintf("load-%02d", n)
	}
	var names []string
	for _, l := range j.Loads {
		if l.ID == name {
			return l, nil
		}
		names = append(names, l.ID)
	}
	return store.Load{}, fmt.Errorf("%s has no load %s; it has: %s", j.ID, name, strings.Join(names, ", "))
}

// onlySpool is the spool of a filament that is reserved for a job or that it was
// printed from, if there is just one.
func onlySpool(j store.Job, filament string) string {
	var lots []string
	add := func(lot string) {
		if lot != "" && !slices.Contains(lots, lot) {
			lots = append(lots, lot)
		}
	}
	for _, t := range j.Holds {
		if t.Lot.Item == (store.Item{Kind: store.Filament, ID: filament}) {
			add(t.Lot.Lot)
		}
	}
	for _, r := range j.Runs {
		if r.Filament == filament {
			add(r.Spool)
		}
	}
	if len(lots) != 1 {
		return ""
	}
	return lots[0]
}

type stockSetAside struct {
	Number int64  `arg:"" name:"run" help:"Number of the run, as groundwork calibrate and groundwork stock jobs tell it."`
	Why    string `help:"Why it tells nothing of other loads, in your words, as \"the power went\"." required:"" placeholder:"TEXT"`
	storeFlag
}

func (c *stockSetAside) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		if err := s.SetAside(ctx, c.Number, store.Note{Reason: c.Why}); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "Run %d is set aside. Look what is left to say with:  groundwork calibrate\n", c.Number)
		return nil
	})
}

type stockFinish struct {
	NoOffcuts bool `help:"Nothing is left of its veneer that is worth keeping."`
	jobFlags
}

func (stockFinish) Help() string {
	return "What was reserved is taken out of the stock. Filament of loads that were logged has been taken already, as logged; of the others what was planned is taken. The offcuts that the plan leaves come back, each with a number. If one came out otherwise, say so with groundwork stock describe; if it is not there, with groundwork stock count offcut."
}

func (c *stockFinish) Run(ctx context.Context, out *output) error {
	return c.withJob(ctx, func(s *store.Store, j store.Job) error {
		if j.State == "planned" {
			return fmt.Errorf("nothing is reserved for %s, so there is nothing to take out: groundwork stock reserve %s comes first", j.ID, j.ID)
		}
		a := store.Actuals{Left: j.Left, Used: j.Unlogged()}
		if c.NoOffcuts {
			a.Left = nil
		}
		back, err := s.Finish(ctx, j.ID, a, c.note())
		if err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s is finished.\n", j.ID)
		if n := len(j.Loads) - loggedOf(j); n > 0 {
			fmt.Fprintf(out.Out, "%d of %s were not logged. You still can, with groundwork stock print: every load makes the next plan truer.\n", n, several(len(j.Loads), "print load"))
		}
		for _, u := range a.Used {
			if u.Amount > 0 {
				fmt.Fprintf(out.Out, "Of %s %s are taken as planned, for loads of which no spool was logged. It does no harm to weigh it.\n", itemName(u.Lot.Item, u.Lot.Lot), amount(u.Amount, "g"))
			}
		}
		if len(back) > 0 {
			fmt.Fprintln(out.Out, "Back in stock; write the number on each:")
			t := newTable(out)
			for i, r := range back {
				t.row(itemName(r.Item, r.Lot), sizeText(&a.Left[i].Piece))
			}
			return t.end()
		}
		return nil
	})
}

// loggedOf is how many of a job's loads have a run that came out.
func loggedOf(j store.Job) (n int) {
	for _, l := range j.Loads {
		if slices.ContainsFunc(j.Runs, func(r store.Run) bool { return r.Load == l.ID && !r.Failed }) {
			n++
		}
	}
	return n
}

type stockJobs struct {
	Job string `arg:"" optional:"" help:"A job's name, to be told all of it."`
	All bool   `help:"Those that have ended too."`
	jsonFlag
	storeFlag
}

// jobDoc is a job for other programs: seconds, and amounts in the item's unit.
type jobDoc struct {
	Job      string    `json:"job"`
	Piece    string    `json:"piece"`
	Revision string    `json:"revision"`
	State    string    `json:"state"`
	Since    string    `json:"since"` // RFC 3339
	Loads    []loadDoc `json:"loads"`
	Runs     []runDoc  `json:"runs"`
	Reserved []heldDoc `json:"reserved"`
}

type loadDoc struct {
	Load     string  `json:"load"`
	Printer  string  `json:"printer"`
	Filament string  `json:"filament"`
	Seconds  float64 `json:"worked_out_s"`
	Grams    float64 `json:"worked_out_g"`
}

type runDoc struct {
	Run     int64   `json:"run"`
	Job     string  `json:"job"`
	Load    string  `json:"load"`
	At      string  `json:"at"`
	Printer string  `json:"printer"`
	Seconds float64 `json:"seconds"`
	Grams   float64 `json:"grams"`
	Spool   string  `json:"spool"`
	Failed  bool    `json:"failed"`
	Aside   string  `json:"set_aside"` // why; empty if it was not
}

type heldDoc struct {
	Kind   string  `json:"kind"`
	Item   string  `json:"item"`
	Lot    string  `json:"lot"`
	Amount float64 `json:"amount"`
}

const rfc3339 = "2006-01-02T15:04:05Z07:00"

func docOfJob(j store.Job) jobDoc {
	d := jobDoc{j.ID, j.Piece, j.Revision, j.State, j.Since.Format(rfc3339), []loadDoc{}, []runDoc{}, []heldDoc{}}
	for _, l := range j.Loads {
		d.Loads = append(d.Loads, loadDoc{l.ID, l.Printer, l.Filament, l.Seconds, l.Grams})
	}
	for _, r := range j.Runs {
		d.Runs = append(d.Runs, runDoc{r.N, r.Job, r.Load, r.At.Format(rfc3339), r.Printer, r.Seconds, r.Grams, r.Spool, r.Failed, r.Aside})
	}
	for _, h := range j.Holds {
		d.Reserved = append(d.Reserved, heldDoc{string(h.Lot.Kind), h.Lot.ID, h.Lot.Lot, h.Amount.Units()})
	}
	return d
}

func (c *stockJobs) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		if c.Job != "" {
			j, err := theJob(ctx, s, c.Job)
			if err != nil {
				return err
			}
			if c.JSON {
				return writeJSON(out, docOfJob(j))
			}
			return showJob(ctx, out, s, j)
		}
		all, err := s.Jobs(ctx)
		if err != nil {
			return err
		}
		docs := []jobDoc{}
		t := newTable(out)
		for _, j := range all {
			if !c.All && j.State != "planned" && j.State != "reserved" {
				continue
			}
			docs = append(docs, docOfJob(j))
			t.row(j.ID, j.Piece, j.State, "since "+local(j.Since), fmt.Sprintf("%d of %d loads logged", loggedOf(j), len(j.Loads)))
		}
		if c.JSON {
			return writeJSON(out, docs)
		}
		if len(docs) == 0 {
			fmt.Fprintln(out.Out, "No job is under way. Enter one with groundwork stock plan FOLDER, or with groundwork plan --stock.")
			return nil
		}
		return t.end()
	})
}

func showJob(ctx context.Context, out *output, s *store.Store, j store.Job) error {
	fmt.Fprintf(out.Out, "%s, of the piece %s, %s since %s\n", j.ID, j.Piece, j.State, local(j.Since))
	if len(j.Loads) > 0 {
		fmt.Fprintln(out.Out, "\nPrint loads, as worked out and as they were:")
		t := newTable(out)
		for _, l := range j.Loads {
			t.row(l.ID, l.Printer, l.Filament, unit.FormatDuration(l.Seconds), unit.FormatMass(l.Grams))
			for _, r := range j.Runs {
				if r.Load != l.ID {
					continue
				}
				note := ""
				if r.Failed {
					note = "failed"
				}
				if r.Aside != "" {
					note = "set aside: " + r.Aside
				}
				from := ""
				if r.Spool != "" {
					from = "spool " + r.Spool
				}
				t.row(fmt.Sprintf("  run %d", r.N), r.Printer, from, unit.FormatDuration(r.Seconds), unit.FormatMass(r.Grams), note)
			}
		}
		if err := t.end(); err != nil {
			return err
		}
	}
	if len(j.Holds) > 0 {
		fmt.Fprintln(out.Out, "\nReserved:")
		return takenTable(ctx, out, s, j.Holds)
	}
	if len(j.Needs) > 0 && j.State == "planned" {
		fmt.Fprintln(out.Out, "\nIt takes, and nothing is reserved yet:")
		t := newTable(out)
		for _, n := range j.Needs {
			name := itemName(n.Item, n.Lot)
			if n.OneLot {
				name += " for " + n.For
			}
			t.row(name, amount(n.Amount, n.Unit))
		}
		return t.end()
	}
	return nil
}

type stockHistory struct {
	Job  string `help:"What was done for this job." placeholder:"NAME"`
	Last int    `help:"How many of the last entries to tell; 30 if you say nothing." default:"30" placeholder:"N"`
	jsonFlag
	storeFlag
}

type entryDoc struct {
	Entry  int64     `json:"entry"`
	At     string    `json:"at"`
	What   string    `json:"what"`
	Job    string    `json:"job"`
	Reason string    `json:"reason"`
	Moves  []moveDoc `json:"moves"`
}

type moveDoc struct {
	Kind     string  `json:"kind"`
	Item     string  `json:"item"`
	Lot      string  `json:"lot"`
	Amount   float64 `json:"amount"`   // came to it
	Reserved float64 `json:"reserved"` // was reserved of it for the job
}

// deeds are what entries say was done, as people say it.
var deeds = map[string]string{
	"add": "added", "adjust": "took out", "count": "counted", "describe": "described", "price": "priced", "plan": "planned", "reserve": "reserved for",
	"release": "released", "print": "printed for", "set-aside": "set a run aside", "finish": "finished", "abandon": "gave up",
}

func (c *stockHistory) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		const all = 1 << 40
		entries, err := s.Ledger(ctx, nil, 0, all)
		if err != nil {
			return err
		}
		if c.Job != "" {
			entries = slices.DeleteFunc(entries, func(e store.Entry) bool { return e.Job != c.Job })
		}
		if c.Last >= 0 && len(entries) > c.Last {
			entries = entries[len(entries)-c.Last:]
		}
		if c.JSON {
			docs := []entryDoc{}
			for _, e := range entries {
				d := entryDoc{e.N, e.At.Format(rfc3339), e.What, e.Job, e.Reason, []moveDoc{}}
				for _, m := range e.Moves {
					d.Moves = append(d.Moves, moveDoc{string(m.Lot.Kind), m.Lot.ID, m.Lot.Lot, m.Amount.Units(), m.Held.Units()})
				}
				docs = append(docs, d)
			}
			return writeJSON(out, docs)
		}
		units, err := unitsOf(ctx, s)
		if err != nil {
			return err
		}
		for _, e := range entries {
			line := fmt.Sprintf("%5d  %s  %s", e.N, local(e.At), deeds[e.What])
			if e.Job != "" {
				line += " " + e.Job
			}
			if e.Reason != "" {
				line += ": " + e.Reason
			}
			fmt.Fprintln(out.Out, line)
			for _, m := range e.Moves {
				u := units.of(m.Lot.Item)
				came, held := "", ""
				if m.Amount != 0 {
					came = signed(m.Amount, u)
				}
				if m.Held != 0 {
					held = "   reserved " + signed(m.Held, u)
				}
				fmt.Fprintf(out.Out, "%23s  %s%s\n", came, itemName(m.Lot.Item, m.Lot.Lot), held)
			}
		}
		if len(entries) == 0 {
			fmt.Fprintln(out.Out, "Nothing was done yet.")
		}
		return nil
	})
}

func signed(a store.Amount, unit string) string {
	if a > 0 {
		return "+" + amount(a, unit)
	}
	return amount(a, unit)
}
