package book

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/printing"
	"groundwork/internal/view"
)

// flat is a drawing of flat things in the making: what is drawn to scale, and
// the labels round it.
type flat struct {
	placing view.Placing
	box     geom.Box2 // of paper
	pic     *picture
	labels  []view.Label
}

// newFlat makes room for a thing of a size in mm, with labels as wide as the
// texts at either side.
func newFlat(size, room geom.Vec2, texts []string, round bool) *flat {
	var side float64
	for _, t := range texts {
		side = max(side, view.Label{Text: t, Height: label, Round: round}.Width())
	}
	margin := 0.5
	if side > 0 {
		margin = side + 5
	}
	inner := geom.Box2{Min: geom.V2(margin, 0.5), Max: geom.V2(room.X-margin, room.Y-0.5)}
	f := &flat{pic: &picture{size: room}}
	f.placing = fit(geom.Box2{Max: size}, inner, 1)
	f.box = geom.Box2{Min: f.placing.Point(geom.V2(0, 0)), Max: f.placing.Point(size)}
	return f
}

// outline draws a region in mm, filled with a grey if that is not white.
func (f *flat) outline(ps geom.Polygons, wide float64, grey uint8) {
	area := f.placing.Area(ps)
	l := lines(wide, 0)
	if grey < 255 {
		l.Items = append(l.Items, draw.Region{Area: area, Grey: grey})
	}
	for _, loop := range area {
		l.Items = append(l.Items, draw.Polyline(loop, true))
	}
	f.pic.layers = append(f.pic.layers, l)
}

// run draws a line in mm.
func (f *flat) run(points []geom.Vec2, wide float64, grey uint8) {
	var out []geom.Vec2
	for _, q := range points {
		out = append(out, f.placing.Point(q))
	}
	f.pic.layers = append(f.pic.layers, lines(wide, grey, draw.Polyline(out, false)))
}

func (f *flat) label(s string, round bool, at geom.Vec2) {
	f.labels = append(f.labels, view.Label{Text: s, Height: label, Round: round, Target: f.placing.Point(at)})
}

// inside writes a name in the middle of a box of paper, if it has room there; if
// not, it gets a label at the side.
func (f *flat) inside(s string, b geom.Box2) {
	w, h := width(regular, 8.5, s), label
	if w+1 > b.Size().X || h+1.5 > b.Size().Y {
		f.labels = append(f.labels, view.Label{Text: s, Height: label, Target: b.Center()})
		return
	}
	f.write(s, b.Center())
}

// write puts writing with its middle at a point of paper, on white.
func (f *flat) write(s string, at geom.Vec2) geom.Box2 {
	w := width(regular, 8.5, s)
	b := geom.Box2{Min: at.Sub(geom.V2(w/2+0.4, label/2+0.5)), Max: at.Add(geom.V2(w/2+0.4, label/2+0.5))}
	f.pic.labels = append(f.pic.labels, b)
	f.pic.layers = append(f.pic.layers, lines(0.1, 0, filled(b, 255), draw.Text{At: at.Sub(geom.V2(0, label/2)), Height: label, Anchor: draw.Middle, String: s}))
	return b
}

// number writes a number on a line, where it meets no other line and no writing;
// at its middle if there is no such place.
func (f *flat) number(s string, on [2]geom.Vec2, all [][2]geom.Vec2) {
	w := width(regular, 8.5, s)
	free := func(at geom.Vec2, apart float64) bool {
		b := geom.Box2{Min: at.Sub(geom.V2(w/2+0.4+apart, label/2+0.5+apart)), Max: at.Add(geom.V2(w/2+0.4+apart, label/2+0.5+apart))}
		for _, o := range f.pic.labels {
			if b.Overlaps(o) {
				return false
			}
		}
		for _, c := range all {
			if c != on && crosses(b, c) {
				return false
			}
		}
		return true
	}
	side := geom.V2(0, label/2+0.7)
	if math.Abs(on[1].Y-on[0].Y) > math.Abs(on[1].X-on[0].X) {
		side = geom.V2(w/2+0.8, 0)
	}
	// A line's own end may lie on another line, so that there is no room on it.
	for _, apart := range []float64{0.6, 0.1} {
		for _, t := range []float64{0.5, 0.35, 0.65, 0.2, 0.8, 0.28, 0.72, 0.42, 0.58, 0.12, 0.88, 0.06, 0.94} {
			if at := on[0].Lerp(on[1], t); free(at, apart) {
				f.write(s, at)
				return
			}
		}
	}
	for _, t := range []float64{0.5, 0.3, 0.7, 0.15, 0.85} {
		for _, way := range []float64{1, -1} {
			if at := on[0].Lerp(on[1], t).Add(side.Scale(way)); free(at, -0.2) {
				f.write(s, at)
				return
			}
		}
	}
	f.labels = append(f.labels, view.Label{Text: s, Height: label, Target: on[0].Lerp(on[1], 0.5)})
}

// crosses is whether a line that lies along x or y meets a box.
func crosses(b geom.Box2, l [2]geom.Vec2) bool {
	lo := geom.V2(min(l[0].X, l[1].X), min(l[0].Y, l[1].Y))
	hi := geom.V2(max(l[0].X, l[1].X), max(l[0].Y, l[1].Y))
	return lo.X < b.Max.X && hi.X > b.Min.X && lo.Y < b.Max.Y && hi.Y > b.Min.Y
}

// done places the labels and cuts the picture to what is there.
func (f *flat) done(caption string) (*picture, error) {
	low, high, err := f.pic.note(f.box, f.labels, 4)
	if err != nil {
		return nil, err
	}
	low, high = min(low, f.box.Min.Y), max(high, f.box.Max.Y)
	by := geom.V2(0, 0.5-low)
	for i, l := range f.pic.layers {
		f.pic.layers[i] = moved(l, by)
	}
	for i, b := range f.pic.labels {
		f.pic.labels[i] = geom.Box2{Min: b.Min.Add(by), Max: b.Max.Add(by)}
	}
	f.pic.size.Y = high - low + 1
	f.pic.caption = strings.TrimSpace(caption + " " + scaleNote(f.placing.Scale))
	return f.pic, nil
}

func box(size geom.Vec2) geom.Polygons {
	return geom.Polygons{rectangle(geom.Box2{Max: size})}
}

// load is what lies on a printer's bed, seen from above. marked are the items
// that have numbers, in their order.
func (a *artist) load(r *printing.Result, l printing.Load, marked []int, room geom.Vec2) (*picture, error) {
	pr := printer(a.pl.Shop, l.Printer)
	size := geom.V2(pr.Build.X, pr.Build.Y)
	f := newFlat(size, room, []string{"00"}, true)
	f.outline(box(size), 0.35, 255)
	for i, it := range l.Items {
		foot := r.Prints[it.Print].Footprint.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(it.Turn).Add(it.At) })
		f.outline(foot, 0.25, 225)
		if n := slices.Index(marked, i); n >= 0 {
			f.label(fmt.Sprint(n+1), true, within(foot))
		}
	}
	return f.done("The bed from above, its front below.")
}

// sheet is a sheet of veneer with the cuts into blanks, its grain from left to
// right.
func (a *artist) sheet(n int, room geom.Vec2) (*picture, error) {
	s := a.pl.Sheets.Sheets[n]
	turn := func(q geom.Vec2) geom.Vec2 { return geom.V2(q.Y, s.Size.X-q.X) } // the left edge above
	size := geom.V2(s.Size.Y, s.Size.X)
	f := newFlat(size, room, nil, false)
	f.outline(box(size), 0.35, 255)
	var blanks []geom.Box2
	var names []string
	for i, b := range a.pl.Sheets.Blanks {
		if b.Sheet != n {
			continue
		}
		at := b.Size
		var on geom.Polygon
		for _, q := range rectangle(geom.Box2{Max: at}) {
			on = append(on, turn(a.pl.Sheets.OnSheet(i, q)))
		}
		ps := upright(geom.Polygons{on})
		f.outline(ps, 0.25, 228)
		blanks = append(blanks, ps.Bounds())
		names = append(names, b.ID)
	}
	for _, o := range s.Offcuts {
		var on geom.Polygon
		for _, q := range rectangle(o) {
			on = append(on, turn(q))
		}
		f.outline(upright(geom.Polygons{on}), 0.13, 255)
	}
	for _, r := range s.Reserved {
		var on geom.Polygon
		for _, q := range rectangle(geom.Box2{Min: r.At, Max: r.At.Add(r.Size)}) {
			on = append(on, turn(q))
		}
		f.outline(upright(geom.Polygons{on}), 0.25, 120)
	}
	var cuts [][2]geom.Vec2
	for _, c := range s.Cuts {
		// Where is from the left edge of what is cut, or from the lower one.
		from, to := geom.V2(c.On.Min.X+c.Where, c.On.Min.Y), geom.V2(c.On.Min.X+c.Where, c.On.Max.Y)
		if !c.Along {
			from, to = geom.V2(c.On.Min.X, c.On.Min.Y+c.Where), geom.V2(c.On.Max.X, c.On.Min.Y+c.Where)
		}
		f.run([]geom.Vec2{turn(from), turn(to)}, 0.35, 0)
		cuts = append(cuts, [2]geom.Vec2{f.placing.Point(turn(from)), f.placing.Point(turn(to))})
	}
	for i, b := range blanks {
		f.inside(names[i], geom.Box2{Min: f.placing.Point(b.Min), Max: f.placing.Point(b.Max)})
	}
	for i, c := range cuts {
		f.number(fmt.Sprint(s.Cuts[i].N), c, cuts)
	}
	return f.done("Grey: blanks. White with a thin border: offcuts worth keeping. Numbers on lines: cuts. The grain runs from left to right.")
}

// upright is a region whose outer loops run counter-clockwise.
func upright(ps geom.Polygons) geom.Polygons {
	if ps.Area() < 0 {
		return ps.Reversed()
	}
	return ps
}

// blank is what lies on a blank, with the arrows that leaves are laid by.
func (a *artist) blank(n int, room geom.Vec2) (*picture, []row, error) {
	b := a.pl.Sheets.Blanks[n]
	var rows []row
	var texts []string
	for i := range onBlank(a.pl, n) {
		texts = append(texts, fmt.Sprint(i+1))
	}
	f := newFlat(b.Size, room, texts, true)
	f.outline(box(b.Size), 0.35, 255)
	k := 0
	for _, x := range a.pl.Sheets.Placements {
		if x.Blank != n {
			continue
		}
		k++
		pt := a.pl.Patterns[x.Pattern]
		out := a.pl.Sheets.Outline(a.pl.Patterns, x)
		grey := uint8(228)
		if pt.Release != "" {
			grey = 190
		}
		f.outline(out, 0.2, grey)
		c := within(pt.Net)
		shaft, head := arrow(pt.Net, c, pt.Grain)
		for _, run := range [][]geom.Vec2{shaft, head} {
			var pts []geom.Vec2
			for _, q := range run {
				pts = append(pts, x.Point(q))
			}
			f.run(pts, 0.2, 0)
		}
		f.label(fmt.Sprint(k), true, x.Point(shaft[0].Lerp(shaft[1], 0.3)))
		note := ""
		if pt.Release != "" {
			note = "waits"
		}
		rows = append(rows, row{cells: []string{fmt.Sprint(k), pt.ID, note}, tells: []string{pt.ID}, box: true})
	}
	way := "left to right"
	if math.Abs(b.Grain) > 0.1 {
		way = "bottom to top"
	}
	pic, err := f.done(fmt.Sprintf("Face up. The grain runs from %s; arrows as on the drawings for laying. Darker: waits.", way))
	return pic, rows, err
}

// Pages of a drawing at full size share a strip that is this wide, mm.
const overlap = 10.0

// Below a tile stand its name, its legend and a bar to measure, mm.
const (
	tileFoot   = 14.0
	legendHigh = 4.0 // of a line
)

// tiling is how a drawing at full size is parted into pages.
type tiling struct {
	cols, rows int
	step       geom.Vec2 // from one page to the next
	legend     int       // lines of legend that there is room for below each
}

func (f *flow) tiling(s draw.Sheet, legend int) tiling {
	t := tiling{legend: legend}
	room := geom.V2(f.wide(), f.high()-2-t.foot())
	t.step = geom.V2(room.X-overlap, room.Y-overlap)
	t.cols = max(1, int(math.Ceil((s.Width-overlap)/t.step.X)))
	t.rows = max(1, int(math.Ceil((s.Height-overlap)/t.step.Y)))
	return t
}

func (t tiling) foot() float64 { return tileFoot + legendHigh*float64(t.legend) }

// window is what of the drawing a page shows.
func (t tiling) window(col, line int) geom.Box2 {
	low := geom.V2(float64(col)*t.step.X, float64(line)*t.step.Y)
	return geom.Box2{Min: low, Max: low.Add(t.step).Add(geom.V2(overlap, overlap))}
}

// own is what of its window no page to the left of it or below it shows. Every
// place of the drawing is in the own part of one page.
func (t tiling) own(col, line int) geom.Box2 {
	b := t.window(col, line)
	if col > 0 {
		b.Min.X += overlap
	}
	if line > 0 {
		b.Min.Y += overlap
	}
	return b
}

// bare is whether no line crosses the part of a drawing that a page alone shows:
// then the page is left out.
func (t tiling) bare(s draw.Sheet, col, line int) bool {
	const speck = 0.05 // mm
	return !slices.ContainsFunc(s.Layers, func(l draw.Layer) bool {
		return slices.ContainsFunc(clipped(l, t.own(col, line), geom.Vec2{}).Items, func(it draw.Item) bool {
			if _, writing := it.(draw.Text); writing {
				return false
			}
			size := it.Bounds().Size()
			return max(size.X, size.Y) > speck
		})
	})
}

// tile draws one page of a drawing at full size: what lies in its window, with
// crosses where the next page meets it, a legend of the lines that are on it, and a
// bar to measure.
func (f *flow) tile(tp template, col, line int) strip {
	t, s := tp.tiling, tp.sheet
	win := t.window(col, line)
	high := f.high()
	return strip{high: high, fresh: true, draw: func(p *page, at geom.Vec2) {
		low := geom.V2(at.X, at.Y-high)
		at0 := low.Add(geom.V2(0, t.foot())) // of the window
		shift := at0.Sub(win.Min)
		var seen []string // layers
		for _, l := range s.Layers {
			c := clipped(l, win, shift)
			if len(c.Items) > 0 {
				seen = append(seen, l.Name)
			}
			p.layers = append(p.layers, c)
		}
		frame := geom.Box2{Min: at0, Max: at0.Add(win.Max.Sub(win.Min))}
		p.layers = append(p.layers, lines(0.1, 150, draw.Polyline(rectangle(frame), true)))
		var marks []draw.Item
		for c := col; c <= col+1; c++ {
			for r := line; r <= line+1; r++ {
				// The middle of the overlap of neighbours.
				q := geom.V2(float64(c)*t.step.X+overlap/2, float64(r)*t.step.Y+overlap/2).Add(shift)
				if q.X < frame.Min.X || q.X > frame.Max.X || q.Y < frame.Min.Y || q.Y > frame.Max.Y {
					continue
				}
				marks = append(marks, draw.Line(q.Sub(geom.V2(4, 0)), q.Add(geom.V2(4, 0))), draw.Line(q.Sub(geom.V2(0, 4)), q.Add(geom.V2(0, 4))), draw.Circle{Center: q, Radius: 2})
			}
		}
		p.layers = append(p.layers, lines(0.18, 0, marks...))
		p.texts = append(p.texts, text{at: geom.V2(low.X, low.Y+8.5+legendHigh*float64(t.legend)), size: small, face: bold, s: fmt.Sprintf("%s: column %d of %d, row %d of %d from below", tp.title, col+1, t.cols, line+1, t.rows)})
		keys := slices.DeleteFunc(slices.Clone(tp.keys), func(k fixture.Key) bool {
			return slices.ContainsFunc(k.Layers, func(n string) bool { return !slices.Contains(seen, n) })
		})
		for i, run := range legendLines(keys, f.wide()) {
			p.legend(run, s.Layers, low.Add(geom.V2(0, 8+legendHigh*float64(t.legend-1-i))))
		}
		p.bar(low.Add(geom.V2(0, 2)))
	}}
}

// A legend's sample, and the room before its words and behind them, mm.
const (
	sampleWide = 10.0
	sampleGap  = 1.5
	keyGap     = 5.0
)

// legendLines are keys in as many lines as they take in a width.
func legendLines(keys []fixture.Key, wide float64) (out [][]fixture.Key) {
	x := 0.0
	for _, k := range keys {
		w := sampleWide + sampleGap + width(regular, small, k.Words)
		if len(out) == 0 || x+w > wide {
			out, x = append(out, nil), 0
		}
		out[len(out)-1] = append(out[len(out)-1], k)
		x += w + keyGap
	}
	return out
}

// legend draws a line of keys, each with a sample in the style of its layers.
func (p *page) legend(keys []fixture.Key, layers []draw.Layer, at geom.Vec2) {
	const tall = 2.2
	for _, k := range keys {
		p.layers = append(p.layers, k.Sample(layers, geom.Box2{Min: at, Max: at.Add(geom.V2(sampleWide, tall))})...)
		at.X += sampleWide + sampleGap
		p.texts = append(p.texts, text{at: at, size: small, s: k.Words})
		at.X += width(regular, small, k.Words) + keyGap
	}
}

// turned is a sheet turned a quarter counter-clockwise.
func turned(s draw.Sheet) draw.Sheet {
	turn := func(q geom.Vec2) geom.Vec2 { return geom.V2(s.Height-q.Y, q.X) }
	out := draw.Sheet{Title: s.Title, Width: s.Height, Height: s.Width}
	for _, l := range s.Layers {
		items := make([]draw.Item, len(l.Items))
		for i, it := range l.Items {
			switch it := it.(type) {
			case draw.Path:
				items[i] = it.Map(turn, false)
			case draw.Circle:
				items[i] = draw.Circle{Center: turn(it.Center), Radius: it.Radius}
			case draw.Text:
				it.At, it.Angle = turn(it.At), it.Angle+math.Pi/2
				items[i] = it
			case draw.Region:
				items[i] = draw.Region{Area: it.Area.Map(turn), Grey: it.Grey}
			}
		}
		l.Items = items
		out.Layers = append(out.Layers, l)
	}
	return out
}

// readable is a layer of what a machine follows as it is drawn on paper: in black
// and greys, its notes dark enough to read.
func readable(l draw.Layer) draw.Layer {
	if l.Pen != nil {
		return l
	}
	switch l.Operation {
	case draw.Cut:
		l.Pen = pen(0.35, 0)
	case draw.HalfCut:
		l.Pen = pen(0.25, 0)
		l.Pen.Dash = []float64{3, 1}
	case draw.Mark:
		l.Pen = pen(0.2, 70)
	default:
		l.Pen = pen(0.13, 80)
	}
	return l
}

// bar is a scale bar of 100 mm.
func (p *page) bar(at geom.Vec2) {
	items := []draw.Item{draw.Line(at, at.Add(geom.V2(100, 0)))}
	for i := 0; i <= 10; i++ {
		h := 1.5
		if i%5 == 0 {
			h = 3
		}
		q := at.Add(geom.V2(float64(i)*10, 0))
		items = append(items, draw.Line(q, q.Add(geom.V2(0, h))))
	}
	p.layers = append(p.layers, lines(0.18, 0, items...))
	p.texts = append(p.texts, text{at: at.Add(geom.V2(103, 0)), size: small, s: "100 mm: measure it. If it is off, print at full size."})
}

// clipped is a layer's part in a window, moved.
func clipped(l draw.Layer, win geom.Box2, by geom.Vec2) draw.Layer {
	out := l
	out.Items = nil
	var edge []geom.HalfPlane
	for _, h := range []geom.HalfPlane{{N: geom.V2(-1, 0), D: -win.Min.X}, {N: geom.V2(1, 0), D: win.Max.X}, {N: geom.V2(0, -1), D: -win.Min.Y}, {N: geom.V2(0, 1), D: win.Max.Y}} {
		edge = append(edge, h)
	}
	const chord = 0.02
	for _, it := range l.Items {
		switch it := it.(type) {
		case draw.Path:
			pts := it.Flatten(chord)
			if it.Closed && len(pts) > 0 {
				pts = append(pts, pts[0])
			}
			out.Items = append(out.Items, runs(pts, edge)...)
		case draw.Circle:
			var pts []geom.Vec2
			n := max(16, int(math.Ceil(math.Pi/math.Acos(max(0, 1-chord/max(it.Radius, chord))))))
			for i := range n + 1 {
				pts = append(pts, it.Center.Add(geom.V2(it.Radius, 0).Rotate(2*math.Pi*float64(i%n)/float64(n))))
			}
			out.Items = append(out.Items, runs(pts, edge)...)
		case draw.Text:
			it.Height = max(it.Height, least*point*capHeight)
			b := lettered(it, l.Style()).box() // a text is on a page as a whole, or not at all
			if b.Min.X >= win.Min.X && b.Max.X <= win.Max.X && b.Min.Y >= win.Min.Y && b.Max.Y <= win.Max.Y {
				out.Items = append(out.Items, it)
			}
		case draw.Region:
			area := it.Area
			for _, h := range edge {
				area = area.ClipHalfPlane(h.N, h.D)
			}
			if len(area) > 0 {
				out.Items = append(out.Items, draw.Region{Area: area, Grey: it.Grey})
			}
		}
	}
	return moved(out, by)
}

// runs are the parts of a line within half-planes.
func runs(pts []geom.Vec2, edge []geom.HalfPlane) []draw.Item {
	var out []draw.Item
	for _, part := range geom.Within(pts, edge) {
		out = append(out, draw.Polyline(part, false))
	}
	return out
}
