package bill

import (
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Nothing is counted as 0 in silence: what has no price says so in its line, in the
// sums that are without it, and in one note.
func TestWhatHasNoPriceIsTold(t *testing.T) {
	all := func() Inputs {
		in := equipped()
		in.Layout = &veneer.Layout{Laps: []veneer.Lap{{ID: "lap", Pin: 1.2, Pins: make([]geom.Vec2, 6)}}}
		in.Fixtures.Fixtures = append(in.Fixtures.Fixtures, fixture.Fixture{ID: "coupon/strips", Kind: fixture.Coupon, Templates: []fixture.Template{{Material: "oak", Thickness: 0.8, Quantity: 1}}})
		in.Joints.Plugs = []joint.Plug{{Diameter: 12}}
		return in
	}
	for _, c := range []struct {
		name   string
		change func(*Inputs)
		want   []string // of the piece
	}{
		{"washers and pins", func(*Inputs) {}, []string{"M6 washer", "pin 1.2 mm"}},
		{"priced", func(in *Inputs) {
			in.Shop.Screws[0].WasherPrice = 0.02
			in.Shop.Pins = []shop.Pin{{Diameter: 1.6, Price: 0.03}, {Diameter: 1.2, Price: 0.01}}
		}, nil},
		{"another pin", func(in *Inputs) {
			in.Shop.Screws[0].WasherPrice = 0.02
			in.Shop.Pins = []shop.Pin{{Diameter: 1.6, Price: 0.03}}
		}, []string{"pin 1.2 mm"}},
		{"nobody's hours", func(in *Inputs) { in.Shop.Labour = 0 }, []string{"M6 washer", "pin 1.2 mm", "hours by hand"}},
		{"a spool, a sheet, glue and a laser", func(in *Inputs) {
			in.Shop.Filaments[0].SpoolPrice, in.Shop.Veneers[0].Price, in.Shop.Consumables[0].Price, in.Shop.Lasers[0].Price = 0, 0, 0, 0
		}, []string{"abs", "oak", "M6 washer", "pin 1.2 mm", "glue", "l"}},
		{"plugs that are printed with nothing", func(in *Inputs) { in.Fixtures, in.FixturePrinting = nil, nil }, []string{"M6 washer", "printed plug 12 mm", "pin 1.2 mm"}},
	} {
		in := all()
		c.change(&in)
		b := Make(in)
		if got := b.WithoutPrice(false); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q without a price, want %q", c.name, got, c.want)
		}
		boards := in.Fixtures != nil
		if got := b.WithoutPrice(true); boards && !slices.Contains(got, "scrap board, 18 mm") {
			t.Errorf("%s: of fixtures %q", c.name, got)
		}
		for _, l := range b.Lines {
			told := strings.Contains(l.Remark(), NoPrice)
			if told != l.Unpriced || l.Price == 0 && !told && l.Note != "its filament and printing are among the fixtures" && l.Note != "of what is left of a sheet" {
				t.Errorf("%s: %s costs %g: %q", c.name, l.Item, l.Cost, l.Remark())
			}
		}
		f := read(t, workbookOf(t, "A table", b, in))
		for first, fixtures := range map[string]bool{"The piece": false, "With fixtures": true} {
			if fixtures && !boards {
				continue
			}
			note, err := f.GetCellValue("Bill", at("G", rowOf(t, f, "Bill", first)))
			if err != nil {
				t.Fatal(err)
			}
			if lacks := b.Lacks(fixtures); !strings.Contains(note, lacks) || (lacks == "") != (len(c.want) == 0 && !(fixtures && boards)) {
				t.Errorf("%s: %s is told as %q, it is %q", c.name, first, note, lacks)
			}
		}
		if n := len(b.Findings); n != min(1, len(c.want)+len(b.WithoutPrice(true))) {
			t.Errorf("%s: %d findings", c.name, n)
		}
		for _, x := range b.Findings {
			if x.Severity != finding.Note || x.Remedy == "" || slices.ContainsFunc(c.want, func(item string) bool { return !strings.Contains(x.Message, item) }) {
				t.Errorf("%s: %+v", c.name, x)
			}
		}
	}
	in := all()
	in.Shop.Screws[0].WasherPrice, in.Shop.Pins = 0.02, []shop.Pin{{Diameter: 1.2, Price: 0.01}}
	b := Make(in)
	near(t, "two washers", line(t, b, "M6 washer").Cost, 0.04)
	near(t, "six pins", line(t, b, "pin 1.2 mm").Cost, 0.06)
}
