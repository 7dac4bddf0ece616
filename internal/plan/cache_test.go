package plan

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/digest"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/piece"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// counted is a cache that remembers which stages had to work.
type counted struct {
	Cache
	mu     sync.Mutex
	worked []string
}

func (c *counted) Get(ctx context.Context, key digest.Sum, work func() (any, error)) (any, error) {
	return c.Cache.Get(ctx, key, func() (any, error) {
		v, err := work()
		if err == nil {
			c.mu.Lock()
			defer c.mu.Unlock()
			c.worked = append(c.worked, v.(*result).stage)
		}
		return v, err
	})
}

func (c *counted) take() []string {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := c.worked
	c.worked = nil
	var ordered []string
	for _, st := range stages {
		if slices.Contains(out, st.name) {
			ordered = append(ordered, st.name)
		}
	}
	return ordered
}

// contents tells plans apart by all that others can see of them.
func contents(t testing.TB, pl *Plan) map[string]digest.Sum {
	t.Helper()
	out := map[string]digest.Sum{}
	for name, v := range map[string]any{
		"joints": pl.Joints, "layout": pl.Layout, "patterns": pl.Patterns, "seams": pl.Seams, "cores": pl.Cores,
		"printing": pl.Printing, "sheets": pl.Sheets, "fixtures": pl.Fixtures, "printing fixtures": pl.FixturePrinting, "bill": pl.Bill, "schedule": pl.Schedule, "kit": pl.Kit, "checks": pl.Checks, "strength": pl.Strength,
		"remedies": pl.Remedies, "findings": pl.Findings,
	} {
		s, err := digest.Of(v)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out[name] = s
	}
	return out
}

func differing(a, b map[string]digest.Sum) []string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(a)) {
		if a[name] != b[name] {
			out = append(out, name)
		}
	}
	return out
}

// brief is a piece of two boards that takes every stage little time.
const brief = `groundwork: 1
name: brief
title: Brief
use: other
sizes: finished
filament: abs
veneer: {use: walnut}
parameters:
  width: {value: 80 mm, min: 60 mm, max: 100 mm, step: 5 mm}
members:
  a:
    board: {rectangle: {length: 150 mm, width: = width}, thickness: 20 mm}
  b:
    board: {rectangle: {length: 60 mm, width: = width}, thickness: 20 mm}
    at: [0, 0, 20]
joints:
  - {between: [a, b], kind: glued, dowels: 2}
loads:
  - {name: a vase, on: b, surface: face, mass: 2 kg}
`

// A change redoes what it touches, and no more.
func TestChangeRedoesWhatItTouches(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	type input struct {
		text string
		shop *shop.Shop
		o    Options
	}
	all := []string{"joints", "veneer layout", "first checks", "patterns", "loads", "seams", "cores", "printing", "sheets", "fixtures", "printing fixtures", "schedule", "kit", "strength", "checks"}
	for _, tt := range []struct {
		name   string
		change func(*input)
		want   []string
	}{
		{"nothing", func(*input) {}, nil},
		{"a title and a note", func(in *input) {
			in.text = strings.Replace(in.text, "title: Brief", "title: Short", 1) + "note: of no length\n"
		}, []string{"kit"}}, // whose insert sheet bears the title
		// The remark moves the lines of all that follows: stages that tell lines look
		// again, and what they find is the same for the others.
		{"a remark", func(in *input) { in.text = "# a remark\n" + in.text }, []string{"joints", "veneer layout", "patterns", "loads"}},
		{"a parameter's limits", func(in *input) { in.text = strings.Replace(in.text, "max: 100 mm", "max: 120 mm", 1) }, nil},
		{"the price of a spool", func(in *input) { in.shop.Filaments[0].SpoolPrice++ }, []string{"kit"}},
		{"the price of an hour", func(in *input) { in.shop.Labour++ }, []string{"kit"}},
		{"the price of a sheet, which sheets bear", func(in *input) {
			for i := range in.shop.Veneers {
				in.shop.Veneers[i].Price++
			}
		}, []string{"sheets", "schedule", "kit"}},
		{"how many persons there are", func(in *input) { in.shop.Work.Persons++ }, []string{"schedule", "kit"}},
		{"the bench's holes", func(in *input) { in.shop.Bench.Pitch++ }, []string{"fixtures", "schedule", "kit"}},
		{"the size of parcels", func(in *input) { in.shop.Parcels.Padding++ }, []string{"kit"}},
		{"a screw that is not used", func(in *input) { in.shop.Screws = in.shop.Screws[1:] }, []string{"joints", "loads", "seams", "printing", "kit", "checks"}},
		{"how much one lifts", func(in *input) { in.shop.LiftLimit += 1000 }, []string{"kit", "checks"}},
		{"the density of what is printed", func(in *input) {
			for i := range in.shop.Filaments {
				in.shop.Filaments[i].Density += 0.01
			}
		}, []string{"first checks", "loads", "seams", "printing", "fixtures", "printing fixtures", "schedule", "kit", "checks"}},
		{"the veneer's grain", func(in *input) {
			for i := range in.shop.Veneers {
				in.shop.Veneers[i].Figure = "directional"
			}
		}, []string{"joints", "veneer layout", "patterns", "sheets", "fixtures", "schedule", "kit", "checks"}},
		{"a reserved area", func(in *input) {
			in.o.Sheet.Reserved = []sheet.Reserved{{Sheet: "walnut-1", At: geom.V2(20, 20), Size: geom.V2(30, 40)}}
		}, []string{"sheets", "schedule", "kit"}},
		{"who watches the sheets", func(in *input) { in.o.Sheet.Watch.Better = func(sheet.Better) {} }, nil},
		{"part numbers", func(in *input) { in.o.Core.Labels = true }, []string{"cores", "printing", "fixtures", "schedule", "kit", "checks"}},
		{"a size", func(in *input) { in.text = strings.Replace(in.text, "value: 80 mm", "value: 85 mm", 1) },
			slices.DeleteFunc(slices.Clone(all), func(s string) bool { return s == "strength" })}, // not asked for before or after
		{"a load", func(in *input) { in.text = strings.Replace(in.text, "2 kg", "3 kg", 1) }, []string{"loads", "seams", "printing", "schedule", "kit", "checks"}},
		{"strength", func(in *input) { in.o.Strength = &StrengthOptions{} }, []string{"loads", "strength", "checks"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			before, after := input{text: brief}, input{text: brief}
			_, before.shop = given(t, brief)
			_, after.shop = given(t, brief)
			tt.change(&after)
			c := &counted{Cache: NewMemory(1 << 30)}
			make := func(in input, c Cache) *Plan {
				p, _ := given(t, in.text)
				o := in.o
				o.Cache = c
				pl, err := Make(context.Background(), k, p, in.shop, o)
				if err != nil {
					t.Fatal(err)
				}
				return pl
			}
			first := make(before, c)
			was := contents(t, first)
			if got := c.take(); !slices.Equal(got, all) {
				t.Errorf("at first %v worked", got)
			}
			got := make(after, c)
			if w := c.take(); !slices.Equal(w, tt.want) {
				t.Errorf("%v worked again, want %v", w, tt.want)
			}
			if d := differing(contents(t, got), contents(t, make(after, nil))); d != nil {
				t.Errorf("%v differ from what is made without a cache", d)
			}
			if d := differing(contents(t, first), was); d != nil {
				t.Errorf("%v of the first plan were changed", d)
			}
		})
	}
}

// Where a finding stands is told right when the lines above it move and all
// else stays.
func TestPlacesMoveWithTheText(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	// Faults of three stages: a contact without a joint, a curve that cannot be
	// veneered, a load that misses.
	const text = `groundwork: 1
name: post
use: other
sizes: finished
filament: abs
members:
  post:
    turning: {profile: [[34, 0], {cubic: [[36, 20], [43, 50], [43, 80]]}, [43, 150]]}
  cap:
    board: {rectangle: {length: 150 mm, width: 80 mm}, thickness: 20 mm}
    at: [0, 0, 150]
  beside:
    board: {rectangle: {length: 60 mm, width: 60 mm}, thickness: 20 mm}
    at: [300, 0, 0]
loads:
  - {name: a vase, on: cap, surface: face, at: [500 mm, 0], across: 20 mm, mass: 2 kg}
`
	_, s := given(t, box)
	m := NewMemory(1 << 30)
	lined := func(text, file string) map[string]finding.Finding {
		doc, err := piece.Parse(file, []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		p, _, err := doc.Resolve(nil)
		if err != nil {
			t.Fatal(err)
		}
		pl, err := Make(context.Background(), k, p, s, Options{Cache: m})
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]finding.Finding{}
		for _, f := range pl.Findings {
			if f.Line > 0 {
				if f.File != file {
					t.Errorf("%v stands in %s", f, file)
				}
				out[f.Stage+" "+f.Code+" "+f.Subject] = f
			}
		}
		return out
	}
	was := lined(text, "post.yaml")
	of := map[string]bool{}
	for _, f := range was {
		of[f.Stage] = true
	}
	if !of["joint"] || !of["veneer"] || !of["strength"] {
		t.Fatalf("the test needs findings with lines of three stages: %v", was)
	}
	for _, above := range []int{1, 5} {
		now := lined(strings.Repeat("# a remark\n", above)+text, "post.yaml")
		if len(now) != len(was) {
			t.Errorf("%d findings with lines, want %d", len(now), len(was))
		}
		for name, f := range was {
			if now[name].Line != f.Line+above {
				t.Errorf("%s: line %d, want %d", name, now[name].Line, f.Line+above)
			}
		}
	}
	if again := lined(text, "post.yaml"); !maps.EqualFunc(again, was, finding.Finding.Equal) {
		t.Errorf("the lines do not come back: %v, want %v", again, was)
	}
	lined(text, "other.yaml")
}

// What is found again is what would be worked out: over a walk of changes, of
// parameters, text, shop and options, there and back again, with one cache for
// all pieces.
func TestCacheChangesNothing(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	c := &counted{Cache: NewMemory(1 << 30)}
	planned, worked := 0, 0
	for _, walk := range []struct {
		name  string
		steps int
	}{{"brief", 24}, {"heron-side-table", 2}, {"otter-stool", 2}, {"badger-bench", 2}, {"tern-wall-shelf", 2}} {
		t.Run(walk.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(1, uint64(len(walk.name))))
			text := []byte(brief)
			if walk.name != "brief" {
				if text, err = examples.Files.ReadFile(walk.name + ".yaml"); err != nil {
					t.Fatal(err)
				}
			}
			_, s := given(t, box)
			o := Options{Core: core.Options{Labels: true}}
			set := map[string]string{}
			for step := range walk.steps {
				doc, err := piece.Parse(walk.name+".yaml", text)
				if err != nil {
					t.Fatal(err)
				}
				p, _, err := doc.Resolve(set)
				if err != nil {
					t.Fatal(err)
				}
				var early []finding.Finding
				o.Ready = func(stage string, sofar *Plan) {
					if stage == "patterns" {
						early = sofar.Findings
					}
				}
				o.Cache = c
				got, err := Make(context.Background(), k, p, s, o)
				if err != nil {
					t.Fatal(err)
				}
				told := false
				for _, f := range early {
					told = told || f.Code == "thermal-mismatch"
					if !slices.ContainsFunc(got.Findings, f.Equal) {
						t.Errorf("%v is said early and not at the end", f)
					}
				}
				if walk.name == "heron-side-table" && !told {
					t.Error("nothing is said early of the top's band in the heat")
				}
				planned, worked = planned+1, worked+len(c.take())
				o.Cache = nil
				if step > 0 {
					want, err := Make(context.Background(), k, p, s, o)
					if err != nil {
						t.Fatal(err)
					}
					if d := differing(contents(t, got), contents(t, want)); d != nil {
						t.Fatalf("step %d: with a cache %v are others", step, d)
					}
				}
				text, s, o = wander(random, p, text, s, o, set)
			}
		})
	}
	if worked == 0 || worked >= planned*(len(stages)-1) {
		t.Errorf("%d stages worked in %d plans: nothing was found again", worked, planned)
	}
	t.Logf("%d stages worked in %d plans", worked, planned)
}

// wander changes one or two things at random, among few, so that it comes back
// to where it was.
func wander(random *rand.Rand, p *piece.Piece, text []byte, s *shop.Shop, o Options, set map[string]string) ([]byte, *shop.Shop, Options) {
	next := *s
	next.Filaments, next.Veneers, next.Printers, next.Lasers = slices.Clone(s.Filaments), slices.Clone(s.Veneers), slices.Clone(s.Printers), slices.Clone(s.Lasers)
	next.Screws, next.Dowels = slices.Clone(s.Screws), slices.Clone(s.Dowels)
	either := func(a, b float64) float64 {
		if random.IntN(2) == 0 {
			return a
		}
		return b
	}
	for range 1 + random.IntN(2) {
		switch random.IntN(12) {
		case 0, 1, 2:
			var free []piece.Parameter
			for _, q := range p.Parameters {
				if q.Kind == piece.Length && q.Min < q.Max && q.Step > 0 {
					free = append(free, q)
				}
			}
			if len(free) > 0 {
				q := free[random.IntN(len(free))]
				steps := int((q.Max - q.Min) / q.Step)
				set[q.Name] = fmt.Sprintf("%g mm", q.Min+q.Step*float64((steps+random.IntN(2))/2))
			}
		case 3:
			text = slices.Concat([]byte("# a remark\n"), text)
			text = bytes.Replace(text, []byte("mass: 2 kg"), []byte("mass: 3 kg"), 1)
		case 4:
			next.Labour = either(20, 40)
		case 5:
			for i := range next.Veneers {
				next.Veneers[i].Price = either(30, 60)
			}
		case 6:
			for i := range next.Filaments {
				next.Filaments[i].Density = either(1.04, 1.08)
			}
		case 7:
			for i := range next.Lasers {
				next.Lasers[i].Kerf = either(0.1, 0.15)
			}
		case 8:
			for i := range next.Printers {
				next.Printers[i].Profile.Contours = int(either(3, 4))
			}
		case 9:
			o.Core.Labels = !o.Core.Labels
		case 10:
			o.Sheet.FaceDown = !o.Sheet.FaceDown
		case 11:
			for i := range next.Veneers {
				next.Veneers[i].Face = either(0.6, 0.65)
			}
		}
	}
	return text, &next, o
}

// A piece brought in from files is kept too, though its solids draw their surfaces
// only when asked to; and many may plan it at once with one cache.
func TestSolidsAreKept(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	m, err := k.Mesh(context.Background(), solid.Hull(
		solid.Box(geom.Box3{Min: geom.V3(-60, -40, 0), Max: geom.V3(60, 40, 10)}, 0),
		solid.Box(geom.Box3{Min: geom.V3(-30, -20, 80), Max: geom.V3(40, 20, 90)}, 0)))
	if err != nil {
		t.Fatal(err)
	}
	var stl bytes.Buffer
	if err := mesh.WriteSTL(&stl, mesh.Body{Name: "foot", Vertices: m.Vertices, Triangles: m.Triangles}); err != nil {
		t.Fatal(err)
	}
	const text = `groundwork: 1
name: foot
use: other
sizes: finished
filament: abs
members:
  foot:
    solid: {file: foot.stl, unit: mm, as: solid}
`
	doc, err := piece.Parse("foot.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	doc.Open = func(string) ([]byte, error) { return stl.Bytes(), nil }
	resolved := func() *piece.Piece {
		p, _, err := doc.Resolve(nil)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if resolved().Members[0].Solid == nil {
		t.Fatal("the test needs a solid")
	}
	_, s := given(t, box)
	want, err := Make(context.Background(), k, resolved(), s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	c := &counted{Cache: NewMemory(1 << 30)}
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			got, err := Make(context.Background(), k, resolved(), s, Options{Cache: c})
			if err != nil {
				t.Error(err)
			} else if d := differing(contents(t, got), contents(t, want)); d != nil {
				t.Errorf("%v are others", d)
			}
		})
	}
	all.Wait()
	if worked := len(c.worked); worked != len(stages)-1 { // the bill is not kept
		t.Errorf("%d stages worked for four plans at once: %v", worked, c.worked)
	}
}

// What is known early may be kept, and is complete as far as it goes.
func TestReady(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, brief)
	for _, c := range []Cache{nil, NewMemory(1 << 30)} {
		sofar, last := map[string]*Plan{}, ""
		pl, err := Make(context.Background(), k, p, s, Options{Cache: c, Ready: func(stage string, pl *Plan) { sofar[stage], last = pl, stage }})
		if err != nil {
			t.Fatal(err)
		}
		early := sofar["patterns"]
		if early == nil || early.Joints == nil || early.Layout == nil || len(early.Patterns) == 0 || early.Seams != nil || early.Cores != nil || early.Sheets != nil || early.Fixtures != nil || early.Bill != nil || early.Checks != nil {
			t.Fatalf("after the patterns: %+v", early)
		}
		if len(early.Findings) == 0 || len(early.Findings) >= len(pl.Findings) || !slices.EqualFunc(early.Findings, finding.Sorted(early.Findings), finding.Finding.Equal) {
			t.Errorf("%d findings early, %d at the end", len(early.Findings), len(pl.Findings))
		}
		for _, f := range early.Findings {
			if !slices.ContainsFunc(pl.Findings, f.Equal) {
				t.Errorf("%v is not said at the end", f)
			}
		}
		if d := differing(contents(t, sofar[last]), contents(t, pl)); d != nil {
			t.Errorf("after the last stage %v are not as at the end", d)
		}
	}
}

func TestMemoryForgetsTheOldest(t *testing.T) {
	m := NewMemory(3 << 10)
	get := func(key byte) (worked bool) {
		v, err := m.Get(context.Background(), digest.Sum{key}, func() (any, error) {
			worked = true
			return append(make([]byte, 0, 1000), key), nil
		})
		if b, ok := v.([]byte); err != nil || !ok || b[0] != key {
			t.Fatalf("%v, %v", v, err)
		}
		return worked
	}
	for i, step := range []struct {
		key  byte
		work bool
	}{{1, true}, {2, true}, {3, true}, {1, false}, {4, true}, {1, false}, {2, true}, {4, false}, {3, true}} {
		if w := get(step.key); w != step.work {
			t.Errorf("step %d: key %d worked %v", i, step.key, w)
		}
		if m.Size() > 3<<10 {
			t.Errorf("%d bytes are kept", m.Size())
		}
	}
	if _, err := m.Get(context.Background(), digest.Sum{9}, func() (any, error) { return make([]byte, 4<<10), nil }); err != nil {
		t.Error(err)
	}
	if get(3) {
		t.Error("what is too large to keep drove out the rest")
	}
}

// Whoever is cancelled harms nobody: errors are not kept, and those who waited
// do the work themselves.
func TestMemoryOutlivesCancelling(t *testing.T) {
	m := NewMemory(1 << 20)
	gone, cancel := context.WithCancel(context.Background())
	started := make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		_, err := m.Get(gone, digest.Sum{1}, func() (any, error) {
			close(started)
			<-gone.Done()
			return nil, gone.Err()
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("error %v", err)
		}
	})
	<-started
	var mu sync.Mutex
	worked := 0
	for range 8 {
		all.Go(func() {
			v, err := m.Get(context.Background(), digest.Sum{1}, func() (any, error) {
				mu.Lock()
				defer mu.Unlock()
				worked++
				return "done", nil
			})
			if v != "done" || err != nil {
				t.Errorf("%v, %v", v, err)
			}
		})
	}
	late, stop := context.WithCancel(context.Background())
	stop()
	if _, err := m.Get(late, digest.Sum{1}, func() (any, error) { return "done", nil }); err != nil && !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	cancel()
	all.Wait()
	if worked > 1 {
		t.Errorf("the same work was done %d times", worked)
	}
	func() { // a panic leaves nobody waiting
		defer func() { _ = recover() }()
		_, _ = m.Get(context.Background(), digest.Sum{2}, func() (any, error) { panic("fault") })
	}()
	if v, err := m.Get(context.Background(), digest.Sum{2}, func() (any, error) { return 1, nil }); v != 1 || err != nil {
		t.Errorf("%v, %v", v, err)
	}
}

// A plan that is given up leaves what it has worked out, and nothing else.
func TestCancelledPlanSpoilsNothing(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, brief)
	want, err := Make(context.Background(), k, p, s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, st := range stages {
		m := NewMemory(1 << 30)
		ctx, cancel := context.WithCancel(context.Background())
		pl, err := Make(ctx, k, p, s, Options{Cache: m, Progress: func(stage string, _, _ int) {
			if stage == st.name {
				cancel()
			}
		}})
		cancel()
		if err == nil && pl == nil || err != nil && !errors.Is(err, context.Canceled) {
			t.Fatalf("%s: %v", st.name, err)
		}
		got, err := Make(context.Background(), k, p, s, Options{Cache: m})
		if err != nil {
			t.Fatal(err)
		}
		if d := differing(contents(t, got), contents(t, want)); d != nil {
			t.Errorf("given up at %s, then %v are others", st.name, d)
		}
	}
}
