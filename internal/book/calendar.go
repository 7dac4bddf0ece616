package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/draw"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/schedule"
	"groundwork/internal/unit"
)

// dated is whether the book has a calendar. It is that of one shop which does all
// the work: where seller and buyer share it, neither works by it.
func (w *writer) dated() bool {
	r := w.pl.Schedule
	return r != nil && len(r.Activities) > 0 && (w.split() == "" || w.split() == kit.Ready)
}

// calendar is the chapter of days: who does what, and when.
func (w *writer) calendar(f *flow) {
	r := w.pl.Schedule
	if !w.dated() {
		return
	}
	f.chapter("calendar", "The calendar")
	first, last := int(r.Begin/day), int(math.Ceil(r.End/day))
	f.para(para{}, fmt.Sprintf("From the first work to the last it takes %d %s with the printers and hands that the shop has. Of that, about *%s* are work by hand; the rest is printing, glue and finish, which wait for nobody. The hours by hand are those of the bill, its fixtures with them.%s",
		last-first, plural(last-first, "day", "days"), unit.FormatDuration(r.Billed), w.testedBefore()))
	f.gap(1)
	for _, s := range r.Rests {
		f.para(para{size: small, grey: 50, indent: 4, hang: "-"}, plain(s))
	}
	f.gap(2)
	f.figure(w.bars(f.wide()))
	f.section("days", "Day by day")
	var rows []row
	for _, d := range w.daily() {
		rows = append(rows, row{cells: []string{d.day, d.when, d.who, d.what}, box: true})
	}
	f.table([]column{{title: "Day", wide: 2.2}, {title: "From, to", wide: 2.4}, {title: "Who", wide: 2}, {title: "What", wide: 8}}, rows)
}

// testedBefore says what of the bill's hours is not in the calendar: a shop that
// has measured its coupons does not measure them again.
func (w *writer) testedBefore() string {
	if slices.ContainsFunc(w.pl.Schedule.Activities, func(a schedule.Activity) bool { return a.Kind == schedule.Coupons }) {
		return ""
	}
	tests := 0.0
	for _, h := range w.pl.Bill.Hands {
		if h.Section == bill.Fixtures && h.Line == bill.Testing {
			tests += float64(h.Seconds)
		}
	}
	if tests == 0 {
		return ""
	}
	return fmt.Sprintf(" Coupons are reckoned as tested before; if not, add %s, and begin with their loads.", unit.FormatDuration(tests))
}

// entry is a line of the calendar: work of one kind on one day.
type entry struct {
	day, when, who, what string
	of                   []string // IDs, all of them
}

// daily is the calendar by days: work of one kind in the same hands is one line.
func (w *writer) daily() (out []entry) {
	r := w.pl.Schedule
	type key struct {
		day       int
		verb, who string
	}
	type group struct {
		key
		from, to float64
		of       []string
	}
	var groups []group
	const together = hour / 2 // s between works that still are one line
	for _, a := range r.Activities {
		if a.End <= a.Start {
			continue
		}
		verb, of := verb(a)
		k := key{int(a.Start / day), verb, w.who(a)}
		n := -1
		for i, g := range groups {
			if g.key == k && a.Start-g.to <= together && g.from-a.End <= together {
				n = i
			}
		}
		if n < 0 {
			n = len(groups)
			groups = append(groups, group{key: k, from: a.Start, to: a.End})
		}
		g := &groups[n]
		g.from, g.to = min(g.from, a.Start), max(g.to, a.End)
		if of != "" && !slices.Contains(g.of, of) {
			g.of = append(g.of, of)
		}
	}
	now := -1
	for _, g := range groups {
		e := entry{when: clock(g.from, g.day), who: g.who, of: g.of}
		if to := clock(g.to, g.day); to != e.when {
			e.when += " - " + to
		}
		if g.day != now {
			now, e.day = g.day, w.dayName(g.day)
		}
		const most = 8
		names := g.of
		if len(names) > most {
			names = append(slices.Clone(names[:most-1]), fmt.Sprintf("%d more", len(names)-most+1))
		}
		e.what = "*" + g.verb + "*"
		if names != nil {
			e.what += ": " + and(names)
		}
		out = append(out, e)
	}
	return out
}

// verb is what is done, and to what: "sand P180" and "leg-1", "glue body" and
// "top/1".
func verb(a schedule.Activity) (does, to string) {
	id, _, _ := strings.Cut(a.ID, " (") // done in parts
	before, after, ok := strings.Cut(id+" ", " "+a.Of)
	if !ok || a.Of == "" || after[0] != ' ' && after[0] != '/' {
		return id, ""
	}
	which, rest, _ := strings.Cut(after, " ")
	return strings.TrimSpace(before + " " + rest), a.Of + which
}

// who does an activity: a machine, or hands.
func (w *writer) who(a schedule.Activity) string {
	if a.Kind == schedule.Print && a.Machine != "" {
		return a.Machine
	}
	for _, u := range a.Uses {
		for _, l := range w.pl.Shop.Lasers {
			if u.Resource == l.ID {
				return l.ID
			}
		}
	}
	if a.Hand > 0 {
		return "by hand"
	}
	return "nobody"
}

func (w *writer) dayName(n int) string {
	r := w.pl.Schedule
	if t := r.At(float64(n) * day); !t.IsZero() {
		return t.Format("Mon 2 Jan")
	}
	return fmt.Sprintf("day %d", n+1)
}

// clock is a time of the day, with the days after that one.
func clock(s float64, of int) string {
	at := int(math.Round(s)) - of*int(day)
	later := at / int(day)
	at %= int(day)
	out := fmt.Sprintf("%02d:%02d", at/3600, at/60%60)
	if later > 0 {
		out += fmt.Sprintf(" +%d", later)
	}
	return out
}

// bars draws the calendar: a row for every machine and for every kind of work by
// hand, a column for every day.
func (w *writer) bars(wide float64) *picture {
	const rowHigh, name, head, size = 4.6, 32.0, 6.0, 8.5
	r := w.pl.Schedule
	type line struct {
		label string
		of    []schedule.Activity
	}
	var machines, hands []line
	put := func(to *[]line, label string, a schedule.Activity) {
		n := slices.IndexFunc(*to, func(l line) bool { return l.label == label })
		if n < 0 {
			n = len(*to)
			*to = append(*to, line{label: label})
		}
		(*to)[n].of = append((*to)[n].of, a)
	}
	for _, a := range r.Activities {
		if a.Kind == schedule.Print && a.Machine != "" {
			put(&machines, a.Machine, a)
		}
	}
	slices.SortFunc(machines, func(a, b line) int { return strings.Compare(a.label, b.label) })
	for _, k := range schedule.Kinds {
		for _, a := range r.Activities {
			if a.Kind == k && a.End > a.Start && (k != schedule.Print || a.Machine == "") {
				put(&hands, string(k), a)
			}
		}
	}
	rows := append(machines, hands...)
	first, last := int(r.Begin/day), int(math.Ceil(r.End/day))
	high := head + rowHigh*float64(len(rows)) + 1
	x := func(s float64) float64 {
		return name + (s/day-float64(first))/float64(max(last-first, 1))*(wide-name)
	}
	pic := &picture{size: geom.V2(wide, high), caption: "Dark: what sets the end. Light: what may wait. Each column is a day."}
	grid := lines(0.13, 190)
	every := max(1, int(math.Ceil(7/(x(day)-x(0)))))
	for d := first; d <= last; d++ {
		at := x(float64(d) * day)
		grid.Items = append(grid.Items, draw.Line(geom.V2(at, 0.5), geom.V2(at, high-head)))
	}
	pic.layers = append(pic.layers, grid)
	pen := lines(0.1, 0)
	for d := first; d < last; d += every {
		mid := (x(float64(d)*day) + x(float64(d+1)*day)) / 2
		pen.Items = append(pen.Items, draw.Text{At: geom.V2(mid, high-head+1.5), Height: label, Anchor: draw.Middle, String: fmt.Sprint(d + 1)})
	}
	for i, l := range rows {
		y := high - head - rowHigh*float64(i+1)
		pen.Items = append(pen.Items, draw.Text{At: geom.V2(0.5, y+(rowHigh-label)/2), Height: label, String: cutTo(l.label, size, name-2)})
		for _, a := range l.of {
			grey := uint8(165)
			if a.Critical {
				grey = 45
			}
			from := x(a.Start)
			pen.Items = append(pen.Items, filled(geom.Box2{Min: geom.V2(from, y+0.8), Max: geom.V2(max(x(a.End), from+0.35), y+rowHigh-0.8)}, grey))
		}
	}
	pic.layers = append(pic.layers, pen)
	return pic
}

// cutTo is a text cut to a width in mm.
func cutTo(s string, size, wide float64) string {
	for r := []rune(s); width(regular, size, s) > wide && len(r) > 2; {
		r = r[:len(r)-1]
		s = string(r[:len(r)-1]) + "…"
	}
	return s
}
