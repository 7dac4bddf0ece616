// Package nest places flat outlines, with holes, on rectangular bins: leaves
// on veneer blanks, footprints on a print bed. It knows polygons, not veneer.
//
// Pack fills as few and as cheap bins as it can, Strip fills a band of fixed
// height to the least length, and Verify judges any layout by integer
// arithmetic of its own. Lengths are millimetres and angles radians. The work
// is bounded by a count of iterations, never by a clock: the same items, bins
// and options give the same layout.
//
// Every layout is made of whole micrometres. An outline is turned about its
// own origin, each vertex is rounded to the nearest micrometre, and the
// translation is a whole number of micrometres; that rounded outline is what
// Pack keeps apart and what Verify measures, so that pieces may touch exactly
// and the answer is still beyond doubt.
package nest

import (
	"errors"
	"fmt"
	"math"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
)

// Item is an outline to be placed, and how often.
type Item struct {
	ID       string        // unique among the items
	Shape    geom.Polygons // outer loops and holes, mm; loops may touch but not cross
	Quantity int           // copies; 0 means 1
	Turns    []float64     // allowed rotations about the shape's origin, rad; none means {0}
	Band     float64       // how far it may be turned beside each of Turns, either way, rad; half and whole are tried
	Priority int           // higher is placed first, and left out last
	Kind     string        // goes only on bins of the same kind

	// Items of one Set lie together as one piece: each has its origin at Offset
	// from the set's, in the set's own directions, and all are turned alike: in
	// whole micrometres, At less Offset turned by Turn and rounded is the same for
	// all of one copy. They have the same Turns, Band, Quantity, Kind and number of
	// Pins, and before they are turned lie as far apart as Options.Gap says. Their
	// Priority is the highest among them. See Row.
	Set    string
	Offset geom.Vec2 // mm

	// Pins say where copies lie whatever else happens, the first copies first. A
	// bin with pins is opened in any case. Items of a set are pinned together.
	Pins []Pin
}

// Pin holds a copy of an item in its place.
type Pin struct {
	Bin  string // ID of the Bin
	Copy int    // which of them, 0-based
	Turn float64
	At   geom.Vec2 // rounded to the micrometre
}

// Unlimited as a Bin's Quantity lets Pack open as many as it needs.
const Unlimited = -1

// Bin is a rectangle to place items on. Its lower left corner is the origin
// of the placements and of its reserved areas.
type Bin struct {
	ID       string          // unique among the bins
	Size     geom.Vec2       // mm
	Quantity int             // how many there are; 0 means 1, Unlimited any number
	Margin   float64         // strip along all four edges that stays empty, mm
	Reserved []geom.Polygons // areas that stay empty, with Options.Gap around them
	Best     geom.Polygons   // where the figure is best: items of a Priority above 0 go there if they can
	Cost     float64         // what opening one costs; 0 means its area in mm²
	Kind     string          // takes only items of the same kind
	Open     bool            // one is opened in any case, before others, as if something were pinned there
}

// Options steer Pack and Strip. The zero value works.
type Options struct {
	// Gap is the least distance between two items, and between an item and a
	// reserved area, mm. With a gap of 0 they may touch. The distance to the
	// edge of the bin is the bin's Margin.
	Gap float64

	// Seed picks one of many equally deterministic searches.
	Seed int64

	// Iterations is the search budget: how many times a layout is partly taken
	// up and laid again. A layout of more than 64 items counts for several.
	// 0 means DefaultIterations, a negative number none.
	Iterations int

	// Lines lets Pack and Strip go on from their first layout by separation, which
	// reaches far denser layouts: about how many upright and level lines it may
	// look along for places. 100,000 take about a second; 0 means none.
	Lines int

	// Spent, if not nil, says in place of Lines what share of the time for
	// separation is spent, 1 and above when it is over. Layouts then depend on
	// the clock, if that does.
	Spent func() float64

	// Progress, if not nil, is called after each iteration with the share of
	// the budget that is used and the density, 0 to 1, of the best layout so far
	// on the kind of bin in hand.
	Progress func(done, total int, density float64)

	// Better, if not nil, is called with every layout of the kind of bin in hand that
	// separation on bins comes upon and that is better than those before.
	Better func(*Layout)
}

// DefaultIterations suits an answer that somebody waits for.
const DefaultIterations = 120

// Placement says where one copy of an item lies: its shape is turned by Turn
// about its own origin, then moved by At.
type Placement struct {
	Item string
	Copy int // 0-based, below the item's quantity
	Bin  int // index into Layout.Bins
	Turn float64
	At   geom.Vec2 // a whole number of micrometres
}

// Place is the shape as placed, mm. It is not rounded to micrometres.
func (p Placement) Place(shape geom.Polygons) geom.Polygons {
	return shape.Map(func(v geom.Vec2) geom.Vec2 { return v.Rotate(p.Turn).Add(p.At) })
}

// BinUse is one opened bin.
type BinUse struct {
	ID      string    // of the Bin
	Copy    int       // 0-based: which of the bins with that ID
	Items   int       // number of placements
	Area    float64   // of the items on it, mm²
	Density float64   // Area over the whole area of the bin, 0 to 1
	Extent  geom.Box2 // bounding box of its items; what lies outside is offcut
	Cost    float64   // as charged, see Bin.Cost
}

// Reason says why copies of an item were not placed.
type Reason string

const (
	BadShape    Reason = "bad-shape"   // no area, or loops that cross
	NoBin       Reason = "no-bin"      // no bin of the item's kind
	TooLarge    Reason = "too-large"   // does not fit even an empty bin at any allowed turn
	NoRoom      Reason = "no-room"     // the bins are full
	Interrupted Reason = "interrupted" // the context ended first
)

// Unplaced is a number of copies of an item that are not in the layout: those
// from Copy on.
type Unplaced struct {
	Item   string
	Copy   int // first copy left out; the later ones are left out too
	Count  int
	Reason Reason
	Detail string // the figures behind the reason
}

// Layout is the answer of Pack. It is complete when Unplaced is empty.
type Layout struct {
	Placements  []Placement // by bin, then in order of the items and copies given
	Bins        []BinUse    // in the order opened, kind by kind
	Unplaced    []Unplaced
	Cost        float64 // of the bins
	Density     float64 // area of the items placed over the area of the bins, 0 to 1
	BestArea    float64 // of items of a Priority above 0 that lie wholly in their bin's Best, mm²; sets count as one, unless pinned
	Lines       int     // looked along for places by separation, as far as they counted
	Interrupted bool    // the context ended before the budget: the best layout until then
}

// Findings says which items were left out, in the maker's words. A missing
// item stops the job.
func (l *Layout) Findings() []finding.Finding {
	var out []finding.Finding
	for _, u := range l.Unplaced {
		f := finding.Finding{Severity: finding.Stop, Stage: "nest", Code: "unplaced-" + string(u.Reason), Subject: u.Item, Message: u.Detail}
		switch u.Reason {
		case BadShape:
			f.Remedy = "correct the outline"
		case NoBin:
			f.Remedy = "add stock of that kind"
		case TooLarge:
			f.Remedy = "divide it; or use larger stock; or allow it to be turned"
		case NoRoom:
			f.Remedy = "add stock; or reduce the gap or the margin"
		case Interrupted:
			f.Remedy = "run it again to the end"
		}
		out = append(out, f)
	}
	return finding.Sorted(out)
}

// maxCopies and maxSpan bound the work and keep the integer predicates within
// 63 bits. A shape's vertices lie within maxSpan/2 of its origin and that
// within maxSpan of the bin's, so that differences of doubled coordinates stay
// below 3 x 2^29 and their cross products below 2^63.
const (
	maxCopies = 200_000
	maxSpan   = 1 << 28 // µm, 268 m
)

// checkRequest returns an error for what no layout can be made or judged of.
func checkRequest(items []Item, bins []Bin, gap float64) error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("nest: "+format, a...)) }
	if !(gap >= 0) || gap*micron > maxSpan {
		bad("gap %g mm is not a length", gap)
	}
	total := 0
	seen := map[string]bool{}
	for _, it := range items {
		if seen[it.ID] {
			bad("item %q is given twice", it.ID)
		}
		seen[it.ID] = true
		if it.Quantity < 0 {
			bad("item %q: quantity %d", it.ID, it.Quantity)
		}
		if total += it.copies(); total > maxCopies {
			bad("more than %d copies", maxCopies)
			break
		}
		for _, t := range it.Turns {
			if math.IsNaN(t) || math.IsInf(t, 0) {
				bad("item %q: turn %g is not an angle", it.ID, t)
			}
		}
		if !(it.Band >= 0 && it.Band <= 2*math.Pi) {
			bad("item %q: a band of %g rad to either side", it.ID, it.Band)
		}
	}
	clear(seen)
	for _, b := range bins {
		if seen[b.ID] {
			bad("bin %q is given twice", b.ID)
		}
		seen[b.ID] = true
		if b.Quantity < Unlimited {
			bad("bin %q: quantity %d", b.ID, b.Quantity)
		}
		if !(b.Size.X > 0 && b.Size.Y > 0) || max(b.Size.X, b.Size.Y)*micron > maxSpan {
			bad("bin %q: size %g x %g mm", b.ID, b.Size.X, b.Size.Y)
		}
		if !(b.Margin >= 0) || math.IsInf(b.Margin, 0) {
			bad("bin %q: margin %g mm", b.ID, b.Margin)
		}
		if !(b.Cost >= 0) || math.IsInf(b.Cost, 0) {
			bad("bin %q: cost %g", b.ID, b.Cost)
		}
	}
	if len(errs) == 0 { // what follows relies on the rest
		errs = append(checkSets(items, gap), checkPins(items, bins, gap)...)
	}
	return errors.Join(errs...)
}

func (it Item) copies() int { return max(it.Quantity, 1) }

func (it Item) turns() []float64 {
	if len(it.Turns) == 0 {
		return []float64{0}
	}
	return it.Turns
}

func (b Bin) copies() int {
	if b.Quantity == 0 {
		return 1
	}
	return b.Quantity
}

func (b Bin) cost() float64 {
	if b.Cost == 0 {
		return b.Size.X * b.Size.Y
	}
	return b.Cost
}
