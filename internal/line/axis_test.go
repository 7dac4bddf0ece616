package line

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/unit"

	"pgregory.net/rapid"
)

func TestParseAxis(t *testing.T) {
	for _, c := range []struct {
		text string
		want string // values with bars between them
	}{
		{"length=600mm..900mm/50mm", "600 mm|650 mm|700 mm|750 mm|800 mm|850 mm|900 mm"},
		{" length = 600 mm .. 700 mm / 50 mm ", "600 mm|650 mm|700 mm"},
		{"height=450mm,500mm", "450 mm|500 mm"},
		{"height=500mm,450mm", "500 mm|450 mm"}, // as they were written
		{"height=450mm,500mm..520mm/10mm,700mm", "450 mm|500 mm|510 mm|520 mm|700 mm"},
		{"legs=3,4", "3|4"},
		{"legs=3..6/1", "3|4|5|6"},
		{"slope=0deg..1deg/0.25deg", "0 deg|0.25 deg|0.5 deg|0.75 deg|1 deg"},
		{"drop=-10mm..10mm/10mm", "-10 mm|0 mm|10 mm"},
		{"height=600mm..600mm/50mm", "600 mm"},
		{"height=0.1mm..0.5mm/0.1mm", "0.1 mm|0.2 mm|0.3 mm|0.4 mm|0.5 mm"}, // exact, unlike sums of floats
		{"height=20in..21in/0.5in", "20 in|20.5 in|21 in"},
		{"height=30 1/2 in..31 in/0.5in", "30.5 in|31 in"},
		{"height=30 in..30 1/2 in/1/4 in", "30 in|30.25 in|30.5 in"}, // only one slash parts two numbers
		{"height=23 1/2 in", "23 1/2 in"},
		{"height=5 ft 3 in", "5 ft 3 in"},
		{"height=5 ft..5 ft 2 in/1 in", "1524 mm|1549.4 mm|1574.8 mm"},
		{"height=60cm..0.7m/50mm", "600 mm|650 mm|700 mm"},
	} {
		a, err := ParseAxis(c.text)
		if err != nil {
			t.Errorf("%q: %v", c.text, err)
			continue
		}
		if got := strings.Join(a.Values, "|"); got != c.want {
			t.Errorf("%q: %s, want %s", c.text, got, c.want)
		}
	}
}

func TestParseAxisSaysWhatIsWrong(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "no equals sign"},
		{"length", "no equals sign"},
		{"length=", "no values"},
		{"=5mm", "no name of a parameter"},
		{"Length=5mm", "no name of a parameter"},
		{"length=5mm,,6mm", "nothing between two commas"},
		{"length=5mm,", "nothing between two commas"},
		{"length=5mm,6kg", `at "6kg": it is a mass, but the first value is a length`},
		{"length=600,700mm", "but the first value is a number without a unit"},
		{"length=5mm,0.5cm", "stands there twice"},
		{"length=1mm..3mm/1mm,2 mm", "stands there twice"},
		{"length=600mm..900mm", "has no step"},
		{"length=600mm..900mm/", "no number, slash and step"},
		{"length=600mm../50mm", "no number, slash and step"},
		{"length=..900mm/50mm", `begins with ""`},
		{"length=600mm..920mm/50mm", "steps of 50 mm from 600 mm miss 920 mm; end at 900 mm or 950 mm"},
		{"length=900mm..600mm/50mm", "runs downwards; write it from 600 mm to 900 mm"},
		{"length=600mm..900mm/0mm", "the step is 0 mm; make it more than 0"},
		{"length=600mm..900mm/-50mm", "the step is -50 mm"},
		{"length=600..900mm/50mm", "from a number without a unit to a length by a length"},
		{"length=600mm..900mm/50", "by a number without a unit"},
		{"n=5..5/1/2", "read in two ways"},
		{"length=1mm..5000mm/1mm", "more than 2000 values"},
		{"length=0mm..1mm/0.000000001mm", "more than 2000 values"},
		{"length=0mm..1cm/0.0000001mm", "too small to be counted"},
		{"length=tall", "no number with a unit"},
		{"length== height / 2", "no number with a unit"},
		{"length=1e999mm", "no number with a unit"},
		{"length=" + strings.Repeat("1mm,", 2000), "bytes long"},
	} {
		_, err := ParseAxis(c.text)
		var axis *AxisError
		if !errors.As(err, &axis) {
			t.Errorf("%q: %v, want an AxisError", short(c.text), err)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %q does not say %q", short(c.text), err, c.want)
		}
		if axis.Remedy == "" {
			t.Errorf("%q: %q does not say what to do", short(c.text), err)
		}
		if strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: the error has several lines", short(c.text))
		}
	}
}

func TestParseChoice(t *testing.T) {
	a, err := ParseChoice(Veneer, " walnut, ash ")
	if err != nil || !slices.Equal(a.Values, []string{"walnut", "ash"}) {
		t.Errorf("%v, %v", a, err)
	}
	if a, err := ParseChoice(Filament, "all"); err != nil || a.Values != nil {
		t.Errorf("all: %v, %v", a, err)
	}
	for _, text := range []string{"", "ash,", "ash,ash", strings.Repeat("x", 5000)} {
		if _, err := ParseChoice(Veneer, text); !errors.As(err, new(*AxisError)) {
			t.Errorf("%q: %v, want an AxisError", short(text), err)
		}
	}
}

// A range has every value from its first to its last, as far apart as its step.
func TestRangeIsEven(t *testing.T) {
	words := map[string]float64{"mm": 1, "cm": 10, "in": 25.4} // mm; the inch is exact (international yard and pound agreement, 1959)
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.SampledFrom([]string{"mm", "cm", "in"}).Draw(t, "word")
		from := rapid.IntRange(-5000, 5000).Draw(t, "from")
		step := rapid.IntRange(1, 500).Draw(t, "step")
		n := rapid.IntRange(1, 60).Draw(t, "n")
		in := func(hundredths int) string { return fmt.Sprintf("%.2f %s", float64(hundredths)/100, word) }
		a, err := ParseAxis("x=" + in(from) + ".." + in(from+step*(n-1)) + "/" + in(step))
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Values) != n {
			t.Fatalf("%d values, want %d", len(a.Values), n)
		}
		for i, text := range a.Values {
			v, _, err := unit.Parse(text)
			if want := float64(from+step*i) / 100 * words[word]; err != nil || math.Abs(v-want) > 1e-9 {
				t.Fatalf("value %d is %s, %v; want %g mm", i, text, err, want)
			}
		}
	})
}

func FuzzParseAxis(f *testing.F) {
	for _, s := range []string{"length=600mm..900mm/50mm", "h=5 ft 3 in,1/2 in", "n=5..5/1/2", "a=1..2/1/1", "a=0..1/.000001", "a=-.5 mm..1 mm/0.5 mm", "a=9999999999999999999999999/3 mm"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseAxis(text)
		if err != nil {
			var axis *AxisError
			if !errors.As(err, &axis) || axis.Why == "" {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if len(a.Values) == 0 || len(a.Values) > MaxVariants {
			t.Fatalf("%q: %d values", text, len(a.Values))
		}
		// What was read is read again as the same.
		b, err := ParseAxis(a.Name + "=" + strings.Join(a.Values[:min(len(a.Values), 50)], ","))
		if err != nil {
			t.Fatalf("%q: its values %q: %v", text, a.Values[:min(len(a.Values), 50)], err)
		}
		if !slices.Equal(b.Values, a.Values[:len(b.Values)]) {
			t.Fatalf("%q: %q is read as %q", text, a.Values, b.Values)
		}
	})
}
