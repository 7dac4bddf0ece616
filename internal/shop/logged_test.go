package shop

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestCorrection(t *testing.T) {
	c := Correction{Times: 1.1, Plus: 300, Spread: 0.08, From: 3600, To: 36000, Runs: 9}
	for _, k := range []struct {
		c            Correction
		x, of, width float64
	}{
		{Correction{}, 1000, 1000, 0.25},               // nothing is known
		{Correction{Times: 1.2}, 1000, 1200, 0.25},     // written by hand, without what it may be off
		{c, 10000, 11300, 0.08},                        // in the log's range
		{c, 3600, 4260, 0.08}, {c, 36000, 39900, 0.08}, // both ends belong to it
		{c, 1000, 1400, 0.25}, {c, 40000, 44300, 0.25}, // beyond it no more is promised than usual
		{Correction{Times: 1, Spread: 0.4}, 9, 9, 0.4},        // nor less
		{Correction{Times: 1, Spread: 0.4, To: 5}, 9, 9, 0.4}, // wider than usual stays wide
		{Correction{Times: 1, Plus: -60, From: 120}, 120, 60, 0.25},
		{Correction{Times: 1, Plus: -60, From: 120}, 30, 15, 0.25}, // half, as at its least, not less than nothing
	} {
		if of, width := k.c.Of(k.x), k.c.Within(k.x, 0.25); math.Abs(of-k.of) > 1e-9 || width != k.width {
			t.Errorf("%+v of %g: %g ± %g, not %g ± %g", k.c, k.x, of, width, k.of, k.width)
		}
	}
	if (Printer{}).Logged("abs").Time.Known() {
		t.Error("a printer without a log knows something")
	}
	// What is read is positive and grows with what was worked out, whatever stands there.
	rapid.Check(t, func(t *rapid.T) {
		c := Correction{Times: rapid.Float64Range(0.1, 10).Draw(t, "times"), From: rapid.Float64Range(1, 1e5).Draw(t, "from")}
		c.Plus = rapid.Float64Range(-0.999*c.Times*c.From, 1e5).Draw(t, "plus")
		x := rapid.Float64Range(1e-3, 1e6).Draw(t, "x")
		y := x * rapid.Float64Range(1.001, 5).Draw(t, "more")
		if c.Of(x) <= 0 || c.Of(y) <= c.Of(x) {
			t.Fatalf("%g to %g, %g to %g", x, c.Of(x), y, c.Of(y))
		}
	})
}

const logged = `groundwork: 1
currency: EUR
printers:   # two
  - {id: a, build: [220, 220, 250]}
  - id: b           # the large one
    build: [300, 300, 400]
    profile:
      fill: 20 %
filaments: [{id: abs, material: ABS}, {id: petg, material: PETG}]
lasers: [{id: bed, bed: [300, 200]}]
veneers: [{id: oak, face: 0.5, backing: 0.2, adhesive: 0.1, sheet: [600, 1200]}]
`

func TestApplyLog(t *testing.T) {
	read := func(text []byte) *Shop {
		t.Helper()
		s, err := Parse("shop.yaml", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		return s
	}
	apply := func(text []byte, printer string, l Logged) ([]byte, []Change) {
		t.Helper()
		out, changes, err := ApplyLog(text, printer, l, "a few loads")
		if err != nil {
			t.Fatal(err)
		}
		if again, more, err := ApplyLog(out, printer, l, "a few loads"); err != nil || len(more) > 0 || !bytes.Equal(again, out) {
			t.Errorf("applied twice: %v %+v", err, more)
		}
		return out, changes
	}
	l := Logged{Filament: "abs", Time: Correction{Times: 1.08, Plus: 251, Spread: 0.075, From: 3600, To: 34000, Runs: 9}, Grams: Correction{Times: 1.031, From: 50, Runs: 9}}
	// Into a printer in one line, and into one over several; into each again with
	// another filament; with other values.
	text := []byte(logged)
	for _, printer := range []string{"a", "b"} {
		out, changes := apply(text, printer, l)
		if len(changes) != 2 || changes[0].From != "" || changes[0].To != "{times: 1.08, plus: 251 s, spread: 7.5 %, from: 3600 s, to: 34000 s, runs: 9}" || changes[1].To != "{times: 1.031, from: 50 g, runs: 9}" {
			t.Errorf("%+v", changes)
		}
		other := Logged{Filament: "petg", Time: Correction{Times: 0.95, Spread: 0.2, From: 100, To: 200, Runs: 3}}
		out, changes = apply(out, printer, other)
		if len(changes) != 1 {
			t.Errorf("%+v", changes)
		}
		next := l
		next.Time.Times, next.Time.Runs, next.Time.Plus = 1.09, 10, 0
		out, changes = apply(out, printer, next)
		if len(changes) != 3 || changes[0].From != "1.08" || changes[0].To != "1.09" || changes[1].To != "0 s" || changes[2].Pointer[len(changes[2].Pointer)-14:] != "/abs/time/runs" {
			t.Errorf("%+v", changes)
		}
		s := read(out)
		for _, p := range s.Printers {
			if p.ID == printer {
				if p.Logged("abs") != next || p.Logged("petg") != other {
					t.Errorf("%+v", p.Log)
				}
			}
		}
		text = out
	}
	if s := read(text); len(s.Printers[0].Log) != 2 || len(s.Printers[1].Log) != 2 {
		t.Errorf("%+v", s.Printers)
	}
	for _, line := range strings.Split(logged, "\n") {
		if !strings.HasPrefix(line, "  - {id: a") && !bytes.Contains(text, []byte(line)) {
			t.Errorf("lost: %q\n%s", line, text)
		}
	}
	// Where a maker has written some of it himself.
	byHand := strings.Replace(logged, "    build: [300, 300, 400]\n", "    build: [300, 300, 400]\n    log:\n      abs:   # with a stopwatch\n        time:\n          times: 1.2   # about\n", 1)
	out, changes := apply([]byte(byHand), "b", l)
	if len(changes) != 7 || changes[0].From != "1.2" || !bytes.Contains(out, []byte("# with a stopwatch")) || !bytes.Contains(out, []byte("times: 1.08   # about")) {
		t.Errorf("%+v\n%s", changes, out)
	}
	if p := read(out).Printers[1]; p.Logged("abs") != l {
		t.Errorf("%+v", p.Log)
	}
	// What is not known changes nothing, and what is not in the shop is refused.
	if out, changes := apply(text, "a", Logged{Filament: "abs"}); !bytes.Equal(out, text) || changes != nil {
		t.Errorf("%+v", changes)
	}
	for _, c := range []struct{ printer, filament, want string }{{"c", "abs", `no printer "c"`}, {"a", "asa", `no filament "asa"`}} {
		if _, _, err := ApplyLog(text, c.printer, Logged{Filament: c.filament, Time: l.Time}, ""); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v", err)
		}
	}
	if _, _, err := ApplyLog(text, "a", Logged{Filament: "abs", Time: Correction{Times: 40}}, ""); err == nil || !strings.Contains(err.Error(), "not be sound") {
		t.Errorf("%v", err)
	}
	crlf := bytes.ReplaceAll([]byte(logged), []byte("\n"), []byte("\r\n"))
	if out, _ := apply(crlf, "b", l); bytes.Count(out, []byte("\n")) != bytes.Count(out, []byte("\r\n")) {
		t.Error("the ends of lines were mixed")
	}
}
