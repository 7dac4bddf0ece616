package job

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/unit"
)

// cards are the settings of each load, to be set at the printer: print files
// carry none.
func cards(s *shop.Shop, r *printing.Result, called func(id string) string) []byte {
	var b bytes.Buffer
	for _, l := range r.Loads {
		i := slices.IndexFunc(s.Printers, func(pr shop.Printer) bool { return pr.ID == l.Printer })
		pr := s.Printers[i].Profile
		fmt.Fprintf(&b, "%s on %s in %s\n", called(l.ID), l.Printer, l.Filament)
		fmt.Fprintf(&b, "  layers %g mm, the first %g mm; beads %g mm wide\n", pr.Layer, pr.FirstLayer, pr.Line)
		fmt.Fprintf(&b, "  %d contours, %d cover layers top and bottom, core fill %.0f %% %s\n", pr.Contours, pr.CoverLayers, pr.Fill*100, pr.FillPattern)
		fmt.Fprintf(&b, "  about %s (%s to %s), %s of filament\n", unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High), unit.FormatMass(l.Grams))
		b.WriteString("  parts:")
		for _, it := range l.Items {
			pt := r.Prints[it.Print]
			b.WriteString(" " + pt.Segment)
			if pt.Overhang >= 25 {
				b.WriteString(" (supports)")
			}
		}
		b.WriteString("\n\n")
	}
	return b.Bytes()
}

func number(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }

func billRows(p *plan.Plan) [][]string {
	rows := [][]string{{"section", "item", "quantity", "unit", "price", "cost", "currency", "note"}}
	for _, l := range p.Bill.Lines {
		rows = append(rows, []string{string(l.Section), l.Item, number(l.Quantity, 2), l.Unit, number(l.Price, 4), number(l.Cost, 2), p.Bill.Currency, l.Remark()})
	}
	lacks := func(fixtures bool) string {
		if s := p.Bill.Lacks(fixtures); s != "" {
			return "; " + s
		}
		return ""
	}
	rows = append(rows,
		[]string{"total", "the piece", "", "", "", number(p.Bill.Cost, 2), p.Bill.Currency, "without fixtures, which are made once" + lacks(false)},
		[]string{"total", "with fixtures", "", "", "", number(p.Bill.WithFixtures(), 2), p.Bill.Currency, strings.TrimPrefix(lacks(true), "; ")})
	return rows
}

func patternRows(p *plan.Plan) [][]string {
	rows := [][]string{{"pattern", "member", "surface", "kind", "veneer", "length_mm", "width_mm", "net_area_mm2", "allowance_mm", "blank", "set", "hold_until_measured", "note"}}
	for i, pat := range p.Patterns {
		member, surface := "", ""
		if pat.Member >= 0 {
			member = p.Piece.Members[pat.Member].ID
			const chord = 0.1 // names only
			surface = p.Layout.Cores[pat.Member].Surfaces(chord)[pat.Surface].Name
		}
		blank := ""
		if b := p.Sheets.Placements[i].Blank; b >= 0 {
			blank = p.Sheets.Blanks[b].ID
		}
		var notes []string
		if pat.KnifeCut {
			notes = append(notes, "cut to length by knife")
		}
		if pat.CutInPlace {
			notes = append(notes, "ends cut in place")
		}
		if pat.Lap != "" {
			notes = append(notes, "fingers of "+pat.Lap)
		}
		rows = append(rows, []string{pat.ID, member, surface, string(pat.Kind), pat.Veneer, number(pat.Length, 2), number(pat.Width, 2), number(pat.NetArea, 1),
			number(pat.Allowance, 2), blank, pat.Set, pat.Release, strings.Join(notes, "; ")})
	}
	return rows
}

// cutRows tells how sheets are cut into blanks, cut by cut. Every sheet begins
// with the line of its edges, whether there is something to cut off them or not.
func cutRows(p *plan.Plan) [][]string {
	rows := [][]string{{"sheet", "cut", "of", "across_mm", "along_mm", "direction", "at_mm", "before", "beyond"}}
	made := func(y sheet.Yield) string {
		if y.Is == "" {
			return y.Name
		}
		return y.Is
	}
	for i, s := range p.Sheets.Sheets {
		whole := ""
		for _, b := range p.Sheets.Blanks { // not cut up at all
			if len(s.Cuts) == 0 && b.Sheet == i {
				whole = b.ID
			}
		}
		rows = append(rows, []string{s.ID, "0", "sheet", number(s.Size.X, 1), number(s.Size.Y, 1), "all edges", number(s.Margin, 1), "waste", whole})
		for _, c := range s.Cuts {
			direction, of := "across the grain", c.Of
			if c.Along {
				direction = "along the grain"
			}
			if of == "" {
				of = "sheet"
			}
			size := c.On.Size()
			rows = append(rows, []string{s.ID, strconv.Itoa(c.N), of, number(size.X, 1), number(size.Y, 1), direction, number(c.Where, 1), made(c.Before), made(c.Beyond)})
		}
	}
	return rows
}

func encodeCSV(rows [][]string) ([]byte, error) {
	var b bytes.Buffer
	err := csv.NewWriter(&b).WriteAll(rows)
	return b.Bytes(), err
}
