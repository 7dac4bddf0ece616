package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// System is how lengths are written for people.
type System int

const (
	Metric   System = iota // millimetres
	Inches16               // inches with fractions to 1/16
	Inches32
	Inches64
)

// FormatLength writes a length in mm for people: "19 mm", "1263.7 mm" to a
// tenth of a millimetre, or "1 1/2 in" to the nearest fraction of the system,
// ties away from zero. What is not finite is written as "?".
func FormatLength(mm float64, s System) string {
	if math.IsNaN(mm) || math.IsInf(mm, 0) {
		return "?"
	}
	den := 0.0
	switch s {
	case Inches16:
		den = 16
	case Inches32:
		den = 32
	case Inches64:
		den = 64
	default:
		return decimals(mm, 1) + " mm"
	}
	n := math.Round(mm / 25.4 * den)
	if math.Abs(n) >= 1<<53 {
		return strconv.FormatFloat(mm/25.4, 'f', 0, 64) + " in"
	}
	sign := ""
	if n < 0 {
		sign, n = "-", -n
	}
	whole, part := int64(n)/int64(den), int64(n)%int64(den)
	below := int64(den)
	for part != 0 && part%2 == 0 {
		part, below = part/2, below/2
	}
	switch {
	case part == 0:
		return fmt.Sprintf("%s%d in", sign, whole)
	case whole == 0:
		return fmt.Sprintf("%s%d/%d in", sign, part, below)
	}
	return fmt.Sprintf("%s%d %d/%d in", sign, whole, part, below)
}

// FormatAngle writes an angle in radians as degrees to a tenth: "8 deg".
func FormatAngle(rad float64) string {
	if math.IsNaN(rad) || math.IsInf(rad, 0) {
		return "?"
	}
	return decimals(rad*180/math.Pi, 1) + " deg"
}

// FormatDuration writes a time in seconds as people say it: "45 s", "20 min",
// "3 h 20 min", "2 d 4 h". Two parts at most; the last is rounded.
func FormatDuration(s float64) string {
	if math.IsNaN(s) || math.Abs(s) > 1e12 {
		return "?"
	}
	sign := ""
	if s < 0 {
		sign, s = "-", -s
	}
	if r := math.Round(s); r < 60 {
		if r == 0 {
			return "0 s"
		}
		return fmt.Sprintf("%s%d s", sign, int64(r))
	}
	min := int64(math.Round(s / 60))
	if min < 60 {
		return fmt.Sprintf("%s%d min", sign, min)
	}
	if min < 48*60 {
		return sign + pair(min/60, "h", min%60, "min")
	}
	h := int64(math.Round(s / 3600))
	return sign + pair(h/24, "d", h%24, "h")
}

func pair(a int64, ua string, b int64, ub string) string {
	if b == 0 {
		return fmt.Sprintf("%d %s", a, ua)
	}
	return fmt.Sprintf("%d %s %d %s", a, ua, b, ub)
}

// FormatMass writes a mass in grams: "7.5 g" below ten grams, "250 g" below a
// kilogram, "1.25 kg" above.
func FormatMass(g float64) string {
	switch a := math.Abs(g); {
	case math.IsNaN(g) || math.IsInf(g, 0):
		return "?"
	case a < 9.95:
		return decimals(g, 1) + " g"
	case a < 999.5:
		return decimals(g, 0) + " g"
	default:
		return decimals(g/1000, 2) + " kg"
	}
}

// FormatForce writes a force in newtons: "7.5 N" below ten newtons, "250 N"
// below ten thousand, "12.5 kN" above.
func FormatForce(n float64) string {
	switch a := math.Abs(n); {
	case math.IsNaN(n) || math.IsInf(n, 0):
		return "?"
	case a < 9.95:
		return decimals(n, 1) + " N"
	case a < 9999.5:
		return decimals(n, 0) + " N"
	default:
		return decimals(n/1000, 2) + " kN"
	}
}

// FormatMoney writes an amount with two decimals and its currency: "12.50 EUR".
func FormatMoney(amount float64, currency string) string {
	if math.IsNaN(amount) || math.IsInf(amount, 0) {
		return "?"
	}
	s := strconv.FormatFloat(amount, 'f', 2, 64)
	if s == "-0.00" {
		s = "0.00"
	}
	return strings.TrimRight(s+" "+currency, " ")
}

// decimals is v with at most n decimals and no trailing zeros.
func decimals(v float64, n int) string {
	s := strconv.FormatFloat(v, 'f', n, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}
