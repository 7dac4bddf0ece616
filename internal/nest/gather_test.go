package nest

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"groundwork/internal/geom"

	"pgregory.net/rapid"
)

// lightest is the bin with the least on it, and what share of it is used along its
// longer side: the rest is offcut.
func lightest(l *Layout, bins []Bin) (least BinUse, reach float64) {
	least = l.Bins[0]
	for _, u := range l.Bins {
		if u.Area < least.Area {
			least = u
		}
	}
	for _, b := range bins {
		if b.ID == least.ID {
			reach = least.Extent.Max.X / b.Size.X
			if b.Size.Y > b.Size.X {
				reach = least.Extent.Max.Y / b.Size.Y
			}
		}
	}
	return least, reach
}

// Published outlines on square bins: separation needs fewer bins than the search
// over orders, or at least less of the last one, and two runs are the same.
func TestGatherClassic(t *testing.T) {
	for _, c := range []struct {
		name  string
		side  float64
		fewer bool
	}{
		{"shirts", 20, true}, {"albano", 5000, true}, {"trousers", 79, true}, {"swim", 3000, false},
	} {
		_, items := readInstance(t, c.name)
		bins := []Bin{{ID: "bin", Size: v2(c.side, c.side), Quantity: Unlimited}}
		plain := mustPack(t, items, bins, Options{})
		l := mustPack(t, items, bins, Options{Lines: 200_000})
		was, wasReach := lightest(plain, bins)
		is, reach := lightest(l, bins)
		t.Logf("%-8s %d bins, least filled %.1f %% along %.1f %%; without separation %d, %.1f %% along %.1f %%",
			c.name, len(l.Bins), 100*is.Density, 100*reach, len(plain.Bins), 100*was.Density, 100*wasReach)
		if c.fewer && len(l.Bins) >= len(plain.Bins) {
			t.Errorf("%s: %d bins, without separation %d", c.name, len(l.Bins), len(plain.Bins))
		}
		if !c.fewer && (len(l.Bins) > len(plain.Bins) || is.Density > was.Density-0.02) {
			t.Errorf("%s: %d bins, %.3f of one, without separation %d, %.3f of one", c.name, len(l.Bins), is.Density, len(plain.Bins), was.Density)
		}
		again := mustPack(t, items, bins, Options{Lines: 200_000})
		if fmt.Sprint(l.Placements) != fmt.Sprint(again.Placements) {
			t.Errorf("%s: two runs differ", c.name)
		}
	}
}

// A square cut into four alike pieces by two crooked cuts through its middle
// fits its bin in one way only, and two such squares two bins.
func TestGatherDissected(t *testing.T) {
	// The quarter between the middle of the lower side, moved by 7, and that of the
	// right side: the others are its turns.
	quarter := geom4(0, 0, 57, 0, 50, 50, 0, 43)
	turns := []float64{0, math.Pi / 2, math.Pi, 3 * math.Pi / 2}
	items := []Item{{ID: "quarter", Shape: quarter, Turns: turns, Quantity: 8}}
	bins := []Bin{{ID: "bin", Size: v2(100, 100), Quantity: Unlimited}}
	l := mustPack(t, items, bins, Options{Lines: 200_000})
	if len(l.Bins) != 2 {
		t.Errorf("%d bins, want 2", len(l.Bins))
	}
}

// jigsaw cuts a rectangle of w x h mm into n convex pieces: the largest piece is
// cut across, again and again, by a line through two of its sides. Pieces are
// given at their origin, so that nothing tells where they belong.
func jigsaw(seed uint64, w, h float64, n int) []geom.Polygons {
	rng := rand.New(rand.NewPCG(seed, 7))
	pieces := []geom.Polygon{{{X: 0, Y: 0}, {X: w, Y: 0}, {X: w, Y: h}, {X: 0, Y: h}}}
	for len(pieces) < n {
		k := 0
		for i := range pieces {
			if pieces[i].Area() > pieces[k].Area() {
				k = i
			}
		}
		p := pieces[k]
		// Across the longest side and one that is not next to it, if there is one.
		long := 0
		for i := range p {
			if p[i].Dist(p[(i+1)%len(p)]) > p[long].Dist(p[(long+1)%len(p)]) {
				long = i
			}
		}
		p = append(slices.Clone(p[long:]), p[:long]...)
		j := len(p) / 2
		along := func(i int) geom.Vec2 {
			t := 0.35 + 0.3*rng.Float64()
			a, b := p[i], p[(i+1)%len(p)]
			return geom.V2(math.Round(a.X+t*(b.X-a.X)), math.Round(a.Y+t*(b.Y-a.Y)))
		}
		r, s := along(0), along(j)
		one := append(geom.Polygon{r}, append(slices.Clone(p[1:j+1]), s)...)
		two := append(geom.Polygon{s}, append(slices.Clone(p[j+1:]), p[0], r)...)
		pieces[k] = one
		pieces = append(pieces, two)
	}
	var out []geom.Polygons
	for _, p := range pieces {
		lo := p[0]
		for _, v := range p {
			lo = geom.V2(min(lo.X, v.X), min(lo.Y, v.Y))
		}
		out = append(out, geom.Polygons{p.Map(func(v geom.Vec2) geom.Vec2 { return v.Sub(lo) })})
	}
	return out
}

// jigsaws are the shuffled pieces of several of 600 x 400 mm, which fit as many
// bins that are a little larger: cuts end on whole millimetres, so that pieces
// may be up to half a millimetre too wide where three meet.
func jigsaws(seed uint64, bins, n int) []Item {
	var items []Item
	for b := range bins {
		for _, s := range jigsaw(seed*10+uint64(b), 600, 400, n) {
			items = append(items, Item{Shape: s})
		}
	}
	rng := rand.New(rand.NewPCG(seed, 8))
	rng.Shuffle(len(items), func(i, j int) { items[i], items[j] = items[j], items[i] })
	for i := range items {
		items[i].ID = fmt.Sprint("piece", i)
	}
	return items
}

// Pieces of rectangles that were cut up fit as many bins, a little larger: fewer
// cannot hold their area, and the search over orders needs one more.
func TestGatherJigsaws(t *testing.T) {
	for _, c := range []struct {
		seed    uint64
		bins, n int
		slack   float64
		lines   int
	}{
		{0, 2, 4, 0.01, 200_000}, {1, 2, 4, 0.01, 50_000}, {3, 2, 4, 0.01, 50_000}, {4, 2, 4, 0.01, 50_000},
		{0, 2, 6, 0.04, 200_000}, {4, 2, 6, 0.04, 50_000}, {3, 3, 4, 0.02, 200_000},
	} {
		items := jigsaws(c.seed, c.bins, c.n)
		bins := []Bin{{ID: "bin", Size: v2(600*(1+c.slack), 400*(1+c.slack)), Quantity: Unlimited}}
		plain := mustPack(t, items, bins, Options{})
		l := mustPack(t, items, bins, Options{Lines: c.lines})
		if len(l.Bins) != c.bins || len(plain.Bins) <= c.bins {
			t.Errorf("%+v: %d bins at %.1f %%, without separation %d", c, len(l.Bins), 100*l.Density, len(plain.Bins))
		}
	}
}

// The same pieces on bins that stand upright, with a margin, a reserved strip, a
// gap and two kinds, and only as many as are needed: all are placed.
func TestGatherObeys(t *testing.T) {
	items := jigsaws(3, 2, 4)
	for i := range items {
		p := items[i].Shape[0]
		items[i].Shape = geom.Polygons{p.Map(func(v geom.Vec2) geom.Vec2 { return v2(p.Bounds().Max.Y-v.Y, v.X) })} // turned by a quarter
	}
	n := len(items)
	for i, s := range jigsaw(1, 600, 400, 4) {
		items = append(items, Item{ID: fmt.Sprint("other", i), Shape: s, Kind: "other"})
	}
	const margin, strip, gap = 3, 10, 1
	upright := Bin{ID: "upright", Size: v2(407+2*margin, 609+2*margin+strip), Margin: margin, Quantity: 2}
	upright.Reserved = []geom.Polygons{rect(412+2*margin, margin+strip)}
	bins := []Bin{upright, {ID: "other", Size: v2(612, 408), Kind: "other"}}
	plain := mustPack(t, items, bins, Options{Gap: gap})
	l := mustPack(t, items, bins, Options{Gap: gap, Lines: 400_000})
	if len(plain.Unplaced) == 0 {
		t.Error("all are placed without separation: this is too easy")
	}
	if len(l.Unplaced) > 0 || len(l.Placements) != len(items) {
		t.Errorf("left out: %v", l.Findings())
	}
	for _, p := range l.Placements {
		if other := slices.IndexFunc(items, func(it Item) bool { return it.ID == p.Item }) >= n; other != (l.Bins[p.Bin].ID == "other") {
			t.Errorf("%s lies on %s", p.Item, l.Bins[p.Bin].ID)
		}
	}
}

// A jigsaw of high priority fills the only bin to the last, and what of low
// priority was in its way goes.
func TestGatherMakesWay(t *testing.T) {
	items := jigsaws(4, 1, 6)
	for i := range items {
		items[i].Priority = 1
	}
	items = append(items, Item{ID: "filler", Shape: rect(90, 60), Quantity: 40})
	bins := []Bin{{ID: "bin", Size: v2(618, 412)}}
	dear := func(l *Layout) (n int) {
		for _, p := range l.Placements {
			if p.Item != "filler" {
				n++
			}
		}
		return n
	}
	plain, l := mustPack(t, items, bins, Options{}), mustPack(t, items, bins, Options{Lines: 200_000})
	t.Logf("%d of %d dear pieces and %d fillers; without separation %d and %d", dear(l), len(items)-1, len(l.Placements)-dear(l), dear(plain), len(plain.Placements)-dear(plain))
	if dear(plain) == len(items)-1 || dear(l) != len(items)-1 {
		t.Errorf("%d of %d dear pieces, without separation %d", dear(l), len(items)-1, dear(plain))
	}
}

// Two small bins or one large one hold the same: what is cheaper is taken.
func TestGatherExchangesBins(t *testing.T) {
	items := []Item{{ID: "a", Shape: rect(50, 40), Quantity: 4}, {ID: "b", Shape: rect(100, 20), Quantity: 2}}
	small := Bin{ID: "small", Size: v2(100, 60), Quantity: Unlimited, Cost: 10}
	for _, c := range []struct {
		name  string
		large float64
		want  float64
	}{
		{"the large one is dear", 25, 20},
		{"the large one is cheap", 15, 15},
	} {
		large := Bin{ID: "large", Size: v2(100, 120), Quantity: Unlimited, Cost: c.large}
		for _, bins := range [][]Bin{{small, large}, {large, small}} {
			if l := mustPack(t, items, bins, Options{Lines: 100_000}); l.Cost != c.want {
				t.Errorf("%s: bins for %g, want %g", c.name, l.Cost, c.want)
			}
		}
	}
}

// Pieces cut from two large bins and a small one cost no less than the cheapest
// mix whose area is enough; that mix is found though it takes a jigsaw to fill it.
func TestGatherMixes(t *testing.T) {
	for _, c := range []struct{ small, large float64 }{
		{10, 17}, // two large ones and one small: 44
		{10, 25}, // as before, 60: two small ones hold as much as a large one for 20, but not its pieces
		{10, 30},
	} {
		items := jigsaws(1, 2, 4)
		for i, s := range jigsaw(5, 300, 400, 2) {
			items = append(items, Item{ID: fmt.Sprint("half", i), Shape: s})
		}
		bins := []Bin{
			{ID: "small", Size: v2(310, 410), Cost: c.small, Quantity: 1},
			{ID: "large", Size: v2(612, 410), Cost: c.large, Quantity: Unlimited},
		}
		var area float64
		for _, it := range items {
			area += it.Shape.Area()
		}
		want := math.Inf(1)
		for a := range 2 {
			for b := range 6 {
				if float64(a)*310*410+float64(b)*612*410 >= area {
					want = min(want, float64(a)*c.small+float64(b)*c.large)
				}
			}
		}
		plain, l := mustPack(t, items, bins, Options{}), mustPack(t, items, bins, Options{Lines: 400_000})
		t.Logf("%+v: %g, without separation %g", c, l.Cost, plain.Cost)
		if math.Abs(l.Cost-want) > 1e-9 {
			t.Errorf("%+v: bins for %g, want %g", c, l.Cost, want)
		}
	}
}

// What the search over orders leaves out is squeezed in where there is room, the
// highest priority first.
func TestGatherAdmits(t *testing.T) {
	_, items := readInstance(t, "shirts")
	for i := range items {
		items[i].Priority = i % 3
	}
	bins := []Bin{{ID: "bin", Size: v2(20, 20), Quantity: 6}}
	plain := mustPack(t, items, bins, Options{Iterations: -1})
	l := mustPack(t, items, bins, Options{Iterations: -1, Lines: 200_000})
	left := func(l *Layout) (n int) {
		for _, u := range l.Unplaced {
			n += u.Count
		}
		return n
	}
	t.Logf("left out: %d, without separation %d", left(l), left(plain))
	if left(l) >= left(plain) {
		t.Errorf("%d left out, without separation %d", left(l), left(plain))
	}
}

// A single bin is narrowed: the pieces of a rectangle come to lie along as much
// of it as that was long, give or take little, and what is left is a strip of
// the full height.
func TestGatherNarrows(t *testing.T) {
	for _, turned := range []bool{false, true} {
		items := jigsaws(4, 1, 6)
		bins := []Bin{{ID: "bin", Size: v2(1200, 408)}}
		if turned {
			for i := range items {
				p := items[i].Shape[0]
				items[i].Shape = geom.Polygons{p.Map(func(v geom.Vec2) geom.Vec2 { return v2(p.Bounds().Max.Y-v.Y, v.X) })}
			}
			bins[0].Size = v2(408, 1200)
		}
		plain, l := mustPack(t, items, bins, Options{}), mustPack(t, items, bins, Options{Lines: 200_000})
		_, was := lightest(plain, bins)
		_, is := lightest(l, bins)
		t.Logf("%.1f mm, without separation %.1f mm", 1200*is, 1200*was)
		if is*1200 > 640 || is > was+1e-9 || !turned && is > was-0.02 {
			t.Errorf("%.1f mm of 1200 are used, without separation %.1f", 1200*is, 1200*was)
		}
	}
}

// The number of cores changes nothing; a budget by a clock that is given is kept
// to; and the context ends the search with the best so far.
func TestGatherEnds(t *testing.T) {
	_, items := readInstance(t, "fu")
	bins := []Bin{{ID: "bin", Size: v2(22, 22), Quantity: Unlimited}}
	cores := runtime.GOMAXPROCS(1)
	one := mustPack(t, items, bins, Options{Lines: 100_000, Seed: 3})
	runtime.GOMAXPROCS(2)
	two := mustPack(t, items, bins, Options{Lines: 100_000, Seed: 3})
	runtime.GOMAXPROCS(cores)
	if fmt.Sprint(one) != fmt.Sprint(two) {
		t.Error("one core and two differ")
	}

	last, calls := 0, 0
	progress := func(done, total int, density float64) {
		if total == 1000 { // of separation
			if calls++; done < last || done > total || density <= 0 || density > 1 {
				t.Errorf("after %d, %d of %d, density %g", last, done, total, density)
			}
			last = done
		}
	}
	mustPack(t, items, bins, Options{Lines: 100_000, Progress: progress})
	if calls == 0 {
		t.Error("no progress is told of")
	}

	var asked float64
	l := mustPack(t, items, bins, Options{Spent: func() float64 { asked++; return asked / 20_000 }})
	if asked < 20_000 || asked > 21_000 || l.Interrupted {
		t.Errorf("the clock was asked %g times, interrupted: %v", asked, l.Interrupted)
	}

	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	l, err := Pack(ctx, items, bins, Options{Lines: 100_000_000, Progress: func(done, total int, _ float64) {
		if total == 1000 {
			stop()
		}
	}})
	if err != nil || !l.Interrupted || len(l.Placements) == 0 || len(l.Unplaced) > 0 {
		t.Fatalf("interrupted: %v, %v, %v", l.Interrupted, l.Findings(), err)
	}
	mustVerify(t, items, bins, l, 0)
}

// The bound on the number of bins against the least number, found by trying all
// ways; and cases worked out by hand.
func TestNeeded(t *testing.T) {
	for _, c := range []struct {
		sizes []float64
		want  int
	}{
		{nil, 0}, {[]float64{1}, 1}, {[]float64{0.5, 0.5}, 1}, {[]float64{0.6, 0.6, 0.6}, 3},
		{[]float64{0.34, 0.34, 0.34}, 2}, {[]float64{0.7, 0.7, 0.35, 0.35}, 3}, // by area 3; each 0.35 is too large beside 0.7
		{[]float64{0.8, 0.8, 0.3, 0.3, 0.3}, 3}, {[]float64{0.51, 0.51, 0.27, 0.27, 0.27}, 2},
	} {
		if got := needed(c.sizes, 1); got != c.want {
			t.Errorf("%v: %d, want %d", c.sizes, got, c.want)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		var sizes []float64
		for _, s := range rapid.SliceOfN(rapid.IntRange(1, 20), 1, 8).Draw(rt, "sizes") {
			sizes = append(sizes, float64(s))
		}
		var bins []float64
		least := len(sizes)
		var try func(i int)
		try = func(i int) {
			if i == len(sizes) {
				least = min(least, len(bins))
				return
			}
			for k := range bins {
				if bins[k]+sizes[i] <= 20 {
					bins[k] += sizes[i]
					try(i + 1)
					bins[k] -= sizes[i]
				}
			}
			if len(bins)+1 <= least {
				bins = append(bins, sizes[i])
				try(i + 1)
				bins = bins[:len(bins)-1]
			}
		}
		try(0)
		if got := needed(sizes, 20); got > least {
			rt.Fatalf("%v: bound %d, but %d do", sizes, got, least)
		}
	})
}

// standing is what layouts are ranked by as a caller sees them: area left out by
// class, highest first; cost; and the area on the least filled of several bins.
func standing(items []Item, l *Layout) []float64 {
	out := make([]float64, 4)
	for _, it := range items {
		n := it.copies()
		for _, p := range l.Placements {
			if p.Item == it.ID {
				n--
			}
		}
		out[1-it.Priority] += math.Round(1e6 * float64(n) * it.Shape.Area())
	}
	out[2] = l.Cost
	for i, u := range l.Bins {
		if len(l.Bins) > 1 && (i == 0 || u.Area < out[3]) {
			out[3] = u.Area
		}
	}
	return out
}

// Whatever is asked for, what comes of separation can be verified, is never
// ranked below what it began with, and is the same every time.
func TestGatherNeverWorse(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		items, bins, gap := anyRequest(rt)
		o := Options{Gap: gap, Iterations: 20, Seed: int64(rapid.IntRange(0, 3).Draw(rt, "seed"))}
		plain := mustPack(t, items, bins, o)
		o.Lines = 3000
		l := mustPack(t, items, bins, o)
		is, was := standing(items, l), standing(items, plain)
		// Outlines lie on a lattice of microns, so that a part's area varies
		// with its turn by up to half a micron along its edge.
		for _, it := range items {
			is[3] -= 0.0005 * float64(it.copies()) * perimeter(it.Shape)
		}
		if slices.Compare(is, was) > 0 {
			rt.Fatalf("%v, without separation %v", is, was)
		}
		if again := mustPack(t, items, bins, o); fmt.Sprint(again) != fmt.Sprint(l) {
			rt.Fatal("two runs differ")
		}
	})
}

func anyRequest(rt *rapid.T) (items []Item, bins []Bin, gap float64) {
	for i := range rapid.IntRange(1, 5).Draw(rt, "items") {
		w, h := rapid.IntRange(5, 60).Draw(rt, "w"), rapid.IntRange(5, 60).Draw(rt, "h")
		d := rapid.IntRange(0, 4).Draw(rt, "d")
		it := Item{ID: fmt.Sprint(i), Shape: geom4(0, 0, float64(w), 0, float64(w)-float64(w*d)/8, float64(h), 0, float64(h)), Quantity: rapid.IntRange(1, 4).Draw(rt, "n"), Priority: rapid.IntRange(0, 1).Draw(rt, "priority")}
		if rapid.Bool().Draw(rt, "turns") {
			it.Turns = []float64{0, math.Pi / 2, 0.3}
		}
		items = append(items, it)
	}
	for i := range rapid.IntRange(1, 3).Draw(rt, "bins") {
		b := Bin{ID: fmt.Sprint(i), Size: v2(float64(rapid.IntRange(40, 120).Draw(rt, "x")), float64(rapid.IntRange(40, 120).Draw(rt, "y"))), Quantity: rapid.SampledFrom([]int{1, 2, Unlimited}).Draw(rt, "quantity"), Margin: float64(rapid.IntRange(0, 3).Draw(rt, "margin")), Cost: float64(rapid.IntRange(0, 9).Draw(rt, "cost"))}
		if rapid.Bool().Draw(rt, "reserved") {
			b.Reserved = append(b.Reserved, rect(10, 7))
		}
		bins = append(bins, b)
	}
	return items, bins, rapid.SampledFrom([]float64{0, 1.5}).Draw(rt, "gap")
}
