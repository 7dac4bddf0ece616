package veneer

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// TestTernLaps: equal spacing cannot keep the laps of the wall shelf's rim clear
// of its back and brackets, so they are moved one by one.
func TestTernLaps(t *testing.T) {
	p, j := example(t, "tern-wall-shelf")
	r := run(t, p, j.Contacts, j, exampleShop(), Options{})
	if f := r.has("lap-near-contact"); f != nil {
		t.Error(f)
	}
	var at []float64
	for _, l := range r.l.Laps {
		at = append(at, l.At)
		for _, c := range j.Contacts {
			for _, s := range []int{c.A.Member, c.B.Member} {
				if s != l.Member {
					continue
				}
				rim := r.l.Cores[l.Member].Surfaces(0)[l.Surface]
				for k := range 81 {
					u := math.Mod(l.At+l.Length*(float64(k)/80-0.5)+rim.Length, rim.Length)
					for _, v := range []float64{rim.Region.Bounds().Min.Y, rim.Region.Bounds().Max.Y} {
						q := r.l.Cores[l.Member].Place.Point(rim.Point(geom.V2(u, v)))
						if d := polygonDistance(q, c.Frame, c.Region); d < 30-0.05 {
							t.Fatalf("%s lies %.2f mm from %s", l.ID, d, c.ID)
						}
					}
				}
			}
		}
	}
	if len(at) != 3 || !slices.IsSorted(at) {
		t.Fatalf("laps at %v", at)
	}
	sum := 0.0
	for _, q := range r.patterns {
		if q.Lap == "" {
			continue
		}
		sum += q.Length
		if q.Gross.Bounds().Size().X > 600-10-0.15 {
			t.Errorf("%s is %.1f mm long", q.ID, q.Gross.Bounds().Size().X)
		}
	}
	// Together: P + π v, three laps, and what rides over them.
	rim := r.l.Cores[0].Surfaces(0)[2]
	want := rim.Length + math.Pi*0.8
	for _, l := range r.l.Laps {
		f := NewFingers(20, 2)
		want += f.Lap(25) + 0.8*turningBetween(&rim, l.At-l.Length/2, l.At+l.Length/2)
	}
	near(t, "length of the bands together", sum, want, 1e-3)
}

// TestOtterLegs: the joints of four splayed conical legs look inward, so that
// all four patterns are alike.
func TestOtterLegs(t *testing.T) {
	p, j := example(t, "otter-stool")
	r := run(t, p, j.Contacts, j, exampleShop(), Options{})
	first := r.by["leg-1/side-1"]
	for _, id := range []string{"leg-1", "leg-2", "leg-3", "leg-4"} {
		q := r.by[id+"/side-1"]
		near(t, id+": length", q.Length, first.Length, 1e-3)
		near(t, id+": net area", q.NetArea, first.NetArea, 1e-2)
		near(t, id+": grain along the axis", math.Abs(math.Cos(q.Grain)), 0, 1e-9)
		// Symmetrical about its middle ruling.
		apex := geom.Vec2{}.Rotate(q.Turn).Sub(q.Chart.Rotate(q.Turn))
		near(t, id+": apex over the middle", apex.X, q.Length/2, 0.02)
		// The gross pattern holds the net one, with 2 mm at both end cuts.
		for _, loop := range q.Net {
			for i, a := range loop {
				b := loop[(i+1)%len(loop)]
				mid := a.Lerp(b, 0.5)
				if math.Abs(b.Sub(a).Unit().X) < 0.5 { // a joint
					continue
				}
				up := mid.Sub(apex).Unit()
				for _, s := range []float64{-1.95, 1.95} {
					if beyond := mid.Add(up.Scale(s)); !q.Net.Contains(beyond) && !q.Gross.Contains(beyond) {
						t.Fatalf("%s: less than 2 mm beyond %v", id, mid)
					}
				}
			}
		}
	}
	for i, l := range r.l.Joints {
		if l.Kind != "butt" {
			continue
		}
		m := r.l.Cores[l.Member]
		if m.Turning == nil {
			continue
		}
		out := m.Place.Dir(geom.V3(math.Cos(l.At), math.Sin(l.At), 0))
		if at := m.Place.Point(geom.V3(0, 0, 200)); out.XY().Dot(at.XY()) >= 0 {
			t.Errorf("joint %d looks outward", i)
		}
	}
}

// TestSmallBeds tells when a leaf or a band cannot be made at all.
func TestSmallBeds(t *testing.T) {
	lay := func(s *shop.Shop, m piece.Member, rules ...piece.SurfaceRule) result {
		p := pieceOf(piece.CoreSize, m)
		p.Surfaces = rules
		l, err := Lay(context.Background(), testKernel(t), p, nil, nil, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return result{l: l, found: l.Findings}
	}
	small := func(x, y float64) *shop.Shop {
		s := testShop(x, y)
		for i := range s.Veneers {
			s.Veneers[i].Sheet = geom.V2(610, 2440)
		}
		return s
	}
	for _, c := range []struct {
		name   string
		got    result
		code   string
		sev    finding.Severity
		remedy string
	}{
		{"a round leaf on a bed of 100: divided", lay(small(100, 100), board("m", ellipse(90, 90), 19, lifted(300))), "leaf-divided", finding.Note, "tape the leaves together"},
		{"a leaf in more than 64 parts", lay(small(40, 40), board("m", ellipse(300, 300), 19, lifted(300))), "leaf-too-large", finding.Stop, "use a larger bed or sheet"},
		{"a bed with no room", lay(small(10, 10), board("m", ellipse(90, 90), 19, lifted(300))), "leaf-too-large", finding.Stop, "use a larger bed or sheet"},
		{"a rim wider than the bed", lay(small(200, 30), board("m", ellipse(150, 90), 300, lifted(300))), "band-too-wide", finding.Stop, "use a larger bed or sheet"},
		{"a lap longer than the bed", lay(small(45, 45), board("m", ellipse(150, 90), 19, lifted(300))), "lap-longer-than-bed", finding.Stop, "use a longer bed"},
		{"a lap that is needed and ruled out", lay(func() *shop.Shop { s := small(300, 200); s.Veneers[0].Sheet.Y = 700; return s }(),
			board("m", ellipse(150, 90), 19, lifted(300)), piece.SurfaceRule{Member: "m", Surface: "edges", Lap: "never"}), "lap-needed", finding.Stop, "allow a lap"},
	} {
		f := c.got.has(c.code)
		if f == nil {
			t.Errorf("%s: no %s among %v", c.name, c.code, c.got.found)
			continue
		}
		if f.Severity != c.sev || !strings.Contains(f.Remedy, c.remedy) {
			t.Errorf("%s: %v", c.name, f)
		}
	}
}

// TestFreeSide names gores: a sphere of radius R has Gaussian curvature 1/R²,
// so 0.5 % of strain allows a half width h = R √(2 · 0.005) = R/10, and
// 2 π R / (2 h) = 31.4 gores, rounded up.
func TestFreeSide(t *testing.T) {
	const r = 50.0
	zone := geom.Path{Segs: []geom.Seg{geom.ArcOf(geom.V2(0, 60), r, r, 0, -math.Pi/6, math.Pi/3)}}
	got := run(t, pieceOf(piece.CoreSize, turning("ball", zone, lifted(300))), nil, nil, testShop(600, 400), Options{})
	f := got.has("not-developable")
	if f == nil || f.Severity != finding.Warning || !strings.Contains(f.Remedy, "32 gores") {
		t.Errorf("%v", f)
	}
}
