package store

import (
	"strings"
	"testing"
)

func TestParseAmount(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       Amount
		fault      string
	}{
		{"750 g", "g", 750_000, ""}, {"1kg", "g", 1_000_000, ""}, {"0.1", "g", 100, ""}, {"212.5", "g", 212_500, ""}, {"1 lb", "g", 453_592, ""},
		{"250 ml", "ml", 250_000, ""}, {"1.5 l", "ml", 1_500_000, ""}, {"2cl", "ml", 20_000, ""}, {"80", "ml", 80_000, ""},
		{"20 m", "m", 20_000, ""}, {"20", "m", 20_000, ""}, {"80 cm", "m", 800, ""}, {"25 ft", "m", 7_620, ""},
		{"40", "piece", 40_000, ""}, {"1 piece", "piece", 1000, ""}, {"40 pieces", "piece", 40_000, ""},
		{"-3", "piece", -3000, ""}, {"0", "g", 0, ""},
		{"1.5", "piece", 0, "whole"}, {"40 g", "piece", 0, "write it as 40"}, {"3 m", "g", 0, "750 g"}, {"", "g", 0, "750 g"}, {"much", "ml", 0, "250 ml"},
		{"1e12", "g", 0, "more than can be kept"}, {"3", "lb", 0, "is no unit"}, {strings.Repeat("9", 500), "g", 0, "no amount"},
	} {
		got, err := ParseAmount(c.text, c.unit)
		if got != c.want || (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%q in %s: %d, %v", c.text, c.unit, got, err)
		}
	}
	for _, c := range []struct {
		text, unit, want, fault string
	}{
		{"22 EUR for 1 kg", "g", "22.00 EUR for 1000", ""}, {"EUR 4.5 for 100", "piece", "4.50 EUR for 100", ""}, {"90 EUR", "piece", "90.00 EUR for 1", ""},
		{"300 JPY for 1 l", "ml", "300 JPY for 1000", ""},
		{"22", "g", "", "write the currency"}, {"-1 EUR", "g", "", "below nothing"}, {"22 EUR for 0 g", "g", "", "a price is for"}, {"22 EUR for 1 m", "g", "", "750 g"},
		{"cheap", "g", "", "as money"}, {"22 eur", "g", "", "as money"}, {"1e9 EUR", "g", "", "no amount of money"},
	} {
		p, err := ParsePrice(c.text, c.unit)
		got := p.Money.String() + " for " + p.For.String()
		if err == nil && got != c.want || (err == nil) != (c.fault == "") || err != nil && !strings.Contains(err.Error(), c.fault) {
			t.Errorf("%q: %s, %v", c.text, got, err)
		}
	}
}

// Whatever is read is an amount that the store takes, and is read from what it is
// written as.
func FuzzParseAmount(f *testing.F) {
	for _, s := range []string{"750 g", "1kg", "1.5 l", "-2", "1/3", "40 pieces", "9e99", "1 ft 3 in"} {
		f.Add(s, "g")
		f.Add(s, "ml")
		f.Add(s, "m")
		f.Add(s, "piece")
	}
	f.Fuzz(func(t *testing.T, text, unit string) {
		a, err := ParseAmount(text, unit)
		if err != nil {
			return
		}
		if !a.within() || unit == "piece" && !a.whole() {
			t.Fatalf("%q: %d", text, a)
		}
		if again, err := ParseAmount(a.String(), unit); err != nil || again != a {
			t.Fatalf("%q: %s is read as %d, not %d: %v", text, a, again, a, err)
		}
	})
}

func FuzzParsePrice(f *testing.F) {
	f.Add("22 EUR for 1 kg")
	f.Add("4.50 EUR")
	f.Add("for for for EUR")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ParsePrice(text, "g")
		if err != nil {
			return
		}
		if err := p.check(); err != nil {
			t.Fatal(err)
		}
		if again, err := ParsePrice(p.Money.String()+" for "+p.For.String(), "g"); err != nil || again != p {
			t.Fatalf("%q: %+v, again %+v, %v", text, p, again, err)
		}
	})
}
