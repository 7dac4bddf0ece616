package main

import (
	"fmt"
	"text/tabwriter"

	"groundwork/internal/plan"
	"groundwork/internal/strength"
)

// strengthFlag asks a command for how the piece bears its loads.
type strengthFlag struct {
	Strength bool `help:"Work out how the piece bears the loads of its use and those in its file, and what would help where it does not. Takes some seconds more, or minutes where much has to be tried."`
}

func (f strengthFlag) options() *plan.StrengthOptions {
	if !f.Strength {
		return nil
	}
	return &plan.StrengthOptions{Remedies: true}
}

// showStrength prints how the piece bears each load, the least margins first.
func showStrength(out *output, p *plan.Plan) {
	r := p.Strength
	if r == nil {
		return
	}
	fmt.Fprintln(out.Out, "How it bears its loads (estimates by an elastic model; a margin of 1 is just enough):")
	w := tabwriter.NewWriter(out.Out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  load\tgives way by\tleast margin\tof")
	for _, c := range r.Cases {
		switch v, ok := r.Verdict(c.Lowest); {
		case !c.Solved:
			fmt.Fprintf(w, "  %s\tnot solved\t\t\n", c.ID)
		case !ok:
			fmt.Fprintf(w, "  %s\t%.2f mm\t\t\n", c.ID, c.Moved.Value)
		default:
			fmt.Fprintf(w, "  %s\t%.2f mm at %s\t%s\t%s\n", c.ID, c.Moved.Value, c.Moved.Body, margin(c.Margin, c.Judged), v.What+", "+v.Subject)
		}
	}
	w.Flush()
	fmt.Fprintln(out.Out)
}

func margin(m float64, judged bool) string {
	s := fmt.Sprintf("%.2f", m)
	if m >= strength.Ample {
		s = "ample"
	}
	if !judged {
		s += " (reported only)"
	}
	return s
}
