package plan

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/elastic"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/remedy"
	"groundwork/internal/seam"
	"groundwork/internal/solid"
	"groundwork/internal/strength"
	"groundwork/internal/stress"
)

// Remedied is a verdict that fails and what would make it pass.
type Remedied struct {
	Verdict string // ID
	Kind    string
	Subject string
	remedy.Result
}

// Remedies are what was looked for, the worst verdict of each kind that fails.
type Remedies []Remedied

// remedies looks for what would make the verdicts pass that fail: of each kind
// the worst. Each is found and solved by itself, by the case that fails, and is
// to do under the whole of its load, also where sources agree on a share only.
func (pl *Plan) remedies(ctx context.Context, k *solid.Kernel, in stress.Inputs, cell float64, tell func(done, total int, what string)) (Remedies, error) {
	var out Remedies
	worst := map[string]strength.Verdict{}
	for _, v := range pl.Strength.Verdicts {
		if w, ok := worst[v.Kind]; v.Fails() && (!ok || v.Margin < w.Margin) {
			worst[v.Kind] = v
		}
	}
	tries := 0
	for _, kind := range strength.Kinds() {
		v, ok := worst[kind]
		if !ok {
			continue
		}
		at := slices.IndexFunc(pl.cases, func(c strength.Case) bool { return c.ID == v.Case })
		margin := func(cell float64) remedy.Margin {
			return func(ctx context.Context, in stress.Inputs) (float64, error) {
				if tries++; tell != nil {
					tell(len(out), len(worst), fmt.Sprintf("remedies, try %d", tries))
				}
				s, err := solve(ctx, k, in, pl.cases[at:at+1], stress.Options{Cell: cell, Creep: strength.Creep}, nil)
				if err != nil {
					if _, ok := loose(err); ok || errors.Is(err, elastic.ErrNoConvergence) {
						return 0, fmt.Errorf("%w: %w", remedy.ErrNotPossible, err)
					}
					return 0, err
				}
				r := strength.Judge(in, pl.cases[at:at+1], s.states, nil)
				if now, ok := r.Verdict(v.ID); ok {
					return now.Margin, nil
				}
				// The subject may go by another name, as a seam or screw that has moved: what
				// fails worst of its kind then counts.
				least := strength.Ample
				for _, now := range r.Verdicts {
					if now.Kind == v.Kind {
						least = min(least, now.Margin)
					}
				}
				return least, nil
			}
		}
		found, err := remedy.Search(ctx, in, pl.ladders(k, in, v), v.Margin, margin(coarser*cell), margin(cell))
		if err != nil {
			return nil, fmt.Errorf("for %s: %w", v.ID, err)
		}
		out = append(out, Remedied{Verdict: v.ID, Kind: v.Kind, Subject: v.Subject, Result: found})
	}
	return out, nil
}

// text is the remedies for the verdict that a finding tells of, in words.
func (rs Remedies) text(f finding.Finding) string {
	for _, r := range rs {
		if f.Code != r.Kind+"-fails" || f.Subject != r.Subject {
			continue
		}
		var all []string
		for _, x := range r.Found {
			all = append(all, fmt.Sprintf("%s (margin %.2f)", x.Text, x.Margin))
		}
		if len(all) == 0 {
			for _, x := range r.Short {
				all = append(all, fmt.Sprintf("%s (reaches a margin of %.2f only; more is needed beside it)", x.Text, x.Margin))
			}
		}
		return strings.Join(all, "; or ")
	}
	return ""
}

// ladders are the changes that may help a verdict: to the body, joint or seam
// that it is about.
func (pl *Plan) ladders(k *solid.Kernel, in stress.Inputs, v strength.Verdict) []remedy.Ladder {
	for i, b := range in.Bodies {
		if b.ID == v.Subject || slices.ContainsFunc(b.Members, func(m int) bool { return in.Cores[m].ID == v.Subject }) {
			return remedy.OfBody(in, i)
		}
	}
	for _, s := range in.Seams {
		if s.ID == v.Subject {
			return append([]remedy.Ladder{pl.moved(k, s)}, remedy.OfBody(in, s.Body)...)
		}
	}
	for _, j := range pl.Joints.Joints {
		if v.Subject == j.ID || strings.HasPrefix(v.Subject, j.ID+"/") {
			return []remedy.Ladder{pl.screwed(k, j)}
		}
	}
	return nil
}

// screwed gives a joint more screws.
func (pl *Plan) screwed(k *solid.Kernel, j joint.Joint) remedy.Ladder {
	l := remedy.Ladder{Kind: "screws"}
	if j.Kind != piece.KnockDown {
		return l
	}
	a, b, ok := pl.joined(j)
	if !ok {
		return l
	}
	const more = 2
	for n := len(j.Screws) + 1; n <= len(j.Screws)+more; n++ {
		l.Steps = append(l.Steps, remedy.Step{
			Text: fmt.Sprintf("take %d screws instead of %d between %s and %s", n, len(j.Screws), a.Name, b.Name),
			Apply: func(ctx context.Context, in stress.Inputs) (stress.Inputs, error) {
				p := *pl.Piece
				rule := piece.JointRule{Between: [2]string{a.ID, b.ID}, Kind: j.Kind, Dowels: -1}
				if j.Rule >= 0 {
					rule = p.Joints[j.Rule]
				}
				rule.Screws = n
				p.Joints = slices.Clone(p.Joints)
				if j.Rule >= 0 {
					p.Joints[j.Rule] = rule
				} else {
					p.Joints = append(p.Joints, rule)
				}
				placed, err := joint.Place(ctx, k, &p, pl.Shop, joint.Options{})
				if err != nil {
					return in, err
				}
				for _, now := range placed.Joints {
					if now.ID == j.ID && len(now.Screws) < n {
						return in, fmt.Errorf("no room for %d screws at %s: %w", n, j.ID, remedy.ErrNotPossible)
					}
				}
				in.Joints = placed
				return in, nil
			},
		})
	}
	return l
}

// joined are the members that a joint holds together.
func (pl *Plan) joined(j joint.Joint) (a, b piece.Member, ok bool) {
	for _, c := range pl.Joints.Contacts {
		if c.ID == j.Contact {
			return pl.Piece.Members[c.A.Member], pl.Piece.Members[c.B.Member], true
		}
	}
	for _, c := range pl.Joints.Rounds {
		if c.ID == j.Contact {
			return pl.Piece.Members[c.A.Member], pl.Piece.Members[c.B.Member], true
		}
	}
	return a, b, false
}

// moved cuts a body where no seam comes near the place of one that fails.
func (pl *Plan) moved(k *solid.Kernel, s seam.Seam) remedy.Ladder {
	l := remedy.Ladder{Kind: "seam"}
	b := pl.Seams.Bodies[s.Body]
	m := pl.Layout.Cores[b.Members[0]]
	axis := -1
	for i, d := range []geom.Vec3{m.Place.X, m.Place.Y, m.Place.Z} {
		if math.Abs(d.Dot(s.Plane.Normal)) > 0.999 {
			axis = i
		}
	}
	if axis < 0 {
		return l
	}
	local := m.Place.Local(s.Frame.Origin)
	at := [3]float64{local.X, local.Y, local.Z}[axis]
	for _, away := range []float64{15, 30, 50, 80} {
		l.Steps = append(l.Steps, remedy.Step{
			Text: fmt.Sprintf("lay the seam of %s at least %.0f mm away from where it is", b.ID, away),
			Apply: func(ctx context.Context, in stress.Inputs) (stress.Inputs, error) {
				si := seamInputs(pl)
				si.Rules = append(slices.Clone(si.Rules), piece.SeamRule{Member: m.ID, Kind: piece.NoSeam, Axis: axis, Clear: [2]float64{at - away, at + away}})
				r, err := seam.Plan(ctx, k, si, seam.Options{})
				if err != nil {
					return in, err
				}
				was := map[int]geom.Vec3{} // how the body is laid; its new segments are taken to lie alike
				for _, x := range in.Laid {
					if _, ok := was[x.Body]; !ok {
						was[x.Body] = x.Up
					}
				}
				before, after := 0, 0
				for _, x := range pl.Seams.Segments {
					if x.Body == s.Body {
						before++
					}
				}
				in.Laid = nil
				for _, x := range r.Segments {
					if x.Body == s.Body {
						after++
					}
					in.Laid = append(in.Laid, stress.Laid{Segment: x.ID, Body: x.Body, Planes: x.Planes, Up: was[x.Body]})
				}
				if after == 0 || after > before {
					return in, fmt.Errorf("%s would need %d segments instead of %d: %w", b.ID, after, before, remedy.ErrNotPossible)
				}
				in.Seams = r.Seams
				return in, nil
			},
		})
	}
	return l
}
