package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
		{"no json", "hello", "invalid character", badInput},
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
