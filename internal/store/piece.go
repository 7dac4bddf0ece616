package store

import (
	"cmp"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// Form says what a piece of veneer is.
type Form string

const (
	Leftover Form = "offcut"
	Cut      Form = "blank" // cut to the bed and not used
	Marked   Form = "sheet" // a whole sheet that is told apart from others, for its reserved areas or its photograph
)

// Piece is the shape of a piece of veneer, seen from its show face: mm, X across
// the grain, Y along it.
type Piece struct {
	Form      Form
	Outline   geom.Polygon    // any way round; kept with the corner of its bounds at 0, 0
	Reserved  []shop.Reserved // knots and cracks, in the outline's coordinates
	Photo     []byte          // JPEG, PNG or WebP, to be kept; Stock leaves it out
	PhotoName string          // what Store.Photo gives it by
	CutFrom   *Ref            // lot that it was cut from, if it is known
}

// Rectangle is the outline of a piece of the size.
func Rectangle(size geom.Vec2) geom.Polygon {
	return geom.Polygon{geom.V2(0, 0), geom.V2(size.X, 0), size, geom.V2(0, size.Y)}
}

// longest bounds a piece's sides, mm, and corners the number of its corners.
const (
	longest = 20_000
	corners = 1000
)

// checked is the piece with its corner at the origin, or what is wrong with it.
func (p Piece) checked() (Piece, error) {
	switch {
	case p.Form != Leftover && p.Form != Cut && p.Form != Marked:
		return p, fmt.Errorf("a piece is an offcut, a blank or a sheet, not %q", p.Form)
	case len(p.Outline) < 3 || len(p.Outline) > corners:
		return p, fmt.Errorf("an outline has 3 to %d corners, not %d", corners, len(p.Outline))
	case len(p.Reserved) > corners:
		return p, fmt.Errorf("there are %d reserved areas, more than %d", len(p.Reserved), corners)
	}
	finite := func(v geom.Vec2) bool { return math.Abs(v.X) <= longest && math.Abs(v.Y) <= longest } // no NaN either
	for _, q := range p.Outline {
		if !finite(q) {
			return p, fmt.Errorf("the corner %g, %g mm is no place on a piece of veneer", q.X, q.Y)
		}
	}
	if at, crossed := p.Outline.SelfCrossing(); crossed {
		return p, fmt.Errorf("the outline crosses itself at %.1f, %.1f mm", at.X, at.Y)
	}
	if math.Abs(p.Outline.Area()) < 1 {
		return p, errors.New("the outline encloses nothing")
	}
	o := p.Outline.Bounds().Min
	p.Outline = p.Outline.Map(func(q geom.Vec2) geom.Vec2 { return q.Sub(o) })
	p.Reserved = slices.Clone(p.Reserved)
	for i, r := range p.Reserved {
		if !finite(r.At) || !finite(r.Size) || !(r.Size.X > 0) || !(r.Size.Y > 0) {
			return p, fmt.Errorf("the reserved area %d is no rectangle", i+1)
		}
		p.Reserved[i].At = r.At.Sub(o)
	}
	return p, nil
}

func describe(ctx context.Context, tx *sql.Tx, lot int64, p Piece) error {
	p, err := p.checked()
	if err != nil {
		return err
	}
	o, r, err := p.shape()
	if err != nil {
		return err
	}
	var photo, from any
	if len(p.Photo) > 0 {
		if photo, err = keepPhoto(ctx, tx, p.Photo); err != nil {
			return err
		}
	}
	if p.CutFrom != nil {
		if from, err = lotOf(ctx, tx, *p.CutFrom); err != nil {
			return err
		}
	}
	_, err = tx.ExecContext(ctx, `INSERT INTO piece (lot, form, outline, reserved, photo, cut_from) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT (lot) DO UPDATE SET form = excluded.form, outline = excluded.outline, reserved = excluded.reserved,
			photo = coalesce(excluded.photo, photo), cut_from = coalesce(excluded.cut_from, cut_from)`, lot, p.Form, o, r, photo, from)
	return err
}

// shape is the piece's outline and reserved areas as they are kept.
func (p Piece) shape() (outline, reserved string, err error) {
	points := make([][2]float64, len(p.Outline))
	for i, q := range p.Outline {
		points[i] = [2]float64{q.X, q.Y}
	}
	areas := make([][4]float64, len(p.Reserved))
	for i, r := range p.Reserved {
		areas[i] = [4]float64{r.At.X, r.At.Y, r.Size.X, r.Size.Y}
	}
	o, err := json.Marshal(points)
	if err != nil {
		return "", "", err
	}
	a, err := json.Marshal(areas)
	return string(o), string(a), err
}

func readPiece(form, outline, reserved string, photo sql.NullString) (*Piece, error) {
	p := &Piece{Form: Form(form), PhotoName: photo.String}
	var points [][2]float64
	var areas [][4]float64
	if err := errors.Join(json.Unmarshal([]byte(outline), &points), json.Unmarshal([]byte(reserved), &areas)); err != nil {
		return nil, fmt.Errorf("%w: the shape of a piece: %w", ErrDamaged, err)
	}
	for _, q := range points {
		p.Outline = append(p.Outline, geom.V2(q[0], q[1]))
	}
	for _, a := range areas {
		p.Reserved = append(p.Reserved, shop.Reserved{At: geom.V2(a[0], a[1]), Size: geom.V2(a[2], a[3])})
	}
	return p, nil
}

// mostReserved is how many reserved areas a shop file takes for an offcut.
const mostReserved = 12

// Offcut is the piece as planning takes it: the rectangle round it, with
// everything in it reserved that is not sound veneer. No point that is neither
// inside the outline nor clear of the reserved areas is left free; where the
// outline slants, some that are sound are given up, for there are at most twelve
// reserved areas. It reports false if nothing usable remains.
func (p Piece) Offcut(id string) (shop.Offcut, bool) {
	box := p.Outline.Bounds()
	out := shop.Offcut{ID: id, Size: box.Max, Count: 1}
	own := p.Reserved
	if len(own) > mostReserved {
		own = []shop.Reserved{around(own)}
	}
	// The fewer strips the piece is taken in, the more of it is given up, and the
	// fewer areas it takes: the best of those that are few enough.
	var ys []float64
	for _, q := range p.Outline {
		ys = append(ys, q.Y)
	}
	slices.Sort(ys)
	tries := [][]float64{slices.Compact(ys)}
	for n := 12; n >= 1; n-- {
		var even []float64
		for i := range n {
			even = append(even, box.Max.Y*float64(i)/float64(n))
		}
		tries = append(tries, append(even, box.Max.Y))
	}
	best := math.Inf(1)
	for _, ys := range tries {
		bare := p.outside(ys)
		if len(bare)+len(own) > mostReserved {
			continue
		}
		var area float64
		for _, r := range bare {
			area += r.Size.X * r.Size.Y
		}
		if area < best {
			best = area
			out.Reserved = append(slices.Clone(bare), own...)
		}
	}
	return out, best < box.Max.X*box.Max.Y*(1-1e-9)
}

// around is the smallest rectangle that holds all of the areas.
func around(areas []shop.Reserved) shop.Reserved {
	b := geom.EmptyBox2()
	for _, r := range areas {
		b = b.Add(r.At).Add(r.At.Add(r.Size))
	}
	return reservedOf(b.Min, b.Max)
}

// outside covers what lies in the bounds but not in the outline by rectangles
// between consecutive heights. In such a strip a place is free if no part of the
// outline passes above or below it and it is inside at the strip's middle.
func (p Piece) outside(ys []float64) []shop.Reserved {
	width := p.Outline.Bounds().Max.X
	type span struct{ from, to float64 }
	var out []shop.Reserved
	var open []int // of out, those that end at the strip's bottom
	for i := 1; i < len(ys); i++ {
		lo, hi := ys[i-1], ys[i]
		if hi <= lo {
			continue
		}
		var touched []span // by the outline, in x
		for k, a := range p.Outline {
			b := p.Outline[(k+1)%len(p.Outline)]
			if a.Y > b.Y {
				a, b = b, a
			}
			if b.Y <= lo || a.Y >= hi {
				continue // flat edges at the strip's own bottom and top bound it, and nothing in it
			}
			at := func(y float64) float64 {
				if b.Y == a.Y {
					return a.X
				}
				return a.X + (b.X-a.X)*(min(max(y, a.Y), b.Y)-a.Y)/(b.Y-a.Y)
			}
			x0, x1 := at(lo), at(hi)
			if a.Y == b.Y {
				x0, x1 = a.X, b.X
			}
			touched = append(touched, span{min(x0, x1), max(x0, x1)})
		}
		slices.SortFunc(touched, func(s, t span) int { return cmp.Or(cmp.Compare(s.from, t.from), cmp.Compare(s.to, t.to)) })
		var bare []span
		reach := 0.0 // all left of it is free or in bare
		cover := func(to float64) {
			if n := len(bare); n > 0 && bare[n-1].to >= reach {
				bare[n-1].to = max(bare[n-1].to, to)
			} else if to > reach {
				bare = append(bare, span{reach, to})
			}
			reach = max(reach, to)
		}
		for _, t := range append(touched, span{width, width}) {
			if t.from > reach && p.Outline.Contains(geom.V2((reach+t.from)/2, (lo+hi)/2)) {
				reach = t.from
			}
			cover(t.to)
		}
		var now []int
		for _, s := range bare {
			if s.to-s.from < 1e-9 {
				continue
			}
			k := slices.IndexFunc(open, func(k int) bool { return out[k].At.X == s.from && out[k].Size.X == s.to-s.from })
			if k >= 0 { // the same as in the strip below
				out[open[k]].Size.Y = hi - out[open[k]].At.Y
				now = append(now, open[k])
				continue
			}
			now = append(now, len(out))
			out = append(out, shop.Reserved{At: geom.V2(s.from, lo), Size: geom.V2(s.to-s.from, hi-lo)})
		}
		open = now
	}
	return out
}

func reservedOf(lo, hi geom.Vec2) shop.Reserved { return shop.Reserved{At: lo, Size: hi.Sub(lo)} }
