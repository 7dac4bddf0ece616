package main

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/instance"
	"groundwork/internal/nest"
)

func write(t *testing.T, dir, name, text string) string {
	t.Helper()
	path := filepath.Join(dir, name)
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func slurp(t *testing.T, dir, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

const pair = `{"strip_height": 10, "items": [{"demand": 4, "allowed_orientations": [0, 180], "shape": {"data": [[0, 0], [10, 0], [0, 10]]}}]}`

// A run by lines, from files to table and plot, and the same table and plot from
// the CSV files alone.
func TestBench(t *testing.T) {
	dir, out := t.TempDir(), filepath.Join(t.TempDir(), "out")
	write(t, dir, "pair.json", pair)
	write(t, dir, "other.json", strings.Replace(pair, "4", "3", 1))
	var say strings.Builder
	if err := run(context.Background(), []string{"-lines", "2000", "-seeds", "0, 5", "-out", out, dir}, &say); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(say.String(), "\n"); n != 4 {
		t.Errorf("it says %d lines:\n%s", n, say.String())
	}
	r, err := read(out)
	if err != nil {
		t.Fatal(err)
	}
	if len(r.summary) != 4 || len(r.points) < 4 {
		t.Fatalf("read %+v", r)
	}
	for i, s := range r.summary {
		// Four triangles fill a strip of 20, three leave a quarter of it.
		want := map[string]float64{"pair": 100, "other": 75}[s.instance]
		if s.seed != []int64{0, 5, 0, 5}[i] || math.Abs(s.density-want) > 1e-3 || !s.verified || (s.lines > 0) != (s.instance != "pair") { // the pair is perfect before any line
			t.Errorf("run %d: %+v", i, s)
		}
	}
	table, svg := slurp(t, out, "table.md"), slurp(t, out, "density.svg")
	if !strings.Contains(table, "| pair | 100.00 / 100.00 | 100.00 | 100.00 |") || !strings.Contains(table, "2 instances: 87.50 %") {
		t.Errorf("the table:\n%s", table)
	}
	os.Remove(filepath.Join(out, "table.md"))
	os.Remove(filepath.Join(out, "density.svg"))
	if err := run(context.Background(), []string{"-plot", out}, io.Discard); err != nil {
		t.Fatal(err)
	}
	if slurp(t, out, "table.md") != table || slurp(t, out, "density.svg") != svg {
		t.Error("made again from the CSV files, table or plot differ")
	}
}

// Both clocks end a run.
func TestBenchByTime(t *testing.T) {
	// Pentagons never fill a strip, so that there is always something to look for.
	file := write(t, t.TempDir(), "pentagons.json", `{"strip_height": 10, "items": [
		{"demand": 4, "allowed_orientations": [0], "shape": {"data": [[0, 0], [4, 0], [5, 3], [2, 5], [-1, 3]]}}]}`)
	for _, flags := range [][]string{{"-seconds", "0.05"}, {"-seconds", "0.05", "-wall"}} {
		out := t.TempDir()
		if err := run(context.Background(), append(flags, "-out", out, file), io.Discard); err != nil {
			t.Fatal(err)
		}
		r, err := read(out)
		if err != nil {
			t.Fatal(err)
		}
		if s := r.summary[0]; s.seconds < 0.05 || !(s.lines > 0) {
			t.Errorf("%v: %+v", flags, s)
		}
	}
}

func TestBenchRefuses(t *testing.T) {
	dir := t.TempDir()
	file := write(t, dir, "pair.json", pair)
	write(t, dir, "broken.json", `{"strip_height": 10}`)
	out := t.TempDir()
	for _, c := range []struct {
		args []string
		say  string
	}{
		{nil, "name a folder"},
		{[]string{t.TempDir()}, "no instances"},
		{[]string{filepath.Join(dir, "none")}, "no such file"},
		{[]string{"-seeds", "1,x", file}, `"x" is no whole number`},
		{[]string{"-seconds", "0", file}, "write more than 0"},
		{[]string{"-only", "pear", dir}, `no instance "pear"`},
		{[]string{"-only", "broken", dir}, "it has no items"},
		{[]string{"-plot", t.TempDir()}, "curves.csv"},
	} {
		err := run(context.Background(), append([]string{"-out", out}, c.args...), io.Discard)
		if err == nil || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%v: %v, want %q", c.args, err, c.say)
		}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := run(ctx, []string{"-out", out, file}, io.Discard); !errors.Is(err, context.Canceled) {
		t.Errorf("interrupted: %v", err)
	}
}

// What cannot be laid whole is loud: told, marked, and the end of the bench an error.
func TestBenchIsLoud(t *testing.T) {
	out := t.TempDir()
	file := write(t, t.TempDir(), "high.json", strings.Replace(pair, "[0, 10]]", "[0, 30]]", 1))
	var say strings.Builder
	err := run(context.Background(), []string{"-lines", "10", "-out", out, file}, &say)
	if !errors.Is(err, errUnsound) || !strings.Contains(say.String(), "DOES NOT HOLD") {
		t.Errorf("%v: %s", err, say.String())
	}
	if s := slurp(t, out, "summary.csv"); !strings.Contains(s, ",no\n") {
		t.Errorf("summary: %s", s)
	}
	if s := slurp(t, out, "table.md"); !strings.Contains(s, "DOES NOT HOLD") {
		t.Errorf("table: %s", s)
	}
	// and so is an outline that crosses itself
	in := &instance.Instance{Height: 10, Items: []nest.Item{{ID: "a", Shape: geom.Polygons{{{X: 0, Y: 0}, {X: 5, Y: 5}, {X: 5, Y: 0}, {X: 0, Y: 5}}}}}}
	if sum, _, err := (settings{lines: 10}).one(context.Background(), "bow", in, 0); err != nil || sum.verified {
		t.Errorf("a crossed outline: %+v, %v", sum, err)
	}
}

// The curve of an instance is the median of its seeds from when all have begun.
func TestCurves(t *testing.T) {
	r := results{
		points: []point{
			{"a", 0, 1, 50}, {"a", 0, 4, 60}, {"a", 1, 2, 52}, {"a", 1, 3, 70}, {"a", 2, 2.5, 40}, {"a", 2, 6, 62},
			{"b", 7, 0.5, 10},
		},
		summary: []summary{{instance: "b", seed: 7, seconds: 9}, {instance: "a", seed: 0, seconds: 8}, {instance: "a", seed: 1, seconds: 7}, {instance: "a", seed: 2, seconds: 7}},
	}
	got := r.curves()
	if len(got) != 2 || got[0].name != "b" || got[1].name != "a" || got[1].end != 8 {
		t.Fatalf("%+v", got)
	}
	// 2.5 s: 50 52 40; 3: 50 70 40; 4: 60 70 40; 6: 60 70 62
	if s := fmt.Sprint(got[1].knots); s != "[[2.5 50] [4 60] [6 62]]" {
		t.Errorf("knots %s", s)
	}
	if m := median([]float64{4, 1, 2, 3}); m != 2.5 {
		t.Errorf("median %g", m)
	}
}

// The plot is well-formed whatever instances are called, its labels stand apart
// within it, and no curve leaves the frame.
func TestPlot(t *testing.T) {
	var curves []curve
	for i := range 40 {
		d := 70 + math.Mod(float64(i)*7.3, 9)
		curves = append(curves, curve{name: fmt.Sprintf("<%d & co>", i), knots: [][2]float64{{0.001, d - 9}, {0.3, d - 2}, {0.3001, d - 1}, {20, d}}, end: 61})
	}
	for _, cs := range [][]curve{nil, curves[:1], curves} {
		data := plot(cs)
		dec := xml.NewDecoder(bytes.NewReader(data))
		texts := 0
		for {
			tok, err := dec.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%d curves: %v", len(cs), err)
			}
			e, ok := tok.(xml.StartElement)
			if !ok {
				continue
			}
			if e.Name.Local == "text" {
				texts++
			}
			for _, a := range e.Attr {
				if a.Name.Local != "d" {
					continue
				}
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("path %s", a.Value)
				}
				for _, f := range strings.FieldsFunc(a.Value, func(r rune) bool { return strings.ContainsRune("MHVL ", r) }) {
					if v, err := strconv.ParseFloat(f, 64); err != nil || v < 0 || v > width {
						t.Errorf("path %s: %q", a.Value, f)
					}
				}
			}
		}
		if texts < len(cs)+2 {
			t.Errorf("%d curves, %d texts", len(cs), texts)
		}
	}
	at := labels(curves, func(d float64) float64 { return top + plotHeight*(80-d)/20 })
	for i, a := range at {
		if a < top-1e-9 || a > top+plotHeight+1e-9 {
			t.Errorf("label %d at %g", i, a)
		}
		for j := range i {
			if math.Abs(a-at[j]) < 12 {
				t.Errorf("labels %d and %d at %g and %g", i, j, a, at[j])
			}
		}
	}
}

// Curves can be told from both backgrounds: relative luminance and contrast as
// WCAG 2.1 defines them, at least 3 to 1 for graphics (success criterion 1.4.11).
func TestContrast(t *testing.T) {
	luminance := func(hex string) float64 {
		v, err := strconv.ParseUint(hex[1:], 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		lin := func(c uint64) float64 {
			x := float64(c&255) / 255
			if x <= 0.03928 {
				return x / 12.92
			}
			return math.Pow((x+0.055)/1.055, 2.4)
		}
		return 0.2126*lin(v>>16) + 0.7152*lin(v>>8) + 0.0722*lin(v)
	}
	for _, h := range hues {
		for _, back := range []string{light, dark} {
			a, b := luminance(h), luminance(back)
			if c := (max(a, b) + 0.05) / (min(a, b) + 0.05); c < 3 {
				t.Errorf("%s on %s: contrast %.2f", h, back, c)
			}
		}
	}
}

func TestTicks(t *testing.T) {
	if s := fmt.Sprint(ticks(0.05, 60)); s != "[0.05 0.1 0.2 0.5 1 2 5 10 20 50]" {
		t.Error(s)
	}
	for x, want := range map[float64]float64{0.9: 1, 1: 1, 1.1: 2, 3: 5, 7: 10, 0.03: 0.05} {
		if got := nice(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("nice(%g) = %g", x, got)
		}
	}
}

// FuzzRead reads arbitrary CSV files: what is taken for results can be drawn.
func FuzzRead(f *testing.F) {
	f.Add("instance,seed,seconds,density_pct\na,0,1.5,70\n", "instance,seed,seconds,density_pct,lines_per_second,verified\na,0,2,70,,yes\n")
	f.Add("instance,seed,seconds,density_pct\na,0,x,70\n", "instance,seed,seconds,density_pct,lines_per_second,verified\na,0,2,70,1e400,no\n")
	f.Add("instance,seed,seconds,density_pct\n\"a,\",1,0,0\n", "instance,seed,seconds,density_pct,lines_per_second,verified\n\"a,\",1,0,0,5,yes\n")
	f.Fuzz(func(t *testing.T, curves, sums string) {
		points, err := readPoints(strings.NewReader(curves))
		if err != nil {
			return
		}
		s, err := readSummary(strings.NewReader(sums))
		if err != nil {
			return
		}
		r := results{points, s}
		if svg := plot(r.curves()); bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf ")) {
			t.Errorf("%s", svg)
		}
		if strings.Contains(r.table(), "NaN") {
			t.Error(r.table())
		}
	})
}
