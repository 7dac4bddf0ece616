package elastic

// CellStressAt is the stress in the material of a cell, which the lattice of
// the body numbers i, j, k, at a place within it: xi runs from -1 to 1 along
// each of the body's axes. It is that cell's alone, not averaged with its
// neighbours'; in the world's axes. False where the cell is empty.
func (r *Result) CellStressAt(body, i, j, k int, xi [3]float64) (Tensor, bool) {
	b := r.system.bodies[body]
	src := [3]int{i, j, k}
	at := [3]int{src[b.perm[0]], src[b.perm[1]], src[b.perm[2]]}
	for a := range 3 {
		if at[a] < 0 || at[a] > b.n[a]-2 {
			return Tensor{}, false
		}
	}
	return r.cellStress(b, at, [3]float64{xi[b.perm[0]], xi[b.perm[1]], xi[b.perm[2]]})
}
