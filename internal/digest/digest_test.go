package digest

import (
	"crypto/sha256"
	"errors"
	"math"
	"sync"
	"testing"
	"unsafe"

	"pgregory.net/rapid"
)

type point struct{ X, Y float64 }

type gappy struct { // seven bytes between its fields
	B bool
	F float64
}

type secret struct{ hidden []string }

type ring struct {
	N    int
	Next *ring
}

type nest []nest

type shape struct{ id byte }

func (s shape) Hash() [32]byte { return sha256.Sum256([]byte{s.id}) }

type solid struct {
	name string
	lazy sync.Mutex
}

func (s *solid) Hash() [32]byte { return sha256.Sum256([]byte(s.name)) }

type holder struct{ s shape } // not exported: it cannot be asked through reflection alone

type shapeAnd struct {
	shape // its method would forget N
	N     int
}

type watched struct {
	N    int
	Seen func(int) `digest:"-"`
}

func of(t testing.TB, v any) Sum {
	t.Helper()
	s, err := Of(v)
	if err != nil {
		t.Fatalf("%#v: %v", v, err)
	}
	return s
}

func TestToldApart(t *testing.T) {
	n := 1
	for _, tt := range []struct {
		name string
		a, b any
	}{
		{"numbers", 1, 2},
		{"types", 1, 1.0},
		{"names of types", point{1, 2}, struct{ X, Y float64 }{1, 2}},
		{"nought and minus nought", 0.0, math.Copysign(0, -1)},
		{"a nil slice and an empty one", []int(nil), []int{}},
		{"a nil map and an empty one", map[string]int(nil), map[string]int{}},
		{"a nil pointer and one to nought", (*int)(nil), new(int)},
		{"where one string ends and the next begins", []string{"ab", "c"}, []string{"a", "bc"}},
		{"where one slice ends and the next begins", [][]int{{1, 2}, {3}}, [][]int{{1}, {2, 3}}},
		{"the order of a slice", []int{1, 2}, []int{2, 1}},
		{"length, not capacity", []int{1, 0}[:1], []int{1, 0}},
		{"the last of many", make([]float64, 5000), append(make([]float64, 4999), 1)},
		{"fields that are not exported", secret{[]string{"a"}}, secret{[]string{"b"}}},
		{"which key has which value", map[string]int{"a": 1, "b": 2}, map[string]int{"a": 2, "b": 1}},
		{"what an interface holds", []any{1}, []any{"1"}},
		{"an interface with nothing and one with a nil pointer", []any{nil}, []any{(*int)(nil)}},
		{"hashes", shape{1}, shape{2}},
		{"hashes of fields that are not exported", holder{shape{1}}, holder{shape{2}}},
		{"what stands beside an embedded hash", shapeAnd{shape{1}, 1}, shapeAnd{shape{1}, 2}},
		{"pointers' hashes", &solid{name: "a"}, &solid{name: "b"}},
		{"rings of other lengths", around(2), around(3)},
		{"arrays", [2]int{1, 2}, [2]int{2, 1}},
		{"flags", gappy{true, 1}, gappy{false, 1}},
		{"a pointer and what it points to", &n, n},
	} {
		if of(t, tt.a) == of(t, tt.b) {
			t.Errorf("%s: not told apart", tt.name)
		}
	}
}

func around(n int) *ring {
	first := &ring{}
	last := first
	for i := 1; i < n; i++ {
		last.Next = &ring{N: i}
		last = last.Next
	}
	last.Next = first
	return first
}

func TestAlike(t *testing.T) {
	p, q := &point{1, 2}, &point{1, 2}
	var bare, full gappy
	bare = gappy{true, 1}
	for i := range unsafe.Slice((*byte)(unsafe.Pointer(&full)), unsafe.Sizeof(full)) {
		unsafe.Slice((*byte)(unsafe.Pointer(&full)), unsafe.Sizeof(full))[i] = 0xff
	}
	full.B, full.F = true, 1
	a, b := map[string]int{}, map[string]int{}
	for i := range 100 {
		a[string(rune('a'+i))] = i
		b[string(rune('a'+99-i))] = 99 - i
	}
	wide := make([]int, 1, 100)
	self := nest{nil}
	self[0] = self
	for _, tt := range []struct {
		name string
		a, b any
	}{
		{"whether pointers are the same", []*point{p, p}, []*point{p, q}},
		{"what lies between fields", []gappy{bare}, []gappy{full}},
		{"the order of a map", a, b},
		{"capacity", wide, []int{0}},
		{"a NaN of the same bits", math.NaN(), math.NaN()},
		{"who watches", watched{1, func(int) {}}, watched{1, nil}},
		{"what a type with a hash holds beside", &solid{name: "a", lazy: sync.Mutex{}}, &solid{name: "a"}},
		{"rings", around(3), around(3)},
		{"a slice in itself", self, self},
		{"nothing", nil, nil},
	} {
		if of(t, tt.a) != of(t, tt.b) {
			t.Errorf("%s: told apart", tt.name)
		}
	}
}

// Content is told the same in every process: results may one day be kept on disk.
func TestSameInEveryProcess(t *testing.T) {
	first := of(t, map[string][]point{"a": {{1, 2}}, "b": nil})
	for range 20 {
		if of(t, map[string][]point{"b": nil, "a": {{1, 2}}}) != first {
			t.Fatal("not the same twice")
		}
	}
}

func TestNoContent(t *testing.T) {
	for _, v := range []any{
		func() {}, []any{func() {}}, struct{ f func() }{func() {}}, make(chan int), &sync.Mutex{}, struct{ o sync.Once }{},
		map[string]func(){"a": func() {}}, unsafe.Pointer(new(int)), solid{}, // its hash is the pointer's
	} {
		if _, err := Of(v); !errors.Is(err, ErrNoContent) {
			t.Errorf("%T: %v", v, err)
		}
	}
	for _, v := range []any{(func())(nil), struct{ f func() }{}, (chan int)(nil), (*sync.Mutex)(nil), (*solid)(nil)} {
		if _, err := Of(v); err != nil {
			t.Errorf("a nil %T: %v", v, err)
		}
	}
}

// tree is a value of every kind, made at random.
type tree struct {
	I    int32
	F    float64
	S    string
	B    []byte
	P    *tree
	M    map[string]tree
	Kids []tree
	Any  any
	At   [2]point
}

func randomTree(t *rapid.T, depth int) tree {
	out := tree{
		I: rapid.Int32().Draw(t, "i"), F: rapid.Float64().Draw(t, "f"), S: rapid.StringN(0, 3, -1).Draw(t, "s"),
		B: rapid.SliceOfN(rapid.Byte(), 0, 3).Draw(t, "b"), At: [2]point{{rapid.Float64().Draw(t, "x"), 0}, {}},
	}
	if depth == 0 {
		return out
	}
	if rapid.Bool().Draw(t, "p") {
		p := randomTree(t, depth-1)
		out.P, out.Any = &p, p
	}
	for range rapid.IntRange(0, 2).Draw(t, "kids") {
		out.Kids = append(out.Kids, randomTree(t, depth-1))
	}
	if rapid.Bool().Draw(t, "m") {
		out.M = map[string]tree{}
		for range rapid.IntRange(0, 3).Draw(t, "entries") {
			out.M[rapid.StringN(0, 2, -1).Draw(t, "key")] = randomTree(t, depth-1)
		}
	}
	return out
}

func (a tree) copied() tree {
	b := a
	b.B = append([]byte(nil), a.B...)
	if a.B != nil && b.B == nil {
		b.B = []byte{}
	}
	if a.P != nil {
		p := a.P.copied()
		b.P = &p
	}
	if v, ok := a.Any.(tree); ok {
		b.Any = v.copied()
	}
	if a.M != nil {
		b.M = map[string]tree{}
		for k, v := range a.M {
			b.M[k] = v.copied()
		}
	}
	b.Kids = nil
	for _, k := range a.Kids {
		b.Kids = append(b.Kids, k.copied())
	}
	return b
}

// A deep copy has the same digest, and none if anything in it is changed.
func TestCopiesAndChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := randomTree(t, 2)
		b := a.copied()
		before, err := Of(a)
		if err != nil {
			t.Fatal(err)
		}
		if same, _ := Of(b); same != before {
			t.Fatal("a copy is told apart")
		}
		at := &b
		for len(at.Kids) > 0 && rapid.Bool().Draw(t, "deeper") {
			at = &at.Kids[rapid.IntRange(0, len(at.Kids)-1).Draw(t, "kid")]
		}
		switch rapid.IntRange(0, 5).Draw(t, "what") {
		case 0:
			at.I++
		case 1:
			at.F = math.Float64frombits(math.Float64bits(at.F) ^ 1)
		case 2:
			at.S += "x"
		case 3:
			at.B = append(at.B, 0)
		case 4:
			at.Kids = append(at.Kids, tree{})
		case 5:
			at.At[1].Y = 1
		}
		if now, _ := Of(b); now == before {
			t.Fatal("a change is not told")
		}
	})
}

func BenchmarkOf(b *testing.B) {
	points := make([]point, 1<<16)
	loops := make([][]point, 1<<12)
	for i := range loops {
		loops[i] = points[:16]
	}
	b.Run("plain", func(b *testing.B) {
		b.SetBytes(1 << 20)
		for b.Loop() {
			of(b, points)
		}
	})
	b.Run("nested", func(b *testing.B) {
		b.SetBytes(1 << 20)
		for b.Loop() {
			of(b, loops)
		}
	})
}
