package line

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"
)

//go:embed table.html
var page string

var pageTemplate = template.Must(template.New("table.html").Parse(page))

// What the page shows, as text: the template only places it.
type (
	htmlPage struct {
		Title, Summary string
		Groups         []htmlGroup
		Heads          []htmlHead
		Rows           []htmlRow
		Inputs         [][2]string
		Across         int
	}
	htmlGroup struct {
		Text string
		Span int
	}
	htmlHead struct {
		Text, Unit, Note string
		Col              int
		Number           bool
	}
	htmlCell struct {
		Text, Class string
		Sort        string // a number to sort by; "" to sort by the text
	}
	htmlRow struct {
		Cheapest bool
		Class    string // by state
		Cells    []htmlCell
		Summary  string // of the findings
		Error    string
		Found    []htmlFound
	}
	htmlFound struct {
		Severity, Subject, Message, Remedy, Source string
	}
)

// HTML is the table as a page that needs nothing beside it: it sorts by any
// column, folds findings, prints, and is light or dark as the reader's system is.
func (t *Table) HTML() ([]byte, error) {
	l := t.Line
	cols := t.columns(false)
	p := htmlPage{Title: l.Title, Summary: t.summary(), Inputs: t.inputs()}
	head := func(group, text, unit, note string, number bool) {
		if n := len(p.Groups); n > 0 && p.Groups[n-1].Text == group {
			p.Groups[n-1].Span++
		} else {
			p.Groups = append(p.Groups, htmlGroup{group, 1})
		}
		p.Heads = append(p.Heads, htmlHead{text, unit, note, len(p.Heads), number})
	}
	head("Variant", "no.", "", "", true)
	for _, a := range l.Axes {
		head("Variant", a.head(), "", "", a.Kind == Parameter)
	}
	head("Variant", "state", "", "", false)
	head("Variant", "what to know", "", "findings: what stops it, what may go wrong, what is worth knowing", false)
	for _, c := range cols {
		head(c.group, c.head, c.unit, c.note, true)
	}
	kits := slices.ContainsFunc(t.Rows, func(r *Row) bool { return r.Figures != nil && r.Figures.Kit != nil })
	if kits {
		head("Kit", "largest parcel", "mm", "outside", true)
	}
	p.Across = len(p.Heads)
	cheapest := t.Cheapest()
	for i, v := range l.Variants {
		r := t.Rows[i]
		grave := r.Stops*1_000_000 + r.Warns*1000 + r.Notes // stops first, then warnings
		row := htmlRow{Cheapest: i == cheapest, Class: class(t, i), Error: r.Error, Summary: counted(r)}
		cell := func(text, class, sort string) { row.Cells = append(row.Cells, htmlCell{text, class, sort}) }
		cell(strconv.Itoa(v.N), "n", strconv.Itoa(v.N))
		for j, a := range l.Axes {
			if x, ok := a.number(v.Values[j]); ok {
				cell(v.Values[j], "n", decimal(x, 6))
			} else {
				cell(v.Values[j], "axis", "")
			}
		}
		cell(t.mark(i), "state", "")
		row.Cells = append(row.Cells, htmlCell{Class: "know", Sort: strconv.Itoa(grave)})
		for _, c := range cols {
			x, ok := c.of(r)
			if !ok {
				cell("–", "n", "")
				continue
			}
			class := "n"
			if row.Cheapest && c.name == "cost" {
				class = "n best"
			}
			cell(grouped(decimal(x, c.digits)), class, decimal(x, 6))
		}
		if kits {
			text, size := parcel(r)
			cell(text, "n", size)
		}
		for _, f := range r.Found {
			row.Found = append(row.Found, htmlFound{f.Severity.String(), strings.Join(append([]string{f.Subject}, f.Also...), ", "), f.Message, f.Remedy, f.Source})
		}
		p.Rows = append(p.Rows, row)
	}
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, p); err != nil {
		return nil, fmt.Errorf("line: table.html: %w", err)
	}
	return b.Bytes(), nil
}

// parcel is the largest parcel of a row in words, and its volume to sort by.
func parcel(r *Row) (text, sort string) {
	if r.Figures == nil || r.Figures.Kit == nil {
		return "–", ""
	}
	e := r.Figures.Kit.Largest
	return fmt.Sprintf("%.0f × %.0f × %.0f", e[0], e[1], e[2]), decimal(e[0]*e[1]*e[2], 0)
}

// class is how a row looks.
func class(t *Table, i int) string {
	r := t.Rows[i]
	switch {
	case r.State == Failed, r.State == Alter:
		return "stop"
	case r.Bears != nil && !r.Bears.Holds():
		return "warning"
	}
	return ""
}

// summary is the line in two sentences.
func (t *Table) summary() string {
	n := len(t.Rows)
	s := fmt.Sprintf("%s: %s.", counting(n, "variant"), stateCounts(t))
	if i := t.Cheapest(); i >= 0 {
		s += fmt.Sprintf(" Cheapest: %s, %s %s.", t.Line.Variants[i].Name, grouped(decimal(t.Rows[i].Figures.Cost, 2)), t.Line.Currency)
	}
	return s
}

func stateCounts(t *Table) string {
	var out []string
	for _, s := range []State{Made, Alter, Failed} {
		if n := t.Count(s); n > 0 {
			out = append(out, fmt.Sprintf("%d %s", n, s))
		}
	}
	return strings.Join(out, ", ")
}

// counted is how many findings there are.
func counted(r *Row) string {
	var out []string
	for _, c := range []struct {
		n    int
		what string
	}{{r.Stops, "stop"}, {r.Warns, "warning"}, {r.Notes, "note"}} {
		if c.n > 0 {
			out = append(out, counting(c.n, c.what))
		}
	}
	if out == nil && r.Error != "" {
		return "why"
	}
	return strings.Join(out, ", ")
}

func counting(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// grouped parts the thousands of a decimal by thin spaces (ISO 80000-1, 7.3.1).
func grouped(s string) string {
	whole, rest, dot := strings.Cut(s, ".")
	sign := ""
	if strings.HasPrefix(whole, "-") {
		sign, whole = "−", whole[1:]
	}
	for i := len(whole) - 3; i > 0; i -= 3 {
		whole = whole[:i] + "\u202f" + whole[i:]
	}
	if dot {
		whole += "." + rest
	}
	return sign + whole
}
