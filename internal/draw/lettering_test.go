package draw

import (
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

const required = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-./+(): "

func TestAlphabetIsComplete(t *testing.T) {
	for _, r := range required {
		g, ok := letter(r)
		if !ok {
			t.Errorf("no letter %q", r)
			continue
		}
		if r != ' ' && len(g.strokes) == 0 {
			t.Errorf("letter %q has no strokes", r)
		}
		for _, s := range g.strokes {
			b := s.Bounds()
			if b.Min.X < -1e-9 || b.Min.Y < -1 || b.Max.Y > capUnits+0.6 {
				t.Errorf("letter %q leaves its box: %v", r, b)
			}
		}
		if strings.ContainsRune(required[:36], r) { // letters and figures stand on the line
			box := geom.EmptyBox2()
			for _, s := range g.strokes {
				box = box.Union(s.Bounds())
			}
			if math.Abs(box.Max.Y-capUnits) > 1e-9 || r != 'Q' && math.Abs(box.Min.Y) > 1e-9 {
				t.Errorf("letter %q reaches from %v to %v", r, box.Min.Y, box.Max.Y)
			}
		}
	}
}

// TestLettersDiffer compares letters as a reader does: every two of them must
// have a point of one that lies well away from the other when both are drawn in
// the same box.
func TestLettersDiffer(t *testing.T) {
	const grid = 0.55 // of a capital of 6; D and O, which differ in their corners, come nearest
	points := map[rune][]geom.Vec2{}
	for _, r := range strings.TrimSpace(required) {
		g, _ := letter(r)
		for _, s := range g.strokes {
			flat := s.Flatten(0.01)
			for i := 1; i < len(flat); i++ {
				for k := range 8 {
					points[r] = append(points[r], flat[i-1].Lerp(flat[i], float64(k)/7))
				}
			}
		}
	}
	far := func(a, b []geom.Vec2) float64 {
		worst := 0.0
		for _, p := range a {
			near := math.Inf(1)
			for _, q := range b {
				near = min(near, p.Dist(q))
			}
			worst = max(worst, near)
		}
		return worst
	}
	for _, a := range strings.TrimSpace(required) {
		for _, b := range strings.TrimSpace(required) {
			if a < b {
				if d := max(far(points[a], points[b]), far(points[b], points[a])); d < grid {
					t.Errorf("%q and %q differ by only %.2f of 6", a, b, d)
				}
			}
		}
	}
}

// TestRoundedCornersTouch checks that strokes have no kinks except where the
// drawing has a sharp corner, by the number of tangent breaks.
func TestRoundedCornersTouch(t *testing.T) {
	for r, drawing := range alphabet {
		g := glyphs[r]
		for i, s := range g.strokes {
			sharp := 0
			for _, w := range strings.Fields(strings.Split(drawing, ";")[i]) {
				if !strings.HasSuffix(strings.ToLower(w), "r") {
					sharp++
				}
			}
			kinks := 0
			var before geom.Vec2
			s.spans(func(a, b geom.Vec2, bulge float64) {
				half := 2 * math.Atan(bulge)
				dir := b.Sub(a).Unit()
				if before != (geom.Vec2{}) && before.Dot(dir.Rotate(-half)) < 1-1e-9 {
					kinks++
				}
				before = dir.Rotate(half)
			})
			if kinks > sharp-2 { // its two ends are not kinks
				t.Errorf("%q stroke %d: %d kinks with %d sharp points", r, i, kinks, sharp)
			}
		}
	}
}

// TestLetteringPlace moves a text and expects its strokes to move with it, its
// ink to fill the reported width, and the anchor to hold.
func TestLetteringPlace(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		text := rapid.StringOfN(rapid.SampledFrom([]rune(required[:36])), 1, 12, -1).Draw(rt, "text")
		h := rapid.Float64Range(1, 20).Draw(rt, "height")
		at := geom.V2(rapid.Float64Range(-100, 100).Draw(rt, "x"), rapid.Float64Range(-100, 100).Draw(rt, "y"))
		angle := rapid.Float64Range(-4, 4).Draw(rt, "angle")
		anchor := Anchor(rapid.IntRange(0, 2).Draw(rt, "anchor"))
		paths, err := Lettering(Text{At: at, Height: h, Angle: angle, Anchor: anchor, String: text})
		if err != nil {
			rt.Fatal(err)
		}
		box := geom.EmptyBox2()
		for _, p := range paths {
			back := p.Map(func(v geom.Vec2) geom.Vec2 { return v.Sub(at).Rotate(-angle) }, false)
			box = box.Union(back.Bounds())
		}
		w := LetteringWidth(text, h)
		left := -w * float64(anchor) / 2
		// Some letters begin a little right of their left edge.
		if box.Min.X < left-1e-6 || box.Min.X > left+0.1*h || math.Abs(box.Max.X-left-w) > 1e-6 {
			rt.Errorf("%q from %v to %v, want %v to %v", text, box.Min.X, box.Max.X, left, left+w)
		}
		if math.Abs(box.Max.Y-h) > 1e-6 {
			rt.Errorf("%q is %v high, want %v", text, box.Max.Y, h)
		}
	})
}

func TestLetteringRefuses(t *testing.T) {
	if _, err := Lettering(Text{Height: 5, String: "A?"}); err == nil || !strings.Contains(err.Error(), "'?'") {
		t.Errorf("unknown character: %v", err)
	}
	if _, err := Lettering(Text{String: "A"}); err == nil {
		t.Error("no height was accepted")
	}
	lower, _ := Lettering(Text{Height: 5, String: "ab–×"})
	upper, _ := Lettering(Text{Height: 5, String: "AB-X"})
	if len(lower) == 0 || len(lower) != len(upper) {
		t.Errorf("small letters: %d strokes, capitals %d", len(lower), len(upper))
	}
}

// TestCapsules draws points near a path and expects those within the tool's
// radius to be covered and those beyond it not to be.
func TestCapsules(t *testing.T) {
	const width, tolerance = 0.8, 0.01
	paths, err := Lettering(Text{Height: 6, String: "R8:G"})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range paths {
		fine := p.Flatten(1e-5)
		capsules := p.Capsules(width, tolerance)
		for _, c := range capsules {
			if c.Area() <= 0 {
				t.Fatalf("a capsule has area %v", c.Area())
			}
		}
		rapid.Check(t, func(rt *rapid.T) {
			i := rapid.IntRange(0, len(fine)-1).Draw(rt, "point")
			q := fine[i].Add(geom.V2(rapid.Float64Range(0, 1).Draw(rt, "off"), 0).Rotate(rapid.Float64Range(0, 6.3).Draw(rt, "angle")))
			d := math.Inf(1)
			for k := 1; k < len(fine); k++ {
				d = min(d, geom.SegmentDistance(q, fine[k-1], fine[k]))
			}
			covered := false
			for _, c := range capsules {
				covered = covered || c.Contains(q)
			}
			if d < width/2-2*tolerance && !covered || d > width/2+2*tolerance && covered {
				rt.Errorf("%v is %v from the path; covered: %v", q, d, covered)
			}
		})
	}
	if got := Line(geom.V2(0, 0), geom.V2(10, 0)).Capsules(2, 1e-4)[0].Area(); math.Abs(got-20-math.Pi) > 1e-3 {
		t.Errorf("a capsule of 10 x 2 has area %v", got)
	}
}
