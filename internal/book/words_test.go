package book

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

func plannerOf(t *testing.T, name string) *planner {
	t.Helper()
	pl := planned(t, name)
	a, err := takeApart(t, pl)
	if err != nil {
		t.Fatal(err)
	}
	return newPlanner(Inputs{Plan: pl}, a, unit.Metric)
}

// wordsOf is all that the steps of a phase say.
func wordsOf(t *testing.T, name string, ph Phase) string {
	t.Helper()
	var out []string
	for _, s := range stepsOf(t, planned(t, name)) {
		if s.Phase == ph {
			out = append(append(out, s.Title), s.Does...)
			for _, x := range s.Tables {
				for _, r := range x.Rows {
					out = append(out, r...)
				}
			}
		}
	}
	return strings.Join(out, "\n")
}

// Times are those that the calendar reckons with, also where the shop's are not
// the usual ones.
func TestTimesOfTheShop(t *testing.T) {
	pl := *planned(t, "otter-stool")
	sh := *pl.Shop
	w := &sh.Work
	// Every one another, and none a number that stands elsewhere.
	w.GlueHold, w.GlueCure, w.FillerDry, w.SealerDry = 61*60, 62*60, 63*60, 64*60
	w.Acclimatise, w.BondFirst, w.BondWork, w.BondFull = 65*60, 66*60, 67*60, 68*60
	w.Recoat, w.Handle, w.Cure, w.Retighten = 69*60, 71*60, 72*60, 73*60
	pl.Shop = &sh
	a, err := takeApart(t, &pl)
	if err != nil {
		t.Fatal(err)
	}
	text := map[Phase]string{}
	waits := map[Phase]float64{}
	for _, s := range Steps(Inputs{Plan: &pl}, a, unit.Metric) {
		text[s.Phase] += s.Title + "\n" + strings.Join(s.Does, "\n")
		for _, x := range s.Tables {
			text[s.Phase] += fmt.Sprint(x.Rows)
		}
		waits[s.Phase] = max(waits[s.Phase], s.Wait)
	}
	for _, c := range []struct {
		ph Phase
		s  float64
	}{{Ready, w.Acclimatise}, {Glue, w.GlueHold}, {Glue, w.GlueCure}, {Ground, w.FillerDry}, {Ground, w.SealerDry}, {Lay, w.BondFirst}, {Lay, w.Retighten},
		{Finish, w.BondWork}, {Finish, w.BondFull}, {Finish, w.Recoat}, {Finish, w.Handle}, {Finish, w.Cure}, {Assemble, w.Retighten}} {
		if !strings.Contains(text[c.ph], unit.FormatDuration(c.s)) {
			t.Errorf("%s does not tell of %s", c.ph, unit.FormatDuration(c.s))
		}
	}
	for ph, want := range map[Phase]float64{Ready: w.Acclimatise, Glue: w.GlueCure, Ground: w.SealerDry, Lay: w.BondWork, Finish: w.Handle, Assemble: w.Retighten} {
		if waits[ph] != want {
			t.Errorf("%s waits for %g s, the calendar for %g", ph, waits[ph], want)
		}
	}
	if want := fmt.Sprintf("Wipe on %d coats", bill.Coats); !strings.Contains(text[Finish], want) {
		t.Errorf("the finish lacks %q", want)
	}
	for ph, s := range text {
		for _, old := range []string{"three days", "a day after", "A day after", "two days", "24 h", "four to six", "12 h"} {
			if strings.Contains(s, old) {
				t.Errorf("%s still says %q", ph, old)
			}
		}
	}
}

// What is told of pins is what the plan has: those that are pierced and those
// that are not make up a lap, and the bill counts both.
func TestPins(t *testing.T) {
	for _, name := range examplesHere {
		p := plannerOf(t, name)
		all := 0
		for _, l := range p.pl.Layout.Laps {
			all += len(l.Pins)
			n := slices.IndexFunc(p.pl.Patterns, func(q veneer.Pattern) bool { return q.Lap == l.ID })
			pt := p.pl.Patterns[n]
			want := fmt.Sprintf("%d in each lap", len(l.Pins))
			pierced := fmt.Sprintf("the %d pierced holes", len(pt.Pins))
			more := fmt.Sprintf("Prick %d more", len(l.Pins)-len(pt.Pins))
			said := wordsOf(t, name, Lay)
			for _, s := range []string{want, pierced, more} {
				if !strings.Contains(said, s) {
					t.Errorf("%s: %s lacks %q", name, l.ID, s)
				}
			}
			// They go through both layers: inside the lap.
			if d := p.pricked(l); d <= 0 || d >= l.Length {
				t.Errorf("%s: %s is pricked %.1f mm from its inner end, of %.1f", name, l.ID, d, l.Length)
			}
		}
		var billed float64
		for _, l := range p.pl.Bill.Lines {
			if strings.HasPrefix(l.Item, "pin ") {
				billed += l.Quantity
			}
		}
		if billed != float64(all) {
			t.Errorf("%s: %g pins on the bill, %d in laps", name, billed, all)
		}
	}
}

// A lap lies between two neighbours, each band has one above and one beneath, and
// fingers never go down on what is not there.
func TestLapOrder(t *testing.T) {
	for _, name := range examplesHere {
		p := plannerOf(t, name)
		for _, r := range p.pl.Layout.Bands {
			if len(r.Laps) == 0 {
				continue
			}
			var order, over, under []string
			for _, pt := range bandsOf(p.pl, r.Member, r.Surface) {
				order = append(order, pt.ID)
			}
			for _, l := range r.Laps {
				over, under = append(over, p.over(l)), append(under, p.under(l))
			}
			slices.Sort(over)
			slices.Sort(under)
			if !r.Closed || !slices.Equal(over, order) || !slices.Equal(under, order) {
				t.Errorf("%s: %s of %v: above %v, beneath %v", name, r.ID, order, over, under)
			}
			s := p.runWords(r, order)
			// Wherever a band's fingers are laid, what lies beneath has been laid in the text.
			for _, l := range r.Laps {
				a, b := strings.TrimPrefix(p.over(l), r.ID+"/"), strings.TrimPrefix(p.under(l), r.ID+"/")
				lies := strings.Index(s, "Lay "+b)
				down := strings.Index(s, "the fingers of "+a+": take")
				if slices.Index(order, p.over(l)) > slices.Index(order, p.under(l)) {
					down = strings.Index(s, "Lay "+a+", its fingers over the plain end of "+b)
				}
				if lies < 0 || down < lies {
					t.Errorf("%s: %s: %s on %s: %q", name, r.ID, a, b, s)
				}
			}
			// The laps that are told lie where the patterns meet: over the plain end of the
			// band beneath, which the two leaves share.
			for _, id := range r.Laps {
				lying := veneer.Lying(p.pl.Layout)
				var at [2]geom.Vec3
				for i, band := range []string{p.over(id), p.under(id)} {
					pt := p.pl.Patterns[slices.IndexFunc(p.pl.Patterns, func(q veneer.Pattern) bool { return q.ID == band })]
					l, _ := lying(pt)
					b := pt.Net.Bounds()
					x := b.Min.X // the plain end
					if i == 0 {
						lap := p.pl.Layout.Laps[slices.IndexFunc(p.pl.Layout.Laps, func(l veneer.Lap) bool { return l.ID == id })]
						x = b.Max.X - lap.Length
					}
					at[i], _ = l.At(geom.V2(x, b.Center().Y))
				}
				if d := at[0].Dist(at[1]); d > 1 {
					t.Errorf("%s: %s: the band beneath begins %.2f mm from the dashed line", name, id, d)
				}
			}
		}
	}
}

// Girths of the stool's legs are those of a cone, by its closed form: 60 mm across
// over the veneer at the top of its profile and 47 mm at the foot or what the
// piece file says, less two thicknesses.
func TestGirths(t *testing.T) {
	p := plannerOf(t, "otter-stool")
	n := 0
	for _, pt := range p.pl.Patterns {
		if !pt.CutInPlace {
			continue
		}
		n++
		g := p.girths(pt)
		if len(g) != 2 || g[0].where != "near its lower end" && g[1].where != "near its lower end" {
			t.Fatalf("%s: %+v", pt.ID, g)
		}
		// Their difference over the length between them is 2π sin of half the cone's angle.
		profile := p.pl.Piece.Members[pt.Member].Turning.Profile.Flatten(0.01)
		a, b := profile[0].P, profile[len(profile)-1].P
		sine := math.Abs(a.X-b.X) / a.Dist(b)
		column := section(pt.Net, geom.V2(1, 0), pt.Net.Bounds().Center().X)
		want := 2 * math.Pi * sine * (column.Size().Y - 2*girthIn)
		if got := math.Abs(g[0].length - g[1].length); math.Abs(got-want) > 0.02*want {
			t.Errorf("%s: girths differ by %.2f mm, by the cone's slope %.2f", pt.ID, got, want)
		}
		for _, x := range g { // between the core's ends
			low, high := 2*math.Pi*(min(a.X, b.X)-1), 2*math.Pi*max(a.X, b.X)
			if x.length < low || x.length > high {
				t.Errorf("%s: %s %.1f mm, the leg has %.1f to %.1f", pt.ID, x.where, x.length, low, high)
			}
		}
		if p.grain(pt) != "along its length" {
			t.Errorf("%s: the grain runs %s", pt.ID, p.grain(pt))
		}
	}
	if n != 4 {
		t.Errorf("%d leaves close on themselves, the stool has four legs", n)
	}
	said := wordsOf(t, "otter-stool", Measure)
	for _, want := range []string{"leg-1/side-1, near its upper end", "seat/edge-1", "joint-1/plug-1"} {
		if !strings.Contains(said, want) {
			t.Errorf("nothing is measured of %s", want)
		}
	}
	if strings.Contains(wordsOf(t, "heron-side-table", Measure), "0 opening") {
		t.Error("leaves are looked at by no openings")
	}
}

// The diagonals of the table's end frames, by hand from the piece file: legs of
// 518 mm whose outer edges stand 106 mm from the middle.
func TestSquare(t *testing.T) {
	p := plannerOf(t, "heron-side-table")
	frame := []string{"leg-1", "leg-3", "end-rail-1", "foot-rail-1"}
	said := p.square(frame)
	if turned := p.square([]string{"foot-rail-1", "end-rail-1", "leg-3", "leg-1"}); turned != said { // rails' outlines reach the legs' corners before their ends are cut
		t.Errorf("%q, and %q", said, turned)
	}
	d := math.Hypot(2*106, 518)
	if want := p.mm(d); strings.Count(said, " "+want) != 2 {
		t.Errorf("%q, want %s twice", said, want)
	}
	if got := p.square([]string{"top"}); strings.Contains(got, "diagonal") {
		t.Errorf("an ellipse has no corners: %q", got)
	}
	groups := p.frames(append(slices.Clone(frame), "leg-2", "leg-4", "end-rail-2", "foot-rail-2"), []string{"joint-9", "joint-10", "joint-12", "joint-13", "joint-15", "joint-16", "joint-18", "joint-19"})
	if len(groups) != 2 || len(groups[0]) != 4 || len(groups[1]) != 4 {
		t.Errorf("%v", groups)
	}
}

// The bores that are to be reamed are all bores of dowels, and no others.
func TestDowelBores(t *testing.T) {
	for _, name := range examplesHere {
		p := plannerOf(t, name)
		got, want := 0, 0
		for _, s := range p.pl.Cores.Segments {
			for _, x := range strings.Split(p.dowelBores(s.ID), ", ") {
				var n int
				fmt.Sscanf(x, "%d of", &n)
				got += n
			}
		}
		for _, s := range p.pl.Seams.Seams {
			want += 2 * len(s.Dowels)
		}
		for _, j := range p.pl.Joints.Joints {
			want += 2 * len(j.Dowels)
		}
		if got != want {
			t.Errorf("%s: %d bores to try dowels in, %d ends of dowels", name, got, want)
		}
	}
	// Beside the middle bore of a leg's end lies one of nearly its size.
	if s := wordsOf(t, "otter-stool", Inserts); strings.Count(s, "in the middle of the face") != 4 {
		t.Error("nothing tells the bore of the insert from the dowel's")
	}
}

// The stool is 440 mm high and its seat 30 mm thick, so that its legs, which end
// level, are 410 mm from end to end.
func TestParallel(t *testing.T) {
	for _, s := range stepsOf(t, planned(t, "otter-stool")) {
		if s.ID == "glue/how" && !strings.Contains(s.Does[4], "the legs dry on an end on a flat board, each by itself: the ends are parallel, 410 mm apart") {
			t.Errorf("%q", s.Does[4])
		}
	}
}

// Words of a clamping plan: forces for those without a gauge, one clamp is not
// drawn up in turn, and how long it stays.
func TestClampWords(t *testing.T) {
	pl := *planned(t, "otter-stool")
	sh := *pl.Shop
	sh.Work.GlueHold = 67 * 60
	pl.Shop = &sh
	p := &planner{Inputs: Inputs{Plan: &pl}, pl: &pl}
	c := fixture.ClampPlan{
		ID: "clamping/seat/1", Step: fixture.GlueSegments, Parts: []string{"seat.a", "seat.b"}, Frame: geom.World(),
		Presses: []fixture.Press{{Ends: make([]fixture.End, 1), Force: 174, Seams: []string{"seat/seam-1"}}, {Ends: make([]fixture.End, 2), Force: 50}},
		Words:   []string{"Lay the parts flat.", "Clamp in H4: 174 N.", "Draw all clamps up in turn until glue shows."},
	}
	for words, want := range map[string]bool{
		"Clamp in H4: 174 N, firm": true, "Draw the clamp up until": true, "in turn": false, "for 1 h 7 min": true,
		"faces below in the finished piece lies down": true, "Pads stand": true,
	} {
		if got := p.clampWords(c); strings.Contains(got, words) != want {
			t.Errorf("%q: %v in %q", words, !want, got)
		}
	}
	c.Step = fixture.GlueMembers
	if s := p.clampWords(c); strings.Contains(s, "Pads stand") {
		t.Errorf("veneer lies beside the pads: %q", s)
	}
	for f, want := range map[float64]string{9: "finger tight", 80: "finger tight", 81: "firm", 350: "firm", 351: "hard"} {
		if got := firmness(f); !strings.HasPrefix(got, want) {
			t.Errorf("%g N is %q", f, got)
		}
	}
	block := fixture.Fixture{When: fixture.Laid, Words: "Print it on its side. Cut. Print them lying."}
	if got := p.useWords(block); got != "From "+unit.FormatDuration(sh.Work.BondFirst)+" after laying on: cut." {
		t.Errorf("%q", got)
	}
}

// Parts that nothing joins yet are told to be held, those that stand are not.
func TestSteady(t *testing.T) {
	p := plannerOf(t, "otter-stool")
	legs := []string{"leg-1", "leg-2", "leg-3", "leg-4"}
	if s := p.steady([]string{"seat"}, legs, nil); len(s) != 1 || !strings.Contains(s[0], "The legs are loose") {
		t.Errorf("%q", s)
	}
	if s := p.steady([]string{"seat"}, legs, [][2]string{{"leg-1", "leg-2"}, {"leg-2", "leg-3"}, {"leg-4", "leg-3"}}); s != nil {
		t.Errorf("%q, but the legs are one frame", s)
	}
}

// Coupons: shrinkage before all, and plugs of the piece after their own.
func TestCouponsInOrder(t *testing.T) {
	for _, s := range stepsOf(t, planned(t, "otter-stool")) {
		if s.ID != "ready/coupons" {
			continue
		}
		last := -1
		for _, want := range []string{"*coupon/shrink-abs*", "Enter the shrinkage", "*coupon/holes*", "*coupon/plug*", "Print the plugs of the piece only after"} {
			n := slices.IndexFunc(s.Does, func(d string) bool { return strings.Contains(d, want) })
			if n <= last {
				t.Errorf("%q is sentence %d, after %d", want, n, last)
			}
			last = n
		}
	}
}
