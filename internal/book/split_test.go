package book

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/fixture"
	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/schedule"
	"groundwork/internal/strength"
	"groundwork/internal/unit"
)

// sentAs is an example's plan with a kit of another split, made anew.
func sentAs(t *testing.T, name string, s kit.Split) *plan.Plan {
	t.Helper()
	pl := *planned(t, name)
	k, err := kit.Make(context.Background(), kit.Inputs{
		Piece: pl.Piece, Shop: pl.Shop, Joints: pl.Joints, Layout: pl.Layout, Patterns: pl.Patterns, Seams: pl.Seams, Cores: pl.Cores,
		Printing: pl.Printing, Sheets: pl.Sheets, Bill: pl.Bill, Fixtures: pl.Fixtures, FixturePrinting: pl.FixturePrinting,
	}, kit.Options{Split: s})
	if err != nil {
		t.Fatal(err)
	}
	pl.Kit = k
	return &pl
}

// Each reader finds what is theirs, and nothing that they cannot do.
func TestSplits(t *testing.T) {
	for _, c := range []struct {
		split       kit.Split
		has, hasNot []string
	}{
		{kit.Ready, []string{"For who unpacks the box", "The calendar", "How it was made", "A blanket"}, []string{"veneer follows"}},
		{kit.Cores, []string{"pushes the segments together on their dowels, dry", "Fixtures in the box", "The seller's coupons", "The seller does this.", "Have ready", "The seller's own", "piece of ABS", "offcut of oak", "to be melted in for practice"},
			[]string{"The calendar", "For who unpacks", "use a larger printer", "veneer follows"}},
		{kit.Leaves, []string{"The veneer follows in a box of its own", "It follows later", "Fixtures to make first", "for fixtures and coupons", "The seller's coupons"}, []string{"The calendar", "Fixtures in the box"}},
	} {
		pl := sentAs(t, "otter-stool", c.split)
		b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: pl}, Options{NoTemplates: true})
		if err != nil {
			t.Fatal(err)
		}
		said := squeezed(b)
		tight := func(s string) string { return strings.ReplaceAll(s, " ", "") }
		for _, s := range append(c.has, "330 mm wide, 330 mm deep, 440 mm high", "How it bears its loads has not been worked out", "Where the cautions come from", "box, wrapping and filling") {
			if !strings.Contains(said, tight(s)) {
				t.Errorf("%s: the book lacks %q", c.split, s)
			}
		}
		for _, s := range c.hasNot {
			if strings.Contains(said, tight(s)) {
				t.Errorf("%s: the book has %q", c.split, s)
			}
		}
		for _, j := range pl.Joints.Joints[:1] {
			w := &writer{artist: &artist{planner: &planner{pl: pl}}}
			for _, bore := range j.Bores {
				if bore.Depth >= 1 && !strings.Contains(said, tight(w.fit(bore.Diameter)+" wide")) {
					t.Errorf("%s: no bore of %s", c.split, w.fit(bore.Diameter))
				}
			}
		}
		// Nobody waits for what comes later, and the buyer of cores measures nothing.
		a, err := takeApart(t, pl)
		if err != nil {
			t.Fatal(err)
		}
		done := map[string]bool{}
		for _, s := range Steps(Inputs{Plan: pl, Revision: "R-1"}, a, 0) {
			for _, n := range s.Needs {
				if !done[n] {
					t.Errorf("%s: %s needs %s, which does not stand before it", c.split, s.ID, n)
				}
			}
			done[s.ID] = true
			switch s.ID {
			case "measure/all":
				if glued := slices.ContainsFunc(s.Needs, func(n string) bool { return strings.HasPrefix(n, "glue/") }); glued == (c.split == kit.Cores) {
					t.Errorf("%s: measured when glued: %v", c.split, glued)
				}
				if told := s.names("send a picture"); told != (c.split == kit.Leaves) {
					t.Errorf("%s: figures are sent: %v", c.split, told)
				}
			case "measure/fit":
				if len(s.Tables) > 0 {
					t.Error("the buyer of cores measures")
				}
			}
		}
		if done["measure/fit"] != (c.split == kit.Cores) {
			t.Errorf("%s: a dry fit of its own: %v", c.split, done["measure/fit"])
		}
		// The masses of each box and of what is in it come to that of the parcel.
		for _, q := range pl.Kit.Parcels {
			sum := q.Packing
			for _, i := range q.Things {
				sum += pl.Kit.Things[i].Mass
			}
			if d := sum - q.Mass; d > 1e-6 || d < -1e-6 {
				t.Errorf("%s: %s holds %g g and weighs %g g", c.split, q.ID, sum, q.Mass)
			}
		}
	}
}

// The books for every reader are written as that of a piece sent ready is: no writing
// lies over other, and the totals are the plan's, as are the masses of the parcels.
func TestSplitsAreWritten(t *testing.T) {
	for _, s := range []kit.Split{kit.Ready, kit.Cores, kit.Leaves} {
		pl := sentAs(t, "heron-side-table", s)
		b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: pl, Maker: "The workshop in the yard"}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		wellWritten(t, string(s), b)
		said := strings.ReplaceAll(saidIn(b), "\n", " ")
		for _, want := range totals(pl) {
			if !strings.Contains(said, want) {
				t.Errorf("%s: the book lacks %q", s, want)
			}
		}
		for _, q := range pl.Kit.Parcels {
			if m := unit.FormatMass(q.Mass); !strings.Contains(said, m) {
				t.Errorf("%s: the book does not tell that %s weighs %s", s, q.ID, m)
			}
		}
		if !strings.Contains(said, "Kit revision "+pl.Kit.Revision) {
			t.Errorf("%s: the book lacks its revision", s)
		}
	}
}

// Loads are printed in the order of the calendar: in the table of all of them, and in
// the steps. The table has every load once, its printer and filament, and all that
// lies on it.
func TestLoadsInOrder(t *testing.T) {
	queued := 0
	for _, name := range examplesHere {
		pl := planned(t, name)
		starts, machines := map[string]float64{}, map[string]string{}
		for _, a := range pl.Schedule.Activities {
			if a.Kind == schedule.Print {
				starts[a.Of], machines[a.Of] = a.Start, a.Machine
			}
		}
		var table [][]string
		before := map[string]float64{}
		for _, s := range stepsOf(t, pl) {
			for prefix, calls := range map[string]string{"print/load-": "load-", "ready/fixtures/load-": schedule.FixtureLoad + "load-"} {
				if n, ok := strings.CutPrefix(s.ID, prefix); ok {
					at := starts[calls+n]
					if at < before[prefix] {
						t.Errorf("%s: %s stands after what is printed later", name, s.ID)
					}
					before[prefix] = at
				}
			}
			if s.ID == "print/how" {
				table = s.Tables[0].Rows
				if !s.Tables[0].Tick {
					t.Errorf("%s: loads cannot be ticked off", name)
				}
			}
		}
		contents := map[string][]string{}
		filament := map[string]string{}
		for prefix, r := range map[string]*printing.Result{"": pl.Printing, schedule.FixtureLoad: pl.FixturePrinting} {
			if r == nil {
				continue
			}
			for _, l := range r.Loads {
				filament[prefix+l.ID] = l.Filament
				for _, it := range l.Items {
					contents[prefix+l.ID] = append(contents[prefix+l.ID], r.Prints[it.Print].Segment)
				}
			}
		}
		last := 0.0
		for i, r := range table {
			load := r[1]
			if r[0] != fmt.Sprint(i+1) || starts[load] < last || r[2] != machines[load] && machines[load] != "" || r[3] != filament[load] {
				t.Errorf("%s: row %d is %q; it begins at %g, the one before at %g, on %s in %s", name, i+1, r, starts[load], last, machines[load], filament[load])
			}
			last = starts[load]
			n := 0
			for _, x := range strings.Split(r[4], ", ") {
				k := 1
				fmt.Sscanf(x, "%d x", &k)
				n += k
			}
			if n != len(contents[load]) {
				t.Errorf("%s: %s has %q, there are %q on it", name, load, r[4], contents[load])
			}
			delete(contents, load)
			queued++
		}
		if len(contents) > 0 {
			t.Errorf("%s: not in the table: %v", name, contents)
		}
	}
	if queued < 10 {
		t.Errorf("only %d loads", queued)
	}
}

// Whose a step is.
func TestWhose(t *testing.T) {
	for _, c := range []struct {
		id                   string
		ph                   Phase
		ready, cores, leaves string
	}{
		{"ready/check", Ready, seller, buyer, buyer}, {"ready/coupons", Ready, seller, seller, buyer}, {"ready/fixtures/load-01", Ready, seller, seller, buyer},
		{"measure/all", Measure, seller, seller, buyer}, {"measure/fit", Measure, seller, buyer, buyer}, {"cut/blank-01", Cut, seller, seller, seller},
		{"use/all", Use, buyer, buyer, buyer},
	} {
		for s, want := range map[kit.Split]string{"": "", kit.Ready: c.ready, kit.Cores: c.cores, kit.Leaves: c.leaves} {
			p := &planner{pl: &plan.Plan{}}
			if s != "" {
				p.pl.Kit = &kit.Result{Split: s}
			}
			if got := p.whose(Step{ID: c.id, Phase: c.ph}); got != want {
				t.Errorf("%s with %q: %q, want %q", c.id, s, got, want)
			}
		}
	}
}

// Loads of one kind are told once; weight laid on against tipping is none.
func TestLoads(t *testing.T) {
	got := loads([]strength.Case{
		{Kind: strength.Dead, Judged: true, What: "Its own weight."},
		{Judged: true, What: "1000 N pressed down on a disc of 100 mm in the middle of the top."},
		{Judged: true, What: "1000 N pressed down on a disc of 100 mm at the middle of a long side of the top. 25 kg lie on the top so that it does not tip."},
		{What: "It is dropped."},
		{Judged: true, What: "0.65 kg/dm² for months on shelf, 2.62 kg in all."},
	})
	if want := []string{"1000 N pressed down on a disc of 100 mm (in 2 places or ways)", "0.65 kg/dm² for months on shelf, 2.62 kg in all"}; !slices.Equal(got, want) {
		t.Errorf("%q", got)
	}
}

// A caul that may be printed or sawn takes boards only where it is sawn, and its
// template says how many are needed.
func TestAlternative(t *testing.T) {
	tp := fixture.Template{ID: "caul/1", Material: "scrap board", Thickness: 30, Quantity: 1}
	x := fixture.Fixture{ID: "caul/1", Kind: fixture.Caul, Parts: []fixture.Part{{ID: "caul/1", Filament: "pla", Quantity: 2}}, Templates: []fixture.Template{tp}}
	if !alternative(x, tp) || needed(x, tp) != 2 {
		t.Errorf("%v, %d", alternative(x, tp), needed(x, tp))
	}
	tp.Sheet.Width, tp.Sheet.Height = 80, 40
	x.Templates[0] = tp
	pl := planned(t, "otter-stool")
	w := &writer{artist: &artist{planner: &planner{pl: pl}}}
	rows := boards(w, []fixture.Fixture{x})
	if len(rows) != 1 || rows[0][0] != "scrap board, 30 mm thick" || rows[0][1] != "2 pieces" || !strings.HasPrefix(rows[0][2], "only if they are sawn") {
		t.Errorf("%q", rows)
	}
}
