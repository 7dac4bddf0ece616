package guillotine

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// What is left beside random rectangles can be cut out together with them, and
// all of it is there: areas and kerfs add up to the sheet.
func TestBeside(t *testing.T) {
	if got := Beside(Size{100, 50}, nil, 3, Whole); len(got) != 1 || got[0] != (Rect{Size: Size{100, 50}}) {
		t.Errorf("of a whole sheet %v is left", got)
	}
	if got := Beside(Size{100, 50}, []Rect{{Size: Size{100, 50}}}, 3, Whole); len(got) != 0 {
		t.Errorf("of no sheet %v is left", got)
	}
	if got := Beside(Size{100, 50}, []Rect{{[2]int64{90, 0}, Size{20, 20}}}, 3, Whole); got != nil {
		t.Errorf("beyond the edge %v is left", got)
	}
	// What lies in a corner leaves a piece as long or as wide as the sheet.
	for first, want := range map[Direction]Size{Upright: {79, 50}, Level: {100, 29}} {
		if got := Beside(Size{100, 50}, []Rect{{Size: Size{20, 20}}}, 1, first); !slices.ContainsFunc(got, func(r Rect) bool { return r.Size == want }) {
			t.Errorf("first %v, %v is left", first, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		sheet := Size{rapid.Int64Range(50, 500).Draw(t, "x"), rapid.Int64Range(50, 500).Draw(t, "y")}
		kerf := rapid.Int64Range(0, 4).Draw(t, "kerf")
		var rects []Rect
		for range rapid.IntRange(0, 5).Draw(t, "n") {
			r := Rect{[2]int64{rapid.Int64Range(0, sheet.X-1).Draw(t, "at"), rapid.Int64Range(0, sheet.Y-1).Draw(t, "at")}, Size{}}
			r.Size = Size{rapid.Int64Range(1, sheet.X-r.At[0]).Draw(t, "w"), rapid.Int64Range(1, sheet.Y-r.At[1]).Draw(t, "h")}
			if more := append(rects[:len(rects):len(rects)], r); Cuttable(sheet, more, kerf) {
				rects = more
			}
		}
		left := Beside(sheet, rects, kerf, rapid.SampledFrom([]Direction{Whole, Upright, Level}).Draw(t, "first"))
		all := append(rects[:len(rects):len(rects)], left...)
		if !Cuttable(sheet, all, kerf) {
			t.Fatalf("of %v with %v, %v is left and cannot be cut out", sheet, rects, left)
		}
		var sum int64
		for _, r := range all {
			sum += r.X * r.Y
		}
		if whole := sheet.X * sheet.Y; sum > whole || kerf == 0 && sum != whole {
			t.Fatalf("%d of %d", sum, whole)
		}
	})
}
