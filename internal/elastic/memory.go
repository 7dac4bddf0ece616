package elastic

import "math"

// Memory estimates the bytes that the model takes at most while it is assembled
// and solved, before anything is built. The collector may let the process grow
// past it by what it has not yet cleared away.
func (m Model) Memory() int64 {
	var x [][3][]float64
	var total int64
	for _, b := range m.Bodies {
		var l [3][]float64
		nodes, cells, kinds := int64(1), int64(1), int64(len(b.Materials))
		for a, p := range order(b.Lattice.Size()) {
			l[a] = b.Lattice.Planes[p]
			if len(l[a]) < 2 {
				return 0 // not a lattice; Assemble will say so
			}
			nodes *= int64(len(l[a]))
			cells *= int64(len(l[a]) - 1)
			steps := map[int64]bool{}
			for i := 1; i < len(l[a]); i++ {
				steps[int64(math.Round((l[a][i]-l[a][i-1])*1e10))] = true
			}
			kinds *= int64(len(steps))
		}
		x = append(x, l)
		wide := int64(0) // columns taken together, two blocks to a layer
		for _, j := range runs(l[1]) {
			for _, k := range runs(l[2]) {
				if s := int64(3 * (j[1] - j[0]) * (k[1] - k[0])); s > 3 {
					wide += 2 * s * s * int64(len(l[0]))
				}
			}
		}
		total += 8 * wide
		// Ten vectors of three numbers, the columns' factors, the mask; by cell
		// its kind, fill, part and place in the coarse cell.
		total += nodes*(10*3*8+15*4+1) + cells*(4+8+4+4)
		total += min(kinds, cells, maxBricks) * brickBytes
	}
	last := int64(0)
	levels := int64(0)
	for li, ts := range plan(x) {
		last = 0
		levels++
		for _, t := range ts {
			nodes, width := int64(1), int64(1)
			for _, n := range t.coarse {
				nodes *= int64(n)
				if n > 1 {
					width *= 3
				}
			}
			total += nodes * (36*8*(width+1) + 5*6*8 + 1)
			last += 6 * nodes
			if li == 0 {
				total += int64(min(maxSeen, 1<<20)) * 8 // matrices of cells, seldom more
			}
		}
	}
	// A link is some ten terms on each level, and three rows of ties.
	rows := 3 * int64(len(m.Links))
	total += rows * (1000 + levels*2*8*100)
	// The matrix of the last level, and its factor.
	return total + 2*8*last*min(last, 400)
}

const brickBytes = 8 * (33 + 24*24 + 12*12 + 9*9 + 9*24 + 36 + 4)
