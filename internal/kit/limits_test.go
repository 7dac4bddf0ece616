package kit_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/kit"
	"groundwork/internal/printing"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/specimen"
)

func find(t *testing.T, r *kit.Result, code, message, remedy string) {
	t.Helper()
	for _, f := range r.Findings {
		if f.Code == code && strings.Contains(f.Message, message) && strings.Contains(f.Remedy, remedy) {
			return
		}
	}
	t.Errorf("no %s with %q and %q among %v", code, message, remedy, r.Findings)
}

// What comes apart, as the piece files say: what is glued or printed as one
// stays together.
func TestSubAssemblies(t *testing.T) {
	for name, want := range map[string][]string{
		"heron-side-table": {"top", "leg-1+leg-3+end-rail-1+foot-rail-1", "leg-2+leg-4+end-rail-2+foot-rail-2", "long-rail-1", "long-rail-2", "shelf", "hardware"},
		"otter-stool":      {"seat", "leg-1", "leg-2", "leg-3", "leg-4", "hardware"},
		"badger-bench":     {"plank", "leg-1+cleat-1", "leg-2+cleat-2", "stretcher", "hardware"},
	} {
		r := made(t, given(t, name), kit.Options{})
		var got []string
		for i, thing := range r.Things {
			got = append(got, thing.ID)
			if thing.N != i+1 || !strings.Contains(thing.Label, r.Revision) {
				t.Errorf("%s: label %q", thing.ID, thing.Label)
			}
		}
		slices.Sort(want)
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
}

// Everything that the bill weighs is in the kit, and what is beside it: spares,
// washers, keys, the box for them.
func TestMassesAgree(t *testing.T) {
	for _, name := range specimen.Names {
		in := given(t, name)
		r := made(t, in, kit.Options{})
		var parts float64
		for _, thing := range r.Things {
			if thing.Kind == kit.SubAssembly {
				parts += thing.Mass
			}
		}
		for _, c := range r.Hardware {
			if strings.Contains(c.Item, "screw") || strings.Contains(c.Item, "dowel") {
				parts += float64(c.Quantity) * c.Mass
			}
		}
		if want := in.Bill.Grams + in.Bill.VeneerMass + in.Bill.HardwareMass; math.Abs(parts-want) > 0.002*want {
			t.Errorf("%s: %.1f g, and %.1f g by the bill", name, parts, want)
		}
	}
}

func TestTooLong(t *testing.T) {
	in := given(t, "badger-bench")
	in.Shop.Parcels.Longest = 620
	r := made(t, in, kit.Options{})
	// The plank: 700 mm and its veneer, 3 mm of padding, 25 of cushion and 7 of
	// board at either end.
	find(t, r, "parcel-long", "plank", "in 2 parts with a knock-down joint")
	long := 0
	for _, q := range r.Parcels {
		if max(q.Outside.X, q.Outside.Y, q.Outside.Z) > 620 {
			long++
		}
	}
	if long != 1 {
		t.Errorf("%d parcels are too long, and one has to be", long)
	}
	// A shorter plank by the remedy goes.
	for _, f := range r.Findings {
		if f.Code == "parcel-long" {
			var most float64
			if _, err := fmt.Sscanf(f.Remedy, "Make it no longer than %f mm", &most); err != nil {
				t.Fatal(err)
			}
			if want := 620 - 2*(25+7+3.0); most != want {
				t.Errorf("%g mm are advised, want %g", most, want)
			}
		}
	}
}

func TestTooHeavy(t *testing.T) {
	in := given(t, "heron-side-table")
	in.Shop.Parcels.MaxMass = 2600
	r := made(t, in, kit.Options{})
	find(t, r, "parcel-heavy", "a parcel may weigh 2.6 kg", "parcels")
	if len(r.Parcels) < 2 {
		t.Error("all in one parcel")
	}
	// No part alone is so light.
	in.Shop.Parcels.MaxMass = 500
	r = made(t, in, kit.Options{})
	find(t, r, "parcel-heavy", "by itself", "less core fill")
}

func TestLifting(t *testing.T) {
	in := given(t, "badger-bench")
	in.Shop.LiftLimit = 4000
	r := made(t, in, kit.Options{})
	find(t, r, "lifting", "more than one person should lift", "parcels of at most")
	if !says(r.Insert, "two lift it") {
		t.Error("the insert sheet does not say who lifts it")
	}
}

func TestVeneerIsRolled(t *testing.T) {
	in := given(t, "tern-wall-shelf")
	flat := made(t, in, kit.Options{Split: kit.Leaves})
	if flat.Veneer == nil || flat.Veneer.Rolled {
		t.Fatalf("%+v", flat.Veneer)
	}
	// 1500 mm of length and girth hold no such pile flat, but a roll. The stack of
	// the shop's veneers is 0.8 mm, bending to 30 times that with the grain along
	// the axis and to 60 times round it.
	in.Shop.Parcels.LengthAndGirth = 1500
	r := made(t, in, kit.Options{Split: kit.Leaves})
	v := r.Veneer
	if v == nil || !v.Rolled {
		t.Fatalf("%+v %v", v, r.Findings)
	}
	var section float64
	for _, b := range in.Sheets.Blanks {
		ven, _ := in.Shop.Veneer(b.Veneer)
		least := ven.BendAlong * ven.Stack()
		around := math.Max(b.Size.X, b.Size.Y)
		alongX := math.Abs(math.Sin(b.Grain)) < 0.5
		around = b.Size.X
		if alongX == v.Along { // the roll's axis lies along X
			around = b.Size.Y
		}
		if v.Along {
			least = ven.BendAcross * ven.Stack()
		}
		if v.Radius < least {
			t.Errorf("rolled to %g mm, and %s bends to %g mm", v.Radius, b.ID, least)
		}
		section += around * (ven.Stack() + 0.1)
	}
	if got := math.Pi * (v.Outer*v.Outer - v.Radius*v.Radius); math.Abs(got-section) > 1e-6*section {
		t.Errorf("a ring of %g mm², and veneer of %g mm²", got, section)
	}
	if !says(r.Insert, "rolled on a tube") {
		t.Error("the insert sheet does not say that it is rolled")
	}
}

func TestVeneerCannotBeRolled(t *testing.T) {
	in := given(t, "tern-wall-shelf")
	in.Shop.Parcels.LengthAndGirth = 1100
	in.Shop.Veneers = slices.Clone(in.Shop.Veneers)
	for i := range in.Shop.Veneers {
		in.Shop.Veneers[i].BendAcross, in.Shop.Veneers[i].BendAlong = 200, 400
	}
	r := made(t, in, kit.Options{Split: kit.Leaves})
	find(t, r, "veneer-roll", "too large to be sent flat", "smaller blanks")
	in.Shop.Parcels.LengthAndGirth = 1700
	r = made(t, in, kit.Options{Split: kit.Leaves})
	find(t, r, "veneer-roll", "too large to be sent flat", "on blanks of at most")
}

func TestOwnBoxes(t *testing.T) {
	in := given(t, "heron-side-table")
	in.Shop.Parcels.Boxes = []shop.ParcelBox{
		{ID: "small", Inside: geom.V3(300, 200, 100)},
		{ID: "huge", Inside: geom.V3(900, 700, 500), Mass: 900, Price: 4},
		{ID: "right", Inside: geom.V3(700, 450, 170), Mass: 700, Price: 2.5},
	}
	in.Shop.Parcels.LengthAndGirth = 5000
	r := made(t, in, kit.Options{})
	if len(r.Parcels) != 1 || r.Parcels[0].Box != "right" || r.Parcels[0].Inside != geom.V3(700, 450, 170) {
		t.Errorf("%d parcels, %q", len(r.Parcels), r.Parcels[0].Box)
	}
	in.Shop.Parcels.Boxes = in.Shop.Parcels.Boxes[:1]
	if r = made(t, in, kit.Options{}); r.Parcels[0].Box != "" {
		t.Errorf("the table is in box %q", r.Parcels[0].Box)
	}
}

func TestGenericLimitsAreSaid(t *testing.T) {
	in := given(t, "heron-side-table")
	find(t, made(t, in, kit.Options{}), "generic-limits", "generic", "Ask who carries yours")
	in.Shop.Parcels.MaxMass = 30000
	if found(made(t, in, kit.Options{}), "generic-limits") {
		t.Error("the shop's own limits are called generic")
	}
}

// The revision is that of the parts: who does what, and what it costs, changes
// nothing; another piece, or a screw more, does.
func TestRevision(t *testing.T) {
	in := given(t, "heron-side-table")
	r := made(t, in, kit.Options{})
	in.Shop.Labour *= 2
	in.Shop.Parcels.Padding = 10
	if q := made(t, in, kit.Options{Split: kit.Cores}); q.Revision != r.Revision {
		t.Errorf("%s, want %s", q.Revision, r.Revision)
	}
	for _, c := range r.Revision {
		if !strings.ContainsRune("0123456789ABCDEF-", c) {
			t.Errorf("revision %q", r.Revision)
		}
	}
	joints := *in.Joints
	joints.Joints = slices.Clone(joints.Joints)
	for i := range joints.Joints {
		if n := len(joints.Joints[i].Bores); n > 0 {
			bores := slices.Clone(joints.Joints[i].Bores)
			bores[0].Depth += 0.001
			joints.Joints[i].Bores = bores
			break
		}
	}
	in.Joints = &joints
	if kit.Revision(in) == r.Revision {
		t.Error("a bore a micrometre deeper makes no other revision")
	}
	if kit.Revision(given(t, "otter-stool")) == r.Revision {
		t.Error("a stool has the revision of a table")
	}
}

func line(t *testing.T, p kit.Price, what string) float64 {
	t.Helper()
	for _, l := range p.Lines {
		if l.What == what {
			return l.Each
		}
	}
	t.Fatalf("no line %q in %+v", what, p)
	return 0
}

// Prices added up again from the bill.
func TestPrices(t *testing.T) {
	in := given(t, "heron-side-table")
	in.Shop.Parcels.BoardPrice, in.Shop.Parcels.SoftPrice = 1.5, 0.02
	sum := func(s bill.Section, items ...string) (v float64) {
		for _, l := range in.Bill.Lines {
			if l.Section == s && (len(items) == 0 || slices.Contains(items, l.Item)) {
				v += l.Cost
			}
		}
		return v
	}
	r := made(t, in, kit.Options{Batches: []int{1, 8, 1000}})
	one, eight, many := r.Prices[0], r.Prices[1], r.Prices[2]
	for what, want := range map[string]float64{
		"filament": sum(bill.Filament), "veneer": sum(bill.Veneer), "hardware": sum(bill.Hardware), "machines": sum(bill.Machine),
		"labour": sum(bill.Labour) - sum(bill.Labour, "assembly", "tightening again", "fitting plugs", "looking over and handing over"), "packing": 0.5 * in.Shop.Labour, "set-up": 2 * in.Shop.Labour,
		"made again": (sum(bill.Filament) + sum(bill.Veneer) + sum(bill.Machine) + sum(bill.Labour, "loading and clearing printers", "cutting blanks and tending the laser", "watching the laser")) * 5 / 95,
	} {
		if got := line(t, one, what); !near(got, want) {
			t.Errorf("%s: %g, want %g", what, got, want)
		}
	}
	if got, want := line(t, eight, "set-up"), 2*in.Shop.Labour/8; !near(got, want) {
		t.Errorf("set-up of eight: %g, want %g", got, want)
	}
	if line(t, eight, "veneer") > line(t, one, "veneer") || line(t, many, "veneer") > line(t, eight, "veneer")+1e-9 || many.Each >= eight.Each || eight.Each >= one.Each {
		t.Errorf("%g, %g, %g each", one.Each, eight.Each, many.Each)
	}
	// However many: no less than what is not an offcut.
	var used float64
	for _, s := range in.Sheets.Sheets {
		a := s.Size.X * s.Size.Y
		for _, o := range s.Offcuts {
			a -= o.Size().X * o.Size().Y
		}
		v, _ := in.Shop.Veneer(s.Veneer)
		used += a / (v.Sheet.X * v.Sheet.Y) * v.Price
	}
	if got := line(t, many, "veneer"); got < used-1e-9 || got > used*1.02 {
		t.Errorf("veneer of a thousand: %g each, %g used", got, used)
	}
	// Who does less asks less.
	cores, leaves := made(t, in, kit.Options{Split: kit.Cores}).Prices[0], made(t, in, kit.Options{Split: kit.Leaves}).Prices[0]
	if cores.Each >= one.Each || leaves.Each >= cores.Each {
		t.Errorf("%g ready, %g printed, %g veneer alone", one.Each, cores.Each, leaves.Each)
	}
	// Every line of labour is one that is known to be the buyer's or the seller's.
	for _, l := range in.Bill.Lines {
		if l.Section == bill.Labour && !slices.Contains([]string{"loading and clearing printers", "gluing seams", "setting inserts",
			"cutting blanks and tending the laser", "sanding and sealing cores", "laying veneer", "trimming", "finish sample", "finishing", "assembly",
			"dry fitting", "measuring and entering measures", "watching the laser", "gluing members", "sanding veneer", "tightening again", "fitting plugs", "looking over and handing over"}, l.Item) {
			t.Errorf("%s: whose work is it?", l.Item)
		}
	}
}

func TestMakeRefuses(t *testing.T) {
	in := given(t, "heron-side-table")
	for _, o := range []kit.Options{{Split: "all"}, {Batches: []int{0}}, {Batches: []int{-3}}, {Steps: -1}} {
		if _, err := kit.Make(t.Context(), in, o); err == nil {
			t.Errorf("%+v is accepted", o)
		}
	}
}

// Whatever the limits, every packing is sound.
func TestAnyLimits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		in := given(t, rapid.SampledFrom(specimen.Names).Draw(rt, "piece"))
		p := &in.Shop.Parcels
		p.Longest = rapid.SampledFrom([]float64{0, 400, 700, 1200}).Draw(rt, "longest")
		p.LengthAndGirth = rapid.Float64Range(900, 4000).Draw(rt, "girth")
		p.MaxMass = rapid.Float64Range(1000, 40000).Draw(rt, "mass")
		p.Padding = rapid.Float64Range(0, 15).Draw(rt, "padding")
		p.Cushion = rapid.Float64Range(0, 60).Draw(rt, "cushion")
		if rapid.Bool().Draw(rt, "box") {
			p.Boxes = []shop.ParcelBox{{ID: "a", Inside: geom.V3(rapid.Float64Range(300, 900).Draw(rt, "l"), rapid.Float64Range(200, 700).Draw(rt, "w"), rapid.Float64Range(100, 400).Draw(rt, "h"))}}
		}
		made(t, in, kit.Options{Split: rapid.SampledFrom(kit.Splits).Draw(rt, "split"), Steps: 300})
		if t.Failed() {
			rt.Fatal("see above")
		}
	})
}

// Fixtures are paid for once where they stay, with every kit where they are sent,
// and not at all where the buyer prints them.
func TestFixturesAreCharged(t *testing.T) {
	in := given(t, "otter-stool")
	b := *in.Bill
	b.CostBySection = []bill.SectionCost{{Section: bill.Fixtures, Cost: 40}}
	in.Bill = &b
	for split, want := range map[kit.Split][2]float64{kit.Ready: {40, 4}, kit.Cores: {40, 40}, kit.Leaves: {}} {
		r := made(t, in, kit.Options{Split: split, Batches: []int{1, 10}})
		for i, p := range r.Prices {
			got := 0.0
			for _, l := range p.Lines {
				if l.What == "fixtures" {
					got = l.Each
				}
			}
			if got != want[i] {
				t.Errorf("%s, one of %d: %g for fixtures, want %g", split, p.Batch, got, want[i])
			}
		}
	}
}

// Fixtures go with printed cores: small ones in one box, large ones by
// themselves, those of scrap board and what is hardware not at all.
func TestFixturesAreSent(t *testing.T) {
	block := func(x, y, z float64) *solid.Mesh {
		m := &solid.Mesh{Volume: x * y * z, Bounds: geom.Box3{Max: geom.V3(x, y, z)}}
		for i := range 8 {
			m.Vertices = append(m.Vertices, geom.V3(x*float64(i&1), y*float64(i>>1&1), z*float64(i>>2)))
		}
		return m
	}
	in := given(t, "otter-stool")
	in.Fixtures = &fixture.Result{Fixtures: []fixture.Fixture{
		{Kind: fixture.Caul, Parts: []fixture.Part{{ID: "caul/a", Mesh: block(200, 60, 30), Filament: "pla", Quantity: 2}, {ID: "caul/scrap", Material: "scrap board", Quantity: 1}}},
		{Kind: fixture.InsertGuide, Parts: []fixture.Part{{ID: "guide", Mesh: block(40, 40, 30), Filament: "pla", Quantity: 3}}},
		{Kind: fixture.Fence, Parts: []fixture.Part{{ID: "fence", Mesh: block(120, 15, 20), Filament: "pla", Quantity: 4}}},
		{Kind: fixture.PlugPart, Parts: []fixture.Part{{ID: "plug", Mesh: block(10, 10, 5), Filament: "abs", Quantity: 4}}},
		{Kind: fixture.Coupon, Parts: []fixture.Part{{ID: "coupon", Mesh: block(90, 40, 20), Filament: "abs", Quantity: 1}}},
	}}
	in.FixturePrinting = &printing.Result{Prints: []printing.Print{{Segment: "caul/a", Grams: 150}}}
	r := made(t, in, kit.Options{Split: kit.Cores})
	got := map[string]float64{}
	for _, thing := range r.Things {
		if thing.Kind == kit.Fixture {
			got[thing.ID] = thing.Mass
			if thing.ID == "fixtures" {
				own := 3*40*40*30 + 4*120*15*20.0
				if v := thing.Net.X * thing.Net.Y * thing.Net.Z; thing.Net.X < 120 || v < own/0.6 {
					t.Errorf("a box of %v for %g mm³", thing.Net, own)
				}
				// Solid, at 1.24 g/cm³, and their box.
				if plastic := own / 1000 * 1.24; thing.Mass < plastic || thing.Mass > plastic+100 {
					t.Errorf("%g g of small fixtures, and %g g of plastic", thing.Mass, plastic)
				}
			}
		}
	}
	if len(got) != 3 || got["caul/a"] != 150 || got["caul/a.2"] != 150 || got["fixtures"] == 0 {
		t.Errorf("%v", got)
	}
	for _, split := range []kit.Split{kit.Ready, kit.Leaves} {
		for _, thing := range made(t, in, kit.Options{Split: split}).Things {
			if thing.Kind == kit.Fixture {
				t.Errorf("%s: %s is sent", split, thing.ID)
			}
		}
	}
}
