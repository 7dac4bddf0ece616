package kit

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/pack"
	"groundwork/internal/veneer"
)

// What soft packing weighs, g/mm³: foam sheet 25 kg/m³, paper filling 20 kg/m³
// (common practice, no source).
const (
	wrapDensity = 25e-6
	fillDensity = 20e-6
)

// support is the share of a thing's base that must lie on something; filling
// carries the rest (common practice, no source).
const support = 0.75

// Drop is from how high, and how often, a packed parcel is dropped to see
// whether it stands the way.
type Drop struct {
	Height1A, Height2A float64 // mm; 0 beyond the schedule
	Drops              int
	Advice, Source     string
}

// drops is the schedule of heights by mass, g and mm: a parcel up to a mass is
// dropped from a height in the basic test, and in the partial simulation.
var drops = []struct{ upTo, basic, partial float64 }{
	{10e3, 760, 970}, {19e3, 610, 810}, {28e3, 460, 660}, {45e3, 310, 510}, {68e3, 200, 310},
}

// DropOf is the drop schedule for a parcel of a mass in g.
//
// Reference:
//   - ISTA procedures 1A and 2A, drop heights by packaged mass; ten drops: one
//     corner, three edges, six faces.
func DropOf(mass float64) Drop {
	for _, d := range drops {
		if mass <= d.upTo {
			return Drop{d.basic, d.partial, 10,
				fmt.Sprintf("Before the first is sent, drop one packed with scrap of the same mass on a corner, the three edges at it and all six faces, from %.0f mm (%.0f mm for a rough way).", d.basic, d.partial),
				"ISTA 1A and 2A, drop heights by packaged mass; advice, no certificate"}
		}
	}
	return Drop{Advice: "So heavy a parcel is beyond the schedule of drops: send it on a pallet.", Source: "ISTA 1A and 2A end at 68 kg"}
}

// limits of a parcel, with what lies between the contents and its outside.
func (m *making) limits() pack.Limits {
	p := m.Shop.Parcels
	return pack.Limits{Wall: p.Board + p.Cushion, Size: geom.V3(p.Longest, 0, 0), Girthed: p.LengthAndGirth}
}

// item is a thing as it is packed.
func (t Thing) item() pack.Item {
	return pack.Item{ID: t.ID, Size: t.Size, Turns: t.Turns, Mass: t.Mass, Bears: t.Bears, Fragile: t.Bears == 0}
}

// parcels packs all things into as few parcels as are found to do.
func (m *making) parcels(ctx context.Context) error {
	var alone, rest, later []int
	lim := m.limits()
	for i, t := range m.r.Things {
		if err := ctx.Err(); err != nil {
			return err
		}
		switch {
		case !m.sendable(t):
			alone = append(alone, i)
			if t.Kind != VeneerPack { // of which leaves has told
				m.tooLong(t)
			}
		case t.Kind == VeneerPack && m.follows() != "":
			later = append(later, i)
		default:
			rest = append(rest, i)
		}
	}
	p := m.Shop.Parcels
	for _, lot := range [][]int{rest, later} {
		if len(lot) == 0 {
			continue
		}
		split, err := m.split(ctx, lot, p.MaxMass)
		if err != nil {
			return err
		}
		if len(split) > 1 {
			var total float64
			var each []string
			for _, q := range split {
				total += q.Mass
				each = append(each, fmt.Sprintf("%.1f kg", q.Mass/1000))
			}
			if total > p.MaxMass {
				m.find(finding.Note, "parcel-heavy", "piece",
					fmt.Sprintf("The kit weighs %.1f kg packed, and a parcel may weigh %.1f kg.", total/1000, p.MaxMass/1000),
					fmt.Sprintf("Send it in %d parcels: %s", len(split), strings.Join(each, ", ")), m.limitSource())
			} else {
				m.find(finding.Note, "parcel-large", "piece", "The kit is too large for one parcel.",
					fmt.Sprintf("Send it in %d parcels: %s", len(split), strings.Join(each, ", ")), m.limitSource())
			}
		}
		m.r.Parcels = append(m.r.Parcels, split...)
	}
	for _, i := range alone {
		q, ok, err := m.parcel([]int{i}, pack.Limits{Wall: lim.Wall})
		if err != nil {
			return err
		}
		if !ok {
			return fmt.Errorf("no box holds %s", m.r.Things[i].ID)
		}
		m.r.Parcels = append(m.r.Parcels, q)
	}
	for i := range m.r.Parcels {
		q := &m.r.Parcels[i]
		q.ID = fmt.Sprintf("parcel-%d", i+1)
		if slices.ContainsFunc(q.Things, func(t int) bool { return m.r.Things[t].Kind == VeneerPack }) {
			q.Follows = m.follows()
		}
		q.Drop = DropOf(q.Mass)
		m.describe(q)
		m.draw(q)
		if q.Mass > p.MaxMass && len(q.Things) == 1 {
			t := m.r.Things[q.Things[0]]
			m.find(finding.Warning, "parcel-heavy", t.ID,
				fmt.Sprintf("%s weighs %.1f kg packed, by itself %.1f kg more than a parcel may.", t.ID, q.Mass/1000, (q.Mass-p.MaxMass)/1000),
				fmt.Sprintf("Print it with less core fill, %.0f g less in all; or let it come apart by a knock-down joint; or send it as freight", q.Mass-p.MaxMass), m.limitSource())
		}
		if limit := m.Shop.LiftLimit; limit > 0 && q.Mass > limit {
			m.lift(ctx, q)
		}
	}
	if p.Generic() {
		m.find(finding.Note, "generic-limits", "piece",
			fmt.Sprintf("Parcels are packed to generic limits: %.0f mm of length and girth together, %.1f kg.", p.LengthAndGirth, p.MaxMass/1000),
			"Ask who carries yours, and put longest, length_and_girth and max_mass under parcels in the shop file", "108 in and 70 lb, published limits of a post; others differ")
	}
	return nil
}

// follows is what the veneer waits for if it is sent by itself: leaves that wait
// for measures of cores that the buyer prints are cut when those have come.
func (m *making) follows() string {
	if m.Split != Leaves || !m.waits() {
		return ""
	}
	return "the figures that the buyer measures on the cores"
}

// waits is whether any leaf waits for measures of the cores.
func (m *making) waits() bool {
	return slices.ContainsFunc(m.Patterns, func(p veneer.Pattern) bool { return p.Release != "" })
}

func (m *making) limitSource() string {
	if m.Shop.Parcels.Generic() {
		return "generic limits of a parcel"
	}
	return "limits of a parcel in the shop file"
}

// tooLong tells of a thing that no parcel within the limits holds.
func (m *making) tooLong(t Thing) {
	p, lim := m.Shop.Parcels, m.limits()
	out := t.Size.Add(geom.V3(2*lim.Wall, 2*lim.Wall, 2*lim.Wall))
	girthed := out.X + 2*(out.Y+out.Z)
	room := math.Inf(1)
	var over []string
	if p.Longest > 0 && out.X > p.Longest {
		over = append(over, fmt.Sprintf("%.0f mm long, %.0f mm more than a parcel may be", out.X, out.X-p.Longest))
		room = min(room, p.Longest)
	}
	if p.LengthAndGirth > 0 && girthed > p.LengthAndGirth {
		over = append(over, fmt.Sprintf("%.0f mm in length and girth, %.0f mm more than a parcel may be", girthed, girthed-p.LengthAndGirth))
		room = min(room, p.LengthAndGirth-2*(out.Y+out.Z))
	}
	remedy := "Send it as freight"
	if net := room - (out.X - t.Net.X); net > 50 && !math.IsInf(room, 1) {
		remedy = fmt.Sprintf("Make it no longer than %.0f mm; or in %.0f parts with a knock-down joint between them; or send it as freight", math.Floor(net), math.Ceil(t.Net.X/net))
	} else if len(t.Members) > 1 {
		remedy = "Let its members come apart by knock-down joints; or send it as freight"
	}
	m.find(finding.Warning, "parcel-long", t.ID, fmt.Sprintf("Packed, %s is %s.", t.ID, strings.Join(over, ", and ")), remedy, m.limitSource())
}

// lift tells how a parcel above the lift limit is carried, and into how many
// parcels it would have to be split for one person.
func (m *making) lift(ctx context.Context, q *Parcel) {
	limit := m.Shop.LiftLimit
	remedy := "Let two carry it, and write its mass on it"
	if len(q.Things) > 1 {
		if parts, err := m.split(ctx, q.Things, min(limit, m.Shop.Parcels.MaxMass)); err == nil {
			most := 0.0
			for _, p := range parts {
				most = max(most, p.Mass)
			}
			if most <= limit {
				remedy += fmt.Sprintf("; or send it in %d parcels of at most %.1f kg", len(parts), most/1000)
			}
		}
	}
	m.find(finding.Warning, "lifting", q.ID, fmt.Sprintf("%s weighs %.1f kg, %.1f kg more than one person should lift.", q.ID, q.Mass/1000, (q.Mass-limit)/1000),
		remedy, "revised NIOSH lifting equation (1994), lifting constant 23 kg; the shop's lift limit")
}

// split packs things into one parcel, or two, or as many more as it takes for
// none to weigh more than most.
func (m *making) split(ctx context.Context, things []int, most float64) ([]Parcel, error) {
	for n := 1; ; n++ {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		var out []Parcel
		for _, part := range m.shares(things, n) {
			q, ok, err := m.parcel(part, m.limits())
			if err != nil {
				return nil, err
			}
			if !ok || q.Mass > most && n < len(things) {
				break
			}
			out = append(out, q)
		}
		if len(out) == n {
			return out, nil
		}
		if n >= len(things) {
			return nil, fmt.Errorf("%d things do not go into as many parcels", n)
		}
	}
}

// shares parts things into n lots of about the same mass and volume, the
// largest first to where there is least.
func (m *making) shares(things []int, n int) [][]int {
	var mass, volume float64
	size := func(i int) float64 { s := m.r.Things[i].Size; return s.X * s.Y * s.Z }
	for _, i := range things {
		mass, volume = mass+m.r.Things[i].Mass, volume+size(i)
	}
	worth := func(i int) float64 { return m.r.Things[i].Mass/max(mass, 1e-9) + size(i)/volume }
	order := slices.Clone(things)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(worth(b), worth(a)) })
	out := make([][]int, n)
	sum := make([]float64, n)
	for _, i := range order {
		k := 0
		for j := range sum {
			if sum[j] < sum[k] {
				k = j
			}
		}
		out[k], sum[k] = append(out[k], i), sum[k]+worth(i)
	}
	for _, lot := range out {
		slices.Sort(lot)
	}
	return out
}

// parcel packs things into one parcel within limits; false if it cannot.
func (m *making) parcel(things []int, lim pack.Limits) (Parcel, bool, error) {
	var items []pack.Item
	for _, i := range things {
		items = append(items, m.r.Things[i].item())
	}
	o := pack.Options{Support: support, Steps: m.Steps}
	p := m.Shop.Parcels
	l, which, ok, err := m.own(items, lim, o)
	if err != nil {
		return Parcel{}, false, err
	}
	if !ok {
		if l, ok, err = pack.Smallest(items, lim, o); err != nil || !ok {
			return Parcel{}, false, err
		}
	}
	q := Parcel{Layout: l, Items: items, Of: things}
	for _, x := range l.Placed {
		q.Things = append(q.Things, things[x.Item])
	}
	cushion := geom.V3(2*p.Cushion, 2*p.Cushion, 2*p.Cushion)
	q.Inside = l.Box.Size.Add(cushion)
	q.Outside = q.Inside.Add(geom.V3(2*p.Board, 2*p.Board, 2*p.Board))
	e := []float64{q.Outside.X, q.Outside.Y, q.Outside.Z}
	slices.Sort(e)
	q.Girthed = e[2] + 2*(e[0]+e[1])
	filled := 0.0
	for _, i := range things {
		t := m.r.Things[i]
		q.Contents += t.Mass
		filled += t.Size.X * t.Size.Y * t.Size.Z
		q.Packing += (t.Size.X*t.Size.Y*t.Size.Z - t.Net.X*t.Net.Y*t.Net.Z) * wrapDensity
	}
	q.Packing += (q.Inside.X*q.Inside.Y*q.Inside.Z - filled) * fillDensity
	if which >= 0 && p.Boxes[which].Mass > 0 {
		q.Packing += p.Boxes[which].Mass
	} else {
		q.Packing += boardArea(q.Outside) * 1e-6 * p.BoardMass
	}
	if which >= 0 {
		q.Box = p.Boxes[which].ID
	}
	q.Mass = q.Contents + q.Packing
	return q, true, nil
}

// boardArea is that of the blank of a box whose flaps meet in the middle, with a
// lap of 40 mm where it is joined: mm².
func boardArea(out geom.Vec3) float64 {
	return (2*(out.X+out.Y) + 40) * (out.Z + min(out.X, out.Y))
}

// own packs into the smallest of the shop's own boxes that takes everything and
// is within the limits: its index too.
func (m *making) own(items []pack.Item, lim pack.Limits, o pack.Options) (pack.Layout, int, bool, error) {
	p := m.Shop.Parcels
	var boxes []pack.Box
	for _, b := range p.Boxes {
		in := b.Inside.Sub(geom.V3(2*p.Cushion, 2*p.Cushion, 2*p.Cushion))
		out := b.Inside.Add(geom.V3(2*p.Board, 2*p.Board, 2*p.Board))
		if min(in.X, in.Y, in.Z) > 0 && lim.Within(out) {
			boxes = append(boxes, pack.Box{ID: b.ID, Size: in, MaxMass: b.MaxMass})
		}
	}
	if len(boxes) == 0 {
		return pack.Layout{}, -1, false, nil
	}
	l, ok, err := pack.Choose(items, boxes, o)
	if err != nil || !ok {
		return l, -1, false, err
	}
	for i, b := range p.Boxes {
		if b.ID == l.Box.ID {
			return l, i, true, nil
		}
	}
	return l, -1, false, nil
}
