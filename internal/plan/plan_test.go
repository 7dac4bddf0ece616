package plan

import (
	"context"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

const box = `groundwork: 1
name: box
use: other
sizes: finished
filament: abs
members:
  a:
    board: {rectangle: {length: 150 mm, width: 80 mm}, thickness: 20 mm}
  b:
    board: {rectangle: {length: 60 mm, width: 80 mm}, thickness: 20 mm}
    at: [0, 0, 20]
`

func given(t testing.TB, text string) (*piece.Piece, *shop.Shop) {
	t.Helper()
	doc, err := piece.Parse("box.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	return p, s
}

func TestMakeGoesThroughEveryStage(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, box)
	var begun, ended []string
	pl, err := Make(context.Background(), k, p, s, Options{
		Progress: func(stage string, done, total int) {
			if done != len(ended) || total != len(stages) || slices.Contains(begun, stage) {
				t.Errorf("%s begins after %d of %d, after %v", stage, done, total, ended)
			}
			begun = append(begun, stage)
		},
		Ready: func(stage string, _ *Plan) {
			if !slices.Contains(begun, stage) {
				t.Errorf("%s has ended and not begun", stage)
			}
			ended = append(ended, stage)
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(ended) != len(stages) || len(begun) != len(stages)+1 || begun[len(stages)] != "done" {
		t.Errorf("begun %v, ended %v", begun, ended)
	}
	if len(pl.Cores.Segments) != 2 || len(pl.Printing.Prints) != 2 || pl.Bill == nil || pl.Checks == nil {
		t.Errorf("the plan lacks something: %d segments", len(pl.Cores.Segments))
	}
	// Two members that touch and are not joined must be told of, in sorted order with the rest.
	found := false
	for i, f := range pl.Findings {
		found = found || f.Stage == "joint"
		if i > 0 && pl.Findings[i-1].Severity < f.Severity {
			t.Errorf("findings are not sorted: %v before %v", pl.Findings[i-1], f)
		}
	}
	if !found {
		t.Errorf("no word of the contact without a joint: %v", pl.Findings)
	}
}

func TestMakeStopsWhenCancelled(t *testing.T) {
	k, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, box)
	ctx, cancel := context.WithCancel(context.Background())
	pl, err := Make(ctx, k, p, s, Options{Progress: func(stage string, done, _ int) {
		if done == 2 {
			cancel()
		}
	}})
	if pl != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("plan %v, error %v; want none and context.Canceled", pl, err)
	}
}

func TestUnknownNamesAreFindings(t *testing.T) {
	k, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, box)
	p.Filament = "unobtainium"
	pl, err := Make(context.Background(), k, p, s, Options{})
	if err != nil {
		t.Fatalf("an unknown filament is the maker's to put right, not an error: %v", err)
	}
	if worst, _ := finding.Worst(pl.Findings); worst != finding.Stop {
		t.Errorf("findings %v", pl.Findings)
	}
}

// A slab 10 x 40 x 100 stands steadily on its long sides and not on end.
func TestSteady(t *testing.T) {
	corners := func(x, y, z float64) (out []geom.Vec3) {
		for i := range 8 {
			out = append(out, geom.V3(x*float64(i&1), y*float64(i>>1&1), z*float64(i>>2)))
		}
		return out
	}
	for _, tt := range []struct {
		x, y, z float64
		want    bool
	}{{100, 40, 10, true}, {100, 10, 40, true}, {100, 10, 40.1, false}, {40, 10, 100, false}, {25, 25, 100, true}} {
		for turn := range 5 { // about the vertical it makes no odds, within the step of a 24th
			f := geom.World()
			s, c := math.Sincos(float64(turn) * math.Pi / 12)
			f.X, f.Y = geom.V3(c, s, 0), geom.V3(-s, c, 0)
			if got := steady(f, corners(tt.x, tt.y, tt.z)); got != tt.want {
				t.Errorf("%g x %g x %g turned by %d steps: steady %v", tt.x, tt.y, tt.z, turn, got)
			}
		}
	}
}

// A curve that cannot be veneered runs smoothly into a straight part that can:
// the commonest turned leg, told of with its line and a remedy.
func TestCurveIntoStraightTurning(t *testing.T) {
	k, err := solid.New(solid.Options{Instances: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, `groundwork: 1
name: post
use: other
sizes: finished
members:
  post:
    turning: {profile: [[34, 0], {cubic: [[36, 20], [43, 50], [43, 80]]}, [43, 150]]}
`)
	pl, err := Make(context.Background(), k, p, s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range pl.Findings {
		if f.Code == "core-not-moved" {
			if f.Severity != finding.Stop || f.Subject != "post" || f.Line != 6 || f.Remedy == "" {
				t.Errorf("finding %+v", f)
			}
			return
		}
	}
	t.Errorf("no word of it: %v", pl.Findings)
}

// Every part of the library lies flat on the bed: where a body has a flat face,
// seams are looked for that leave every part one, however round its rim.
func TestPartsOfTheLibraryLieFlat(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	text, err := examples.Files.ReadFile("otter-stool.yaml")
	if err != nil {
		t.Fatal(err)
	}
	p, s := given(t, string(text))
	pl, err := Make(context.Background(), k, p, s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range pl.Printing.Findings {
		if f.Code == "tilted" {
			t.Errorf("%s: %s", f.Subject, f.Message)
		}
	}
	for _, q := range pl.Printing.Prints {
		if q.Overhang > 0 && !strings.HasPrefix(q.Segment, "seat") {
			t.Errorf("%s takes supports for %.0f mm²", q.Segment, q.Overhang)
		}
	}
}
