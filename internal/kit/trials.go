package kit

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// What the buyer tries glue, sealer, iron, laying and finish on, so that nothing is
// tried on the piece. Sizes are common practice, no source.
var (
	plate  = geom.V3(80, 40, 5)                 // mm, of a core's plastic
	offcut = geom.V2(250, 100)                  // mm, of a veneer: large enough for a finish sample
	melted = map[Split]int{Cores: 1, Leaves: 6} // inserts of each size: one for practice; the coupon's seven bores, with the one to spare
)

// insertItem is what the bill calls an insert, behind its size.
const insertItem = " heat-set insert"

// ofInsert is whether a fixture is the coupon that inserts are tried in.
func ofInsert(f fixture.Fixture) bool {
	return f.Kind == fixture.Coupon && strings.HasPrefix(f.ID, "coupon/insert-")
}

// tried is how many inserts of a size are melted in for a test, and into what.
func (m *making) tried(size string) (int, string) {
	if m.Fixtures == nil || !slices.ContainsFunc(m.Fixtures.Fixtures, func(f fixture.Fixture) bool { return f.ID == "coupon/insert-"+size }) {
		return 0, ""
	}
	if m.Split == Cores {
		return melted[Cores], " for practice, in a free hole of coupon/insert-" + size
	}
	return melted[m.Split], "to the bores of coupon/insert-" + size
}

// plastic is the piece of the cores' plastic that goes to a buyer who does not
// print, its mass in g and its size. The mass is that of a solid one.
func (m *making) plastic() (Spare, float64, geom.Vec3) {
	if m.Split != Cores || len(m.Printing.Loads) == 0 {
		return Spare{}, 0, geom.Vec3{}
	}
	id := m.Printing.Loads[0].Filament
	fil, _ := m.Shop.Filament(id)
	return Spare{
		Item: fmt.Sprintf("piece of %s, %g x %g x %g mm", strings.ToUpper(id), plate.X, plate.Y, plate.Z), Quantity: 1,
		Why: "glue, filler, sealer and veneer are tried on it before they come on the piece",
	}, plate.X * plate.Y * plate.Z / 1000 * fil.Density, plate
}

// offcuts are what is sent of every veneer to try laying and finish on, no larger
// than the pile that they lie in; with their mass in g and their thickness.
func (m *making) offcuts(pile geom.Vec2) (mass, thick float64) {
	size := geom.V2(min(offcut.X, pile.X), min(offcut.Y, pile.Y))
	var seen []string
	for _, b := range m.Sheets.Blanks {
		v, ok := m.Shop.Veneer(b.Veneer)
		if !ok || slices.Contains(seen, v.ID) {
			continue
		}
		seen = append(seen, v.ID)
		m.r.Spares = append(m.r.Spares, Spare{
			Item: fmt.Sprintf("offcut of %s, %.0f x %.0f mm", plainName(v), size.X, size.Y), Quantity: 1,
			Why: "laying and trimming are tried on it, and it makes the finish sample; it lies with the veneer",
		})
		mass += size.X * size.Y * (v.Stack()*veneerDensity + linerMass)
		thick += v.Stack() + liner
	}
	return mass, thick
}

// plainName is what people call a veneer.
func plainName(v shop.Veneer) string {
	if v.Species != "" && v.Species != v.ID {
		return v.ID + " (" + v.Species + ")"
	}
	return v.ID
}
