package printing

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// inset shrinks a region by a depth, mm.
type inset func(region geom.Polygons, depth float64) geom.Polygons

// layerFigures is what one layer takes.
type layerFigures struct {
	outer, inner, cover, fill float64 // length of bead, mm; inner includes what fills narrow places
	seconds                   float64 // laying and travelling, without the change of layer
}

func (f layerFigures) length() float64 { return f.outer + f.inner + f.cover + f.fill }

func (f layerFigures) scale(k float64) layerFigures {
	return layerFigures{f.outer * k, f.inner * k, f.cover * k, f.fill * k, f.seconds * k}
}

func (f layerFigures) plus(g layerFigures) layerFigures {
	return layerFigures{f.outer + g.outer, f.inner + g.inner, f.cover + g.cover, f.fill + g.fill, f.seconds + g.seconds}
}

// estimator works out the layers of one print. See docs/printing.md.
type estimator struct {
	machine
	slicer *slicer
	inset  inset
	count  int   // layers
	group  []int // per layer: the first layer with the same outline
	steady []int // layers at which the figures may jump, rising, from 0 to count

	covers, fills []raster // directions in which cover layers and core fill are laid
	families      float64  // of core fill lines
	diagonal      float64  // of the part seen from above, mm: no stretch of core fill is longer
	sections      map[int]*section
	known         map[string]layerFigures
	evaluations   int
}

// section is one outline with what has been derived from it.
type section struct {
	region geom.Polygons
	rows   map[int]rows // by raster: covers first, then fills
	shells [2]*shell    // with the layer's bead, with the first layer's
}

// shell is the contours of a section and what they leave to be filled.
type shell struct {
	outer, inner float64 // mm of bead
	seconds      float64
	core         geom.Polygons
	rows         map[int]rows
}

func newEstimator(m machine, points []geom.Vec3, triangles [][3]int32, in inset) *estimator {
	s := newSlicer(points, triangles)
	e := &estimator{
		machine: m, slicer: s, inset: in, count: m.layers(s.top),
		sections: map[int]*section{}, known: map[string]layerFigures{},
	}
	box := geom.EmptyBox2()
	for _, p := range points {
		box = box.Add(p.XY())
	}
	diagonal := box.Size().Len()
	e.diagonal = diagonal
	spacing := m.bead(1).spacing()
	for _, a := range []float64{45, 135} {
		e.covers = append(e.covers, newRaster(box, a*math.Pi/180, max(spacing, diagonal/160)))
	}
	angles := map[string][]float64{"grid": {45, 135}, "hexagons": {0}}[m.FillPattern]
	if angles == nil {
		angles = []float64{0, 60, 120}
	}
	e.families = float64(len(angles))
	for _, a := range angles {
		e.fills = append(e.fills, newRaster(box, a*math.Pi/180, min(e.families*spacing/max(m.Fill, 0.01), max(spacing, diagonal/60))))
	}
	e.divide()
	return e
}

// divide groups layers of equal outline, and marks where the figures may jump:
// at every change from one outline to another, where a slanted stretch begins
// or ends, and, since cover layers look that far, CoverLayers before and after.
func (e *estimator) divide() {
	e.group = make([]int, e.count)
	marks := []int{0, 1, e.count, e.CoverLayers, e.count - e.CoverLayers}
	mark := func(k int) { marks = append(marks, k-e.CoverLayers, k, k+e.CoverLayers) }
	moving := func(k int) bool { return e.group[k] == k && (k+1 == e.count || e.group[k+1] == k+1) }
	for k := 1; k < e.count; k++ {
		a, b := e.middle(k-1), e.middle(k)
		if !e.slicer.changes(a, b) {
			e.group[k] = e.group[k-1]
			continue
		}
		e.group[k] = k
		if i, _ := slices.BinarySearch(e.slicer.steps, a); i < len(e.slicer.steps) && e.slicer.steps[i] < b {
			mark(k)
		}
	}
	for k := 1; k < e.count; k++ {
		if moving(k) != moving(k-1) {
			mark(k)
		}
	}
	slices.Sort(marks)
	for _, k := range slices.Compact(marks) {
		if k >= 0 && k <= e.count {
			e.steady = append(e.steady, k)
		}
	}
}

func (e *estimator) section(group int) *section {
	s := e.sections[group]
	if s == nil {
		s = &section{region: e.slicer.at(e.middle(group)), rows: map[int]rows{}}
		e.sections[group] = s
	}
	return s
}

func (e *estimator) raster(i int) raster {
	if i < len(e.covers) {
		return e.covers[i]
	}
	return e.fills[i-len(e.covers)]
}

func (e *estimator) regionRows(s *section, i int) rows {
	if s.rows[i] == nil {
		s.rows[i] = e.raster(i).cut(s.region)
	}
	return s.rows[i]
}

func (e *estimator) coreRows(s *shell, i int) rows {
	if s.rows[i] == nil {
		s.rows[i] = e.raster(i).cut(s.core)
	}
	return s.rows[i]
}

// layers is the figures of every layer.
func (e *estimator) layers() []layerFigures {
	out := make([]layerFigures, e.count)
	for i := 0; i+1 < len(e.steady); i++ {
		e.run(out, e.steady[i], e.steady[i+1]-1)
	}
	return out
}

// between is how well a layer must be foretold by those around it, as a
// fraction, for the layers between not to be worked out themselves.
const between = 0.02

// run fills in the layers from a to b, between which the figures change
// gradually if at all.
func (e *estimator) run(out []layerFigures, a, b int) {
	out[a], out[b] = e.layer(a), e.layer(b)
	if b-a < 2 {
		return
	}
	if e.key(a) == e.key(b) && e.group[a] == e.group[b] {
		for k := a + 1; k < b; k++ {
			out[k] = out[a]
		}
		return
	}
	m := (a + b) / 2
	out[m] = e.layer(m)
	w := float64(m-a) / float64(b-a)
	guess := out[a].scale(1 - w).plus(out[b].scale(w))
	if near(guess.seconds, out[m].seconds) && near(guess.length(), out[m].length()) && near(guess.cover+guess.fill, out[m].cover+out[m].fill) {
		for k := a + 1; k < m; k++ {
			w := float64(k-a) / float64(m-a)
			out[k] = out[a].scale(1 - w).plus(out[m].scale(w))
		}
		for k := m + 1; k < b; k++ {
			w := float64(k-m) / float64(b-m)
			out[k] = out[m].scale(1 - w).plus(out[b].scale(w))
		}
		return
	}
	e.run(out, a, m)
	e.run(out, m, b)
}

func near(a, b float64) bool { return math.Abs(a-b) <= between*max(math.Abs(a), math.Abs(b)) }

// window is the other outlines within CoverLayers of layer k, and whether
// there is open air that near above or below.
func (e *estimator) window(k int) (others []int, open bool) {
	for j := k - e.CoverLayers; j <= k+e.CoverLayers; j++ {
		if j < 0 || j >= e.count {
			return nil, true
		}
		if g := e.group[j]; g != e.group[k] && !slices.Contains(others, g) {
			others = append(others, g)
		}
	}
	return others, false
}

func (e *estimator) key(k int) string {
	others, open := e.window(k)
	return fmt.Sprint(e.group[k], k == 0, open, others)
}

func (e *estimator) layer(k int) layerFigures {
	key := e.key(k)
	f, ok := e.known[key]
	if !ok {
		f = e.work(k)
		e.known[key] = f
	}
	return f
}

// work lays one layer.
func (e *estimator) work(k int) layerFigures {
	e.evaluations++
	own := e.section(e.group[k])
	if len(own.region) == 0 {
		return layerFigures{}
	}
	b, first := e.bead(k), k == 0
	sh := e.shell(own, b, first)
	f := layerFigures{outer: sh.outer, inner: sh.inner, seconds: sh.seconds}
	area := sh.core.Area()
	if area <= 0 {
		return f
	}
	others, open := e.window(k)
	cover, fill := 0.0, area // mm² laid solid, and in part
	if open {
		cover, fill = area, 0
	}
	var coverLines []rows
	fillLines := make([]rows, len(e.fills))
	if len(others) == 0 {
		for i := range e.covers {
			if open {
				coverLines = append(coverLines, e.coreRows(sh, i))
			}
		}
		for i := range e.fills {
			fillLines[i] = e.coreRows(sh, len(e.covers)+i)
		}
	} else {
		share := 0.0
		for i := range e.covers {
			core := e.coreRows(sh, i)
			rest := core
			for _, g := range others {
				rest = rest.and(e.regionRows(e.section(g), i))
			}
			top := core.less(rest)
			coverLines = append(coverLines, top)
			share += ratio(total(top), total(core)) / float64(len(e.covers))
		}
		cover, fill = area*share, area*(1-share)
		for i := range e.fills {
			rest := e.coreRows(sh, len(e.covers)+i)
			for _, g := range others {
				rest = rest.and(e.regionRows(e.section(g), len(e.covers)+i))
			}
			fillLines[i] = rest
		}
	}
	spacing := b.spacing()
	if cover > 0 {
		f.cover = cover / spacing
		f.seconds += e.lines(coverLines, f.cover, spacing, e.speed(e.CoverSpeed, b, first))
		f.seconds += e.reach(sh.core)
	}
	if fill > 0 && e.Fill > 0 {
		f.fill = e.Fill * fill / spacing
		v := e.speed(e.FillSpeed, b, first)
		if e.FillPattern == "hexagons" {
			// Relative density of hexagonal cells with sides l and walls t is
			// 2t/(√3 l) (Gibson and Ashby); every side is a move of its own.
			side := min(2/math.Sqrt(3)*spacing/e.Fill, e.diagonal)
			f.seconds += f.fill / side * moveTime(side, v, e.Acceleration)
		} else {
			f.seconds += e.lines(fillLines, f.fill, min(e.families*spacing/e.Fill, e.diagonal), v)
		}
		f.seconds += e.reach(sh.core)
	}
	return f
}

// lines is the time to lay a length of bead in the stretches of the given
// rasters, with a hop from each line to the next. The stretches are a sample;
// the sample is scaled to the length.
func (e *estimator) lines(sample []rows, length, pitch, v float64) float64 {
	sum, seconds := 0.0, 0.0
	hop := moveTime(pitch, e.TravelSpeed, e.Acceleration)
	for _, r := range sample {
		r.each(e.Line/4, func(l float64) {
			sum += l
			seconds += moveTime(l, v, e.Acceleration) + hop
		})
	}
	if sum == 0 { // too small for the raster to hit
		return length/v + hop
	}
	return seconds * length / sum
}

// reach is the time to get to each island of a region and start there.
func (e *estimator) reach(region geom.Polygons) float64 {
	t := 0.0
	for _, p := range region {
		if p.Area() > 0 {
			t += e.Retract + moveTime(p.Bounds().Size().Len()/2, e.TravelSpeed, e.Acceleration)
		}
	}
	return t
}

// shell lays the contours. The middle of the outermost bead runs half a bead's
// width within the outline, the others follow at the bead spacing. Where the
// part is too narrow for all of them, what is left over between them is laid
// as bead too.
func (e *estimator) shell(s *section, b bead, first bool) *shell {
	slot := 0
	if first && e.FirstLayer != e.Layer {
		slot = 1
	}
	if s.shells[slot] != nil && !first {
		return s.shells[slot]
	}
	out := &shell{rows: map[int]rows{}}
	spacing := b.spacing()
	vOuter, vInner := e.speed(e.OuterSpeed, b, first), e.speed(e.InnerSpeed, b, first)
	n := e.Contours
	depth := b.width/2 + (float64(n)-0.5)*spacing
	if n == 0 {
		depth = 0
		out.core = s.region
	} else {
		out.core = e.inset(s.region, depth)
	}
	perimeter, area := 0.0, s.region.Area()
	for _, p := range s.region {
		perimeter += p.Perimeter()
	}
	if e.plain(s.region, out.core, depth) {
		// Nothing vanishes or meets on the way in, so lengths fall linearly.
		lengthIn := 0.0
		var timeOut, timeIn [2]float64 // at the outer, the inner contours' speed
		for _, p := range out.core {
			lengthIn += p.Perimeter()
			timeIn[0] += loopTime(p, vOuter, e.Acceleration)
			timeIn[1] += loopTime(p, vInner, e.Acceleration)
		}
		for _, p := range s.region {
			timeOut[0] += loopTime(p, vOuter, e.Acceleration)
			timeOut[1] += loopTime(p, vInner, e.Acceleration)
		}
		for i := range n {
			w := (b.width/2 + float64(i)*spacing) / depth
			l := perimeter*(1-w) + lengthIn*w
			if i == 0 {
				out.outer += l
				out.seconds += timeOut[0]*(1-w) + timeIn[0]*w
			} else {
				out.inner += l
				out.seconds += timeOut[1]*(1-w) + timeIn[1]*w
			}
		}
	} else {
		for i := range n {
			v := vInner
			if i == 0 {
				v = vOuter
			}
			for _, p := range e.inset(s.region, b.width/2+float64(i)*spacing) {
				if i == 0 {
					out.outer += p.Perimeter()
				} else {
					out.inner += p.Perimeter()
				}
				out.seconds += loopTime(p, v, e.Acceleration)
			}
		}
	}
	if n > 0 {
		// The rounded sides of the outermost beads leave this much of the
		// outline's own rim unfilled. Whatever else is missing is narrow places,
		// which are filled; whatever is too much is beads that have no room for
		// their whole width between two others, which are laid thinner.
		rim := (b.width - spacing) / 2 * perimeter
		gap := (area-rim-out.core.Area())/spacing - (out.outer + out.inner)
		out.seconds += max(0, gap) / vInner
		if out.inner += gap; out.inner < 0 {
			out.outer, out.inner = max(0, out.outer+out.inner), 0
		}
		out.seconds += e.tour(s.region) + float64(len(s.region)*(n-1))*moveTime(spacing, e.TravelSpeed, e.Acceleration)
	}
	if !first || slot == 1 {
		s.shells[slot] = out
	}
	return out
}

// plain reports whether shrinking a region by depth only moved its sides: as
// many loops as before, and the perimeter that its corners foretell,
// P - 2 d Σ tan(τ/2) over the turns τ.
func (e *estimator) plain(region, core geom.Polygons, depth float64) bool {
	if len(region) != len(core) || depth == 0 {
		return false
	}
	want, got := 0.0, 0.0
	for _, p := range region {
		want += p.Perimeter()
		for i, v := range p {
			in, out := v.Sub(p[(i+len(p)-1)%len(p)]), p[(i+1)%len(p)].Sub(v)
			want -= 2 * depth * math.Tan(math.Atan2(in.Cross(out), in.Dot(out))/2)
		}
	}
	for _, p := range core {
		got += p.Perimeter()
	}
	return math.Abs(want-got) <= 2e-3*got
}

// tour is the time to travel from loop to loop, always to the nearest not yet
// done, with a retract for each.
func (e *estimator) tour(region geom.Polygons) float64 {
	left := make([]geom.Vec2, len(region))
	for i, p := range region {
		left[i] = p.Bounds().Center()
	}
	t := float64(len(region)) * e.Retract
	for len(left) > 1 {
		at := left[0]
		left = left[1:]
		next := 0
		for i, q := range left {
			if q.Dist(at) < left[next].Dist(at) {
				next = i
			}
		}
		t += moveTime(left[next].Dist(at), e.TravelSpeed, e.Acceleration)
		left[0], left[next] = left[next], left[0]
	}
	return t
}

func total(r rows) float64 {
	sum := 0.0
	r.each(0, func(l float64) { sum += l })
	return sum
}

func ratio(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}
