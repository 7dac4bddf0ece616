package job

import (
	"context"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/intake"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/veneer"
)

// within is how near, in mm, a piece that went out as 3MF and came back must
// lie to itself.
const within = 0.05

// A piece that is exported and brought back has the same members, contacts and
// patterns. What 3MF does not carry, the rules for joints and veneer, is given
// to both.
func TestRoundTrip(t *testing.T) {
	for _, name := range examples.Pieces() {
		t.Run(name, func(t *testing.T) {
			k, native := planned(t, name)
			ctx := context.Background()
			data, err := pieceFile(ctx, k, native.Piece)
			if err != nil {
				t.Fatal(err)
			}
			r, err := intake.Make(ctx, k, []intake.File{{Name: Names{}.Piece(), Data: data}}, native.Shop, intake.Options{
				Name: name, Use: native.Piece.Use, Sizes: native.Piece.Sizes, Hangs: true,
			})
			if err != nil {
				t.Fatal(err)
			}
			if r.Piece == nil {
				t.Fatalf("nothing came back: %v", r.Findings)
			}
			c := newComparison(t, native.Piece, r.Piece)
			if t.Failed() {
				t.Logf("%s", r.Text)
				return
			}
			c.rules()
			back, err := plan.Make(ctx, k, c.back, native.Shop, plan.Options{})
			if err != nil {
				t.Fatal(err)
			}
			c.contacts(native, back)
			c.patterns(native, back)
			t.Logf("%d members, %d contacts, %d patterns; farthest apart: surfaces %.4f mm, contacts %.4f mm, patterns %.4f mm",
				len(c.back.Members), len(back.Joints.Contacts), len(back.Patterns), c.surfaces, c.touch, c.drawn)
		})
	}
}

// comparison is a piece beside itself as it came back.
type comparison struct {
	t                      *testing.T
	native                 *piece.Piece
	back                   *piece.Piece
	moved                  geom.Vec3     // from the native piece to the one that came back
	member                 []int         // native member to the other's
	surface                []map[int]int // by native member: surface to the other's surface
	lists                  [2][][]piece.Surface
	surfaces, touch, drawn float64
}

func newComparison(t *testing.T, native, back *piece.Piece) *comparison {
	t.Helper()
	c := &comparison{t: t, native: native, back: back}
	for i, p := range []*piece.Piece{native, back} {
		for _, m := range p.Members {
			c.lists[i] = append(c.lists[i], m.Surfaces(0))
		}
	}
	low := func(p *piece.Piece, lists [][]piece.Surface) geom.Vec3 {
		box := geom.EmptyBox3()
		for i, m := range p.Members {
			for _, s := range lists[i] {
				for _, loop := range s.Region {
					for _, q := range loop {
						box = box.Add(m.Place.Point(s.Point(q)))
					}
				}
			}
		}
		return box.Min
	}
	c.moved = low(back, c.lists[1]).Sub(low(native, c.lists[0]))
	if len(native.Members) != len(back.Members) {
		var ids []string
		for _, m := range back.Members {
			ids = append(ids, m.ID)
		}
		t.Errorf("%d members came back of %d: %s", len(back.Members), len(native.Members), strings.Join(ids, ", "))
		return c
	}
	for i, m := range native.Members {
		j := slices.IndexFunc(back.Members, func(b piece.Member) bool { return b.ID == m.ID })
		if j < 0 {
			t.Errorf("%s did not come back", m.ID)
			return c
		}
		b := back.Members[j]
		if (m.Board != nil) != (b.Board != nil) || (m.Turning != nil) != (b.Turning != nil) {
			t.Errorf("%s is no longer made as it was: %s", m.ID, b.Source.Note)
			return c
		}
		c.member = append(c.member, j)
		c.surface = append(c.surface, c.match(i, j))
	}
	return c
}

// match finds for every surface of a native member the one that it came back as.
func (c *comparison) match(i, j int) map[int]int {
	out := map[int]int{}
	m, b := c.native.Members[i], c.back.Members[j]
	for si, s := range c.lists[0][i] {
		if len(s.Region) == 0 || s.Area < 1 {
			continue
		}
		best, found := math.Inf(1), -1
		for sj, o := range c.lists[1][j] {
			if len(o.Region) == 0 || math.Abs(o.Area-s.Area) > 0.02*s.Area+1 {
				continue
			}
			// Borders lie on one another, and so does the middle.
			d := borderDistance(c.onBack(m, s), b, o)
			mid := geom.Vec3{}
			for _, q := range s.Region[0] {
				mid = mid.Add(s.Point(q).Scale(1 / float64(len(s.Region[0]))))
			}
			if n := m.Place.Dir(s.Normal(s.Chart(mid))).Dot(b.Place.Dir(o.Normal(o.Chart(b.Place.Local(m.Place.Point(mid).Add(c.moved)))))); n < 0.9 {
				continue
			}
			if d < best {
				best, found = d, sj
			}
		}
		if found < 0 || best > within {
			c.t.Errorf("%s/%s (%s, %.0f mm2) did not come back; the nearest lies %.3f mm off", m.ID, s.Name, s.Kind, s.Area, best)
			continue
		}
		c.surfaces = max(c.surfaces, best)
		out[si] = found
	}
	return out
}

// onBack carries borders of a native surface to where the piece that came back
// stands.
func (c *comparison) onBack(m piece.Member, s piece.Surface) []geom.Vec3 {
	var out []geom.Vec3
	for _, loop := range s.Region {
		for k, q := range loop {
			next := loop[(k+1)%len(loop)]
			for _, f := range []float64{0, 0.25, 0.5, 0.75} {
				if at := q.Lerp(next, f); s.Closed && (at.X < 1e-6 || at.X > s.Length-1e-6) {
					continue // where the chart was opened is no border
				} else if s.Kind == piece.Cone && f > 0 && q.Dist(next) > 20 {
					continue // a side of the opening
				} else {
					out = append(out, m.Place.Point(s.Point(at)).Add(c.moved))
				}
			}
		}
	}
	return out
}

// borderDistance is how far the farthest of the points lies from a surface.
func borderDistance(points []geom.Vec3, b piece.Member, o piece.Surface) float64 {
	worst := 0.0
	for _, p := range points {
		at := b.Place.Local(p)
		q := o.Chart(at)
		d := o.Point(q).Dist(at)
		if !o.Region.Contains(q) {
			edge := o.Region.Distance(q)
			if o.Closed { // the chart may be opened just there
				for _, turn := range []float64{-o.Length, o.Length} {
					edge = min(edge, o.Region.Distance(geom.V2(q.X+turn, q.Y)))
				}
			}
			d = max(d, edge)
		}
		worst = max(worst, d)
	}
	return worst
}

// rules gives the piece that came back what the native one asks for.
func (c *comparison) rules() {
	c.back.Joints = c.native.Joints
	c.back.Veneer = c.native.Veneer
	c.back.Filament = c.native.Filament
	for _, g := range c.native.PrintAsOne {
		var other []int
		for _, m := range g {
			other = append(other, c.member[m])
		}
		c.back.PrintAsOne = append(c.back.PrintAsOne, other)
	}
	for i, j := range c.member {
		c.back.Members[j].Veneer = c.native.Members[i].Veneer
		c.back.Members[j].Filament = c.native.Members[i].Filament
	}
	// Rules go by names of surfaces, which a piece that came back numbers its
	// own way, and grain by charts that lie otherwise: one rule for each surface.
	for i, j := range c.member {
		m, b := c.native.Members[i], c.back.Members[j]
		for _, si := range slices.Sorted(maps.Keys(c.surface[i])) {
			sj := c.surface[i][si]
			s, o := c.lists[0][i][si], c.lists[1][j][sj]
			for _, r := range c.native.Surfaces {
				if r.Member != "*" && r.Member != m.ID && r.Member != m.Name || !names(r.Surface, s) {
					continue
				}
				r.Member, r.Surface = b.ID, o.Name
				if r.Grain != nil {
					g := c.turnedGrain(m, s, b, o, *r.Grain)
					r.Grain = &g
				}
				c.back.Surfaces = append(c.back.Surfaces, r)
			}
		}
	}
	slices.SortStableFunc(c.back.Surfaces, func(a, b piece.SurfaceRule) int { return a.Line - b.Line })
}

func names(rule string, s piece.Surface) bool {
	switch rule {
	case "*", s.Name:
		return true
	case "faces":
		return s.Role == piece.Face
	case "edges":
		return s.Role == piece.Edge || s.Role == piece.Side
	case "ends":
		return s.Role == piece.EndOf
	}
	return false
}

// turnedGrain is a direction in the chart of s as an angle in the chart of o.
func (c *comparison) turnedGrain(m piece.Member, s piece.Surface, b piece.Member, o piece.Surface, grain float64) float64 {
	q := s.Region.Bounds().Center()
	const step = 1e-3
	ahead := q.Add(geom.V2(math.Cos(grain), math.Sin(grain)).Scale(step))
	to := func(q geom.Vec2) geom.Vec2 { return o.Chart(b.Place.Local(m.Place.Point(s.Point(q)).Add(c.moved))) }
	return to(ahead).Sub(to(q)).Angle()
}

func (c *comparison) contacts(native, back *plan.Plan) {
	if len(native.Joints.Contacts) != len(back.Joints.Contacts) || len(back.Joints.Rounds) != len(native.Joints.Rounds) {
		c.t.Errorf("%d contacts came back of %d, %d round ones of %d", len(back.Joints.Contacts), len(native.Joints.Contacts), len(back.Joints.Rounds), len(native.Joints.Rounds))
	}
	used := map[int]bool{}
	for _, n := range native.Joints.Contacts {
		best, found := math.Inf(1), -1
		for i, b := range back.Joints.Contacts {
			pair := func(p *piece.Piece, a, b int) string {
				x, y := p.Members[a].ID, p.Members[b].ID
				return min(x, y) + ":" + max(x, y)
			}
			if used[i] || pair(c.native, n.A.Member, n.B.Member) != pair(c.back, b.A.Member, b.B.Member) {
				continue
			}
			// Every corner of either lies on the border of the other.
			d := 0.0
			for _, loop := range n.Region {
				for _, q := range loop {
					p := b.Frame.Local(n.Frame.Point(geom.V3(q.X, q.Y, 0)).Add(c.moved))
					d = max(d, math.Abs(p.Z), b.Region.Distance(p.XY()))
				}
			}
			for _, loop := range b.Region {
				for _, q := range loop {
					p := n.Frame.Local(b.Frame.Point(geom.V3(q.X, q.Y, 0)).Sub(c.moved))
					d = max(d, math.Abs(p.Z), n.Region.Distance(p.XY()))
				}
			}
			if d < best {
				best, found = d, i
			}
		}
		if found < 0 || best > within {
			c.t.Errorf("the contact %s did not come back; the nearest lies %.3f mm off", n.ID, best)
			continue
		}
		used[found] = true
		c.touch = max(c.touch, best)
	}
}

// patterns compares, in space, the borders of all patterns of each surface.
func (c *comparison) patterns(native, back *plan.Plan) {
	type drawing struct {
		count           int
		net, gross      float64
		points, borders []geom.Vec3
	}
	gather := func(p *plan.Plan, member, surface int, by geom.Vec3) drawing {
		var d drawing
		lie := veneer.Lying(p.Layout)
		for _, q := range p.Patterns {
			if q.Member != member || q.Surface != surface {
				continue
			}
			d.count++
			d.net += q.NetArea
			d.gross += q.GrossArea
			on, ok := lie(q)
			if !ok {
				continue
			}
			for _, loop := range q.Net {
				for i, a := range loop {
					b := loop[(i+1)%len(loop)]
					n := int(math.Ceil(a.Dist(b) / 0.5)) // dense enough to be looked for by points
					for k := range n + 1 {
						at, _ := on.At(a.Lerp(b, float64(k)/float64(n)))
						at = at.Add(by)
						d.borders = append(d.borders, at)
						if k == 0 {
							d.points = append(d.points, at)
						}
					}
				}
			}
		}
		return d
	}
	for i, j := range c.member {
		for si := range c.lists[0][i] {
			sj, ok := c.surface[i][si]
			if !ok {
				continue
			}
			id := c.native.Members[i].ID + "/" + c.lists[0][i][si].Name
			n, b := gather(native, i, si, c.moved), gather(back, j, sj, geom.Vec3{})
			if n.count != b.count {
				c.t.Errorf("%s has %d patterns, and %d when it comes back", id, n.count, b.count)
				continue
			}
			if n.count == 0 {
				continue
			}
			if round := math.Sqrt(n.net) * 4 * within; math.Abs(n.net-b.net) > round || math.Abs(n.gross-b.gross) > 2*round {
				c.t.Errorf("the patterns of %s cover %.2f mm2 (cut %.2f), and %.2f (cut %.2f) when it comes back", id, n.net, n.gross, b.net, b.gross)
			}
			d := max(farthest(n.points, b.borders), farthest(b.points, n.borders))
			if d > within {
				c.t.Errorf("the patterns of %s lie %.3f mm apart from those that come back", id, d)
			}
			c.drawn = max(c.drawn, d)
		}
	}
}

// farthest is how far the farthest of the points lies from a line of points
// about half a millimetre apart.
func farthest(points, line []geom.Vec3) float64 {
	worst := 0.0
	for _, p := range points {
		best := math.Inf(1)
		for i := range line {
			a := line[i]
			if p.Dist(a) > best+1 {
				continue
			}
			b := line[(i+1)%len(line)]
			if ab := b.Sub(a); ab.Len() > 1e-9 && ab.Len() < 1 {
				t := max(0, min(1, p.Sub(a).Dot(ab)/ab.Dot(ab)))
				best = min(best, p.Dist(a.Lerp(b, t)))
			}
			best = min(best, p.Dist(a))
		}
		worst = max(worst, best)
	}
	return worst
}
