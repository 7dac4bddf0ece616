package stress

import (
	"fmt"
	"math"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
)

// steeled is the material of cells that a rod runs through: what the print is
// there, and beside it steel that bears along the rod only, as long as it is
// bonded. A rod's own bending and its weight are left out.
type steeled struct {
	base  uint8             // material without the rod
	along elastic.Tensor    // of unit strain along the rod: the stress' direction, in the body's axes
	steel float64           // modulus times share of the cell, MPa
	yield elastic.Stiffness // inverse of the whole, in the body's axes
}

// rodLevels is in how many steps the share of steel is told.
const rodLevels = 10

// reinforce gives the cells along rods their steel. Every cell gets E A times the
// length of rod in it over its volume, so that a bar of cells is stiffer by E A
// whatever their size.
func (s *Structure) reinforce(b *body, index int) error {
	for ri, r := range s.in.Rods {
		if r.Body != index {
			continue
		}
		from, to := b.frame.Local(r.From), b.frame.Local(r.To)
		length := to.Dist(from)
		if !(length > 0) || !(r.Diameter > 0) {
			return fmt.Errorf("rod %d has no size", ri+1)
		}
		d := to.Sub(from).Scale(1 / length)
		in := make([]float64, len(b.lattice.Fill)) // mm of rod
		n := int(math.Ceil(length / (b.cell / 8)))
		lost := 0.0
		// Spread over a cell's breadth, so that it lies in the middle of where it is.
		const wide = 4
		across := geom.FrameFromZ(geom.Vec3{}, d)
		bit := length / float64(n*wide*wide)
		for i := range n * wide * wide {
			p := from.Lerp(to, (float64(i/(wide*wide))+0.5)/float64(n))
			p = p.Add(across.X.Scale(b.cell * ((float64(i%wide)+0.5)/wide - 0.5))).Add(across.Y.Scale(b.cell * ((float64(i/wide%wide)+0.5)/wide - 0.5)))
			if c, _, ok := b.find(b.frame.Point(p), b.cell/2); ok {
				in[c] += bit
			} else {
				lost += bit
			}
		}
		if lost > length/2 {
			s.left = append(s.left, fmt.Sprintf("%s: rod %d", b.id, ri+1))
			continue
		}
		area := math.Pi / 4 * r.Diameter * r.Diameter
		share := func(c int) float64 {
			size := b.box(c).Size()
			return area * in[c] / (size.X * size.Y * size.Z * b.lattice.Fill[c])
		}
		most := 0.0
		for c := range in {
			if in[c] > 0 {
				most = max(most, share(c))
			}
		}
		known := map[[2]int]uint8{}
		for c := range in {
			if in[c] == 0 {
				continue
			}
			level := int(math.Round(rodLevels * share(c) / most))
			base := b.lattice.Material[c]
			if level == 0 || int(base) >= len(b.parts)*(steps+1) {
				continue // next to nothing, or another rod's already
			}
			id := [2]int{int(base), level}
			m, ok := known[id]
			if !ok {
				if len(b.parts)*(steps+1)+len(b.steel) > 255 {
					return fmt.Errorf("rod %d: too many parts and rods in one body", ri+1)
				}
				m = uint8(len(b.parts)*(steps+1) + len(b.steel))
				known[id] = m
				st := steeled{base: base, steel: steel * most * float64(level) / rodLevels,
					along: elastic.Tensor{d.X * d.X, d.Y * d.Y, d.Z * d.Z, d.Y * d.Z, d.Z * d.X, d.X * d.Y}}
				var err error
				if st.yield, err = inverse(b.stiffness(b.plastic, st)); err != nil {
					return err
				}
				b.steel = append(b.steel, st)
			}
			b.lattice.Material[c] = m
		}
	}
	return nil
}

// stiffness of cells with a rod, in the body's axes.
func (b *body) stiffness(pl *plastic, st steeled) elastic.Stiffness {
	up := b.parts[int(st.base)/(steps+1)].up
	c := pl.mixed[int(st.base)%(steps+1)].Turned(geom.FrameFromZ(geom.Vec3{}, up))
	for i := range c {
		for j := range c {
			c[i][j] += st.steel * st.along[i] * st.along[j]
		}
	}
	return c
}

// strain of a cell along its print's axes, from its mean stress in the world.
// Of one with a rod the steel's share is parted from it first, as before creep.
func (b *body) strain(cell int, t elastic.Tensor) elastic.Tensor {
	print := b.parts[b.part[cell]].print
	if i := int(b.lattice.Material[cell]) - len(b.parts)*(steps+1); i >= 0 {
		st := &b.steel[i]
		e := times(&st.yield, turned(t, b.frame))
		along := 0.0
		for k, v := range e {
			along += v * st.along[k]
		}
		steel := st.along
		for k := range steel {
			steel[k] *= st.steel * along
		}
		steel = inWorld(steel, b.frame)
		for k := range t {
			t[k] -= steel[k]
		}
	}
	return b.plastic.strain(int(b.share[cell]), turned(t, print))
}
