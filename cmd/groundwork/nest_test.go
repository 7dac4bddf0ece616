package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

const twoTriangles = `{"name": "pair", "strip_height": 10, "items": [
 {"id": 7, "demand": 4, "allowed_orientations": [0, 180], "shape": {"type": "simple_polygon", "data": [[0, 0], [10, 0], [0, 10]]}}]}`

func TestNest(t *testing.T) {
	dir := t.TempDir()
	in := write(t, dir, "pair.json", twoTriangles)
	data, svg := filepath.Join(dir, "out.json"), filepath.Join(dir, "out.svg")
	status, stdout, stderr := invoke(t, "nest", in, "--iterations", "5000", "--json", data, "--svg", svg)
	if status != planned {
		t.Fatalf("status %d: %s", status, stderr)
	}
	if !strings.Contains(stdout, "density 100.00 %, length 20, 4 placed") {
		t.Errorf("it says %q", stdout)
	}
	b, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	var res nested
	if err := json.Unmarshal(b, &res); err != nil {
		t.Fatal(err)
	}
	if math.Abs(res.Length-20) > 1e-9 || len(res.Placements) != 4 || res.Placements[0].Item != "7" {
		t.Errorf("the layout is %+v", res)
	}
	if b, err := os.ReadFile(svg); err != nil || !strings.Contains(string(b), "<svg") {
		t.Errorf("the drawing: %v", err)
	}
}

func TestNestOfBadFiles(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		name, text, say string
		status          int
	}{
		{"no json", "hello", "line 1: this is not JSON", badInput},
		{"no height", `{"items": [{"id": 1, "demand": 1}]}`, "strip_height", badInput},
		{"no items", `{"strip_height": 5}`, "no items", badInput},
		{"no demand", strings.Replace(twoTriangles, `"demand": 4`, `"demand": 0`, 1), "demand is 0", badInput},
		{"another type", strings.Replace(twoTriangles, "simple_polygon", "circle", 1), "circle", badInput},
		{"too high", strings.Replace(twoTriangles, "[0, 10]]", "[0, 30]]", 1), "fits no empty bin", mustAlter},
		{"crossed", strings.Replace(twoTriangles, "[[0, 0], [10, 0], [0, 10]]", "[[0, 0], [10, 10], [10, 0], [0, 10]]", 1), "", mustAlter},
	} {
		t.Run(c.name, func(t *testing.T) {
			out := filepath.Join(dir, "out.json")
			status, stdout, stderr := invoke(t, "nest", write(t, dir, "in.json", c.text), "--iterations", "100", "--json", out)
			if status != c.status || !strings.Contains(stdout+stderr, c.say) {
				t.Errorf("status %d, want %d with %q: %s%s", status, c.status, c.say, stdout, stderr)
			}
			if _, err := os.Stat(out); err == nil {
				t.Error("a file was left behind")
			}
		})
	}
}

// A gap is kept: two squares of 4 lie one after the other in a strip of 5, and
// that much apart.
func TestNestGap(t *testing.T) {
	in := write(t, t.TempDir(), "in.json", `{"name": "two", "strip_height": 5, "items": [
 {"id": 1, "demand": 2, "allowed_orientations": [0], "shape": {"data": [[0, 0], [4, 0], [4, 4], [0, 4]]}}]}`)
	for _, c := range []struct{ gap, say string }{{"0", "length 8,"}, {"1.9", "length 9.9"}, {"3", "length 11"}} {
		status, stdout, stderr := invoke(t, "nest", in, "--gap", c.gap, "--iterations", "500")
		if status != planned || !strings.Contains(stdout, c.say) {
			t.Errorf("gap %s: status %d: %s%s", c.gap, status, stdout, stderr)
		}
	}
	for _, flag := range []string{"--time=-5s", "--iterations=-1"} {
		if status, _, stderr := invoke(t, "nest", in, flag); status != badInput || !strings.Contains(stderr, "negative") {
			t.Errorf("%s: status %d: %s", flag, status, stderr)
		}
	}
	for _, gap := range []string{"-1", "NaN", "11", "Inf"} {
		if status, _, stderr := invoke(t, "nest", in, "--gap="+gap); status != badInput || !strings.Contains(stderr, "write 0 or more") {
			t.Errorf("gap %s: status %d: %s", gap, status, stderr)
		}
	}
}

// The trace rises, and ends at what the layout reached.
func TestNestTrace(t *testing.T) {
	name := filepath.Join(t.TempDir(), "trace.csv")
	status, stdout, stderr := invoke(t, "nest", "../../internal/nest/testdata/classic/jakobs1.json", "--iterations", "30000", "--trace", name)
	if status != planned {
		t.Fatalf("status %d: %s", status, stderr)
	}
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) < 3 || strings.Join(rows[0], ",") != "seconds,density_pct" {
		t.Fatalf("%v, %v", rows, err)
	}
	var seconds, density float64
	for _, r := range rows[1:] {
		s, _ := strconv.ParseFloat(r[0], 64)
		d, err := strconv.ParseFloat(r[1], 64)
		if err != nil || s < seconds || d <= density {
			t.Fatalf("%v after %g s, %g %%", r, seconds, density)
		}
		seconds, density = s, d
	}
	if say := "density " + strconv.FormatFloat(density, 'f', 2, 64) + " %"; !strings.Contains(stdout, say) {
		t.Errorf("the trace ends at %s, it says %s", say, stdout)
	}
}

// fourPentagons never fill a strip, so that there is always something to look for.
const fourPentagons = `{"name": "pentagons", "strip_height": 10, "items": [
  {"demand": 4, "allowed_orientations": [0], "shape": {"data": [[0, 0], [4, 0], [5, 3], [2, 5], [-1, 3]]}}]}`

// Ended by the maker, the command keeps the best layout until then.
func TestNestInterrupted(t *testing.T) {
	keep := make(chan os.Signal, 1)
	signal.Notify(keep, os.Interrupt) // the test itself must outlive the interrupt
	defer signal.Stop(keep)
	over := make(chan struct{})
	go func() { // again and again, since the first may come before the command listens
		for {
			select {
			case <-over:
				return
			case <-time.After(300 * time.Millisecond):
				syscall.Kill(os.Getpid(), syscall.SIGINT)
			}
		}
	}()
	dir := t.TempDir()
	data, curve := filepath.Join(dir, "out.json"), filepath.Join(dir, "trace.csv")
	status, stdout, stderr := invoke(t, "nest", write(t, dir, "in.json", fourPentagons), "--time", "1h", "--json", data, "--trace", curve)
	close(over)
	if status != interrupted || !strings.Contains(stdout, "4 placed") || !strings.Contains(stderr, "interrupted: this is the best layout until then") {
		t.Fatalf("status %d: %s%s", status, stdout, stderr)
	}
	b, err := os.ReadFile(data)
	if err != nil {
		t.Fatal(err)
	}
	var res nested
	if err := json.Unmarshal(b, &res); err != nil || !res.Interrupted || len(res.Placements) != 4 {
		t.Errorf("the layout is %+v, %v", res, err)
	}
	if b, err := os.ReadFile(curve); err != nil || strings.Count(string(b), "\n") < 2 {
		t.Errorf("the trace is %q, %v", b, err)
	}
}

// Ended before anything is laid, it writes nothing and says so.
func TestNestInterruptedAtOnce(t *testing.T) {
	dir := t.TempDir()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	quiet, err := os.Create(filepath.Join(dir, "quiet"))
	if err != nil {
		t.Fatal(err)
	}
	defer quiet.Close()
	c := nestCommand{File: write(t, dir, "in.json", twoTriangles), Iterations: 100, JSON: filepath.Join(dir, "out.json")}
	err = c.Run(ctx, &output{quiet, quiet})
	if !errors.As(err, new(interruptedError)) || !strings.Contains(err.Error(), "nothing was written") {
		t.Errorf("the error is %v", err)
	}
	if _, err := os.Stat(c.JSON); err == nil {
		t.Error("a file was left behind")
	}
}
