package job

import (
	"time"

	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/schedule"
)

// describeFixtures tells what is made to make the piece with.
func describeFixtures(d *Document, p *plan.Plan, names Names) {
	d.Fixtures, d.Clamping, d.FixtureLoads = []FixtureDoc{}, []ClampDoc{}, []PlateDoc{}
	if p.Fixtures == nil {
		return
	}
	for _, f := range p.Fixtures.Fixtures {
		doc := FixtureDoc{
			ID: f.ID, Kind: string(f.Kind), Serves: list(f.Serves), Step: string(f.Step), Words: f.Words,
			Parts: []FixturePartDoc{}, Templates: []TemplateDoc{}, Clearances: []ClearanceDoc{},
		}
		for _, pt := range f.Parts {
			part := FixturePartDoc{
				ID: pt.ID, File: pt.File(), Filament: pt.Filament, Material: pt.Material, Quantity: pt.Quantity,
				AsDrawn: pt.Upright || pt.Fixed, Lies: []FrameDoc{},
			}
			if f.Kind != fixture.Coupon { // which lie nowhere
				for _, l := range pt.Lies {
					part.Lies = append(part.Lies, frame(l))
				}
			}
			doc.Parts = append(doc.Parts, part)
		}
		for _, t := range f.Templates {
			doc.Templates = append(doc.Templates, TemplateDoc{t.ID, t.File(), t.Material, round(t.Thickness), t.Quantity, t.Words})
		}
		for _, c := range f.Clearances {
			doc.Clearances = append(doc.Clearances, ClearanceDoc{c.Between, round(c.Gap), c.Why, c.Source})
		}
		d.Fixtures = append(d.Fixtures, doc)
	}
	drawn := map[string]string{}
	for _, c := range p.Fixtures.Clamping {
		if drawn[c.ID] = c.File(); c.Like != "" {
			drawn[c.ID] = drawn[c.Like]
		}
		doc := ClampDoc{
			ID: c.ID, Step: string(c.Step), Serves: list(c.Serves), Parts: list(c.Parts), Fixtures: list(c.Fixtures), Like: c.Like,
			Clamps: len(c.Presses), Drawing: drawn[c.ID], Scale: round(c.Scale), Words: list(c.Words), Closes: []CloseDoc{},
		}
		for _, cl := range c.Closes {
			doc.Closes = append(doc.Closes, CloseDoc{list(cl.Seams), round(cl.Force), round(cl.Area), round(cl.Least), round(cl.Most)})
		}
		d.Clamping = append(d.Clamping, doc)
	}
	if p.FixturePrinting == nil {
		return
	}
	for _, l := range p.FixturePrinting.Loads {
		doc := PlateDoc{
			ID: fixtureLoad(l.ID), File: names.FixtureLoad(l.ID), Printer: l.Printer, Filament: l.Filament, Segments: []PlacedDoc{},
			MassG: round(l.Grams), Seconds: round(l.Seconds), Low: round(l.Low), High: round(l.High), HeightMM: round(l.Height),
			ReckonedS: round(l.Reckoned.Seconds), ReckonedG: round(l.Reckoned.Grams),
		}
		for _, it := range l.Items {
			doc.Segments = append(doc.Segments, PlacedDoc{p.FixturePrinting.Prints[it.Print].Segment, round(it.At.X), round(it.At.Y), degrees(it.Turn)})
		}
		d.FixtureLoads = append(d.FixtureLoads, doc)
	}
}

// describeSchedule tells what is done when.
func describeSchedule(r *schedule.Result, names Names) *CalendarDoc {
	if r == nil {
		return nil
	}
	day := func(t time.Time, layout string) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(layout)
	}
	const minute = "2006-01-02T15:04"
	out := &CalendarDoc{
		Start: day(r.Start, time.DateOnly), Finish: day(r.Finish, minute), BeginS: round(r.Begin), EndS: round(r.End), LeastS: round(r.LowerBound), HandsS: round(r.HandsOn),
		Hours: []HoursDoc{}, Activities: []ActivityDoc{}, Critical: []CriticalDoc{}, Alternatives: []AlternativeDoc{}, Rests: list(r.Rests), Charts: []string{},
	}
	for _, w := range r.Open() {
		out.Hours = append(out.Hours, HoursDoc{round(w[0]), round(w[1])})
	}
	for _, a := range r.Activities {
		doc := ActivityDoc{
			ID: a.ID, Kind: string(a.Kind), Of: a.Of, StartS: round(a.Start), EndS: round(a.End), HandS: round(a.Hand), SlackS: round(a.Slack),
			Critical: a.Critical, Machine: a.Machine, After: []WaitDoc{}, Note: a.Note,
		}
		for _, w := range a.After {
			doc.After = append(doc.After, WaitDoc{w.On, round(w.Lag), w.Why})
		}
		out.Activities = append(out.Activities, doc)
	}
	for _, s := range r.Critical {
		out.Critical = append(out.Critical, CriticalDoc{s.Activity, s.Why, round(s.Wait)})
	}
	for _, a := range r.Alternatives {
		out.Alternatives = append(out.Alternatives, AlternativeDoc{a.What, round(a.End), day(a.Finish, minute)})
	}
	for i := range r.Charts("") {
		out.Charts = append(out.Charts, names.Chart(i))
	}
	return out
}

// describeKit tells how the piece is sent.
func describeKit(r *kit.Result, names Names) *KitDoc {
	if r == nil {
		return nil
	}
	out := &KitDoc{
		Split: string(r.Split), Revision: r.Revision, MassG: round(r.Mass()), Insert: list(r.Insert),
		Things: []ThingDoc{}, Parcels: []ParcelDoc{}, Hardware: []CountDoc{}, Spares: []SpareDoc{}, Prices: []PriceDoc{},
	}
	for _, t := range r.Things {
		out.Things = append(out.Things, ThingDoc{t.N, t.ID, string(t.Kind), list(t.Members), list(t.Segments), vec3(t.Size), round(t.Mass), t.Label, t.Note})
	}
	for _, q := range r.Parcels {
		doc := ParcelDoc{
			ID: q.ID, Box: q.Box, InsideMM: vec3(q.Inside), OutsideMM: vec3(q.Outside), Things: []int{}, MassG: round(q.Mass), GirthedMM: round(q.Girthed),
			Layers: q.Layers, PackingG: round(q.Packing), Follows: q.Follows, Drawing: names.Parcel(q.ID), Steps: list(q.Steps),
			Drop: DropDoc{round(q.Drop.Height1A), round(q.Drop.Height2A), q.Drop.Drops, q.Drop.Advice, q.Drop.Source},
		}
		for _, t := range q.Things {
			doc.Things = append(doc.Things, r.Things[t].N)
		}
		out.Parcels = append(out.Parcels, doc)
	}
	for _, h := range r.Hardware {
		out.Hardware = append(out.Hardware, CountDoc{h.Item, h.Quantity, round(h.Mass)})
	}
	for _, s := range r.Spares {
		out.Spares = append(out.Spares, SpareDoc(s))
	}
	if v := r.Veneer; v != nil {
		out.Veneer = &PileDoc{v.Blanks, vec2(geom.V2(v.Pile.X, v.Pile.Y)), round(v.Thickness), v.Rolled, round(v.Radius), round(v.Least)}
	}
	for _, pr := range r.Prices {
		doc := PriceDoc{Batch: pr.Batch, Lines: []PriceLineDoc{}, Cost: round(pr.Cost), Each: round(pr.Each), Total: round(pr.Total)}
		for _, l := range pr.Lines {
			doc.Lines = append(doc.Lines, PriceLineDoc{l.What, round(l.Each), l.Rests})
		}
		out.Prices = append(out.Prices, doc)
	}
	return out
}

// list is never null in JSON.
func list(s []string) []string { return append([]string{}, s...) }
