package job

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"

	"github.com/invopop/jsonschema"

	"groundwork/internal/bill"
	"groundwork/internal/check"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
)

// Schema is the JSON Schema (2020-12) of plan.json.
func Schema() ([]byte, error) {
	r := &jsonschema.Reflector{ExpandedStruct: true}
	s := r.Reflect(&Document{})
	s.Title = "Groundwork plan"
	b, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("job: schema of plan.json: %w", err)
	}
	return append(b, '\n'), nil
}

// Encode is plan.json for a plan.
func Encode(p *plan.Plan, names Names) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	if err := e.Encode(Describe(p, names)); err != nil {
		return nil, fmt.Errorf("job: plan.json: %w", err)
	}
	return b.Bytes(), nil
}

// round keeps six decimals: a nanometre, far below anything made here, and
// free of digits that only show how a sum was ordered.
func round(x float64) float64 {
	r := math.Round(x*1e6) / 1e6
	if r == 0 {
		return 0 // not -0
	}
	return r
}

func degrees(rad float64) float64 { return round(rad * 180 / math.Pi) }

func vec2(v geom.Vec2) Vec { return Vec{round(v.X), round(v.Y)} }
func vec3(v geom.Vec3) Vec { return Vec{round(v.X), round(v.Y), round(v.Z)} }

func frame(f geom.Frame) FrameDoc {
	return FrameDoc{vec3(f.Origin), vec3(f.X), vec3(f.Y), vec3(f.Z)}
}

func points(ps []geom.Vec2) []Vec {
	out := make([]Vec, len(ps))
	for i, p := range ps {
		out[i] = vec2(p)
	}
	return out
}

// loops parts a region into its largest outer loop and its holes.
func loops(ps geom.Polygons) (outline []Vec, holes [][]Vec) {
	outline, holes = []Vec{}, [][]Vec{}
	var most float64
	for _, p := range ps {
		if a := p.Area(); a > most {
			most, outline = a, points(p)
		} else if a < 0 {
			holes = append(holes, points(p))
		}
	}
	return outline, holes
}

// Describe is a plan as plan.json's document. Of a plan that is still being
// worked out it tells what is known: joints and veneer layout must be, the lists
// of later stages are empty.
func Describe(p *plan.Plan, names Names) Document {
	p = filled(p)
	d := Document{
		SchemaVersion: Version,
		Units:         Units{"mm", "g", "s", "N", "MPa", "degree", p.Shop.Currency},
		Piece:         PieceDoc{Name: p.Piece.Name, Title: p.Piece.Title, Use: string(p.Piece.Use), Sizes: string(p.Piece.Sizes), Parameters: []ParameterDoc{}},
		Shop:          ShopDoc{p.Shop.Name},
	}
	for _, q := range p.Piece.Parameters {
		k := 1.0
		if q.Kind == piece.Angle {
			k = 180 / math.Pi
		}
		d.Piece.Parameters = append(d.Piece.Parameters, ParameterDoc{q.Name, q.Label, string(q.Kind), round(q.Value * k), round(q.Min * k), round(q.Max * k), round(q.Step * k)})
	}
	describeMembers(&d, p)
	describeJoints(&d, p)
	describeCores(&d, p, names)
	describeVeneer(&d, p, names)
	describeFixtures(&d, p, names)
	d.Calendar, d.Kit = describeSchedule(p.Schedule, names), describeKit(p.Kit, names)
	describeVerdicts(&d, p)
	d.Strength = describeStrength(p)
	return d
}

// filled is a plan with empty results for the stages that have not run.
func filled(p *plan.Plan) *plan.Plan {
	q := *p
	if q.Seams == nil {
		q.Seams = &seam.Result{}
	}
	if q.Cores == nil {
		q.Cores = &core.Result{}
	}
	if q.Printing == nil {
		q.Printing = &printing.Result{}
	}
	if q.Sheets == nil {
		q.Sheets = &sheet.Result{}
	}
	if q.Bill == nil {
		q.Bill = &bill.Bill{}
	}
	if q.Checks == nil {
		q.Checks = &check.Result{}
	}
	return &q
}

func describeMembers(d *Document, p *plan.Plan) {
	d.Members = []MemberDoc{}
	count, seen := map[string]int{}, map[string]int{}
	for _, m := range p.Piece.Members {
		count[m.Name]++
	}
	printedAs := make([]string, len(p.Piece.Members))
	bodyOf := map[int]core.Body{} // by its first member
	for i, b := range p.Seams.Bodies {
		for _, m := range b.Members {
			printedAs[m] = b.ID
		}
		if i < len(p.Cores.Bodies) {
			bodyOf[b.Members[0]] = p.Cores.Bodies[i]
		}
	}
	for i, m := range p.Piece.Members {
		seen[m.Name]++
		c := p.Layout.Cores[i]
		doc := MemberDoc{
			ID: m.ID, Name: m.Name, Instance: seen[m.Name], Quantity: count[m.Name], Made: "turning",
			Frame: frame(m.Place), CoreFrame: frame(c.Place), Filament: m.Filament, Surfaces: []SurfaceDoc{},
			PrintedAs: printedAs[i],
		}
		if s := m.Source; s != nil {
			doc.Source = &SourceDoc{s.File, s.Part, s.Hash, s.Note}
		}
		if doc.Filament == "" {
			doc.Filament = p.Piece.Filament
		}
		if doc.Filament == "" {
			doc.Filament = p.Shop.Filaments[0].ID
		}
		if b, ok := bodyOf[i]; ok {
			doc.VolumeMM3, doc.SolidMM3 = round(b.Volume), round(b.Solid)
		}
		cov := p.Layout.Coverings[i]
		switch {
		case m.Solid != nil:
			doc.Made = "solid"
		case m.Board != nil:
			doc.Made = "board"
			doc.Core = round(c.Board.Thickness)
			doc.Finished = round(c.Board.Thickness + cov[0].Stack + cov[1].Stack)
		}
		const chord = 0.02
		for j, s := range c.Surfaces(chord) {
			doc.Surfaces = append(doc.Surfaces, SurfaceDoc{
				Name: s.Name, Kind: string(s.Kind), Role: string(s.Role), State: string(cov[j].State), Why: cov[j].Why,
				Veneer: cov[j].Veneer, StackMM: round(cov[j].Stack), InsetMM: round(cov[j].Inset), Grain: degrees(cov[j].Grain), AreaMM2: round(s.Area),
			})
		}
		d.Members = append(d.Members, doc)
	}
}

func describeJoints(d *Document, p *plan.Plan) {
	d.Contacts, d.Joints, d.Bores, d.Plugs = []ContactDoc{}, []JointDoc{}, []BoreDoc{}, []PlugDoc{}
	id := func(m int) string { return p.Piece.Members[m].ID }
	const chord = 0.1 // names only
	side := func(s joint.Side) SideDoc {
		return SideDoc{id(s.Member), p.Piece.Members[s.Member].Surfaces(chord)[s.Surface].Name, round(s.Covered)}
	}
	for _, c := range p.Joints.Contacts {
		d.Contacts = append(d.Contacts, ContactDoc{c.ID, side(c.A), side(c.B), frame(c.Frame), round(c.Area)})
	}
	d.RoundContacts = []RoundContactDoc{}
	for _, c := range p.Joints.Rounds {
		d.RoundContacts = append(d.RoundContacts, RoundContactDoc{c.ID, side(c.A), side(c.B), frame(c.Axis), round(c.Radius), round(c.Gap), c.Closed, round(c.Area)})
	}
	for _, j := range p.Joints.Joints {
		doc := JointDoc{ID: j.ID, Contact: j.Contact, Kind: string(j.Kind), Screws: []ScrewDoc{}, Dowels: dowels(j.Dowels), GlueMM2: round(j.GlueArea)}
		for _, s := range j.Screws {
			doc.Screws = append(doc.Screws, ScrewDoc{
				Size: s.Size, LengthMM: s.Length, Insert: s.Insert, Through: id(s.Through), Into: id(s.Into), Head: vec3(s.Head), Axis: vec3(s.Axis),
				GripMM: round(s.Grip), Engagement: round(s.Engagement), SunkMM: round(s.Sunk), Washer: s.Washer, Plug: s.Plug,
			})
		}
		d.Joints = append(d.Joints, doc)
	}
	for _, g := range p.Joints.Plugs {
		d.Plugs = append(d.Plugs, PlugDoc{g.ID, id(g.Member), p.Piece.Members[g.Member].Surfaces(chord)[g.Surface].Name, vec3(g.Center), vec3(g.Axis), round(g.Diameter), round(g.Depth)})
	}
	bore := func(b joint.Bore) {
		d.Bores = append(d.Bores, BoreDoc{b.ID, b.Of, id(b.Member), string(b.Purpose), vec3(b.Mouth), vec3(b.Axis), round(b.Diameter), round(b.Diameter + b.Fit), round(b.Depth), b.Shows})
	}
	for _, b := range p.Joints.Bores() {
		bore(b)
	}
	for _, s := range p.Seams.Seams {
		for _, b := range s.Bores {
			bore(b)
		}
	}
}

func dowels(ds []joint.Dowel) []DowelDoc {
	out := []DowelDoc{}
	for _, x := range ds {
		out = append(out, DowelDoc{x.Diameter, x.Length, vec3(x.Center), vec3(x.Axis), x.Glued, x.Printed})
	}
	return out
}

func describeCores(d *Document, p *plan.Plan, names Names) {
	d.Bodies = []BodyDoc{}
	for i, b := range p.Seams.Bodies {
		c := p.Seams.Counts[i]
		doc := BodyDoc{ID: b.ID, Members: []string{}, Segments: c.Segments, Least: c.Least(), Like: p.Seams.Bodies[c.Like].ID}
		for _, m := range b.Members {
			doc.Members = append(doc.Members, p.Piece.Members[m].ID)
		}
		d.Bodies = append(d.Bodies, doc)
	}
	d.Seams, d.Cuts, d.Segments, d.Plates = []SeamDoc{}, []CutDoc{}, []SegmentDoc{}, []PlateDoc{}
	for _, s := range p.Seams.Seams {
		doc := SeamDoc{ID: s.ID, Body: p.Seams.Bodies[s.Body].ID, Segments: s.Segments, Normal: vec3(s.Plane.Normal), Offset: round(s.Plane.D),
			AreaMM2: round(s.Area), Dowels: dowels(s.Dowels), Terms: []TermDoc{}}
		for _, t := range s.Terms {
			doc.Terms = append(doc.Terms, TermDoc{t.Name, round(t.Value), round(t.Measured), t.Unit})
		}
		d.Seams = append(d.Seams, doc)
	}
	for _, c := range p.Cores.Cuts {
		d.Cuts = append(d.Cuts, CutDoc{c.ID, p.Piece.Members[c.Member].ID, c.Purpose, c.Add})
	}
	plate := make([]string, len(p.Printing.Prints))
	for _, l := range p.Printing.Loads {
		doc := PlateDoc{ID: l.ID, File: names.Load(l.ID), Printer: l.Printer, Filament: l.Filament, Segments: []PlacedDoc{},
			MassG: round(l.Grams), Seconds: round(l.Seconds), Low: round(l.Low), High: round(l.High), HeightMM: round(l.Height),
			ReckonedS: round(l.Reckoned.Seconds), ReckonedG: round(l.Reckoned.Grams)}
		for _, it := range l.Items {
			plate[it.Print] = l.ID
			doc.Segments = append(doc.Segments, PlacedDoc{p.Printing.Prints[it.Print].Segment, round(it.At.X), round(it.At.Y), degrees(it.Turn)})
		}
		d.Plates = append(d.Plates, doc)
	}
	for i, pr := range p.Printing.Prints {
		s := p.Cores.Segments[i]
		b := p.Seams.Bodies[s.Body]
		d.Segments = append(d.Segments, SegmentDoc{
			ID: s.ID, Member: p.Piece.Members[b.Members[0]].ID, Body: b.ID, File: names.Segment(s.ID), Label: s.Label, BBoxMM: vec3(pr.Size),
			VolumeMM3: round(s.Volume), Scale: vec3(pr.Scale), MassG: round(pr.Grams), Metres: round(pr.Metres), Seconds: round(pr.Seconds), Layers: pr.Layers, Overhang: round(pr.Overhang),
			Pose: frame(pr.Pose), Plate: plate[i], Printer: pr.Printer, Filament: pr.Filament, Bounds: BoxDoc{vec3(s.Bounds.Min), vec3(s.Bounds.Max)},
		})
	}
}

func describeVeneer(d *Document, p *plan.Plan, names Names) {
	d.Laps, d.Patterns, d.Panels, d.Sheets = []LapDoc{}, []PatternDoc{}, []PanelDoc{}, []SheetDoc{}
	const chord = 0.1 // names only
	surface := func(m, s int) string { return p.Layout.Cores[m].Surfaces(chord)[s].Name }
	for _, l := range p.Layout.Laps {
		d.Laps = append(d.Laps, LapDoc{l.ID, p.Piece.Members[l.Member].ID, surface(l.Member, l.Surface), round(l.At), round(l.Length), l.Fingers, round(l.Finger),
			round(l.Pin), points(l.Pins), l.Relief, round(l.Feather)})
	}
	facing := "face up"
	if names.FaceDown {
		facing = "face down"
	}
	for i, pat := range p.Patterns {
		outline, holes := loops(pat.Gross)
		net, netHoles := loops(pat.Net)
		doc := PatternDoc{
			ID: pat.ID, Kind: string(pat.Kind), Veneer: pat.Veneer, Outline: outline, Holes: holes, NetOutline: net, NetHoles: netHoles,
			AreaMM2: round(pat.GrossArea), NetMM2: round(pat.NetArea), LengthMM: round(pat.Length), WidthMM: round(pat.Width), Grain: degrees(pat.Grain),
			Allowance: round(pat.Allowance), Facing: facing, Pins: points(pat.Pins), PinMM: round(pat.Pin), Fingers: pat.Fingers, Lap: pat.Lap,
			Set: pat.Set, SetOrder: pat.SetOrder, KnifeCut: pat.KnifeCut, CutInPlace: pat.CutInPlace, Release: pat.Release,
		}
		doc.Also = []string{}
		for _, a := range pat.Also {
			doc.Also = append(doc.Also, p.Piece.Members[a[0]].ID+"/"+surface(a[0], a[1]))
		}
		if pat.Member >= 0 {
			doc.Member = p.Piece.Members[pat.Member].ID
			doc.Surface = surface(pat.Member, pat.Surface)
		}
		if i < len(p.Sheets.Placements) && p.Sheets.Placements[i].Blank >= 0 {
			pl := p.Sheets.Placements[i]
			doc.Panel = p.Sheets.Blanks[pl.Blank].ID
			doc.X, doc.Y, doc.Rotation = round(pl.At.X), round(pl.At.Y), degrees(pl.Turn)
		}
		d.Patterns = append(d.Patterns, doc)
	}
	var kerf float64
	for _, l := range p.Shop.Lasers {
		if l.ID == p.Sheets.Laser {
			kerf = l.Kerf
		}
	}
	for _, b := range p.Sheets.Blanks {
		d.Panels = append(d.Panels, PanelDoc{
			ID: b.ID, Veneer: b.Veneer, Sheet: p.Sheets.Sheets[b.Sheet].ID, SheetX: round(b.At.X), SheetY: round(b.At.Y), WidthMM: round(b.Size.X), HeightMM: round(b.Size.Y),
			Grain: degrees(b.Grain), UsedMM2: round(b.Used), SVG: names.Blank(b.ID, "svg"), DXF: names.Blank(b.ID, "dxf"), ByKnife: b.ByKnife,
			GapMM: round(p.Sheets.Gap), KerfMM: round(kerf), BorderMM: round(p.Sheets.Border),
		})
	}
	for _, s := range p.Sheets.Sheets {
		doc := SheetDoc{ID: s.ID, Veneer: s.Veneer, WidthMM: s.Size.X, LengthMM: s.Size.Y, Kept: s.Kept, Reserved: []BoxDoc{}, Offcuts: []BoxDoc{}}
		if v, ok := p.Shop.Veneer(s.Veneer); ok {
			doc.Species = v.Species
		}
		for _, r := range s.Reserved {
			doc.Reserved = append(doc.Reserved, BoxDoc{vec2(r.At), vec2(r.At.Add(r.Size))})
		}
		for _, o := range s.Offcuts {
			doc.Offcuts = append(doc.Offcuts, BoxDoc{vec2(o.Min), vec2(o.Max)})
		}
		d.Sheets = append(d.Sheets, doc)
	}
}

// fileOnly is a file's name without the folder it lies in: a job is the same
// wherever it is planned.
func fileOnly(name string) string {
	if name == "" {
		return ""
	}
	return filepath.Base(name)
}

func describeVerdicts(d *Document, p *plan.Plan) {
	d.Findings, d.Cautions, d.Stability, d.Bill = []FindingDoc{}, []CautionDoc{}, []TipDoc{}, []BillDoc{}
	for _, f := range p.Findings {
		d.Findings = append(d.Findings, FindingDoc{f.Severity.String(), f.Stage, f.Code, f.Subject, f.Message, f.Remedy, f.Source, fileOnly(f.File), f.Line, append([]finding.Change{}, f.Changes...)})
		switch f.Severity {
		case finding.Stop:
			d.Totals.Stops++
		case finding.Warning:
			d.Totals.Warnings++
		default:
			d.Totals.Notes++
		}
	}
	for _, c := range p.Checks.Cautions {
		d.Cautions = append(d.Cautions, CautionDoc{c.Operation, c.Text, c.Source})
	}
	for _, t := range p.Checks.Tips {
		doc := TipDoc{Edge: [2]Vec{vec2(t.Edge[0]), vec2(t.Edge[1])}, Load: vec3(t.Load), OverhangMM: round(t.Overhang)}
		if !math.IsInf(t.Force, 1) {
			f := round(t.Force)
			doc.ForceN = &f
		}
		d.Stability = append(d.Stability, doc)
	}
	for _, l := range p.Bill.Lines {
		d.Bill = append(d.Bill, BillDoc{string(l.Section), l.Item, round(l.Quantity), l.Unit, round(l.Price), round(l.Cost), l.Remark()})
	}
	bought, _, returned := p.Sheets.Areas()
	t := &d.Totals
	t.Members, t.Segments, t.Seams, t.Plates = len(p.Piece.Members), len(p.Cores.Segments), len(p.Seams.Seams), len(p.Printing.Loads)
	t.Patterns, t.Panels, t.Sheets = len(p.Patterns), len(p.Sheets.Blanks), len(p.Sheets.Sheets)
	t.MassG, t.PrintedG, t.FilamentG = round(p.Checks.Mass), round(p.Bill.Grams), round(p.Bill.FilamentGrams)
	t.PrintS, t.PrintLowS, t.PrintHighS = round(p.Bill.PrintSeconds), round(p.Bill.PrintLow), round(p.Bill.PrintHigh)
	t.LaserS, t.LabourS, t.Cost = round(p.Bill.LaserSeconds), round(p.Bill.LabourSeconds), round(p.Bill.Cost)
	t.FixtureG, t.FixtureS, t.FixtureWS = round(p.Bill.FixtureGrams), round(p.Bill.FixturePrintSeconds), round(p.Bill.FixtureLabourSeconds)
	t.FixtureC = round(p.Bill.WithFixtures() - p.Bill.Cost)
	t.VeneerMM2, t.SheetMM2, t.OffcutMM2 = round(p.Bill.VeneerArea), round(bought), round(returned)
}
