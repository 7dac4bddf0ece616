package sheet

import (
	"context"
	"math"
	"slices"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// told checks that the cuts of every sheet can be made one after the other and
// leave every blank and every offcut where it is said to lie, and nothing else
// but waste.
func told(t testing.TB, r *Result, v shop.Veneer) {
	t.Helper()
	for i, s := range r.Sheets {
		m := geom.V2(s.Margin, s.Margin)
		there := map[string]geom.Box2{"": {Min: m, Max: s.Size.Sub(m)}}
		got := map[string]geom.Box2{}
		offcuts := 0
		near := func(a, b geom.Box2) bool { return a.Min.Sub(b.Min).Len() < 2e-3 && a.Max.Sub(b.Max).Len() < 2e-3 }
		for _, c := range s.Cuts {
			of, ok := there[c.Of]
			if !ok || !near(of, c.On) {
				t.Fatalf("%s: cut %d of what is not there: %v", s.ID, c.N, c.On)
			}
			delete(there, c.Of)
			a, b := of, of
			if c.Along {
				a.Max.X, b.Min.X = of.Min.X+c.Where, math.Min(of.Max.X, of.Min.X+c.Where+v.BlankKerf)
			} else {
				a.Max.Y, b.Min.Y = of.Min.Y+c.Where, math.Min(of.Max.Y, of.Min.Y+c.Where+v.BlankKerf)
			}
			for y, box := range map[Yield]geom.Box2{c.Before: a, c.Beyond: b} {
				switch y.Is {
				case "":
					there[y.Name] = box
				case "offcut":
					offcuts++
					if !slices.ContainsFunc(s.Offcuts, func(o geom.Box2) bool { return near(o, box) }) {
						t.Errorf("%s: cut %d leaves an offcut %v that is not told of", s.ID, c.N, box)
					}
				case "waste", "nothing":
				default:
					got[y.Is] = box
				}
			}
		}
		if len(s.Cuts) > 0 && (len(there) > 0 || offcuts != len(s.Offcuts)) {
			t.Errorf("%s: left over %v; %d offcuts, %d told", s.ID, there, offcuts, len(s.Offcuts))
		}
		for _, b := range r.Blanks {
			if b.Sheet != i || len(s.Cuts) == 0 {
				continue
			}
			size := b.Size
			if b.Grain == 0 {
				size = geom.V2(size.Y, size.X)
			}
			if box := (geom.Box2{Min: b.At, Max: b.At.Add(size)}); !near(box, got[b.ID]) {
				t.Errorf("%s lies at %v but is cut at %v", b.ID, box, got[b.ID])
			}
		}
	}
}

func planWith(t testing.TB, v shop.Veneer, patterns []veneer.Pattern) *Result {
	t.Helper()
	s := testShop()
	v.ID = "walnut"
	s.Veneers[0] = v
	r, err := Plan(context.Background(), nil, patterns, s, Options{Lines: -1})
	if err != nil {
		t.Fatal(err)
	}
	told(t, r, v)
	return r
}

func TestStock(t *testing.T) {
	sheets := shop.Veneer{Sheet: geom.V2(610, 2440), EdgeMargin: 5, MinOffcut: geom.V2(100, 100), Figure: "plain", Price: 90}
	some := []veneer.Pattern{leaf("a", 300, 200, 0), leaf("b", 500, 150, 0), leaf("c", 250, 300, math.Pi/2)}
	with := func(change func(v *shop.Veneer)) shop.Veneer {
		v := sheets
		change(&v)
		return v
	}
	offcut := shop.Offcut{ID: "a", Size: geom.V2(400, 320), Count: 1}
	for _, c := range []struct {
		name     string
		v        shop.Veneer
		patterns []veneer.Pattern
		bought   int
		kept     int
	}{
		{"a sheet", sheets, some, 1, 0},
		{"an offcut is used first", with(func(v *shop.Veneer) { v.Offcuts = []shop.Offcut{offcut} }), some[:1], 0, 1},
		{"one that is too small is not", with(func(v *shop.Veneer) { v.Offcuts = []shop.Offcut{{ID: "a", Size: geom.V2(400, 305), Count: 3}} }), some[:1], 1, 0},
		{"the small one before the large one", with(func(v *shop.Veneer) {
			v.Offcuts = []shop.Offcut{{ID: "large", Size: geom.V2(600, 1200), Count: 1}, offcut}
		}), some[:1], 0, 1},
		{"a knot in its middle", with(func(v *shop.Veneer) {
			o := offcut
			o.Reserved = []shop.Reserved{{At: geom.V2(200, 150), Size: geom.V2(20, 20)}}
			v.Offcuts = []shop.Offcut{o}
		}), some[:1], 1, 0},
		{"a knot in its corner", with(func(v *shop.Veneer) {
			o := offcut
			o.Reserved = []shop.Reserved{{At: geom.V2(390, 310), Size: geom.V2(20, 20)}}
			v.Offcuts = []shop.Offcut{o}
		}), some[:1], 0, 1},
		{"two alike", with(func(v *shop.Veneer) { o := offcut; o.Count = 2; v.Offcuts = []shop.Offcut{o} }), []veneer.Pattern{leaf("a", 300, 390, 0), leaf("b", 300, 390, 0)}, 0, 2},
		{"dearer than a sheet", with(func(v *shop.Veneer) { o := offcut; o.Price = 200; v.Offcuts = []shop.Offcut{o} }), some[:1], 1, 0},
		{"cut by a saw", with(func(v *shop.Veneer) { v.BlankKerf = 3 }), some, 1, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := planWith(t, c.v, c.patterns)
			kept, sum := 0, 0.0
			for _, s := range r.Sheets {
				if s.Kept != "" {
					kept++
				}
			}
			for _, b := range r.Blanks {
				sum += b.Used
			}
			if kept != c.kept || len(r.Sheets)-kept != c.bought || len(r.Findings) > 0 {
				t.Errorf("%d offcuts and %d sheets, want %d and %d; findings %v", kept, len(r.Sheets)-kept, c.kept, c.bought, r.Findings)
			}
			bought, used, returned := r.Areas()
			usable := 600.0 * 2430 / (610 * 2440)
			if len(c.v.Offcuts) > 0 {
				usable = 1
			}
			if math.Abs(r.Bound()-sum/usable) > 1e-6 || used != sum || r.Bound() > bought-returned {
				t.Errorf("bound %.0f, used %.0f, consumed %.0f", r.Bound(), sum, bought-returned)
			}
		})
	}
}

// Strips that a kerf makes too many for one sheet.
func TestKerfOfBlanks(t *testing.T) {
	var ps []veneer.Pattern
	for i := range 4 { // four blanks, each as wide as half the sheet's usable part
		ps = append(ps, leaf(string(rune('a'+i)), 590, 290, 0))
	}
	v := shop.Veneer{Sheet: geom.V2(610, 1210), EdgeMargin: 5, MinOffcut: geom.V2(100, 100), Figure: "plain"}
	if r := planWith(t, v, ps); len(r.Sheets) != 1 {
		t.Errorf("%d sheets without a kerf", len(r.Sheets))
	}
	v.BlankKerf = 1
	if r := planWith(t, v, ps); len(r.Sheets) != 4 {
		t.Errorf("%d sheets with one", len(r.Sheets))
	}
}

// A band that no sheet is long enough for is told of, not laid beyond its end.
func TestKnifeCutLongerThanTheSheet(t *testing.T) {
	p := leaf("top/edge-1", 3000, 30, 0)
	p.KnifeCut = true
	r := plan(t, []veneer.Pattern{p}, Options{})
	if len(r.Findings) != 1 || r.Findings[0].Severity != finding.Stop || r.Findings[0].Subject != p.ID || len(r.Sheets) > 0 || r.Placements[0].Blank >= 0 {
		t.Errorf("sheets %v, findings %v", r.Sheets, r.Findings)
	}
}
