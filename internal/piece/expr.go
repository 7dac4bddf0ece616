package piece

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"groundwork/internal/given"
	"groundwork/internal/unit"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/parser"
)

// Expressions are parsed by expr-lang, but evaluated here: a piece file needs
// float64 arithmetic over names, not a language with lists, loops and text, so
// everything else is refused, and every fault can name what it is about.

// value is a number with what it measures, as far as that can be told.
type value struct {
	v    float64
	kind Quantity
}

// truth is the kind of a comparison; its value is 1 or 0.
const truth Quantity = "truth"

// maxExpression is the longest expression in bytes.
const maxExpression = 500

// constants can be used by name. deg is a function too.
var constants = map[string]value{
	"pi": {math.Pi, Count}, "mm": {1, Length}, "cm": {10, Length}, "m": {1000, Length}, "inch": {25.4, Length}, "ft": {304.8, Length},
	"deg": {math.Pi / 180, Angle}, "rad": {1, Angle},
	// Spelt so that no parameter can be meant: only numbers with a unit lead here.
	"Gram": {1, Mass}, "Kilogram": {1000, Mass}, "Ounce": {28.349523125, Mass}, "Pound": {453.59237, Mass},
	"Newton": {1, Force}, "Kilonewton": {1000, Force}, "KilogramForce": {9.80665, Force}, "PoundForce": {4.4482216152605, Force},
}

// spelt is how constants spell a unit whose own name means something else.
var spelt = map[string]string{
	"in": "inch", // a word of the expression language
	"g":  "Gram", "kg": "Kilogram", "oz": "Ounce", "lb": "Pound",
	"N": "Newton", "kN": "Kilonewton", "kgf": "KilogramForce", "lbf": "PoundForce",
}

// functions by name, with the number of their arguments (-1: one or more) and
// what they yield ("": the same as their arguments).
var functions = map[string]struct {
	args   int
	yields Quantity
	f      func(a []float64) float64
}{
	"sin":   {1, Count, func(a []float64) float64 { return math.Sin(a[0]) }},
	"cos":   {1, Count, func(a []float64) float64 { return math.Cos(a[0]) }},
	"tan":   {1, Count, func(a []float64) float64 { return math.Tan(a[0]) }},
	"asin":  {1, Angle, func(a []float64) float64 { return math.Asin(a[0]) }},
	"acos":  {1, Angle, func(a []float64) float64 { return math.Acos(a[0]) }},
	"atan":  {1, Angle, func(a []float64) float64 { return math.Atan(a[0]) }},
	"atan2": {2, Angle, func(a []float64) float64 { return math.Atan2(a[0], a[1]) }},
	"deg":   {1, Angle, func(a []float64) float64 { return unit.Degrees(a[0]) }},
	"sqrt":  {1, Count, func(a []float64) float64 { return math.Sqrt(a[0]) }},
	"pow":   {2, Count, func(a []float64) float64 { return math.Pow(a[0], a[1]) }},
	"abs":   {1, "", func(a []float64) float64 { return math.Abs(a[0]) }},
	"round": {1, "", func(a []float64) float64 { return math.Round(a[0]) }},
	"floor": {1, "", func(a []float64) float64 { return math.Floor(a[0]) }},
	"ceil":  {1, "", func(a []float64) float64 { return math.Ceil(a[0]) }},
	"min":   {-1, "", func(a []float64) float64 { return slices.Min(a) }},
	"max":   {-1, "", func(a []float64) float64 { return slices.Max(a) }},
}

// keywords of the expression language that cannot be names.
var keywords = strings.Fields("in not and or let if else true false nil matches contains startsWith endsWith")

// reserved reports whether name means something in expressions already.
func reserved(name string) bool {
	_, c := constants[name]
	_, f := functions[name]
	return c || f || slices.Contains(keywords, name)
}

// underscored is a member's name as expressions spell it.
func underscored(name string) string { return strings.ReplaceAll(name, "-", "_") }

// withUnit finds a number with a unit inside an expression: "20 mm", "8deg".
var withUnit = regexp.MustCompile(`(^|[^A-Za-z0-9_.])([0-9]+\.?[0-9]*|\.[0-9]+)\s*(mm|cm|m|inch|in|ft|deg|rad|g|kg|oz|lb|N|kN|kgf|lbf)\b`)

// parseExpression turns the text after the equals sign into a tree.
func parseExpression(text string) (ast.Node, error) {
	if len(text) > maxExpression {
		return nil, fmt.Errorf("it is longer than %d characters", maxExpression)
	}
	if strings.Count(text, "(") > 40 {
		return nil, errors.New("it has more than 40 brackets")
	}
	text = withUnit.ReplaceAllStringFunc(text, func(m string) string {
		p := withUnit.FindStringSubmatch(m)
		u := p[3]
		if name, ok := spelt[u]; ok {
			u = name
		}
		return p[1] + "(" + p[2] + "*" + u + ")"
	})
	tree, err := parser.Parse(text)
	if err != nil {
		what, _, _ := strings.Cut(err.Error(), "\n")
		what, _, _ = strings.Cut(what, " (1:")
		if strings.Count(text, "(") > strings.Count(text, ")") {
			what += "; put an expression that has commas between quotes when it stands in [ ] or { }"
		}
		return nil, errors.New(what)
	}
	return tree.Node, nil
}

// advice is an error that knows its remedy.
type advice struct{ what, remedy string }

func (a *advice) Error() string { return a.what }

// errFailed says that a fault has been noted already.
var errFailed = errors.New("failed before")

// eval computes a tree; name looks up a parameter ("height") or a size
// ("top.thickness").
func eval(n ast.Node, name func(string) (value, error)) (value, error) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return value{float64(n.Value), Count}, nil
	case *ast.FloatNode:
		return value{n.Value, Count}, nil
	case *ast.BoolNode:
		return boolean(n.Value), nil
	case *ast.IdentifierNode:
		if c, ok := constants[n.Value]; ok {
			return c, nil
		}
		return name(n.Value)
	case *ast.ChainNode:
		return eval(n.Node, name)
	case *ast.MemberNode:
		owner, ok1 := n.Node.(*ast.IdentifierNode)
		size, ok2 := n.Property.(*ast.StringNode)
		if !ok1 || !ok2 || n.Optional {
			return value{}, errors.New("a size is written as member.size, as in top.thickness")
		}
		return name(owner.Value + "." + size.Value)
	case *ast.UnaryNode:
		x, err := eval(n.Node, name)
		if err != nil {
			return value{}, err
		}
		switch n.Operator {
		case "-":
			return value{-x.v, x.kind}, number(x)
		case "+":
			return x, number(x)
		case "!", "not":
			return boolean(x.v == 0), nil
		}
	case *ast.BinaryNode:
		return binary(n, name)
	case *ast.ConditionalNode:
		c, err := eval(n.Cond, name)
		if err != nil {
			return value{}, err
		}
		if c.kind != truth {
			return value{}, errors.New("what stands before ? is a comparison")
		}
		if c.v != 0 {
			return eval(n.Exp1, name)
		}
		return eval(n.Exp2, name)
	case *ast.BuiltinNode:
		return call(n.Name, n.Arguments, name)
	case *ast.CallNode:
		if f, ok := n.Callee.(*ast.IdentifierNode); ok {
			return call(f.Value, n.Arguments, name)
		}
	}
	return value{}, errors.New("only numbers, names, + - * / % ^, comparisons, a ? b : c and the functions of this format may be used")
}

func boolean(b bool) value {
	if b {
		return value{1, truth}
	}
	return value{0, truth}
}

func number(xs ...value) error {
	for _, x := range xs {
		if x.kind == truth {
			return errors.New("a comparison cannot be reckoned with")
		}
	}
	return nil
}

func binary(n *ast.BinaryNode, name func(string) (value, error)) (value, error) {
	a, err := eval(n.Left, name)
	if err != nil {
		return value{}, err
	}
	b, err := eval(n.Right, name)
	if err != nil {
		return value{}, err
	}
	if n.Operator != "&&" && n.Operator != "and" && n.Operator != "||" && n.Operator != "or" {
		if err := number(a, b); err != nil {
			return value{}, err
		}
	}
	switch n.Operator {
	case "+", "-", "%", "<", "<=", ">", ">=", "==", "!=":
		if a.kind != b.kind && a.kind != Count && b.kind != Count {
			return value{}, fmt.Errorf("%s and %s cannot be put together by %s", article(a.kind), article(b.kind), n.Operator)
		}
	}
	sum := a.kind // of a sum: what either of them measures
	if sum == Count {
		sum = b.kind
	}
	switch n.Operator {
	case "+":
		return value{a.v + b.v, sum}, nil
	case "-":
		return value{a.v - b.v, sum}, nil
	case "*":
		if a.kind != Count && b.kind != Count {
			sum = Count // an area, or an arc from an angle: not followed further
		}
		return value{a.v * b.v, sum}, nil
	case "/", "%":
		if b.v == 0 {
			return value{}, errors.New("it divides by zero")
		}
		if n.Operator == "%" {
			return value{math.Mod(a.v, b.v), sum}, nil
		}
		if b.kind != Count {
			return value{a.v / b.v, Count}, nil
		}
		return value{a.v / b.v, a.kind}, nil
	case "^", "**":
		return value{math.Pow(a.v, b.v), Count}, nil
	case "<":
		return boolean(a.v < b.v), nil
	case "<=":
		return boolean(a.v <= b.v), nil
	case ">":
		return boolean(a.v > b.v), nil
	case ">=":
		return boolean(a.v >= b.v), nil
	case "==":
		return boolean(a.v == b.v), nil
	case "!=":
		return boolean(a.v != b.v), nil
	case "&&", "and":
		return boolean(a.v != 0 && b.v != 0), nil
	case "||", "or":
		return boolean(a.v != 0 || b.v != 0), nil
	}
	return value{}, fmt.Errorf("%q cannot be used here", n.Operator)
}

func call(name string, args []ast.Node, look func(string) (value, error)) (value, error) {
	f, ok := functions[name]
	if !ok {
		return value{}, &advice{fmt.Sprintf("there is no function %s here", name), given.Suggest(name, sortedKeys(functions))}
	}
	if f.args >= 0 && len(args) != f.args || len(args) == 0 {
		return value{}, fmt.Errorf("%s takes %d numbers, not %d", name, max(1, f.args), len(args))
	}
	out := value{kind: f.yields}
	vs := make([]float64, len(args))
	for i, a := range args {
		x, err := eval(a, look)
		if err == nil {
			err = number(x)
		}
		if err != nil {
			return value{}, err
		}
		vs[i] = x.v
		switch {
		case f.yields != "":
		case out.kind == "" || out.kind == Count:
			out.kind = x.kind
		case x.kind != Count && x.kind != out.kind:
			return value{}, fmt.Errorf("%s and %s cannot be put together by %s", article(out.kind), article(x.kind), name)
		}
	}
	out.v = f.f(vs)
	return out, nil
}

func sortedKeys[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// article is a quantity in a sentence.
func article(q Quantity) string {
	switch q {
	case Angle:
		return "an angle"
	case Length:
		return "a length"
	case Mass:
		return "a mass"
	case Force:
		return "a force"
	}
	return "a plain number"
}
