package strength

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// level finds the boards that lie level and where they rest.
func (j *judge) level() {
	top, shelves := split(grounds(j.in.Cores, j.in.Joints))
	add := func(s slab, shelf bool) {
		for _, g := range s {
			l := levelled{ground: g, shelf: shelf}
			l.rests, l.near = j.rests(g)
			if b := j.in.Cores[g.member].Board; b != nil {
				l.thick = b.Thickness
			}
			j.levels = append(j.levels, l)
		}
	}
	add(top, j.in.Piece != nil && j.in.Piece.Use == piece.Shelf)
	for _, s := range shelves {
		add(s, true)
	}
}

// rests are points at which a level board rests on other members, and how far a
// point lies from them.
func (j *judge) rests(g ground) ([]geom.Vec3, func(geom.Vec3) float64) {
	var out []geom.Vec3
	var seen []geom.Polygons // contacts as they lie seen along the board's normal
	var rounds []geom.Vec3
	if j.in.Joints != nil {
		for _, c := range j.in.Joints.Contacts {
			if (c.A.Member == g.member) != (c.B.Member == g.member) {
				r := c.Region.Map(func(q geom.Vec2) geom.Vec2 { return g.frame.Local(c.Frame.Point(flat(q))).XY() })
				if r.Area() < 0 {
					r = r.Reversed()
				}
				seen = append(seen, r)
				out = append(out, border(c)...)
			}
		}
		for _, c := range j.in.Joints.Rounds {
			if (c.A.Member == g.member) != (c.B.Member == g.member) {
				rounds = append(rounds, round(c)...)
			}
		}
	}
	out = append(out, rounds...)
	return out, func(p geom.Vec3) float64 {
		d := math.Inf(1)
		q := g.frame.Local(p).XY()
		for _, r := range seen {
			if r.Contains(q) {
				return 0
			}
			d = min(d, r.Distance(q))
		}
		for _, r := range rounds {
			d = min(d, g.frame.Local(r).XY().Dist(q))
		}
		return d
	}
}

// base is the plane w = a + bx + cy through what a level board's rests move
// along its normal, by least squares; x and y in the board's frame.
type base struct{ a, b, c float64 }

func (f base) at(p geom.Vec2) float64 { return f.a + f.b*p.X + f.c*p.Y }

// baseOf fits the plane; false where no rest lies in the body. Rests in a narrow
// strip or at one place leave the slope across it unknown: it is taken for none.
func baseOf(l levelled, body int, s Solved) (base, bool) {
	var at []geom.Vec2
	var w []float64
	for _, p := range l.rests {
		if u, ok := s.Displacement(body, p); ok {
			at, w = append(at, l.frame.Local(p).XY()), append(w, u.Dot(l.frame.Z))
		}
	}
	if len(at) == 0 {
		return base{}, false
	}
	n := float64(len(at))
	var m geom.Vec2
	var mean float64
	for i, p := range at {
		m, mean = m.Add(p.Scale(1/n)), mean+w[i]/n
	}
	var xx, xy, yy, xw, yw float64
	for i, p := range at {
		d, v := p.Sub(m), w[i]-mean
		xx, xy, yy = xx+d.X*d.X/n, xy+d.X*d.Y/n, yy+d.Y*d.Y/n
		xw, yw = xw+d.X*v/n, yw+d.Y*v/n
	}
	// The scatter's own directions; along one of hardly any the slope is left out.
	const spread = 3.0 // mm
	angle := math.Atan2(2*xy, xx-yy) / 2
	slope := geom.Vec2{}
	for _, u := range []geom.Vec2{geom.V2(1, 0).Rotate(angle), geom.V2(0, 1).Rotate(angle)} {
		v := u.X*u.X*xx + 2*u.X*u.Y*xy + u.Y*u.Y*yy
		if v > spread*spread {
			slope = slope.Add(u.Scale((u.X*xw + u.Y*yw) / v))
		}
	}
	return base{mean - slope.Dot(m), slope.X, slope.Y}, true
}

// sag measures how far each level board sinks below the plane through its rests,
// and holds it against a share of its span: twice the distance from the place of
// the greatest sag to the nearest rest, which is the span of a beam on two rests
// and twice what a bracketed board stands out.
func (j *judge) sag(s, rough Solved) {
	const steps = 16
	for _, l := range j.levels {
		body := j.body[l.member]
		plane, ok := baseOf(l, body, s)
		if !ok {
			continue
		}
		most := 0.0
		var at geom.Vec2
		b := l.region.Bounds()
		for i := range steps + 1 {
			for k := range steps + 1 {
				q := geom.V2(b.Min.X+b.Size().X*float64(i)/steps, b.Min.Y+b.Size().Y*float64(k)/steps)
				if !l.region.Contains(q) && l.region.Distance(q) > chord {
					continue
				}
				// Nearer to a rest than the board is thick it is the rest that gives, not the board.
				if l.near(l.frame.Point(flat(q))) < l.thick {
					continue
				}
				if u, ok := s.Displacement(body, l.frame.Point(flat(q))); ok {
					if v := plane.at(q) - u.Dot(l.frame.Z); v > most {
						most, at = v, q
					}
				}
			}
		}
		p := l.frame.Point(flat(at))
		span := 2 * l.near(p)
		if most == 0 || span <= 0 || math.IsInf(span, 1) {
			continue
		}
		off := 0.0
		if rough != nil {
			if other, ok := baseOf(l, body, rough); ok {
				if u, ok := rough.Displacement(body, p); ok {
					off = math.Abs(other.at(at) - u.Dot(l.frame.Z) - most)
				}
			}
		}
		id := j.in.Cores[l.member].ID
		note := func(kind string, value, part float64, source string, judged bool) {
			if v := j.say(id, kind, value, span/part, "mm", source, p, judged); v != nil {
				v.Span, v.Error = span, off*value/most
			}
		}
		switch {
		case j.c.Sustained:
			if l.shelf {
				// What it sinks at first, as if all of it were plastic that creeps alike.
				note("sag-first", most*Creep(j.in.Filament(body)), sagNew, ofNewSag, true)
			}
			note("sag-months", most, sagSeen, ofSeenSag, true)
		case j.c.Kind == Static || j.c.Kind == Own:
			note("sag-use", most, sagUse, ofUseSag, false)
		}
	}
}

// racking is the stiffness in each direction: from the difference of pushes to
// and fro, so that what ballast and weight do cancels; from one push where only
// one was solved.
func (j *judge) racking(cases []Case, solved, rough []Solved) {
	for axis, name := range []string{"x", "y"} {
		pick := func(v geom.Vec3) float64 { return [2]float64{v.X, v.Y}[axis] }
		type reading struct{ force, moved, off float64 }
		var to, fro *reading
		var height float64
		for i, c := range cases {
			if c.Kind != Horizontal || i >= len(solved) || solved[i] == nil || math.Abs(pick(c.Push)) < c.Push.Len()/2 {
				continue
			}
			body := j.body[c.On]
			u, ok := solved[i].Displacement(body, c.Watched)
			if !ok {
				continue
			}
			r := &reading{force: pick(c.Push), moved: pick(u)}
			if i < len(rough) && rough[i] != nil {
				if v, ok := rough[i].Displacement(body, c.Watched); ok {
					r.off = math.Abs(pick(v) - pick(u))
				}
			}
			height = c.Watched.Z
			if r.force > 0 && to == nil {
				to = r
			} else if r.force < 0 && fro == nil {
				fro = r
			}
		}
		var r reading
		switch {
		case to != nil && fro != nil:
			r = reading{(to.force - fro.force) / 2, (to.moved - fro.moved) / 2, (to.off + fro.off) / 2}
		case to != nil:
			r = *to
		case fro != nil:
			r = reading{-fro.force, -fro.moved, fro.off}
		default:
			continue
		}
		if r.moved <= 0 {
			continue
		}
		out := Racking{Axis: name, Stiffness: r.force / r.moved, Force: r.force, Moved: r.moved, Error: r.off, Height: height}
		if height > 0 {
			out.Angle = r.moved / height
		}
		j.out.Racking = append(j.out.Racking, out)
	}
}
