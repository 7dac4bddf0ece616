package remake

import (
	"fmt"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/printing"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

// Text is what is made again, in words.
func (r *Result) Text() string {
	var b strings.Builder
	say := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	p := r.Part
	say("%s: parts made again", p.Piece.Title)
	say("Kit %s", r.Job.Revision())
	say("")
	wrap(&b, "", fmt.Sprintf("The piece file and the shop file still make kit %s, which the job %s was planned as: the parts below fit the others of that kit, and those of no other. "+
		"Write the number on each as soon as it is made.", r.Job.Revision(), r.Job.Name))

	r.printed(&b, "Print", p.Printing, "core/", "")
	r.printed(&b, "Print fixtures", p.FixturePrinting, "fixtures/", "fixtures ")
	r.laid(&b)
	r.advice(&b)

	if len(r.Findings) > 0 {
		say("\nMind")
		title := map[finding.Severity]string{finding.Stop: "MUST CHANGE: ", finding.Warning: "WARNING: ", finding.Note: ""}
		for _, f := range r.Findings {
			message := strings.TrimSuffix(f.Message, ".") + "." // which may begin with an ID
			if !strings.Contains(message, f.Subject) {
				message = f.Subject + ": " + message
			}
			wrap(&b, "- ", title[f.Severity]+message+" "+sentence(f.Remedy))
		}
	}

	say("\nWhat it takes")
	for _, l := range r.Lines {
		what := unit.FormatDuration(l.Quantity * 3600)
		if l.Unit != "h" {
			what = fmt.Sprintf("%.4g %s", l.Quantity, l.Unit)
		}
		if l.Unit == "g" {
			what = unit.FormatMass(l.Quantity)
		}
		say("  %-42s %14s %12s", string(l.Section)+": "+l.Item, what, fmt.Sprintf("%.2f", l.Cost))
	}
	say("  %-42s %14s %12s %s", "together", "", fmt.Sprintf("%.2f", r.Cost), p.Shop.Currency)
	basis := ""
	if len(p.Printing.Loads)+len(p.FixturePrinting.Loads) > 0 {
		basis = " Times of printing are estimates: " + r.basis() + "."
	}
	wrap(&b, "  ", "Glue, sealer and finish are not counted."+basis)
	return b.String()
}

// sentence is words that begin with a capital and end with a stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

// basis is what the times of printing rest on.
func (r *Result) basis() string {
	for _, p := range []*printing.Result{r.Part.Printing, r.Part.FixturePrinting} {
		if p.Basis != "" {
			return p.Basis
		}
	}
	return printing.Basis
}

func (r *Result) printed(b *strings.Builder, title string, p *printing.Result, folder, called string) {
	if len(p.Loads) == 0 {
		return
	}
	fmt.Fprintf(b, "\n%s\n", title)
	for _, l := range p.Loads {
		fmt.Fprintf(b, "  %s%s on %s in %s: %s (%s to %s), %s of filament\n", called, l.ID, l.Printer, l.Filament,
			unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High), unit.FormatMass(l.Grams))
		for _, it := range l.Items {
			pr := p.Prints[it.Print]
			fmt.Fprintf(b, "    [ ] %s, %.1f x %.1f x %.1f mm\n", pr.Segment, pr.Size.X, pr.Size.Y, pr.Size.Z)
		}
		fmt.Fprintf(b, "    file %s%s.3mf, settings in %scards.txt\n", folder, l.ID, folder)
	}
}

func (r *Result) laid(b *strings.Builder) {
	if len(r.Laid) == 0 {
		return
	}
	s := r.Part.Sheets
	fmt.Fprintf(b, "\nCut\n")
	for i, bl := range s.Blanks {
		fmt.Fprintf(b, "  %s, %s, %.0f x %.0f mm\n", bl.ID, bl.Veneer, bl.Size.X, bl.Size.Y)
		for _, l := range r.Laid {
			if l.Blank != bl.ID {
				continue
			}
			if l.Offcut == nil {
				wrap(b, "    ", fmt.Sprintf("from the new sheet %s, with its lower left corner at %.0f mm across and %.0f mm along the grain", l.From, bl.At.X, bl.At.Y))
			} else {
				at, size := l.Offcut.Box.Min, l.Offcut.Box.Size()
				wrap(b, "    ", fmt.Sprintf("from %s, %.0f mm across the grain and %.0f mm along it, which lay on the sheet %s from %.0f mm across and %.0f mm along", l.From, size.X, size.Y, l.Offcut.Sheet, at.X, at.Y))
				wrap(b, "    ", fmt.Sprintf("with its lower left corner at %.0f mm across and %.0f mm along the offcut; veneer/sheet-cuts.csv has the cuts", bl.At.X, bl.At.Y))
			}
			break
		}
		for _, pl := range s.Placements {
			if pl.Blank != i {
				continue
			}
			p := r.Part.Patterns[pl.Pattern]
			var notes []string
			if p.Release != "" {
				notes = append(notes, "measure the "+p.Release+" first")
			}
			if p.KnifeCut {
				notes = append(notes, "cut to length by knife")
			}
			if p.CutInPlace {
				notes = append(notes, "ends cut in place")
			}
			if p.Lap != "" {
				notes = append(notes, "fingers of "+p.Lap)
			}
			line := fmt.Sprintf("    [ ] %s, %.1f x %.1f mm, %.4g cm²", p.ID, p.Length, p.Width, p.NetArea/100)
			if len(notes) > 0 {
				line += ": " + strings.Join(notes, "; ")
			}
			fmt.Fprintln(b, line)
		}
		fmt.Fprintf(b, "    files veneer/%s.svg and .dxf\n", bl.ID)
	}
	for _, sh := range s.Sheets {
		for _, o := range sh.Offcuts {
			fmt.Fprintf(b, "  Left of %s: %.0f x %.0f mm\n", sh.ID, o.Size().X, o.Size().Y)
		}
	}
	var used []string
	for _, sh := range s.Sheets {
		if sh.Kept != "" {
			used = append(used, "--gone "+sh.Kept)
		}
	}
	if len(used) > 0 {
		wrap(b, "  ", "This job folder does not know that these offcuts are cut up: the next time, say so with "+strings.Join(used, " ")+".")
	}
}

// advice is what a part that comes late asks for; common practice, no source.
func (r *Result) advice(b *strings.Builder) {
	var out []string
	if len(r.Segments) > 0 {
		out = append(out,
			"Print in filament of the same batch as the others if there is some left: colour and shrinkage differ from batch to batch. Under veneer colour does not matter, at bare faces it does.",
			"Print it with the settings card of its load, which are the job's: another layer height or fill makes a part that sinks or sands otherwise.",
			"Measure it against the part that it replaces, or its neighbours, across every seam. Dry-fit it with its dowels before glue.",
			"Level it with its neighbours when the glue has cured: sand across the seams, not along them, and stop as soon as no edge is felt.")
	}
	for _, f := range r.Part.Fixtures.Fixtures {
		if f.Kind == fixture.DowelPart || f.Kind == fixture.PlugPart {
			out = append(out, "Try dowels and plugs in their holes before glue.")
			break
		}
	}
	var leaf, band bool
	for _, p := range r.Part.Patterns {
		leaf, band = leaf || p.Kind == veneer.Leaf, band || p.Kind == veneer.Band
	}
	if leaf || band {
		out = append(out,
			"Take up the spoilt veneer first, with its adhesive: warm it, lift it with a thin blade along the grain, and scrape and seal the core again. What stays under the new one shows through.",
			"Check that the adhesive of the offcut still grabs, on a scrap: its date is that of the sheet.",
			"Neighbours have aged in the light: fresh veneer is darker or paler for some weeks. Finish the new one in the same coats; a sample on an offcut of it shows the colour.")
	}
	if leaf {
		out = append(out, "Edges that are laid after the leaf were trimmed flush with the old one: protect them with tape when you trim the new one, and sand to the neighbours, never below them.")
	}
	if band {
		out = append(out, "A band is longer than it shows by its allowance: cut its end to the one that stays, and keep the lap's pins where they were.")
	}
	if len(out) > 0 {
		fmt.Fprintf(b, "\nAt the bench (common practice, no source)\n")
	}
	for _, o := range out {
		wrap(b, "- ", o)
	}
}

// wrap writes a paragraph, broken at 88 columns; later lines stand under the
// first one's words.
func wrap(b *strings.Builder, lead, text string) {
	const width = 88
	line := lead
	indent := strings.Repeat(" ", len(lead))
	empty := true
	for _, w := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(w)) > width {
			fmt.Fprintln(b, strings.TrimRight(line, " "))
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += w
		empty = false
	}
	fmt.Fprintln(b, line)
}
