package veneer

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// baseID names a part of a surface.
func baseID(member, surface string, part int) string {
	id := member + "/" + surface
	if part > 0 {
		id += fmt.Sprintf(".%d", part+1)
	}
	return id
}

// isBand reports whether a surface is covered by a band.
func isBand(sf *piece.Surface) bool {
	switch sf.Kind {
	case piece.Cylinder:
		return sf.Role == piece.Edge || sf.Role == piece.Side
	case piece.Extruded, piece.Plane:
		return sf.Role == piece.Edge
	}
	return false
}

// lengthwise reports whether the grain runs along u rather than across.
func lengthwise(grain float64) bool { return math.Abs(math.Cos(grain)) > math.Sqrt(0.5) }

// wraps reports whether a part of a closed surface goes all the way round.
func (c *clad) wraps(si int, base geom.Polygons) bool {
	for _, p := range base {
		for j := range p {
			if c.onSeam(si, p[j], p[(j+1)%len(p)]) {
				return true
			}
		}
	}
	return false
}

// divide settles into how many pieces the veneer of a surface is divided, and
// where.
func (t *task) divide(r *solid.Regions, c *clad, si int) {
	sf := &c.surfaces[si]
	w := t.wishes[c.index][si]
	id := t.p.Members[c.index].ID
	t.bends(id+"/"+sf.Name, sf, w, c.cover[si].Grain, t.o, t.shop.Veneers)
	if err := c.neutral(si).err; err != nil {
		t.add(finding.Stop, "neutral-surface", id+"/"+sf.Name, w.line, "geometry of parallel surfaces", "make its tightest radius larger; or leave it bare",
			"The veneer on %s has no neutral surface: %v.", id+"/"+sf.Name, err)
	}
	if sf.Role == piece.Face {
		t.hollows(c, si, id+"/"+sf.Name, w)
	}
	for part, base := range c.bases(r, si) {
		name := baseID(id, sf.Name, part)
		if sf.Kind == piece.Plane && sf.Role != piece.Edge && t.small(c, si, base, w) {
			continue
		}
		un := c.unroll(r, si, base, w.allowance, t.o)
		switch {
		case isBand(sf):
			t.band(c, si, name, base, un, w)
		case sf.Kind == piece.Cone && c.wraps(si, base):
			t.layout.Joints = append(t.layout.Joints, LeafJoint{ID: name + "/butt", Member: c.index, Surface: si, Kind: "butt", At: c.backAngle(si)})
		default:
			if c.wraps(si, base) {
				t.layout.Joints = append(t.layout.Joints, LeafJoint{ID: name + "/butt", Member: c.index, Surface: si, Kind: "butt", Line: c.openingLine(si)})
			}
			t.leaf(c, si, name, base, un, w)
		}
	}
}

// small reports whether a leaf fits a blank whatever its corners gain.
func (t *task) small(c *clad, si int, base geom.Polygons, w wish) bool {
	most := 0.0
	for i := range c.cover {
		most = max(most, c.cover[i].Stack)
	}
	size := base.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-c.cover[si].Grain) }).Bounds().Grow(4*most + w.allowance).Size()
	return fits(rooms(t.shop, w.veneer), size.X, size.Y)
}

// hollows tells of corners of a face that a cutter cannot trim into.
func (t *task) hollows(c *clad, si int, subject string, w wish) {
	sharp := 0
	for _, loop := range c.surfaces[si].Region {
		loop = dropRepeats(loop)
		n := len(loop)
		for i, q := range loop {
			a, b := q.Sub(loop[(i+n-1)%n]), loop[(i+1)%n].Sub(q)
			if math.Atan2(a.Cross(b), a.Dot(b)) < -piece.BreakAngle {
				sharp++
			}
		}
	}
	if sharp > 0 {
		t.add(finding.Note, "hollow-corner", subject, w.line, "geometry", "finish these corners by knife",
			"A trimming cutter leaves a radius of %s mm in %d hollow corners of this face.", mm(t.o.Cutter), sharp)
	}
}

// backAngle is the angle about the axis of a round side at which its joint is
// seen least: towards the middle of the piece, if the member stands off it by
// more than its own width; else farthest back, or, if the axis points there,
// lowest. All sides about one axis have their joints in line.
func (c *clad) backAngle(si int) float64 {
	dirs := []geom.Vec3{{Y: 1}, {Z: -1}}
	frame := c.surfaces[si].Frame
	low, high := geom.V2(0, math.Inf(1)), geom.V2(0, math.Inf(-1)) // ends of the profile
	for i := range c.surfaces {
		o := &c.surfaces[i]
		if o.Role != piece.Side || o.Kind == piece.Plane || o.Kind == piece.Extruded || len(o.Run.Segs) == 0 ||
			math.Abs(o.Frame.Z.Dot(frame.Z)) < 1-1e-9 || frame.Local(o.Frame.Origin).XY().Len() > 1e-3 {
			continue
		}
		for _, q := range []geom.Vec2{o.Run.Segs[0].From(), o.Run.Segs[len(o.Run.Segs)-1].To()} {
			q.Y = frame.Local(o.Frame.Point(geom.V3(0, 0, q.Y))).Z
			if q.Y < low.Y {
				low = q
			}
			if q.Y > high.Y {
				high = q
			}
		}
	}
	frame = frame.In(c.core.Place)
	at := frame.Point(geom.V3(0, 0, (low.Y+high.Y)/2)).XY()
	if in := c.middle.Sub(at); in.Len() > low.X+high.X {
		dirs = append([]geom.Vec3{{X: in.X, Y: in.Y}}, dirs...)
	}
	for _, d := range dirs {
		d = d.Unit()
		if l := frame.LocalDir(d).XY(); l.Len() > 0.1 {
			a := l.Angle()
			if a < 0 {
				a += 2 * math.Pi
			}
			return a
		}
	}
	return 0
}

// band settles one stretch of an edge or a round side.
func (t *task) band(c *clad, si int, id string, base geom.Polygons, un unrolled, w wish) {
	sf := &c.surfaces[si]
	closed := sf.Closed && c.wraps(si, base)
	box, cut := un.net.Bounds(), un.gross.Bounds()
	width, wide := box.Size().Y, cut.Size().Y
	rs := rooms(t.shop, w.veneer)
	bed := longest(rs, wide)
	run := BandRun{ID: id, Member: c.index, Surface: si, From: base.Bounds().Min.X, To: base.Bounds().Max.X, Closed: closed, Parts: 1}
	length := cut.Size().X
	total := box.Size().X
	if closed {
		total = un.neutral.total()
		length = total + t.o.ringExtra(total)
	}
	done := func() { t.layout.Bands = append(t.layout.Bands, run) }
	butt := func() {
		if !closed {
			return
		}
		at := c.backmost(si)
		if w.lapAt != nil {
			at = *w.lapAt
		}
		run.From, run.To = at, at+sf.Length
		t.layout.Joints = append(t.layout.Joints, LeafJoint{ID: id + "/butt", Member: c.index, Surface: si, Kind: "butt", At: at})
		t.clear(c, si, "ends of the band "+id, t.o.LapClear, []geom.Vec2{{X: at, Y: base.Bounds().Min.Y}, {X: at, Y: base.Bounds().Max.Y}})
	}
	if !lengthwise(c.cover[si].Grain) {
		if closed {
			butt()
		} else {
			t.leaf(c, si, id, base, un, w)
		}
		done()
		return
	}
	long := length > bed+1e-9
	if !long && w.lap != "always" {
		butt()
		done()
		return
	}
	subject := id
	knife := knifeRoom(w.veneer)
	straight := sf.Kind == piece.Plane
	if long && (straight || t.o.Knife || w.lap == "never") {
		if length <= knife.along && wide <= knife.across {
			run.Knife = true
			butt()
			done()
			return
		}
		if w.lap == "never" {
			t.add(finding.Stop, "lap-needed", subject, w.line, "geometry", "allow a lap; or use a longer bed or sheet",
				"The band %s is %s mm long; bed and sheet allow %s mm, and laps are ruled out.", id, mm(length), mm(max(bed, knife.along)))
		}
	}
	if bed <= 0 {
		t.add(finding.Stop, "band-too-wide", subject, w.line, "geometry", "use a larger bed or sheet; or turn the grain",
			"The band %s is %s mm wide with its allowance, more than a blank allows.", id, mm(wide))
		done()
		return
	}
	pin, head := t.o.pin(width)
	f := NewFingers(width, head)
	lap := f.Lap(t.o.Feather)
	if lap > total/3 {
		t.add(finding.Warning, "too-short-for-lap", subject, w.line, "our own rule: a lap takes at most a third of the run", "leave the lap out; or make the band narrower",
			"A lap on %s would be %s mm of its %s mm.", id, mm(lap), mm(total))
		butt()
		done()
		return
	}
	v := w.veneer.Stack()
	low := c.fingersLow(si)
	first := 1
	if !closed {
		first = 2
	}
	for n := first; n <= 64; n++ {
		if long && (total+float64(n-first+1)*lap)/float64(n) > bed { // before the laps' own thickness is counted
			continue
		}
		most := math.Inf(1)
		if long {
			most = bed
		}
		laps, lengths := t.placeLaps(c, si, un.neutral, box, closed, n, lap, v, most, w)
		if long && slices.Max(lengths) > bed {
			continue
		}
		run.Parts, run.Low = n, low
		for i := range laps {
			l := &laps[i]
			l.ID = fmt.Sprintf("%s/lap-%d", id, i+1)
			l.Member, l.Surface = c.index, si
			l.Fingers, l.Finger, l.Pin, l.Feather, l.Relief = f.Count, f.Length, pin, t.o.Feather, w.relief
			wa, wb := un.neutral.along(l.At-l.Length/2), un.neutral.along(l.At+l.Length/2)
			for _, q := range f.Pins(lap) {
				// From the fingers' roots: to the pattern, and back to the core.
				x := wb - f.Length + q.X
				if low {
					x = wa + f.Length - q.X
				}
				l.Pins = append(l.Pins, geom.V2(un.neutral.back(x), box.Min.Y+q.Y))
			}
			var line []geom.Vec2
			y := base.Bounds().Center().Y
			for k := range 17 {
				line = append(line, geom.V2(l.At+l.Length*(float64(k)/16-0.5), y))
			}
			t.clear(c, si, "lap "+l.ID, t.o.LapClear, line)
			run.Laps = append(run.Laps, l.ID)
			if w.relief {
				t.relief(c, si, *l, v, w.veneer)
			}
			t.layout.Laps = append(t.layout.Laps, *l)
		}
		if long && len(t.shop.Lasers) > 0 {
			b := t.shop.Lasers[0]
			if skew(b.Bed.X-2*b.Margin, b.Bed.Y-2*b.Margin, length+lap, wide) {
				t.add(finding.Note, "fits-skew", subject, w.line, "geometry", "",
					"A strip of %s by %s mm, ripped with the grain, would also lie skew on the bed in one piece.", mm(length+lap), mm(wide))
			}
		}
		done()
		return
	}
	t.add(finding.Stop, "lap-longer-than-bed", subject, w.line, "geometry", "use a longer bed; or rip the band by knife",
		"The laps of %s alone (%s mm) are longer than the bed (%s mm).", id, mm(lap), mm(bed))
	done()
}

// placeLaps puts n bands on a run and says how long each is, its laps
// included. Round a closed rim the first lap lies at the back, or where the
// piece file asks, and all are moved together no farther than needed to keep
// clear of contacts; if that does not help, one by one, as long as no band
// becomes longer than most.
func (t *task) placeLaps(c *clad, si int, n *neutral, box geom.Box2, closed bool, bands int, lap, v, most float64, w wish) (laps []Lap, lengths []float64) {
	sf := &c.surfaces[si]
	make1 := func(mid float64) Lap {
		a, b := n.back(mid-lap/2), n.back(mid+lap/2)
		return Lap{At: (a + b) / 2, Length: b - a}
	}
	rides := func(l Lap) float64 { // longer by the layer underneath
		if w.relief {
			return 0
		}
		return v * turningBetween(sf, l.At-l.Length/2, l.At+l.Length/2)
	}
	if !closed {
		total := box.Size().X
		each := (total + float64(bands-1)*lap) / float64(bands)
		for i := 1; i < bands; i++ {
			laps = append(laps, make1(box.Min.X+float64(i)*(each-lap)+lap/2))
		}
		for range bands {
			lengths = append(lengths, each)
		}
		for i, l := range laps {
			lengths[i] += rides(l)
			if d := t.lapDistance(c, si, l); d < t.o.LapClear {
				t.tight(c, si, l, d, w)
			}
		}
		return laps, lengths
	}
	total := n.total()
	part := total / float64(bands)
	start := c.backmost(si)
	if w.lapAt != nil {
		start = *w.lapAt
	}
	at := func(shift float64) (ls []Lap) {
		for i := range bands {
			l := make1(n.along(start) + shift + float64(i)*part)
			l.At -= math.Floor(l.At/sf.Length) * sf.Length
			ls = append(ls, l)
		}
		return ls
	}
	worst := func(ls []Lap) float64 {
		d := math.Inf(1)
		for _, l := range ls {
			d = min(d, t.lapDistance(c, si, l))
		}
		return d
	}
	laps = at(0)
	if d := worst(laps); d < t.o.LapClear && w.lapAt == nil {
		found := false
		const step = 5.0
		for k := 1; float64(k)*step <= part/2 && !found; k++ {
			for _, s := range []float64{step, -step} {
				if ls := at(float64(k) * s); worst(ls) >= t.o.LapClear {
					laps, found = ls, true
					break
				}
			}
		}
		if !found {
			if us := t.spread(c, si, start, bands, lap*sf.Length/total, (most-lap)*sf.Length/total); us != nil {
				found = true
				for i, u := range us {
					laps[i] = make1(n.along(u))
				}
			}
		}
		if !found {
			t.tight(c, si, laps[0], d, w)
		}
	} else if d < t.o.LapClear {
		t.tight(c, si, laps[0], d, w)
	}
	slices.SortStableFunc(laps, func(a, b Lap) int { return cmp.Compare(a.At, b.At) })
	for i, l := range laps {
		gap := total
		if i > 0 {
			gap = n.along(l.At) - n.along(laps[i-1].At)
		} else if bands > 1 {
			gap = n.along(l.At) + total - n.along(laps[bands-1].At)
		}
		lengths = append(lengths, gap+lap+rides(l))
	}
	return laps, lengths
}

// spread places laps round a rim where equal spacing cannot keep them clear of
// contacts: from equal spacing, turned by every amount in turn, each lap moves
// to the nearest clear place, and of all that leave no more than most between
// two laps the least moved are taken. Arc lengths on the core, rising; nil when
// there is no way.
func (t *task) spread(c *clad, si int, start float64, laps int, lap, most float64) []float64 {
	const step = 2.5 // mm, about
	length := c.surfaces[si].Length
	n := laps * int(math.Ceil(length/step/float64(laps)))
	each := length / float64(n)
	clear := make([]bool, n)
	for i := range clear {
		clear[i] = t.lapDistance(c, si, Lap{At: math.Mod(start+float64(i)*each, length), Length: lap}) >= t.o.LapClear
	}
	nearest := func(i int) (int, bool) {
		for d := 0; d < n/(2*laps); d++ {
			for _, j := range []int{i + d, i - d} {
				if clear[((j%n)+n)%n] {
					return j, true
				}
			}
		}
		return 0, false
	}
	var best []int
	least := math.MaxInt
	for k := range n / laps {
		turned := k - n/laps/2
		var at []int
		moved := 0
		for i := range laps {
			want := turned + i*n/laps
			j, ok := nearest(want)
			if !ok {
				break
			}
			at = append(at, j)
			moved += max(j-want, want-j)
		}
		if len(at) < laps || moved >= least {
			continue
		}
		fits := true
		for i := range at {
			next := at[(i+1)%laps]
			if i+1 == laps {
				next += n
			}
			gap := float64(next-at[i]) * each
			fits = fits && gap <= most && gap >= 2*lap
		}
		if fits {
			best, least = at, moved
		}
	}
	var out []float64
	for _, j := range best {
		u := start + float64(j)*each
		out = append(out, u-math.Floor(u/length)*length)
	}
	slices.Sort(out)
	return out
}

func (t *task) tight(c *clad, si int, l Lap, d float64, w wish) {
	t.add(finding.Warning, "lap-near-contact", t.p.Members[c.index].ID+"/"+c.surfaces[si].Name, w.line, "common practice, no source",
		"move the lap with lap_at; or move the joint", "A lap lies %s mm from a contact; %s mm is wanted.", mm(d), mm(t.o.LapClear))
}

// turningBetween is the angle through which an edge or a cylinder turns.
func turningBetween(sf *piece.Surface, a, b float64) float64 {
	switch sf.Kind {
	case piece.Cylinder:
		return (b - a) / sf.Run.Segs[0].From().X
	case piece.Extruded:
		return max(0, sf.Run.Turning(a, b))
	}
	return 0
}

// clear keeps seams away from a line in a surface's chart.
func (t *task) clear(c *clad, si int, why string, distance float64, line []geom.Vec2) {
	out := Clear{Member: c.index, Distance: distance, Why: why}
	for _, q := range line {
		out.Line = append(out.Line, c.world(si, q))
	}
	t.layout.Clears = append(t.layout.Clears, out)
}

// reliefRamp is the length of the ramps at the ends of a relief of depth v:
// two arcs of radius r that sink by v take 2 √(r v), and nowhere may the ramp
// be steeper than 1:10, which an S of length l is in its middle when l = 20 v.
func reliefRamp(r, v float64) float64 { return max(2*math.Sqrt(r*v), 20*v) }

// reliefDepth is the depth at the distance x from the start of a relief whose
// flat part is flat long.
func reliefDepth(x, ramp, flat, v float64) float64 {
	if x > ramp+flat/2 {
		x = 2*ramp + flat - x
	}
	switch q := x / ramp; {
	case q <= 0:
		return 0
	case q < 0.5:
		return v * 2 * q * q
	case q < 1:
		return v * (1 - 2*(1-q)*(1-q))
	}
	return v
}

// relief sinks the core under a lap by the thickness of the inner layer, so
// that the outer one lies flush. Beyond the fingers' tips a gutter is left
// that runs out over the ramp.
func (t *task) relief(c *clad, si int, l Lap, v float64, ven shop.Veneer) {
	sf := &c.surfaces[si]
	if sf.Kind == piece.Plane {
		return
	}
	ramp := reliefRamp(bendLimit(ven, c.cover[si].Grain), v)
	from := l.At - l.Length/2 - ramp
	span := l.Length + 2*ramp
	n := int(math.Ceil(span))
	const beyond = 1.0 // outside the core
	var outer, inner []geom.Vec2
	for i := range n + 1 {
		x := span * float64(i) / float64(n)
		u := from + x
		if sf.Closed {
			u -= math.Floor(u/sf.Length) * sf.Length
		} else if u < 0 || u > sf.Length {
			continue
		}
		q := sf.Frame.Local(sf.Point(geom.V2(u, 0))).XY()
		out := sf.Frame.LocalDir(sf.Normal(geom.V2(u, 0))).XY()
		outer = append(outer, q.Add(out.Scale(beyond)))
		inner = append(inner, q.Sub(out.Scale(reliefDepth(x, ramp, l.Length, v))))
	}
	// Along a convex rim u runs counter-clockwise, so the outer line comes
	// first.
	loop := append(geom.Polygon{}, outer...)
	for i := len(inner) - 1; i >= 0; i-- {
		loop = append(loop, inner[i])
	}
	if loop.Area() < 0 {
		loop = loop.Reversed()
	}
	tags := make([]solid.Tag, len(loop))
	for i := range tags {
		tags[i] = sf.Tag
	}
	b := sf.Region.Bounds()
	shape := solid.Extrude([]solid.Loop{{Points: loop, Tags: tags}}, b.Min.Y-beyond, b.Max.Y+beyond, solid.NoTag, solid.NoTag)
	t.layout.Cuts = append(t.layout.Cuts, piece.Cut{
		ID: l.ID + "/relief", Member: c.index, Purpose: "relief", Shape: shape.At(sf.Frame).At(c.core.Place),
	})
}

// leaf settles how a leaf that is larger than a blank is divided: side by side
// along the grain first, end to end only when that does not help, into equal
// parts so that joints lie on lines of symmetry. A plain rectangle that can be
// cut from the sheet by knife is not divided.
func (t *task) leaf(c *clad, si int, id string, base geom.Polygons, un unrolled, w wish) {
	grain := c.cover[si].Grain
	cut := un.gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-grain) }).Bounds()
	rs := rooms(t.shop, w.veneer)
	size := cut.Size()
	if fits(rs, size.X, size.Y) || knifeLeaf(un.net, size, knifeRoom(w.veneer)) {
		return
	}
	bestAlong, bestAcross := 0, 0
	for _, rm := range rs {
		if rm.along <= 0 || rm.across <= 0 {
			continue
		}
		a, b := int(math.Ceil(size.X/rm.along-1e-9)), int(math.Ceil(size.Y/rm.across-1e-9))
		if bestAlong == 0 || a*b < bestAlong*bestAcross || a*b == bestAlong*bestAcross && a < bestAlong {
			bestAlong, bestAcross = a, b
		}
	}
	if bestAlong*bestAcross > 64 || bestAlong == 0 {
		t.add(finding.Stop, "leaf-too-large", id, w.line, "geometry", "use a larger bed or sheet", "The leaf %s (%s by %s mm) cannot be divided to suit the bed.", id, mm(size.X), mm(size.Y))
		return
	}
	net := un.net.Map(func(q geom.Vec2) geom.Vec2 { return q.Rotate(-grain) }).Bounds()
	n := 0
	add := func(kind string, normal geom.Vec2, lo, hi float64, parts int) {
		for i := 1; i < parts; i++ {
			n++
			dir := normal.Rotate(grain)
			d := lo + (hi-lo)*float64(i)/float64(parts)
			j := LeafJoint{ID: fmt.Sprintf("%s/joint-%d", id, n), Member: c.index, Surface: si, Kind: kind, Line: geom.Plane{Normal: geom.V3(dir.X, dir.Y, 0), D: d}}
			t.layout.Joints = append(t.layout.Joints, j)
			var line []geom.Vec2
			reach := size.Len()
			for k := -100; k <= 100; k++ {
				q := dir.Scale(d).Add(dir.Left().Scale(reach * float64(k) / 100))
				q = q.Add(dir.Left().Scale(net.Center().Rotate(grain).Dot(dir.Left())))
				if base.Contains(q) {
					line = append(line, q)
				}
			}
			if len(line) > 1 {
				t.clear(c, si, "joint of leaves on "+id, t.o.LeafClear, line)
			}
		}
	}
	add("side by side", geom.V2(0, 1), net.Min.Y, net.Max.Y, bestAcross)
	add("end match", geom.V2(1, 0), net.Min.X, net.Max.X, bestAlong)
	t.add(finding.Note, "leaf-divided", id, w.line, "common practice, no source",
		"tape the leaves together on the show face and lay them as one; or use a larger bed",
		"The leaf %s (%s by %s mm with its allowance) is larger than a blank and is made of %d by %d leaves, both edges of a joint cut together.", id, mm(size.X), mm(size.Y), bestAcross, bestAlong)
}

// knifeLeaf reports whether a leaf is a plain rectangle that can be cut from a
// sheet by knife.
func knifeLeaf(net geom.Polygons, size geom.Vec2, k room) bool {
	if len(net) != 1 || size.X > k.along || size.Y > k.across {
		return false
	}
	b := net.Bounds().Size()
	return math.Abs(net.Area()-b.X*b.Y) < 1e-6*b.X*b.Y
}
