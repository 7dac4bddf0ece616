// Package pack puts boxes into a box: as many as go in, all of them into the
// smallest of some boxes, or all of them into the smallest box there can be
// within limits. It knows boxes, not what is in them.
//
// Items may be kept from being turned or tipped, may bear a limited load or none,
// and are put down on the floor or on one another, with a share of every base
// supported. Blocks of boxes that fill their own outline are put one by one
// into corners of maximal free spaces; a beam of part-filled boxes, each judged by
// filling it up greedily, decides which. docs/packing.md says what that reaches.
//
// Lengths in mm, masses in g. Everything is reckoned in whole micrometres: items
// are rounded up, boxes down. The same input and number of steps give the same
// layout.
package pack

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// Turn is one of the six ways in which an item's edges can lie along those of
// the box: Turn(t) puts the item's edge Axes()[i] along the box's axis i.
type Turn uint8

var axes = [6][3]int{{0, 1, 2}, {1, 0, 2}, {0, 2, 1}, {2, 0, 1}, {1, 2, 0}, {2, 1, 0}}

// Axes is which edge of the item lies along x, y and z of the box.
func (t Turn) Axes() [3]int { return axes[t] }

// Of is the size of an item so turned.
func (t Turn) Of(size geom.Vec3) geom.Vec3 {
	e := [3]float64{size.X, size.Y, size.Z}
	a := axes[t]
	return geom.V3(e[a[0]], e[a[1]], e[a[2]])
}

// Turns is a set of turns, by the edge that stands upright. The zero value is
// any turn.
type Turns uint8

const (
	UpZ    Turns = 1<<0 | 1<<1 // this side up; or flat, for what is thinnest along z
	UpY    Turns = 1<<2 | 1<<3
	UpX    Turns = 1<<4 | 1<<5
	Anyhow Turns = UpX | UpY | UpZ
)

// Has reports whether the set has t.
func (s Turns) Has(t Turn) bool { return s == 0 || s>>t&1 == 1 }

// Item is a box to pack, or several alike.
type Item struct {
	ID      string
	Size    geom.Vec3 // over all
	Count   int       // 0 is 1
	Turns   Turns
	Mass    float64 // g, of one
	Bears   float64 // g that may lie on one, over its whole top; 0 for any
	Fragile bool    // nothing may lie on it
}

func (i Item) count() int { return max(i.Count, 1) }

// Box is what items are put into.
type Box struct {
	ID      string
	Size    geom.Vec3 // inside; z is up
	MaxMass float64   // g of what is in it; 0 for any
}

// Options say how. The zero value works.
type Options struct {
	// Support is the share of every base that must lie on the floor or on tops,
	// 0..1. At 0 boxes may float, as published comparisons allow; it cannot be 0
	// when an item bears only so much.
	Support float64

	// Steps is how many blocks are put down before the best layout is taken;
	// 20000 when 0. A step takes tens of microseconds.
	Steps int
}

// Placed is one box in its place.
type Placed struct {
	Item int // index
	Turn Turn
	At   geom.Vec3 // corner nearest to the box's own
	Size geom.Vec3 // as it lies
}

// Layout is a box with what is in it.
type Layout struct {
	Box    Box
	Placed []Placed // in an order in which they can be let down from above: by z, then y, then x
	Left   []int    // by item, how many found no room
	Use    float64  // share of the box's volume that is filled
	Steps  int      // that were taken
}

// All reports whether everything found room.
func (l Layout) All() bool {
	return !slices.ContainsFunc(l.Left, func(n int) bool { return n > 0 })
}

// Mass of what is in the box, g.
func (l Layout) Mass(items []Item) float64 {
	var m float64
	for _, p := range l.Placed {
		m += items[p.Item].Mass
	}
	return m
}

// maxItems and maxSide keep whole micrometres and counts within their types; of
// boxes that bear only so much there may be no more than maxBearing, since
// loads are worked out anew for every place tried.
const (
	maxItems   = 20000
	maxBearing = 1000
	maxSide    = 1e6 // mm
)

const defaultSteps = 20000

func check(items []Item, o Options) error {
	n, loads := 0, o.Support > 0 && o.Support < 1
	for i, it := range items {
		loads = loads || it.Bears > 0 || it.Fragile
		s := it.Size
		lo, hi := min(s.X, s.Y, s.Z), max(s.X, s.Y, s.Z)
		switch {
		case !(lo > 0) || !(hi <= maxSide):
			return fmt.Errorf("pack: the size of item %d (%s) is %g x %g x %g", i, it.ID, s.X, s.Y, s.Z)
		case it.Count < 0:
			return fmt.Errorf("pack: there are %d of item %d (%s)", it.Count, i, it.ID)
		case !(it.Mass >= 0) || !(it.Bears >= 0) || math.IsInf(it.Mass, 0):
			return fmt.Errorf("pack: the mass of item %d (%s) is %g g, and it bears %g g", i, it.ID, it.Mass, it.Bears)
		case (it.Bears > 0 || it.Fragile) && o.Support <= 0:
			return fmt.Errorf("pack: item %d (%s) bears only so much, so boxes must be supported", i, it.ID)
		}
		n += it.count()
	}
	switch {
	case n > maxItems:
		return fmt.Errorf("pack: %d boxes are more than %d", n, maxItems)
	case loads && n > maxBearing:
		return fmt.Errorf("pack: %d boxes whose loads or supports are looked at are more than %d", n, maxBearing)
	case !(o.Support >= 0 && o.Support <= 1):
		return fmt.Errorf("pack: a support of %g is not between 0 and 1", o.Support)
	case o.Steps < 0:
		return errors.New("pack: fewer than no steps")
	}
	return nil
}

func checkBox(b Box) error {
	s := b.Size
	if !(min(s.X, s.Y, s.Z) > 0) || !(max(s.X, s.Y, s.Z) <= maxSide) || !(b.MaxMass >= 0) {
		return fmt.Errorf("pack: the box %s is %g x %g x %g mm for %g g", b.ID, s.X, s.Y, s.Z, b.MaxMass)
	}
	return nil
}

// Fill puts as much volume into the box as it finds a way for.
func Fill(items []Item, b Box, o Options) (Layout, error) {
	if err := errors.Join(check(items, o), checkBox(b)); err != nil {
		return Layout{}, err
	}
	if o.Support == 1 {
		return newSearch(items, b, o).run(), nil
	}
	// Whole bases on flat tops are looked for first, since there it is known
	// where something can stand; then bases that stand out, which only trying
	// tells. Where boxes may float that is worth a quarter of the steps: it fills
	// some boxes better that the other way fills worst.
	if o.Steps == 0 {
		o.Steps = defaultSteps
	}
	flat := o
	flat.Support, flat.Steps = 1, (o.Steps+1)/2
	if o.Support == 0 {
		flat.Steps = (o.Steps + 3) / 4
	}
	l := newSearch(items, b, flat).run()
	if l.All() || o.Steps <= l.Steps {
		return l, nil
	}
	o.Steps -= l.Steps
	out := newSearch(items, b, o).run()
	if out.Use <= l.Use {
		l.Steps += out.Steps
		return l, nil
	}
	out.Steps += l.Steps
	return out, nil
}

// Choose is the layout in the smallest of the boxes, by volume, that takes
// everything; false if none was found that does.
func Choose(items []Item, boxes []Box, o Options) (Layout, bool, error) {
	order := make([]int, len(boxes))
	for i := range order {
		order[i] = i
	}
	volume := func(b Box) float64 { return b.Size.X * b.Size.Y * b.Size.Z }
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(volume(boxes[a]), volume(boxes[b])) })
	for _, i := range order {
		l, err := Fill(items, boxes[i], o)
		if err != nil {
			return Layout{}, false, err
		}
		if l.All() {
			return l, true, nil
		}
	}
	return Layout{}, false, nil
}
