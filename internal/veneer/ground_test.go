package veneer

import (
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// grounds carries points of a pattern, as in its Net, back to where it comes
// to lie on the core's surface, in the world. It is false where the pattern
// covers nothing of a member, as a plug's does not, and where q lies farther
// beyond the surface than veneer reaches at a corner; points at corners are
// carried to the nearest of the surface.
func grounds(l *Layout, p Pattern) func(q geom.Vec2) (geom.Vec3, bool) {
	if p.Member < 0 || p.Member >= len(l.Cores) {
		return func(geom.Vec2) (geom.Vec3, bool) { return geom.Vec3{}, false }
	}
	surfaces := l.Cores[p.Member].Surfaces(0)
	lead := &surfaces[p.Surface]
	n := newNeutral(lead, l.Coverings[p.Member][p.Surface].Neutral)
	type target struct {
		of    *piece.Surface
		place geom.Frame
	}
	on := []target{{lead, l.Cores[p.Member].Place}}
	reach := 0.0
	for _, cov := range l.Coverings[p.Member] {
		reach = max(reach, 4*cov.Stack) // the longest mitre
	}
	for _, a := range p.Also {
		other := l.Cores[a[0]].Surfaces(0)
		on = append(on, target{&other[a[1]], l.Cores[a[0]].Place})
	}
	return func(q geom.Vec2) (geom.Vec3, bool) {
		chart := n.unflat(q.Rotate(-p.Turn).Add(p.Chart))
		best := math.Inf(1)
		var at geom.Vec3
		for i, t := range on {
			own := chart
			if i > 0 { // all flat
				own = t.of.Chart(t.place.Local(on[0].place.Point(lead.Point(chart))))
			}
			on, d := within(t.of.Region, own)
			if d < best {
				best, at = d, t.place.Point(t.of.Point(on))
			}
		}
		return at, best <= reach
	}
}

// within is the point of a region nearest to q, and how far that is.
func within(region geom.Polygons, q geom.Vec2) (geom.Vec2, float64) {
	if region.Contains(q) {
		return q, 0
	}
	best, at := math.Inf(1), q
	for _, loop := range region {
		for i, a := range loop {
			ab := loop[(i+1)%len(loop)].Sub(a)
			t := 0.0
			if l := ab.Dot(ab); l > 0 {
				t = max(0, min(1, q.Sub(a).Dot(ab)/l))
			}
			if p := a.Add(ab.Scale(t)); p.Dist(q) < best {
				best, at = p.Dist(q), p
			}
		}
	}
	return at, best
}

// grounded checks patterns point by point: those of the border come to lie
// where their surface is, near ones as far apart as on the pattern but for the
// veneer's own bending, and carried to the pattern again they come back.
func grounded(t *testing.T, p *piece.Piece, r result) {
	t.Helper()
	for _, q := range r.patterns {
		to := grounds(r.l, q)
		if q.Member < 0 {
			if _, ok := to(geom.Vec2{}); ok {
				t.Errorf("%s covers nothing", q.ID)
			}
			continue
		}
		core := r.l.Cores[q.Member]
		sf := core.Surfaces(0)[q.Surface]
		strain := 0.0
		if sf.Kind == piece.Free {
			strain = sf.Strain.Stretch
		}
		k := r.l.Coverings[q.Member][q.Surface].Neutral
		carry := newCarrier(&sf, k)
		bend := 0.0 // of a patch
		if sf.Patch != nil {
			b, _ := tightest(sf.Patch)
			bend = 1 / b.Radius
		}
		most := 0.0
		for _, cov := range r.l.Coverings[q.Member] {
			most = max(most, cov.Stack)
		}
		// What the veneer reaches beyond the core at a corner, and over a lap.
		reach := CornerSecond(most, piece.BreakAngle) + 0.05
		if q.Fingers > 0 {
			reach += most * math.Pi
		}
		faults := 0
		for _, loop := range q.Net {
			for i := 0; i < len(loop); i += 1 + len(loop)/100 {
				v := loop[i]
				at, ok := to(v)
				if !ok {
					faults++
					if faults < 4 {
						t.Errorf("%s: the border at (%.2f, %.2f) lies beyond its surface", q.ID, v.X, v.Y)
					}
					continue
				}
				if len(q.Also) > 0 {
					continue
				}
				local := core.Place.Local(at)
				if d := sf.Point(sf.Chart(local)).Dist(local); d > 0.05 {
					t.Errorf("%s: (%.2f, %.2f) lies %.3f mm off its surface", q.ID, v.X, v.Y, d)
				}
				best := math.Inf(1)
				for _, u := range carry.places(sf.Chart(local)) {
					best = min(best, q.local(u).Dist(v))
				}
				if best > reach && faults < 4 {
					faults++
					t.Errorf("%s: (%.2f, %.2f) comes back %.3f mm away", q.ID, v.X, v.Y, best)
				}
			}
		}
		// Inside: steps of 0.5 mm.
		box := q.Net.Bounds()
		const n, step = 8, 0.5
		for i := range n {
			for j := range n {
				a := box.Min.Add(geom.V2(box.Size().X*(float64(i)+0.5)/n, box.Size().Y*(float64(j)+0.5)/n))
				for _, d := range []geom.Vec2{{X: step}, {Y: step}, {X: step * 0.6, Y: -step * 0.8}} {
					b := a.Add(d)
					if !q.Net.Contains(a) || !q.Net.Contains(b) || q.Net.Distance(a) < reach+step || q.Net.Distance(b) < reach+step {
						continue
					}
					x, ok1 := to(a)
					y, ok2 := to(b)
					if !ok1 || !ok2 {
						t.Fatalf("%s: (%.2f, %.2f) lies beyond its surface", q.ID, a.X, a.Y)
					}
					// The core is shorter than the veneer by k × curvature, and the chord than the arc.
					kappa := 0.0
					if len(q.Also) == 0 {
						uv := sf.Chart(core.Place.Local(x))
						if sf.Patch != nil {
							kappa = bend
						} else {
							e, f := sf.Curvature(uv)
							kappa = max(math.Abs(e), math.Abs(f))
						}
					}
					tol := step*(1.2*k*kappa/(1-min(0.5, k*kappa))+step*step*kappa*kappa/20+1.1*strain) + 1e-6
					if off := math.Abs(x.Dist(y) - step); off > tol && !folded(sf, core.Place.Local(x)) {
						t.Fatalf("%s: points %.3f mm apart come to lie %.6f apart at (%.2f, %.2f), curvature %.4f", q.ID, step, x.Dist(y), a.X, a.Y, kappa)
					}
				}
			}
		}
	}
}

// folded reports whether a point lies at a fold of an edge.
func folded(sf piece.Surface, p geom.Vec3) bool {
	if sf.Kind != piece.Extruded {
		return false
	}
	u, w := sf.Chart(p).X, 0.0
	for i, g := range sf.Run.Segs {
		if math.Abs(sf.Run.Corner(i)) > 1e-6 && math.Abs(u-w) < 3*foldReach {
			return true
		}
		w += g.Length(0, 1)
	}
	return math.Abs(u-w) < 3*foldReach || math.Abs(u) < 3*foldReach
}

func TestGround(t *testing.T) {
	for _, name := range []string{"heron-side-table", "tern-wall-shelf", "otter-stool", "badger-bench"} {
		t.Run(name, func(t *testing.T) {
			p, j := example(t, name)
			grounded(t, p, run(t, p, j.Contacts, j, exampleShop(), Options{}))
		})
	}
	t.Run("laps", func(t *testing.T) {
		p := rimPiece()
		grounded(t, p, run(t, p, nil, nil, testShop(600, 400), Options{}))
	})
	t.Run("turnings", func(t *testing.T) {
		p := pieceOf(piece.Finished,
			turning("a", path(false, geom.V2(30, 0), geom.V2(25, 200), geom.V2(25, 300)), lifted(0)),
			turning("b", path(false, geom.V2(25, 0), geom.V2(70, 60)), geom.Frame{Origin: geom.V3(300, 0, 0), X: geom.V3(1, 0, 0), Y: geom.V3(0, 1, 0), Z: geom.V3(0, 0, 1)}))
		grounded(t, p, run(t, p, nil, nil, testShop(600, 600), Options{}))
	})
}
