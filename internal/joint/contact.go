package joint

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strconv"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// What counts as touching. The numbers are ours: the piece file is written by
// hand, often in rounded numbers.
const (
	coplanar   = 0.05  // mm; planes this close over the whole region touch
	nearly     = 1.0   // mm; closer than this, but not coplanar, is likely a slip
	parallel   = 0.004 // rad; facing planes that touch are opposite within this (0.05 mm over 12 mm)
	nearlyPara = 0.035 // rad; facing planes that nearly touch, within 2 degrees
	speck      = 1.0   // mm²; smaller regions are rounding
	sliver     = 0.05  // mm; a common body thinner than this is rounding
)

// flat is a planar surface in the world.
type flat struct {
	surface int
	frame   geom.Frame // chart frame
	region  geom.Polygons
	area    float64
	box     geom.Box3
}

// flats lists a member's planar surfaces of which something is left.
func flats(m *piece.Member, surfaces []piece.Surface) []flat {
	var out []flat
	for i, s := range surfaces {
		if s.Kind != piece.Plane || len(s.Region) == 0 {
			continue
		}
		f := flat{surface: i, frame: s.Frame.In(m.Place), region: s.Region, area: s.Area, box: geom.EmptyBox3()}
		for _, loop := range s.Region {
			for _, q := range loop {
				f.box = f.box.Add(f.frame.Point(geom.V3(q.X, q.Y, 0)))
			}
		}
		out = append(out, f)
	}
	return out
}

// finder looks for the places where members touch.
type finder struct {
	p        *piece.Piece
	group    []int // by member: members of one group are printed as one
	middles  middles
	minArea  float64
	flats    [][]flat
	rounds   [][]round
	contacts []Contact
	near     map[[2]int]bool    // pairs whose faces nearly touch: their overlap is told already
	fits     map[[2]int]float64 // pairs that fit into each other: by how much facets and tight fits may overlap
	findings []finding.Finding

	roundContacts []RoundContact
}

// groups numbers the bodies that members are printed as.
func groups(p *piece.Piece) []int {
	out := make([]int, len(p.Members))
	for i := range out {
		out[i] = i
	}
	for _, g := range p.PrintAsOne {
		for _, m := range g {
			out[m] = out[g[0]]
		}
	}
	return out
}

// search goes through the pairs of members, in order.
func (f *finder) search(ctx context.Context, k *solid.Kernel, pairs [][2]int) error {
	return k.Regions(ctx, func(r *solid.Regions) error {
		for _, pr := range pairs {
			if f.group[pr[0]] == f.group[pr[1]] {
				continue
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			f.pair(r, pr[0], pr[1])
		}
		return nil
	})
}

// pair finds the contacts of members a < b.
func (f *finder) pair(r *solid.Regions, a, b int) {
	count := 0
	for i := range f.flats[a] {
		fa := &f.flats[a][i]
		for j := range f.flats[b] {
			fb := &f.flats[b][j]
			if -fa.frame.Z.Dot(fb.frame.Z) < math.Cos(nearlyPara) || !fa.box.Grow(nearly).Overlaps(fb.box) {
				continue
			}
			// B's region as A's chart sees it: turned over, hence reversed.
			seen := fb.region.Map(func(q geom.Vec2) geom.Vec2 {
				return fa.frame.Local(fb.frame.Point(geom.V3(q.X, q.Y, 0))).XY()
			}).Reversed()
			if !fa.region.Bounds().Overlaps(seen.Bounds()) {
				continue
			}
			common := r.Intersect(fa.region, seen)
			if common.Area() < speck {
				continue
			}
			for _, part := range r.Decompose(common) {
				if part.Area() < speck {
					continue
				}
				f.judge(r, &count, a, b, fa, fb, part)
			}
		}
	}
	f.pairRounds(r, &count, a, b)
}

// judge decides what a region where two planes face each other is.
func (f *finder) judge(r *solid.Regions, count *int, a, b int, fa, fb *flat, part geom.Polygons) {
	ma, mb := &f.p.Members[a], &f.p.Members[b]
	plane := geom.PlaneAt(fb.frame.Origin, fb.frame.Z)
	least, most := math.Inf(1), math.Inf(-1) // gap from A to B; negative where they overlap
	for _, loop := range part {
		for _, q := range loop {
			d := plane.Distance(fa.frame.Point(geom.V3(q.X, q.Y, 0)))
			least, most = min(least, d), max(most, d)
		}
	}
	angle := math.Acos(min(1, -fa.frame.Z.Dot(fb.frame.Z)))
	touches := max(-least, most) <= coplanar && angle <= parallel
	area := part.Area()
	if !touches {
		if area < f.minArea || least > nearly || most < -nearly {
			return
		}
		f.near[[2]int{a, b}] = true
		what := "lie " + mm(most) + " mm apart"
		remedy := fmt.Sprintf("move one of them by %s mm so that they touch; or, if the gap is meant, make it more than %s mm", mm(most), mm(nearly))
		switch {
		case least < -coplanar:
			what = "overlap by " + mm(-least) + " mm"
			remedy = fmt.Sprintf("move one of them by %s mm so that they touch", mm(-least))
		case angle > parallel:
			what = fmt.Sprintf("touch at an angle of %.2f degrees and open to %s mm", angle*180/math.Pi, mm(most))
			remedy = "make the two faces parallel"
		}
		f.findings = append(f.findings, finding.Finding{
			Severity: finding.Warning, Stage: "joint", Code: "faces-nearly-touch", Subject: ma.ID + ":" + mb.ID,
			Message: fmt.Sprintf("Faces nearly touch: %s of %s and %s of %s %s, so no joint is made there.",
				surfaceName(ma, fa.surface), ma.ID, surfaceName(mb, fb.surface), mb.ID, what),
			Remedy: remedy, Source: "faces within 0.05 mm touch; our own rule", File: f.p.File, Line: mb.Line,
		})
		return
	}
	if area < f.minArea {
		f.small(ma, mb, area)
		return
	}
	c := Contact{ID: ma.ID + ":" + mb.ID, Area: area}
	if *count++; *count > 1 {
		c.ID += "." + strconv.Itoa(*count)
	}
	sa := Side{a, fa.surface, min(1, area/fa.area)}
	sb := Side{b, fb.surface, min(1, area/fb.area)}
	c.A, c.B = sa, sb
	host, other := fa, fb
	const whole = 0.98 // a surface covered more than this does not go on beyond the contact
	if sa.Covered > whole && sb.Covered <= whole {
		c.A, c.B, host, other = sb, sa, fb, fa
	}
	// The region in the host's chart, then in the contact's own frame.
	if host != fa {
		part = part.Map(func(q geom.Vec2) geom.Vec2 {
			return fb.frame.Local(fa.frame.Point(geom.V3(q.X, q.Y, 0))).XY()
		}).Reversed()
	}
	// A square lies as the member that arrives does, a round contact as seen
	// from the middle of the one that goes on, and every X points to the middle
	// of something: repeats of a member, turned or mirrored, then have their
	// bores alike.
	centre := centroid(part)
	origin := host.frame.Point(geom.V3(centre.X, centre.Y, 0))
	u := host.frame.LocalDir(other.frame.X).XY()
	x := longest(r.Hull(part), u, host.frame.LocalDir(f.middles.of[c.A.Member].Sub(origin)).XY())
	if f.middles.side(&c, origin, host.frame.Dir(geom.V3(x.X, x.Y, 0))) < 0 {
		x = x.Scale(-1)
	}
	c.Frame = geom.FrameFromXZ(origin, host.frame.Dir(geom.V3(x.X, x.Y, 0)), host.frame.Z)
	for _, v := range []*geom.Vec3{&c.Frame.Origin, &c.Frame.X, &c.Frame.Y, &c.Frame.Z} {
		*v = v.Add(geom.Vec3{}) // no negative zeros in the output
	}
	y := x.Left()
	c.Region = part.Map(func(q geom.Vec2) geom.Vec2 {
		d := q.Sub(centre)
		return geom.V2(d.Dot(x), d.Dot(y)).Add(geom.Vec2{})
	})
	f.contacts = append(f.contacts, c)
}

// centroid is the centre of area.
func centroid(ps geom.Polygons) geom.Vec2 {
	var sum geom.Vec2
	var area float64
	o := ps[0][0]
	for _, p := range ps {
		for i := range p {
			a, b := p[i].Sub(o), p[(i+1)%len(p)].Sub(o)
			w := a.Cross(b)
			area += w
			sum = sum.Add(a.Add(b).Scale(w))
		}
	}
	return o.Add(sum.Scale(1 / (3 * area)))
}

// middles are the middles of the members and of the piece, in the world. They
// go with the piece however it is turned, and a mirrored member's is mirrored.
type middles struct {
	of    []geom.Vec3 // by member
	piece geom.Vec3
}

func middlesOf(forms []*form) middles {
	m := middles{of: make([]geom.Vec3, len(forms))}
	for i, f := range forms {
		m.of[i] = f.centre
		m.piece = m.piece.Add(f.centre.Scale(1 / float64(len(forms))))
	}
	return m
}

// side is 1 or -1 as the direction dir from a point of a contact goes towards
// or away from the middle of A; where that is level with the point, of B; then
// of the piece. It is 1 where all are.
func (m middles) side(c *Contact, at, dir geom.Vec3) float64 {
	return m.toward(at, dir, c.A.Member, c.B.Member, -1)
}

// longest is the direction of the longer side of the smallest rectangle round
// a convex loop. Where rectangles, or their sides, are alike it is the
// direction nearest to u, and it never points against u, so that it goes with
// the members however these are turned. What is about round has no sides: it
// lies along middle, unless that is nothing.
func longest(hull geom.Polygons, u, middle geom.Vec2) geom.Vec2 {
	u = u.Unit()
	const alike = 0.01 // of area, and of length
	type rect struct {
		dir  geom.Vec2
		area float64
	}
	var best rect
	for i, h := 0, hull[0]; i < len(h); i++ {
		d := h[(i+1)%len(h)].Sub(h[i])
		if d.Len() < 1e-6 {
			continue
		}
		d = d.Unit()
		l, w := extent(h, d), extent(h, d.Left())
		side := math.Abs(l-w) <= alike*max(l, w)
		if w > l && !side || side && math.Abs(d.Dot(u)) < math.Abs(d.Cross(u))-1e-9 {
			d = d.Left()
		}
		if k := d.Dot(u); k < -1e-9 || math.Abs(k) <= 1e-9 && d.Cross(u) < 0 {
			d = d.Scale(-1)
		}
		c := rect{d, l * w}
		switch {
		case best.area == 0 || c.area < best.area*(1-alike):
			best = c
		case c.area <= best.area*(1+alike) && c.dir.Dot(u) > best.dir.Dot(u)+1e-9:
			best.dir = c.dir
		}
	}
	const filled = 0.9 // of its rectangle: an ellipse fills π/4 of it
	if d := middle.Unit(); middle.Len() > 1 && math.Abs(hull[0].Area()) < filled*best.area {
		if l, w := extent(hull[0], d), extent(hull[0], d.Left()); math.Abs(l-w) <= 2*alike*max(l, w) {
			return d
		}
	}
	return best.dir
}

func extent(p geom.Polygon, d geom.Vec2) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range p {
		lo, hi = min(lo, q.Dot(d)), max(hi, q.Dot(d))
	}
	return hi - lo
}

// Overlap is a body that two members have in common, though they are not
// printed as one.
type Overlap struct {
	Members [2]int
	Volume  float64   // mm³
	Depth   float64   // mm; how thick the common body is, about: twice its volume over its surface
	Bounds  geom.Box3 // world
}

// overlaps lists those of the pairs of members that reach into each other by more
// than a sliver. Only pairs whose boxes overlap are measured.
func overlaps(ctx context.Context, k *solid.Kernel, p *piece.Piece, boxes []geom.Box3, pairs [][2]int) ([]Overlap, error) {
	group := groups(p)
	bodies := make([]solid.Shape, len(p.Members))
	body := func(i int) (solid.Shape, error) {
		if bodies[i].IsZero() {
			s, err := p.Members[i].Body(0)
			if err != nil {
				return s, err
			}
			bodies[i] = s.At(p.Members[i].Place)
		}
		return bodies[i], nil
	}
	var out []Overlap
	for _, pr := range pairs {
		a, b := pr[0], pr[1]
		if group[a] == group[b] || !boxes[a].Grow(-coplanar).Overlaps(boxes[b]) {
			continue
		}
		sa, err := body(a)
		if err != nil {
			return nil, err
		}
		sb, err := body(b)
		if err != nil {
			return nil, err
		}
		m, err := k.Measure(ctx, solid.Intersection(sa, sb))
		if errors.Is(err, solid.ErrEmpty) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("measuring what %s and %s have in common: %w", p.Members[a].ID, p.Members[b].ID, err)
		}
		if depth := 2 * m.Volume / m.Area; depth > sliver {
			out = append(out, Overlap{pr, m.Volume, depth, m.Bounds})
		}
	}
	return out, nil
}

// mm writes a length without needless digits.
func mm(x float64) string {
	return strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
}

// surfaceName is the name of a member's surface by its index.
func surfaceName(m *piece.Member, i int) string {
	// Regions are not needed, so the coarsest chord does.
	if s := m.Surfaces(1); i >= 0 && i < len(s) {
		return s[i].Name
	}
	return "a surface"
}

func formsOf(p *piece.Piece, chord float64) ([]*form, error) {
	out := make([]*form, len(p.Members))
	for i := range p.Members {
		f, err := formOf(&p.Members[i], chord)
		if err != nil {
			return nil, err
		}
		out[i] = f
	}
	return out, nil
}

func boxesOf(forms []*form) []geom.Box3 {
	out := make([]geom.Box3, len(forms))
	for i, f := range forms {
		out[i] = f.box
	}
	return out
}
