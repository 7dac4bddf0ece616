package guillotine

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// instance reads a problem as it is published: the number of pieces, the sheet,
// and each piece's sides and value.
func instance(t testing.TB, name string) (Size, []Piece) {
	t.Helper()
	data, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	r := strings.NewReader(string(data))
	var n int
	var sheet Size
	if _, err := fmt.Fscan(r, &n, &sheet.X, &sheet.Y); err != nil {
		t.Fatal(err)
	}
	pieces := make([]Piece, n)
	for i := range pieces {
		if _, err := fmt.Fscan(r, &pieces[i].X, &pieces[i].Y, &pieces[i].Value); err != nil {
			t.Fatal(err)
		}
	}
	return sheet, pieces
}

// mustExact cuts, and verifies the cutting.
func mustExact(t testing.TB, sheet Size, pieces []Piece, kerf int64) int64 {
	t.Helper()
	value, c, err := Exact(context.Background(), sheet, pieces, kerf)
	if err != nil {
		t.Fatal(err)
	}
	told, err := Verify(c, sheet, pieces, kerf)
	if err != nil {
		t.Fatal(err)
	}
	if told != value {
		t.Fatalf("told to be worth %d, cut for %d", value, told)
	}
	return value
}

// The unconstrained instances of J. E. Beasley, Algorithms for unconstrained
// two-dimensional guillotine cutting, J. Oper. Res. Soc. 36 (1985) 297-306, with
// the best values published since.
var beasley = []int64{56460, 60536, 61036, 61698, 246000, 238998, 242567, 246633, 971100, 982025, 980096, 979986}

func TestExactBeasley(t *testing.T) {
	for i, want := range beasley {
		sheet, pieces := instance(t, fmt.Sprintf("gcut%d.txt", i+1))
		if got := mustExact(t, sheet, pieces, 0); got != want {
			t.Errorf("gcut%d: worth %d, want %d", i+1, got, want)
		}
	}
}

func BenchmarkExact(b *testing.B) {
	for _, name := range []string{"gcut4", "gcut8", "gcut12"} {
		sheet, pieces := instance(b, name+".txt")
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, _, err := Exact(context.Background(), sheet, pieces, 0); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// slow tries every cut at every whole number.
func slow(w, h int64, pieces []Piece, kerf int64, known map[Size]int64) int64 {
	if w <= 0 || h <= 0 {
		return 0
	}
	if v, ok := known[Size{w, h}]; ok {
		return v
	}
	var best int64
	for _, p := range pieces {
		if p.X <= w && p.Y <= h || p.Turn && p.Y <= w && p.X <= h {
			best = max(best, p.value())
		}
	}
	for x := int64(1); x < w; x++ {
		best = max(best, slow(x, h, pieces, kerf, known)+slow(w-x-kerf, h, pieces, kerf, known))
	}
	for y := int64(1); y < h; y++ {
		best = max(best, slow(w, y, pieces, kerf, known)+slow(w, h-y-kerf, pieces, kerf, known))
	}
	known[Size{w, h}] = best
	return best
}

func TestExactAgainstAllCuts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		sheet := Size{rapid.Int64Range(1, 24).Draw(t, "w"), rapid.Int64Range(1, 24).Draw(t, "h")}
		kerf := rapid.Int64Range(0, 2).Draw(t, "kerf")
		var pieces []Piece
		for range rapid.IntRange(0, 4).Draw(t, "n") {
			pieces = append(pieces, Piece{
				Size{rapid.Int64Range(1, 14).Draw(t, "x"), rapid.Int64Range(1, 14).Draw(t, "y")},
				rapid.Int64Range(0, 60).Draw(t, "value"), rapid.Bool().Draw(t, "turn"),
			})
		}
		value, c, err := Exact(context.Background(), sheet, pieces, kerf)
		if err != nil {
			t.Fatal(err)
		}
		if told, err := Verify(c, sheet, pieces, kerf); err != nil || told != value {
			t.Fatalf("worth %d, cut for %d: %v", value, told, err)
		}
		if want := slow(sheet.X, sheet.Y, pieces, kerf, map[Size]int64{}); value != want {
			t.Fatalf("worth %d, want %d", value, want)
		}
	})
}

func TestExactHardCases(t *testing.T) {
	for _, c := range []struct {
		name   string
		sheet  Size
		pieces []Piece
		kerf   int64
		want   int64
	}{
		{"no pieces", Size{10, 10}, nil, 0, 0},
		{"as large as the sheet", Size{10, 10}, []Piece{{Size: Size{10, 10}}}, 3, 100},
		{"larger than the sheet", Size{10, 10}, []Piece{{Size: Size{11, 1}}}, 0, 0},
		{"larger unless turned", Size{10, 12}, []Piece{{Size: Size{11, 1}, Turn: true}}, 0, 110},
		{"two that a kerf makes one", Size{10, 5}, []Piece{{Size: Size{5, 5}}}, 1, 25},
		{"two with just the kerf between", Size{11, 5}, []Piece{{Size: Size{5, 5}}}, 1, 50},
		{"a pinwheel has no first cut", Size{3, 3}, []Piece{{Size: Size{2, 1}}, {Size: Size{1, 2}}}, 0, 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := mustExact(t, c.sheet, c.pieces, c.kerf); got != c.want {
				t.Errorf("worth %d, want %d", got, c.want)
			}
		})
	}
	if _, _, err := Exact(context.Background(), Size{1 << 20, 10}, []Piece{{Size: Size{1, 1}}}, 0); !errors.Is(err, ErrTooFine) {
		t.Errorf("a million places for cuts: %v", err)
	}
	for _, bad := range []struct {
		sheet Size
		piece Size
		kerf  int64
	}{{Size{0, 5}, Size{1, 1}, 0}, {Size{5, 5}, Size{-1, 1}, 0}, {Size{5, 5}, Size{1, 1}, -1}, {Size{1 << 40, 5}, Size{1, 1}, 0}} {
		if _, _, err := Exact(context.Background(), bad.sheet, []Piece{{Size: bad.piece}}, bad.kerf); err == nil {
			t.Errorf("%v is taken", bad)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, _, err := Exact(ctx, Size{10, 10}, []Piece{{Size: Size{1, 1}}}, 0); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled search: %v", err)
	}
}

// What Verify is for.
func TestVerifyFinds(t *testing.T) {
	sheet, pieces := Size{10, 10}, []Piece{{Size: Size{4, 10}}}
	sound := func() *Cutting {
		return &Cutting{Size: sheet, Cut: Upright, Where: 4, Piece: -1, Parts: [2]*Cutting{
			{Size: Size{4, 10}},
			{At: [2]int64{5, 0}, Size: Size{5, 10}, Cut: Upright, Where: 4, Parts: [2]*Cutting{
				{At: [2]int64{5, 0}, Size: Size{4, 10}}, {At: [2]int64{10, 0}, Size: Size{0, 10}, Piece: -1},
			}},
		}}
	}
	if v, err := Verify(sound(), sheet, pieces, 1); err != nil || v != 80 {
		t.Fatalf("a sound cutting: %d, %v", v, err)
	}
	for name, spoil := range map[string]func(c *Cutting){
		"another sheet":         func(c *Cutting) { c.Size.X = 11 },
		"no kerf":               func(c *Cutting) { c.Parts[1].At[0] = 4 },
		"more than there is":    func(c *Cutting) { c.Parts[1].Size.X = 6 },
		"a cut beyond the end":  func(c *Cutting) { c.Where = 10 },
		"a piece of other size": func(c *Cutting) { c.Parts[0].Size.Y = 9 },
		"an unknown piece":      func(c *Cutting) { c.Parts[0].Piece = 1 },
		"a part is missing":     func(c *Cutting) { c.Parts[1] = nil },
	} {
		c := sound()
		spoil(c)
		if _, err := Verify(c, sheet, pieces, 1); err == nil {
			t.Errorf("%s is not found", name)
		}
	}
}

// LU1 of Russo, Sforza, Sterle, Comput. Oper. Res. 50 (2014) 97-114, with the
// best value that its file tells: no two stages are worth more, and they are
// nearly worth it. A sheet so large in units so small is too much for Exact.
func TestExactStripsLarge(t *testing.T) {
	data, err := os.ReadFile("testdata/lu1.txt")
	if err != nil {
		t.Fatal(err)
	}
	var sheet Size
	var n int
	var best int64
	var pieces []Piece
	for _, line := range strings.Split(string(data), "\n") {
		var p Piece
		var head Size
		if i := strings.Index(line, "length="); i < 0 {
			continue
		} else if _, err := fmt.Sscanf(line[i:], "length=%d;stock_width=%d;item_number=%d;optimum=%d", &head.X, &head.Y, &n, &best); err == nil {
			sheet = head
			continue
		} else if _, err := fmt.Sscanf(line[i:], "length=%d;width=%d;profit=%d", &p.X, &p.Y, &p.Value); err != nil {
			t.Fatal(err)
		}
		pieces = append(pieces, p)
	}
	if len(pieces) != n || n == 0 {
		t.Fatalf("%d pieces, want %d", len(pieces), n)
	}
	value, c, err := ExactStrips(context.Background(), sheet, pieces, 0, Upright)
	if err != nil {
		t.Fatal(err)
	}
	if told, err := Verify(c, sheet, pieces, 0); err != nil || told != value {
		t.Fatalf("worth %d, cut for %d: %v", value, told, err)
	}
	if value > best || float64(value) < 0.9999*float64(best) {
		t.Errorf("worth %d, where %d is the most", value, best)
	}
	if _, _, err := Exact(context.Background(), sheet, pieces, 0); !errors.Is(err, ErrTooFine) {
		t.Errorf("cut without limit of stages: %v", err)
	}
}
