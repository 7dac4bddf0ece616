package printing

import (
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// bead is one extruded line: a rectangle with half-round ends.
type bead struct{ width, height float64 }

// area is the bead's cross-section, mm²: (w-h)h + πh²/4, for h <= w.
func (b bead) area() float64 {
	return (b.width-b.height)*b.height + math.Pi*b.height*b.height/4
}

// spacing is the distance between the middles of two beads that leave no void
// between them: w - h(1-π/4). It is area / height, so that beads laid at this
// spacing fill a layer exactly.
func (b bead) spacing() float64 { return b.width - b.height*(1-math.Pi/4) }

// moveTime is the time of one straight move from rest to rest with constant
// acceleration a up to the speed v: L/v + v/a if it gets that fast, else
// 2√(L/a). Without acceleration the speed is there at once.
func moveTime(length, v, a float64) float64 {
	switch {
	case length <= 0:
		return 0
	case a <= 0:
		return length / v
	case length >= v*v/a:
		return length/v + v/a
	}
	return 2 * math.Sqrt(length/a)
}

// corner is the turn of a path, 30 degrees, at which the head is taken to stop.
// A bore of 1 mm radius flattened to 0.02 mm turns by 23 degrees at a facet,
// so that every rounded outline runs through and every true corner stops.
const corner = math.Pi / 6

// loopTime is the time to run once round a closed loop. Facets that meet at
// less than corner are one move, whose speed is also held to √(a r), r being
// the mean radius of its bend, so that acceleration across the path stays
// within a.
func loopTime(p geom.Polygon, v, a float64) float64 {
	n := len(p)
	if n < 2 {
		return 0
	}
	turn := func(i int) float64 {
		in, out := p[i].Sub(p[(i+n-1)%n]), p[(i+1)%n].Sub(p[i])
		return math.Abs(math.Atan2(in.Cross(out), in.Dot(out)))
	}
	start := 0
	for i := range p {
		if turn(i) >= corner {
			start = i
			break
		}
	}
	total, length, bend := 0.0, 0.0, 0.0
	for k := range n {
		i := (start + k) % n
		if k > 0 {
			t := turn(i)
			if t >= corner {
				total += bentTime(length, bend, v, a)
				length, bend = 0, 0
			} else {
				bend += t
			}
		}
		length += p[i].Dist(p[(i+1)%n])
	}
	return total + bentTime(length, bend, v, a)
}

func bentTime(length, bend, v, a float64) float64 {
	if a > 0 && bend > 0 {
		v = min(v, math.Sqrt(a*length/bend))
	}
	return moveTime(length, v, a)
}

// machine is what the time of a path depends on.
type machine struct {
	shop.Profile
	flow float64 // mm³/s, the lesser of the printer's and the filament's
}

func newMachine(p shop.Printer, f shop.Filament) machine {
	m := machine{p.Profile, p.Profile.Flow}
	if f.MaxFlow > 0 && (m.flow <= 0 || f.MaxFlow < m.flow) {
		m.flow = f.MaxFlow
	}
	return m
}

// speed is the set speed held to what the hot end can melt, min(v, Q/A). On
// the first layer everything is laid at its own speed.
func (m machine) speed(set float64, b bead, first bool) float64 {
	if first {
		set = m.FirstSpeed
	}
	if m.flow > 0 {
		set = min(set, m.flow/b.area())
	}
	return set
}

// height and middle of layer k, counted from 0; middle is where its outline is
// taken.
func (m machine) height(k int) float64 {
	if k == 0 {
		return m.FirstLayer
	}
	return m.Layer
}

func (m machine) middle(k int) float64 {
	if k == 0 {
		return m.FirstLayer / 2
	}
	return m.FirstLayer + (float64(k)-0.5)*m.Layer
}

// layers is the number of layers whose middle lies within a body of the given
// height.
func (m machine) layers(height float64) int {
	n := 0
	if height > m.FirstLayer {
		n = int(math.Ceil((height-m.FirstLayer)/m.Layer - 0.5 - 1e-6))
	}
	return 1 + max(0, n)
}

func (m machine) bead(k int) bead { return bead{m.Line, m.height(k)} }
