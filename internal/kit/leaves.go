package kit

import (
	"fmt"
	"math"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/pack"
	"groundwork/internal/shop"
)

// Leaf is how the cut veneer is packed: all blanks in one pile with their leaves
// held in them, flat between two boards, or rolled in a box of its own length.
type Leaf struct {
	Blanks    int
	Pile      geom.Vec2 // longest and widest blank, mm
	Thickness float64   // of the pile, mm
	Rolled    bool
	Radius    float64 // inside the roll, mm; 0 if flat
	Least     float64 // least radius that all of it bends to, mm; for the way that it is rolled, or would be with the grain along the axis
	Outer     float64 // outside the roll, mm; 0 if flat
	Along     bool    // the roll's axis runs along the grain
}

// What veneer is packed with, common practice without a source: a paper liner
// under the adhesive, stiff boards a little larger than the pile.
const (
	liner         = 0.1    // mm
	linerMass     = 0.0001 // g/mm²
	stiffBoard    = 3.0    // mm
	stiffMass     = 0.0005 // g/mm²
	boardBeyond   = 10.0   // mm on each side
	withoutDoubts = 1.5    // times the least radius is free of a warning (as for veneer laid round curves)
)

// leaves lists the cut veneer as one thing. It lies flat if a parcel can hold it
// so, since it must be flat again before it is laid.
func (m *making) leaves() {
	v := &Leaf{Blanks: len(m.Sheets.Blanks)}
	if v.Blanks == 0 {
		return
	}
	var mass, section [2]float64 // by axis: along the grain, across it
	var length, radius [2]float64
	var area float64
	for _, b := range m.Sheets.Blanks {
		ven, _ := m.Shop.Veneer(b.Veneer)
		long, short := max(b.Size.X, b.Size.Y), min(b.Size.X, b.Size.Y)
		along, across := b.Size.X, b.Size.Y
		if math.Abs(math.Sin(b.Grain)) > 0.5 {
			along, across = across, along
		}
		v.Pile = geom.V2(max(v.Pile.X, long), max(v.Pile.Y, short))
		t := ven.Stack() + liner
		v.Thickness += t
		area += b.Size.X * b.Size.Y
		g := b.Size.X * b.Size.Y * (ven.Stack()*veneerDensity + linerMass)
		for k, w := range []struct{ axis, round, r float64 }{{along, across, ven.BendAcross * ven.Stack()}, {across, along, ven.BendAlong * ven.Stack()}} {
			mass[k] += g
			section[k] += t * w.round
			length[k], radius[k] = max(length[k], w.axis), max(radius[k], w.r)
		}
	}
	more, thick := m.offcuts(v.Pile)
	v.Thickness += thick
	thing := Thing{ID: "veneer", Kind: VeneerPack, Mass: mass[0] + more}
	thing.Net = geom.V3(v.Pile.X+2*boardBeyond, v.Pile.Y+2*boardBeyond, v.Thickness+2*stiffBoard)
	boards := 2 * thing.Net.X * thing.Net.Y * stiffMass
	thing.Note = fmt.Sprintf("all leaves, cut and still held in %d blanks on their liners; flat between two stiff boards, faces together; open 48 h before laying", v.Blanks)
	thing.Mass += boards
	m.pad(&thing)
	v.Least = radius[0]
	if m.sendable(thing) {
		m.r.Veneer = v
		m.r.Things = append(m.r.Things, thing)
		return
	}
	flat := thing
	for _, sure := range []float64{withoutDoubts, 1} {
		best := math.Inf(1)
		var rolled Thing
		var how Leaf
		for k := range 2 {
			// A spiral between two radii fills the ring between them.
			in := sure * radius[k]
			out := math.Sqrt(in*in + section[k]/math.Pi)
			t := Thing{ID: "veneer", Kind: VeneerPack, Mass: mass[k] + more, Net: geom.V3(length[k], 2*out, 2*out)}
			if t.Net.X < t.Net.Y {
				t.Net = geom.V3(2*out, 2*out, length[k])
			}
			m.pad(&t)
			t.Bears, t.Turns = 0, pack.UpZ|pack.UpY
			if vol := t.Net.X * t.Net.Y * t.Net.Z; m.sendable(t) && vol < best {
				best, rolled, how = vol, t, *v
				how.Rolled, how.Radius, how.Least, how.Outer, how.Along = true, in, radius[k], out, k == 0
			}
		}
		if math.IsInf(best, 1) {
			continue
		}
		way := "across"
		if how.Along {
			way = "along"
		}
		rolled.Note = fmt.Sprintf("all leaves, cut and still held in %d blanks on their liners; rolled on a tube of %.0f mm, its axis %s the grain, faces outward; unroll at once, open flat 48 h before laying", v.Blanks, 2*how.Radius, way)
		if sure < withoutDoubts {
			m.find(finding.Warning, "veneer-roll", "veneer",
				fmt.Sprintf("Cut veneer is too large to be sent flat and is rolled to a radius of %.0f mm, the least that it bends to and not the %.0f mm that are free of doubt.", how.Radius, withoutDoubts*how.Least),
				"Bend a coupon to that radius for a day; or send the veneer in a larger parcel", "bend limits of the shop's veneer; 1.5 times them is common practice, no source")
		}
		m.r.Veneer = &how
		m.r.Things = append(m.r.Things, rolled)
		return
	}
	m.r.Veneer = v
	m.r.Things = append(m.r.Things, flat)
	m.find(finding.Warning, "veneer-roll", "veneer",
		fmt.Sprintf("Cut veneer of %.0f x %.0f mm is too large to be sent flat, and its stack bends to no less than %.0f mm along the grain's axis, which no parcel holds either.", v.Pile.X, v.Pile.Y, radius[0]),
		m.rollRemedy(flat, length[0], radius[0]), "limits of a parcel and bend limits of the shop's veneer")
}

// sendable reports whether a thing alone goes into a parcel within the limits.
func (m *making) sendable(t Thing) bool {
	_, ok, err := pack.Smallest([]pack.Item{{ID: t.ID, Size: t.Size, Turns: t.Turns}}, m.limits(), pack.Options{Support: 1, Steps: 50})
	return ok && err == nil
}

// rollRemedy says how long blanks may be to be sent flat, and how thick to be
// sent rolled.
func (m *making) rollRemedy(flat Thing, axis, radius float64) string {
	lim := m.limits()
	// Flat, the other two edges being what they are.
	around := 2 * (flat.Size.Y + flat.Size.Z + 4*lim.Wall)
	long := math.Inf(1)
	if lim.Girthed > 0 {
		long = lim.Girthed - around
	}
	if lim.Size.X > 0 {
		long = min(long, lim.Size.X)
	}
	long -= 2*lim.Wall + 2*m.Shop.Parcels.Padding + 2*boardBeyond
	out := ""
	if long > 100 {
		out = fmt.Sprintf("Lay the sheets out on blanks of at most %.0f mm", math.Floor(long))
	} else {
		out = "Lay the sheets out on smaller blanks"
	}
	if lim.Girthed > 0 {
		// Rolled round the grain: length and girth bound the roll's radius.
		side := (lim.Girthed - axis - 2*lim.Wall - 2*m.Shop.Parcels.Padding) / 4
		if r := side/2 - lim.Wall - m.Shop.Parcels.Padding; r > 0 && r < radius {
			if ven := m.stiffest(); ven.BendAcross > 0 {
				out += fmt.Sprintf("; or take veneer with a stack of at most %.2f mm, which rolls into the parcel", math.Floor(100*r/ven.BendAcross)/100)
			}
		}
	}
	return out + "; or send it by who carries larger parcels"
}

// stiffest is the veneer of the blanks that needs the largest radius.
func (m *making) stiffest() (most shop.Veneer) {
	for _, b := range m.Sheets.Blanks {
		if v, ok := m.Shop.Veneer(b.Veneer); ok && v.BendAcross*v.Stack() > most.BendAcross*most.Stack() {
			most = v
		}
	}
	return most
}
