package veneer

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
)

// Widths seen on oval boxes. Box #1: band 38 mm wide and 381 mm long on a form
// of 290 mm perimeter (Popular Woodworking 165, 2007, p. 76); the count of
// fingers there is from memory of a chart, 2 or 3. Copper tacks have heads of
// 3 to 4.5 mm (from memory), holes of 1.2 to 1.6 mm (Popular Woodworking 135,
// 2003). The tip is "only slightly wider than the tack head" (same).
func TestOvalBoxes(t *testing.T) {
	for _, c := range []struct {
		box         string
		width       float64
		least, most int
	}{
		{"#0", 28.6, 2, 2}, {"#1", 38, 2, 3}, {"#2", 50.8, 3, 3}, {"#3", 63.5, 3, 3}, {"#4", 76.2, 4, 4},
	} {
		f := NewFingers(c.width, 3)
		if f.Count < c.least || f.Count > c.most {
			t.Errorf("%s: %d fingers, want %d to %d", c.box, f.Count, c.least, c.most)
		}
		near(t, c.box+": pitch", f.Pitch, c.width/float64(f.Count), 1e-12)
		if r := f.Root / f.Pitch; r < 0.75 || r > 0.85 {
			t.Errorf("%s: root %.2f of the pitch", c.box, r)
		}
		if r := f.Tip / 3; r < 1.3 || r > 1.6 {
			t.Errorf("%s: tip %.2f heads wide", c.box, r)
		}
		if r := f.Length / f.Pitch; r < 1.2 || r > 2 {
			t.Errorf("%s: fingers %.2f pitches long", c.box, r)
		}
		if a := f.Taper / deg; a < 8 || a > 14 {
			t.Errorf("%s: sides taper by %.1f degrees", c.box, a)
		}
		if f.Gap < 1 {
			t.Errorf("%s: gap's root %.2f mm", c.box, f.Gap)
		}
		plain := f.Lap(25) - f.Length
		if plain < 0.7*c.width-1e-9 || plain > 1.2*c.width+1e-9 {
			t.Errorf("%s: %.1f mm behind the fingers", c.box, plain)
		}
		// "30–45 mm on 40–75 mm bands": the box maker's look (no authority).
		if c.width >= 40 && c.width <= 75 && (f.Length < 25 || f.Length > 45) {
			t.Errorf("%s: fingers %.1f mm long", c.box, f.Length)
		}
	}
	// The box's own lap, band less perimeter less π t, is 381 − 290 − 5 = 86
	// mm; ours is shorter, since veneer on a core needs no clinched tacks.
	f := NewFingers(38, 3)
	if lap := f.Lap(25); lap < 60 || lap > 86 {
		t.Errorf("lap of box #1: %.1f mm", lap)
	}
}

func TestFingerOutline(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.Float64Range(5, 150).Draw(t, "width")
		head := rapid.Float64Range(1, 4).Draw(t, "head")
		f := NewFingers(w, head)
		p := f.Outline(0.5, 0.005)
		if p.Area() <= 0 {
			t.Fatal("the comb runs clockwise")
		}
		b := p.Bounds()
		if math.Abs(b.Max.X-f.Length) > 1e-6 || math.Abs(b.Min.Y) > 1e-9 || math.Abs(b.Max.Y-w) > 1e-6 {
			t.Fatalf("bounds %v of %+v", b, f)
		}
		// Mirrored about the middle, simple, and nowhere narrower towards the root.
		for _, q := range p {
			if d := p.Distance(geom.V2(q.X, w-q.Y)); d > 0.01 {
				t.Fatalf("not symmetrical at %v by %g", q, d)
			}
		}
		last := 0.0
		for i := range 40 {
			x := f.Length * (1 - (float64(i)+0.5)/40)
			// Wood across at x: measured by counting.
			var wood float64
			const n = 2000
			for k := range n {
				if p.Contains(geom.V2(x, w*(float64(k)+0.5)/n)) {
					wood += w / n
				}
			}
			if wood < last-3*w/n*float64(f.Count) {
				t.Fatalf("%+v: %.3f mm of wood at %.2f, %.3f nearer the tip", f, wood, x, last)
			}
			last = wood
		}
		for i, q := range f.Pins(f.Lap(25)) {
			if i < f.Count && !p.Contains(q) {
				t.Fatalf("pin %d at %v lies outside", i, q)
			}
		}
	})
}

// The outline has no kink other than where an outer side leaves the band's
// edge: fingers are arches, not saw teeth.
func TestFingersAreSmooth(t *testing.T) {
	for _, w := range []float64{20.6, 38, 70} {
		f := NewFingers(w, 3)
		p := f.Outline(0.5, 0.001)
		kinks := 0
		for i := range p {
			a, b, c := p[i], p[(i+1)%len(p)], p[(i+2)%len(p)]
			if b.X < 1e-9 && (b.Y < 1e-9 || b.Y > w-1e-9) || b.X < 0 {
				continue
			}
			d, e := b.Sub(a), c.Sub(b)
			if turn := math.Abs(math.Atan2(d.Cross(e), d.Dot(e))); turn > 8*deg {
				kinks++
				t.Logf("kink of %.1f degrees at %v", turn/deg, b)
			}
		}
		if kinks > 0 {
			t.Error(fmt.Sprintf("width %g: %d kinks", w, kinks))
		}
	}
}
