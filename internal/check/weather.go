package check

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/climate"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/given"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// weather asks package climate what heat and dry air do to the piece.
func (r *Result) weather(in Inputs) {
	var parts []climate.Part
	for _, id := range filaments(in) {
		f, ok := in.Shop.Filament(id)
		if !ok {
			continue
		}
		p := climate.Part{Filament: f, Lasting: lasting(in, id)}
		if in.Lasting != nil {
			p.Stress = in.Lasting(id)
		}
		parts = append(parts, p)
	}
	heat := climate.Heat(parts, in.Shop.Filaments)
	for i, f := range heat {
		if better := climate.Clear(f.Subject, in.Shop.Filaments); f.Code == "heat" && f.Severity > finding.Note && len(better) > 0 {
			heat[i].Changes = printedIn(in, f.Subject, better[0].ID)
		}
	}
	r.Findings = append(r.Findings, heat...)

	var veneers []shop.Veneer
	seen := map[string]bool{}
	for _, p := range in.Patterns {
		if v, ok := in.Shop.Veneer(p.Veneer); ok && !seen[p.Veneer] {
			seen[p.Veneer] = true
			veneers = append(veneers, v)
		}
	}
	r.Findings = append(r.Findings, climate.Adhesives(veneers)...)

	r.growth(in)

	drying := in.Drying
	if drying == 0 {
		drying = climate.Drying
	}
	bows, found, err := climate.Boards(boards(in), drying)
	if err != nil {
		r.note(finding.Note, "bow-unknown", "piece", fmt.Sprintf("How boards bow in dry air could not be worked out: %v.", err), "Look at thickness and modulus in the shop file.", "laminated plate theory")
	}
	r.Bows = bows
	r.Findings = append(r.Findings, found...)
}

// growth tells which bands cannot follow their core in the heat.
func (r *Result) growth(in Inputs) {
	var runs []climate.Run
	for _, b := range in.Layout.Bands {
		if f, ok := in.Shop.Filament(filamentOf(in, in.Layout.Cores[b.Member])); ok {
			runs = append(runs, climate.Run{ID: b.ID, Length: b.To - b.From, Filament: f})
		}
	}
	r.Findings = append(r.Findings, climate.Growth(runs)...)
}

// filamentOf is the ID of what a member is printed in; "" for the shop's first.
func filamentOf(in Inputs, m piece.Member) string {
	switch {
	case m.Filament != "":
		return m.Filament
	case in.Piece.Filament != "" || len(in.Shop.Filaments) == 0:
		return in.Piece.Filament
	}
	return in.Shop.Filaments[0].ID
}

// printedIn are the changes to the piece file after which all that is printed in
// one filament is printed in another: for the piece, and for members that name
// it themselves.
func printedIn(in Inputs, from, to string) []finding.Change {
	var out []finding.Change
	add := func(keys ...string) {
		c := finding.Change{Document: finding.PieceFile, Pointer: given.Pointer(keys...), Value: to}
		if !slices.Contains(out, c) { // copies of a member share its entry
			out = append(out, c)
		}
	}
	for _, m := range in.Layout.Cores {
		switch {
		case filamentOf(in, m) != from:
		case m.Filament == "":
			add("filament")
		default:
			add("members", m.Name, "filament")
		}
	}
	return out
}

// lasting reports whether parts of a filament bear loads for months: all of a
// shelf, and members under such loads of the piece file.
func lasting(in Inputs, id string) bool {
	if in.Piece.Use == piece.Shelf {
		return true
	}
	return slices.ContainsFunc(in.Piece.Loads, func(l piece.LoadRule) bool {
		return l.Sustained && slices.ContainsFunc(in.Layout.Cores, func(m piece.Member) bool {
			return (m.ID == l.Member || m.Name == l.Member) && filamentOf(in, m) == id
		})
	})
}

// boards are the flat members that are printed in a known plastic, with what lies
// on their faces.
func boards(in Inputs) []climate.Board {
	prints := map[string]printing.Print{}
	for _, p := range in.Printing.Prints {
		prints[p.Segment] = p
	}
	var out []climate.Board
	for body, b := range seam.Bodies(in.Layout.Cores, in.Piece.PrintAsOne) {
		i := slices.IndexFunc(in.Cores.Segments, func(s core.Segment) bool { return s.Body == body })
		if i < 0 {
			continue
		}
		p := prints[in.Cores.Segments[i].ID]
		f, ok := in.Shop.Filament(p.Filament)
		j := slices.IndexFunc(in.Shop.Printers, func(q shop.Printer) bool { return q.ID == p.Printer })
		if !ok || f.Modulus <= 0 || j < 0 {
			continue
		}
		for _, m := range b.Members {
			if in.Layout.Cores[m].Board == nil || m >= len(in.Layout.Coverings) {
				continue
			}
			out = append(out, board(in, m, f, in.Shop.Printers[j].Profile, p))
		}
	}
	return out
}

// board is one of them. Printed lying, cover layers close its faces; otherwise
// contours do.
func board(in Inputs, m int, f shop.Filament, p shop.Profile, laid printing.Print) climate.Board {
	const poisson = 0.35 // of printed plastics, from memory; bows hardly depend on it
	c := in.Layout.Cores[m]
	contours := float64(p.Contours) * p.Line
	shell := contours
	if math.Abs(laid.Pose.Z.Dot(c.Place.Z)) > 0.9 {
		shell = float64(p.CoverLayers) * p.Layer
	}
	size := c.Board.Outline.Path.Bounds().Size()
	b := climate.Board{ID: c.ID, Length: size.X, Width: size.Y, Core: climate.Core{
		Thickness: c.Board.Thickness, Modulus: f.Modulus, Poisson: poisson, Shell: shell, Rim: contours, Fill: p.Fill, Pattern: p.FillPattern, Expansion: f.Expansion,
	}}
	for _, h := range in.Piece.Held {
		b.Held = b.Held || (h.Member == c.ID || h.Member == c.Name) && (h.Surface == "face" || h.Surface == "back")
	}
	for i, s := range c.Surfaces(chord) {
		switch s.Name {
		case "face":
			b.Face = clad(in, s, in.Layout.Coverings[m][i])
		case "back":
			b.Back = clad(in, s, in.Layout.Coverings[m][i])
		}
	}
	return b
}

// clad is the veneer on a broad side, its grain in the board's own x and y.
func clad(in Inputs, s piece.Surface, cov veneer.Covering) climate.Clad {
	v, ok := in.Shop.Veneer(cov.Veneer)
	if !ok || cov.Stack <= 0 || len(s.Region) == 0 {
		return climate.Clad{}
	}
	sin, cos := math.Sincos(cov.Grain)
	along := s.Frame.X.Scale(cos).Add(s.Frame.Y.Scale(sin)).XY().Angle()
	if along < 0 {
		along += math.Pi
	}
	return climate.Clad{Veneer: v.ID, Species: v.Species, Wood: v.Face, Under: v.Backing + v.Adhesive, Grain: along}
}
