package strength

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
)

// rests are points where a slab rests on other members or hangs from them, seen
// from above: the borders of its contacts.
func (s slab) rests(joints *joint.Result) []geom.Vec2 {
	if joints == nil {
		return nil
	}
	mine := map[int]bool{}
	for _, m := range s.members() {
		mine[m] = true
	}
	var out []geom.Vec2
	for _, c := range joints.Contacts {
		if mine[c.A.Member] != mine[c.B.Member] {
			for _, p := range border(c) {
				out = append(out, p.XY())
			}
		}
	}
	for _, c := range joints.Rounds {
		if mine[c.A.Member] != mine[c.B.Member] {
			for _, p := range round(c) {
				out = append(out, p.XY())
			}
		}
	}
	return out
}

// every is the distance in mm of points along the border of a contact.
const every = 10.0

// border are points along the border of a contact, world.
func border(c joint.Contact) []geom.Vec3 {
	var out []geom.Vec3
	for _, loop := range c.Region {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			n := int(math.Ceil(a.Dist(b) / every))
			for k := range n {
				out = append(out, c.Frame.Point(flat(a.Lerp(b, float64(k)/float64(n)))))
			}
		}
	}
	return out
}

// round are points along the border of a round contact, world.
func round(c joint.RoundContact) []geom.Vec3 {
	var out []geom.Vec3
	for _, loop := range c.Region {
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			n := int(math.Ceil(a.Dist(b) / every))
			for k := range n {
				p := a.Lerp(b, float64(k)/float64(n))
				sin, cos := math.Sincos(p.X / c.Radius)
				out = append(out, c.Axis.Point(geom.V3(c.Radius*cos, c.Radius*sin, p.Y)))
			}
		}
	}
	return out
}

// spot is a place on a slab where a disc is pressed, seen from above.
type spot struct {
	id, where string
	at        geom.Vec2
}

// sites are the points of a grid over a slab at which a disc finds room.
type sites struct {
	along, across geom.Vec2
	box           geom.Box2
	middle        geom.Vec2
	points        []geom.Vec2
	grid          float64
	rests         []geom.Vec2
	support       geom.Polygon // hull of rests, nil where they lie in a line
}

func (s slab) sites(radius float64, joints *joint.Result) sites {
	out := sites{rests: s.rests(joints)}
	out.along, out.across, out.box = s.axes()
	plan := s.plan()
	out.middle = middle(plan)
	rim := plan
	if len(s) > 1 { // slats, or boards side by side: gaps between them are no rim
		var pts []geom.Vec2
		for _, p := range plan {
			pts = append(pts, p...)
		}
		rim = geom.Polygons{hull(pts)}
	}
	size := out.box.Size()
	const steps = 80
	out.grid = max(2, size.X/steps)
	c := out.box.Center()
	nx, ny := int(size.X/2/out.grid), int(size.Y/2/out.grid)
	var at []geom.Vec2
	var room []float64
	widest := 0.0
	for i := -nx; i <= nx; i++ {
		for j := -ny; j <= ny; j++ {
			q := c.Add(geom.V2(float64(i)*out.grid, float64(j)*out.grid))
			p := out.along.Scale(q.X).Add(out.across.Scale(q.Y))
			if !rim.Contains(p) {
				continue
			}
			d := rim.Distance(p)
			at, room, widest = append(at, p), append(room, d), max(widest, d)
		}
	}
	for i, p := range at {
		if room[i] >= min(radius, widest-out.grid/2)-1e-9 {
			out.points = append(out.points, p)
		}
	}
	out.support = hull(append([]geom.Vec2(nil), out.rests...))
	return out
}

// clear is how far a point is from where the slab rests.
func (s sites) clear(p geom.Vec2) float64 {
	if len(s.rests) == 0 {
		return 0
	}
	d := math.Inf(1)
	for _, q := range s.rests {
		d = min(d, p.Dist(q))
	}
	return d
}

// overhang is how far a point stands out over the hull of where the slab rests.
func (s sites) overhang(p geom.Vec2) float64 {
	if s.support == nil || s.support.Contains(p) {
		return 0
	}
	return s.support.Distance(p)
}

// best is the point of the greatest value; of points that equal it within a
// grid's step, the one nearest to the middle.
func (s sites) best(value func(geom.Vec2) float64) (geom.Vec2, float64) {
	top := math.Inf(-1)
	for _, p := range s.points {
		top = max(top, value(p))
	}
	out, near := s.middle, math.Inf(1)
	for _, p := range s.points {
		if d := p.Dist(s.middle); value(p) > top-s.grid/2 && d < near-1e-9 {
			out, near = p, d
		}
	}
	return out, top
}

// centre is the point with room for a disc that is nearest to the middle.
func (s sites) centre() geom.Vec2 {
	p, _ := s.best(func(p geom.Vec2) float64 { return -p.Dist(s.middle) })
	return p
}

// towards is the outermost point in a direction.
func (s sites) towards(d geom.Vec2) geom.Vec2 {
	p, _ := s.best(func(p geom.Vec2) float64 { return p.Dot(d) })
	return p
}

// weakest of directions that are alike is the one whose outermost point is
// farthest from where the slab rests; the first of those that are equal.
func (s sites) weakest(ds ...geom.Vec2) geom.Vec2 {
	var out geom.Vec2
	far := math.Inf(-1)
	for _, d := range ds {
		p := s.towards(d)
		if v := s.overhang(p) + s.clear(p); v > far+s.grid {
			out, far = p, v
		}
	}
	return out
}

// around are the places at which a top is tried: its middle, its sides, towards
// a corner, and where it stands out or lies free farthest, but no two nearer to
// one another than a disc's radius.
func (s sites) around(radius float64) []spot {
	a, c := s.along, s.across
	half := s.box.Size().Scale(0.5)
	slant := func(x, y float64) geom.Vec2 { return a.Scale(x / half.X).Add(c.Scale(y / half.Y)).Unit() }
	out := []spot{
		{"middle", "in the middle of", s.centre()},
		{"long-side", "at the middle of a long side of", s.weakest(c.Scale(-1), c)},
		{"short-side", "at the middle of a short side of", s.weakest(a.Scale(-1), a)},
		{"corner", "at the edge towards a corner of", s.weakest(slant(-1, -1), slant(1, -1), slant(1, 1), slant(-1, 1))},
	}
	if p, far := s.best(s.overhang); far > radius/2 {
		out = append(out, spot{"overhang", "where it stands out farthest over what carries it, on", p})
	}
	if len(s.rests) > 0 {
		p, _ := s.best(s.clear)
		out = append(out, spot{"span", "farthest from what carries it, on", p})
	}
	var kept []spot
	for _, x := range out {
		apart := true
		for _, k := range kept {
			apart = apart && x.at.Dist(k.at) >= radius
		}
		if apart {
			kept = append(kept, x)
		}
	}
	return kept
}

// brink is a point of a member's rim.
type brink struct {
	member, surface int
	uv              geom.Vec2
}

// rim is where a slab is pushed in a direction: of the edges of its members that
// face against it, the outermost point, nearest to the slab's middle line.
func (s slab) rim(cores []piece.Member, dir geom.Vec2) (brink, bool) {
	const turned = 0.7 // cosine: an edge turned away further is not pushed on
	mid := middle(s.plan())
	d := geom.V3(dir.X, dir.Y, 0)
	out, far, near, ok := brink{}, math.Inf(-1), math.Inf(1), false
	// look tries places along u of a surface, at half its height.
	look := func(member, surface int, m piece.Member, sf piece.Surface, from, to float64, steps int, same float64) {
		v := sf.Region.Bounds().Center().Y
		for k := range steps {
			uv := geom.V2(from+(to-from)*(float64(k)+0.5)/float64(steps), v)
			if -m.Place.Dir(sf.Normal(uv)).Dot(d) < turned || !sf.Region.Contains(uv) {
				continue
			}
			p := m.Place.Point(sf.Point(uv))
			e, side := -d.Dot(p), math.Abs(p.XY().Sub(mid).Cross(dir))
			if e > far+same || e > far-same && side < near {
				far, near, ok = max(far, e), side, true
				out = brink{member, surface, uv}
			}
		}
	}
	for _, i := range s.members() {
		m := cores[i]
		for j, sf := range m.Surfaces(chord) {
			if sf.Inside || len(sf.Region) == 0 || sf.Role == piece.Face && m.Solid == nil {
				continue
			}
			b := sf.Region.Bounds()
			look(i, j, m, sf, b.Min.X, b.Max.X, 60, 0.5)
		}
	}
	if ok { // and nearer still
		m := cores[out.member]
		sf := m.Surfaces(chord)[out.surface]
		width := sf.Region.Bounds().Size().X / 60
		far, near = math.Inf(-1), math.Inf(1)
		look(out.member, out.surface, m, sf, out.uv.X-width, out.uv.X+width, 201, 1e-3)
	}
	return out, ok
}
