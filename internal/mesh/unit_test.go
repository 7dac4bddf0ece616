package mesh

import (
	"math"
	"testing"
)

func TestParseUnit(t *testing.T) {
	for text, want := range map[string]Unit{
		"mm": Millimetre, " MM ": Millimetre, "Millimeters": Millimetre, "cm": Centimetre, "M": Metre, "metres": Metre,
		"in": Inch, "inch": Inch, "Inches": Inch, `"`: Inch, "ft": Foot, "feet": Foot, "um": Micron, "µm": Micron, "μm": Micron, "micron": Micron,
	} {
		if u, err := ParseUnit(text); err != nil || u != want {
			t.Errorf("%q: %q, %v; want %q", text, u, err, want)
		}
	}
	for _, text := range []string{"", "cubit", "mm2", "k m", "1"} {
		if u, err := ParseUnit(text); err == nil {
			t.Errorf("%q was read as %q", text, u)
		}
	}
	for _, u := range guessOrder {
		if got, err := ParseUnit(string(u)); err != nil || got != u || !(u.MM() > 0) {
			t.Errorf("%q: %q, %v, %v mm", u, got, err, u.MM())
		}
	}
	if Unknown.MM() != 0 || Unit("cubit").MM() != 0 {
		t.Error("an unknown unit has a length")
	}
	if math.Abs(Foot.MM()-12*Inch.MM()) > 1e-12 {
		t.Error("a foot is not twelve inches")
	}
}

func TestGuessUnit(t *testing.T) {
	for _, c := range []struct {
		largest float64
		want    Unit
		sure    bool
	}{
		{1134, Millimetre, true},
		{300.1, Millimetre, true},
		{3000, Millimetre, true},
		{250, Millimetre, false}, // 2.5 m, if they are cm
		{150, Millimetre, false},
		{149, Centimetre, true},
		{120, Centimetre, true},
		{75, Centimetre, false},   // a table's height, or 75 in
		{29.5, Centimetre, false}, // a table's height in inches
		{12, Inch, true},
		{7, Inch, false}, // or 7 ft
		{4, Foot, true},
		{1.2, Metre, false}, // or 1.2 ft
		{0.3, Metre, true},
		{0.15, Metre, true},
		{900000, Micron, true},
		{0.1, Metre, false},       // nothing fits
		{3500, Millimetre, false}, // a long shelf
		{60000, Micron, false},
		{0, Unknown, false},
		{-5, Unknown, false},
		{math.NaN(), Unknown, false},
		{math.Inf(1), Unknown, false},
		{1e-9, Metre, false},
		{math.SmallestNonzeroFloat64, Millimetre, false},
		{math.MaxFloat64, Micron, false},
	} {
		if u, sure := GuessUnit(c.largest); u != c.want || sure != c.sure {
			t.Errorf("%v: %q, sure %v; want %q, %v", c.largest, u, sure, c.want, c.sure)
		}
	}
}
