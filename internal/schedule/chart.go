package schedule

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// A chart is an A4 sheet, landscape (ISO 216), mm.
const (
	pageWidth, pageHeight = 297.0, 210.0
	pageMargin            = 10.0
	labelWidth            = 62.0
	headHeight            = 20.0
	footHeight            = 8.0
	rowHeight             = 4.3 // at least
	tallest               = 8.0
	letters               = 2.05 // of a capital; 8 pt of a face whose capitals are 0.716 of it are 2.02
	perLetter             = 1.55 // mean width of a letter of that size, for cutting labels short
)

// Pens of a chart: the tones, widths and heights of bars tell what colour would.
var (
	thinPen  = &draw.Style{Red: 120, Green: 120, Blue: 120, Width: 0.13}
	barPen   = &draw.Style{Width: 0.18}
	heavyPen = &draw.Style{Width: 0.5}
	inkPen   = &draw.Style{Width: 0.25}
)

const (
	nightGrey   = 232
	weekendGrey = 212
	handGrey    = 165
	idleGrey    = 255
	chainGrey   = 45
)

// row is one line of a chart.
type row struct {
	label string
	bars  []Activity
}

// Charts draws the calendar as bars on A4 sheets, landscape: on the first the
// whole job, a row for every printer and kind of work; on the others a row for
// every activity, in order of their starts. When nobody is there the ground is grey.
// What sets the end is broad and dark, what may wait is narrow and light.
func (r *Result) Charts(title string) []draw.Sheet {
	if len(r.Activities) == 0 {
		return nil
	}
	sheets := []draw.Sheet{r.chart(title, r.overview())}
	var rows []row
	for _, a := range r.Activities {
		if a.End > a.Start {
			rows = append(rows, row{a.ID, []Activity{a}})
		}
	}
	each := int(math.Floor((pageHeight - 2*pageMargin - headHeight - footHeight) / rowHeight))
	pages := (len(rows) + each - 1) / each
	for i := range pages {
		part := rows[i*each : min((i+1)*each, len(rows))]
		sheets = append(sheets, r.chart(fmt.Sprintf("%s: work in order, %d of %d", title, i+1, pages), part))
	}
	return sheets
}

// overview is a row for every printer, and one for every kind of work by hand.
func (r *Result) overview() []row {
	var rows []row
	add := func(label string, a Activity) {
		i := slices.IndexFunc(rows, func(w row) bool { return w.label == label })
		if i < 0 {
			i = len(rows)
			rows = append(rows, row{label: label})
		}
		rows[i].bars = append(rows[i].bars, a)
	}
	for _, a := range r.Activities {
		if a.Kind == Print {
			add(a.Machine, a)
		}
	}
	slices.SortFunc(rows, func(a, b row) int { return strings.Compare(a.label, b.label) })
	for _, k := range Kinds {
		for _, a := range r.Activities {
			if a.Kind == k && k != Print && a.End > a.Start {
				add(string(k), a)
			}
		}
	}
	return rows
}

// chart draws rows on one sheet, from the day of the first bar to that of the last.
func (r *Result) chart(title string, rows []row) draw.Sheet {
	from, to := math.Inf(1), 0.0
	for _, w := range rows {
		for _, a := range w.bars {
			from, to = min(from, a.Start), max(to, a.End)
		}
	}
	from, to = math.Floor(from/day)*day, math.Ceil(to/day)*day
	left, right := pageMargin+labelWidth, pageWidth-pageMargin
	x := func(s float64) float64 { return left + (min(max(s, from), to)-from)/(to-from)*(right-left) }
	top := pageHeight - pageMargin - headHeight
	rowHeight := min(tallest, max(rowHeight, (top-pageMargin-footHeight)/float64(len(rows))))
	bottom := top - float64(len(rows))*rowHeight
	perDay := (right - left) / (to - from) * day

	ground := draw.Layer{Name: "closed hours", Operation: draw.Note, Pen: thinPen}
	// Nights are drawn where a day is wide enough for them to be seen.
	const narrowest = 3.0
	shut := from
	shade := func(a, b float64) {
		switch {
		case b-a >= day:
			ground.Items = append(ground.Items, box(x(a), bottom, x(b), top, weekendGrey))
		case b > a && perDay >= narrowest && x(b)-x(a) >= 0.2:
			ground.Items = append(ground.Items, box(x(a), bottom, x(b), top, nightGrey))
		}
	}
	for _, w := range r.open {
		if a, b := float64(w.From), float64(w.To); b > from && a < to {
			shade(shut, min(a, to))
			shut = max(shut, b)
		}
	}
	shade(shut, to)

	grid := draw.Layer{Name: "days", Operation: draw.Note, Pen: thinPen}
	fills := draw.Layer{Name: "work", Operation: draw.Note, Pen: barPen}
	chain := draw.Layer{Name: "what sets the end", Operation: draw.Note, Pen: heavyPen}
	ink := draw.Layer{Name: "text", Operation: draw.Note, Pen: inkPen}
	text := func(px, py, high float64, a draw.Anchor, s string) {
		ink.Items = append(ink.Items, draw.Text{At: geom.V2(px, py), Height: high, Anchor: a, String: s})
	}

	text(pageMargin, pageHeight-pageMargin-4, 3.2, draw.Start, cutShort(title, int(math.Floor((pageWidth-2*pageMargin)/(1.6*perLetter)))))
	text(pageMargin, pageHeight-pageMargin-10, letters, draw.Start, fmt.Sprintf("from %s to %s; %.1f h of hands in %.1f days", r.when(r.Begin), r.when(r.End), r.HandsOn/3600, r.Elapsed()/day))
	// Days are named as densely as there is room for, on Mondays when that is sparse.
	const room = 15.0
	step := max(1, int(math.Ceil(room/perDay)))
	if step > 1 {
		step = (step + 6) / 7 * 7
	}
	offset := 0
	if step > 1 {
		offset = (int(time.Monday) - int(r.weekday(int(from)/day)) + 7) % 7
	}
	for i := 0; float64(i)*day < to-from; i++ {
		s := from + float64(i)*day
		high := 1.0
		if i >= offset && (i-offset)%step == 0 && right-x(s) >= room {
			high = 2.5
			text(x(s)+0.4, top+1.2, letters, draw.Start, r.dayName(int(s)/day))
		}
		grid.Items = append(grid.Items, draw.Line(geom.V2(x(s), bottom), geom.V2(x(s), top+high)))
	}
	grid.Items = append(grid.Items, draw.Polyline([]geom.Vec2{geom.V2(left, bottom), geom.V2(right, bottom), geom.V2(right, top), geom.V2(left, top)}, true))

	for i, w := range rows {
		y := top - float64(i+1)*rowHeight
		label := w.label
		if len(w.bars) == 1 && w.bars[0].Critical {
			label = "> " + label
		}
		text(pageMargin, y+(rowHeight-letters)/2, letters, draw.Start, cutShort(label, int(math.Floor(labelWidth/perLetter))))
		if i > 0 {
			grid.Items = append(grid.Items, draw.Line(geom.V2(left, y+rowHeight), geom.V2(right, y+rowHeight)))
		}
		// The chain is drawn last, so that nothing lies over it.
		for _, critical := range []bool{false, true} {
			for _, a := range w.bars {
				if a.Critical != critical {
					continue
				}
				const least = 0.5
				x0, x1, hand := x(a.Start), max(x(a.End), x(a.Start)+least), x(a.Start+a.Hand)
				if len(w.bars) == 1 && right-x1 >= room {
					text(x1+1, y+(rowHeight-letters)/2, letters, draw.Start, clock(a.Start))
				}
				y0, y1 := y+0.28*rowHeight, y+0.72*rowHeight
				if critical {
					y0, y1 = y+0.12*rowHeight, y+0.88*rowHeight
					chain.Items = append(chain.Items, box(x0, y0, x1, y1, chainGrey), draw.Polyline(corners(x0, y0, x1, y1), true))
					continue
				}
				fills.Items = append(fills.Items, box(x0, y0, x1, y1, idleGrey))
				if hand > x0 {
					fills.Items = append(fills.Items, box(x0, y0, min(hand, x1), y1, handGrey))
				}
				fills.Items = append(fills.Items, draw.Polyline(corners(x0, y0, x1, y1), true))
			}
		}
	}
	text(pageMargin, pageMargin+1, letters, draw.Start, "broad, dark, marked >: sets the end. Narrow: may wait; grey in it: hands at work. Grey ground: nobody there, darker for a day or more.")
	return draw.Sheet{Title: title, Width: pageWidth, Height: pageHeight, Layers: []draw.Layer{ground, grid, fills, chain, ink}}
}

// clock is the time of the day.
func clock(s float64) string {
	return fmt.Sprintf("%d:%02d", int(s)%day/3600, int(s)%3600/60)
}

func corners(x0, y0, x1, y1 float64) []geom.Vec2 {
	return []geom.Vec2{geom.V2(x0, y0), geom.V2(x1, y0), geom.V2(x1, y1), geom.V2(x0, y1)}
}

func box(x0, y0, x1, y1 float64, grey uint8) draw.Region {
	return draw.Region{Area: geom.Polygons{corners(x0, y0, x1, y1)}, Grey: grey}
}

func cutShort(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:max(0, n-3)]) + "..."
	}
	return s
}

// weekday is the day of the week of a day of the job, from 0.
func (r *Result) weekday(n int) time.Weekday {
	if t := r.At(float64(n) * day); !t.IsZero() {
		return t.Weekday()
	}
	return (time.Monday + time.Weekday(n)) % 7
}

func (r *Result) dayName(n int) string {
	if t := r.At(float64(n) * day); !t.IsZero() {
		return t.Format("Mon 2 Jan")
	}
	return "day " + strconv.Itoa(n+1)
}

// Rows is the calendar as a table, a row for every activity by its start, below
// a row of names. Hours are counted from the midnight before the first day, and
// dates stand beside them if the job has any.
func (r *Result) Rows() [][]string {
	rows := [][]string{{"activity", "kind", "of", "start_h", "end_h", "begins", "ends", "hands_min", "billed_min", "slack_h", "sets_end", "printer", "waits_for", "note"}}
	date := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format("2006-01-02 15:04")
	}
	number := func(v float64) string { return strconv.FormatFloat(v, 'f', 2, 64) }
	for _, a := range r.Activities {
		var waits []string
		for _, w := range a.After {
			s := w.On
			if w.Lag > 0 {
				s = fmt.Sprintf("%s +%s h", s, number(w.Lag/3600))
			}
			waits = append(waits, s)
		}
		chain := "no"
		if a.Critical {
			chain = "yes"
		}
		rows = append(rows, []string{
			a.ID, string(a.Kind), a.Of, number(a.Start / 3600), number(a.End / 3600), date(a.Begin), date(a.Finish),
			number(a.Hand / 60), number(a.Billed / 60), number(a.Slack / 3600), chain, a.Machine, strings.Join(waits, "; "), a.Note,
		})
	}
	return rows
}
