package finding

import (
	"encoding/json"
	"reflect"
	"slices"
	"testing"
)

func TestSorted(t *testing.T) {
	a := Finding{Severity: Note, Stage: "check", Subject: "b"}
	b := Finding{Severity: Stop, Stage: "veneer", Subject: "a"}
	c := Finding{Severity: Stop, Stage: "joint", Subject: "z"}
	d := Finding{Severity: Warning, Stage: "joint", Subject: "a"}
	in := []Finding{a, b, c, d, b}
	got := Sorted(in)
	want := []Finding{c, b, d, a}
	if len(got) != len(want) {
		t.Fatalf("%d findings, want %d: repeats are dropped", len(got), len(want))
	}
	for i := range want {
		if !got[i].Equal(want[i]) {
			t.Errorf("place %d: %v, want %v", i, got[i], want[i])
		}
	}
	if !in[0].Equal(a) {
		t.Error("the list given was changed")
	}
}

// Every field counts: two findings that differ in one are two. A field that is
// added must be told apart too.
func TestEqual(t *testing.T) {
	full := Finding{Stop, "a", "b", "c", "d", "e", "f", "g", 1, []Change{{PieceFile, "/filament", "asa"}}}
	v := reflect.ValueOf(&full).Elem()
	for i := range v.NumField() {
		other := full
		reflect.ValueOf(&other).Elem().Field(i).SetZero()
		if full.Equal(other) || other.Equal(full) {
			t.Errorf("%s is not told apart", v.Type().Field(i).Name)
		}
	}
	again := full
	again.Changes = slices.Clone(full.Changes)
	if !full.Equal(again) || len(Sorted([]Finding{full, again})) != 1 {
		t.Error("the same is told apart")
	}
	again.Changes[0].Value = "abs"
	if full.Equal(again) || len(Sorted([]Finding{full, again})) != 2 {
		t.Error("another value is not told apart")
	}
}

func TestWorst(t *testing.T) {
	if _, any := Worst(nil); any {
		t.Error("nothing has no worst")
	}
	if w, _ := Worst([]Finding{{Severity: Note}, {Severity: Warning}}); w != Warning {
		t.Errorf("worst %v", w)
	}
}

func TestSeverityAsText(t *testing.T) {
	for _, s := range []Severity{Note, Warning, Stop} {
		b, err := json.Marshal(s)
		var back Severity
		if err != nil || json.Unmarshal(b, &back) != nil || back != s {
			t.Errorf("%v became %s and %v", s, b, back)
		}
	}
	var s Severity
	if err := s.UnmarshalText([]byte("grave")); err == nil {
		t.Error("an unknown word was taken")
	}
}

func TestString(t *testing.T) {
	f := Finding{Severity: Stop, Subject: "top", Message: "Too thin.", Remedy: "Make it thicker.", File: "a.yaml", Line: 7}
	if got, want := f.String(), "a.yaml:7: stop: top: Too thin. Remedy: Make it thicker."; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
