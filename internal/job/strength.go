package job

import (
	"groundwork/internal/plan"
	"groundwork/internal/remedy"
	"groundwork/internal/strength"
)

// StrengthDoc is how the piece bears its loads.
type StrengthDoc struct {
	Cases    []CaseDoc    `json:"cases" jsonschema:"description=Loads, by analogy with published standards or from the piece file"`
	Verdicts []VerdictDoc `json:"verdicts" jsonschema:"description=What each part bears against its limit: the case with the least margin of each kind and part"`
	Racking  []RackingDoc `json:"racking" jsonschema:"description=How stiff the piece is sideways"`
	Remedies []RemedyDoc  `json:"remedies" jsonschema:"description=What would make the worst failing verdict of each kind pass; solved again"`
}

type CaseDoc struct {
	ID        string  `json:"id"`
	What      string  `json:"what"`
	Source    string  `json:"source"`
	Judged    bool    `json:"judged" jsonschema:"description=False where the figures are too unsure for a verdict"`
	Sustained bool    `json:"sustained" jsonschema:"description=Stands for months; creep is counted"`
	Solved    bool    `json:"solved"`
	BallastG  float64 `json:"ballast_g" jsonschema:"description=Laid on it so that it does not tip"`
	Share     float64 `json:"share" jsonschema:"description=Of the published force; below 1 where the whole would tip it"`
	MovedMM   float64 `json:"moved_mm" jsonschema:"description=The greatest movement"`
	ErrorMM   float64 `json:"error_mm" jsonschema:"description=Of moved_mm; estimated from bricks twice as large"`
	MovedAt   Vec     `json:"moved_at"`
	Body      string  `json:"body" jsonschema:"description=That moves most"`
	Lowest    string  `json:"lowest" jsonschema:"description=Verdict of least margin in this case"`
	Margin    float64 `json:"margin"`
}

type VerdictDoc struct {
	ID      string  `json:"id"`
	Case    string  `json:"case"`
	Subject string  `json:"subject"`
	Kind    string  `json:"kind"`
	What    string  `json:"what"`
	Value   float64 `json:"value"`
	Limit   float64 `json:"limit"`
	Unit    string  `json:"unit"`
	Error   float64 `json:"error" jsonschema:"description=Of the value; 0 where it is not known"`
	Margin  float64 `json:"margin" jsonschema:"description=Limit over value; 1000 where it is more"`
	SpanMM  float64 `json:"span_mm,omitempty"`
	At      Vec     `json:"at"`
	Judged  bool    `json:"judged" jsonschema:"description=False: reported, not a verdict"`
	Fails   bool    `json:"fails"`
	Source  string  `json:"source" jsonschema:"description=What the limit rests on"`
}

type RackingDoc struct {
	Axis      string  `json:"axis"`
	Stiffness float64 `json:"stiffness_n_mm"`
	ForceN    float64 `json:"force_n"`
	MovedMM   float64 `json:"moved_mm"`
	HeightMM  float64 `json:"height_mm"`
	Angle     float64 `json:"angle_deg"`
}

type RemedyDoc struct {
	Verdict string  `json:"verdict"`
	Kind    string  `json:"kind"`
	Text    string  `json:"text"`
	Margin  float64 `json:"margin" jsonschema:"description=With the remedy"`
	Enough  bool    `json:"enough" jsonschema:"description=False where it gains, but not enough by itself"`
}

func describeStrength(p *plan.Plan) *StrengthDoc {
	if p.Strength == nil {
		return nil
	}
	d := &StrengthDoc{Cases: []CaseDoc{}, Verdicts: []VerdictDoc{}, Racking: []RackingDoc{}, Remedies: []RemedyDoc{}}
	for _, c := range p.Strength.Cases {
		d.Cases = append(d.Cases, CaseDoc{c.ID, c.What, c.Source, c.Judged, c.Sustained, c.Solved, round(c.Ballast), round(c.Share),
			round(c.Moved.Value), round(c.Moved.Error), vec3(c.Moved.At), c.Moved.Body, c.Lowest, round(c.Margin)})
	}
	for _, v := range p.Strength.Worst() {
		d.Verdicts = append(d.Verdicts, VerdictDoc{v.ID, v.Case, v.Subject, v.Kind, v.What, round(v.Value), round(v.Limit), v.Unit, round(v.Error), round(v.Margin),
			round(v.Span), vec3(v.At), v.Judged, v.Fails(), v.Source})
	}
	for _, r := range p.Strength.Racking {
		d.Racking = append(d.Racking, RackingDoc{r.Axis, round(r.Stiffness), round(r.Force), round(r.Moved), round(r.Height), degrees(r.Angle)})
	}
	for _, r := range p.Remedies {
		for _, set := range []struct {
			enough bool
			found  []remedy.Remedy
		}{{true, r.Found}, {false, r.Short}} {
			for _, x := range set.found {
				d.Remedies = append(d.Remedies, RemedyDoc{r.Verdict, x.Kind, x.Text, round(x.Margin), set.enough})
			}
		}
	}
	return d
}

// strengthRows is the table of what each part bears, by the case that it bears
// worst.
func strengthRows(p *plan.Plan) [][]string {
	rows := [][]string{{"part", "what", "case", "value", "limit", "unit", "margin", "judged", "rests_on"}}
	for _, v := range p.Strength.Worst() {
		judged := "yes"
		if !v.Judged {
			judged = "reported only"
		}
		margin := number(v.Margin, 2)
		if v.Margin >= strength.Ample {
			margin = "ample"
		}
		rows = append(rows, []string{v.Subject, v.What, v.Case, number(v.Value, 3), number(v.Limit, 3), v.Unit, margin, judged, v.Source})
	}
	return rows
}
