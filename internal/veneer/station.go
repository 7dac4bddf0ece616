package veneer

import (
	"math"
	"sort"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// station is a place along an edge or a round side.
type station struct {
	u     float64
	at    geom.Vec3 // world, at v = 0
	clear float64   // mm to the nearest contact of the member; +Inf where there is none
}

// stationEvery is about how far stations lie apart, mm.
const stationEvery = 1.0

// walk lists places about stationEvery apart along a surface's u, in
// order, among them the ends of every segment of an edge. Walking the run once
// is far cheaper than looking up one arc length after another.
func (c *clad) walk(si int) []station {
	sf := &c.surfaces[si]
	var out []station
	if sf.Kind != piece.Extruded {
		box := sf.Region.Bounds()
		n := int(math.Ceil(box.Size().X/stationEvery)) + 1
		for i := range n {
			u := box.Min.X + box.Size().X*float64(i)/float64(n-1)
			out = append(out, station{u: u, at: c.world(si, geom.V2(u, 0))})
		}
		return out
	}
	frame := sf.Frame.In(c.core.Place)
	add := func(u float64, q geom.Vec2) {
		out = append(out, station{u: u, at: frame.Point(geom.V3(q.X, q.Y, 0))})
	}
	u := 0.0
	for _, g := range sf.Run.Segs {
		n := int(math.Ceil(g.Length(0, 1) / stationEvery))
		for k := range n {
			t := float64(k) / float64(n)
			add(u, g.At(t))
			u += g.Length(t, float64(k+1)/float64(n))
		}
	}
	if !sf.Closed {
		add(u, sf.Run.Segs[len(sf.Run.Segs)-1].To())
	}
	return out
}

// stations are those of a surface with their distances from contacts.
func (t *task) stations(c *clad, si int) []station {
	key := [2]int{c.index, si}
	if st := t.near[key]; st != nil {
		return st
	}
	st := c.walk(si)
	box := c.surfaces[si].Region.Bounds()
	up := c.world(si, geom.V2(box.Min.X, 1)).Sub(c.world(si, geom.V2(box.Min.X, 0)))
	for i := range st {
		st[i].clear = math.Inf(1)
		for _, m := range t.meets {
			if m.member != c.index {
				continue
			}
			for _, v := range []float64{box.Min.Y, (box.Min.Y + box.Max.Y) / 2, box.Max.Y} {
				st[i].clear = min(st[i].clear, m.distance(st[i].at.Add(up.Scale(v))))
			}
		}
	}
	t.near[key] = st
	return st
}

// lapDistance is how near a lap comes to the member's contacts, from stations
// to just beyond its ends.
func (t *task) lapDistance(c *clad, si int, l Lap) float64 {
	st := t.stations(c, si)
	length := c.surfaces[si].Length // of a closed surface
	best := math.Inf(1)
	look := func(a, b float64) {
		i := sort.Search(len(st), func(i int) bool { return st[i].u >= a })
		for ; i < len(st) && st[i].u <= b; i++ {
			best = min(best, st[i].clear)
		}
	}
	a, b := l.At-l.Length/2-2*stationEvery, l.At+l.Length/2+2*stationEvery
	look(a, b)
	if c.surfaces[si].Closed {
		look(a+length, b+length)
		look(a-length, b-length)
	}
	return best
}
