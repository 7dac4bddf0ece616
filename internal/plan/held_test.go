package plan

import (
	"context"
	"encoding/json"
	"errors"
	"reflect"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/solid"
)

// sagging is a shelf that is too thin for what lies on it: something fails, and
// something helps.
const sagging = `groundwork: 1
name: test-shelf
use: other
sizes: core
filament: abs
members:
  shelf:
    board: {rectangle: {length: 400 mm, width: 80 mm}, thickness: 10 mm}
    at: [0, 0, 300]
  side:
    board: {rectangle: {length: 80 mm, width: 60 mm}, thickness: 16 mm}
    at: [184, 0, 270]
    axes: {x: +y, y: +z}
    mirror: x
joints:
  - {between: [shelf, side], kind: glued, dowels: 2}
held:
  - {on: side, surface: face}
loads:
  - {name: books, on: shelf, surface: face, mass: 6 kg, sustained: true}
`

// What was worked out elsewhere makes the plan that it makes here, and a case can
// be looked at all the same. What is of another structure is not believed, and an
// asker's error is the plan's.
func TestStrengthFromElsewhere(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, sagging)
	kept := NewMemory(1 << 28)
	plan := func(ask Asker) (*Plan, error) {
		return Make(context.Background(), k, p, s, Options{Cache: kept, Strength: &StrengthOptions{Cell: 15, Remedies: true, Ask: ask}})
	}
	here, err := plan(nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(here.Remedies) == 0 || len(here.Held().Findings) == 0 || len(here.Strained) == 0 {
		t.Fatalf("nothing fails: %+v", here.Held())
	}
	data, err := json.Marshal(here.Held())
	if err != nil {
		t.Fatal(err)
	}
	asked := 0
	there, err := plan(func(context.Context) (*Held, error) {
		asked++
		var h Held
		return &h, json.Unmarshal(data, &h)
	})
	if err != nil {
		t.Fatal(err)
	}
	if asked != 1 || there.Strained != nil {
		t.Errorf("asked %d times; %d cases strained", asked, len(there.Strained))
	}
	told := func(pl *Plan) string { // -0 is not 0
		b, err := json.Marshal([]any{pl.Strength, pl.Remedies, pl.Findings, pl.Checks, pl.Held()})
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	if got, want := told(there), told(here); got != want || !reflect.DeepEqual(there.Strength, here.Strength) || !reflect.DeepEqual(there.Findings, here.Findings) {
		t.Errorf("it is\n%s\nwant\n%s", got, want)
	}
	lies := *here
	shop := *s
	shop.File = "elsewhere.yaml"
	lies.Shop = &shop
	if of, err := lies.bearing(*lies.options.Strength); err != nil || of != here.Held().Of {
		t.Errorf("where the shop lies makes another structure of it: %v", err)
	}
	points := []geom.Vec3{geom.V3(0, 0, 5), geom.V3(33, 20, -4), geom.V3(-70, 10, 4)}
	for i, want := range here.Strained {
		got, err := there.Strain(context.Background(), k, i)
		if err != nil {
			t.Fatal(err)
		}
		if (got == nil) != (want == nil) {
			t.Fatalf("case %d: %v, want %v", i, got, want)
		}
		if want == nil {
			continue
		}
		m, f := got.Surface(0, points)
		wm, wf := want.Surface(0, points)
		if !reflect.DeepEqual(m, wm) || !reflect.DeepEqual(f, wf) {
			t.Errorf("case %d: %v %v\nwant %v %v", i, m, f, wm, wf)
		}
	}
	if _, err := there.Strain(context.Background(), k, len(here.Strained)); err == nil {
		t.Error("a case that there is not")
	}

	kept = NewMemory(1 << 28)
	other := *here.Held()
	other.Of[0]++
	other.Remedies = nil
	if pl, err := plan(func(context.Context) (*Held, error) { return &other, nil }); err != nil || len(pl.Strained) == 0 || !reflect.DeepEqual(pl.Remedies, here.Remedies) {
		t.Errorf("of another structure: %v", err)
	}
	kept = NewMemory(1 << 28)
	fault := errors.New("nobody is there")
	if _, err := plan(func(context.Context) (*Held, error) { return nil, fault }); !errors.Is(err, fault) {
		t.Errorf("error %v", err)
	}
}
