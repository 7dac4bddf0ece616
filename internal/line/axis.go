package line

import (
	"fmt"
	"math"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"groundwork/internal/given"
	"groundwork/internal/unit"
)

// Limits of a line.
const (
	// MaxVariants is the most that one line may have: at some seconds each this is
	// an hour or two of work.
	MaxVariants = 2000

	maxAxes  = 8
	maxText  = 4096      // bytes of one axis as written
	maxGiven = 256 << 20 // bytes of all tasks together
)

// Kind says what an axis changes.
type Kind string

const (
	Parameter Kind = "parameter" // of the piece file
	Veneer    Kind = "veneer"    // of the shop, for the whole piece
	Filament  Kind = "filament"  // of the shop, for the whole piece
)

// Axis is one thing that is varied, and the values that it takes, in order.
type Axis struct {
	Kind   Kind     `json:"kind"`
	Name   string   `json:"name"`   // of the parameter; the kind for others
	Values []string `json:"values"` // as written in a piece file: "600 mm"; IDs of the shop for others

	quantity unit.Quantity // of the values of a parameter
}

// AxisError says what is wrong with an axis as it was written.
type AxisError struct {
	Axis   string // as written, or its name
	Part   string // of it that is wrong; "" for all
	Why    string // a sentence without its full stop
	Remedy string // imperative
}

func (e *AxisError) Error() string {
	where := fmt.Sprintf("%q", short(e.Axis))
	if e.Part != "" && e.Part != e.Axis {
		where += fmt.Sprintf(" at %q", short(e.Part))
	}
	if e.Remedy == "" {
		return where + ": " + e.Why
	}
	return where + ": " + e.Why + "; " + e.Remedy
}

// short keeps what is shown of a long text on one line.
func short(s string) string {
	const most = 60
	r := []rune(s)
	if len(r) <= most {
		return s
	}
	return string(r[:most-1]) + "…"
}

var parameterName = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// ParseAxis reads an axis over a parameter: its name, an equals sign, and values
// with commas between them. A value is a number with its unit, or a range
// FROM..TO/STEP that must come out even: "length=600mm..900mm/50mm",
// "height=450 mm, 500 mm", "legs=3,4". The error is an *AxisError.
func ParseAxis(text string) (Axis, error) {
	fail := func(part, remedy, why string, args ...any) (Axis, error) {
		return Axis{}, &AxisError{text, part, fmt.Sprintf(why, args...), remedy}
	}
	const example = "write it as in length=600mm..900mm/50mm or height=450mm,500mm"
	if len(text) > maxText {
		return fail("", "write a range instead of a list", "it is %d bytes long, and %d are the most", len(text), maxText)
	}
	name, list, ok := strings.Cut(text, "=")
	name = strings.TrimSpace(name)
	switch {
	case !ok:
		return fail("", example, "it has no equals sign between the parameter and its values")
	case !parameterName.MatchString(name):
		return fail("", example, "%q is no name of a parameter: those are lower-case letters, digits and underscores", short(name))
	case strings.TrimSpace(list) == "":
		return fail("", example, "it has no values")
	}
	a := Axis{Kind: Parameter, Name: name}
	seen := map[float64]string{}
	for part := range strings.SplitSeq(list, ",") {
		part = strings.TrimSpace(part)
		if part == "" {
			return fail("", "leave the comma out, or put a value there", "there is nothing between two commas, or behind the last one")
		}
		amounts, why, remedy := parseValues(part)
		if why != "" {
			return fail(part, remedy, "%s", why)
		}
		for _, m := range amounts {
			if len(a.Values) == 0 {
				a.quantity = m.quantity
			}
			if m.quantity != a.quantity {
				return fail(part, "write all values of one axis with units of one kind", "it is %s, but the first value is %s", article(m.quantity), article(a.quantity))
			}
			if as, twice := seen[m.value]; twice {
				return fail(part, "leave one out", "%s stands there twice (also as %s)", m.text, as)
			}
			if len(a.Values) == MaxVariants {
				return fail(part, "take fewer values or a larger step", "the axis has more than %d values, and a line has at most that many variants", MaxVariants)
			}
			seen[m.value] = m.text
			a.Values = append(a.Values, m.text)
		}
	}
	return a, nil
}

// ParseChoice reads an axis over what the shop has of a kind: IDs with commas
// between them, or "all". Of "all" the values are empty until New knows the shop.
func ParseChoice(kind Kind, text string) (Axis, error) {
	a := Axis{Kind: kind, Name: string(kind)}
	if len(text) > maxText {
		return Axis{}, &AxisError{text, "", fmt.Sprintf("it is %d bytes long, and %d are the most", len(text), maxText), "write all instead of a list"}
	}
	if strings.TrimSpace(text) == "all" {
		return a, nil
	}
	for id := range strings.SplitSeq(text, ",") {
		id = strings.TrimSpace(id)
		switch {
		case id == "":
			return Axis{}, &AxisError{text, "", "a name is missing", fmt.Sprintf("write names of the shop's %ss with commas between them, or all", kind)}
		case slices.Contains(a.Values, id):
			return Axis{}, &AxisError{text, id, "it stands there twice", "leave one out"}
		}
		a.Values = append(a.Values, id)
	}
	return a, nil
}

// amount is one value of an axis.
type amount struct {
	text     string // as it goes into the piece file, the same for the same spelling but for spaces
	value    float64
	quantity unit.Quantity
	number   *big.Rat // in the word's own unit; nil if it was written in several parts
	word     string
}

var (
	simple = regexp.MustCompile(`^(-?)([0-9][0-9]*(?:\.[0-9]+)?|\.[0-9]+|[0-9]+/[0-9]+|[0-9]+ [0-9]+/[0-9]+) ?([^0-9./ -]*)$`)
	spaces = regexp.MustCompile(`\s+`)
)

// parseAmount reads one value; err is a word on what is wrong.
func parseAmount(text string) (amount, error) {
	text = spaces.ReplaceAllString(strings.TrimSpace(text), " ")
	v, q, err := unit.Parse(text)
	if err != nil {
		return amount{}, err
	}
	m := amount{text: text, value: v, quantity: q}
	// Longer numbers than this are no sizes, and exact fractions of them are slow.
	if g := simple.FindStringSubmatch(text); g != nil && len(g[2]) <= 24 {
		sum := new(big.Rat)
		for f := range strings.FieldsSeq(g[2]) {
			r, ok := new(big.Rat).SetString(f)
			if !ok {
				return m, nil
			}
			sum.Add(sum, r)
		}
		if g[1] == "-" {
			sum.Neg(sum)
		}
		m.number, m.word = sum, g[3]
		if !strings.Contains(g[2], "/") { // a fraction is kept as people write it
			m.text = written(sum, g[3])
		}
	}
	return m, nil
}

// written is a number in a unit as a piece file has it, to a millionth.
func written(r *big.Rat, word string) string {
	s := r.FloatString(6)
	s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		s = "0"
	}
	if word != "" {
		s += " " + word
	}
	return s
}

// parseValues reads a value or a range. why is "" if it could.
func parseValues(part string) (out []amount, why, remedy string) {
	const example = "write it with its unit, as in 600 mm or 23 1/2 in"
	from, rest, isRange := strings.Cut(part, "..")
	if !isRange {
		m, err := parseAmount(part)
		if err != nil {
			return nil, fmt.Sprintf("it is no number with a unit: %v", err), example
		}
		return []amount{m}, "", ""
	}
	lo, err := parseAmount(from)
	if err != nil {
		return nil, fmt.Sprintf("the range begins with %q, which is no number with a unit: %v", short(strings.TrimSpace(from)), err), example
	}
	// A slash may be that of a fraction: the one that parts two numbers counts.
	var hi, step amount
	found := 0
	for i := range len(rest) {
		if rest[i] != '/' {
			continue
		}
		to, err1 := parseAmount(rest[:i])
		by, err2 := parseAmount(rest[i+1:])
		if err1 == nil && err2 == nil {
			hi, step = to, by
			found++
		}
	}
	switch {
	case found == 0 && !strings.Contains(rest, "/"):
		return nil, "the range has no step", "write FROM..TO/STEP, as in 600mm..900mm/50mm"
	case found == 0:
		return nil, fmt.Sprintf("behind the two dots %q is no number, slash and step", short(strings.TrimSpace(rest))), "write FROM..TO/STEP, as in 600mm..900mm/50mm"
	case found > 1:
		return nil, "it can be read in two ways, for the slash may be that of a fraction", "write fractions as decimals, as in 0.5"
	case hi.quantity != lo.quantity || step.quantity != lo.quantity:
		return nil, fmt.Sprintf("the range goes from %s to %s by %s", article(lo.quantity), article(hi.quantity), article(step.quantity)), "write the unit behind each of the three"
	case step.value <= 0:
		return nil, fmt.Sprintf("the step is %s", step.text), "make it more than 0"
	case hi.value < lo.value:
		return nil, "it runs downwards", fmt.Sprintf("write it from %s to %s", hi.text, lo.text)
	}
	// In one unit steps are exact; in several they are counted in the base unit.
	word, base := lo.word, lo.number == nil || hi.number == nil || step.number == nil || lo.word != hi.word || lo.word != step.word
	if base {
		word = baseWord[lo.quantity]
		for _, m := range []*amount{&lo, &hi, &step} {
			v := m.value
			if lo.quantity == unit.Angle {
				v *= 180 / math.Pi
			}
			m.number = new(big.Rat).SetFloat64(math.Round(v*1e6) / 1e6)
			if m.number == nil || m == &step && m.number.Sign() <= 0 {
				return nil, "the step is too small to be counted", "make it larger"
			}
			// The nearest float is not the decimal that was meant.
			m.number.SetString(m.number.FloatString(6))
		}
	}
	span := new(big.Rat).Quo(new(big.Rat).Sub(hi.number, lo.number), step.number)
	if span.Cmp(big.NewRat(MaxVariants-1, 1)) > 0 {
		return nil, fmt.Sprintf("it has more than %d values, and a line has at most that many variants", MaxVariants), "take a larger step"
	}
	whole := new(big.Int).Quo(span.Num(), span.Denom())
	at := func(i int64) *big.Rat {
		return new(big.Rat).Add(lo.number, new(big.Rat).Mul(step.number, new(big.Rat).SetInt64(i)))
	}
	n := whole.Int64()
	if !span.IsInt() {
		return nil, fmt.Sprintf("steps of %s from %s miss %s", step.text, lo.text, hi.text),
			fmt.Sprintf("end at %s or %s", written(at(n), word), written(at(n+1), word))
	}
	for i := range n + 1 {
		m, err := parseAmount(written(at(i), word))
		if err != nil { // beyond what unit takes
			return nil, err.Error(), example
		}
		out = append(out, m)
	}
	return out, "", ""
}

// baseWord is the unit in which steps are counted that were written in several.
var baseWord = map[unit.Quantity]string{unit.Length: "mm", unit.Angle: "deg", unit.Mass: "g", unit.Force: "N", unit.Time: "s"}

func article(q unit.Quantity) string {
	switch q {
	case unit.Plain:
		return "a number without a unit"
	case unit.Angle:
		return "an angle"
	}
	return "a " + string(q)
}

// among reports an ID that is not one of the shop's.
func (a Axis) among(ids []string) error {
	for _, v := range a.Values {
		if !slices.Contains(ids, v) {
			return &AxisError{string(a.Kind) + "=" + strings.Join(a.Values, ","), v, fmt.Sprintf("the shop has no %s of that name", a.Kind), given.Suggest(v, ids)}
		}
	}
	return nil
}
