package guillotine

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// mustPack packs, and verifies the layout.
func mustPack(t testing.TB, items []Item, stock []Stock, o Options) *Layout {
	t.Helper()
	l, err := Pack(context.Background(), items, stock, o)
	if err != nil {
		t.Fatal(err)
	}
	if err := VerifyLayout(l, items, stock, o); err != nil {
		t.Fatalf("the layout does not hold: %v", err)
	}
	return l
}

func rect(id string, x, y int64, n int) Item { return Item{ID: id, Size: Size{x, y}, Quantity: n} }

func TestPackHardCases(t *testing.T) {
	for _, c := range []struct {
		name   string
		items  []Item
		stock  []Stock
		o      Options
		sheets int
		out    []Unplaced
		cost   float64
		value  float64
	}{
		{name: "nothing at all"},
		{name: "nothing to cut", stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1}}},
		{name: "nothing to cut from", items: []Item{rect("a", 1, 1, 3)}, out: []Unplaced{{"a", 3, NoStock}}},
		{name: "as large as the sheet", items: []Item{rect("a", 10, 10, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1}}, o: Options{Kerf: 3}, sheets: 1, cost: 1},
		{name: "larger than the sheet", items: []Item{rect("a", 11, 1, 2), rect("b", 1, 1, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 20}, Cost: 1}}, sheets: 1, cost: 1, out: []Unplaced{{"a", 2, TooLarge}}},
		{name: "larger unless turned", items: []Item{{ID: "a", Size: Size{11, 1}, Turn: true}}, stock: []Stock{{ID: "s", Size: Size{10, 20}, Cost: 1}}, sheets: 1, cost: 1},
		{name: "more than the stock", items: []Item{rect("a", 6, 6, 3)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: 2, Cost: 1}}, sheets: 2, cost: 2, out: []Unplaced{{"a", 1, NoRoom}}},
		{name: "two on one without a kerf", items: []Item{rect("a", 5, 10, 2)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}, sheets: 1, cost: 1},
		{name: "two on two with a kerf", items: []Item{rect("a", 5, 10, 2)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}, o: Options{Kerf: 1}, sheets: 2, cost: 2},
		{name: "two with just the kerf between", items: []Item{rect("a", 5, 10, 2)}, stock: []Stock{{ID: "s", Size: Size{11, 10}, Quantity: Unlimited, Cost: 1}}, o: Options{Kerf: 1}, sheets: 1, cost: 1},
		{name: "a free offcut before a sheet", items: []Item{rect("a", 4, 4, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}, {ID: "off", Size: Size{5, 5}}}, sheets: 1},
		{name: "one large sheet before two small ones", items: []Item{rect("a", 6, 6, 2)}, stock: []Stock{{ID: "small", Size: Size{6, 6}, Quantity: Unlimited, Cost: 3}, {ID: "large", Size: Size{12, 6}, Cost: 5}}, sheets: 1, cost: 5},
		{name: "two small ones before one large", items: []Item{rect("a", 6, 6, 2)}, stock: []Stock{{ID: "small", Size: Size{6, 6}, Quantity: Unlimited, Cost: 2}, {ID: "large", Size: Size{12, 6}, Cost: 5}}, sheets: 2, cost: 4},
		{name: "a dear sheet for what comes back", items: []Item{rect("a", 6, 6, 1)}, stock: []Stock{{ID: "small", Size: Size{6, 6}, Cost: 3}, {ID: "large", Size: Size{12, 6}, Cost: 5, Rate: 0.1}}, sheets: 1, cost: 5, value: 3.6},
		{name: "an offcut that is too small for anything", items: []Item{rect("a", 6, 6, 1)}, stock: []Stock{{ID: "s", Size: Size{12, 6}, Cost: 5, Rate: 0.1}}, o: Options{Least: Size{7, 1}}, sheets: 1, cost: 5},
		{name: "one offcut rather than two", items: []Item{rect("a", 6, 3, 1)}, stock: []Stock{{ID: "s", Size: Size{12, 6}, Cost: 5, Rate: 1}}, o: Options{Least: Size{4, 4}}, sheets: 1, cost: 5, value: 36},
		{name: "a power of two", items: []Item{rect("a", 6, 6, 1)}, stock: []Stock{{ID: "s", Size: Size{12, 6}, Cost: 5, Rate: 1}}, o: Options{Power: 2}, sheets: 1, cost: 5, value: 18},
		{name: "a knot in the middle", items: []Item{rect("a", 4, 10, 2)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1, Reserved: []Rect{{[2]int64{5, 5}, Size{1, 1}}}}}, sheets: 1, cost: 1},
		{name: "a knot in the way", items: []Item{rect("a", 6, 10, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1, Reserved: []Rect{{[2]int64{5, 5}, Size{1, 1}}}}}, out: []Unplaced{{"a", 1, NoRoom}}},
		{name: "a knot beside the sheet", items: []Item{rect("a", 10, 10, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1, Reserved: []Rect{{[2]int64{10, 5}, Size{1, 1}}}}}, sheets: 1, cost: 1},
		{name: "nothing but knot", items: []Item{rect("a", 1, 1, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Cost: 1, Reserved: []Rect{{Size: Size{10, 10}}}}}, out: []Unplaced{{"a", 1, NoRoom}}},
		{name: "a knot narrower than the kerf", items: []Item{rect("a", 9, 9, 1)}, stock: []Stock{{ID: "s", Size: Size{12, 12}, Cost: 1, Reserved: []Rect{{Size: Size{1, 1}}}}}, o: Options{Kerf: 2}, sheets: 1, cost: 1},
		{name: "what three stages hold", items: []Item{rect("a", 4, 4, 1), rect("b", 2, 2, 2)}, stock: []Stock{{ID: "s", Size: Size{6, 4}, Quantity: Unlimited, Cost: 1}}, sheets: 1, cost: 1},
		{name: "five, of which one stage holds four", items: []Item{rect("a", 6, 5, 2), rect("b", 4, 3, 2), rect("c", 4, 4, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}, sheets: 1, cost: 1},
		{name: "the same in two stages, first upright", items: []Item{rect("a", 6, 5, 2), rect("b", 4, 3, 2), rect("c", 4, 4, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}, o: Options{Stages: 2, First: Upright}, sheets: 1, cost: 1},
		{name: "the same, first level", items: []Item{rect("a", 6, 5, 2), rect("b", 4, 3, 2), rect("c", 4, 4, 1)}, stock: []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}, o: Options{Stages: 2, First: Level}, sheets: 2, cost: 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := mustPack(t, c.items, c.stock, c.o)
			if len(l.Sheets) != c.sheets || !reflect.DeepEqual(l.Unplaced, c.out) || l.Cost != c.cost || math.Abs(l.Value-c.value) > 1e-9 {
				t.Errorf("%d sheets that cost %g with offcuts worth %g, left out %v; want %d, %g, %g, %v", len(l.Sheets), l.Cost, l.Value, l.Unplaced, c.sheets, c.cost, c.value, c.out)
			}
		})
	}
}

func TestPackThousands(t *testing.T) {
	items := []Item{rect("a", 100, 50, 5000)}
	l := mustPack(t, items, []Stock{{ID: "s", Size: Size{1000, 1000}, Quantity: Unlimited, Cost: 1}}, Options{})
	if len(l.Sheets) != 25 || len(l.Unplaced) > 0 {
		t.Errorf("%d sheets for what 25 hold; left out %v", len(l.Sheets), l.Unplaced)
	}
}

// A row of thousands is a tree thousands deep.
func TestPackLongRow(t *testing.T) {
	l := mustPack(t, []Item{rect("a", 1, 1, 11_000)}, []Stock{{ID: "s", Size: Size{33_000, 1}, Cost: 1}}, Options{Kerf: 2})
	if len(l.Unplaced) > 0 || len(l.Cuts()) != 11_000 {
		t.Errorf("left out %v; %d cuts", l.Unplaced, len(l.Cuts()))
	}
}

// Many blanks, no two alike, come near to filling their sheets.
func TestPackManyKinds(t *testing.T) {
	var items []Item
	area := int64(0)
	for i := range int64(400) {
		s := Size{40 + (i*37)%161, 30 + (i*53)%119}
		items = append(items, Item{ID: fmt.Sprint(i), Size: s})
		area += s.X * s.Y
	}
	l := mustPack(t, items, []Stock{{ID: "s", Size: Size{1000, 600}, Quantity: Unlimited, Cost: 1}}, Options{})
	if least := int((area + 599_999) / 600_000); len(l.Sheets) > least+1 || len(l.Unplaced) > 0 {
		t.Errorf("%d sheets, where the area is that of %d", len(l.Sheets), least)
	}
}

func TestPackRandom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.Int64Range(1, 60)
		var items []Item
		for i := range rapid.IntRange(0, 12).Draw(t, "items") {
			items = append(items, Item{ID: fmt.Sprint(i), Size: Size{side.Draw(t, "x"), side.Draw(t, "y")}, Quantity: rapid.IntRange(0, 4).Draw(t, "n"), Turn: rapid.Bool().Draw(t, "turn")})
		}
		var stock []Stock
		for i := range rapid.IntRange(0, 3).Draw(t, "stock") {
			s := Stock{ID: fmt.Sprint(i), Size: Size{10 + side.Draw(t, "x"), 10 + side.Draw(t, "y")}, Quantity: rapid.IntRange(-1, 3).Draw(t, "n"),
				Cost: float64(rapid.IntRange(0, 5).Draw(t, "cost")), Rate: float64(rapid.IntRange(0, 2).Draw(t, "rate")) / 1000}
			for range rapid.IntRange(0, 3).Draw(t, "knots") {
				s.Reserved = append(s.Reserved, Rect{[2]int64{rapid.Int64Range(-5, 70).Draw(t, "at"), rapid.Int64Range(-5, 70).Draw(t, "at")}, Size{rapid.Int64Range(1, 20).Draw(t, "x"), rapid.Int64Range(1, 20).Draw(t, "y")}})
			}
			stock = append(stock, s)
		}
		o := Options{Kerf: rapid.Int64Range(0, 3).Draw(t, "kerf"), Stages: 2 * rapid.IntRange(0, 1).Draw(t, "stages"), First: Direction(rapid.IntRange(0, 2).Draw(t, "first")),
			Least: Size{rapid.Int64Range(0, 10).Draw(t, "least"), 5}, Power: 1 + rapid.Float64Range(0, 1).Draw(t, "power"), Iterations: 60, Seed: rapid.Int64().Draw(t, "seed")}
		l, err := Pack(context.Background(), items, stock, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := VerifyLayout(l, items, stock, o); err != nil {
			t.Fatal(err)
		}
		again, _ := Pack(context.Background(), items, stock, o)
		if !reflect.DeepEqual(l, again) {
			t.Fatal("the same request gives another layout")
		}
	})
}

func TestPackRefuses(t *testing.T) {
	good := []Item{rect("a", 1, 1, 1)}
	sheet := []Stock{{ID: "s", Size: Size{10, 10}}}
	for name, c := range map[string]struct {
		items []Item
		stock []Stock
		o     Options
	}{
		"an item twice":      {append(good, good...), sheet, Options{}},
		"no size":            {[]Item{rect("a", 0, 1, 1)}, sheet, Options{}},
		"too large to count": {[]Item{rect("a", 1<<40, 1, 1)}, sheet, Options{}},
		"too many":           {[]Item{rect("a", 1, 1, 1e6)}, sheet, Options{}},
		"stock twice":        {good, append(sheet, sheet...), Options{}},
		"a negative price":   {good, []Stock{{ID: "s", Size: Size{1, 1}, Cost: -1}}, Options{}},
		"a negative kerf":    {good, sheet, Options{Kerf: -1}},
		"three stages":       {good, sheet, Options{Stages: 3}},
		"a root as a power":  {good, sheet, Options{Power: 0.5}},
	} {
		if _, err := Pack(context.Background(), c.items, c.stock, c.o); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}

func TestPackInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	items, stock := []Item{rect("a", 3, 3, 5)}, []Stock{{ID: "s", Size: Size{10, 10}, Quantity: Unlimited, Cost: 1}}
	l, err := Pack(ctx, items, stock, Options{})
	if err != nil || !l.Interrupted {
		t.Fatalf("%v, %v", l, err)
	}
	if err := VerifyLayout(l, items, stock, Options{}); err != nil {
		t.Error(err)
	}
}

// What VerifyLayout is for.
func TestVerifyLayoutFinds(t *testing.T) {
	items := []Item{rect("a", 4, 4, 2), rect("b", 3, 3, 1), rect("c", 30, 3, 1)}
	stock := []Stock{{ID: "s", Size: Size{10, 10}, Cost: 2, Rate: 0.01, Reserved: []Rect{{[2]int64{9, 0}, Size{1, 1}}}}}
	o := Options{Kerf: 1}
	for name, spoil := range map[string]func(l *Layout){
		"other stock":              func(l *Layout) { l.Sheets[0].Stock = "t" },
		"more than there is":       func(l *Layout) { l.Sheets[0].Copy = 1 },
		"another price":            func(l *Layout) { l.Cost = 1 },
		"another value":            func(l *Layout) { l.Value++ },
		"an offcut told twice":     func(l *Layout) { l.Sheets[0].Offcuts = append(l.Sheets[0].Offcuts, l.Sheets[0].Offcuts[0]) },
		"an offcut that is larger": func(l *Layout) { l.Sheets[0].Offcuts[0].X++ },
		"a copy twice":             func(l *Layout) { l.Placements[0].Copy = 1 },
		"a copy not told of":       func(l *Layout) { l.Placements = l.Placements[1:] },
		"a copy elsewhere":         func(l *Layout) { l.Placements[0].At[0]++ },
		"turned":                   func(l *Layout) { l.Placements[0].Turned = true },
		"one too many left out":    func(l *Layout) { l.Unplaced[0].Count++ },
		"the kerf not kept":        func(l *Layout) { l.Sheets[0].Cutting.Parts[1].At[0]--; l.Sheets[0].Cutting.Parts[1].At[1]-- },
	} {
		l := mustPack(t, items, stock, o)
		spoil(l)
		if err := VerifyLayout(l, items, stock, o); err == nil {
			t.Errorf("%s is not found", name)
		}
	}
	l := mustPack(t, items, stock, o)
	knot := []Stock{stock[0]}
	knot[0].Reserved = []Rect{l.Placements[0].Rect}
	if err := VerifyLayout(l, items, knot, o); err == nil || !strings.Contains(err.Error(), "reserved area") {
		t.Errorf("an item on a reserved area: %v", err)
	}
	pin := &Cutting{Size: Size{10, 10}, Cut: Upright, Where: 4, Piece: -1, Parts: [2]*Cutting{
		{Size: Size{4, 10}, Cut: Level, Where: 4, Piece: -1, Parts: [2]*Cutting{
			{Size: Size{4, 4}, Cut: Upright, Where: 2, Piece: -1, Parts: [2]*Cutting{{Size: Size{2, 4}}, {At: [2]int64{2, 0}, Size: Size{2, 4}}}},
			{At: [2]int64{0, 4}, Size: Size{4, 6}, Piece: -1},
		}},
		{At: [2]int64{4, 0}, Size: Size{6, 10}, Piece: -1},
	}}
	three := &Layout{Sheets: []Sheet{{Stock: "s", Cutting: pin}}, Placements: []Placement{{Item: "a", Rect: Rect{Size: Size{2, 4}}}, {Item: "a", Copy: 1, Rect: Rect{[2]int64{2, 0}, Size{2, 4}}}}}
	for stages, ok := range map[int]bool{0: true, 2: false} {
		if err := VerifyLayout(three, []Item{rect("a", 2, 4, 2)}, []Stock{{ID: "s", Size: Size{10, 10}}}, Options{Stages: stages}); (err == nil) != ok {
			t.Errorf("three stages where %d are allowed: %v", stages, err)
		}
	}
}

type strips struct {
	Instances []struct {
		Name    string
		Width   int64
		Optimal int64 `json:"optimal_height"`
		Items   [][2]int64
	}
}

func readStrips(t testing.TB, name string) strips {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	var s strips
	if err := json.Unmarshal(data, &s); err != nil {
		t.Fatal(err)
	}
	return s
}

// gaps are how far above the least heights known strips of each class come, in %.
func gaps(t testing.TB, s strips, turn bool, class func(name string) string, o Options) map[string][]float64 {
	out := map[string][]float64{}
	for _, in := range s.Instances {
		c := class(in.Name)
		if c == "" {
			continue
		}
		var items []Item
		for i, q := range in.Items {
			items = append(items, Item{ID: fmt.Sprint(i), Size: Size{q[0], q[1]}, Turn: turn})
		}
		h, l, err := Strip(context.Background(), items, in.Width, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := VerifyLayout(l, items, []Stock{{ID: "strip", Size: Size{in.Width, h}}}, o); err != nil || len(l.Unplaced) > 0 {
			t.Fatalf("%s: %v", in.Name, err)
		}
		out[c] = append(out[c], 100*(float64(h)/float64(in.Optimal)-1))
	}
	return out
}

func mean(v []float64) (m float64) {
	for _, x := range v {
		m += x / float64(len(v))
	}
	return m
}

// The instances of Hopper and Turton (Eur. J. Oper. Res. 128, 2001, 34-57),
// and of Hopper's thesis (2000). Their best heights are known since they were
// made by dividing a rectangle: T by cuts from edge to edge, C not only by such.
// Pieces may be turned.
func TestStripHopper(t *testing.T) {
	for _, c := range []struct {
		file  string
		turn  bool
		class string
		most  float64 // mean gap, %: as measured, rounded up
	}{
		{"hopper_turton_C_strip.json", true, "C1", 7}, {"hopper_turton_C_strip.json", true, "C2", 7},
		{"hopper_turton_C_strip.json", true, "C3", 5}, {"hopper_turton_C_strip.json", true, "C4", 4},
		{"hopper_TN_strip.json", true, "T1", 9}, {"hopper_TN_strip.json", true, "T4", 8},
	} {
		g := gaps(t, readStrips(t, c.file), c.turn, func(n string) string {
			if n[:2] == c.class {
				return c.class
			}
			return ""
		}, Options{Iterations: 800})
		for _, v := range g[c.class] {
			if v < 0 {
				t.Errorf("%s: lower than can be", c.class)
			}
		}
		if m := mean(g[c.class]); m > c.most {
			t.Errorf("%s: %.1f %% above the best heights, want %.1f", c.class, m, c.most)
		}
	}
}

// BenchmarkStrip makes the table of docs/guillotine.md.
func BenchmarkStrip(b *testing.B) {
	for _, c := range []struct {
		file  string
		turn  bool
		class string
		n     int
	}{
		{"hopper_turton_C_strip.json", true, "C", 4}, {"hopper_TN_strip.json", true, "T", 7}, {"hopper_TN_strip.json", false, "T", 7},
	} {
		s := readStrips(b, c.file)
		for k := range c.n {
			class := fmt.Sprint(c.class, k+1)
			for _, n := range []int{2000, 20000} {
				b.Run(fmt.Sprintf("%s/turn=%v/%d", class, c.turn, n), func(b *testing.B) {
					for b.Loop() {
						g := gaps(b, s, c.turn, func(n string) string {
							if n[:2] == class {
								return class
							}
							return ""
						}, Options{Iterations: n})
						b.ReportMetric(mean(g[class]), "%gap")
						b.ReportMetric(float64(len(g[class])), "instances")
					}
				})
			}
		}
	}
}

// slowStrips tries every strip and row at every whole number.
func slowStrips(w, h int64, pieces []Piece, kerf int64) int64 {
	row := make([]int64, h+1) // value of a strip h high
	for y := int64(1); y <= h; y++ {
		best := make([]int64, w+1)
		for x := int64(1); x <= w; x++ {
			best[x] = best[x-1]
			for _, p := range pieces {
				for _, s := range []Size{p.Size, {p.Y, p.X}} {
					if (s == p.Size || p.Turn) && s.Y <= y && s.X <= x {
						best[x] = max(best[x], p.value()+best[max(0, x-s.X-kerf)])
					}
				}
			}
		}
		row[y] = best[w]
	}
	best := make([]int64, h+1)
	for y := int64(1); y <= h; y++ {
		for k := int64(1); k <= y; k++ {
			best[y] = max(best[y], row[k]+best[max(0, y-k-kerf)])
		}
	}
	return best[h]
}

func TestExactStripsAgainstAllStrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, h := rapid.Int64Range(1, 30).Draw(t, "w"), rapid.Int64Range(1, 30).Draw(t, "h")
		kerf := rapid.Int64Range(0, 2).Draw(t, "kerf")
		var pieces, turned []Piece
		for range rapid.IntRange(0, 4).Draw(t, "n") {
			p := Piece{Size{rapid.Int64Range(1, 14).Draw(t, "x"), rapid.Int64Range(1, 14).Draw(t, "y")}, rapid.Int64Range(0, 60).Draw(t, "value"), rapid.Bool().Draw(t, "turn")}
			pieces = append(pieces, p)
			p.X, p.Y = p.Y, p.X
			turned = append(turned, p)
		}
		want := map[Direction]int64{Level: slowStrips(w, h, pieces, kerf), Upright: slowStrips(h, w, turned, kerf)}
		for _, first := range []Direction{Upright, Level} {
			value, c, err := ExactStrips(context.Background(), Size{w, h}, pieces, kerf, first)
			if err != nil {
				t.Fatal(err)
			}
			if told, err := Verify(c, Size{w, h}, pieces, kerf); err != nil || told != value {
				t.Fatalf("worth %d, cut for %d: %v", value, told, err)
			}
			if err := inStages(c, nil, Options{Stages: 2, First: first}); err != nil {
				t.Fatal(err)
			}
			if value != want[first] {
				t.Fatalf("first %d: worth %d, want %d", first, value, want[first])
			}
		}
	})
}

// Every cut told can be made: what it cuts was left by one before it, and what
// is left at the end is what was asked for.
func TestCuts(t *testing.T) {
	items := []Item{rect("a", 4, 4, 3), rect("b", 3, 3, 2), rect("c", 10, 2, 1)}
	l := mustPack(t, items, []Stock{{ID: "s", Size: Size{12, 12}, Quantity: Unlimited, Cost: 1, Rate: 0.001}}, Options{Kerf: 1, Least: Size{3, 3}})
	got := map[string]int{}
	there := map[string]Rect{}
	offcuts, n := 0, 0
	for _, c := range l.Cuts() {
		if c.N == 1 {
			there, n = map[string]Rect{"": {Size: Size{12, 12}}}, 0
		}
		if n++; c.N != n || there[c.Of] != c.On {
			t.Fatalf("cut %+v of what is not there", c)
		}
		delete(there, c.Of)
		a, b := halves(c.On, c.Direction, c.Where, 1)
		for y, r := range map[*Yield]Rect{&c.Before: a, &c.Beyond: b} {
			switch {
			case y.Again:
				there[y.Name] = r
			case y.Item != "":
				got[y.Item]++
				if i := strings.Index("abc", y.Item); r.Size != items[i].Size {
					t.Errorf("%s is %v", y.Item, r.Size)
				}
			case y.Offcut:
				offcuts++
			case y.Nothing != (r.X == 0 || r.Y == 0), !y.Nothing && !y.Waste:
				t.Errorf("cut %+v yields %v", c, r)
			}
		}
	}
	kept := 0
	for _, s := range l.Sheets {
		kept += len(s.Offcuts)
	}
	if !reflect.DeepEqual(got, map[string]int{"a": 3, "b": 2, "c": 1}) || offcuts != kept {
		t.Errorf("cut %v, %d offcuts; want %d", got, offcuts, kept)
	}
}

// As many pieces as there are, from one sheet, for value: cutting without such
// limits is worth no less.
func TestPackNoBetterThanExact(t *testing.T) {
	for i := range beasley {
		sheet, pieces := instance(t, fmt.Sprintf("gcut%d.txt", i+1))
		var items []Item
		for k, p := range pieces {
			items = append(items, Item{ID: fmt.Sprint(k), Size: p.Size, Quantity: 3})
		}
		l := mustPack(t, items, []Stock{{ID: "s", Size: sheet}}, Options{Iterations: 300})
		var area int64
		for _, q := range l.Placements {
			area += q.X * q.Y
		}
		if area > beasley[i] || float64(area) < 0.9*float64(beasley[i]) {
			t.Errorf("gcut%d: %d cut, where %d is the most", i+1, area, beasley[i])
		}
	}
}
