package line

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime/debug"
	"slices"
	"strings"
	"testing"

	"groundwork/examples"
	"groundwork/internal/plan"
	"groundwork/internal/solid"

	"pgregory.net/rapid"
)

// asWorker makes the test program do the task that it is handed, as another
// process would.
const asWorker = "GROUNDWORK_LINE_TEST_WORKER"

func TestMain(m *testing.M) {
	if os.Getenv(asWorker) == "" {
		os.Exit(m.Run())
	}
	err := func() error {
		args, err := io.ReadAll(os.Stdin)
		if err != nil {
			return err
		}
		k, err := solid.New(solid.Options{})
		if err != nil {
			return err
		}
		defer k.Close()
		out, err := Worker{Kernel: k}.Do(context.Background(), args)
		if err != nil {
			return err
		}
		_, err = os.Stdout.Write(out)
		return err
	}()
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// peg is a piece that is planned quickly.
const peg = `groundwork: 1
name: test-block
use: other
sizes: finished
veneer: {use: ash}
filament: pla
parameters:
  long:  {value: 100 mm, min: 80 mm, max: 140 mm}
  wide:  {value: 60 mm}
  count: {value: 1}
members:
  block:
    board: {rectangle: {length: = long, width: = wide}, thickness: 20 mm}
`

func example(t testing.TB, name string) File {
	t.Helper()
	data, err := examples.Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return File{name, data}
}

func axes(t testing.TB, vary ...string) (out []Axis) {
	t.Helper()
	for _, text := range vary {
		var a Axis
		var err error
		if ids, ok := strings.CutPrefix(text, "species:"); ok {
			a, err = ParseChoice(Veneer, ids)
		} else if ids, ok := strings.CutPrefix(text, "filament:"); ok {
			a, err = ParseChoice(Filament, ids)
		} else {
			a, err = ParseAxis(text)
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, a)
	}
	return out
}

func lay(t testing.TB, p File, o Options, vary ...string) *Line {
	t.Helper()
	program, err := Program()
	if err != nil {
		t.Fatal(err)
	}
	l, err := New(p, example(t, "shop.yaml"), axes(t, vary...), o, nil, program)
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func kernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { k.Close() })
	return k
}

// tally counts the tasks that it hands on.
type tally struct {
	r     Runner
	tasks int
}

func (c *tally) Run(ctx context.Context, kind string, tasks []Task, done func(int, []byte, error)) error {
	c.tasks += len(tasks)
	return c.r.Run(ctx, kind, tasks, done)
}

// apart does every task in a process of its own, the last first.
type apart struct{}

func (apart) Run(ctx context.Context, _ string, tasks []Task, done func(int, []byte, error)) error {
	self, err := os.Executable()
	if err != nil {
		return err
	}
	for i, task := range slices.Backward(tasks) {
		c := exec.CommandContext(ctx, self)
		c.Env = append(os.Environ(), asWorker+"=1")
		c.Stdin = strings.NewReader(string(task.Args))
		c.Stderr = os.Stderr
		out, err := c.Output()
		done(i, out, err)
	}
	return nil
}

// Rows are the same whoever works them out: one after another, side by side with
// what they have in common worked out once, other processes, or a folder in which
// they were kept.
func TestSameRowsFromAnywhere(t *testing.T) {
	l := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "long=100mm,200mm,120mm", "species:ash,oak-thin")
	k := kernel(t)
	run := func(r Runner, kept *Kept) *Table {
		t.Helper()
		table, err := l.Run(context.Background(), r, kept, nil)
		if err != nil {
			t.Fatal(err)
		}
		return table
	}
	text := func(table *Table) string {
		t.Helper()
		b, err := table.JSON()
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	dir := t.TempDir()
	kept, err := OpenKept(dir)
	if err != nil {
		t.Fatal(err)
	}
	first := run(Local{Worker: Worker{Kernel: k}, Beside: 1}, nil)
	want := text(first)
	if n := first.Count(Made); n != 4 {
		t.Errorf("%d of 6 can be made, want 4: blocks longer than 140 mm are not allowed", n)
	}
	if r := first.Rows[0]; r.Figures == nil || r.Figures.Size != [3]float64{100, 60, 20} || r.Figures.Cost <= 0 || r.Figures.Hand <= 0 || r.Figures.Kit == nil || r.Figures.Calendar == nil {
		t.Errorf("the first row is %+v", r.Figures)
	}
	// Thinner veneer under the same finished size leaves a larger core.
	if a, b := first.Rows[0].Figures, first.Rows[1].Figures; b.Filament <= a.Filament {
		t.Errorf("the core under thin veneer takes %g g, under thick %g g", b.Filament, a.Filament)
	}
	count := &tally{r: Local{Worker: Worker{Kernel: k, Cache: plan.NewMemory(64 << 20)}, Beside: 3}}
	for _, c := range []struct {
		from string
		r    Runner
		kept *Kept
	}{{"three side by side, with a cache", count, kept}, {"processes of their own", apart{}, nil}, {"the folder", failing{}, kept}} {
		table := run(c.r, c.kept)
		if got := text(table); got != want {
			t.Errorf("from %s:\n%s\nwant\n%s", c.from, got, want)
		}
		if c.from == "the folder" && table.Reused != 6 {
			t.Errorf("%d rows came from the folder, want 6", table.Reused)
		}
	}
	// One more value, and only what is new is worked out.
	more := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "long=100mm,110mm,200mm,120mm", "species:ash,oak-thin")
	count.tasks = 0
	table, err := more.Run(context.Background(), count, kept, nil)
	if err != nil {
		t.Fatal(err)
	}
	if count.tasks != 2 || table.Reused != 6 {
		t.Errorf("%d variants were worked out anew and %d kept, want 2 and 6", count.tasks, table.Reused)
	}
	if table.Rows[2].Figures.Size[0] != 110 || table.Rows[4].State != Alter {
		t.Error("rows stand in the wrong places")
	}
}

// failing does nothing, and would be noticed if it were asked.
type failing struct{}

func (failing) Run(_ context.Context, _ string, tasks []Task, _ func(int, []byte, error)) error {
	if len(tasks) > 0 {
		return errors.New("nothing was to be done")
	}
	return nil
}

// What is asked of a variant is all in its key.
func TestKeysTellTasksApart(t *testing.T) {
	shop := example(t, "shop.yaml")
	keys := map[string]string{}
	add := func(what string, p, s File, o Options, program string, vary ...string) {
		t.Helper()
		l, err := New(p, s, axes(t, vary...), o, nil, program)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range l.Variants {
			if was, ok := keys[v.Task.Key]; ok {
				t.Errorf("%s, %s has the key of %s", what, v.Name, was)
			}
			keys[v.Task.Key] = what + ", " + v.Name
		}
	}
	p := File{"block.yaml", []byte(peg)}
	add("plain", p, shop, Options{}, "a", "long=100mm,110mm", "wide=60mm,70mm", "species:ash,oak")
	add("with strength", p, shop, Options{Strength: true}, "a", "long=100mm", "wide=60mm", "species:ash")
	add("another program", p, shop, Options{}, "b", "long=100mm", "wide=60mm", "species:ash")
	add("another piece", File{p.Name, []byte(peg + "\nnote: changed\n")}, shop, Options{}, "a", "long=100mm", "wide=60mm", "species:ash")
	add("another shop", p, File{shop.Name, append([]byte("# changed\n"), shop.Data...)}, Options{}, "a", "long=100mm", "wide=60mm", "species:ash")
	add("a filament", p, shop, Options{}, "a", "long=100mm", "wide=60mm", "species:ash", "filament:abs")
	// The same variant of another grid is the same.
	l, err := New(p, shop, axes(t, "species:oak", "wide=70mm", "long=100 mm,200mm"), Options{}, nil, "a")
	if err != nil {
		t.Fatal(err)
	}
	if keys[l.Variants[0].Task.Key] != "plain, long 100 mm, wide 70 mm, oak" {
		t.Errorf("%s is not known by its key", l.Variants[0].Name)
	}
}

// The grid is every combination once, the last axis fastest.
func TestGrid(t *testing.T) {
	shop := example(t, "shop.yaml")
	rapid.Check(t, func(t *rapid.T) {
		var list []Axis
		want := []string{""}
		for _, name := range []string{"long", "wide", "count"} {
			n := rapid.IntRange(0, 6).Draw(t, name)
			if n == 0 {
				continue
			}
			word, from := " mm", rapid.IntRange(80, 90).Draw(t, "from "+name)
			if name == "count" {
				word = ""
			}
			a, err := ParseAxis(fmt.Sprintf("%s=%d%s..%d%s/1%s", name, from, word, from+n-1, word, word))
			if err != nil {
				t.Fatal(err)
			}
			list = append(list, a)
			var next []string
			for _, w := range want {
				for i := range n {
					next = append(next, fmt.Sprintf("%s|%d%s", w, from+i, word))
				}
			}
			want = next
		}
		l, err := New(File{"block.yaml", []byte(peg)}, shop, list, Options{}, nil, "p")
		if err != nil {
			t.Fatal(err)
		}
		keys := map[string]bool{}
		for i, v := range l.Variants {
			if i >= len(want) {
				break
			}
			if got := "|" + strings.Join(v.Values, "|"); got != want[i] && len(v.Values) > 0 {
				t.Fatalf("variant %d is %s, want %s", i, got, want[i])
			}
			if v.N != i+1 || keys[v.Task.Key] {
				t.Fatalf("variant %d has the number %d, or another's key", i, v.N)
			}
			keys[v.Task.Key] = true
		}
		if len(l.Variants) != len(want) {
			t.Fatalf("%d variants, want %d", len(l.Variants), len(want))
		}
	})
}

func TestNewSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct {
		vary []string
		want string
	}{
		{[]string{"length=1mm"}, `"length": the piece has no parameter of that name; it has: long, wide, count`},
		{[]string{"long=100"}, "the parameter is a length, and this is a number without a unit; write its values with their unit"},
		{[]string{"count=3mm"}, "the parameter is a number without a unit, and this is a length"},
		{[]string{"long=1mm", "long=2mm"}, "varied twice"},
		{[]string{"species:teak"}, "the shop has no veneer of that name"},
		{[]string{"species:asj"}, "ash"},
		{[]string{"filament:wood"}, "the shop has no filament of that name"},
		{[]string{"long=1mm..100mm/1mm", "wide=1mm..21mm/1mm"}, "100 × 21 variants, and a line has at most 2000"},
		{[]string{"long=1mm..2000mm/1mm", "wide=1mm..2000mm/1mm", "count=1..2000/1"}, "2000 × 2000 × 2000 variants"},
	} {
		_, err := New(File{"block.yaml", []byte(peg)}, example(t, "shop.yaml"), axes(t, c.vary...), Options{}, nil, "p")
		if !errors.As(err, new(*AxisError)) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.vary, err, c.want)
		}
	}
	if _, err := New(File{"block.yaml", []byte(strings.Replace(peg, "= long", "= lnog", 1))}, example(t, "shop.yaml"), axes(t, "wide=60mm"), Options{}, nil, "p"); err == nil || !strings.Contains(err.Error(), "lnog") {
		t.Errorf("a fault that all variants have: %v", err)
	}
	if _, err := New(File{"block.yaml", []byte(peg)}, File{"shop.yaml", []byte("groundwork: 1")}, axes(t, "wide=60mm"), Options{}, nil, "p"); err == nil || !strings.Contains(err.Error(), "shop.yaml") {
		t.Errorf("a fault of the shop: %v", err)
	}
}

// A file that the piece brings in goes with the task.
func TestSolidsGoWithTasks(t *testing.T) {
	p := strings.Replace(peg, "    board: {rectangle: {length: = long, width: = wide}, thickness: 20 mm}\n", "    solid: {file: cube.obj, unit: mm}\n", 1)
	const cube = `v 0 0 0
v 60 0 0
v 60 60 0
v 0 60 0
v 0 0 60
v 60 0 60
v 60 60 60
v 0 60 60
f 4 3 2 1
f 5 6 7 8
f 1 2 6 5
f 2 3 7 6
f 3 4 8 7
f 4 1 5 8
`
	program, err := Program()
	if err != nil {
		t.Fatal(err)
	}
	open := func(name string) ([]byte, error) {
		if name != "cube.obj" {
			return nil, fmt.Errorf("no %s here", name)
		}
		return []byte(cube), nil
	}
	l, err := New(File{"cube.yaml", []byte(p)}, example(t, "shop.yaml"), axes(t, "species:oak"), Options{}, open, program)
	if err != nil {
		t.Fatal(err)
	}
	table, err := l.Run(context.Background(), Local{Worker: Worker{Kernel: kernel(t)}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if r := table.Rows[0]; r.Figures == nil || r.Figures.Size != [3]float64{60, 60, 60} {
		t.Errorf("%s, %s: %+v", r.State, r.Gravest(), r.Figures)
	}
}

// scripted answers tasks by their index.
type scripted struct {
	answer func(i int) ([]byte, error)
	stop   int // after so many
	err    error
}

func (s scripted) Run(_ context.Context, _ string, tasks []Task, done func(int, []byte, error)) error {
	for i := range tasks {
		if s.err != nil && i == s.stop {
			return s.err
		}
		out, err := s.answer(i)
		done(i, out, err)
	}
	return nil
}

func TestFailuresAreRowsAndAreNotKept(t *testing.T) {
	l := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "wide=60mm..65mm/1mm")
	kept, err := OpenKept(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	good := []byte(`{"state":"can be made","figures":{"cost":5},"stops":0,"warnings":0,"notes":0}`)
	answers := []struct {
		out []byte
		err error
	}{
		{good, nil}, {nil, errors.New("the machine caught fire")}, {[]byte("{"), nil}, {[]byte(`{"state":"grand"}`), nil},
		{[]byte(`{"state":"not worked out","error":"the kernel ran out of memory"}`), nil}, {good, nil},
	}
	table, err := l.Run(context.Background(), scripted{answer: func(i int) ([]byte, error) { return answers[i].out, answers[i].err }}, kept, nil)
	if err != nil {
		t.Fatal(err)
	}
	if table.Count(Made) != 2 || table.Count(Failed) != 4 || table.Rows[1].Error != "the machine caught fire" {
		t.Errorf("%d made, %d failed", table.Count(Made), table.Count(Failed))
	}
	again := &tally{r: scripted{answer: func(int) ([]byte, error) { return good, nil }}}
	table, err = l.Run(context.Background(), again, kept, nil)
	if err != nil || again.tasks != 4 || table.Reused != 2 || table.Count(Made) != 6 {
		t.Errorf("%v: %d done again, want the 4 that had failed", err, again.tasks)
	}
	if table.Cheapest() != 0 {
		t.Errorf("the cheapest of equals is the first, not %d", table.Cheapest())
	}
}

func TestUnfinished(t *testing.T) {
	l := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "wide=60mm..65mm/1mm")
	kept, err := OpenKept(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	good := func(int) ([]byte, error) { return []byte(`{"state":"can be made","figures":{}}`), nil }
	var told []Progress
	_, err = l.Run(context.Background(), scripted{good, 4, context.Canceled}, kept, func(p Progress) { told = append(told, p) })
	var u *UnfinishedError
	if !errors.As(err, &u) || u.Ended != 4 || u.Total != 6 || !u.Kept || !errors.Is(err, context.Canceled) {
		t.Fatalf("%v", err)
	}
	if want := []Progress{{0, 6, 0}, {1, 6, 0}, {2, 6, 0}, {3, 6, 0}, {4, 6, 0}}; !slices.Equal(told, want) {
		t.Errorf("told %v", told)
	}
	rest := &tally{r: scripted{answer: good}}
	if _, err := l.Run(context.Background(), rest, kept, nil); err != nil || rest.tasks != 2 {
		t.Errorf("%v: %d done the second time, want 2", err, rest.tasks)
	}
	// A runner that forgets some is found out.
	if _, err := l.Run(context.Background(), silent{}, nil, nil); !errors.As(err, &u) || u.Kept {
		t.Errorf("a runner that did nothing: %v", err)
	}
}

type silent struct{}

func (silent) Run(context.Context, string, []Task, func(int, []byte, error)) error { return nil }

// A real interrupt between variants: what is finished stays finished.
func TestInterruptedLocally(t *testing.T) {
	l := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "wide=60mm..63mm/1mm")
	kept, err := OpenKept(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	k := kernel(t)
	ctx, cancel := context.WithCancel(context.Background())
	_, err = l.Run(ctx, Local{Worker: Worker{Kernel: k}, Beside: 1}, kept, func(p Progress) {
		if p.Ended == 1 {
			cancel()
		}
	})
	var u *UnfinishedError
	if !errors.As(err, &u) || u.Ended != 1 || !errors.Is(err, context.Canceled) {
		t.Fatalf("%v", err)
	}
	rest := &tally{r: Local{Worker: Worker{Kernel: k}}}
	table, err := l.Run(context.Background(), rest, kept, nil)
	if err != nil || rest.tasks != 3 || table.Count(Made) != 4 {
		t.Errorf("%v: %d done the second time, want 3", err, rest.tasks)
	}
}

func TestDoRefusesWhatIsNotItsTask(t *testing.T) {
	l, err := New(File{"block.yaml", []byte(peg)}, example(t, "shop.yaml"), nil, Options{}, nil, "file of another build")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := (Worker{}).Do(context.Background(), l.Variants[0].Task.Args); !errors.Is(err, ErrProgram) {
		t.Errorf("another build's task: %v", err)
	}
	for _, s := range []string{"", "{}", "[]", `{"colour":"red"}`} {
		if _, err := (Worker{}).Do(context.Background(), []byte(s)); err == nil {
			t.Errorf("%q was done", s)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	ours := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "wide=60mm")
	if _, err := (Worker{Kernel: kernel(t)}).Do(ctx, ours.Variants[0].Task.Args); !errors.Is(err, context.Canceled) {
		t.Errorf("after the end: %v", err)
	}
	if err := (Local{}).Run(context.Background(), "sweeping", l.taskList(), nil); err == nil {
		t.Error("work of another kind was done")
	}
}

func (l *Line) taskList() (out []Task) {
	for _, v := range l.Variants {
		out = append(out, v.Task)
	}
	return out
}

// A panic in one variant is that variant's.
func TestPanicIsOneRow(t *testing.T) {
	l := lay(t, File{"block.yaml", []byte(peg)}, Options{}, "wide=60mm,61mm")
	// A worker without a kernel panics when it is first asked for a solid.
	table, err := l.Run(context.Background(), Local{}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	if table.Count(Failed) != 2 || !strings.Contains(table.Rows[0].Error, "program itself failed") {
		t.Errorf("%d failed: %q", table.Count(Failed), table.Rows[0].Error)
	}
}

// An arm that sticks out further bears less.
func TestStrengthIsInTheRow(t *testing.T) {
	arm := strings.Replace(peg, "use: other", "use: other\nheld: [{on: block, surface: edge-4}]\nloads: [{name: mine, on: block, surface: face, at: [= long / 2 - 20, 0], mass: 5 kg}]", 1)
	l := lay(t, File{"block.yaml", []byte(arm)}, Options{Strength: true}, "long=80mm,140mm")
	table, err := l.Run(context.Background(), Local{Worker: Worker{Kernel: kernel(t)}}, nil, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range table.Rows {
		if b := r.Bears; b == nil || b.Cases == 0 || b.Solved != b.Cases || b.Margin <= 0 || b.Of == "" {
			t.Fatalf("variant %d: %s: %+v", i, r.Gravest(), b)
		}
	}
	if a, b := table.Rows[0].Bears.Margin, table.Rows[1].Bears.Margin; b >= a {
		t.Errorf("a short arm has the margin %g, a long one %g", a, b)
	}
	csv, err := table.CSV()
	if err != nil || !strings.Contains(string(csv), ",strength_margin,strength_cases_fail,") {
		t.Errorf("%v: no strength in %s", err, csv)
	}
}

func TestRowKeepsItsBytes(t *testing.T) {
	r := &Row{State: Made, Figures: &Figures{Hand: round(14123.456789, 0.1), Cost: round(0.1+0.2, 0.0001), VeneerLaid: round(123456.7, 1)}}
	a, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	back, err := readRow(a)
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(back)
	if err != nil || string(a) != string(b) {
		t.Errorf("%s\n%s", a, b)
	}
	for _, want := range []string{`"hand_s":14123.5,`, `"cost":0.3}`, `"veneer_laid_mm2":123457,`} {
		if !strings.Contains(string(a), want) {
			t.Errorf("%s lacks %s", a, want)
		}
	}
}

// Only a clean checkout is known by its revision.
func TestCleanBuild(t *testing.T) {
	set := func(pairs ...string) *debug.BuildInfo {
		b := &debug.BuildInfo{}
		for i := 0; i < len(pairs); i += 2 {
			b.Settings = append(b.Settings, debug.BuildSetting{Key: pairs[i], Value: pairs[i+1]})
		}
		return b
	}
	local := set("vcs.revision", "abc", "vcs.modified", "false")
	local.Deps = []*debug.Module{{Path: "x", Replace: &debug.Module{Path: "../x"}}}
	for _, c := range []struct {
		what string
		b    *debug.BuildInfo
		want bool
	}{
		{"clean", set("vcs.revision", "abc", "vcs.modified", "false"), true},
		{"changed", set("vcs.revision", "abc", "vcs.modified", "true"), false},
		{"silent", set("vcs.revision", "abc"), false},
		{"unversioned", set("GOARCH", "amd64"), false},
		{"with a library from a folder", local, false},
	} {
		if clean(c.b) != c.want {
			t.Errorf("%s: %v", c.what, !c.want)
		}
	}
	p, err := Program()
	if err != nil || len(p) < 64 {
		t.Errorf("this program: %q, %v", p, err)
	}
}
