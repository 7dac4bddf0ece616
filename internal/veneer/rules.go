package veneer

import (
	"fmt"
	"math"
	"strconv"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
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
}

// wishes gathers the rules that apply to a surface; later ones win.
func wishes(p *piece.Piece, s *shop.Shop, o Options, m *piece.Member, sf *piece.Surface) (wish, error) {
	w := wish{allowance: o.Allowance, relief: p.Veneer.Relief, line: m.Line}
	if p.Veneer.Allowance != nil {
		w.allowance = *p.Veneer.Allowance
	}
	id := p.Veneer.Veneer
	if m.Veneer != "" {
		id = m.Veneer
	}
	for _, r := range p.Surfaces {
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
// dimension of faces and ends, along edges, along the axis of turnings. Where
// two dimensions are alike it is u.
func grainDirection(sf *piece.Surface) float64 {
	switch {
	case sf.Role == piece.Side && sf.Kind != piece.Plane:
		return math.Pi / 2
	case sf.Kind == piece.Extruded:
		return 0
	}
	size := sf.Region.Bounds().Size()
	if size.Y > size.X*1.02 {
		return math.Pi / 2
	}
	return 0
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

// mm writes a length for a message.
func mm(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// bends checks the bend radii of a covered surface.
func (r *report) bends(subject string, sf *piece.Surface, w wish, grain float64, o Options) {
	b := sf.MinRadius()
	if math.IsInf(b.Radius, 1) {
		return
	}
	turn := grain // from the direction that bends
	if !b.AxisV {
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
		if thin := b.Radius / (limit / t); thin >= 0.3 {
			remedy += fmt.Sprintf("use a stack of at most %.2f mm; or ", thin)
		}
		remedy += fmt.Sprintf("make the radius at least %s mm (%s mm to be without a warning); or break the band at the tight place with a corner sharper than 30 degrees", mm(limit), mm(1.5*limit))
		r.add(sev, code, subject, w.line, bendSource, remedy,
			"The core bends to a radius of %s mm, %s that a stack of %.2f mm takes this way (%s mm).", mm(b.Radius), what, t, mm(limit))
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
func (r *report) freeSurface(subject string, sf *piece.Surface, line int) {
	const strain = 0.005 // what veneer takes up, engineering estimate
	worst, wide := 0.0, 0.0
	for _, q := range sf.Run.Flatten(0.01) {
		u, v := sf.Curvature(geom.V2(0, q.S))
		worst, wide = max(worst, math.Abs(u*v)), max(wide, q.P.X)
	}
	gores := 1.0
	if worst > 0 {
		gores = math.Ceil(2 * math.Pi * wide / (2 * math.Sqrt(2*strain/worst)))
	}
	r.add(finding.Warning, "not-developable", subject, line, "Gauss: a flat sheet covers only surfaces of zero Gaussian curvature; 0.5 % strain is an engineering estimate",
		fmt.Sprintf("draw the profile with straight lines, so that it is made of cones; or cover it by hand with %.0f gores, each at most %s mm wide; or leave it bare and paint it", max(2, gores), mm(2*math.Pi*wide/max(2, gores))),
		"This side curves both ways (up to %.2e per mm²) and no flat leaf lies on it, so it is left bare.", worst)
}
