package kit

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/pack"
	"groundwork/internal/piece"
)

// Heights of ISTA procedures 1A and 2A by packaged mass, at the ends of each
// range.
func TestDropOf(t *testing.T) {
	for _, tc := range []struct{ kg, basic, partial float64 }{
		{0.1, 760, 970}, {10, 760, 970}, {10.01, 610, 810}, {19, 610, 810}, {19.01, 460, 660}, {28, 460, 660},
		{28.01, 310, 510}, {45, 310, 510}, {45.01, 200, 310}, {68, 200, 310}, {68.01, 0, 0},
	} {
		d := DropOf(tc.kg * 1000)
		if d.Height1A != tc.basic || d.Height2A != tc.partial || d.Source == "" || d.Advice == "" {
			t.Errorf("%g kg: %+v", tc.kg, d)
		}
	}
}

func corners(size geom.Vec3) []geom.Vec3 {
	var out []geom.Vec3
	for i := range 8 {
		out = append(out, geom.V3(float64(i&1)*size.X, float64(i>>1&1)*size.Y, float64(i>>2)*size.Z))
	}
	return out
}

// A box anywhere, however it is turned, has itself as its smallest box.
func TestSmallestBoxOfABox(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := rapid.Float64Range(1, 500)
		size := []float64{num.Draw(t, "x"), num.Draw(t, "y"), num.Draw(t, "z")}
		turn := rapid.Float64Range(-3, 3)
		z := geom.V3(turn.Draw(t, "zx"), turn.Draw(t, "zy"), 1).Unit()
		x := rapid.Custom(func(t *rapid.T) geom.Vec3 {
			return geom.V3(1, turn.Draw(t, "xy"), turn.Draw(t, "xz"))
		}).Filter(func(x geom.Vec3) bool { return x.Cross(z).Len() >= 0.1 }).Draw(t, "x axis") // else the two are nearly one
		f := geom.FrameFromXZ(geom.V3(turn.Draw(t, "ox"), 100, -50), x, z)
		var points []geom.Vec3
		for _, c := range corners(geom.V3(size[0], size[1], size[2])) {
			points = append(points, f.Point(c))
		}
		at, got := smallestBox(points, []geom.Frame{f})
		slices.Sort(size)
		if want := geom.V3(size[2], size[1], size[0]); got.Sub(want).Len() > 1e-6 {
			t.Fatalf("%v, want %v", got, want)
		}
		if at.X.Cross(at.Y).Dot(at.Z) < 0.999 {
			t.Fatalf("%v is left-handed", at)
		}
		for _, p := range points {
			if q := at.Local(p); min(q.X, q.Y, q.Z) < -1e-6 || q.X > got.X+1e-6 || q.Y > got.Y+1e-6 || q.Z > got.Z+1e-6 {
				t.Fatalf("%v stands out of %v", q, got)
			}
		}
	})
}

// A board that lies askew to the frame that is known is found by its sides: a
// rectangle of 300 x 40 turned by 30 degrees has a box of its own size, not
// of the 279.8 x 184.6 round it along the axes.
func TestSmallestBoxOfWhatLiesAskew(t *testing.T) {
	var points []geom.Vec3
	for _, c := range corners(geom.V3(300, 40, 20)) {
		q := c.XY().Rotate(math.Pi / 6)
		points = append(points, geom.V3(q.X, q.Y, c.Z))
	}
	if _, got := smallestBox(points, []geom.Frame{geom.World()}); got.Sub(geom.V3(300, 40, 20)).Len() > 1e-6 {
		t.Errorf("%v", got)
	}
}

func TestTogether(t *testing.T) {
	contact := func(id string, a, b int) joint.Contact {
		return joint.Contact{ID: id, A: joint.Side{Member: a}, B: joint.Side{Member: b}}
	}
	p := &piece.Piece{Members: make([]piece.Member, 7)}
	j := &joint.Result{
		Contacts: []joint.Contact{contact("c1", 4, 1), contact("c2", 1, 2), contact("c3", 0, 1)},
		Rounds:   []joint.RoundContact{{ID: "r1", A: joint.Side{Member: 6}, B: joint.Side{Member: 5}}},
		Joints: []joint.Joint{
			{Contact: "c1", Kind: piece.Glued}, {Contact: "c2", Kind: piece.KnockDown}, {Contact: "c3", Kind: piece.Rests}, {Contact: "r1", Kind: piece.Glued},
		},
	}
	got := together(p, [][]int{{0}, {1}, {2, 3}, {4}, {5}, {6}}, j)
	want := [][]int{{0}, {1, 4}, {2, 3}, {5, 6}}
	if !slices.EqualFunc(got, want, slices.Equal) {
		t.Errorf("%v, want %v", got, want)
	}
}

// Where the eye meets one box before another, that one is drawn later.
func TestBackToFront(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var items []pack.Item
		side := rapid.Map(rapid.IntRange(1, 5), func(n int) float64 { return float64(n) })
		for range rapid.IntRange(2, 12).Draw(t, "n") {
			items = append(items, pack.Item{Size: geom.V3(side.Draw(t, "x"), side.Draw(t, "y"), side.Draw(t, "z"))})
		}
		o := pack.Options{Support: 1, Steps: 30}
		l, err := pack.Fill(items, pack.Box{Size: geom.V3(8, 8, 8)}, o)
		if err != nil {
			t.Fatal(err)
		}
		if err := pack.Verify(l, items, o); err != nil {
			t.Fatal(err)
		}
		drawn := make([]int, len(l.Placed))
		for n, i := range backToFront(l.Placed) {
			drawn[i] = n
		}
		// Rays into the picture from points between whole millimetres.
		for u := range 8 {
			for v := range 24 {
				last := -1
				for k := 0; k < 400; k++ {
					s := float64(k) * 0.05
					at := geom.V3(float64(u)+8.49-s, s-8.01, 0.37+float64(v)-s)
					for i, p := range l.Placed {
						if at.X > p.At.X && at.X < p.At.X+p.Size.X && at.Y > p.At.Y && at.Y < p.At.Y+p.Size.Y && at.Z > p.At.Z && at.Z < p.At.Z+p.Size.Z && i != last {
							if last >= 0 && drawn[i] > drawn[last] {
								t.Fatalf("%v hides %v and is drawn before it", l.Placed[last], p)
							}
							last = i
						}
					}
				}
			}
		}
	})
}
