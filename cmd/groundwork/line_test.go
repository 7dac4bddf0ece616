package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// plank is a piece that is planned quickly, and not over 140 mm long.
const plank = `groundwork: 1
name: test-plank
title: Test plank
use: other
sizes: finished
veneer: {use: ash}
filament: pla
parameters:
  long: {value: 100 mm, min: 80 mm, max: 140 mm}
members:
  plank:
    board: {rectangle: {length: = long, width: 60 mm}, thickness: 20 mm}
`

func TestLine(t *testing.T) {
	dir := t.TempDir()
	p, s := write(t, dir, "test-plank.yaml", plank), write(t, dir, "shop.yaml", shopText(t))
	out, cache := filepath.Join(dir, "line"), filepath.Join(dir, "cache")
	command := []string{"line", p, "--shop", s, "--vary", "long=100mm,150mm", "--species", "ash,oak", "--out", out, "--cache", cache}
	status, stdout, stderr := invoke(t, command...)
	if status != planned {
		t.Fatalf("status %d: %s", status, stderr)
	}
	for _, want := range []string{"long 100 mm, ash", "cheapest", "long 150 mm, oak", "keep it between 80 and 140", "4 variants; 2 cannot be made as they are.", "table.html"} {
		if !strings.Contains(stdout, want) {
			t.Errorf("%q does not say %q", stdout, want)
		}
	}
	read := func() (d struct {
		Variants []struct {
			Name, State string
			Figures     *struct {
				Cost float64
			}
		}
	}) {
		t.Helper()
		b, err := os.ReadFile(filepath.Join(out, "line.json"))
		if err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(b, &d); err != nil {
			t.Fatal(err)
		}
		return d
	}
	first := read()
	if len(first.Variants) != 4 || first.Variants[0].Figures == nil || first.Variants[2].State != "must be altered" {
		t.Errorf("%+v", first)
	}
	// The folder is not written over unasked, and the second time nothing is worked out.
	if status, _, stderr := invoke(t, command...); status != badInput || !strings.Contains(stderr, "--replace") {
		t.Errorf("status %d: %s", status, stderr)
	}
	status, stdout, stderr = invoke(t, append(command, "--replace")...)
	if status != planned || !strings.Contains(stdout, "4 variants, 4 of them kept from earlier; 2 cannot") {
		t.Errorf("status %d: %s%s", status, stdout, stderr)
	}
	if again := read(); *again.Variants[1].Figures != *first.Variants[1].Figures {
		t.Error("what was kept is not what was worked out")
	}
}

func TestLineSaysWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	p, s := write(t, dir, "test-plank.yaml", plank), write(t, dir, "shop.yaml", shopText(t))
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "nothing is varied"},
		{[]string{"--vary", "long=100mm..150mm"}, `--vary "long=100mm..150mm" at "100mm..150mm": the range has no step`},
		{[]string{"--vary", "lnog=100mm"}, "no parameter of that name"},
		{[]string{"--species", "teak"}, "no veneer of that name"},
		{[]string{"--filament", "pla,"}, "--filament \"pla,\": a name is missing"},
		{[]string{"--species", "all", "--beside", "0"}, "at least one variant"},
		{[]string{"--species", "all", "--cache", dir, "--no-cache"}, "do not go together"},
	} {
		status, _, stderr := invoke(t, append([]string{"line", p, "--shop", s, "--out", filepath.Join(dir, "line")}, c.args...)...)
		if status != badInput || !strings.Contains(stderr, c.want) {
			t.Errorf("%q: status %d, %q does not say %q", c.args, status, stderr, c.want)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "line")); err == nil {
		t.Error("something was written")
	}
}

// A maker who ends it is told what became of the work.
func TestLineInterrupted(t *testing.T) {
	dir := t.TempDir()
	c := lineCommand{
		Piece: write(t, dir, "test-plank.yaml", plank), Shop: write(t, dir, "shop.yaml", shopText(t)),
		Vary: []string{"long=100mm"}, Out: filepath.Join(dir, "line"), Cache: filepath.Join(dir, "cache"), Beside: 1,
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := c.Run(ctx, &output{os.Stdout, os.Stderr})
	if _, ok := err.(interruptedError); !ok || !strings.Contains(err.Error(), "0 of 1 variants are ready and kept in "+c.Cache) {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(c.Out); err == nil {
		t.Error("a table was written")
	}
}
