package view

import (
	"cmp"
	"slices"

	"groundwork/internal/geom"
)

// joined strings pieces together where exactly two of a kind meet in a point.
func joined(pieces []piece, edges []edge, parts []Part) []Line {
	type kind struct {
		class  Class
		part   int
		name   string
		hidden bool
		group  int
	}
	of := func(p piece) kind {
		e := edges[p.edge]
		k := kind{p.class, e.part, e.name, p.hidden, e.group}
		if p.hidden && e.group < 0 {
			k.class = Crease // hidden lines are all alike
		}
		return k
	}
	order := func(a, b kind) int {
		return cmp.Or(cmp.Compare(a.class, b.class), cmp.Compare(a.part, b.part), cmp.Compare(a.name, b.name), cmp.Compare(a.group, b.group), cmp.Compare(flag(a.hidden), flag(b.hidden)))
	}
	slices.SortStableFunc(pieces, func(a, b piece) int { return order(of(a), of(b)) })
	var out []Line
	for i := 0; i < len(pieces); {
		k := of(pieces[i])
		j := i
		for j < len(pieces) && of(pieces[j]) == k {
			j++
		}
		line := Line{Part: k.name, Class: k.class, Hidden: k.hidden, Weight: 1}
		if k.part >= 0 {
			line.Ghost = parts[k.part].Ghost
			if w := parts[k.part].Weight; w > 0 {
				line.Weight = w
			}
		}
		for _, run := range chains(pieces[i:j], edges) {
			line.Points = run
			out = append(out, line)
		}
		i = j
	}
	return out
}

func flag(b bool) int {
	if b {
		return 1
	}
	return 0
}

// chains are runs of points through pieces.
func chains(pieces []piece, edges []edge) [][]geom.Vec2 {
	ends := make([][2]geom.Vec2, len(pieces))
	meet := map[geom.Vec2][]int{}
	for i, p := range pieces {
		e := edges[p.edge]
		for k, t := range []float64{p.span.lo, p.span.hi} {
			at := e.a.XY().Lerp(e.b.XY(), t)
			switch t { // to the bit
			case 0:
				at = e.a.XY()
			case 1:
				at = e.b.XY()
			}
			at = geom.V2(at.X+0, at.Y+0)
			ends[i][k] = at
			meet[at] = append(meet[at], i)
		}
	}
	used := make([]bool, len(pieces))
	// follow goes on from a piece's end as far as the way is plain.
	follow := func(i, end int) []geom.Vec2 {
		run := []geom.Vec2{ends[i][end]}
		for at := ends[i][end]; len(meet[at]) == 2; at = run[len(run)-1] {
			n := meet[at][0]
			if used[n] {
				n = meet[at][1]
			}
			if used[n] {
				break
			}
			used[n] = true
			if ends[n][0] == at {
				run = append(run, ends[n][1])
			} else {
				run = append(run, ends[n][0])
			}
		}
		return run
	}
	var out [][]geom.Vec2
	for i := range pieces {
		if used[i] {
			continue
		}
		used[i] = true
		on := follow(i, 1)
		back := follow(i, 0)
		slices.Reverse(back)
		out = append(out, straightened(append(back, on...)))
	}
	return out
}

// straightened leaves out points in line with their neighbours.
func straightened(run []geom.Vec2) []geom.Vec2 {
	const stray = 1e-5 // mm
	out := run[:1:1]
	for i := 1; i < len(run); i++ {
		if n := len(out); n > 1 {
			a, b, c := out[n-2], out[n-1], run[i]
			if d := c.Sub(a); geom.SegmentDistance(b, a, c) < stray && d.Dot(b.Sub(a)) > 0 {
				out[n-1] = c
				continue
			}
		}
		out = append(out, run[i])
	}
	return out
}
