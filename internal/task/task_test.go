package task

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"groundwork/internal/finding"
	"groundwork/internal/instance"
	"groundwork/internal/line"
	"groundwork/internal/plan"
	"groundwork/internal/remedy"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
)

const pentagons = `{"name": "pentagons", "strip_height": 10, "items": [
  {"demand": 4, "allowed_orientations": [0], "shape": {"data": [[0, 0], [4, 0], [5, 3], [2, 5], [-1, 3]]}}]}`

func program(t *testing.T) string {
	t.Helper()
	p, err := line.Program()
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func argsOf(t *testing.T, k line.Task, err error) []byte {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	return k.Args
}

// A search is a function of its arguments, and keeps the gap.
func TestSearchIsItsArguments(t *testing.T) {
	n := Nest{Program: program(t), Seed: 4, Gap: 0.5, Iterations: 16, Lines: 3000, Instance: []byte(pentagons)}
	task, err := n.Task()
	args := argsOf(t, task, err)
	var results []string
	for range 2 {
		r, err := Searcher{}.Do(t.Context(), args)
		if err != nil {
			t.Fatal(err)
		}
		results = append(results, string(r))
	}
	if results[0] != results[1] {
		t.Errorf("%s\n%s", results[0], results[1])
	}
	in, err := instance.Read([]byte(pentagons))
	if err != nil {
		t.Fatal(err)
	}
	l, bin, err := ReadNest(in, n.Gap*in.Scale, []byte(results[0]))
	if err != nil || len(l.Placements) != 4 {
		t.Fatalf("%+v, %v", l, err)
	}
	// The area of a pentagon by the shoelace formula is 21 square units.
	if want := 4 * 21 / (10 * bin.Size.X / in.Scale); math.Abs(l.Density-want) > 1e-12 {
		t.Errorf("density %g, want %g", l.Density, want)
	}
	if _, _, err := ReadNest(in, 2*n.Gap*in.Scale, []byte(results[0])); err == nil {
		t.Error("it holds with twice the gap, too")
	}
}

// Every argument makes another task; white space in the instance does not.
func TestKeysTellTasksApart(t *testing.T) {
	keys := map[string]string{}
	key := func(what string, k line.Task, err error) string {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		if other, twice := keys[k.Key]; twice {
			t.Errorf("%s and %s are the same task", what, other)
		}
		keys[k.Key] = what
		return k.Key
	}
	n := Nest{Program: "p", Seed: 1, Gap: 1, Iterations: 1, Lines: 1, Time: 1, Name: "n", Instance: []byte(`{"a": 1}`)}
	first, err := n.Task()
	key("nest", first, err)
	for what, change := range map[string]func(*Nest){
		"program": func(n *Nest) { n.Program = "q" }, "seed": func(n *Nest) { n.Seed = 2 }, "gap": func(n *Nest) { n.Gap = 2 },
		"iterations": func(n *Nest) { n.Iterations = 2 }, "lines": func(n *Nest) { n.Lines = 2 }, "time": func(n *Nest) { n.Time = time.Hour },
		"instance": func(n *Nest) { n.Instance = []byte(`{"a": 2}`) },
	} {
		m := n
		change(&m)
		k, err := m.Task()
		key("nest of another "+what, k, err)
	}
	n.Instance = []byte("{\n \"a\":1 }\n")
	if spaced, err := n.Task(); err != nil || spaced.Key != first.Key {
		t.Errorf("white space makes another task: %v", err)
	}
	c := Check{Program: "p", Name: "n", Piece: []byte("piece"), Shop: []byte("shop"), Marks: []byte("marks"), Solids: map[string][]byte{"s": []byte("solid")}, Set: map[string]string{"a": "1"}}
	k, err := c.Task()
	key("check", k, err)
	for what, change := range map[string]func(*Check){
		"program": func(c *Check) { c.Program = "q" }, "piece": func(c *Check) { c.Piece = nil }, "shop": func(c *Check) { c.Shop = nil },
		"marks": func(c *Check) { c.Marks = nil }, "solids": func(c *Check) { c.Solids = nil }, "set": func(c *Check) { c.Set = map[string]string{"a": "2"} },
		"bareness": func(c *Check) { c.Bare = true },
	} {
		d := c
		change(&d)
		k, err := d.Task()
		key("check of another "+what, k, err)
	}
}

// What can never be laid is a result; a search that was ended is none, and what
// it had is handed over.
func TestSearchesThatComeToNothing(t *testing.T) {
	n := Nest{Program: program(t), Iterations: 16, Time: time.Hour, Instance: []byte(pentagons)}
	task, err := n.Task()
	args := argsOf(t, task, err)
	ctx, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer stop()
	var left []byte
	r, err := Searcher{Left: func(_ int64, result []byte) { left = result }}.Do(ctx, args)
	if r != nil || !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("ended: %s, %v", r, err)
	}
	in, err := instance.Read([]byte(pentagons))
	if err != nil {
		t.Fatal(err)
	}
	if l, _, err := ReadNest(in, 0, left); err != nil || len(l.Placements) != 4 {
		t.Errorf("what it had: %s, %v", left, err)
	}
	n.Instance = []byte(`{"strip_height": -1}`)
	task, err = n.Task()
	if r, err = (Searcher{}).Do(t.Context(), argsOf(t, task, err)); err != nil || !strings.Contains(string(r), "strip_height is -1") {
		t.Errorf("no instance: %s, %v", r, err)
	}
	if _, _, err := ReadNest(in, 0, r); err == nil || !strings.Contains(err.Error(), "strip_height is -1") {
		t.Errorf("no instance: %v", err)
	}
}

// A task of another build, or one that this build cannot read, is not done.
func TestTasksOfOthers(t *testing.T) {
	kernel := func() (*solid.Kernel, error) { return nil, errors.New("no kernel is needed for that") }
	for kind, do := range map[string]func(context.Context, []byte) ([]byte, error){NestKind: Searcher{}.Do, CheckKind: Checker{Kernel: kernel}.Do} {
		if _, err := do(t.Context(), []byte(`{"program":"another"}`)); !errors.Is(err, line.ErrProgram) {
			t.Errorf("%s: %v", kind, err)
		}
		for _, args := range []string{"", "hello", `{"program":1}`, `{"of tomorrow":1}`} {
			if _, err := do(t.Context(), []byte(args)); err == nil || !strings.Contains(err.Error(), "reading a task") {
				t.Errorf("%s %s: %v", kind, args, err)
			}
		}
	}
}

// What a maker is told goes through bytes unchanged, but for the names of files.
func TestCheckedThroughBytes(t *testing.T) {
	want := Checked{
		Title: "Stool", Members: 3, Segments: 4, Patterns: 5,
		Findings: []finding.Finding{
			{Severity: finding.Stop, Stage: "check", Code: "c", Subject: "top", Message: "m < 3 & \"so\"", Remedy: "r", Source: "s", File: PieceFile, Line: 3, Changes: []finding.Change{{Document: finding.PieceFile, Pointer: "/a", Value: "1"}}},
			{Severity: finding.Warning, Subject: "shop", File: ShopFile, Line: 1},
			{Severity: finding.Note, Subject: "walnut-1", File: MarksFile},
			{Severity: finding.Note, Subject: "piece"},
		},
		Loads: []Load{{ID: "dead", Solved: true, Moved: 0.1 + 0.2, Body: "top", Of: "sag, top", Margin: 1000, Judged: true}, {ID: "push"}},
		Held: &plan.Held{
			Strength: &strength.Result{Verdicts: []strength.Verdict{{ID: "a", Value: math.Copysign(0, -1), Limit: 0.1 + 0.2}}, Racking: []strength.Racking{}},
			Remedies: plan.Remedies{{Verdict: "a", Result: remedy.Result{Found: []remedy.Remedy{{Kind: "k", Margin: 1.0 / 3}}}}},
			Findings: []finding.Finding{{Subject: "top"}},
		},
	}
	data, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	got, err := ReadCheck(data, map[string]string{PieceFile: "/home/a/stool.yaml", ShopFile: "shop.yaml", MarksFile: ""})
	if err != nil {
		t.Fatal(err)
	}
	want.Findings[0].File, want.Findings[1].File, want.Findings[2].File = "/home/a/stool.yaml", "shop.yaml", ""
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if v := got.Held.Strength.Verdicts[0].Value; !math.Signbit(v) {
		t.Errorf("-0 has become %g", v)
	}
	if _, err := ReadCheck([]byte("hello"), nil); err == nil {
		t.Error("hello was read")
	}
}

// FuzzReadNest: whatever arrives is refused or holds.
func FuzzReadNest(f *testing.F) {
	f.Add([]byte(`{"length":20,"placements":[{"item":"0","copy":0,"turn":0,"at":[1,0]}],"unplaced":[{"Item":"0","Copy":1,"Count":3,"Reason":"no-room"}]}`))
	f.Add([]byte(`{"length":1e9,"placements":[{"item":"0","turn":1e300,"at":[1e300,-1e300]}]}`))
	f.Add([]byte(`{"fault":"none"}`))
	in, err := instance.Read([]byte(pentagons))
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, result []byte) {
		l, bin, err := ReadNest(in, 0, result)
		if err != nil {
			return
		}
		left := 0
		for _, u := range l.Unplaced {
			left += u.Count
		}
		if len(l.Placements)+left != 4 || !(l.Density >= 0 && l.Density <= 1) || !(bin.Size.X > 0) {
			t.Errorf("%s: %+v on %+v", result, l, bin)
		}
	})
}

// FuzzTaskWords: what is shown of a task never ends the worker.
func FuzzTaskWords(f *testing.F) {
	for _, s := range []string{`{"name":"a","seed":1}`, `{"name":1}`, `{"set":{"a":"b"}}`, "", "null"} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(_ *testing.T, args []byte) {
		_, _, _ = NestWords(args), CheckWords(args), line.Words(args)
	})
}
