package shop

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"groundwork/internal/given"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// exampleText is the shop file of the library, with its comments.
func exampleText(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile("../../examples/shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func word(s string) given.Text { return given.Text{Value: s} }

func readings(v ...float64) []Reading {
	var out []Reading
	for _, x := range v {
		out = append(out, At(x))
	}
	return out
}

func steps(first, by, n float64) Steps { return Steps{First: At(first), By: At(by), Count: At(n)} }

// full is a form for the library's shop with everything in it, and nothing
// measured.
func full() *Measured {
	return &Measured{
		Groundwork: given.Number{Text: "1"},
		Shrink: []ShrinkReading{
			{Filament: word("abs"), DrawnX: At(200), DrawnY: At(200), DrawnZ: At(100), PrintedWith: readings(0, 0, 0)},
			{Filament: word("petg"), DrawnX: At(180), DrawnY: At(200), DrawnZ: At(100), PrintedWith: readings(0.004, 0.004, 0.002)},
		},
		Holes:    []HoleReading{{Drawn: At(6)}, {Drawn: At(8)}},
		Dowels:   []DowelReading{{Dowel: At(8), Steps: steps(8.1, 0.05, 16)}, {Dowel: At(8), Printed: given.Flag{Value: true}, Steps: steps(8.1, 0.05, 16)}},
		Inserts:  []InsertReading{{Insert: word("M5"), Steps: steps(6.15, 0.1, 8)}},
		Plugs:    []PlugReading{{Plug: At(15.8), Steps: steps(15.8, 0.1, 8)}},
		Kerfs:    []KerfReading{{Laser: word("laser"), Strips: At(10), Drawn: At(100)}},
		Bends:    []BendReading{{Veneer: word("walnut"), Grain: word("round"), Radii: readings(56, 48, 40, 32)}, {Veneer: word("walnut"), Grain: word("along"), Radii: readings(28, 24, 20)}},
		Neutrals: []NeutralRead{{Veneer: word("walnut")}},
	}
}

// places are no part of what a form says.
var placeless = cmp.Options{cmpopts.IgnoreTypes(given.Place{}), cmpopts.IgnoreFields(Measured{}, "File")}

// A form that is written and read again says the same, filled in or blank.
func TestFormIsRead(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := full()
		fill(t, m)
		got, err := ParseMeasured("coupons.yaml", m.Form())
		if err != nil {
			t.Fatalf("%v\n%s", err, m.Form())
		}
		if diff := cmp.Diff(m, got, placeless); diff != "" {
			t.Fatalf("%s\n%s", diff, m.Form())
		}
	})
}

// fill fills in some blanks, with what a careful shop could measure.
func fill(t *rapid.T, m *Measured) {
	put := func(r *Reading, lo, hi float64) {
		if rapid.Bool().Draw(t, "measured") {
			*r = At(math.Round(rapid.Float64Range(lo, hi).Draw(t, "reading")*100) / 100)
		}
	}
	number := func(r *Reading, lo, hi int) {
		if rapid.Bool().Draw(t, "measured") {
			*r = At(float64(rapid.IntRange(lo, hi).Draw(t, "number")))
		}
	}
	for i := range m.Shrink {
		e := &m.Shrink[i]
		least := rapid.SampledFrom([]float64{0.993, 0.9985}).Draw(t, "least") // the second beside fits
		put(&e.X, e.DrawnX.Value*least, e.DrawnX.Value)
		put(&e.Y, e.DrawnY.Value*least, e.DrawnY.Value)
		put(&e.Z, e.DrawnZ.Value*0.995, e.DrawnZ.Value)
	}
	for i := range m.Holes {
		put(&m.Holes[i].Measured, m.Holes[i].Drawn.Value-0.25, m.Holes[i].Drawn.Value-0.05)
	}
	for i := range m.Dowels {
		number(&m.Dowels[i].Glued, 4, 8)
		number(&m.Dowels[i].Loose, 8, 12)
	}
	number(&m.Inserts[0].Best, 2, 5)
	number(&m.Plugs[0].Best, 3, 6)
	put(&m.Kerfs[0].Measured, 97.5, 99)
	number(&m.Bends[0].Smallest, 1, 4)
	number(&m.Bends[1].Smallest, 1, 3)
	if rapid.Bool().Draw(t, "neutral") {
		d := rapid.Float64Range(99, 101).Draw(t, "drum")
		k := rapid.Float64Range(0.1, 0.7).Draw(t, "depth")
		g := rapid.Float64Range(-3, 3).Draw(t, "gap")
		read := func(v float64) Reading { return At(math.Round(v*100) / 100) }
		m.Neutrals[0].Drum, m.Neutrals[0].Gap, m.Neutrals[0].Strip = read(d), read(g), read(2*math.Pi*(d/2+k)-g)
	}
}

// noted is a shop with comments, lists and mappings written in several ways.
const noted = `# My shop
groundwork: 1
currency: EUR
printers:
  - {id: a, build: [220, 220, 250]}
filaments:
  - id: abs
    material: ABS       # the black one
    shrink: [0.0, 0, "0"]     # measure
  - {id: petg, material: PETG, shrink: [ 0.4 %, 0.4 %, 0.2 % ]}   # sums to nothing: [1, 2]
lasers:
  - id: laser
    bed: [600 mm, 400 mm]
    kerf: 0.15 mm       # ten strips
veneers:
  - id: walnut
    face: 0.5 mm
    backing: 0.25 mm
    adhesive: 0.05 mm
    sheet: [610 mm, 2440 mm]
    bend_along: 60      # grain round the curve
    bend_across: '30'
  - {id: ash, face: 0.5, backing: 0.25, adhesive: 0.05, sheet: [610, 2440]}
inserts:
  - {size: M4, hole: 5.6 mm, outer: 5.9 mm}
  - {size: M5, hole: 6.4 mm, outer: 6.7 mm, length: 9.5 mm}
dowels:
  - {diameter: 8 mm, length: 40 mm}
  - {diameter: 8 mm, length: 30 mm, printed: true}
# fits: {hole: 1}  an old line
fits:
  hole: 0.15 mm         # smaller than drawn
  glued_dowel: 0.25 mm
  loose_dowel: "0.3 mm"

  plug: 0.2 mm
`

// Applying a form twice is applying it once; what it does not name stays, to the
// byte: whole lines, and in the lines that change everything but the values.
func TestApplyTouchesNothingElse(t *testing.T) {
	text := []byte(noted)
	crlf := bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n"))
	rapid.Check(t, func(t *rapid.T) {
		m := full()
		fill(t, m)
		src := text
		if rapid.Bool().Draw(t, "crlf") {
			src = crlf
		}
		out, changes, err := Apply(src, m)
		if twice(m) {
			if err == nil || !strings.Contains(err.Error(), "count twice") || out != nil {
				t.Fatalf("shrinkage and fits at once: %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		again, more, err := Apply(out, m)
		if err != nil || len(more) > 0 || !bytes.Equal(again, out) {
			t.Fatalf("applied twice: %v %v", more, err)
		}
		// Undoing the changes in reverse, value by value, gives the old text, so
		// nothing else was touched. A key that was added is a line that was added.
		back := out
		for i := len(changes) - 1; i >= 0; i-- {
			c := changes[i]
			if c.From == "" {
				key := c.Pointer[strings.LastIndex(c.Pointer, "/")+1:]
				at := bytes.Index(back, []byte(key+": "+c.To))
				start, end := bytes.LastIndexByte(back[:at], '\n')+1, at+bytes.IndexByte(back[at:], '\n')+1
				back = append(append([]byte(nil), back[:start]...), back[end:]...)
				continue
			}
			if back, err = given.Edit(back, c.Pointer, c.From); err != nil {
				t.Fatal(err)
			}
		}
		if !bytes.Equal(back, src) {
			t.Fatalf("more was touched than %v", changes)
		}
		before, after := mustParse(t, src), mustParse(t, out)
		expect(t, before, m)
		if diff := cmp.Diff(before, after, cmpopts.EquateApprox(0, 1e-9)); diff != "" {
			t.Fatal(diff)
		}
	})
}

// twice reports whether a form changes the shrinkage of abs, 0 in the shop and when
// it was printed, by more than 0.2 %, and has fits besides.
func twice(m *Measured) bool {
	e := m.Shrink[0]
	over := func(drawn, got Reading) bool {
		return got.Read && math.Floor((1-got.Value/drawn.Value)*1e4+0.5+1e-6) > 20
	}
	fits := m.Inserts[0].Best.Read || m.Plugs[0].Best.Read
	for _, h := range m.Holes {
		fits = fits || h.Measured.Read
	}
	for _, d := range m.Dowels {
		fits = fits || d.Glued.Read || d.Loose.Read
	}
	return fits && (over(e.DrawnX, e.X) || over(e.DrawnY, e.Y))
}

func mustParse(t *rapid.T, text []byte) *Shop {
	s, err := Parse("shop.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// expect works a form into a shop by the formulas themselves.
func expect(t *rapid.T, s *Shop, m *Measured) {
	round := func(v, by float64) float64 { return math.Floor(v/by+0.5+1e-6) * by } // ties go up
	set := func(now *float64, v, step float64) {
		if math.Abs(*now-v) > step/2*(1+1e-9) {
			*now = v
		}
	}
	for _, e := range m.Shrink {
		for i := range s.Filaments {
			f := &s.Filaments[i]
			if f.ID != e.Filament.Value {
				continue
			}
			for _, a := range []struct {
				to           *float64
				drawn, found Reading
				with         float64
			}{{&f.Shrink.X, e.DrawnX, e.X, e.PrintedWith[0].Value}, {&f.Shrink.Y, e.DrawnY, e.Y, e.PrintedWith[1].Value}, {&f.Shrink.Z, e.DrawnZ, e.Z, e.PrintedWith[2].Value}} {
				if a.found.Read {
					sent := a.drawn.Value / (1 - a.with)
					set(a.to, round((sent-a.found.Value)/sent, 1e-4), 1e-4)
				}
			}
		}
	}
	sum, n := 0.0, 0.0
	for _, e := range m.Holes {
		if e.Measured.Read {
			sum, n = sum+e.Drawn.Value-e.Measured.Value, n+1
		}
	}
	hole := s.Fits.Hole
	if n > 0 {
		hole = round(sum/n, 0.01)
		set(&s.Fits.Hole, hole, 0.01)
	}
	gap := func(to *float64, pick func(DowelReading) Reading) {
		sum, n := 0.0, 0.0
		for _, e := range m.Dowels {
			if r := pick(e); r.Read {
				sum, n = sum+e.First.Value+(r.Value-1)*e.By.Value-hole-e.Dowel.Value, n+1
			}
		}
		if n > 0 {
			set(to, max(0, round(sum/n, 0.01)), 0.01)
		}
	}
	gap(&s.Fits.GluedDowel, func(e DowelReading) Reading { return e.Glued })
	gap(&s.Fits.LooseDowel, func(e DowelReading) Reading { return e.Loose })
	if e := m.Plugs[0]; e.Best.Read {
		set(&s.Fits.Plug, max(0, round(e.First.Value+(e.Best.Value-1)*e.By.Value-hole-e.Plug.Value, 0.01)), 0.01)
	}
	if e := m.Inserts[0]; e.Best.Read {
		for i := range s.Inserts {
			if s.Inserts[i].Size == "M5" {
				set(&s.Inserts[i].Hole, round(e.First.Value+(e.Best.Value-1)*e.By.Value-hole, 0.01), 0.01)
			}
		}
	}
	if e := m.Kerfs[0]; e.Measured.Read {
		set(&s.Lasers[0].Kerf, round((100-e.Measured.Value)/10, 1e-3), 0.005)
	}
	v := &s.Veneers[0] // walnut, a stack of 0.8 mm
	if e := m.Bends[0]; e.Smallest.Read {
		set(&v.BendAlong, []float64{70, 60, 50, 40}[int(e.Smallest.Value)-1], 0.1)
	}
	if e := m.Bends[1]; e.Smallest.Read {
		set(&v.BendAcross, []float64{35, 30, 25}[int(e.Smallest.Value)-1], 0.1)
	}
	if e := m.Neutrals[0]; e.Gap.Read {
		if k := round((e.Strip.Value+e.Gap.Value)/2/math.Pi-e.Drum.Value/2, 0.01); math.Abs(k-0.4) > 0.01*(1+1e-9) {
			v.Neutral = k
		}
	}
}

// A known shrinkage comes back out of bars that shrank by it, whatever the shop
// had entered when they were printed.
func TestShrinkComesBack(t *testing.T) {
	for _, with := range []float64{0, 0.004, 0.008} {
		m := &Measured{Shrink: []ShrinkReading{{Filament: word("asa"), DrawnX: At(200), DrawnY: At(200), DrawnZ: At(100), PrintedWith: readings(with, with, with)}}}
		sent := func(drawn float64) float64 { return drawn / (1 - with) }
		e := &m.Shrink[0]
		e.X, e.Y, e.Z = At(sent(200)*(1-0.0063)), At(sent(200)*(1-0.0058)), At(sent(100)*(1-0.0031))
		out, changes, err := Apply(exampleText(t), m)
		if err != nil || len(changes) != 3 {
			t.Fatal(changes, err)
		}
		if !bytes.Contains(out, []byte("shrink: [0.0063, 0.0058, 0.0031]                 # measure")) {
			t.Errorf("printed with %g: %v", with, changes)
		}
	}
}

// What the file leaves out is added.
func TestApplyAdds(t *testing.T) {
	m := full()
	m.Shrink, m.Dowels, m.Plugs = m.Shrink[:1], nil, nil
	m.Shrink[0].X, m.Shrink[0].Y = At(199.8), At(199.6)
	m.Holes[0].Measured = At(5.78)
	m.Inserts[0].Best = At(3)
	m.Kerfs[0].Measured = At(98.2)
	m.Bends[0].Smallest = At(1)
	out, changes, err := Apply([]byte(small), m)
	if err != nil {
		t.Fatal(err)
	}
	want := `groundwork: 1
currency: EUR
printers:
  - {id: a, build: [220, 220, 250]}
filaments:
  - {id: abs, material: ABS, shrink: [0.001, 0.002, 0]}
lasers:
  - {id: laser, bed: [600, 400], kerf: 0.180 mm}
veneers:
  - {id: walnut, face: 0.5, backing: 0.25, adhesive: 0.05, sheet: [610, 2440], bend_along: 70.0}
screws:
  - {size: M5}
inserts:
  - {size: M5, hole: 6.13 mm}
dowels:
  - {diameter: 8, length: 40}
`
	got := string(out)
	if !strings.Contains(got, "fits: {hole: 0.22 mm}\n") {
		t.Errorf("fits were not added:\n%s", got)
	}
	if got = strings.Replace(got, "fits: {hole: 0.22 mm}\n", "", 1); got != want {
		t.Error(cmp.Diff(want, got))
	}
	if len(changes) != 6 {
		t.Errorf("%d changes: %v", len(changes), changes)
	}
	if again, more, err := Apply(out, m); err != nil || len(more) > 0 || !bytes.Equal(again, out) {
		t.Errorf("applied twice: %v %v", more, err)
	}
}

// Nonsense is refused with its reason and its line, and nothing is changed.
func TestApplyRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		fill func(*Measured)
		want string
	}{
		{"a bar in cm", func(m *Measured) { m.Shrink[0].X = At(19.9) }, "would shrink by 90.05 % along x"},
		{"a bar that grew", func(m *Measured) { m.Shrink[0].Y = At(204) }, "would shrink by -2.00 % along y"},
		{"axes that disagree", func(m *Measured) { m.Shrink[0].X, m.Shrink[0].Y = At(199.9), At(196) }, "differ by more than a percent"},
		{"radius for diameter", func(m *Measured) { m.Holes[0].Measured = At(2.9) }, "a hole drawn at 6 mm measures 2.9 mm"},
		{"a hole too large", func(m *Measured) { m.Holes[0].Measured = At(6.3) }, "come out 0 to 0.6 mm small"},
		{"holes that disagree", func(m *Measured) { m.Holes[0].Measured, m.Holes[1].Measured = At(6), At(7.5) }, "differs by 0.5 mm among the coupons"},
		{"no such hole", func(m *Measured) { m.Dowels[0].Glued = At(17) }, "holes 1 to 16, and none 17"},
		{"half a hole", func(m *Measured) { m.Inserts[0].Best = At(2.5) }, "holes 1 to 8, and none 2.5"},
		{"a diameter for a number", func(m *Measured) { m.Plugs[0].Best = At(15.9) }, "none 15.9"},
		{"looser than glued", func(m *Measured) { m.Dowels[0].Glued, m.Dowels[0].Loose = At(9), At(5) }, "which is tighter than hole 9"},
		{"the insert falls through", func(m *Measured) { m.Inserts[0].Best = At(8) }, "would not hold insert M5"},
		{"no kerf", func(m *Measured) { m.Kerfs[0].Measured = At(100) }, "make a kerf of 0 mm"},
		{"a strip lost", func(m *Measured) { m.Kerfs[0].Measured = At(88) }, "make a kerf of 1.2 mm"},
		{"no such drum", func(m *Measured) { m.Bends[1].Smallest = At(4) }, "drums 1 to 3, and none 4"},
		{"above the stack", func(m *Measured) {
			m.Neutrals[0].Drum, m.Neutrals[0].Strip, m.Neutrals[0].Gap = At(100), At(320), At(0)
		}, "0.93 mm above the core"},
		{"half of a neutral", func(m *Measured) { m.Neutrals[0].Drum = At(100) }, "drum, strip and gap together"},
		{"shrinkage and fits at once", func(m *Measured) { m.Shrink[0].X, m.Plugs[0].Best = At(199), At(4) }, "changes by 0.50 %, which would count twice"},
		{"unknown filament", func(m *Measured) { m.Shrink[0].Filament = word("abz") }, `the shop has no filament "abz"`},
		{"unknown dowel", func(m *Measured) { m.Dowels[0].Dowel = At(12) }, "the shop has no dowel of 12 mm"},
		{"twice", func(m *Measured) { m.Shrink[1].Filament = word("abs") }, "stands in the form twice"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := full()
			c.fill(m)
			m, err := ParseMeasured("coupons.yaml", m.Form()) // for the lines
			if err != nil {
				t.Fatal(err)
			}
			out, changes, err := Apply(exampleText(t), m)
			var es Errors
			if !errors.As(err, &es) || out != nil || changes != nil {
				t.Fatalf("not refused: %v %v", changes, err)
			}
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("%v\nwant %q", err, c.want)
			}
			for _, e := range es {
				if e.Line == 0 || e.Remedy == "" || e.File != "coupons.yaml" {
					t.Errorf("no line or remedy: %v", e)
				}
			}
		})
	}
	if _, _, err := Apply([]byte("groundwork: 1\n"), full()); err == nil {
		t.Error("an unsound shop was changed")
	}
}

func TestParseMeasuredRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"":                                      "coupons.yaml",
		"[1]":                                   "is a mapping of keys",
		"groundwork: 2":                         "is not known to this program",
		"groundwork: 1\nholes: [{drawn: 6 kg}]": "a length or a plain number",
		"groundwork: 1\nholes: [{drawn: }]":     "the hole as drawn is missing",
		"groundwork: 1\nholes: [{drawn: -6}]":   "the hole as drawn is -6",
		"groundwork: 1\nholes: [{drawn: 6, measured: six}]": "no number",
		"groundwork: 1\nholes: [{drawn: 6, measured: [6]}]": "a number is wanted here",
		"groundwork: 1\nhole: []":                           "not known here",
	} {
		if _, err := ParseMeasured("coupons.yaml", []byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

func FuzzParseMeasured(f *testing.F) {
	f.Add(full().Form())
	f.Add([]byte("groundwork: 1\nkerfs:\n  - {laser: laser, strips: 10, drawn: 4 in, measured: 98.4}\n"))
	f.Add([]byte("groundwork: 1\nbends: [{veneer: walnut, grain: round, radii: [1e400]}]\n"))
	text := exampleText(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ParseMeasured("coupons.yaml", data)
		if err != nil {
			return
		}
		out, changes, err := Apply(text, m)
		if err != nil {
			if out != nil || changes != nil {
				t.Fatal("changed in spite of an error")
			}
			return
		}
		if _, err := Parse("shop.yaml", out); err != nil {
			t.Fatalf("%v\n%s", err, fmt.Sprint(changes))
		}
		if _, more, err := Apply(out, m); err != nil || len(more) > 0 {
			t.Fatalf("twice: %v %v", more, err)
		}
	})
}
