package printing

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

const practice = "common practice, no source"

// findings is what the maker must know about one print.
func (st *stage) findings(i int, filament string, p Print) []finding.Finding {
	j := &st.jobs[i]
	var out []finding.Finding
	add := func(s finding.Severity, code, source, remedy, format string, a ...any) {
		out = append(out, finding.Finding{
			Severity: s, Stage: "printing", Code: code, Subject: p.Segment,
			Message: fmt.Sprintf(format, a...), Remedy: remedy, Source: source, File: st.shop.File,
		})
	}
	if !j.known {
		add(finding.Stop, "filament-unknown", "", "add it to the shop file; or choose another", "the shop has no filament %q", filament)
		return out
	}
	if j.printer < 0 {
		s := j.body.extents()
		add(finding.Stop, "fits-no-printer", "", "cut it with another seam; or add a larger printer",
			"it fits no printer in any pose tried; along its own axes it measures %.1f x %.1f x %.1f mm", s.X, s.Y, s.Z)
		return out
	}
	pose := j.pose()
	if pose.sided {
		add(finding.Warning, "on-its-side", practice, "cut it with a seam along its length; or print with supports",
			"it lies on no face of its own, on supports: on a face the layers would be pulled apart")
	} else if !pose.flat {
		add(finding.Warning, "tilted", practice, "cut it with another seam; or use a larger printer",
			"no face of it can lie on the bed of %s: it fits only when tilted, on supports", p.Printer)
	}
	if pose.overhang >= 25 {
		add(finding.Warning, "supports", "45 degree rule, "+practice, "add a chamfer beneath; or print with supports",
			"%.0f mm² lean out by more than 45 degrees and are too wide to bridge: about %.0f g of supports, %.0f min to print them and %.0f min to take them off",
			pose.overhang, pose.support.Grams, pose.support.Seconds/60, dressing*pose.overhang)
	}
	if pose.standing > 0.25 {
		add(finding.Warning, "upright", "strength across layers over that along them: the filament's Z factor", "cut it with another seam so that it can lie down",
			"it is printed standing, so that layers lie across its length%s", weaker(j.filament.ZFactor))
	}
	if a := p.Across; a != nil && a.Margin < enough {
		add(finding.Warning, "layers-part", "the filament's strength and Z factor; a factor of 3, "+practice, st.stronger(j.filament, a),
			"in its best pose it is pulled with %.2g MPa across its layers, which part at %.3g MPa: %.2g times as much, less than the %g that allow for faults in the print",
			a.Tension, a.Parts, a.Margin, enough)
	}
	if len(p.Mating) > 0 && p.Chamfer > 0 {
		add(finding.Note, "bed-chamfer", practice, fmt.Sprintf("break the edges of that face by %.1f mm before gluing; or let the printer hold back the first layer", p.Chamfer),
			"a face that meets another lies on the bed, where a spread first layer would keep the two apart")
	}
	flat, across := 0.0, 0.0
	if len(pose.contact) >= 3 {
		_, flat = farthest(pose.contact)
		across = width(pose.contact)
	}
	if limit := j.filament.MaxFlat; limit > 0 && flat > limit {
		add(finding.Warning, "long-flat", "the filament's longest flat length, from the shop file", "print with a wide brim in a warm chamber, and check the face with a straightedge; or cut it shorter",
			"%.0f mm lie flat on the bed, %s is good for %.0f mm", flat, j.filament.ID, limit)
	}
	if sharp := sharpCorners(pose.contact); slices.Contains(warping, j.filament.Material) && flat >= 120 && flat >= 5*across && sharp > 0 {
		add(finding.Note, "warp-prone", practice, "print with a brim in a warm chamber; or round the corners",
			"long (%.0f mm), narrow (%.0f mm) and with %d sharp corners on the bed: %s may lift there", flat, across, sharp, j.filament.Material)
	}
	return out
}

// stronger is what to do about layers that may part.
func (st *stage) stronger(f shop.Filament, a *Across) string {
	short := enough / a.Margin
	// In bending, stress goes with the inverse square of the thickness (beam theory).
	out := fmt.Sprintf("cut it with another seam so that its layers lie along the pull; or make it thicker, by %.0f %% where it bends", 100*(math.Sqrt(short)-1))
	best := f
	for _, o := range st.shop.Filaments {
		if parts(o) > parts(best) {
			best = o
		}
	}
	if best.ID != f.ID {
		out += fmt.Sprintf("; or print it in %s, whose layers part at %.3g MPa", best.ID, parts(best))
	}
	return out
}

func weaker(z float64) string {
	if z <= 0 {
		return ", where prints part most easily"
	}
	return fmt.Sprintf(", where it is %.0f %% as strong", 100*z)
}

// warping are the materials whose corners lift as they cool.
var warping = []string{"ABS", "ASA", "ABS-GF", "PC", "PA-CF"}

// sharpCorners counts the corners of a hull that turn by 60 degrees or more.
func sharpCorners(h geom.Polygon) int {
	n := 0
	for i, v := range h {
		in, out := v.Sub(h[(i+len(h)-1)%len(h)]), h[(i+1)%len(h)].Sub(v)
		if math.Atan2(in.Cross(out), in.Dot(out)) >= math.Pi/3-1e-9 {
			n++
		}
	}
	return n
}

// extents are the body's lengths along its own axes.
func (b *body) extents() geom.Vec3 {
	var out [3]float64
	for i, a := range b.axes {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range b.points {
			d := p.Dot(a)
			lo, hi = min(lo, d), max(hi, d)
		}
		out[i] = hi - lo
	}
	return geom.V3(out[0], out[1], out[2])
}
