package kit

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
)

// Densities in g/mm³: steel 7.85, brass 8.5 g/cm³; dowels as wood or plastic,
// which is much the same.
const (
	steel    = 0.00785
	brass    = 0.0085
	dowelish = 0.0007
)

// loose is the share of a box that small parts fill when poured (random packing
// of short rods fills about half; common practice, no source).
const loose = 0.4

// sparing is one spare of each item, and of many this share (common practice, no
// source).
const sparing = 0.05

// keys are socket sizes of cap screws by thread, mm (ISO 4762).
var keys = map[string]float64{"M4": 3, "M5": 4, "M6": 5, "M8": 6}

func threadOf(size string) float64 {
	d, _ := strconv.ParseFloat(strings.TrimPrefix(size, "M"), 64)
	return d
}

func insertMass(outer, thread, length float64) float64 {
	return max(0, math.Pi/4*(outer*outer-thread*thread)*length*brass)
}

func dowelMass(d joint.Dowel) float64 {
	return math.Pi / 4 * d.Diameter * d.Diameter * d.Length * dowelish
}

// hardware lists what goes into a stiff box: for a ready piece what holds it
// together and hides its holes, for others all that the seller does not set.
// Items are named as on the bill.
func (m *making) hardware() {
	at := map[string]int{}
	add := func(item string, mass, volume float64) {
		i, ok := at[item]
		if !ok {
			i = len(m.r.Hardware)
			at[item] = i
			m.r.Hardware = append(m.r.Hardware, Count{Item: item, Mass: mass, Volume: volume})
		}
		m.r.Hardware[i].Quantity++
	}
	dowel := func(d joint.Dowel) {
		kind := "dowel"
		if d.Printed {
			if m.Split == Leaves {
				return // whoever prints, prints them
			}
			kind = "printed dowel"
		}
		add(fmt.Sprintf("%s %g x %g", kind, d.Diameter, d.Length), dowelMass(d), d.Diameter*d.Diameter*d.Length)
	}
	longest := 0.0
	sizes := map[string]bool{}
	var used []string
	for _, j := range m.Joints.Joints {
		for _, s := range j.Screws {
			d := threadOf(s.Size)
			if !sizes[s.Size] {
				sizes[s.Size] = true
				used = append(used, s.Size)
			}
			longest = max(longest, s.Length+d)
			// Head of 1.5 d and as high as d, near ISO 4762.
			add(fmt.Sprintf("%s x %g cap screw", s.Size, s.Length), math.Pi/4*(d*d*s.Length+2.25*d*d*d)*steel, 2.25*d*d*(s.Length+d))
			if s.Washer {
				// About 2.1 d across and d/4 thick, near ISO 7089.
				add(s.Size+" washer", math.Pi/4*(4.4-1.1)*d*d*d/4*steel, 4.4*d*d*d/4)
			}
			if ins, ok := m.Shop.Insert(s.Insert); ok && m.Split != Ready {
				add(s.Insert+insertItem, insertMass(ins.Outer, d, ins.Length), ins.Outer*ins.Outer*ins.Length)
			}
		}
		if m.Split != Ready || j.Kind != piece.Glued {
			for _, d := range j.Dowels {
				longest = max(longest, d.Length)
				dowel(d)
			}
		}
	}
	if m.Split != Ready {
		for _, s := range m.Seams.Seams {
			for _, d := range s.Dowels {
				longest = max(longest, d.Length)
				dowel(d)
			}
		}
		for _, l := range m.Layout.Laps {
			for range l.Pins {
				add(fmt.Sprintf("pin %g mm", l.Pin), math.Pi/4*l.Pin*l.Pin*15*steel, l.Pin*l.Pin*15)
			}
		}
	}
	if m.Split != Leaves {
		for _, p := range m.Joints.Plugs {
			v := p.Diameter * p.Diameter * p.Depth
			add(fmt.Sprintf("printed plug %g mm", math.Round(p.Diameter*10)/10), math.Pi/4*v*0.001, v)
		}
	}
	slices.SortStableFunc(m.r.Hardware, func(a, b Count) int { return cmp.Compare(a.Item, b.Item) })
	t := Thing{ID: "hardware", Kind: Hardware}
	var volume float64
	for _, c := range m.r.Hardware {
		n := max(1, int(math.Ceil(sparing*float64(c.Quantity))))
		why := "small parts get lost; one of each, and one of twenty (common practice, no source)"
		if size, ok := strings.CutSuffix(c.Item, insertItem); ok {
			if tried, to := m.tried(size); tried > 0 {
				n, why = n+tried, fmt.Sprintf("%s; %d to be melted in%s", why, tried, to)
			}
		}
		m.r.Spares = append(m.r.Spares, Spare{c.Item, n, why})
		volume += float64(c.Quantity+n) * c.Volume
		t.Mass += float64(c.Quantity+n) * c.Mass
	}
	if s, mass, size := m.plastic(); mass > 0 {
		m.r.Spares = append(m.r.Spares, s)
		t.Mass += mass
		volume += size.X * size.Y * size.Z * loose // a plate is laid in, not poured
		longest = max(longest, size.X)
	}
	slices.Sort(used)
	for _, size := range used {
		if k, ok := keys[size]; ok {
			// An L of two and a half times 25 k, near ISO 2936.
			long := 25 * k
			m.r.Hardware = append(m.r.Hardware, Count{Item: fmt.Sprintf("hexagon key %g mm", k), Quantity: 1, Mass: math.Sqrt(3) / 2 * k * k * long * steel, Volume: 30 * k * long})
			t.Mass += math.Sqrt(3) / 2 * k * k * long * steel
			volume += 30 * k * long
			longest = max(longest, 20*k)
		}
	}
	if len(m.r.Hardware) == 0 {
		return
	}
	// A flat box, three to two, that takes the longest part lying.
	const board, high = 2.0, 40.0
	area := volume / loose / high
	long := max(math.Ceil(longest)+5, math.Ceil(math.Sqrt(1.5*area)))
	wide := max(50, math.Ceil(area/long))
	t.Net = geom.V3(max(long, wide)+2*board, min(long, wide)+2*board, high+2*board)
	t.Mass += 2 * (t.Net.X*t.Net.Y + t.Net.X*t.Net.Z + t.Net.Y*t.Net.Z) * stiffMass
	t.Note = "in a stiff box, sizes in bags of their own"
	m.pad(&t)
	m.r.Things = append(m.r.Things, t)
}
