package climate

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
)

// Core is a printed board as it bends: cover layers or contours at its faces, fill
// between them, contours round its rim.
type Core struct {
	Thickness float64 // mm
	Modulus   float64 // MPa, of the plastic in its layers
	Poisson   float64
	Shell     float64 // mm of solid plastic at each face
	Rim       float64 // mm of solid plastic along its edges
	Fill      float64 // share of the volume between, 0..1
	Pattern   string  // of the core fill: triangles, grid, hexagons
	Expansion float64 // of the plastic, 1e-6/K
}

// Clad is the veneer on one face; the zero value is none.
type Clad struct {
	Veneer  string // shop veneer
	Species string
	Wood    float64 // mm of wood
	Under   float64 // mm of backing and adhesive, taken to have no stiffness
	Grain   float64 // radians from the board's x to the grain
}

// Board is a flat member under veneer.
type Board struct {
	ID            string
	Length, Width float64 // mm along x and y
	Core          Core
	Face, Back    Clad // Face is the side that z points out of
	Held          bool // one of its faces is fixed to a wall or the like, which keeps it flat
}

// Bow is how a board bends when its veneer dries or all of it warms, if nothing
// holds it flat: from the softest to the stiffest that hardwoods are across the
// grain.
type Bow struct {
	Board   string
	Length  [2]float64 // mm that its middle rises over its length; above 0 its face is crowned, below 0 hollow
	Width   [2]float64
	Twist   [2]float64 // mm that one corner stands off the plane of the other three
	Tension [2]float64 // MPa across the grain of the veneer that is pulled most
	Wood    Wood       // of that veneer
	Told    []string   // what is not plain about the species
}

// Drying is how much drier, in % of moisture, the veneer of a piece is taken to
// become after it was laid: as from 50 % of relative humidity, where it was laid
// and kept, to a heated room in winter.
const Drying = 4.0

// seen is the share of the span from which a bow is seen: 1/32 inch in a foot
// (woodworking text on shelves).
const seen = 1.0 / 384

// thinWalls is the share of core fill from which the formulas for thin walls no
// longer hold; from there stiffness goes up to the plastic's own in a straight line.
const thinWalls = 0.4

// filling is the modulus, MPa, of core fill in the plane of its layers: a third of
// the share for triangles, and for grids averaged over all directions; 1.5 of
// the share's cube for hexagons (Gibson and Ashby, Cellular Solids, 2nd ed., ch. 4).
func (c Core) filling() float64 {
	if c.Fill >= 1 {
		return c.Modulus
	}
	f := min(thinWalls, max(0, c.Fill))
	e := c.Modulus * f / 3
	if c.Pattern == "hexagons" {
		e = c.Modulus * 1.5 * f * f * f
	}
	if c.Fill > thinWalls {
		e += (c.Modulus - e) * (c.Fill - thinWalls) / (1 - thinWalls)
	}
	return e
}

// layers of a core: its shells and what is between, with the rim's contours
// spread over the width that bends with them. The rim counts along x as well as
// along y.
func (c Core) layers(length, width float64) []Layer {
	inner := c.Thickness - 2*c.Shell
	if inner <= 0 || c.Shell <= 0 && c.Fill >= 1 {
		return []Layer{{Thickness: c.Thickness, E1: c.Modulus, Nu: c.Poisson}}
	}
	e := c.filling()
	with := func(across float64) float64 {
		share := min(1, 2*c.Rim/across)
		return share*c.Modulus + (1-share)*e
	}
	nu := c.Poisson
	if c.Fill < thinWalls {
		nu = 1.0 / 3
	}
	fill := Layer{Thickness: inner, E1: with(width), E2: with(length), G: max(e, 1e-6*c.Modulus) / (2 * (1 + nu)), Nu: nu}
	if fill.E1 < fill.E2 { // the contraction is that of the stiffer way
		fill.E1, fill.E2, fill.Grain = fill.E2, fill.E1, math.Pi/2
	}
	if c.Shell <= 0 {
		return []Layer{fill}
	}
	shell := Layer{Thickness: c.Shell, E1: c.Modulus, Nu: c.Poisson}
	return []Layer{shell, fill, shell}
}

// layer of veneer that dries by so many per cent and warms by so many K; its
// backing lies beside it.
func (c Clad) layer(w Wood, drying, kelvin, across float64) Layer {
	e := w.Modulus * trueModulus
	return Layer{
		Thickness: c.Wood, E1: e, E2: across * e, G: shearRatio * e, Nu: poisson, Grain: c.Grain,
		Free: [2]float64{WoodAlong*1e-6*kelvin - lengthwise*drying, WoodAcross*1e-6*kelvin - w.Tangential*drying},
	}
}

// Bow of a board whose veneer dries by so many per cent (below 0: takes up
// moisture). Veneer is taken to be cut flat, which moves most, and glue not to
// creep: in truth adhesive gives way with time, so it is an upper estimate.
func (b Board) Bow(drying float64) (Bow, error) { return b.bow(drying, 0) }

// Warm is the bow of a board warmed by so many K, its moisture the same: plastic
// grows more than wood, above all along the grain.
func (b Board) Warm(kelvin float64) (Bow, error) { return b.bow(0, kelvin) }

func (b Board) bow(drying, kelvin float64) (Bow, error) {
	out := Bow{Board: b.ID}
	for i, across := range []float64{lowAcross, highAcross} {
		var layers []Layer
		var sides []int
		var woods []Wood
		add := func(c Clad, below bool) {
			if c.Wood <= 0 {
				return
			}
			w, told := Species(c.Species)
			if told != "" && i == 0 && !slices.Contains(out.Told, told) {
				out.Told = append(out.Told, told)
			}
			under := Layer{Thickness: c.Under}
			if !below && c.Under > 0 {
				layers = append(layers, under)
			}
			sides, woods = append(sides, len(layers)), append(woods, w)
			layers = append(layers, c.layer(w, drying, kelvin, across))
			if below && c.Under > 0 {
				layers = append(layers, under)
			}
		}
		add(b.Back, true)
		for _, l := range b.Core.layers(b.Length, b.Width) {
			grown := b.Core.Expansion * 1e-6 * kelvin
			l.Free = [2]float64{grown, grown}
			layers = append(layers, l)
		}
		add(b.Face, false)
		bent, err := Bend(layers)
		if err != nil {
			return Bow{}, fmt.Errorf("bow of %s: %w", b.ID, err)
		}
		out.Length[i], out.Width[i] = Rise(bent.Curvature[0], b.Length), Rise(bent.Curvature[1], b.Width)
		out.Twist[i] = math.Abs(bent.Curvature[2]) * b.Length * b.Width / 2
		for j, k := range sides {
			if t := bent.Stress[k][1]; j == 0 || t > out.Tension[i] {
				out.Tension[i], out.Wood = t, woods[j]
			}
		}
	}
	return out, nil
}

// worst is the greatest bow as a share of the span on which it is seen: above 1
// it is seen.
func (w Bow) worst(b Board) (share, bow, span float64, way string) {
	for _, o := range []struct {
		bow  [2]float64
		span float64
		way  string
	}{{w.Length, b.Length, "length"}, {w.Width, b.Width, "width"}} {
		for _, v := range o.bow {
			if s := math.Abs(v) / (seen * o.span); s > share {
				share, bow, span, way = s, v, o.span, o.way
			}
		}
	}
	return share, bow, span, way
}

// Balanced reports whether the same veneer lies on both faces, its grain the
// same way, or on neither.
func (b Board) Balanced() bool {
	f, k := b.Face, b.Back
	if f.Wood == 0 && k.Wood == 0 {
		return true
	}
	if f.Wood == 0 || k.Wood == 0 {
		return false
	}
	_, off := math.Modf(math.Abs(f.Grain-k.Grain)/math.Pi + 1e-9)
	return f.Species == k.Species && math.Abs(f.Wood-k.Wood) < 1e-6 && math.Abs(f.Under-k.Under) < 1e-6 && off < 2e-3
}

// small is the bow, mm, below which nothing is said of an unbalanced board:
// common practice, no source.
const small = 0.2

// Boards judges how boards bend when their veneer dries by so many per cent.
// Bows are in the boards' order.
func Boards(boards []Board, drying float64) (bows []Bow, fs []finding.Finding, err error) {
	pulled, at := Bow{}, -1
	for i, b := range boards {
		if b.Face.Wood == 0 && b.Back.Wood == 0 {
			continue
		}
		w, err := b.Bow(drying)
		if err != nil {
			return nil, nil, err
		}
		bows = append(bows, w)
		if w.Wood.Across > 0 && (at < 0 || w.Tension[1]/w.Wood.Across > pulled.Tension[1]/pulled.Wood.Across) {
			pulled, at = w, i
		}
		f, ok, err := b.judge(w, drying)
		if err != nil {
			return nil, nil, err
		}
		if ok {
			fs = append(fs, f)
		}
	}
	if at >= 0 {
		if f, ok := boards[at].checks(pulled, drying); ok {
			fs = append(fs, f)
		}
	}
	return bows, fs, nil
}

const ofBows = "laminated plate theory; " + ofMovement + "; stiffness across the grain 6 to 10 % of that along it, USDA Wood Handbook table 5-1 from memory; adhesive taken not to creep and backing not to stiffen"

// judge tells of a board that is veneered unlike on its two faces.
func (b Board) judge(w Bow, drying float64) (finding.Finding, bool, error) {
	warm, err := b.Warm(Warming)
	if err != nil {
		return finding.Finding{}, false, err
	}
	share, bow, _, _ := w.worst(b)
	heated, heatBow, _, _ := warm.worst(b)
	if b.Balanced() || max(math.Abs(bow), math.Abs(heatBow)) < small && max(share, heated) < 1 {
		return finding.Finding{}, false, nil
	}
	message := fmt.Sprintf("%s is veneered %s. If nothing holds it flat and its veneer dries by %.0f %% of moisture%s, %s.", b.ID, b.how(), drying, air(drying), b.tell(w))
	if b.Core.Expansion > 0 {
		message += fmt.Sprintf(" Warmed by %.0f K, as in the sun, %s.", Warming, b.tell(warm))
	}
	if t := w.Twist[1]; t > 0.1 {
		message += fmt.Sprintf(" Its grain lies askew, so in dry air one corner lifts by up to %.1f mm.", t)
	}
	if len(w.Told) > 0 {
		message += " " + sentence(strings.Join(w.Told, "; ")) + "."
	}
	s := finding.Note
	switch {
	case b.Held:
		message += " It is held by one of its faces, which keeps it flat as far as its fasteners do."
	case max(share, heated) > 1:
		s = finding.Warning
	}
	return find(s, "bow", b.ID, message, b.remedy(drying), ofBows+"; expansion of the filament in the shop file; seen from 1/32 inch in a foot"), true, nil
}

// tell says how a board bows where it is seen most.
func (b Board) tell(w Bow) string {
	share, bow, span, way := w.worst(b)
	side := "face"
	if bow > 0 {
		side = "back"
	}
	lo, hi := math.Abs(pick(w, way)[0]), math.Abs(pick(w, way)[1])
	return fmt.Sprintf("its %s goes hollow by %s over its %s of %.0f mm, where a bow is seen from %.1f mm (margin %.2f)",
		side, between(min(lo, hi), max(lo, hi)), way, span, seen*span, math.Floor(100/share)/100)
}

// between is a range in mm to a tenth, or one figure where both are the same.
func between(lo, hi float64) string {
	a, b := fmt.Sprintf("%.1f", lo), fmt.Sprintf("%.1f", hi)
	if a == b {
		return a + " mm"
	}
	return a + " to " + b + " mm"
}

func pick(w Bow, way string) [2]float64 {
	if way == "length" {
		return w.Length
	}
	return w.Width
}

func (b Board) how() string {
	switch {
	case b.Back.Wood == 0:
		return "on its face only"
	case b.Face.Wood == 0:
		return "on its back only"
	case b.Face.Species != b.Back.Species:
		return fmt.Sprintf("unlike, with %s on its face and %s on its back", b.Face.Veneer, b.Back.Veneer)
	case math.Abs(b.Face.Wood-b.Back.Wood) > 1e-6 || math.Abs(b.Face.Under-b.Back.Under) > 1e-6:
		return fmt.Sprintf("unlike, with %.2f mm of wood on its face and %.2f mm on its back", b.Face.Wood, b.Back.Wood)
	}
	return "with the grain of its face across that of its back"
}

// air tells from and to which relative humidity wood dries so far at 21 °C, from
// what it has at 50 %.
func air(drying float64) string {
	const room, laid = 21, 0.5
	m := EMC(room, laid)
	if drying <= 0 || m-drying < 2 {
		return ""
	}
	return fmt.Sprintf(" (as from 50 to %.0f %% of relative humidity at %d °C)", 100*Humidity(room, m-drying), room)
}

// sight is the greatest bow as a share of what is seen, dried or warmed, and how
// far that is; above 1 it is seen.
func (b Board) sight(drying float64) (share, bow float64) {
	for _, in := range [][2]float64{{drying, 0}, {0, Warming}} {
		w, err := b.bow(in[0], in[1])
		if err != nil {
			return math.Inf(1), math.Inf(1)
		}
		if s, v, _, _ := w.worst(b); s >= share {
			share, bow = s, math.Abs(v)
		}
	}
	return share, bow
}

// remedy is what keeps the bow below what is seen, worked out again.
func (b Board) remedy(drying float64) string {
	like := b
	if like.Back.Wood == 0 {
		like.Back = like.Face
	} else {
		like.Face = like.Back
	}
	var out []string
	if share, bow := like.sight(drying); share < 1 {
		out = append(out, fmt.Sprintf("veneer both faces alike, grain the same way (then %.1f mm)", bow))
	}
	if share, _ := b.sight(drying); share > 1 {
		thick := b
		for thick.Core.Thickness < 2*b.Core.Thickness-1 {
			thick.Core.Thickness++
			if share, bow := thick.sight(drying); share <= 1 {
				out = append(out, fmt.Sprintf("make its core %.1f mm thick (then %.1f mm)", thick.Core.Thickness, bow))
				break
			}
		}
		out = append(out, "screw it to a frame that holds it flat")
	}
	return sentence(strings.Join(out, "; or ")) + "."
}

// checks tells of the veneer that dries nearest to its strength.
func (b Board) checks(w Bow, drying float64) (finding.Finding, bool) {
	lo, hi := w.Tension[0], w.Tension[1]
	if hi < w.Wood.Across/2 {
		return finding.Finding{}, false
	}
	margin := w.Wood.Across / hi
	message := fmt.Sprintf("Held by its core, %s dried by %.0f %% of moisture is pulled across its grain with %.1f to %.1f MPa, on %s most; it bears %.1f MPa (margin %.2f to %.2f). Fine checks along the grain may open; adhesive that gives way with time takes some of the pull off.",
		w.Wood.Name, drying, lo, hi, b.ID, w.Wood.Across, math.Floor(100*margin)/100, math.Floor(100*w.Wood.Across/lo)/100)
	if len(w.Told) > 0 {
		message += " " + sentence(strings.Join(w.Told, "; ")) + "."
	}
	return find(finding.Note, "veneer-tension", b.ID, message,
		"Let veneer and cores lie together for two days in the driest air that the piece will meet before laying; or keep the piece's room from drying out.",
		ofBows+"; "+ofStrength), true
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
