package scene

import (
	"context"
	"fmt"
	"io"
	"math"

	"groundwork/internal/geom"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
)

// fieldStep is how far apart, mm, points lie at which stress and displacement
// are told: about a brick of the structure.
const fieldStep = 12

// Strength writes the bodies of a piece as they stand under a load case, an
// index into pl.Strained: at every point _STRESS, the equivalent stress in the
// plastic (MPa), and _MOVED, how far it moves (mm, world). The root tells the
// greatest of each. It is an error if the case could not be solved.
func Strength(ctx context.Context, k *solid.Kernel, pl *plan.Plan, load int, w io.Writer) error {
	if load < 0 || load >= len(pl.Strained) {
		return fmt.Errorf("scene: there is no load case %d", load)
	}
	state := pl.Strained[load]
	if state == nil {
		return fmt.Errorf("scene: load case %d could not be solved", load)
	}
	m := newMaker(pl)
	cores, err := m.cores(ctx, k, viewChord)
	if err != nil {
		return err
	}
	m.apart = &apart{size: geom.EmptyBox3(), whole: &assembly{body: -1}}
	var stress, moved float64
	for i, b := range m.bodies {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("scene: %w", err)
		}
		t := &triangles{}
		for _, mi := range b.Members {
			t.add(cores[mi])
		}
		t = divided(t, fieldStep)
		for _, p := range t.Points {
			m.size = m.size.Add(p)
		}
		t.Moved, t.Stress = state.Surface(i, t.Points)
		for j, s := range t.Stress {
			stress, moved = max(stress, s), max(moved, t.Moved[j].Len())
		}
		e := Extras{Kind: "body", Member: pl.Piece.Members[b.Members[0]].ID, Body: b.ID}
		mesh := m.g.mesh(b.ID, t, matCore)
		m.whole.parts = append(m.whole.parts, &assembly{body: i})
		m.hang(i, nodeDoc{Name: b.ID, Mesh: &mesh}, e, motion{})
	}
	return m.write(w, Extras{Stress: &stress, Moved: &moved, Case: &load})
}

// divided halves sides longer than step until there are none, from the longest
// down, so that both triangles at a side are divided alike.
func divided(t *triangles, step float64) *triangles {
	out := &triangles{Points: t.Points, Normals: t.Normals, Index: t.Index}
	for {
		middle := map[[2]uint32]uint32{}
		half := func(a, b uint32) (uint32, bool) {
			// Sides are told by their ends, so that triangles which share a side
			// but not its normals halve it in the same place.
			if out.Points[a].Dist(out.Points[b]) <= step {
				return 0, false
			}
			key := [2]uint32{min(a, b), max(a, b)}
			i, ok := middle[key]
			if !ok {
				i = uint32(len(out.Points))
				middle[key] = i
				out.Points = append(out.Points, out.Points[a].Lerp(out.Points[b], 0.5))
				n := out.Normals[a].Add(out.Normals[b]).Unit()
				if n == (geom.Vec3{}) {
					n = out.Normals[a]
				}
				out.Normals = append(out.Normals, n)
			}
			return i, true
		}
		var next []uint32
		for i := 0; i < len(out.Index); i += 3 {
			c := [3]uint32{out.Index[i], out.Index[i+1], out.Index[i+2]}
			// Turn it so that its longest side comes first.
			long, at := math.Inf(-1), 0
			for j := range c {
				if d := out.Points[c[j]].Dist(out.Points[c[(j+1)%3]]); d > long {
					long, at = d, j
				}
			}
			a, b, d := c[at], c[(at+1)%3], c[(at+2)%3]
			ab, ok := half(a, b)
			if !ok {
				next = append(next, a, b, d)
				continue
			}
			bd, okB := half(b, d)
			da, okD := half(d, a)
			switch {
			case okB && okD:
				next = append(next, a, ab, da, ab, b, bd, da, bd, d, ab, bd, da)
			case okB:
				next = append(next, ab, b, bd, a, ab, d, ab, bd, d)
			case okD:
				next = append(next, a, ab, da, ab, b, d, ab, d, da)
			default:
				next = append(next, a, ab, d, ab, b, d)
			}
		}
		done := len(middle) == 0
		out.Index = next
		if done {
			return out
		}
	}
}
