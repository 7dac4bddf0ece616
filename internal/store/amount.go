package store

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"

	"groundwork/internal/unit"
)

// Amount is how much there is of something, in whole thousandths of the item's
// unit: milligrams of filament, microlitres of glue, millimetres of tape,
// thousandths of a piece (of which only whole thousands are taken). Sums of
// amounts are exact, which sums of decimal fractions of a gram would not be.
type Amount int64

// MaxAmount bounds every amount, a million kilograms or as many pieces, so that
// no sum overflows.
const MaxAmount Amount = 1_000_000_000_000

// Of is v units, to the nearest thousandth. What is not finite or beyond
// MaxAmount becomes more than MaxAmount, which nothing takes.
func Of(v float64) Amount {
	if math.IsNaN(v) || math.Abs(v) > float64(MaxAmount)/1000 {
		return MaxAmount + 1
	}
	return Amount(math.Round(v * 1000))
}

// Pieces is n whole units.
func Pieces(n int) Amount { return Of(float64(n)) }

// Units is the amount in the item's unit: g, ml, m, pieces.
func (a Amount) Units() float64 { return float64(a) / 1000 }

func (a Amount) String() string { return strconv.FormatFloat(a.Units(), 'f', -1, 64) }

// ParseAmount reads an amount as makers write it, of an item that is measured in
// unit: "750 g" or "1 kg", "250 ml" or "1.5 l", "20 m" or "80 cm", "40" or "40
// pieces". A number alone counts in the unit; a thousandth of it is the least
// that is told apart.
func ParseAmount(text, unitOf string) (Amount, error) {
	refuse := func(example string) (Amount, error) {
		return 0, fmt.Errorf("%q is no amount; write it as %s", clip(text), example)
	}
	s := strings.TrimSpace(text)
	factor, want, example := 1.0, unit.Plain, "40"
	switch unitOf {
	case "g":
		want, example = unit.Mass, "750 g or 1 kg"
	case "m":
		want, factor, example = unit.Length, 1e-3, "20 m or 80 cm"
	case "ml":
		example = "250 ml or 1.5 l"
		for _, u := range []struct {
			word   string
			factor float64
		}{{"ml", 1}, {"cl", 10}, {"l", 1000}} {
			if t, ok := strings.CutSuffix(s, u.word); ok {
				s, factor = strings.TrimSpace(t), u.factor
				break
			}
		}
	case "piece":
		s = strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(s, "pieces"), "piece"))
	default:
		return 0, fmt.Errorf("%q is no unit; it is g, ml, m or piece", clip(unitOf))
	}
	v, q, err := unit.Parse(s)
	switch {
	case err != nil || q != want && q != unit.Plain:
		return refuse(example)
	case q == unit.Plain && want == unit.Length:
		factor = 1 // a number alone is in m, not in mm
	}
	a := Of(v * factor)
	if !a.within() {
		return 0, fmt.Errorf("%q is more than can be kept", clip(text))
	}
	if unitOf == "piece" && !a.whole() {
		return 0, fmt.Errorf("%q: pieces are counted whole", clip(text))
	}
	return a, nil
}

// ParseMoney reads an amount of money with its currency: "22 EUR".
func ParseMoney(text string) (Money, error) {
	v, currency, err := unit.ParseMoney(text)
	switch {
	case err != nil:
		return Money{}, err
	case currency == "":
		return Money{}, fmt.Errorf("%q: write the currency too, as in 22 EUR", clip(text))
	case v < 0:
		return Money{}, fmt.Errorf("%q: a price is not below nothing", clip(text))
	}
	return MoneyOf(v, currency)
}

// ParsePrice reads what an item that is measured in unit costs: "22 EUR for 1 kg",
// "4.50 EUR for 100", "90 EUR" for one.
func ParsePrice(text, unitOf string) (Price, error) {
	money, amount, some := strings.Cut(text, " for ")
	p := Price{For: Pieces(1)}
	var err error
	if p.Money, err = ParseMoney(money); err != nil {
		return Price{}, err
	}
	if some {
		if p.For, err = ParseAmount(amount, unitOf); err != nil {
			return Price{}, err
		}
	}
	return p, p.check()
}

func clip(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return s
}

// whole reports whether the amount is a whole number of units.
func (a Amount) whole() bool { return a%1000 == 0 }

// within reports whether the amount is one that the store takes.
func (a Amount) within() bool { return a >= -MaxAmount && a <= MaxAmount }

// Money is an amount of money in whole minor units of its currency.
type Money struct {
	Minor    int64
	Currency string // ISO 4217 code: "EUR"
}

// minorDigits are the currencies whose minor unit is not a hundredth (ISO 4217
// list one, from memory).
var minorDigits = map[string]int{
	"BIF": 0, "CLP": 0, "DJF": 0, "GNF": 0, "ISK": 0, "JPY": 0, "KMF": 0, "KRW": 0, "PYG": 0, "RWF": 0, "UGX": 0, "VND": 0, "VUV": 0, "XAF": 0, "XOF": 0, "XPF": 0,
	"BHD": 3, "IQD": 3, "JOD": 3, "KWD": 3, "LYD": 3, "OMR": 3, "TND": 3,
}

// Digits is how many decimals the currency is written with.
func Digits(currency string) int {
	if d, ok := minorDigits[currency]; ok {
		return d
	}
	return 2
}

// MoneyOf is v of the currency, to the nearest minor unit, ties away from zero.
// It is an error if v is not finite, beyond a thousand million minor units, or
// the currency is no code of three capitals.
func MoneyOf(v float64, currency string) (Money, error) {
	if !isCurrency(currency) {
		return Money{}, fmt.Errorf("%q is no code of a currency; write it as EUR", currency)
	}
	minor := math.Round(v * math.Pow10(Digits(currency)))
	if math.IsNaN(minor) || math.Abs(minor) > 1e9 {
		return Money{}, fmt.Errorf("%g is no amount of money that can be kept", v)
	}
	return Money{Minor: int64(minor), Currency: currency}, nil
}

func (m Money) String() string {
	return strconv.FormatFloat(float64(m.Minor)/math.Pow10(Digits(m.Currency)), 'f', Digits(m.Currency), 64) + " " + m.Currency
}

// Price is money for an amount: 22.00 EUR for 1 kg, 4.00 EUR for 100 screws. It
// is not kept for one unit, for a gram costs less than a minor unit.
type Price struct {
	Money Money
	For   Amount
}

// Of is what the amount costs, rounded once, ties away from zero.
func (p Price) Of(a Amount) Money {
	out := Money{Currency: p.Money.Currency}
	if p.For <= 0 {
		return out
	}
	n := new(big.Int).Mul(big.NewInt(p.Money.Minor), big.NewInt(int64(a)))
	n.Mul(n, big.NewInt(2))
	per := big.NewInt(2 * int64(p.For))
	half := big.NewInt(int64(p.For))
	if n.Sign() < 0 {
		half.Neg(half)
	}
	n.Add(n, half)
	out.Minor = n.Quo(n, per).Int64()
	return out
}

func (p Price) check() error {
	switch {
	case !isCurrency(p.Money.Currency):
		return fmt.Errorf("%q is no code of a currency; write it as EUR", p.Money.Currency)
	case p.Money.Minor < 0 || p.Money.Minor > 1e9:
		return fmt.Errorf("%s is no price", p.Money)
	case p.For <= 0 || !p.For.within():
		return fmt.Errorf("a price is for an amount, not for %s", p.For)
	}
	return nil
}

func isCurrency(s string) bool {
	if len(s) != 3 {
		return false
	}
	for _, c := range s {
		if c < 'A' || c > 'Z' {
			return false
		}
	}
	return true
}
