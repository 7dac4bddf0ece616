package strength

import (
	"fmt"
	"math"
	"strings"

	"groundwork/internal/finding"
)

// tell makes findings of verdicts: one for each kind that fails, one for each
// that is only reported and would, and one of the least margin.
func (j *judge) tell() {
	byCase := map[string]CaseResult{}
	var unsolved []string
	for _, c := range j.out.Cases {
		byCase[c.ID] = c
		if !c.Solved {
			unsolved = append(unsolved, c.ID)
		}
	}
	for _, k := range kinds {
		j.group(k.kind, k.advice, byCase, "fails", finding.Warning, Verdict.Fails)
		j.group(k.kind, k.advice, byCase, "unsure", finding.Note, func(v Verdict) bool { return v.Judged && v.Margin < 1 && !v.Fails() })
		j.group(k.kind, "", byCase, "reported", finding.Note, func(v Verdict) bool { return !v.Judged && v.Margin < 1 })
	}
	if v, ok := j.out.Verdict(j.out.Lowest); ok {
		j.find(finding.Note, "least-margin", v.Subject,
			fmt.Sprintf("The least margin that is judged is %s: %s.", figure(v.Margin), compared(v, byCase[v.Case])), "", rests(v, byCase[v.Case]))
	}
	for _, r := range j.out.Racking {
		off := ""
		if r.Error > 0 {
			off = fmt.Sprintf(", give or take %s mm", figure(r.Error))
		}
		j.find(finding.Note, "racking", "piece",
			fmt.Sprintf("Pushed along %s it moves %s mm under %s N%s: %s N/mm, and it leans by %s deg.", r.Axis, figure(r.Moved), figure(r.Force), off, figure(r.Stiffness), figure(r.Angle*180/math.Pi)),
			"", "elastic model of the piece")
	}
	if len(unsolved) > 0 {
		j.find(finding.Warning, "unsolved", "piece",
			fmt.Sprintf("Nothing is known of how it bears %s, which could not be solved.", strings.Join(unsolved, ", ")), "look at the other findings for what stands or is joined badly", "")
	}
	j.out.Findings = finding.Sorted(j.out.Findings)
}

func (j *judge) find(s finding.Severity, code, subject, message, remedy, source string) {
	j.out.Findings = append(j.out.Findings, finding.Finding{Severity: s, Stage: "strength", Code: code, Subject: subject,
		Message: message, Remedy: remedy, Source: source})
}

// group tells of the verdicts of a kind that are so: the worst with its figures,
// and of how many others.
func (j *judge) group(kind, advice string, byCase map[string]CaseResult, how string, s finding.Severity, is func(Verdict) bool) {
	var worst Verdict
	subjects := map[string]bool{}
	for _, v := range j.out.Verdicts {
		if v.Kind != kind || !is(v) {
			continue
		}
		if len(subjects) == 0 || v.Margin < worst.Margin {
			worst = v
		}
		subjects[v.Subject] = true
	}
	if len(subjects) == 0 {
		return
	}
	c := byCase[worst.Case]
	message := upper(compared(worst, c)) + ": margin " + figure(worst.Margin) + "."
	switch how {
	case "unsure":
		message += fmt.Sprintf(" The sources differ on the load; under the %.0f %% on which they agree it holds.", 100*worst.Agreed)
	case "reported":
		message += " Reported only: the figures are too unsure for a verdict."
	}
	if kind == "peel" || kind == "glue-shear" {
		message += j.instead(worst)
	}
	if n := len(subjects) - 1; n > 0 {
		message += fmt.Sprintf(" So it is with %d more.", n)
	}
	j.find(s, kind+"-"+how, worst.Subject, message, advice, rests(worst, c))
}

// instead says what a seam's dowels bear if its glue lets go.
func (j *judge) instead(of Verdict) string {
	least := math.Inf(1)
	for _, kind := range []string{"seam-dowel-pull", "seam-dowel-shear", "seam-dowel-bearing"} {
		if v, ok := j.out.Verdict(of.Case + "/" + of.Subject + "/" + kind); ok {
			least = min(least, v.Margin)
		}
	}
	if math.IsInf(least, 1) {
		return ""
	}
	return fmt.Sprintf(" If it lets go, its dowels bear the load with a margin of %s.", figure(least))
}

// compared is a verdict in words, without its margin.
func compared(v Verdict, c CaseResult) string {
	s := fmt.Sprintf("%s of %s in case %s is %s %s against %s %s", v.What, v.Subject, c.ID, figure(v.Value), v.Unit, figure(v.Limit), v.Unit)
	if v.Span > 0 {
		s += fmt.Sprintf(" over a span of %.0f mm", v.Span)
	}
	if v.Error > 0 {
		s += fmt.Sprintf(", give or take %s %s", figure(v.Error), v.Unit)
	}
	return s
}

// rests is what a verdict rests on: its limit, its load, and the reckoning.
func rests(v Verdict, c CaseResult) string {
	return "Limit: " + v.Source + ". Load: " + c.Source + ". An estimate by an elastic model"
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// figure is a number to three digits, without exponent.
func figure(v float64) string {
	switch a := math.Abs(v); {
	case a >= Ample:
		return fmt.Sprintf("%.0f", v)
	case a >= 100:
		return fmt.Sprintf("%.0f", v)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	case a >= 0.1 || a == 0:
		return fmt.Sprintf("%.2f", v)
	default:
		return fmt.Sprintf("%.4f", v)
	}
}
