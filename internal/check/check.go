// Package check reads the whole plan and says what may go wrong with the
// finished piece: whether it stands (package stability), what heat and dry air
// do to it (package climate), lifting, traps for fingers; and which cautions
// belong to the work.
//
// Every verdict is an engineering estimate by analogy with the loads of named
// standards. Nothing here certifies anything.
package check

import (
	"fmt"
	"slices"

	"groundwork/internal/climate"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/shop"
	"groundwork/internal/stability"
	"groundwork/internal/veneer"
)

// Inputs are the results that checks read.
type Inputs struct {
	Piece    *piece.Piece
	Layout   *veneer.Layout
	Patterns []veneer.Pattern
	Joints   *joint.Result
	Cores    *core.Result
	Printing *printing.Result
	Shop     *shop.Shop
	Extra    float64 // g of veneer and hardware, added to the printed mass

	// Lasting gives the greatest stress, MPa, that the parts of a filament bear for
	// months; nil, or 0, where it is not known.
	Lasting func(filament string) float64

	Drying float64 // %, by how much the veneer dries in use; 0 for climate.Drying
}

// Result is what the checks found and measured.
type Result struct {
	Mass     float64           // g, all told
	Center   geom.Vec3         // world; centre of mass
	Support  geom.Polygon      // convex hull of what touches the floor, world XY; nil for a piece that is held
	Tips     []Tip             // about each side of Support, under the gravest load on its edges
	Standing *stability.Result // all about how it stands
	Bows     []climate.Bow     // of boards under veneer
	Cautions []Caution
	Findings []finding.Finding
}

// Tip is how the piece tips about one edge of its support.
type Tip = stability.Tip

// Caution is a warning that belongs to an operation.
type Caution struct {
	Operation string // print, laser, glue, insert, sand, finish, assemble, use
	Text      string
	Source    string
}

// Run makes every check.
func Run(in Inputs) *Result {
	r := &Result{}
	r.stand(in)
	r.weather(in)
	r.shrinkage(in)
	r.lift(in)
	r.fingers(in)
	r.Cautions = cautions(in)
	r.note(finding.Note, "estimate", "piece",
		"Loads and limits are engineering estimates by analogy with published furniture standards; nothing here is a certificate.",
		"Have a piece that others will use or buy judged under the codes that apply where you are.", "EN 12521, EN 12520, EN 14749, EN 1022 named by analogy")
	r.Findings = finding.Sorted(r.Findings)
	return r
}

func (r *Result) note(s finding.Severity, code, subject, message, remedy, source string) {
	r.Findings = append(r.Findings, finding.Finding{Severity: s, Stage: "check", Code: code, Subject: subject, Message: message, Remedy: remedy, Source: source})
}

// shrinkage says what is unknown while a filament's shrinkage has not been
// measured: prints of unfilled plastics commonly come out 0.4 to 0.7 % small.
func (r *Result) shrinkage(in Inputs) {
	var longest float64
	for _, b := range in.Layout.Bands {
		longest = max(longest, b.To-b.From)
	}
	for _, id := range filaments(in) {
		if f, ok := in.Shop.Filament(id); ok && f.Shrink == (geom.Vec3{}) && longest > 0 {
			r.note(finding.Warning, "shrinkage-unmeasured", id, fmt.Sprintf(
				"The shop file gives no shrinkage for %s. At a common 0.4 to 0.7 %% a run of %.0f mm comes out %.0f to %.0f mm short, and its band would be that much too long.",
				id, longest, longest*0.004, longest*0.007),
				"Print a bar, measure it along each axis and enter the shrinkage; and measure the true perimeter of glued-up cores before cutting the bands that wait for it.",
				"common practice, no source")
		}
	}
}

func (r *Result) lift(in Inputs) {
	limit := in.Shop.LiftLimit
	if limit > 0 && r.Mass > limit {
		r.note(finding.Warning, "lifting", "piece", fmt.Sprintf("The piece weighs %.1f kg, %.1f kg more than one person should lift (%.0f kg).", r.Mass/1000, (r.Mass-limit)/1000, limit/1000),
			"Carry it by two; pack it in two boxes.", "NIOSH lifting equation, load constant 23 kg")
	}
}

// fingers finds open holes that a finger can be caught in.
func (r *Result) fingers(in Inputs) {
	plugged := map[string]bool{}
	for _, j := range in.Joints.Joints {
		for _, s := range j.Screws {
			if s.Plug != "" {
				plugged[j.ID] = true
			}
		}
	}
	for _, b := range in.Joints.Bores() {
		if b.Shows && !plugged[b.Of] && b.Diameter >= 7 && b.Diameter <= 12 && b.Depth >= 10 {
			r.note(finding.Warning, "finger-hole", b.ID, fmt.Sprintf("The open bore %s, %.1f mm wide and %.0f mm deep, can catch a finger (7 to 12 mm and 10 mm deep are not allowed where hands reach).", b.ID, b.Diameter, b.Depth),
				"Cover it with a plug; or turn the screw to come from a hidden side.", "EN 12520 / EN 12521 on accessible holes, from a secondary source")
		}
	}
}

// filaments are the IDs of what is printed with, sorted.
func filaments(in Inputs) []string {
	var ids []string
	for _, l := range in.Printing.Loads {
		ids = append(ids, l.Filament)
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}
