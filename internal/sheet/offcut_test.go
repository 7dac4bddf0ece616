package sheet

import (
	"fmt"
	"math"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// sound checks what has nothing to do with how a layout is made: blanks lie
// within their sheet, clear of one another and of its offcuts, and those clear of
// reserved areas; every piece of the shop is used once at the most.
func sound(t testing.TB, r *Result, s *shop.Shop) {
	t.Helper()
	on := make([][]geom.Box2, len(r.Sheets))
	for i, q := range r.Sheets {
		on[i] = append(on[i], q.Offcuts...)
		for _, o := range q.Offcuts {
			for _, k := range q.Reserved {
				if k.box().Grow(-2e-3).Overlaps(o) {
					t.Errorf("an offcut of %s at %v lies on a reserved area", q.ID, o)
				}
			}
		}
		for _, p := range r.Sheets[:i] {
			if p.ID == q.ID {
				t.Errorf("%s is cut up twice", q.ID)
			}
		}
		for _, v := range s.Veneers {
			for _, o := range v.Offcuts {
				if v.ID == q.Veneer && o.ID == q.Kept {
					if _, n, ok := sheetOf(v, q.ID); !ok || n > o.Count || q.Size != o.Size {
						t.Errorf("there is no %s of %v", q.ID, q.Size)
					}
				}
			}
		}
	}
	for i, b := range r.Blanks {
		box := geom.EmptyBox2().Add(r.OnSheet(i, geom.Vec2{})).Add(r.OnSheet(i, b.Size))
		q := r.Sheets[b.Sheet]
		if in := box.Grow(-2e-3); in.Min.X < q.Margin || in.Min.Y < q.Margin || in.Max.X > q.Size.X-q.Margin || in.Max.Y > q.Size.Y-q.Margin {
			t.Errorf("%s lies at %v on %s of %v", b.ID, box, q.ID, q.Size)
		}
		for _, o := range on[b.Sheet] {
			if o.Grow(-2e-3).Overlaps(box.Grow(-2e-3)) {
				t.Errorf("%s at %v meets %v, another blank or an offcut", b.ID, box, o)
			}
		}
		on[b.Sheet] = append(on[b.Sheet], box)
		bed := s.Lasers[0].Bed
		if !b.ByKnife && (b.Size.X > bed.X+1e-9 || b.Size.Y > bed.Y+1e-9) {
			t.Errorf("%s of %v does not go on the bed", b.ID, b.Size)
		}
	}
}

// counts are the sheets to be bought and the offcuts that are cut up.
func counts(r *Result) (bought, kept int) {
	for _, s := range r.Sheets {
		if s.Kept == "" {
			bought++
		} else {
			kept++
		}
	}
	return bought, kept
}

func TestOffcuts(t *testing.T) {
	leaves := func(n int, w, h, grain float64) (out []veneer.Pattern) {
		for i := range n {
			out = append(out, leaf(fmt.Sprintf("p%d", i), w, h, grain))
		}
		return out
	}
	set := func(ps []veneer.Pattern) []veneer.Pattern {
		for i := range ps {
			ps[i].Set, ps[i].SetOrder, ps[i].Chart = "door", i, geom.V2(0, ps[i].Width*float64(i))
		}
		return ps
	}
	piece := func(x, y float64) shop.Offcut { return shop.Offcut{ID: "a", Size: geom.V2(x, y), Count: 1} }
	named := func(id string, o shop.Offcut) shop.Offcut { o.ID = id; return o }
	of := func(n int, o shop.Offcut) shop.Offcut { o.Count = n; return o }
	priced := func(price float64, o shop.Offcut) shop.Offcut { o.Price = price; return o }
	knotted := func(o shop.Offcut, x, y, w, h float64) shop.Offcut {
		o.Reserved = append(o.Reserved, shop.Reserved{At: geom.V2(x, y), Size: geom.V2(w, h)})
		return o
	}
	band := func(id string, l float64) veneer.Pattern { p := leaf(id, l, 30, 0); p.KnifeCut = true; return p }
	frame := leaf("frame", 300, 250, 0) // round a hole of 100 x 100
	frame.Gross = append(frame.Gross, geom.Polygon{{X: 100, Y: 75}, {X: 100, Y: 175}, {X: 200, Y: 175}, {X: 200, Y: 75}})
	frame.GrossArea -= 1e4
	for _, c := range []struct {
		name         string
		patterns     []veneer.Pattern
		offcuts      []shop.Offcut
		kerf         float64
		o            Options
		bought, kept int
	}{
		{name: "blanks of a new sheet would be too long", patterns: leaves(4, 280, 90, 0), offcuts: []shop.Offcut{piece(400, 470)}, kept: 1},
		{name: "to the last micrometre", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{piece(400, 470)}, kept: 1},
		{name: "a hair too narrow", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{piece(399.99, 470)}, bought: 1},
		{name: "a hair too short", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{piece(400, 469.99)}, bought: 1},
		{name: "round a knot in the middle", patterns: leaves(4, 200, 150, 0), offcuts: []shop.Offcut{knotted(piece(400, 470), 190, 225, 20, 20)}, kept: 1},
		{name: "nothing goes round a knot in the middle", patterns: leaves(1, 300, 250, 0), offcuts: []shop.Offcut{knotted(piece(400, 470), 190, 225, 20, 20)}, bought: 1},
		{name: "a knot in a pattern's hole", patterns: []veneer.Pattern{frame}, offcuts: []shop.Offcut{knotted(piece(270, 320), 125, 150, 20, 20)}, kept: 1},
		{name: "a knot beside a pattern's hole", patterns: []veneer.Pattern{frame}, offcuts: []shop.Offcut{knotted(piece(270, 320), 125, 250, 20, 20)}, bought: 1},
		{name: "a band longer than the bed, and leaves", patterns: append(leaves(4, 280, 90, 0), band("band", 1300)), offcuts: []shop.Offcut{piece(60, 1400), named("b", piece(400, 470))}, kept: 2},
		{name: "a band longer than the bed, and leaves beside it", patterns: append(leaves(2, 380, 196, 0), band("band", 1300)), offcuts: []shop.Offcut{piece(430, 1400)}, kept: 1},
		{name: "a pattern in two set-ups, and leaves beside it", patterns: append(leaves(4, 280, 90, 0), leaf("long", 700, 30, 0)), offcuts: []shop.Offcut{piece(300, 720)}, kept: 1},
		{name: "a split all along", patterns: leaves(2, 440, 180, 0), offcuts: []shop.Offcut{knotted(piece(400, 470), 198, -5, 2, 500)}, kept: 1},
		{name: "knots all over", patterns: leaves(1, 100, 60, 0), offcuts: []shop.Offcut{knotted(piece(400, 470), 0, 0, 400, 470)}, bought: 1},
		{name: "two offcuts", patterns: leaves(2, 440, 280, 0), offcuts: []shop.Offcut{piece(300, 450), named("b", piece(290, 460))}, kept: 2},
		{name: "one of two, the small", patterns: leaves(1, 440, 280, 0), offcuts: []shop.Offcut{piece(600, 900), named("b", piece(290, 460))}, kept: 1},
		{name: "two offcuts and a sheet", patterns: leaves(3, 440, 280, 0), offcuts: []shop.Offcut{piece(300, 450), named("b", piece(290, 460))}, bought: 1, kept: 2},
		{name: "several alike", patterns: leaves(3, 440, 280, 0), offcuts: []shop.Offcut{of(3, piece(300, 450))}, kept: 3},
		{name: "several alike, and one too few", patterns: leaves(4, 440, 280, 0), offcuts: []shop.Offcut{of(3, piece(300, 450))}, bought: 1, kept: 3},
		{name: "more than there can be cells", patterns: leaves(mostCells+2, 90, 90, 0), offcuts: []shop.Offcut{of(1000, piece(100, 100))}, bought: 1, kept: mostCells},
		{name: "a matched set that fits two, but none whole", patterns: set(leaves(3, 300, 120, 0)), offcuts: []shop.Offcut{of(2, piece(265, 330))}, bought: 1},
		{name: "a matched set that fits one whole", patterns: set(leaves(3, 300, 120, 0)), offcuts: []shop.Offcut{piece(265, 330), named("b", piece(380, 330))}, kept: 1},
		{name: "larger than the bed both ways", patterns: leaves(4, 580, 380, 0), offcuts: []shop.Offcut{piece(900, 1300)}, kept: 1},
		{name: "larger than the bed, only the quarter turn goes", patterns: leaves(2, 380, 580, 0), offcuts: []shop.Offcut{piece(595, 800)}, kept: 1},
		{name: "larger than the bed, but for the saw's cut", patterns: leaves(2, 380, 580, 0), offcuts: []shop.Offcut{piece(595, 782)}, kerf: 3, bought: 1, kept: 1},
		{name: "larger than the bed with the saw's cut", patterns: leaves(2, 380, 580, 0), offcuts: []shop.Offcut{piece(595, 783)}, kerf: 3, kept: 1},
		{name: "the grain runs across the leaf", patterns: leaves(1, 390, 460, math.Pi/2), offcuts: []shop.Offcut{piece(400, 470)}, kept: 1},
		{name: "as large as the leaf, and the grain across", patterns: leaves(1, 460, 390, math.Pi/2), offcuts: []shop.Offcut{piece(400, 470)}, bought: 1},
		{name: "that costs nothing", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{priced(0, piece(400, 470))}, kept: 1},
		{name: "that costs half a sheet", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{priced(45, piece(400, 470))}, kept: 1},
		{name: "that costs as much as a sheet", patterns: leaves(1, 460, 390, 0), offcuts: []shop.Offcut{priced(90, piece(400, 470))}, bought: 1},
		{name: "two that cost more than a sheet together", patterns: leaves(2, 460, 390, 0), offcuts: []shop.Offcut{of(2, priced(50, piece(400, 470)))}, bought: 1},
		{name: "the marks' knots", patterns: leaves(4, 200, 150, 0), offcuts: []shop.Offcut{piece(400, 470)},
			o: Options{Reserved: []Reserved{{Sheet: "walnut-a-1", At: geom.V2(0, 0), Size: geom.V2(400, 50)}}}, kept: 1},
		{name: "beside what the marks keep", patterns: append(leaves(2, 280, 90, 0), leaf("kept", 200, 180, 0)), offcuts: []shop.Offcut{piece(400, 470)},
			o: Options{Keep: []Keep{{Veneer: "walnut", Size: geom.V2(210, 190), Sheet: "walnut-a-1", Pins: []Pin{{Pattern: "kept", At: geom.V2(5, 5)}}}}}, kept: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := testShop()
			s.Veneers[0].Price, s.Veneers[0].Offcuts, s.Veneers[0].BlankKerf, s.Veneers[1].BlankKerf = 90, c.offcuts, c.kerf, c.kerf
			r := planIn(t, s, c.patterns, c.o)
			sound(t, r, s)
			if bought, kept := counts(r); bought != c.bought || kept != c.kept || len(r.Findings) > 0 && codes(r.Findings) != "longer-than-bed" {
				t.Errorf("%d sheets and %d offcuts, want %d and %d: %+v, %v", bought, kept, c.bought, c.kept, r.Blanks, r.Findings)
			}
			for i, p := range c.patterns {
				if p.Set != "" && r.Placements[i].Blank != r.Placements[0].Blank {
					t.Errorf("%s lies on another blank than its set", p.ID)
				}
			}
			if len(c.o.Keep) == 0 {
				same(t, s, c.patterns, r)
			}
		})
	}
}

// same checks that a layout that is kept comes out as it is.
func same(t testing.TB, s *shop.Shop, ps []veneer.Pattern, r *Result) {
	t.Helper()
	o := Options{Reserved: r.Reserved}
	for i, b := range r.Blanks {
		k := Keep{Veneer: b.Veneer, Size: b.Size, GrainUp: b.Grain != 0, Sheet: r.Sheets[b.Sheet].ID, At: b.At}
		for _, p := range r.Placements {
			if p.Blank == i {
				k.Pins = append(k.Pins, Pin{Pattern: ps[p.Pattern].ID, At: p.At, Turn: p.Turn})
			}
		}
		o.Keep = append(o.Keep, k)
	}
	again := planIn(t, s, ps, o)
	if len(again.Findings) != len(r.Findings) || len(again.Blanks) != len(r.Blanks) {
		t.Errorf("kept, there are %d blanks, %v", len(again.Blanks), again.Findings)
		return
	}
	at := func(r *Result, i int) string {
		p := r.Placements[i]
		return fmt.Sprintf("%.4f %.4f on %s", r.OnSheet(p.Blank, p.At).X, r.OnSheet(p.Blank, p.At).Y, r.Sheets[r.Blanks[p.Blank].Sheet].ID)
	}
	for i := range r.Placements {
		if a, b := at(r, i), at(again, i); a != b {
			t.Errorf("%s lies at %s, kept at %s", ps[i].ID, a, b)
		}
	}
}

// Offcuts of any size with knots anywhere: what is laid on them holds, all is
// laid, and no more sheets are bought than without.
func TestRandomOffcuts(t *testing.T) {
	few(t, 40)
	used := 0
	rapid.Check(t, func(rt *rapid.T) {
		s := testShop()
		kerf := rapid.SampledFrom([]float64{0, 0, 2.5}).Draw(rt, "kerf")
		s.Veneers[0].BlankKerf, s.Veneers[1].BlankKerf = kerf, kerf
		s.Veneers[0].Sheet.Y = rapid.SampledFrom([]float64{2440, 700}).Draw(rt, "sheet")
		s.Veneers[0].Figure = rapid.SampledFrom([]string{"plain", "directional"}).Draw(rt, "figure")
		for i := range rapid.IntRange(1, 4).Draw(rt, "offcuts") {
			o := shop.Offcut{ID: string(rune('a' + i)), Count: rapid.SampledFrom([]int{1, 1, 2, 5}).Draw(rt, "count"),
				Size: geom.V2(rapid.Float64Range(20, 800).Draw(rt, "x"), rapid.Float64Range(20, 900).Draw(rt, "y"))}
			for range rapid.IntRange(0, 4).Draw(rt, "knots") {
				o.Reserved = append(o.Reserved, shop.Reserved{At: geom.V2(rapid.Float64Range(0, o.Size.X-1).Draw(rt, "x"), rapid.Float64Range(0, o.Size.Y-1).Draw(rt, "y")),
					Size: geom.V2(rapid.Float64Range(0.1, 90).Draw(rt, "w"), rapid.Float64Range(0.1, 90).Draw(rt, "h"))})
			}
			s.Veneers[0].Offcuts = append(s.Veneers[0].Offcuts, o)
		}
		var ps []veneer.Pattern
		for i := range rapid.IntRange(1, 8).Draw(rt, "n") {
			p := leaf(fmt.Sprintf("p%d", i), rapid.Float64Range(10, 380).Draw(rt, "w"), rapid.Float64Range(10, 380).Draw(rt, "h"), rapid.SampledFrom([]float64{0, math.Pi / 2, 1}).Draw(rt, "grain"))
			if p.Grain == 1 {
				p = leaf(p.ID, p.Length/2, p.Width/2, 1)
			}
			p.ShowFirst = rapid.Bool().Draw(rt, "show")
			ps = append(ps, p)
		}
		if rapid.Bool().Draw(rt, "band") {
			ps = append(ps, leaf("band", rapid.Float64Range(300, 680).Draw(rt, "l"), 30, 0))
			ps[len(ps)-1].KnifeCut = true
		}
		if rapid.Bool().Draw(rt, "set") {
			w, h := rapid.Float64Range(50, 380).Draw(rt, "w"), rapid.Float64Range(20, 120).Draw(rt, "h")
			for i := range 3 {
				p := leaf(fmt.Sprintf("door%d", i), w, h, 0)
				p.Set, p.SetOrder, p.Chart = "door", i, geom.V2(0, h*float64(i))
				ps = append(ps, p)
			}
		}
		o := Options{Iterations: 2, Lines: rapid.SampledFrom([]int{-1, -1, 400}).Draw(rt, "lines")}
		r := planIn(t, s, ps, o)
		sound(t, r, s)
		same(t, s, ps, r)
		bare := *s
		bare.Veneers = append([]shop.Veneer(nil), s.Veneers...)
		bare.Veneers[0].Offcuts = nil
		without := planIn(t, &bare, ps, o)
		b, k := counts(r)
		if n, _ := counts(without); b > n || len(r.Findings) > len(without.Findings) {
			rt.Fatalf("%d sheets are bought with offcuts, %d without; %v", b, n, r.Findings)
		}
		set := map[int]bool{}
		for i, p := range r.Placements {
			if (p.Blank < 0) != (without.Placements[i].Blank < 0) {
				rt.Fatalf("%s is left out: %v, %v", ps[i].ID, r.Findings, without.Findings)
			}
			if ps[i].Set != "" {
				set[p.Blank] = true
			}
		}
		if len(set) > 1 {
			rt.Fatalf("the set lies on %d blanks", len(set))
		}
		if again := planIn(t, s, ps, o); !cmp.Equal(r, again, cmp.AllowUnexported(Result{})) {
			rt.Fatalf("planned again it comes out otherwise")
		}
		used += k
		if t.Failed() {
			rt.Fatalf("failed with %+v", s.Veneers[0])
		}
	})
	if used == 0 {
		t.Error("no offcut was ever used")
	}
}
