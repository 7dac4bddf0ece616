//go:build outside

package job

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/tools/outside"
)

// Every file of every example, read by programs that are not ours: STL by
// libassimp, 3MF by lib3mf, DXF by ezdxf, pattern areas and layouts by shapely.
func TestJobsByOutsidePrograms(t *testing.T) {
	for _, name := range examples.Pieces() {
		t.Run(name, func(t *testing.T) {
			k, p := planned(t, name)
			dir := filepath.Join(t.TempDir(), "job")
			if err := Write(context.Background(), k, p, dir, Options{}); err != nil {
				t.Fatal(err)
			}
			data, err := os.ReadFile(filepath.Join(dir, "plan.json"))
			if err != nil {
				t.Fatal(err)
			}
			d := read(t, []File{{Name: "plan.json", Data: data}})

			var stl, threemf, dxf []string
			for _, s := range d.Segments {
				stl = append(stl, filepath.Join(dir, s.File))
			}
			for _, l := range d.Plates {
				threemf = append(threemf, filepath.Join(dir, l.File))
			}
			for _, b := range d.Panels {
				dxf = append(dxf, filepath.Join(dir, b.DXF))
			}
			volume := map[string]float64{}
			for i, m := range outside.MeshCheck(t, stl...) {
				s := d.Segments[i]
				scale := p.Printing.Prints[i].Scale
				want := s.VolumeMM3 * scale.X * scale.Y * scale.Z
				volume[s.ID] = want
				if m.Error != "" || !m.Closed || !m.Oriented || m.Degenerate > 0 || m.Shells != 1 {
					t.Errorf("%s: libassimp says %+v", s.File, m)
				}
				if math.Abs(m.Volume-want) > 1e-4*want {
					t.Errorf("%s: libassimp measures %.3f mm³, plan.json says %.3f", s.File, m.Volume, want)
				}
			}
			build := map[string]geom.Vec3{}
			for _, pr := range p.Shop.Printers {
				build[pr.ID] = pr.Build
			}
			seen := map[string]bool{}
			for i, m := range outside.ThreeMF(t, threemf...) {
				l := d.Plates[i]
				if m.Error != "" || len(m.Warnings) > 0 || len(m.Items) != len(l.Segments) {
					t.Errorf("%s: lib3mf says %q, warnings %v, %d items for %d", l.File, m.Error, m.Warnings, len(m.Items), len(l.Segments))
					continue
				}
				for _, it := range m.Items {
					seen[it.PartNumber] = true
					if want := volume[it.PartNumber]; !it.Manifold || math.Abs(it.Volume-want) > 1e-4*want {
						t.Errorf("%s: %s: manifold %v, volume %.3f, want %.3f", l.File, it.PartNumber, it.Manifold, it.Volume, want)
					}
					b := build[l.Printer]
					if it.Min[0] < -1e-4 || it.Min[1] < -1e-4 || it.Min[2] < -1e-4 || it.Max[0] > b.X || it.Max[1] > b.Y || it.Max[2] > b.Z {
						t.Errorf("%s: %s reaches from %v to %v in a volume of %v", l.File, it.PartNumber, it.Min, it.Max, b)
					}
				}
			}
			if len(seen) != len(d.Segments) {
				t.Errorf("loads hold %d of %d segments", len(seen), len(d.Segments))
			}

			var queries []outside.Query
			for _, pat := range p.Patterns {
				queries = append(queries, outside.Query{A: pat.Gross, B: pat.Net})
			}
			for i, a := range outside.Polygons(t, queries...) {
				pat := d.Patterns[i]
				if a.Error != "" || !a.Valid || math.Abs(a.Area-pat.AreaMM2) > 1e-6*pat.AreaMM2 {
					t.Errorf("%s: shapely says %+v, plan.json says %.3f mm²", pat.ID, a, pat.AreaMM2)
				}
			}
			layouts := make([]outside.Layout, len(d.Panels))
			for i, b := range p.Sheets.Blanks {
				layouts[i].Sheet = geom.Polygons{{{X: 0, Y: 0}, {X: b.Size.X, Y: 0}, b.Size, {X: 0, Y: b.Size.Y}}}
			}
			for _, pl := range p.Sheets.Placements {
				if pl.Blank >= 0 {
					layouts[pl.Blank].Parts = append(layouts[pl.Blank].Parts, p.Sheets.Outline(p.Patterns, pl))
				}
			}
			for i, a := range outside.Layouts(t, layouts...) {
				if a.Error != "" || !a.Covered || a.Overlap > 1e-6 || (len(layouts[i].Parts) > 1 && a.Gap < p.Sheets.Gap-2e-3) {
					t.Errorf("%s: shapely says %+v, gap wanted %.2f", d.Panels[i].ID, a, p.Sheets.Gap)
				}
			}

			// What is cut in the DXF is what the patterns on that panel are.
			for i, dr := range outside.DXF(t, dxf...) {
				b := d.Panels[i]
				if dr.Error != "" || len(dr.Audit) > 0 || dr.Version != "AC1009" {
					t.Errorf("%s: ezdxf says %q, audit %v, version %s", b.DXF, dr.Error, dr.Audit, dr.Version)
				}
				var area float64
				bar := false
				for _, l := range dr.Layers {
					for _, c := range l.Closed {
						if strings.HasPrefix(l.Name, "CUT") && !strings.Contains(l.Name, "PIN") {
							area += c.Area
						}
					}
					for _, o := range l.Open {
						if l.Name == "MARK" && math.Abs(o.Length-100) < 1e-6 {
							bar = true
						}
					}
				}
				var want float64
				for _, pat := range d.Patterns {
					if pat.Panel == b.ID {
						want += pat.AreaMM2
					}
				}
				if math.Abs(area-want) > 1e-5*want {
					t.Errorf("%s: cut outlines enclose %.2f mm², the patterns %.2f", b.DXF, area, want)
				}
				if !bar && max(b.WidthMM, b.HeightMM) > 120 {
					t.Errorf("%s: no line of 100 mm to measure", b.DXF)
				}
			}
		})
	}
}
