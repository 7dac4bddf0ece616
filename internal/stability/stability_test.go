package stability

import (
	"math"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

func ring(n int, r float64) geom.Polygon {
	var p geom.Polygon
	for i := range n {
		p = append(p, geom.V2(r, 0).Rotate(2*math.Pi*float64(i)/float64(n)))
	}
	return p
}

func disc(diameter, height float64) Rim {
	return Rim{Name: "top", Region: geom.Polygons{ring(720, diameter/2)}, Height: height}
}

// newtons is a body of a weight, not a mass.
func newtons(support geom.Polygon, weight float64, center geom.Vec3) Body {
	return Body{Support: Hull(support), Mass: weight / Gravity * 1000, Center: center}
}

// The nearest tipping axis of n equal legs at floor radius R lies at
// r = R cos(180°/n) (trigonometry).
func TestAxisOfEqualLegs(t *testing.T) {
	for _, tt := range []struct {
		n    int
		want float64
	}{{3, 0.500}, {4, 0.7071}, {5, 0.8090}, {6, 0.8660}} {
		b := newtons(ring(tt.n, 1), 60, geom.Vec3{})
		if got := len(b.sides()); got != tt.n {
			t.Fatalf("%d legs: %d sides", tt.n, got)
		}
		for _, s := range b.sides() {
			if math.Abs(s.arm-tt.want) > 5e-5 || math.Abs(s.arm-math.Cos(math.Pi/float64(tt.n))) > 1e-12 {
				t.Errorf("%d legs: axis at %.6f, want %.4f", tt.n, s.arm, tt.want)
			}
		}
	}
}

// Weight 60 N, top 500 mm across, load 50 mm in, three legs at the radius given:
// F = W r/(x - r) with r = R/2 and x = 200, worked by hand.
func TestThreeLegsUnderATop(t *testing.T) {
	for _, tt := range []struct{ feet, force, printed float64 }{
		{200, 60, 0.5}, {250, 100, 0.5}, {300, 180, 0.5}, {308, 200.9, 0.05},
	} {
		b := newtons(ring(3, tt.feet), 60, geom.V3(0, 0, 400))
		w, ok := Worst(b.Tips([]Rim{disc(500, 600)}, Test{Down: 200, Inset: 50}))
		if !ok || math.Abs(w.Force-tt.force) > tt.printed || math.Abs(w.Force-60*tt.feet/2/(200-tt.feet/2)) > 1e-2 {
			t.Errorf("feet at %.0f mm: tips at %.4f N, want %.1f", tt.feet, w.Force, tt.force)
		}
		if math.Abs(w.Margin-w.Force/200) > 1e-9 || math.Abs(w.Overhang-(200-tt.feet/2)) > 1e-2 {
			t.Errorf("feet at %.0f mm: margin %.4f, overhang %.3f", tt.feet, w.Margin, w.Overhang)
		}
	}
}

// R needed = 2 F x/(F + W) for three legs: 307.7 mm for 200 N, 363.6 mm for 600 N.
func TestStanceThatThreeLegsNeed(t *testing.T) {
	for _, tt := range []struct{ down, radius float64 }{{200, 307.7}, {600, 363.6}} {
		for _, from := range []float64{150, 250, 300} {
			b := newtons(ring(3, from), 60, geom.V3(0, 0, 400))
			tests, rims := []Test{{Down: tt.down, Inset: 50}}, []Rim{disc(500, 600)}
			mm, ok := b.Wider(rims, tests)
			if !ok || math.Abs(from+mm-tt.radius) > 0.05 || math.Abs(from+mm-2*tt.down*200/(tt.down+60)) > 5e-3 {
				t.Errorf("%.0f N from %.0f mm: feet at %.3f mm, want %.1f", tt.down, from, from+mm, tt.radius)
			}
			if b.Spread(mm-0.1).Bears(rims, tests) || !b.Spread(mm+0.001).Bears(rims, tests) {
				t.Errorf("%.0f N: %.3f mm is not the least that bears it", tt.down, mm)
			}
		}
	}
	if mm, ok := newtons(ring(3, 400), 60, geom.Vec3{}).Wider([]Rim{disc(500, 600)}, []Test{{Down: 600, Inset: 50}}); !ok || mm != 0 {
		t.Errorf("feet far out: %.1f mm more", mm)
	}
}

// A push takes its share: F(x - r) + H z <= W r.
func TestPushTakesItsShare(t *testing.T) {
	b := newtons(ring(4, 260), 60, geom.V3(0, 0, 300)) // r = 183.85
	r := 260 * math.Cos(math.Pi/4)
	for _, h := range []float64{0, 5, 20, 40} {
		w, _ := Worst(b.Tips([]Rim{disc(500, 450)}, Test{Down: 100, Inset: 50, Out: h}))
		if want := max(0, (60*r-h*450)/(200-r)); math.Abs(w.Force-want) > 1 {
			t.Errorf("push %.0f N: %.2f N, want %.2f", h, w.Force, want)
		}
		if want := 60 * r / (100*(200-r) + h*450); math.Abs(w.Margin-want) > 1e-3*want {
			t.Errorf("push %.0f N: margin %.4f, want %.4f", h, w.Margin, want)
		}
	}
}

// Loads within the feet tip nothing, unless a push outdoes them.
func TestLoadWithinTheFeet(t *testing.T) {
	b := newtons(ring(4, 500), 60, geom.V3(0, 0, 300)) // r = 353.55
	rims := []Rim{disc(500, 450)}
	if w, _ := Worst(b.Tips(rims, Test{Down: 600, Inset: 50})); !math.IsInf(w.Force, 1) || !math.IsInf(w.Margin, 1) || w.Overhang >= 0 {
		t.Errorf("tips at %.1f N with margin %.2f", w.Force, w.Margin)
	}
	if w, _ := Worst(b.Tips(rims, Test{Down: 600, Inset: 50, Out: 20})); !math.IsInf(w.Margin, 1) {
		t.Errorf("margin %.2f: 600 N x 153 mm hold more than 20 N x 450 mm", w.Margin)
	}
	// 60 x 353.55 + 10 x 153.55 = 22 749 holds, 60 N x 450 mm = 27 000 tips.
	if w, _ := Worst(b.Tips(rims, Test{Down: 10, Inset: 50, Out: 60})); w.Force != 0 || w.Margin >= 1 {
		t.Errorf("tips at %.1f N with margin %.2f", w.Force, w.Margin)
	}
}

// A block of w by d and height h, its centre in the middle: on a slope it tips
// at atan(w/h) over its long side; pushed at its top by W w/(2 h) (statics).
func TestBlock(t *testing.T) {
	box := geom.Polygon{{X: -150, Y: -100}, {X: 150, Y: -100}, {X: 150, Y: 100}, {X: -150, Y: 100}}
	b := newtons(box, 80, geom.V3(0, 0, 250))
	way := b.Weakest()
	if math.Abs(way.X) > 1e-12 {
		t.Fatalf("weakest way %v", way)
	}
	for _, tt := range []struct {
		way         geom.Vec2
		reach, push float64
	}{
		{way, 100, 80 * 100.0 / 500},
		{geom.V2(1, 0), 150, 80 * 150.0 / 500},
		{geom.V2(1, 1), 100 * math.Sqrt2, 80 * 100 * math.Sqrt2 / 500},               // over the long side
		{geom.V2(150, 100), math.Hypot(150, 100), 80 * math.Hypot(150, 100) / 500},   // over the corner
		{geom.V2(3, 1), 150 * math.Sqrt(10) / 3, 80 * 150 * math.Sqrt(10) / 3 / 500}, // over the short side
	} {
		if got := b.Lean(tt.way); math.Abs(got-math.Atan(tt.reach/250)) > 1e-12 {
			t.Errorf("way %v: slope %.3f°, want %.3f°", tt.way, got*180/math.Pi, math.Atan(tt.reach/250)*180/math.Pi)
		}
		if got := b.Push(tt.way, 500); math.Abs(got-tt.push) > 1e-9 {
			t.Errorf("way %v: push %.3f N, want %.3f", tt.way, got, tt.push)
		}
	}
}

func TestDegenerateSupports(t *testing.T) {
	c := geom.V3(0, 0, 100)
	for _, tt := range []struct {
		name string
		feet []geom.Vec2
		want Stance
	}{
		{"none", nil, Nowhere},
		{"one", []geom.Vec2{{X: 3, Y: 4}}, OnPoint},
		{"one, twice", []geom.Vec2{{X: 3, Y: 4}, {X: 3, Y: 4}}, OnPoint},
		{"a speck", []geom.Vec2{{X: 0, Y: 0}, {X: 0.01, Y: 0}, {X: 0, Y: 0.01}}, OnPoint},
		{"two", []geom.Vec2{{X: -100, Y: 0}, {X: 100, Y: 0}}, OnLine},
		{"three in a line", []geom.Vec2{{X: -100, Y: -50}, {X: 0, Y: 0}, {X: 100, Y: 50}}, OnLine},
		{"in a line but for rounding", []geom.Vec2{{X: -100, Y: 0}, {X: 0, Y: 1e-6}, {X: 100, Y: 0}}, OnLine},
		{"beside", []geom.Vec2{{X: 10, Y: -50}, {X: 100, Y: -50}, {X: 100, Y: 50}, {X: 10, Y: 50}}, Topples},
		{"centre on the side", []geom.Vec2{{X: 0, Y: -50}, {X: 100, Y: -50}, {X: 100, Y: 50}, {X: 0, Y: 50}}, Topples},
		{"around", ring(3, 50), Stands},
		{"around, doubled and with points inside", append(append(ring(4, 50), ring(4, 50)...), ring(5, 20)...), Stands},
	} {
		b := newtons(Hull(tt.feet), 50, c)
		if got := b.Stance(); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
		if tt.want == Stands {
			continue
		}
		if b.Lean(geom.V2(1, 0)) != 0 || b.Push(geom.V2(1, 0), 100) != 0 || b.Margin(Force{}) != 0 || b.Bears(nil, nil) {
			t.Errorf("%s: something is borne", tt.name)
		}
	}
}

func TestHullDropsPointsOnItsSides(t *testing.T) {
	pts := []geom.Vec2{{X: 0, Y: 0}, {X: 1, Y: 0}, {X: 2, Y: 0}, {X: 2, Y: 2}, {X: 1, Y: 1}, {X: 0, Y: 2}, {X: 0, Y: 2}}
	if h := Hull(pts); len(h) != 4 || math.Abs(h.Area()-4) > 1e-12 {
		t.Errorf("hull %v", h)
	}
}

// body draws a body that stands, and a top over it.
func body(t *rapid.T) (Body, Rim) {
	num := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	var feet []geom.Vec2
	for i := range rapid.IntRange(3, 7).Draw(t, "feet") {
		feet = append(feet, geom.V2(num("radius", 80, 300), 0).Rotate(2*math.Pi*float64(i)/7+num("turn", 0, 0.5)))
	}
	b := newtons(Hull(feet), num("weight", 10, 200), geom.Vec3{})
	b.Center = geom.V3(b.Middle().X+num("cx", -20, 20), b.Middle().Y+num("cy", -20, 20), num("cz", 50, 500))
	var top geom.Polygon
	n := rapid.IntRange(3, 9).Draw(t, "corners")
	for i := range n {
		top = append(top, geom.V2(num("reach", 120, 400), 0).Rotate(2*math.Pi*float64(i)/float64(n)))
	}
	return b, Rim{"top", geom.Polygons{top}, num("height", 200, 800), 0}
}

// Whichever way the axes lie, the figures are the same.
func TestTurningChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, r := body(t)
		by, shift := rapid.Float64Range(0, 6.28).Draw(t, "by"), geom.V2(rapid.Float64Range(-500, 500).Draw(t, "x"), 70)
		turn := func(p geom.Vec2) geom.Vec2 { return p.Rotate(by).Add(shift) }
		c := turn(b.Center.XY())
		b2 := Body{Hull(b.Support.Map(turn)), b.Mass, geom.V3(c.X, c.Y, b.Center.Z)}
		r2 := r
		r2.Region = r.Region.Map(turn)
		test := Test{Down: 300, Inset: 50, Out: 15}
		w, ok := Worst(b.Tips([]Rim{r}, test))
		w2, ok2 := Worst(b2.Tips([]Rim{r2}, test))
		same := func(a, b float64) bool { return a == b || math.Abs(a-b) <= 1e-6*(1+math.Abs(a)) }
		if ok != ok2 || b.Stance() != b2.Stance() || !same(w.Margin, w2.Margin) {
			t.Fatalf("margin %.9g, turned %.9g; %s, %s", w.Margin, w2.Margin, b.Stance(), b2.Stance())
		}
		way := geom.V2(1, 0).Rotate(rapid.Float64Range(0, 6.28).Draw(t, "way"))
		if !same(b.Lean(way), b2.Lean(way.Rotate(by))) || !same(b.Push(way, 300), b2.Push(way.Rotate(by), 300)) {
			t.Fatal("lean or push changes with the axes")
		}
	})
}

// standsUnder asks the first principle: does weight and load together act
// through a point inside the hull?
func standsUnder(b Body, p geom.Vec2, f, h float64, u geom.Vec2, z float64) bool {
	w := b.Weight()
	at := b.Center.XY().Scale(w).Add(p.Scale(f)).Add(u.Scale(h * z)).Scale(1 / (w + f))
	for _, s := range b.sides() {
		if at.Sub(s.edge[0]).Dot(s.out) > 0 {
			return false
		}
	}
	return true
}

// Among 720 places round the edge times 72 ways of pushing none tips the piece
// that the sides say stands, and the place they name does tip it beyond the
// margin.
func TestEveryPlaceAndEveryWay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, r := body(t)
		if b.Stance() != Stands {
			return
		}
		test := Test{Down: rapid.Float64Range(0, 500).Draw(t, "down"), Inset: 40, Out: rapid.Float64Range(0, 60).Draw(t, "out")}
		w, ok := Worst(b.Tips([]Rim{r}, test))
		if !ok {
			t.Fatal("no place")
		}
		box := r.Region.Bounds()
		k := w.Margin * 0.999
		if math.IsInf(w.Margin, 1) {
			k = 1000
		}
		tried := 0
		for i := range 27 {
			for j := range 27 {
				p := geom.V2(box.Min.X+box.Size().X*float64(i)/26, box.Min.Y+box.Size().Y*float64(j)/26)
				if !r.Region.Contains(p) || r.Region.Distance(p) < test.Inset {
					continue
				}
				tried++
				for d := range 24 {
					if u := geom.V2(1, 0).Rotate(2 * math.Pi * float64(d) / 24); !standsUnder(b, p, k*test.Down, k*test.Out, u, r.Height) {
						t.Fatalf("at %v pushed along %v it tips under %.3f of the test, below its margin of %.3f", p, u, k, w.Margin)
					}
				}
			}
		}
		if !math.IsInf(w.Margin, 1) && w.Margin < 1e6 {
			u := w.Edge[1].Sub(w.Edge[0]).Right().Unit()
			if k := w.Margin * 1.001; standsUnder(b, w.Load.XY(), k*test.Down, k*test.Out, u, r.Height) {
				t.Fatalf("it stands beyond its margin of %.3f", w.Margin)
			}
		}
		if d := r.Region.Distance(w.Load.XY()); math.Abs(d-test.Inset) > 1e-6 && tried > 0 {
			t.Fatalf("the load stands %.3f mm from the edge", d)
		}
	})
}

// Every remedy, carried out, bears the test, and a little less does not.
func TestRemedies(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, r := body(t)
		rims, tests := []Rim{r}, []Test{{Down: rapid.Float64Range(50, 600).Draw(t, "down"), Inset: 50, Out: rapid.SampledFrom([]float64{0, 20}).Draw(t, "out")}}
		if b.Bears(rims, tests) {
			return
		}
		if mm, ok := b.Wider(rims, tests); ok {
			if !b.Spread(mm+1e-6).Bears(rims, tests) || b.Spread(mm-0.01).Bears(rims, tests) {
				t.Fatalf("feet %.4f mm farther are not just enough", mm)
			}
		} else if b.Spread(farthest).Bears(rims, tests) {
			t.Fatal("no stance found that bears it")
		}
		m := b.Middle()
		if g, ok := b.Ballast(geom.V3(m.X, m.Y, 0), rims, tests); ok {
			if !b.Ballasted(g*1.0001, geom.V3(m.X, m.Y, 0)).Bears(rims, tests) || b.Ballasted(g*0.999, geom.V3(m.X, m.Y, 0)).Bears(rims, tests) {
				t.Fatalf("%.1f g of ballast are not just enough", g)
			}
		} else {
			t.Fatal("ballast in the middle does not help")
		}
		if mm, ok := b.Smaller(rims, tests); ok {
			if !b.Bears([]Rim{r.cutBack(mm + 1e-6)}, tests) || b.Bears([]Rim{r.cutBack(mm - 0.01)}, tests) {
				t.Fatalf("a top %.4f mm smaller is not just enough", mm)
			}
		}
	})
}

func TestPlaces(t *testing.T) {
	square := func(a, b float64) geom.Polygon {
		return geom.Polygon{{X: a, Y: a}, {X: b, Y: a}, {X: b, Y: b}, {X: a, Y: b}}
	}
	for _, tt := range []struct {
		name  string
		rim   Rim
		inset float64
		want  geom.Box2
	}{
		{"square", Rim{Region: geom.Polygons{square(0, 300)}}, 50, geom.Box2{Min: geom.V2(50, 50), Max: geom.V2(250, 250)}},
		{"square with veneer on its edges", Rim{Region: geom.Polygons{square(0, 300)}, Grown: 0.8}, 50, geom.Box2{Min: geom.V2(49.2, 49.2), Max: geom.V2(250.8, 250.8)}},
		{"square with a hole", Rim{Region: geom.Polygons{square(0, 300), square(120, 180).Reversed()}}, 50, geom.Box2{Min: geom.V2(50, 50), Max: geom.V2(250, 250)}},
		{"too narrow: its middle", Rim{Region: geom.Polygons{{{X: 0, Y: 0}, {X: 300, Y: 0}, {X: 300, Y: 60}, {X: 0, Y: 60}}}}, 50, geom.Box2{Min: geom.V2(30, 30), Max: geom.V2(270, 30)}},
		{"on the very edge", Rim{Region: geom.Polygons{square(0, 300)}}, 0, geom.Box2{Min: geom.V2(0, 0), Max: geom.V2(300, 300)}},
		// The foot of the L keeps a place of its own.
		{"L", Rim{Region: geom.Polygons{{{X: 0, Y: 0}, {X: 400, Y: 0}, {X: 400, Y: 120}, {X: 120, Y: 120}, {X: 120, Y: 400}, {X: 0, Y: 400}}}}, 50, geom.Box2{Min: geom.V2(50, 50), Max: geom.V2(350, 350)}},
		// A neck narrower than two insets parts the rim, and both parts count.
		{"two heads and a neck", Rim{Region: geom.Polygons{{{X: 0, Y: 0}, {X: 200, Y: 0}, {X: 200, Y: 60}, {X: 400, Y: 60}, {X: 400, Y: 0}, {X: 600, Y: 0}, {X: 600, Y: 200}, {X: 400, Y: 200}, {X: 400, Y: 140}, {X: 200, Y: 140}, {X: 200, Y: 200}, {X: 0, Y: 200}}}}, 50, geom.Box2{Min: geom.V2(50, 50), Max: geom.V2(550, 150)}},
	} {
		box := geom.EmptyBox2()
		at := tt.rim.Places(tt.inset)
		for _, p := range at {
			box = box.Add(p)
		}
		if len(at) == 0 || box.Min.Dist(tt.want.Min) > 1e-6 || box.Max.Dist(tt.want.Max) > 1e-6 {
			t.Errorf("%s: %v, want %v", tt.name, box, tt.want)
		}
	}
	if at := (Rim{}).Places(50); at != nil {
		t.Errorf("places on nothing: %v", at)
	}
}

// A round top stays round: all places lie at its radius less the inset.
func TestPlacesOfADisc(t *testing.T) {
	for _, p := range disc(500, 0).Places(50) {
		if math.Abs(p.Len()-200) > 2e-3 {
			t.Fatalf("place %v at %.4f", p, p.Len())
		}
	}
}

// A force through Margin is the same as pressed and pushed on a rim.
func TestMarginOfAForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b, r := body(t)
		if b.Stance() != Stands {
			return
		}
		test := Test{Down: 200, Inset: 50, Out: 25}
		w, _ := Worst(b.Tips([]Rim{r}, test))
		u := w.Edge[1].Sub(w.Edge[0]).Right().Unit().Scale(25)
		if m := b.Margin(Force{At: w.Load, N: geom.V3(u.X, u.Y, -200)}); m != w.Margin && math.Abs(m-w.Margin) > 1e-9*m {
			t.Fatalf("margin %.9g, as a force %.9g", w.Margin, m)
		}
	})
}
