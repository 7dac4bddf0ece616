package veneer

import (
	"context"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/solid"
)

// TestFlushFacesCarryOneLeaf lays two planks of 200 and 150 by 100 mm end to
// end, printed as one.
func TestFlushFacesCarryOneLeaf(t *testing.T) {
	for _, sizes := range []piece.Sizes{piece.CoreSize, piece.Finished} {
		p := pieceOf(sizes, board("a", rectangle(200, 100), 20, at(0, 0, 300)), board("b", rectangle(150, 100), 20, at(200, 0, 300)))
		p.PrintAsOne = [][]int{{0, 1}}
		r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
		in := 0.0 // what the core lost on every side that shows
		if sizes == piece.Finished {
			in = 0.8
		}
		for _, name := range []string{"face", "back"} {
			leaf, ok := r.by["a/"+name]
			if _, twice := r.by["b/"+name]; !ok || twice {
				t.Fatalf("%s: patterns %s", sizes, r.ids())
			}
			near(t, name+": net length", leaf.Length, 350-2*in, 1e-6)
			near(t, name+": net width", leaf.Width, 100-2*in, 1e-6)
			near(t, name+": net area", leaf.NetArea, (350-2*in)*(100-2*in), 1e-3)
			near(t, name+": cut area", leaf.GrossArea, (354-2*in)*(104-2*in), 1e-3)
			if want := map[string]int{"back": 0, "face": 1}[name]; len(leaf.Also) != 1 || leaf.Also[0] != [2]int{1, want} {
				t.Errorf("%s also covers %v", name, leaf.Also)
			}
		}
		// Bands stay two, and meet without an allowance.
		a, b := r.by["a/edge-1"], r.by["b/edge-1"]
		near(t, "band of a", a.Length+b.Length, 350+map[bool]float64{true: 1.6 - 1.6, false: 1.6}[in > 0], 1e-6)
		near(t, "cut end of a at the joint", a.Gross.Bounds().Max.X-a.Net.Bounds().Max.X, 0, 1e-6)
		near(t, "cut start of b at the joint", b.Gross.Bounds().Min.X-b.Net.Bounds().Min.X, 0, 1e-6)
		near(t, "cut start of a", a.Net.Bounds().Min.X-a.Gross.Bounds().Min.X, 2, 1e-6)
		if r.has("one-leaf") == nil || r.has("flush-leaves") == nil {
			t.Errorf("findings: %v", r.found)
		}
		if len(r.l.Windows) > 0 {
			t.Errorf("windows: %+v", r.l.Windows)
		}
		onePiece(t, r, p)
	}
}

// TestGrainBoundary joins a rail to a leg, flush on both faces: the grain
// stands upright on the leg and lies on the rail.
func TestGrainBoundary(t *testing.T) {
	leg := board("leg", rectangle(60, 300), 20, at(0, 0, 300))
	rail := board("rail", rectangle(200, 60), 20, at(60, 200, 300))
	p := pieceOf(piece.CoreSize, leg, rail)
	p.PrintAsOne = [][]int{{0, 1}}
	r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	l, ra := r.by["leg/face"], r.by["rail/face"]
	near(t, "leg", l.NetArea, 60*300, 1e-3)
	near(t, "rail", ra.NetArea, 200*60, 1e-3)
	near(t, "rail: no allowance at the joint", ra.Net.Bounds().Min.X-ra.Gross.Bounds().Min.X, 0, 1e-6)
	near(t, "rail: allowance at its end", ra.Gross.Bounds().Max.X-ra.Net.Bounds().Max.X, 2, 1e-6)
	// The leg's leaf has none over the 60 mm of the joint, and 2 mm elsewhere:
	// the corners of a notch follow the borders that have an allowance.
	near(t, "leg: cut area", l.GrossArea, 64*304-2*60, 1e-3)
	for _, q := range []geom.Vec2{{X: 60, Y: 202.1}, {X: 60, Y: 230}, {X: 60, Y: 257.9}} {
		if d := l.Gross.Distance(q); d > 1e-6 {
			t.Errorf("the cut outline of the leg passes the joint at %v by %.3f mm", q, d)
		}
	}
	joints := 0
	for _, j := range r.l.Joints {
		if j.Kind == "edge to edge" && j.Member == 0 && j.Surface == 1 {
			joints++
			near(t, "the joint's line", math.Abs(j.Line.D), 60, 0.01)
		}
	}
	if joints != 1 {
		t.Errorf("joints %+v", r.l.Joints)
	}
	found := false
	for _, c := range r.l.Clears {
		found = found || c.Member == 0 && c.Distance == 25
	}
	if !found {
		t.Error("seams are not kept away from the joint")
	}
	onePiece(t, r, p)

	// The same grain on both, asked for: one leaf in the shape of an L.
	up := math.Pi / 2
	p.Surfaces = []piece.SurfaceRule{{Member: "rail", Surface: "faces", Grain: &up}}
	r = run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	near(t, "one leaf", r.by["leg/face"].NetArea, 60*300+200*60, 1e-3)
	if _, twice := r.by["rail/face"]; twice {
		t.Error("the rail has a leaf of its own")
	}
}

// TestChainOfFlushFaces joins three boards; the leaf bears the first one's name.
func TestChainOfFlushFaces(t *testing.T) {
	p := pieceOf(piece.CoreSize,
		board("a", rectangle(100, 80), 20, at(100, 0, 300)),
		board("b", rectangle(100, 80), 20, at(0, 0, 300)),
		board("c", rectangle(100, 80), 20, at(200, 0, 300)))
	p.PrintAsOne = [][]int{{0, 1, 2}}
	r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	near(t, "one leaf over three", r.by["a/face"].NetArea, 300*80, 1e-3)
	if got := fmt.Sprint(r.by["a/face"].Also); got != "[[1 1] [2 1]]" {
		t.Errorf("it also covers %s", got)
	}
	onePiece(t, r, p)
}

// TestCrossedBoards lays one board across another, both veneered and both going
// on beyond: with finished sizes both surfaces move in, and the core is filled
// between them.
func TestCrossedBoards(t *testing.T) {
	p := pieceOf(piece.Finished, board("low", rectangle(300, 80), 20, at(0, 0, 300)), board("high", rectangle(80, 300), 20, at(110, -110, 320)))
	p.PrintAsOne = [][]int{{0, 1}}
	r := run(t, p, contactsOf(t, p), nil, testShop(600, 400), Options{})
	fills := 0
	for _, c := range r.l.Cuts {
		if c.Add {
			fills++
		}
	}
	if fills != 1 {
		t.Errorf("%d fills", fills)
	}
	got := onePiece(t, r, p)
	low, _ := r.l.Cores[0].Volume()
	high, _ := r.l.Cores[1].Volume()
	// 80 - 1.6 mm square, as high as both stacks.
	near(t, "volume", got, low+high+78.4*78.4*1.6, 1)
	near(t, "window in the lower board", r.l.Windows[0].Region.Area(), 80.6*78.4, 1)
}

// onePiece checks that the cores of all members, with what is added to them,
// are one body, and returns its volume.
func onePiece(t *testing.T, r result, p *piece.Piece) float64 {
	t.Helper()
	var all []solid.Shape
	for _, m := range r.l.Cores {
		b, err := m.Body(0)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, b.At(m.Place))
	}
	for _, c := range r.l.Cuts {
		if c.Add {
			all = append(all, c.Shape)
		}
	}
	u, err := testKernel(t).Components(context.Background(), solid.Union(all...))
	if err != nil {
		t.Fatal(err)
	}
	if len(u) != 1 {
		t.Errorf("the cores of %d members fall into %d parts", len(p.Members), len(u))
		return 0
	}
	return u[0].Volume
}

// TestBadgerLeg: a leg and its cleat are one body. The leaf on the leg's back
// goes round the cleat and is cut to size there, since it cannot be laid under
// it and trimmed.
func TestBadgerLeg(t *testing.T) {
	p, j := example(t, "badger-bench")
	r := run(t, p, j.Contacts, j, exampleShop(), Options{})
	for _, jt := range j.Joints {
		if jt.Contact == "leg-1:cleat-1" || jt.Contact == "cleat-1:leg-1" {
			t.Errorf("%s joins members printed as one", jt.ID)
		}
	}
	// The leg is 220 by 356 mm, the cleat 180 by 36 at its top, the stretcher
	// 24 by 80; 0.3 mm of clearance, and the stretcher's own veneer.
	leaf := r.by["leg-1/back"]
	near(t, "net", leaf.NetArea, 220*356-180.6*36.3-(24+2*(0.8+0.3))*(80+2*(0.8+0.3)), 1)
	for _, q := range []geom.Vec2{{X: 19.7, Y: 340}, {X: 110, Y: 319.7}, {X: 200.3, Y: 340}} {
		if n, g := leaf.Net.Distance(q), leaf.Gross.Distance(q); n > 1e-6 || g > 1e-6 {
			t.Errorf("beside the cleat at %v the leaf ends %.3f mm off, its cut outline %.3f", q, n, g)
		}
	}
	if c := r.l.Coverings[member(t, p, "cleat-1")]; c[0].Stack+c[1].Stack != 0 {
		t.Errorf("cleat: %+v", c)
	}
	for _, g := range p.PrintAsOne {
		var all result
		l := *r.l
		l.Cores, l.Cuts = nil, nil
		for _, m := range g {
			l.Cores = append(l.Cores, r.l.Cores[m])
			for _, c := range r.l.Cuts {
				if c.Member == m {
					l.Cuts = append(l.Cuts, c)
				}
			}
		}
		all.l = &l
		onePiece(t, all, p)
	}
}

func member(t *testing.T, p *piece.Piece, id string) int {
	t.Helper()
	for i, m := range p.Members {
		if m.ID == id {
			return i
		}
	}
	t.Fatalf("no member %s", id)
	return -1
}

// TestAnyPairPrintedAsOne joins two boards of any size side by side, flush on
// both faces or on neither.
func TestAnyPairPrintedAsOne(t *testing.T) {
	k := testKernel(t)
	rapid.Check(t, func(rt *rapid.T) {
		mm := func(lo, hi int, name string) float64 { return float64(rapid.IntRange(lo, hi).Draw(rt, name)) }
		aw, ah := mm(60, 200, "width of a"), mm(60, 200, "height of a")
		bw, bh := mm(40, 200, "width of b"), mm(40, 200, "height of b")
		up := mm(int(10-bh), int(ah-10), "b starts at") // at least 10 mm touch
		thick := mm(12, 30, "thickness of b")
		p := pieceOf(rapid.SampledFrom([]piece.Sizes{piece.Finished, piece.CoreSize}).Draw(rt, "sizes"),
			board("a", rectangle(aw, ah), 20, at(0, 0, 300)), board("b", rectangle(bw, bh), thick, at(aw, up, 300)))
		p.PrintAsOne = [][]int{{0, 1}}
		p.Veneer.Order = rapid.SampledFrom([]string{"faces first", "edges first"}).Draw(rt, "order")
		s := testShop(600, 600)
		l, err := Lay(context.Background(), k, p, nil, nil, s, Options{})
		if err != nil {
			rt.Fatal(err)
		}
		ps, _, err := Patterns(context.Background(), k, p, l, nil, s, Options{})
		if err != nil {
			rt.Fatal(err)
		}
		for _, f := range Verify(p, l, ps, nil, s, Options{}) {
			rt.Error(f)
		}
		for _, f := range l.Findings {
			if f.Code == "flush-gap" {
				// Only where neither of the surfaces that meet lies within the other.
				if p.Sizes != piece.Finished || up >= 0 && up+bh <= ah && thick <= 20 {
					rt.Error(f)
				}
				return
			}
		}
		same := math.Abs(grainDirectionOf(l, 0, 0)-grainDirectionOf(l, 1, 0)) < 1e-9
		leaves := 0
		for _, q := range ps {
			if q.Surface == 0 && len(q.Also) > 0 {
				leaves++
			}
		}
		if (leaves == 1) != same {
			rt.Errorf("%d leaves over both backs, grain the same: %v", leaves, same)
		}
	})
}

func grainDirectionOf(l *Layout, member, surface int) float64 {
	return math.Abs(math.Cos(l.Coverings[member][surface].Grain))
}
