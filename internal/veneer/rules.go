package veneer

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/given"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/unfold"
)

// wish is what the piece file asks of one surface, its rules taken together.
type wish struct {
	show      string
	grain     *float64
	allowance float64
	veneer    shop.Veneer
	match     string
	lap       string
	lapAt     *float64
	relief    bool
	line      int
	from      []string // keys of the piece file at which the veneer is named, or would be for this member
}

// wishes gathers the rules that apply to a surface; later ones win.
func wishes(p *piece.Piece, s *shop.Shop, o Options, m *piece.Member, sf *piece.Surface) (wish, error) {
	w := wish{allowance: o.Allowance, relief: p.Veneer.Relief, line: m.Line}
	if p.Veneer.Allowance != nil {
		w.allowance = *p.Veneer.Allowance
	}
	id := p.Veneer.Veneer
	w.from = []string{"members", m.Name, "veneer"}
	if m.Veneer != "" {
		id = m.Veneer
	}
	for i, r := range p.Surfaces {
		if !applies(r, m, sf) {
			continue
		}
		w.line = r.Line
		if r.Show != "" {
			w.show = r.Show
		}
		if r.Grain != nil {
			w.grain = r.Grain
		}
		if r.Allowance != nil {
			w.allowance = *r.Allowance
		}
		if r.Veneer != "" {
			id = r.Veneer
			w.from = []string{"surfaces", strconv.Itoa(i), "veneer"} // in the order of the piece file
		}
		if r.Match != "" {
			w.match = r.Match
		}
		if r.Lap != "" {
			w.lap = r.Lap
		}
		if r.LapAt != nil {
			w.lapAt = r.LapAt
		}
		if r.Relief != nil {
			w.relief = *r.Relief
		}
	}
	for _, v := range s.Veneers {
		if v.ID == id || id == "" {
			w.veneer = v
			return w, nil
		}
	}
	return w, fmt.Errorf("the shop has no veneer %q", id)
}

func applies(r piece.SurfaceRule, m *piece.Member, sf *piece.Surface) bool {
	if r.Member != "*" && r.Member != m.ID && r.Member != m.Name {
		return false
	}
	switch r.Surface {
	case "*":
		return true
	case "faces":
		return sf.Role == piece.Face
	case "edges":
		return sf.Role == piece.Edge || sf.Role == piece.Side
	case "ends":
		return sf.Role == piece.EndOf
	}
	return r.Surface == sf.Name
}

// grainDirection is the default angle of the grain from u: along the longest
// dimension of flat surfaces and of those with a patch, along edges, along the
// axis of turnings. Where two dimensions are alike it is u. Flat surfaces of a
// member in one plane, such as those between its housings, have one grain.
func (c *clad) grainDirection(si int) float64 {
	sf := &c.surfaces[si]
	switch {
	case sf.Patch != nil:
	case sf.Role == piece.Side && sf.Kind != piece.Plane:
		return math.Pi / 2
	case sf.Kind == piece.Extruded:
		return 0
	}
	longest := func(b geom.Box2) float64 {
		if size := b.Size(); size.Y > size.X*1.02 {
			return math.Pi / 2
		}
		return 0
	}
	level := c.level(si)
	if len(level) < 2 {
		return longest(sf.Region.Bounds())
	}
	largest := slices.MaxFunc(level, func(a, b int) int { return cmp.Compare(c.surfaces[a].Area, c.surfaces[b].Area) })
	of := &c.surfaces[largest]
	box := geom.EmptyBox2()
	for _, j := range level {
		for _, loop := range c.surfaces[j].Region {
			for _, q := range loop {
				box = box.Add(of.Chart(c.surfaces[j].Point(q)))
			}
		}
	}
	g := longest(box)
	if largest == si {
		return g
	}
	sn, cs := math.Sincos(g)
	in := sf.Frame.LocalDir(of.Frame.Dir(geom.V3(cs, sn, 0)))
	a := math.Atan2(in.Y, in.X)
	if a < -1e-9 {
		a += math.Pi
	}
	return a
}

// rim reports whether a round side is a rim rather than a post: lower than half
// its radius, and wide enough for a band with its grain along it.
func (c *clad) rim(si int, v shop.Veneer) bool {
	sf := &c.surfaces[si]
	if sf.Kind != piece.Cylinder || sf.Role != piece.Side {
		return false
	}
	r := sf.Run.Segs[0].From().X
	return sf.Region.Bounds().Size().Y < r/2 && r >= 1.5*bendLimit(v, 0)
}

// level lists the flat surfaces that lie in one plane with si and play the same
// role, itself among them; nothing if si is not flat.
func (c *clad) level(si int) []int {
	const near, turned = 0.01, 1e-5 // mm, radians
	sf := &c.surfaces[si]
	if sf.Kind != piece.Plane {
		return nil
	}
	var out []int
	for j := range c.surfaces {
		o := &c.surfaces[j]
		if o.Kind == piece.Plane && o.Role == sf.Role && len(o.Region) > 0 &&
			o.Frame.Z.Sub(sf.Frame.Z).Len() < turned && math.Abs(sf.Frame.Local(o.Frame.Origin).Z) < near {
			out = append(out, j)
		}
	}
	return out
}

// runOn lists the covered flat surfaces in one plane with si in their order
// along the grain, so that its figure can run on from one to the next.
func (c *clad) runOn(si int) []int {
	var out []int
	for _, j := range c.level(si) {
		if c.rank[j] >= 0 && c.cover[j].Veneer == c.cover[si].Veneer {
			out = append(out, j)
		}
	}
	if len(out) < 2 {
		return nil
	}
	first := &c.surfaces[out[0]] // in whose chart all of them agree on the sense
	sn, cs := math.Sincos(c.cover[out[0]].Grain)
	at := map[int]float64{}
	for _, j := range out {
		at[j] = first.Chart(c.surfaces[j].Point(c.surfaces[j].Region.Bounds().Center())).Dot(geom.V2(cs, sn))
	}
	slices.SortStableFunc(out, func(a, b int) int { return cmp.Compare(at[a], at[b]) })
	return out
}

// opposite is the surface that is the parallel of si at the other side of the
// member's thickness, -1 for none.
func (c *clad) opposite(si int) int {
	if c.core.Solid != nil {
		return c.core.Solid.Opposite[si]
	}
	for j := range c.surfaces { // a board has two faces
		if j != si && c.surfaces[j].Role == piece.Face && c.surfaces[si].Role == piece.Face {
			return j
		}
	}
	return -1
}

// bendLimit is the smallest radius that the stack bears with its grain at
// angle from the direction that bends.
func bendLimit(v shop.Veneer, angle float64) float64 {
	along, across := v.BendAlong, v.BendAcross
	if along <= 0 {
		along = 60
	}
	if across <= 0 {
		across = 30
	}
	// Only grain that truly lies along the axis takes the tighter bend.
	if math.Abs(math.Cos(angle)) < math.Sin(10*deg) {
		return across * v.Stack()
	}
	return along * v.Stack()
}

// thinner is the thickest of the shop's veneers of the same species that is
// thinner and bears a radius of the core at angle from the direction that bends,
// without so much as a warning if there is one. With finished sizes the core
// moves out by the difference of the stacks, and a hollow becomes tighter.
func thinner(v shop.Veneer, has []shop.Veneer, radius, angle float64) (shop.Veneer, bool) {
	spares := []float64{1.5, 1}
	if radius >= bendLimit(v, angle)-1e-9 {
		spares = spares[:1] // it is only the warning that is to go
	}
	for _, spare := range spares {
		best, found := shop.Veneer{}, false
		for _, o := range has {
			less := v.Stack() - o.Stack()
			if o.Species == v.Species && o.Species != "" && less > 0 && radius-less >= spare*bendLimit(o, angle) && (!found || o.Stack() > best.Stack()) {
				best, found = o, true
			}
		}
		if found {
			return best, true
		}
	}
	return shop.Veneer{}, false
}

const bendSource = "smallest radius 60 stacks with the grain round the curve (beech, dry), 30 along its axis (derived from FAA AC 43.13-1B plywood table)"

// report gathers findings.
type report struct {
	p    *piece.Piece
	list []finding.Finding
}

func (r *report) add(sev finding.Severity, code, subject string, line int, source, remedy, message string, args ...any) {
	r.list = append(r.list, finding.Finding{
		Severity: sev, Stage: "veneer", Code: code, Subject: subject, Message: fmt.Sprintf(message, args...),
		Remedy: remedy, Source: source, File: r.p.File, Line: line,
	})
}

// mend gives the finding added last the change to the piece file that clears it.
func (r *report) mend(value string, keys ...string) {
	f := &r.list[len(r.list)-1]
	f.Changes = append(f.Changes, finding.Change{Document: finding.PieceFile, Pointer: given.Pointer(keys...), Value: value})
}

// mm writes a length for a message.
func mm(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// bends checks the bend radii of a covered surface.
func (r *report) bends(subject string, sf *piece.Surface, w wish, grain float64, o Options, has []shop.Veneer) {
	b := sf.MinRadius()
	var way geom.Vec2 // in which a patch bends
	if sf.Patch != nil {
		b, way = tightest(sf.Patch)
	}
	if math.IsInf(b.Radius, 1) {
		return
	}
	turn := grain // from the direction that bends
	switch {
	case sf.Patch != nil:
		turn -= way.Angle()
	case !b.AxisV:
		turn += math.Pi / 2
	}
	t := w.veneer.Stack()
	limit := bendLimit(w.veneer, turn)
	other := bendLimit(w.veneer, turn+math.Pi/2)
	if b.Radius < 1.5*limit-1e-9 {
		sev, code, what := finding.Warning, "bend-radius-near", "near the smallest"
		if b.Radius < limit-1e-9 {
			sev, code, what = finding.Stop, "bend-radius", "below the smallest"
		}
		var remedy string
		if other < limit && b.Radius >= other {
			remedy = fmt.Sprintf("turn the grain by a quarter (then %s mm is allowed); or ", mm(other))
		}
		thinner, found := thinner(w.veneer, has, b.Radius, turn)
		if thin := b.Radius / (limit / t); thin >= 0.3 {
			remedy += fmt.Sprintf("use a stack of at most %.2f mm", thin)
			if found {
				remedy += fmt.Sprintf(", as the shop's %s is", thinner.ID)
			}
			remedy += "; or "
		}
		remedy += fmt.Sprintf("make the radius at least %s mm (%s mm to be without a warning); or break the band at the tight place with a corner sharper than 30 degrees", mm(limit), mm(1.5*limit))
		r.add(sev, code, subject, w.line, bendSource, remedy,
			"The core bends to a radius of %s mm, %s that a stack of %.2f mm takes this way (%s mm).", mm(b.Radius), what, t, mm(limit))
		if found {
			r.mend(thinner.ID, w.from...)
		}
	}
	if b.Hollow && b.Radius < o.Cutter {
		r.add(finding.Warning, "hollow-tighter-than-cutter", subject, w.line, "geometry",
			fmt.Sprintf("make the hollow's radius at least %s mm; or trim there by knife", mm(o.Cutter)),
			"A hollow of %s mm radius cannot be trimmed with a cutter of %s mm radius.", mm(b.Radius), mm(o.Cutter))
	}
}

// freeSurface tells that a surface does not unroll, and how many gores would
// cover it: a strip of half-width h on a surface of Gaussian curvature K is
// stretched by about K h²/2 along its edges when it is laid flat.
func (r *report) freeSurface(subject string, sf *piece.Surface, line int, lim unfold.Limits) {
	strain := lim.Along // gores run along the axis, as the grain does
	worst, wide := 0.0, 0.0
	for _, q := range sf.Run.Flatten(0.01) {
		u, v := sf.Curvature(geom.V2(0, q.S))
		worst, wide = max(worst, math.Abs(u*v)), max(wide, q.P.X)
	}
	gores := 1.0
	if worst > 0 {
		gores = math.Ceil(2 * math.Pi * wide / (2 * math.Sqrt(2*strain/worst)))
	}
	r.add(finding.Warning, "not-developable", subject, line, fmt.Sprintf("Gauss: a flat sheet covers only surfaces of zero Gaussian curvature; %.2g %% strain is an engineering estimate", 100*strain),
		fmt.Sprintf("draw the profile with straight lines, so that it is made of cones; or cover it by hand with %.0f gores, each at most %s mm wide; or leave it bare and paint it", max(2, gores), mm(2*math.Pi*wide/max(2, gores))),
		"This side curves both ways (up to %.2e per mm²) and no flat leaf lies on it, so it is left bare.", worst)
}
