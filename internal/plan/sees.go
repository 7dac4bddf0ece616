package plan

import (
	"slices"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/digest"
	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// What each stage goes by. A stage is given nothing else, so that what it works
// out can only depend on what its results are kept by: leave something out here
// that it needs, and it fails with or without a cache. What it may see but does
// not need costs time when that changes, and nothing more.
//
// Left out, since they change often and matter to few: prices, names and notes
// for people, findings, and the lines of the piece file. Stages whose findings
// tell lines see them, and so are run again when lines move; what they work out
// is the same then, and later stages do not see lines.

func forJoints(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Piece:   drawn(pl.Piece),
		Shop:    &shop.Shop{Printers: s.Printers, Veneers: s.Veneers, Screws: s.Screws, Inserts: s.Inserts, Dowels: s.Dowels, Fits: s.Fits},
		options: Options{Joint: pl.options.Joint},
	}
}

func forLayout(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Piece:   drawn(pl.Piece),
		Shop:    &shop.Shop{Lasers: s.Lasers, Veneers: s.Veneers},
		Joints:  &joint.Result{Contacts: pl.Joints.Contacts, Rounds: pl.Joints.Rounds},
		options: Options{Veneer: pl.options.Veneer},
	}
}

func forFirstChecks(pl *Plan) Plan {
	l := laidOut(pl.Layout)
	return Plan{
		Piece:  printed(pl.Piece),
		Shop:   &shop.Shop{Filaments: unpriced(pl.Shop).Filaments},
		Joints: &joint.Result{Joints: pl.Joints.Joints},
		Layout: &veneer.Layout{Cores: l.Cores, Bands: l.Bands},
	}
}

func forPatterns(pl *Plan) Plan {
	out := forLayout(pl)
	out.Joints, out.Layout = settled(pl.Joints), laidOut(pl.Layout)
	out.Layout.Cores = pl.Layout.Cores // with lines, as those of the piece
	return out
}

func forLoads(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	out := Plan{
		Piece: &piece.Piece{
			Name: pl.Piece.Name, File: pl.Piece.File, Use: pl.Piece.Use, Filament: pl.Piece.Filament,
			Members: unplaced(pl.Piece.Members), PrintAsOne: pl.Piece.PrintAsOne, Held: pl.Piece.Held, Loads: pl.Piece.Loads,
		},
		Shop:   &shop.Shop{Printers: s.Printers, Filaments: s.Filaments, Screws: s.Screws, Inserts: s.Inserts, Dowels: s.Dowels, Fits: s.Fits},
		Joints: settled(pl.Joints),
		Layout: unnamed(laidOut(pl.Layout)),
	}
	if pl.options.Strength != nil { // only that it was asked for
		out.options.Strength = &StrengthOptions{}
	}
	return out
}

// fieldOf tells the rough field apart from others: by what its stage sees, but
// for lines and for what was asked, which matter to findings only.
func fieldOf(pl *Plan) (digest.Sum, error) {
	of := *pl
	of.Piece, of.options = untold(pl.Piece), Options{}
	return digest.Of(of)
}

func forSeams(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	p := printed(pl.Piece)
	p.Seams = slices.Clone(pl.Piece.Seams)
	for i := range p.Seams {
		p.Seams[i].Line = 0
	}
	l := unnamed(laidOut(pl.Layout))
	return Plan{
		Piece:  p,
		Shop:   &shop.Shop{Printers: s.Printers, Filaments: s.Filaments, Dowels: s.Dowels, Fits: s.Fits},
		Joints: &joint.Result{Joints: pl.Joints.Joints},
		Layout: &veneer.Layout{Cores: l.Cores, Cuts: l.Cuts, Clears: l.Clears, Coverings: l.Coverings},
		field:  pl.field, fieldOf: pl.fieldOf,
		options: Options{Seam: pl.options.Seam},
	}
}

func forCores(pl *Plan) Plan {
	l := unnamed(laidOut(pl.Layout))
	return Plan{
		Joints:  &joint.Result{Contacts: pl.Joints.Contacts, Joints: pl.Joints.Joints},
		Layout:  &veneer.Layout{Cores: l.Cores, Cuts: l.Cuts, Coverings: l.Coverings},
		Seams:   divided(pl.Seams),
		options: Options{Core: pl.options.Core},
	}
}

func forPrinting(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Piece:  printed(pl.Piece),
		Shop:   &shop.Shop{Printers: s.Printers, Filaments: s.Filaments, Fits: s.Fits, File: s.File},
		Joints: &joint.Result{Contacts: pl.Joints.Contacts},
		Seams:  divided(pl.Seams),
		Cores:  &core.Result{Segments: pl.Cores.Segments},
		field:  pl.field, fieldOf: pl.fieldOf,
		options: Options{Printing: pl.options.Printing},
	}
}

func forSheets(pl *Plan) Plan {
	return Plan{
		Shop:     &shop.Shop{Lasers: unpriced(pl.Shop).Lasers, Veneers: pl.Shop.Veneers}, // a sheet bears its price
		Patterns: pl.Patterns,
		options:  Options{Sheet: pl.options.Sheet},
	}
}

func forFixtures(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Piece: printed(pl.Piece),
		Shop: &shop.Shop{
			Printers: s.Printers, Filaments: s.Filaments, Lasers: s.Lasers, Veneers: s.Veneers, Inserts: s.Inserts, Dowels: s.Dowels, Fits: s.Fits, Bench: pl.Shop.Bench,
		},
		Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Patterns: pl.Patterns, Seams: divided(pl.Seams),
		Cores:   built(pl.Cores),
		options: Options{Fixture: pl.options.Fixture},
	}
}

func forFixturePrinting(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Shop:     &shop.Shop{Printers: s.Printers, Filaments: s.Filaments, Fits: s.Fits, File: s.File},
		Fixtures: &fixture.Result{Fixtures: pl.Fixtures.Fixtures},
		options:  Options{Printing: pl.options.Printing},
	}
}

func forSchedule(pl *Plan) Plan {
	s := unpriced(pl.Shop)
	return Plan{
		Piece:  untold(pl.Piece),
		Shop:   &shop.Shop{Printers: s.Printers, Filaments: s.Filaments, Lasers: s.Lasers, Work: pl.Shop.Work},
		Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Patterns: pl.Patterns, Seams: divided(pl.Seams),
		Cores: built(pl.Cores), Printing: posed(pl.Printing), Sheets: pl.Sheets, Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting, Bill: hours(pl.Bill),
		options: Options{Schedule: pl.options.Schedule, Fixture: pl.options.Fixture},
	}
}

// forKit is all but lines: the kit has prices, and words from the piece.
func forKit(pl *Plan) Plan {
	p := *untold(pl.Piece)
	p.Title = pl.Piece.Title
	b := *pl.Bill
	b.Findings = nil
	return Plan{
		Piece: &p, Shop: pl.Shop,
		Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Patterns: pl.Patterns, Seams: divided(pl.Seams),
		Cores: built(pl.Cores), Printing: posed(pl.Printing), Sheets: pl.Sheets, Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting, Bill: &b,
		options: Options{Kit: pl.options.Kit},
	}
}

// forStrength is all but what the maker is told: it makes parts of the plan anew
// for its remedies.
func forStrength(pl *Plan) Plan {
	if pl.options.Strength == nil {
		return Plan{}
	}
	return Plan{
		Piece: untold(pl.Piece), Shop: unpriced(pl.Shop),
		Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Patterns: pl.Patterns, Seams: divided(pl.Seams),
		Cores: built(pl.Cores), Printing: posed(pl.Printing),
		Bill:  masses(pl.Bill),
		cases: pl.cases, field: pl.field, fieldOf: pl.fieldOf,
		options: Options{Strength: pl.options.Strength},
	}
}

func forChecks(pl *Plan) Plan {
	return Plan{
		Piece: untold(pl.Piece), Shop: unpriced(pl.Shop),
		Joints: settled(pl.Joints), Layout: laidOut(pl.Layout), Patterns: pl.Patterns, Seams: divided(pl.Seams),
		Cores: &core.Result{Segments: pl.Cores.Segments}, Printing: posed(pl.Printing),
		Bill: masses(pl.Bill), Strength: pl.Strength,
	}
}

// drawn is what of a piece joints and veneer go by, with its lines.
func drawn(p *piece.Piece) *piece.Piece {
	return &piece.Piece{
		Name: p.Name, File: p.File, Sizes: p.Sizes, Members: p.Members, Joints: p.Joints,
		Surfaces: p.Surfaces, PrintAsOne: p.PrintAsOne, Veneer: p.Veneer,
	}
}

// printed is what it says of how members are printed.
func printed(p *piece.Piece) *piece.Piece {
	out := &piece.Piece{Filament: p.Filament, PrintAsOne: p.PrintAsOne, Members: make([]piece.Member, len(p.Members))}
	for i, m := range p.Members {
		out.Members[i].Filament = m.Filament
	}
	return out
}

// untold is a piece without what is only told of it, and without lines.
func untold(p *piece.Piece) *piece.Piece {
	out := *p
	out.Title, out.Note, out.File, out.Parameters = "", "", "", nil
	out.Members = unplaced(p.Members)
	out.Joints, out.Surfaces, out.Loads = slices.Clone(p.Joints), slices.Clone(p.Surfaces), slices.Clone(p.Loads)
	out.Held, out.Seams = slices.Clone(p.Held), slices.Clone(p.Seams)
	for i := range out.Joints {
		out.Joints[i].Line = 0
	}
	for i := range out.Surfaces {
		out.Surfaces[i].Line = 0
	}
	for i := range out.Loads {
		out.Loads[i].Line = 0
	}
	for i := range out.Held {
		out.Held[i].Line = 0
	}
	for i := range out.Seams {
		out.Seams[i].Line = 0
	}
	return &out
}

// unplaced are members without their places in files.
func unplaced(ms []piece.Member) []piece.Member {
	out := slices.Clone(ms)
	for i := range out {
		m := &out[i]
		m.Line, m.Source, m.EndCuts = 0, nil, slices.Clone(m.EndCuts)
		for c := range m.EndCuts {
			m.EndCuts[c].Line = 0
		}
	}
	return out
}

func settled(r *joint.Result) *joint.Result {
	out := *r
	out.Findings = nil
	return &out
}

func laidOut(l *veneer.Layout) *veneer.Layout {
	out := *l
	out.Findings, out.Cores = nil, unplaced(l.Cores)
	return &out
}

func divided(r *seam.Result) *seam.Result {
	return &seam.Result{Bodies: r.Bodies, Segments: r.Segments, Seams: r.Seams}
}

func built(r *core.Result) *core.Result {
	return &core.Result{Bodies: r.Bodies, Segments: r.Segments, Cuts: r.Cuts}
}

func posed(r *printing.Result) *printing.Result {
	out := *r
	out.Findings = nil
	return &out
}

func masses(b *bill.Bill) *bill.Bill {
	return &bill.Bill{VeneerMass: b.VeneerMass, HardwareMass: b.HardwareMass}
}

// hours is a bill without money.
func hours(b *bill.Bill) *bill.Bill {
	out := *b
	out.Currency, out.Cost, out.CostBySection, out.Findings, out.Lines = "", 0, nil, nil, slices.Clone(b.Lines)
	for i := range out.Lines {
		out.Lines[i].Price, out.Lines[i].Cost, out.Lines[i].Note, out.Lines[i].Unpriced = 0, 0, "", false
	}
	return &out
}

// unpriced is a shop without money and without names for people, and without
// what fixtures, the schedule and the kit alone go by.
func unpriced(s *shop.Shop) *shop.Shop {
	out := *s
	out.Bench, out.Work, out.Parcels = shop.Bench{}, shop.Work{}, shop.Parcels{}
	out.Name, out.Currency, out.Labour, out.Electricity, out.Consumables, out.Pins = "", "", 0, 0, nil, nil
	out.Printers, out.Filaments, out.Lasers = slices.Clone(s.Printers), slices.Clone(s.Filaments), slices.Clone(s.Lasers)
	out.Veneers, out.Screws, out.Inserts, out.Dowels = slices.Clone(s.Veneers), slices.Clone(s.Screws), slices.Clone(s.Inserts), slices.Clone(s.Dowels)
	for i := range out.Printers {
		out.Printers[i].Price, out.Printers[i].Power = 0, 0
	}
	for i := range out.Filaments {
		out.Filaments[i].SpoolMass, out.Filaments[i].SpoolPrice, out.Filaments[i].Source = 0, 0, ""
	}
	for i := range out.Lasers {
		out.Lasers[i].Price = 0
	}
	for i := range out.Veneers {
		v := &out.Veneers[i]
		v.Price, v.Source, v.Offcuts = 0, "", nil // offcuts are for the sheets
	}
	for i := range out.Screws {
		out.Screws[i].Price, out.Screws[i].WasherPrice = 0, 0
	}
	for i := range out.Inserts {
		out.Inserts[i].Price = 0
	}
	for i := range out.Dowels {
		out.Dowels[i].Price = 0
	}
	return &out
}

// unnamed is a layout without which veneer lies where: cores go by how thick it
// is, and are the same under species of one thickness.
func unnamed(l *veneer.Layout) *veneer.Layout {
	out := *l
	out.Coverings = make([][]veneer.Covering, len(l.Coverings))
	for i, m := range l.Coverings {
		out.Coverings[i] = slices.Clone(m)
		for j := range out.Coverings[i] {
			out.Coverings[i][j].Veneer = ""
		}
	}
	return &out
}
