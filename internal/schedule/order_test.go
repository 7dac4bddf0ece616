package schedule_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/book"
	"groundwork/internal/scene"
	"groundwork/internal/schedule"
	"groundwork/internal/specimen"
	"groundwork/internal/unit"
)

// inBook tells which activities do what a step of the bench book tells, by names.
func inBook(c *checker, s book.Step) []schedule.Activity {
	about := func(id string) bool { return slices.Contains(s.Parts, id) }
	load, isLoad := strings.CutPrefix(s.ID, "print/load-")
	blank, isBlank := strings.CutPrefix(s.ID, "cut/blank-")
	var out []schedule.Activity
	for _, a := range c.r.Activities {
		does := false
		switch s.Phase {
		case book.Ready:
			does = s.ID == "ready/check" && a.ID == "unpack veneer" || s.ID == "ready/coupons" && (a.Kind == schedule.Coupons)
		case book.Print:
			does = isLoad && (a.ID == "print load-"+load || a.ID == "take off load-"+load)
		case book.Inserts:
			does = a.Kind == schedule.Inserts
		case book.Glue:
			does = a.Kind == schedule.Glue && about(a.Of) // the body's own dry fit is a sentence of the same step
		case book.Ground:
			does = a.Kind == schedule.Ground
		case book.Measure:
			does = a.Kind == schedule.Measure
		case book.Cut:
			does = isBlank && a.Kind == schedule.Cut && a.Of == "blank-"+blank
		case book.Lay:
			does = (a.Kind == schedule.Lay || a.Kind == schedule.Trim) && slices.ContainsFunc(s.Parts, func(p string) bool { return isOf(a, p) })
		case book.Join:
			does = a.Kind == schedule.Join && slices.ContainsFunc(strings.Split(a.Of, "+"), about)
		case book.Finish:
			does = s.ID == "finish/sand" && a.Kind == schedule.Sand || a.Kind == schedule.Finish && (a.Of == schedule.Sample && s.ID == "finish/sample" || a.Of != schedule.Sample && s.ID == "finish/coats")
		case book.Assemble:
			again := a.ID == "retighten" || a.ID == "fit plugs"
			does = a.Kind == schedule.Assemble && again == (s.ID == "assemble/again")
		}
		if does {
			out = append(out, a)
		}
	}
	return out
}

// isOf is whether laying or trimming is of a leaf: "trim top/edge-1", and "lap
// top/edge-1/lap-1", are of "top/edge-1/band-2".
func isOf(a schedule.Activity, leaf string) bool {
	of, _, _ := strings.Cut(a.Of, "/lap-")
	return of == leaf || of != "" && (a.Kind == schedule.Trim || of != a.Of) && strings.HasPrefix(leaf, of+"/")
}

// on is the bodies that an activity has to do with; none for what is of the whole
// piece.
func (c *checker) on(a schedule.Activity) []string {
	switch a.Kind {
	case schedule.Print, schedule.TakeOff:
		var bodies []string
		for _, l := range c.in.Printing.Loads {
			if l.ID != a.Of {
				continue
			}
			for _, p := range l.Items {
				for _, s := range c.in.Seams.Segments {
					if s.ID == c.in.Printing.Prints[p.Print].Segment {
						bodies = append(bodies, c.in.Seams.Bodies[s.Body].ID)
					}
				}
			}
		}
		return bodies
	case schedule.Cut:
		var bodies []string
		for _, p := range c.in.Sheets.Placements {
			if m := c.in.Patterns[p.Pattern].Member; m >= 0 && p.Blank >= 0 && c.in.Sheets.Blanks[p.Blank].ID == a.Of {
				bodies = append(bodies, c.idOf(m))
			}
		}
		return bodies
	case schedule.Ground, schedule.Sand, schedule.Finish:
		if a.Of == schedule.Sample { // all wait for it
			return nil
		}
		return []string{a.Of} // plugs too: they are beside the piece
	case schedule.Lay, schedule.Trim:
		if b := c.where(a); b != nil {
			return b
		}
		for _, l := range c.in.Layout.Laps {
			if l.ID == a.Of {
				return []string{c.idOf(l.Member)}
			}
		}
		return []string{"plugs"}
	}
	return c.where(a)
}

// leaves are the patterns on a blank.
func (c *checker) leaves(blank string) (ids []string) {
	for _, p := range c.in.Sheets.Placements {
		if p.Blank >= 0 && c.in.Sheets.Blanks[p.Blank].ID == blank {
			ids = append(ids, c.in.Patterns[p.Pattern].ID)
		}
	}
	return ids
}

// There is one order of work: what a step of the bench book needs is done, in the
// calendar too, before the step, on every body that both are about.
func TestBookAndCalendarAgree(t *testing.T) {
	for _, name := range specimen.Names {
		t.Run(name, func(t *testing.T) {
			in := givenPiece(t, name)
			pl := plans.Of(t, name)
			k, err := specimen.Kernel()
			if err != nil {
				t.Fatal(err)
			}
			apart, err := scene.TakeApart(context.Background(), k, pl, false, 0)
			if err != nil {
				t.Fatal(err)
			}
			steps := book.Steps(book.Inputs{Plan: pl}, apart, unit.Metric)
			o := schedule.Options{Start: monday, NoRemedies: true, Coupons: true}
			r := held(t, in, o)
			compared, told := agree(t, &checker{in: in, r: r}, steps, t.Errorf)
			for _, a := range r.Activities {
				switch {
				case told[a.ID], a.Kind == schedule.HandOver, a.Kind == schedule.DryFit, a.Of == "coupons":
				case strings.HasPrefix(a.ID, "unpack"):
				default:
					t.Errorf("the book has no step for %s", a.ID)
				}
			}
			t.Logf("%d steps, %d pairs of activities", len(steps), compared)

			// Turned round, it is seen.
			faults := 0
			for i := range r.Activities {
				r.Activities[i].Start, r.Activities[i].End = -r.Activities[i].End, -r.Activities[i].Start
			}
			agree(t, &checker{in: in, r: r}, steps, func(string, ...any) { faults++ })
			if faults != compared {
				t.Errorf("of %d pairs turned round, %d are seen", compared, faults)
			}
		})
	}
}

// agree compares every step with all that it needs, and what those need.
func agree(t *testing.T, c *checker, steps []book.Step, fault func(string, ...any)) (compared int, told map[string]bool) {
	t.Helper()
	told = map[string]bool{}
	does := map[string][]schedule.Activity{}
	needs := map[string]map[string]bool{} // all of them
	for _, s := range steps {
		does[s.ID] = inBook(c, s)
		for _, a := range does[s.ID] {
			told[a.ID] = true
		}
		all := map[string]bool{}
		for _, n := range s.Needs {
			all[n] = true
			for m := range needs[n] {
				all[m] = true
			}
		}
		needs[s.ID] = all
		for n := range all {
			if s.Phase == book.Assemble && strings.HasPrefix(n, "assemble/") && s.ID != "assemble/again" {
				continue // moves of one sitting, which is one activity
			}
			for _, a := range does[n] {
				for _, b := range does[s.ID] {
					x, y := c.on(a), c.on(b)
					if x != nil && y != nil && !slices.ContainsFunc(x, func(id string) bool { return slices.Contains(y, id) }) {
						continue
					}
					if len(x) == 1 && x[0] == "plugs" && y == nil || len(y) == 1 && y[0] == "plugs" && x == nil {
						continue // beside the piece until they are pressed in
					}
					if a.Kind == schedule.Cut && (b.Kind == schedule.Lay || b.Kind == schedule.Trim) && !slices.ContainsFunc(c.leaves(a.Of), func(p string) bool { return isOf(b, p) }) {
						continue // the calendar goes leaf by leaf: others of the body may come from later blanks
					}
					compared++
					if b.Start < a.End {
						fault("%s", fmt.Sprintf("the book has %s before %s, the calendar %s at %.0f and %s until %.0f", n, s.ID, b.ID, b.Start, a.ID, a.End))
					}
				}
			}
		}
	}
	return compared, told
}
