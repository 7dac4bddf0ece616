package unit

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// The expected values are decimal products by hand: 1 in = 25.4 mm and
// 1 lb = 453.59237 g exactly (international yard and pound agreement, 1959).
func TestParse(t *testing.T) {
	for _, c := range []struct {
		text string
		want float64
		q    Quantity
	}{
		{"0", 0, Plain}, {"19", 19, Plain}, {"-.5", -.5, Plain}, {"+7.", 7, Plain}, {"1e-3", .001, Plain},
		{"19 mm", 19, Length}, {"19mm", 19, Length}, {"1.9 cm", 19, Length}, {"0.019 m", 19, Length}, {"50 µm", .05, Length},
		{"24 in", 609.6, Length}, {"1 1/2 in", 38.1, Length}, {"3/4 in", 19.05, Length}, {"1/64 in", .396875, Length},
		{"-1 1/2 in", -38.1, Length}, {"- 3/4 in", -19.05, Length}, {"1 1/2 inches", 38.1, Length},
		{"5 ft 3 in", 1600.2, Length}, {"5 ft 3 1/2 in", 1612.9, Length}, {`5' 3"`, 1600.2, Length}, {`5'3 1/2"`, 1612.9, Length},
		{"6 ft", 1828.8, Length}, {"1 m 20 cm", 1200, Length}, {"-5 ft 3 in", -1600.2, Length},
		{"2 5 ft", math.NaN(), ""},
		{"180 deg", math.Pi, Angle}, {"90°", math.Pi / 2, Angle}, {"0.5 rad", .5, Angle}, {"-45 deg", -math.Pi / 4, Angle},
		{"1.5 kg", 1500, Mass}, {"1 lb", 453.59237, Mass}, {"1 lb 8 oz", 680.388555, Mass},
		// 0.45359237 kg × 9.80665 m/s² (CGPM 1901) by hand.
		{"100 N", 100, Force}, {"1.3 kN", 1300, Force}, {"10 kgf", 98.0665, Force}, {"1 lbf", 4.4482216152605, Force},
		{"25 lbf", 111.2055403815125, Force}, {"-2 kN 5 N", -2005, Force},
		{"1 h 20 min", 4800, Time}, {"90 s", 90, Time}, {"2 d", 172800, Time},
		{"0.1 mm", .1, Length}, {"0.30000000000000004", 0.30000000000000004, Plain},
	} {
		v, q, err := Parse(c.text)
		if math.IsNaN(c.want) {
			if err == nil {
				t.Errorf("Parse(%q) = %v %s, want an error", c.text, v, q)
			}
			continue
		}
		if err != nil || v != c.want || q != c.q {
			t.Errorf("Parse(%q) = %v %s, %v; want %v %s", c.text, v, q, err, c.want, c.q)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for text, why := range map[string]string{
		"":                       "empty",
		"   ":                    "empty",
		"mm":                     "a number is wanted",
		"1,5 mm":                 "1.5",
		"1.5.2 mm":               "a unit is missing",
		"12 furlong":             `"furlong" is no unit`,
		"3 in 5 ft":              "larger units come first",
		"3 mm 5 mm":              "larger units come first",
		"5 ft 3":                 "a unit is missing",
		"5 ft 3 deg":             "mixes",
		"3 kg 2 N":               "mixes mass and force",
		"3 n":                    "no unit",
		"3 deg 5 deg":            "one part",
		"3/0 in":                 "0 below",
		"1 3/0 in":               "0 below",
		"1 5/4 in":               "less than one",
		"1.5/2 in":               "whole numbers",
		"1 1/2.5 in":             "a unit is missing",
		"--3 mm":                 "a number is wanted",
		"3 -4 mm":                "a unit is missing",
		"1e99":                   "too large",
		"9999999999 m":           "too large",
		"NaN":                    "a number is wanted",
		"inf":                    "a number is wanted",
		"0x10":                   "no unit",
		strings.Repeat("1", 200): "longer than",
	} {
		v, q, err := Parse(text)
		if err == nil {
			t.Errorf("Parse(%q) = %v %s, want an error", text, v, q)
		} else if !strings.Contains(err.Error(), why) {
			t.Errorf("Parse(%q): %v; want it to say %q", text, err, why)
		}
	}
}

func TestParseMoney(t *testing.T) {
	for text, want := range map[string]string{"12.50": "", "12.50 EUR": "EUR", "USD 12.5": "USD", "12.5EUR": "EUR"} {
		if v, c, err := ParseMoney(text); v != 12.5 || c != want || err != nil {
			t.Errorf("ParseMoney(%q) = %v %q, %v", text, v, c, err)
		}
	}
	for _, text := range []string{"", "EUR", "12 mm", "12 eur", "12,50"} {
		if v, _, err := ParseMoney(text); err == nil {
			t.Errorf("ParseMoney(%q) = %v, want an error", text, v)
		}
	}
}

func TestFormat(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{FormatLength(19, Metric), "19 mm"}, {FormatLength(1263.7156, Metric), "1263.7 mm"}, {FormatLength(-0.04, Metric), "0 mm"},
		{FormatLength(609.6, Inches16), "24 in"}, {FormatLength(38.1, Inches16), "1 1/2 in"}, {FormatLength(19.05, Inches64), "3/4 in"},
		{FormatLength(-19.05, Inches32), "-3/4 in"}, {FormatLength(0.396875, Inches64), "1/64 in"}, {FormatLength(0.396875, Inches16), "0 in"},
		{FormatLength(25.39, Inches16), "1 in"}, // rounds up through the fraction into the whole
		{FormatLength(19, Inches16), "3/4 in"}, {FormatLength(19, Inches64), "3/4 in"}, {FormatLength(20, Inches32), "25/32 in"},
		{FormatLength(math.NaN(), Metric), "?"}, {FormatLength(math.Inf(1), Inches16), "?"},
		{FormatAngle(math.Pi / 4), "45 deg"}, {FormatAngle(-1e-9), "0 deg"},
		{FormatDuration(0), "0 s"}, {FormatDuration(59.4), "59 s"}, {FormatDuration(59.6), "1 min"}, {FormatDuration(3599), "1 h"},
		{FormatDuration(12000), "3 h 20 min"}, {FormatDuration(3600 * 24), "24 h"}, {FormatDuration(3600 * 52), "2 d 4 h"},
		{FormatDuration(-90), "-2 min"}, {FormatDuration(math.NaN()), "?"},
		{FormatMass(7.46), "7.5 g"}, {FormatMass(9.96), "10 g"}, {FormatMass(250.4), "250 g"}, {FormatMass(999.6), "1 kg"}, {FormatMass(1254), "1.25 kg"},
		{FormatForce(7.46), "7.5 N"}, {FormatForce(9.96), "10 N"}, {FormatForce(1300.4), "1300 N"}, {FormatForce(12345), "12.35 kN"},
		{FormatForce(-0.01), "0 N"}, {FormatForce(math.NaN()), "?"},
		{FormatMoney(12.5, "EUR"), "12.50 EUR"}, {FormatMoney(-0.001, "EUR"), "0.00 EUR"}, {FormatMoney(3, ""), "3.00"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// Writing a length and reading it back stays within half of what was written.
func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(-5000, 5000).Draw(t, "mm")
		for s, half := range map[System]float64{Metric: .05, Inches16: 25.4 / 32, Inches32: 25.4 / 64, Inches64: 25.4 / 128} {
			text := FormatLength(mm, s)
			got, q, err := Parse(text)
			if err != nil || q != Length || math.Abs(got-mm) > half*(1+1e-9) {
				t.Fatalf("%v -> %q -> %v %s, %v", mm, text, got, q, err)
			}
		}
		g := rapid.Float64Range(0, 1e5).Draw(t, "g")
		if got, q, err := Parse(FormatMass(g)); err != nil || q != Mass || math.Abs(got-g) > map[bool]float64{true: .0501, false: max(.501, g*.0051)}[g < 9.95] {
			t.Fatalf("%v -> %q -> %v, %v", g, FormatMass(g), got, err)
		}
		s := rapid.Float64Range(0, 1e6).Draw(t, "s")
		if got, q, err := Parse(FormatDuration(s)); err != nil || q != Time || math.Abs(got-s) > 1800 || s < 48*3600-60 && math.Abs(got-s) > 30 {
			t.Fatalf("%v -> %q -> %v, %v", s, FormatDuration(s), got, err)
		}
	})
}

// A fraction of an inch on paper comes back exactly.
func TestFractionsAreExact(t *testing.T) {
	for n := -200; n <= 200; n++ {
		mm := float64(n) * 25.4 / 64
		got, _, err := Parse(FormatLength(mm, Inches64))
		if err != nil || math.Abs(got-mm) > 1e-12 {
			t.Fatalf("%d/64 in: %v, %v", n, got, err)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"1 1/2 in", "5 ft 3 in", "1e99", "-3/4 in", "8 deg", "1 h 20 min", "\"", "1/1/1", "1e-99 mm", "½ in"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		v, q, err := Parse(s)
		if err != nil {
			return
		}
		if math.IsNaN(v) || math.IsInf(v, 0) || q == "" {
			t.Fatalf("Parse(%q) = %v %s", s, v, q)
		}
		if _, _, err := Parse("  " + s + "  "); err != nil && len(s) < 90 {
			t.Fatalf("spaces round %q: %v", s, err)
		}
	})
}
