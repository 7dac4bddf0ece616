package store

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

func poly(xy ...float64) geom.Polygon {
	var p geom.Polygon
	for i := 0; i < len(xy); i += 2 {
		p = append(p, geom.V2(xy[i], xy[i+1]))
	}
	return p
}

func sum(o shop.Offcut) float64 {
	free := o.Size.X * o.Size.Y
	for _, r := range o.Reserved {
		free -= r.Size.X * r.Size.Y
	}
	return free
}

func TestOffcut(t *testing.T) {
	for _, c := range []struct {
		name    string
		outline geom.Polygon
		free    float64 // mm² that planning may use
		areas   int
	}{
		{"a rectangle", Rectangle(geom.V2(100, 600)), 60_000, 0},
		{"anywhere, the other way round", poly(50, 20, 50, 620, 150, 620, 150, 20), 60_000, 0},
		{"an L", poly(0, 0, 100, 0, 100, 200, 40, 200, 40, 600, 0, 600), 36_000, 1},
		{"a T", poly(0, 0, 100, 0, 100, 100, 60, 100, 60, 400, 30, 400, 30, 100, 0, 100), 19_000, 2},
		{"a U", poly(0, 0, 100, 0, 100, 300, 70, 300, 70, 50, 20, 50, 20, 300, 0, 300), 17_500, 1},
		{"a frame with a slit", poly(0, 0, 100, 0, 100, 300, 60, 300, 60, 299, 99, 299, 99, 1, 1, 1, 1, 299, 40, 299, 40, 300, 0, 300), 776, 2},
	} {
		p, err := Piece{Form: Leftover, Outline: c.outline}.checked()
		ok(t, err)
		o, usable := p.Offcut("1")
		if !usable || len(o.Reserved) != c.areas {
			t.Errorf("%s: %v, %+v", c.name, usable, o)
		}
		near(t, c.name, sum(o), c.free, 1e-6)
	}
	// A triangle: of ten strips the rectangles that fit hold 9/10 of it, of eleven with the
	// stump 10/11; all that lies outside is reserved.
	p, err := Piece{Form: Leftover, Outline: poly(0, 0, 200, 0, 0, 600)}.checked()
	ok(t, err)
	o, usable := p.Offcut("1")
	if !usable || len(o.Reserved) > mostReserved || sum(o) < 0.9*60_000 || sum(o) > 60_000 {
		t.Errorf("%v, %v mm² of 60000: %+v", usable, sum(o), o)
	}
	// More knots than planning takes are told as one area round them all.
	p, err = Piece{Form: Leftover, Outline: Rectangle(geom.V2(100, 600))}.checked()
	ok(t, err)
	for i := range 20 {
		p.Reserved = append(p.Reserved, shop.Reserved{At: geom.V2(10, float64(10+20*i)), Size: geom.V2(5, 5)})
	}
	if o, _ = p.Offcut("1"); len(o.Reserved) != 1 || o.Reserved[0].Size != geom.V2(5, 385) {
		t.Errorf("%+v", o)
	}
}

// No point that planning may use lies outside the outline or on a reserved area,
// and there are never more reserved areas than planning takes.
func TestOffcutIsSound(t *testing.T) {
	tried, all, free := 0, 0.0, 0.0
	defer func() {
		t.Logf("%d usable pieces, of which %.0f %% may be used", tried, 100*free/all)
		if tried < 50 || free < all/2 {
			t.Error("the test has tested little, or too much is given up")
		}
	}()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 14).Draw(t, "corners")
		var outline geom.Polygon
		for i := range n { // round a middle, so that it does not cross itself
			r := rapid.Float64Range(20, 300).Draw(t, "radius")
			outline = append(outline, geom.V2(r, 0).Rotate(6.2831853*(float64(i)+rapid.Float64Range(0, 0.8).Draw(t, "turn"))/float64(n)))
		}
		if rapid.Bool().Draw(t, "rounded") { // to a grid: edges that are level and upright
			outline = outline.Map(func(q geom.Vec2) geom.Vec2 {
				return geom.V2(float64(int(q.X/50)*50), float64(int(q.Y/50)*50))
			})
		}
		p := Piece{Form: Leftover, Outline: outline}
		for range rapid.IntRange(0, 3).Draw(t, "knots") {
			x, y := rapid.Float64Range(-200, 200).Draw(t, "x"), rapid.Float64Range(-200, 200).Draw(t, "y")
			p.Reserved = append(p.Reserved, shop.Reserved{At: geom.V2(x, y), Size: geom.V2(15, 25)})
		}
		p, err := p.checked()
		if err != nil {
			t.Skip(err)
		}
		o, usable := p.Offcut("1")
		if len(o.Reserved) > mostReserved {
			t.Fatalf("%d reserved areas", len(o.Reserved))
		}
		if !usable {
			return
		}
		tried++
		if len(p.Reserved) == 0 {
			all += math.Abs(p.Outline.Area())
			free += sum(o)
		}
		in := func(r shop.Reserved, q geom.Vec2) bool {
			return q.X >= r.At.X-1e-6 && q.Y >= r.At.Y-1e-6 && q.X <= r.At.X+r.Size.X+1e-6 && q.Y <= r.At.Y+r.Size.Y+1e-6
		}
		for i := range 60 {
			for j := range 60 {
				q := geom.V2(o.Size.X*(float64(i)+0.5)/60, o.Size.Y*(float64(j)+0.5)/60)
				free := true
				for _, r := range o.Reserved {
					free = free && !in(r, q)
				}
				if !free {
					continue
				}
				if !p.Outline.Contains(q) {
					t.Fatalf("%v is free, outside %v", q, p.Outline)
				}
				for _, r := range p.Reserved {
					if in(r, q) {
						t.Fatalf("%v is free, on a knot", q)
					}
				}
			}
		}
	})
}
