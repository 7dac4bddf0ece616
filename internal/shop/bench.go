package shop

import (
	"groundwork/internal/geom"
	"groundwork/internal/given"
	"groundwork/internal/unit"
)

var forces = measure{quantity: unit.Force, word: "N", example: "500 N or 0.5 kN"}

// Bench is the bench that work is glued on: a top with a square grid of round
// holes that take fences and clamps.
type Bench struct {
	Hole  float64   // diameter of the holes
	Pitch float64   // from one hole to the next, both ways
	Size  geom.Vec2 // of the top; the grid lies in the middle of it

	ClampReach   float64 // how far the clamps that stand in a hole press from its middle
	ClampOpening float64 // how far the clamps open that press at both ends
	ClampForce   float64 // N that one clamp presses with at most
}

// BenchDoc is the bench that work is glued on. Defaults are common practice,
// without a source.
type BenchDoc struct {
	given.Place  `json:"-"`
	Hole         given.Number   `json:"hole" jsonschema_description:"Diameter of the holes in the bench's top; 20 mm when left out (common practice, no source)."`
	Pitch        given.Number   `json:"pitch" jsonschema_description:"Distance of the holes, both ways; 96 mm when left out (common practice, no source)."`
	Size         []given.Number `json:"size" jsonschema:"minItems=2,maxItems=2" jsonschema_description:"Size of the top, [length, width]; [1150 mm, 750 mm] when left out (common practice, no source)."`
	ClampReach   given.Number   `json:"clamp_reach" jsonschema_description:"How far a clamp that stands in a hole presses from the hole's middle; 160 mm when left out (common practice, no source)."`
	ClampOpening given.Number   `json:"clamp_opening" jsonschema_description:"How far the clamps open that press at both ends; 600 mm when left out (common practice, no source)."`
	ClampForce   given.Number   `json:"clamp_force" jsonschema_description:"Force in N that one clamp is to press with at most; 500 when left out (what a hand puts on a light bar clamp without strain: common practice, no source)."`
}

func (r *reader) bench(d BenchDoc) Bench {
	before := r.faults.Len()
	b := Bench{
		Hole:         r.number(d.Hole, "diameter of the bench's holes", lengths, 20, span{5, 60}),
		Pitch:        r.number(d.Pitch, "pitch of the bench's holes", lengths, 96, span{10, 500}),
		Size:         r.vec2(d.Size, "the bench", geom.V2(1150, 750), span{100, 10000}),
		ClampReach:   r.number(d.ClampReach, "reach of the clamps", lengths, 160, span{20, 1000}),
		ClampOpening: r.number(d.ClampOpening, "opening of the clamps", lengths, 600, span{50, 5000}),
		ClampForce:   r.number(d.ClampForce, "force of a clamp", forces, 500, span{1, 20000}),
	}
	if r.sound(before) && b.Pitch <= b.Hole {
		at := d.Pitch.Place
		if !at.Written() {
			at = d.Hole.Place
		}
		r.faults.Add(at, "give the distance from the middle of one hole to the middle of the next", "the bench's holes of %s mm lie %s mm apart", num(b.Hole), num(b.Pitch))
	}
	return b
}

// Holes is the number of holes along the top's length and across it, and the
// place of the first, from the top's lower left corner.
func (b Bench) Holes() (columns, rows int, first geom.Vec2) {
	count := func(size float64) (int, float64) {
		n := max(1, int((size-b.Hole)/b.Pitch)) // a hole's own width is kept clear of the rim
		return n, (size - float64(n-1)*b.Pitch) / 2
	}
	columns, first.X = count(b.Size.X)
	rows, first.Y = count(b.Size.Y)
	return columns, rows, first
}
