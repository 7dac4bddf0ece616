package kit

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
)

// smallFixtures is the ID of the box that small fixtures go into.
const smallFixtures = "fixtures"

// handy is the longest edge of a fixture that goes with others into one box.
const handy = 150

// nested is the share of a box that fixtures fill by their own boxes, laid by
// hand (common practice, no source).
const nested = 0.6

// fixtures lists what the buyer glues and lays by: large fixtures by themselves,
// the others in a stiff box. Plugs and dowels are among the hardware. Coupons
// stay in the shop that prints, but for those of inserts, in whose free holes the
// buyer tries the iron.
func (m *making) fixtures() {
	if m.Fixtures == nil {
		return
	}
	grams := map[string]float64{}
	if m.FixturePrinting != nil {
		for _, p := range m.FixturePrinting.Prints {
			grams[p.Segment] = p.Grams
		}
	}
	small := Thing{ID: smallFixtures, Kind: Fixture}
	var need geom.Vec3
	var filled float64
	n := 0
	for _, f := range m.Fixtures.Fixtures {
		if f.Kind == fixture.PlugPart || f.Kind == fixture.DowelPart || f.Kind == fixture.Coupon && !ofInsert(f) {
			continue
		}
		for _, p := range f.Parts {
			if p.Filament == "" || p.Mesh == nil || len(p.Mesh.Vertices) == 0 {
				continue // sawn from scrap, by its template
			}
			mass, ok := grams[p.ID]
			if fil, known := m.Shop.Filament(p.Filament); !ok && known {
				mass = p.Mesh.Volume / 1000 * fil.Density
			}
			_, size := smallestBox(p.Mesh.Vertices, []geom.Frame{geom.World()})
			for k := range p.Quantity {
				if size.X <= handy {
					need = geom.V3(max(need.X, size.X), max(need.Y, size.Y), max(need.Z, size.Z))
					filled += size.X * size.Y * size.Z
					small.Mass += mass
					n++
					continue
				}
				t := Thing{ID: p.ID, Kind: Fixture, Net: size, Mass: mass, Note: "for gluing or laying, not part of the piece"}
				if k > 0 {
					t.ID = fmt.Sprintf("%s.%d", p.ID, k+1)
				}
				m.pad(&t)
				m.r.Things = append(m.r.Things, t)
			}
		}
	}
	if n == 0 {
		return
	}
	const board = 2.0
	e := []float64{need.X, need.Y, need.Z}
	for v := e[0] * e[1] * e[2]; v < filled/nested; v = e[0] * e[1] * e[2] {
		slices.Sort(e)
		// The least edge grows to the next, or as far as it takes.
		grown := filled / nested / (e[1] * e[2])
		if e[0] < e[1] {
			grown = min(grown, e[1])
		} else {
			grown = math.Min(grown, 1.2*e[0])
		}
		e[0] = max(grown, e[0]*1.001)
	}
	slices.Sort(e)
	small.Net = geom.V3(math.Ceil(e[2])+2*board, math.Ceil(e[1])+2*board, math.Ceil(e[0])+2*board)
	small.Mass += 2 * (small.Net.X*small.Net.Y + small.Net.X*small.Net.Z + small.Net.Y*small.Net.Z) * stiffMass
	small.Note = fmt.Sprintf("%d small fixtures in a stiff box, each with its ID", n)
	m.pad(&small)
	m.r.Things = append(m.r.Things, small)
}
