package veneer

import (
	"fmt"
	"math"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/unfold"
)

// This file holds what is particular to surfaces that have no formula: they
// are laid flat triangle by triangle.

// cutway is a side of a triangle along which the chart of a surface that goes
// all the way round was cut open. It occurs twice, once for each side of the
// cut.
type cutway struct {
	a, b geom.Vec2 // in the chart
	high bool      // on the side that gets the allowance of a ring
}

// cuts lists the sides along which the chart of a surface with a patch was cut
// open.
func (c *clad) cuts(si int) []cutway {
	if cuts, known := c.openings[si]; known {
		return cuts
	}
	p := c.surfaces[si].Patch
	used := map[[2]int32]bool{}
	for _, t := range p.Triangles {
		for k := range t {
			used[[2]int32{t[k], t[(k+1)%3]}] = true
		}
	}
	// The two sides of a cut have their ends in the same places.
	type side [2]geom.Vec3
	other := map[side][2]int32{}
	var pairs [][2][2]int32
	for _, t := range p.Triangles {
		for k := range t {
			e := [2]int32{t[k], t[(k+1)%3]}
			if used[[2]int32{e[1], e[0]}] {
				continue
			}
			from, to := p.Vertices[e[0]], p.Vertices[e[1]]
			if o, ok := other[side{to, from}]; ok {
				pairs = append(pairs, [2][2]int32{o, e})
			}
			other[side{from, to}] = e
		}
	}
	mid := func(e [2]int32) geom.Vec2 { return p.Flat[e[0]].Lerp(p.Flat[e[1]], 0.5) }
	var apart geom.Vec2
	for _, e := range pairs {
		d := mid(e[1]).Sub(mid(e[0]))
		apart = apart.Add(geom.V2(math.Abs(d.X), math.Abs(d.Y)))
	}
	var out []cutway
	for _, e := range pairs {
		d := mid(e[1]).Sub(mid(e[0]))
		second := d.X > 0
		if apart.Y > apart.X {
			second = d.Y > 0
		}
		for i, s := range e {
			out = append(out, cutway{p.Flat[s[0]], p.Flat[s[1]], second == (i == 1)})
		}
	}
	if c.openings == nil {
		c.openings = map[int][]cutway{}
	}
	c.openings[si] = out
	return out
}

// opening tells on which side of the cut that opened a patch q lies: -1 low,
// 1 high, 0 for not on it.
func (c *clad) opening(si int, q geom.Vec2) int {
	const tol = 1e-4
	for _, s := range c.cuts(si) {
		if geom.SegmentDistance(q, s.a, s.b) < tol {
			if s.high {
				return 1
			}
			return -1
		}
	}
	return 0
}

// openingLine is the line in the chart from one end of the low side of a cut
// to the other: the cut itself where that is a ruling.
func (c *clad) openingLine(si int) geom.Plane {
	var from, to geom.Vec2
	for _, s := range c.cuts(si) {
		for _, t := range c.cuts(si) {
			if !s.high && !t.high && s.a.Dist(t.b) > from.Dist(to) {
				from, to = s.a, t.b
			}
		}
	}
	dir := to.Sub(from).Unit().Left()
	return geom.Plane{Normal: geom.V3(dir.X, dir.Y, 0), D: dir.Dot(from)}
}

// endMargin is the margin m, or where the border from a to b is an end of an
// opened ring, that of rings: one end is cut long and fitted on the core.
func (c *clad) endMargin(si int, a, b geom.Vec2, m margin, length float64, o Options) margin {
	switch c.opening(si, a.Lerp(b, 0.5)) {
	case -1:
		return margin{}
	case 1:
		return margin{0, o.ringExtra(length)}
	}
	return m
}

// facing is the mean normal of a surface, in member coordinates.
func (c *clad) facing(si int) geom.Vec3 {
	sf := &c.surfaces[si]
	var sum geom.Vec3
	switch {
	case sf.Kind == piece.Plane:
		return sf.Frame.Z
	case sf.Patch != nil:
		for _, t := range sf.Patch.Triangles {
			a, b, d := sf.Patch.Vertices[t[0]], sf.Patch.Vertices[t[1]], sf.Patch.Vertices[t[2]]
			sum = sum.Add(b.Sub(a).Cross(d.Sub(a)))
		}
	default:
		for _, loop := range sf.Region {
			for _, q := range loop {
				sum = sum.Add(sf.Normal(q))
			}
		}
	}
	if sum.Len() < 1e-9 {
		return geom.V3(0, 0, 0) // looks all round
	}
	return sum.Unit()
}

// tightest is the smallest radius to which a patch bends, and the chart
// direction in which it bends there. It is measured over bendOver mm, as a leaf
// feels it, so that a sliver of the mesh counts for no more than it is.
func tightest(p *unfold.Patch) (b piece.Bend, way geom.Vec2) {
	const most, turns = 400, 6 // places, directions in half a turn
	size := p.Border().Bounds().Size()
	over := min(bendOver, size.X/4, size.Y/4)
	worst := 1e-9
	every := 1 + len(p.Triangles)/most
	for i := 0; i < len(p.Triangles); i += every {
		t := p.Triangles[i]
		mid := p.Flat[t[0]].Add(p.Flat[t[1]]).Add(p.Flat[t[2]]).Scale(1.0 / 3)
		for k := range turns {
			sn, cs := math.Sincos(math.Pi * float64(k) / turns)
			d := geom.V2(cs, sn)
			from, to := mid.Sub(d.Scale(over/2)), mid.Add(d.Scale(over/2))
			if !p.Contains(from) || !p.Contains(to) {
				continue
			}
			step := p.Point(to).Sub(p.Point(from))
			if kappa := p.Normal(to).Sub(p.Normal(from)).Dot(step) / step.Dot(step); math.Abs(kappa) > math.Abs(worst)*(1+1e-9) {
				worst, way, b.At = kappa, d, mid
			}
		}
	}
	b.Radius, b.Hollow = math.Inf(1), worst < 0
	if math.Abs(worst) > 1e-9 {
		b.Radius = 1 / math.Abs(worst)
	}
	return b, way
}

// bendOver is the length in mm over which bends of a patch are measured.
const bendOver = 2.0

// neutral is the neutral surface of what is laid on si.
func (c *clad) neutral(si int) *neutral {
	if c.neutrals == nil {
		c.neutrals = make([]*neutral, len(c.surfaces))
	}
	if c.neutrals[si] == nil {
		c.neutrals[si] = newNeutral(&c.surfaces[si], c.cover[si].Neutral)
	}
	return c.neutrals[si]
}

// bears reports whether the veneer takes the strain of lying on a surface that
// curves both ways.
func (t *task) bears(c *clad, si int, w wish) bool {
	sf := &c.surfaces[si]
	if sf.Patch == nil {
		return false
	}
	along, across := t.strain(c, si, w)
	lim := t.o.Strain
	// Both strains within their limits leave shear, which the greatest stretch shows.
	return along <= lim.Along && across <= lim.Across && sf.Strain.Stretch <= max(lim.Along, lim.Across)
}

// strain is that along and across the grain.
func (t *task) strain(c *clad, si int, w wish) (along, across float64) {
	g := c.grainDirection(si)
	if w.grain != nil {
		g = *w.grain
	}
	sn, cs := math.Sincos(g)
	return c.surfaces[si].Patch.Strain(geom.V2(cs, sn))
}

const strainSource = "strain limits are engineering estimates, no source: measure a coupon"

// percent writes a strain for a message.
func percent(x float64) string { return fmt.Sprintf("%.2g %%", 100*x) }

// strained tells that a surface that curves both ways is covered all the same.
func (t *task) strained(c *clad, si int, subject string, w wish) {
	along, across := t.strain(c, si, w)
	lim, d := t.o.Strain, c.surfaces[si].Strain
	t.add(finding.Note, "covered-with-strain", subject, w.line, strainSource, "damp and warm the leaf and press it under a caul of that shape; or try a coupon first",
		"%s curves both ways; the leaf on it is strained by %s along the grain (%s allowed) and %s across it (%s allowed), lengths by %s at most.",
		subject, percent(along), percent(lim.Along), percent(across), percent(lim.Across), percent(d.Edge))
}

// doubleCurved tells that a surface with a patch does not unroll: by how much,
// and what gores would cover it.
func (t *task) doubleCurved(c *clad, si int, subject string, w wish) {
	sf := &c.surfaces[si]
	along, across := t.strain(c, si, w)
	lim, d := t.o.Strain, sf.Strain
	remedy := "leave it bare and paint it"
	if g := t.gores(sf, lim); g != "" {
		remedy = g + "; or " + remedy
	}
	t.add(finding.Warning, "not-developable", subject, w.line, "Gauss: a flat sheet covers only surfaces of zero Gaussian curvature; "+strainSource, remedy,
		"%s curves both ways: laid flat in one piece it is strained by %s along the grain (%s allowed) and %s across it (%s allowed), stretched by %s at most, lengths changed by %s; its angle defect is %.2g rad at most. It is left bare.",
		subject, percent(along), percent(lim.Along), percent(across), percent(lim.Across), percent(d.Stretch), percent(d.Edge), d.Defect)
}

// Proposals of gores are sought only where somebody may follow them: not on
// carvings of many facets, not on what a flat sheet is far from, and not for
// more kinds of surface than a person would cover by hand. The numbers are ours.
const (
	goreTriangles = 3000
	goreStretch   = 0.5
	goreKinds     = 8
	goreCuts      = 12
)

// gores is the proposal for a surface; surfaces that are alike share theirs.
func (t *task) gores(sf *piece.Surface, lim unfold.Limits) string {
	if len(sf.Patch.Triangles) > goreTriangles || sf.Strain.Stretch > goreStretch {
		return ""
	}
	d := sf.Strain
	key := goreKey{len(sf.Patch.Triangles), math.Round(sf.Area * 10), math.Round(d.EdgeRMS * 1e6)}
	if g, known := t.proposed[key]; known {
		return g
	}
	if len(t.proposed) >= goreKinds {
		return ""
	}
	g := proposal(sf.Patch, lim)
	if t.proposed == nil {
		t.proposed = map[goreKey]string{}
	}
	t.proposed[key] = g
	return g
}

// goreKey tells surfaces apart for which gores are sought.
type goreKey struct {
	triangles  int
	area, edge float64
}

// proposal tells with what gores a patch can be covered by hand; "" when with
// none.
func proposal(p *unfold.Patch, lim unfold.Limits) string {
	// The patch as it was before it was cut open.
	first := map[geom.Vec3]int32{}
	var vertices []geom.Vec3
	at := make([]int32, len(p.Vertices))
	for i, v := range p.Vertices {
		k, known := first[v]
		if !known {
			k = int32(len(vertices))
			first[v], vertices = k, append(vertices, v)
		}
		at[i] = k
	}
	triangles := make([][3]int32, len(p.Triangles))
	for i, t := range p.Triangles {
		triangles[i] = [3]int32{at[t[0]], at[t[1]], at[t[2]]}
	}
	gores, err := unfold.Gores(vertices, triangles, lim, unfold.GoreOptions{Most: goreCuts})
	if len(gores) == 0 {
		return ""
	}
	wide, most := 0.0, 0
	var strains []string
	for i, g := range gores {
		if wide = max(wide, g.Width); i < 8 {
			strains = append(strains, fmt.Sprintf("%s / %s", percent(g.Along), percent(g.Across)))
		}
		if g.Along/lim.Along+g.Across/lim.Across > gores[most].Along/lim.Along+gores[most].Across/lim.Across {
			most = i
		}
	}
	told := "along / across their grain: " + strings.Join(strains, ", ")
	if len(gores) > len(strains) {
		told = fmt.Sprintf("%s along and %s across its grain in the most strained one", percent(gores[most].Along), percent(gores[most].Across))
	}
	if err != nil {
		return fmt.Sprintf("even %d gores, each at most %s mm wide, are strained more than allowed (%s)", len(gores), mm(wide), told)
	}
	return fmt.Sprintf("cover it by hand with %d gores, each at most %s mm wide, strained %s", len(gores), mm(wide), told)
}
