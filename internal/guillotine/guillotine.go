// Package guillotine cuts rectangles out of sheets by cuts from edge to edge,
// as a knife along a straightedge and most saws do. It knows rectangles, not
// veneer. Lengths are whole numbers of any one unit.
//
// Exact cuts one sheet for the greatest value, Pack many items from a choice of
// stock at little cost, Strip from a strip of little length. VerifyLayout judges
// what they make, and Layout.Cuts tells it cut by cut.
package guillotine

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
)

// Size is a rectangle's, along x and along y.
type Size struct{ X, Y int64 }

// Piece is a rectangle that is worth something, as often as it can be cut.
type Piece struct {
	Size
	Value int64 // from 0; 0 stands for its area
	Turn  bool  // it may be turned by a quarter
}

func (p Piece) value() int64 {
	if p.Value == 0 {
		return p.X * p.Y
	}
	return p.Value
}

// Direction is that of a cut.
type Direction int

const (
	Whole   Direction = iota // not cut any further
	Upright                  // at a constant x
	Level                    // at a constant y
)

// Cutting is a tree of cuts: what becomes of a rectangle of the sheet. One that
// is not cut is a piece, at its lower left corner, or waste.
type Cutting struct {
	At   [2]int64 // lower left corner on the sheet
	Size Size
	Cut  Direction
	// Where is the place of the cut from the lower left corner; the kerf is taken
	// beyond it.
	Where int64
	Parts [2]*Cutting // before and beyond the cut
	Piece int         // index of the piece, -1 for waste; of what is Whole
}

// ErrTooFine is returned when there are too many places for cuts to try all.
var ErrTooFine = errors.New("there are too many places for cuts")

// mostPlaces is how many places for cuts there may be along a side. Time grows
// with their third power and memory with the square: 3,000 take about a minute
// and 200 MB.
const mostPlaces = 3000

// Exact cuts a sheet so that the pieces are worth most together, each as often
// as it likes. It finds the best of all guillotine cuttings: by dynamic
// programming over the rectangles that sums of sides can make (Beasley 1985,
// J. Oper. Res. Soc. 36, 297-306; Herz 1972, IBM J. Res. Dev. 16, 462-469). A
// kerf is met by growing pieces and sheet by it, for every piece but the last
// in a row loses one.
func Exact(ctx context.Context, sheet Size, pieces []Piece, kerf int64) (int64, *Cutting, error) {
	const most = 1 << 31 // so that areas are numbers
	if sheet.X <= 0 || sheet.Y <= 0 || sheet.X > most || sheet.Y > most || kerf < 0 || kerf > most {
		return 0, nil, fmt.Errorf("guillotine: a sheet of %d x %d with a kerf of %d", sheet.X, sheet.Y, kerf)
	}
	type kind struct {
		w, h, value int64
		piece       int
	}
	var kinds []kind
	for i, p := range pieces {
		if p.X <= 0 || p.Y <= 0 || p.Value < 0 {
			return 0, nil, fmt.Errorf("guillotine: piece %d is %d x %d, worth %d", i, p.X, p.Y, p.Value)
		}
		turns := []Size{p.Size, {p.Y, p.X}}
		if !p.Turn || p.X == p.Y {
			turns = turns[:1]
		}
		for _, s := range turns {
			if s.X <= sheet.X && s.Y <= sheet.Y {
				kinds = append(kinds, kind{s.X + kerf, s.Y + kerf, p.value(), i})
			}
		}
	}
	waste := &Cutting{Size: sheet, Piece: -1}
	if len(kinds) == 0 {
		return 0, waste, nil
	}
	side := func(pick func(k kind) int64, whole int64) ([]int64, error) {
		var sides []int64
		for _, k := range kinds {
			sides = append(sides, pick(k))
		}
		return sums(sides, whole, mostPlaces)
	}
	xs, err := side(func(k kind) int64 { return k.w }, sheet.X+kerf)
	if err != nil {
		return 0, nil, fmt.Errorf("guillotine: along x: %w", err)
	}
	ys, err := side(func(k kind) int64 { return k.h }, sheet.Y+kerf)
	if err != nil {
		return 0, nil, fmt.Errorf("guillotine: along y: %w", err)
	}
	rx, ry := rests(xs), rests(ys)

	// best[i*n+j] is what a rectangle of xs[i] by ys[j] is worth, and how is how.
	n := len(ys)
	best := make([]int64, len(xs)*n)
	type how struct {
		cut  Direction
		at   int32 // index of the place of the cut, or of the kind
		none bool
	}
	ways := make([]how, len(best))
	for i := range xs {
		if ctx.Err() != nil {
			return 0, nil, fmt.Errorf("guillotine: %w", ctx.Err())
		}
		for j := range ys {
			value, way := int64(0), how{none: true}
			for k, q := range kinds {
				if q.w <= xs[i] && q.h <= ys[j] && q.value > value {
					value, way = q.value, how{at: int32(k)}
				}
			}
			for a := 1; a < i && 2*xs[a] <= xs[i]; a++ {
				if v := best[a*n+j] + best[int(rx[i*(i+1)/2+a])*n+j]; v > value {
					value, way = v, how{cut: Upright, at: int32(a)}
				}
			}
			row := best[i*n:]
			rest := ry[j*(j+1)/2:]
			for a := 1; a < j && 2*ys[a] <= ys[j]; a++ {
				if v := row[a] + row[rest[a]]; v > value {
					value, way = v, how{cut: Level, at: int32(a)}
				}
			}
			best[i*n+j], ways[i*n+j] = value, way
		}
	}

	// The true rectangle may be larger than the one that sums make.
	var cutUp func(i, j int, at [2]int64, size Size) *Cutting
	cutUp = func(i, j int, at [2]int64, size Size) *Cutting {
		c := &Cutting{At: at, Size: size, Piece: -1}
		w := ways[i*n+j]
		switch {
		case w.cut == Upright:
			a, b := int(w.at), int(rx[i*(i+1)/2+int(w.at)])
			c.Cut, c.Where = Upright, xs[a]-kerf
			c.Parts[0] = cutUp(a, j, at, Size{c.Where, size.Y})
			c.Parts[1] = cutUp(b, j, [2]int64{at[0] + xs[a], at[1]}, Size{size.X - xs[a], size.Y})
		case w.cut == Level:
			a, b := int(w.at), int(ry[j*(j+1)/2+int(w.at)])
			c.Cut, c.Where = Level, ys[a]-kerf
			c.Parts[0] = cutUp(i, a, at, Size{size.X, c.Where})
			c.Parts[1] = cutUp(i, b, [2]int64{at[0], at[1] + ys[a]}, Size{size.X, size.Y - ys[a]})
		case !w.none:
			k := kinds[w.at]
			c = trimmed(c, Size{k.w - kerf, k.h - kerf}, kerf, k.piece)
		}
		return c
	}
	return best[len(best)-1], cutUp(len(xs)-1, n-1, [2]int64{}, sheet), nil
}

// trimmed cuts a piece out of a corner of a rectangle that may be larger.
func trimmed(c *Cutting, s Size, kerf int64, piece int) *Cutting {
	switch {
	case c.Size.X > s.X:
		c.Cut, c.Where = Upright, s.X
		c.Parts[0] = trimmed(&Cutting{At: c.At, Size: Size{s.X, c.Size.Y}, Piece: -1}, s, kerf, piece)
		c.Parts[1] = &Cutting{At: [2]int64{c.At[0] + s.X + kerf, c.At[1]}, Size: Size{max(0, c.Size.X-s.X-kerf), c.Size.Y}, Piece: -1}
	case c.Size.Y > s.Y:
		c.Cut, c.Where = Level, s.Y
		c.Parts[0] = trimmed(&Cutting{At: c.At, Size: Size{c.Size.X, s.Y}, Piece: -1}, s, kerf, piece)
		c.Parts[1] = &Cutting{At: [2]int64{c.At[0], c.At[1] + s.Y + kerf}, Size: Size{c.Size.X, max(0, c.Size.Y-s.Y-kerf)}, Piece: -1}
	default:
		c.Piece = piece
	}
	return c
}

// sums are 0 and the lengths up to whole that sides add up to, in order: an error
// if they are more than most.
func sums(sides []int64, whole int64, most int) ([]int64, error) {
	out := []int64{0}
	seen := map[int64]bool{0: true}
	slices.Sort(sides)
	sides = slices.Compact(sides)
	for _, s := range sides {
		// out grows while it is gone through: a side may be there many times.
		for i := 0; i < len(out); i++ {
			if v := out[i] + s; v <= whole && !seen[v] {
				seen[v] = true
				out = append(out, v)
				if len(out) > most {
					return nil, fmt.Errorf("more than %d: %w", most, ErrTooFine)
				}
			}
		}
	}
	slices.Sort(out)
	return out, nil
}

// rests says for every length and every place of a cut in it what is left, as
// the index of the greatest sum within it: of length i and place a at
// i(i+1)/2 + a.
func rests(at []int64) []int32 {
	out := make([]int32, 0, len(at)*(len(at)+1)/2)
	for i := range at {
		k := i
		for a := 0; a <= i; a++ {
			for at[k] > at[i]-at[a] {
				k--
			}
			out = append(out, int32(k))
		}
	}
	return out
}

// Verify says what is wrong with a cutting of a sheet, and what its pieces are
// worth. It trusts nothing but the tree: every rectangle is what its cuts leave,
// with the kerf between, and every piece has its size.
func Verify(c *Cutting, sheet Size, pieces []Piece, kerf int64) (int64, error) {
	if c == nil || c.At != [2]int64{} || c.Size != sheet {
		return 0, fmt.Errorf("guillotine: the cutting is not of a sheet of %d x %d", sheet.X, sheet.Y)
	}
	return verify(c, pieces, kerf, 0)
}

func verify(c *Cutting, pieces []Piece, kerf int64, depth int) (int64, error) {
	fail := func(format string, a ...any) (int64, error) {
		return 0, fmt.Errorf("guillotine: at %d, %d: %s", c.At[0], c.At[1], fmt.Sprintf(format, a...))
	}
	const deepest = 4 * mostCopies // a tree that is a ring has no end
	if depth > deepest {
		return fail("cut %d times over", depth)
	}
	if c.Cut == Whole {
		if c.Piece < 0 {
			return 0, nil
		}
		if c.Piece >= len(pieces) {
			return fail("there is no piece %d", c.Piece)
		}
		p := pieces[c.Piece]
		if c.Size != p.Size && !(p.Turn && c.Size == Size{p.Y, p.X}) {
			return fail("%d x %d for piece %d of %d x %d", c.Size.X, c.Size.Y, c.Piece, p.X, p.Y)
		}
		return p.value(), nil
	}
	k := 0
	length, across := c.Size.X, c.Size.Y
	if c.Cut == Level {
		k, length, across = 1, across, length
	}
	if c.Where <= 0 || c.Where >= length || c.Parts[0] == nil || c.Parts[1] == nil {
		return fail("a cut at %d of %d", c.Where, length)
	}
	beyond := c.At
	beyond[k] += c.Where + kerf
	want := [2]Cutting{{At: c.At}, {At: beyond}}
	for i, l := range []int64{c.Where, max(0, length-c.Where-kerf)} {
		want[i].Size = Size{l, across}
		if k == 1 {
			want[i].Size = Size{across, l}
		}
		if q := c.Parts[i]; q.At != want[i].At || q.Size != want[i].Size {
			return fail("the cut at %d leaves %d x %d at %d, %d, not %d x %d at %d, %d", c.Where,
				want[i].Size.X, want[i].Size.Y, want[i].At[0], want[i].At[1], q.Size.X, q.Size.Y, q.At[0], q.At[1])
		}
	}
	var sum int64
	for _, q := range c.Parts {
		v, err := verify(q, pieces, kerf, depth+1)
		if err != nil {
			return 0, err
		}
		if sum > math.MaxInt64-v {
			return fail("worth more than can be counted")
		}
		sum += v
	}
	return sum, nil
}
