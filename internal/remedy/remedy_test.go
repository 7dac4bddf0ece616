package remedy

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
)

// counted is a ladder of steps that set the contours to 1, 2, 3 … with those
// refused that cannot be made.
func counted(n, impossibleFrom int) Ladder {
	l := Ladder{Kind: "contours"}
	for i := 1; i <= n; i++ {
		l.Steps = append(l.Steps, Step{Text: fmt.Sprintf("step %d", i), Apply: func(_ context.Context, in stress.Inputs) (stress.Inputs, error) {
			if i >= impossibleFrom {
				return in, fmt.Errorf("no room: %w", ErrNotPossible)
			}
			in.Profile = func(int) shop.Profile { return shop.Profile{Contours: i} }
			return in, nil
		}})
	}
	return l
}

func plain() stress.Inputs {
	return stress.Inputs{Profile: func(int) shop.Profile { return shop.Profile{} }}
}

func TestSearch(t *testing.T) {
	for _, tt := range []struct {
		name         string
		steps, never int
		full, rough  func(contours float64) float64
		want         string // the remedy's or the short one's text, "" for neither
		short        bool
	}{
		{"the third step is the first that passes", 8, 99, func(n float64) float64 { return 0.5 + 0.2*n }, func(n float64) float64 { return 0.5 + 0.2*n }, "step 3", false},
		{"rough is wrong by a factor, which the piece as it stands tells", 8, 99, func(n float64) float64 { return 0.5 + 0.2*n }, func(n float64) float64 { return 5 + 2*n }, "step 3", false},
		{"rough hopes for too much: full goes on", 8, 99, func(n float64) float64 { return 0.5 + 0.1*n }, func(n float64) float64 { return 0.5 + 0.3*n }, "step 5", false},
		{"not far enough", 3, 99, func(n float64) float64 { return 0.5 + 0.1*n }, func(n float64) float64 { return 0.5 + 0.1*n }, "step 3", true},
		{"what would do cannot be made", 8, 3, func(n float64) float64 { return 0.5 + 0.2*n }, func(n float64) float64 { return 0.5 + 0.2*n }, "step 2", true},
		{"nothing can be made", 8, 1, func(n float64) float64 { return 0.5 + 0.2*n }, func(n float64) float64 { return 0.5 + 0.2*n }, "", false},
		{"it does not help", 8, 99, func(n float64) float64 { return 0.5 }, func(n float64) float64 { return 0.5 }, "", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			asked := 0
			margin := func(f func(float64) float64) Margin {
				return func(_ context.Context, in stress.Inputs) (float64, error) {
					asked++
					return f(float64(in.Profile(0).Contours)), nil
				}
			}
			r, err := Search(context.Background(), plain(), []Ladder{counted(tt.steps, tt.never)}, tt.full(0), margin(tt.rough), margin(tt.full))
			if err != nil {
				t.Fatal(err)
			}
			got, short := "", false
			for _, x := range r.Found {
				got = x.Text
				if x.Margin < 1 {
					t.Errorf("%s is told with a margin of %.2f", x.Text, x.Margin)
				}
			}
			for _, x := range r.Short {
				got, short = x.Text, true
			}
			if got != tt.want || short != tt.short {
				t.Errorf("%q, short %v; want %q, short %v", got, short, tt.want, tt.short)
			}
		})
	}
}

// With margins that grow, the step found is the lowest that passes, whatever
// rough says, unless rough hopes for too little.
func TestSearchFindsTheLowest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.IntRange(1, 12).Draw(t, "steps")
		margins := []float64{rapid.Float64Range(0.1, 0.99).Draw(t, "as it stands")}
		for i := range steps {
			margins = append(margins, margins[i]+rapid.Float64Range(0, 0.3).Draw(t, "gain"))
		}
		m := func(_ context.Context, in stress.Inputs) (float64, error) {
			return margins[in.Profile(0).Contours], nil
		}
		r, err := Search(context.Background(), plain(), []Ladder{counted(steps, 99)}, margins[0], m, m)
		if err != nil {
			t.Fatal(err)
		}
		want := ""
		for i, v := range margins[1:] {
			if v >= 1 {
				want = fmt.Sprintf("step %d", i+1)
				break
			}
		}
		if want == "" && len(r.Found) > 0 || want != "" && (len(r.Found) != 1 || r.Found[0].Text != want) {
			t.Fatalf("found %v, want %q of %v", r.Found, want, margins)
		}
	})
}

func TestSearchPassesErrorsOn(t *testing.T) {
	broken := errors.New("out of memory")
	m := func(_ context.Context, in stress.Inputs) (float64, error) {
		if in.Profile(0).Contours > 0 {
			return 0, broken
		}
		return 0.5, nil
	}
	if _, err := Search(context.Background(), plain(), []Ladder{counted(3, 99)}, 0.5, m, m); !errors.Is(err, broken) || !strings.Contains(err.Error(), "step") {
		t.Errorf("error %v: want the step and its cause", err)
	}
}

func rectangle(l, w, t float64) *piece.Board {
	var p geom.Path
	pts := []geom.Vec2{{X: 0, Y: 0}, {X: l, Y: 0}, {X: l, Y: w}, {X: 0, Y: w}}
	for i, a := range pts {
		p.Segs = append(p.Segs, geom.LineTo(a, pts[(i+1)%4]))
	}
	p.Closed = true
	return &piece.Board{Outline: piece.Outline{Path: p, Run: []int{0, 1, 2, 3}}, Thickness: t}
}

func oneBoard(t float64, bores ...joint.Bore) stress.Inputs {
	return stress.Inputs{
		Cores:    []piece.Member{{ID: "shelf", Name: "shelf", Place: geom.World(), Board: rectangle(600, 200, t)}},
		Bodies:   []seam.Body{{ID: "shelf", Members: []int{0}}},
		Joints:   &joint.Result{Joints: []joint.Joint{{Bores: bores}}},
		Shop:     &shop.Shop{Filaments: []shop.Filament{{ID: "pla"}, {ID: "abs"}}},
		Filament: func(int) shop.Filament { return shop.Filament{ID: "pla"} },
		Profile:  func(int) shop.Profile { return shop.Profile{Contours: 3, CoverLayers: 4, Fill: 0.15} },
		Weight:   func(int) float64 { return 1000 },
	}
}

func apply(t *testing.T, in stress.Inputs, kind string, step int) (stress.Inputs, error) {
	t.Helper()
	for _, l := range OfBody(in, 0) {
		if l.Kind == kind {
			return l.Steps[step].Apply(context.Background(), in)
		}
	}
	t.Fatalf("no ladder %q", kind)
	return in, nil
}

func TestThickerKeepsWhatItIsJoinedTo(t *testing.T) {
	in := oneBoard(20)
	in.Joints.Contacts = []joint.Contact{{A: joint.Side{Member: 0}, B: joint.Side{Member: 9}, Frame: geom.World(), Area: 100}} // on its face
	got, err := apply(t, in, "thickness", 1)
	if err != nil {
		t.Fatal(err)
	}
	c := got.Cores[0]
	if c.Board.Thickness != 24 || math.Abs(c.Place.Point(geom.V3(0, 0, 24)).Z-20) > 1e-12 {
		t.Errorf("%.1f thick, its face at %.1f; want 24 and 20", c.Board.Thickness, c.Place.Point(geom.V3(0, 0, c.Board.Thickness)).Z)
	}
	if w := got.Weight(0); math.Abs(w-1200) > 1e-9 {
		t.Errorf("weighs %.0f g, want 1200", w)
	}
	if in.Cores[0].Board.Thickness != 20 {
		t.Error("the piece as it stands was changed")
	}
	in.Joints.Contacts[0].Frame = geom.Frame{Origin: geom.Vec3{}, X: geom.V3(1, 0, 0), Y: geom.V3(0, -1, 0), Z: geom.V3(0, 0, -1)} // on its back
	if got, err = apply(t, in, "thickness", 1); err != nil || got.Cores[0].Place.Origin.Z != 0 {
		t.Errorf("held at its back it moved to %v (%v)", got.Cores[0].Place.Origin, err)
	}
	other := in.Joints.Contacts[0]
	other.Frame = geom.World()
	in.Joints.Contacts = append(in.Joints.Contacts, other)
	if _, err = apply(t, in, "thickness", 1); !errors.Is(err, ErrNotPossible) {
		t.Errorf("held on both sides: %v", err)
	}
}

func TestRodsKeepTheirWalls(t *testing.T) {
	in := oneBoard(30, joint.Bore{Member: 0, Mouth: geom.V3(300, 100, 0), Axis: geom.V3(0, 0, 1), Diameter: 8, Depth: 12})
	got, err := apply(t, in, "rod", 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Rods) != 2 {
		t.Fatalf("%d rods, want 2", len(got.Rods))
	}
	for _, r := range got.Rods {
		if l := r.From.Dist(r.To); l < 560 || l > 580 {
			t.Errorf("%.0f mm long in a board of 600", l)
		}
		if y := math.Abs(r.From.Y - 100); y < 4+r.Diameter/2+wallOfRod {
			t.Errorf("%.1f mm beside the middle of a bore of 8", y)
		}
		if min(r.From.Z, 30-r.From.Z) < r.Diameter/2+wallOfRod-1e-9 {
			t.Errorf("at height %.1f it breaks through the face", r.From.Z)
		}
	}
	if d := math.Abs(got.Rods[0].From.Z - got.Rods[1].From.Z); d < 20 {
		t.Errorf("only %.1f mm apart", d)
	}
}

func TestThinBoardsTakeNoRods(t *testing.T) {
	for _, l := range OfBody(oneBoard(12), 0) {
		if l.Kind == "rod" {
			t.Errorf("two rods of 3 mm in 12 mm of plastic: %v", l.Steps[0].Text)
		}
	}
}
