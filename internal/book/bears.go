package book

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/piece"
	"groundwork/internal/stability"
	"groundwork/internal/strength"
	"groundwork/internal/unit"
)

// stands says what the piece bears, as far as that is known, and what tips it.
func (w *writer) stands(f *flow) {
	f.section("bears", "What it bears")
	var says []string
	if r := w.pl.Strength; r != nil {
		says = append(says, "*Loads.* "+w.bearing()+" The chapter \"how it bears its loads\" tells which loads were looked at, and by what margin they are borne.")
	} else {
		s := "*Loads.* *How it bears its loads has not been worked out.* Nobody has calculated where it would break first, or at what load; no weight is known that it surely bears."
		if w.pl.Piece.Use == piece.Seat {
			s += " So nobody sits or stands on it before it was loaded with dead weight, by steps, with hands and feet clear of it, and looked over at every step: see the chapter \"use and care\"."
		} else {
			s += " So nobody sits or stands on it, or trusts it with what may not fall, before it was loaded with dead weight, by steps, and looked over at every step: see the chapter \"use and care\"."
		}
		says = append(says, s)
		if w.asked != nil {
			says = append(says, "What furniture of its kind is asked to bear, by analogy with published standards, and what was *not* looked at here beyond choosing where cores are cut: "+strings.Join(w.asked, "; ")+". Whoever made the kit can have that worked out.")
		}
	}
	for _, s := range w.tipping() {
		says = append(says, "*Tipping.* "+s)
	}
	if s := w.pl.Checks.Standing; s != nil && slices.ContainsFunc(s.Worst, func(t stability.Tip) bool { return t.Margin < 1 }) {
		what := "lean"
		if w.pl.Piece.Use != piece.Seat {
			what = "sit or lean"
		}
		says = append(says, "*Do not "+what+" on its edge, and let no child climb it:* one of the loads above tips it. Whoever must rely on it fixes it to the wall or the floor.")
	}
	for _, s := range says {
		f.para(para{}, s)
		f.gap(1.2)
	}
}

// loads are the loads of cases that get a verdict, each once, wherever it presses.
func loads(cases []strength.Case) (out []string) {
	var of []string
	count := map[string]int{}
	for _, c := range cases {
		if c.Kind == strength.Dead || !c.Judged {
			continue
		}
		what, _, _ := strings.Cut(strings.TrimSuffix(c.What, "."), ". ") // ballast is no load that it bears
		for _, at := range []string{" in the ", " at the ", " to the "} {
			what, _, _ = strings.Cut(what, at)
		}
		if count[what] == 0 {
			of = append(of, what)
		}
		count[what]++
	}
	for _, s := range of {
		if n := count[s]; n > 1 {
			s += fmt.Sprintf(" (in %d places or ways)", n)
		}
		out = append(out, s)
	}
	return out
}

// tipping is what is known of what tips the piece: without what only another plan
// would mend, and the same load that is held against several once.
func (w *writer) tipping() (out []string) {
	for _, x := range w.pl.Findings {
		if x.Stage != "stability" || x.Severity != finding.Note {
			continue
		}
		s, _, _ := strings.Cut(x.Message, " To bear it:")
		s = sentence(s)
		if load, against, ok := strings.Cut(s, " Margin "); ok {
			if n := slices.IndexFunc(out, func(o string) bool { return strings.HasPrefix(o, load) }); n >= 0 {
				against, _, _ = strings.Cut(against, ";")
				out[n] = strings.TrimSuffix(out[n], ".") + ". Margin " + against + "."
				continue
			}
		}
		out = append(out, s)
	}
	return out
}

// bearing is in a sentence whether the piece bears what was looked at.
func (w *writer) bearing() string {
	r := w.pl.Strength
	failing, _ := r.Failing()
	switch {
	case failing > 0:
		return fmt.Sprintf("*It does not bear all of its loads:* %d of %d comparisons fail.", failing, len(r.Verdicts))
	case r.Lowest != "":
		return fmt.Sprintf("It bears all that was looked at; the least margin is %s.", margin(r.Margin))
	}
	return "Nothing was judged."
}

// bears is the chapter of how the piece bears its loads, if that was worked out.
func (w *writer) bears(f *flow) {
	r := w.pl.Strength
	if r == nil {
		return
	}
	f.chapter("strength", "How it bears its loads")
	f.caution("NOTE", "Engineering estimates by analogy with published standards; nothing here is a certificate. Local codes and licensed practice come first. A print with gaps between its layers, or a dry glue line, bears less.", "")
	failing, _ := r.Failing()
	switch {
	case failing > 0:
		f.para(para{}, fmt.Sprintf("*It does not bear all of its loads:* %d of %d comparisons fail. Do not load it as below before that is mended; see what the plan warns of.", failing, len(r.Verdicts)))
	case r.Lowest != "":
		v, _ := r.Verdict(r.Lowest)
		f.para(para{}, fmt.Sprintf("It bears all that was looked at. The least margin is %s: %s of %s.", margin(r.Margin), v.What, v.Subject))
	default:
		f.para(para{}, "Nothing was judged: the cases below are reported only.")
	}
	f.gap(1.5)
	var rows []row
	for _, c := range r.Cases {
		says := "holds"
		switch {
		case !c.Solved:
			says = "could not be worked out"
		case !c.Judged:
			says = "reported only"
		}
		for _, v := range r.Verdicts {
			if v.Case == c.ID && v.Fails() {
				says = "*does not hold*"
			}
		}
		least, gives := "-", "-"
		if c.Solved {
			least, gives = margin(c.Margin), w.mm(c.Moved.Value)
		}
		rows = append(rows, row{cells: []string{c.What, says, least, gives}})
	}
	f.table([]column{{title: "Load", wide: 8}, {title: "Verdict", wide: 2.4}, {title: "Margin", wide: 1.6, right: true}, {title: "Gives by", wide: 1.9, right: true}}, rows)
	f.gap(2)
	worst := slices.Clone(r.Worst())
	slices.SortStableFunc(worst, func(a, b strength.Verdict) int { return cmp.Compare(a.Margin, b.Margin) })
	worst = slices.DeleteFunc(worst, func(v strength.Verdict) bool { return v.Margin >= strength.Ample })
	if len(worst) > 12 {
		worst = worst[:12]
	}
	rows = nil
	for _, v := range worst {
		says := "holds"
		if v.Fails() {
			says = "*does not hold*"
		} else if !v.Judged {
			says = "reported only"
		}
		rows = append(rows, row{cells: []string{v.Subject, v.What, fmt.Sprintf("%.3g of %.3g %s", v.Value, v.Limit, v.Unit), margin(v.Margin), says}, tells: []string{v.Subject}})
	}
	if rows != nil {
		f.section("", "Where it is nearest to its limits")
		f.table([]column{{title: "Part", wide: 2.4}, {title: "What", wide: 4}, {title: "Bears", wide: 3}, {title: "Margin", wide: 1.5, right: true}, {title: "", wide: 2}}, rows)
	}
	for _, k := range r.Racking {
		f.gap(1)
		f.para(para{}, fmt.Sprintf("Pushed sideways along %s with %.0f N it gives by %s at %s above the floor (%.0f N/mm).", k.Axis, k.Force, w.mm(k.Moved), unit.FormatLength(k.Height, w.sys), k.Stiffness))
	}
}

// margin is a margin in words: how many times the load it would bear.
func margin(m float64) string {
	if m >= strength.Ample || math.IsInf(m, 1) {
		return "ample"
	}
	if m >= 10 {
		return fmt.Sprintf("%.0f x", m)
	}
	return fmt.Sprintf("%.1f x", math.Floor(m*10)/10)
}
