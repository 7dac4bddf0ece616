//go:build outside

package stress_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/stress"
)

// compared is one figure that both sides give: of a case, what is looked at,
// found with CalculiX's coarse and fine mesh and with our default and half cells.
type compared struct {
	what, unit string
	ccx, ours  []float64
}

// wholePiece is how a piece is put to both.
type wholePiece struct {
	file, feet string
	pairs      [][2]string
	marks      map[string][]float64
	top        geom.Vec3 // middle of its top's upper face
	edge, rim  geom.Vec3 // middle of the load at the edge, and the outermost point beyond
	side       float64   // N sideways at the rim
	ccxSteps   [2]float64
}

// CalculiX, on meshes that follow the outlines, tells how far we are off with a
// whole table and a whole stool: all joints glued, feet held, solid print.
func TestWholePiecesAgainstCalculiX(t *testing.T) {
	var b strings.Builder
	fmt.Fprintln(&b, "| piece | figure | CalculiX, coarse | CalculiX, fine | default cells | half as large | off |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|---|")
	for _, w := range []wholePiece{
		{file: "heron-side-table.yaml", feet: "leg edge-2",
			pairs: [][2]string{{"leg", "top"}, {"end-rail", "top"}, {"long-rail", "top"}, {"end-rail", "leg"}, {"foot-rail", "leg"}, {"long-rail", "leg"}, {"shelf", "foot-rail"}},
			marks: map[string][]float64{"shelf": {18, 324}}, // where it leaves the foot rails
			top:   geom.V3(0, 0, 540), edge: geom.V3(175, 0, 540), rim: geom.V3(230, 0, 540), side: 100, ccxSteps: [2]float64{20, 13}},
		{file: "otter-stool.yaml", feet: "leg cut-1", pairs: [][2]string{{"leg", "seat"}},
			top: geom.V3(0, 0, 440), edge: geom.V3(110, 0, 440), rim: geom.V3(165, 0, 440), side: 100, ccxSteps: [2]float64{18, 12}},
	} {
		p := example(t, w.file)
		for i := range p.Joints {
			p.Joints[i].Kind, p.Joints[i].Screws, p.Joints[i].Dowels = piece.Glued, 0, 0
		}
		e, thick := p.Members[0].Board.Outline.Path.Segs[0], p.Members[0].Board.Thickness
		const patch = 40.0 // mm, breadth of the sideways load
		var rim []geom.Vec3
		for i := range 40 {
			for j := range 22 {
				y := patch * ((float64(i)+0.5)/40 - 0.5)
				rim = append(rim, geom.V3(e.Rx*math.Sqrt(1-y*y/(e.Ry*e.Ry)), y, w.top.Z-thick*(float64(j)+0.5)/22))
			}
		}
		const F = 1000.0
		down := geom.V3(0, 0, -F)
		cases := []fem{
			{"1000 N in the middle", false, []push{{0, onDisc(w.top, 50), down, 1e-4}}},
			{"1000 N at the edge", false, []push{{0, onDisc(w.edge, 50), down, 1e-4}}},
			{"100 N sideways at the edge", false, []push{{0, rim, geom.V3(-w.side, 0, 0), 0.02}}},
			{"own weight", true, nil},
		}
		probes := []probe{{"middle", 0, w.top}, {"under the load", 0, w.edge}, {"rim", 0, w.rim}}
		figures := []compared{
			{what: cases[0].name + ": middle down", unit: "mm"}, {what: cases[0].name + ": sum of reactions", unit: "N"},
			{what: cases[1].name + ": down under the load", unit: "mm"}, {what: cases[1].name + ": rim down", unit: "mm"},
			{what: cases[1].name + ": sideways in the middle", unit: "mm"}, {what: cases[1].name + ": sum of reactions", unit: "N"},
			{what: cases[2].name + ": drift of the middle", unit: "mm"}, {what: cases[2].name + ": sum of reactions", unit: "N"},
			{what: cases[3].name + ": middle down", unit: "mm"}, {what: cases[3].name + ": rim down", unit: "mm"}, {what: cases[3].name + ": sum of reactions", unit: "N"},
		}
		note := func(s []solved) (v []float64) {
			return []float64{-s[0].moved[0].Z, s[0].reaction.Z, -s[1].moved[1].Z, -s[1].moved[2].Z, s[1].moved[0].X, s[1].reaction.Z,
				-s[2].moved[0].X, s[2].reaction.X, -s[3].moved[0].Z, -s[3].moved[2].Z, s[3].reaction.Z}
		}
		var sizes []string
		for _, step := range w.ccxSteps {
			start := time.Now()
			m := meshOf(t, p, step, 2, w.marks, w.pairs)
			for i, v := range note(m.ccx(t, "C3D20R", cases, probes)) {
				figures[i].ccx = append(figures[i].ccx, v)
			}
			sizes = append(sizes, fmt.Sprintf("%d bricks, %d nodes", len(m.bricks), len(m.nodes)))
			t.Log(w.file, sizes[len(sizes)-1], time.Since(start))
		}
		r := rigOf(t, p, map[string]print{"*": {modulus, true, density}}, w.feet)
		for _, times := range []float64{1, 0.5} {
			start := time.Now()
			s := r.sized(t, times)
			side := stress.Load{Member: 0, Frame: geom.Frame{Origin: w.rim.Sub(geom.V3(0, 0, thick/2)), X: geom.V3(0, 1, 0), Y: geom.V3(0, 0, 1), Z: geom.V3(1, 0, 0)},
				Region: box(patch, thick), Force: geom.V3(-w.side, 0, 0)}
			loads := [][]stress.Load{{onTop(0, w.top, circle(50), F)}, {onTop(0, w.edge, circle(50), F)}, {side}, nil}
			out := make([]solved, len(loads))
			for i := range loads {
				// The weight comes with every case, so it is done last and taken off.
				i = len(loads) - 1 - i
				st := solveCase(t, s, loads[i]...)
				got := solved{reaction: st.GroundForce()}
				for _, pr := range probes {
					got.moved = append(got.moved, displacement(t, st, 0, pr.at))
				}
				if i < len(loads)-1 {
					weight := out[len(loads)-1]
					got.reaction = got.reaction.Sub(weight.reaction)
					for j := range got.moved {
						got.moved[j] = got.moved[j].Sub(weight.moved[j])
					}
				}
				out[i] = got
			}
			for i, v := range note(out) {
				figures[i].ours = append(figures[i].ours, v)
			}
			sizes = append(sizes, fmt.Sprintf("%d cells of %.3g mm", s.Cells(), s.Cell()))
			t.Log(w.file, sizes[len(sizes)-1], time.Since(start))
		}
		fmt.Fprintf(&b, "| %s | size | %s | %s | %s | %s | |\n", p.Name, sizes[0], sizes[1], sizes[2], sizes[3])
		for _, f := range figures {
			off := f.ours[0]/f.ccx[1] - 1
			t.Logf("%s: %s: %.5g %.5g %s, off %+.2f %% and %+.2f %%", p.Name, f.what, f.ccx, f.ours, f.unit, 100*off, 100*(f.ours[1]/f.ccx[1]-1))
			// Within 5 %, or for what hardly moves within 2 % of what moves most in its case.
			largest := 0.0
			for _, g := range figures {
				if g.unit == f.unit && strings.SplitN(g.what, ":", 2)[0] == strings.SplitN(f.what, ":", 2)[0] {
					largest = max(largest, math.Abs(g.ccx[1]))
				}
			}
			for _, ours := range f.ours {
				if d := math.Abs(ours - f.ccx[1]); !(d <= 0.05*math.Abs(f.ccx[1]) || d <= 0.02*largest) {
					t.Errorf("%s: %s: %.5g %s, CalculiX has %.5g: %+.1f %%", p.Name, f.what, ours, f.unit, f.ccx[1], 100*(ours/f.ccx[1]-1))
				}
			}
			if moved := math.Abs(f.ccx[0]/f.ccx[1] - 1); !(moved <= 0.02) {
				t.Errorf("%s: %s: CalculiX itself moves by %.1f %% between its meshes", p.Name, f.what, 100*moved)
			}
			fmt.Fprintf(&b, "| %s | %s, %s | %.4g | %.4g | %.4g | %.4g | %+.1f %% |\n", p.Name, f.what, f.unit, f.ccx[0], f.ccx[1], f.ours[0], f.ours[1], 100*off)
		}
	}
	golden(t, "calculix", b.String())
}

// example is a piece of the examples, its sizes taken for those of the cores.
func example(t testing.TB, name string) *piece.Piece {
	t.Helper()
	data, err := examples.Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := piece.Parse(name, data)
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// The heron table, as its file has it, takes nearly as many iterations with small
// cells as with large ones.
func TestIterations(t *testing.T) {
	var b strings.Builder
	fmt.Fprintln(&b, "| structure | cell, mm | cells filled | MiB foretold | iterations, 1000 N in the middle | 1000 N near the edge |")
	fmt.Fprintln(&b, "|---|---|---|---|---|---|")
	for _, free := range []bool{true, false} {
		p, name, held := example(t, "heron-side-table.yaml"), "heron table, screws and contacts, on the floor", []string(nil)
		if !free {
			name, held = "heron table, all glued, feet held", []string{"leg edge-2"}
			for i := range p.Joints {
				p.Joints[i].Kind, p.Joints[i].Screws, p.Joints[i].Dowels = piece.Glued, 0, 0
			}
		}
		r := rigOf(t, p, map[string]print{"*": {2000, false, 1.04e-3}}, held...)
		r.in.Floor = free
		var first [2]int
		for i, k := range []float64{2, 1, 0.5} {
			start := time.Now()
			s := r.sized(t, k)
			t.Log(s.Cells(), "cells assembled", time.Since(start))
			start = time.Now()
			row := [2]int{solveCase(t, s, onTop(0, geom.V3(0, 0, 540), circle(50), 1000)).Iterations(),
				solveCase(t, s, onTop(0, geom.V3(140, 0, 540), circle(50), 1000)).Iterations()}
			t.Log("two cases", time.Since(start))
			fmt.Fprintf(&b, "| %s | %.3g | %d | %d | %d | %d |\n", name, s.Cell(), s.Cells(), s.Memory()>>20, row[0], row[1])
			if i == 0 {
				first = row
			}
			for j := range row {
				if row[j] > 2*first[j]+20 {
					t.Errorf("%s, cells of %.3g mm: %d iterations, %d with the largest", name, s.Cell(), row[j], first[j])
				}
			}
		}
	}
	golden(t, "iterations", b.String())
}
