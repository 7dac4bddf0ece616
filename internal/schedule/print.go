package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/printing"
	"groundwork/internal/project"
)

// print adds coupons and every load, and tells which bodies and fixtures come
// off which.
func (n *net) print(o Options) {
	in := n.in
	n.printed = make([][]int, len(in.Seams.Bodies))
	bodyOf := map[string]int{}
	for _, s := range in.Seams.Segments {
		bodyOf[s.ID] = s.Body
	}
	serve := n.servers()

	// off tells which fixtures have parts on a load of theirs.
	off := func(l printing.Load, taken int) (coupon bool) {
		for _, p := range l.Items {
			k, ok := serve[withoutCopy(in.FixturePrinting.Prints[p.Print].Segment)]
			if !ok {
				continue
			}
			coupon = coupon || in.Fixtures.Fixtures[k].Kind == fixture.Coupon
			if taken >= 0 && !slices.Contains(n.made[k], taken) {
				n.made[k] = append(n.made[k], taken)
			}
		}
		return coupon
	}

	// Coupons teach fits and shrinkage: whatever else is printed comes after them.
	var first []int
	if in.FixturePrinting != nil && o.Coupons {
		for i, l := range in.FixturePrinting.Loads {
			if off(l, -1) {
				first = append(first, i)
				n.coupons = append(n.coupons, n.load(FixtureLoad+l.ID, l, n.handIn(bill.Fixtures, bill.Loading, l.ID), nil))
				off(l, n.coupons[len(n.coupons)-1])
			}
		}
	}
	if o.Coupons {
		if len(first) == 0 && len(in.Shop.Printers) > 0 {
			n.coupons = []int{n.load("coupons", printing.Load{ID: "coupons", Printer: in.Shop.Printers[0].ID, Seconds: guessPrint}, 0, nil)}
		}
		billed := n.handIn(bill.Fixtures, bill.Testing, bill.Coupons)
		t := billed
		if t == 0 {
			t = guessTests
		}
		tests := n.work(task{id: "test coupons", kind: Coupons, of: "coupons", hand: t, bill: billed, after: after(n.coupons...), note: "measure them, and enter what they say in the shop file"})
		n.coupons = []int{tests}
	}
	n.handIn(bill.Fixtures, bill.Testing, bill.Coupons) // done before, if it is not asked for

	n.first = len(n.loads)
	for _, l := range in.Printing.Loads {
		taken := n.load(l.ID, l, n.hand(bill.Loading, l.ID), n.coupons)
		for _, p := range l.Items {
			if b, ok := bodyOf[in.Printing.Prints[p.Print].Segment]; ok && !slices.Contains(n.printed[b], taken) {
				n.printed[b] = append(n.printed[b], taken)
			}
		}
	}
	if in.FixturePrinting == nil {
		return
	}
	for i, l := range in.FixturePrinting.Loads {
		if !slices.Contains(first, i) {
			off(l, n.load(FixtureLoad+l.ID, l, n.handIn(bill.Fixtures, bill.Loading, l.ID), n.coupons))
		}
	}
}

// servers tells of which fixture a part is.
func (n *net) servers() map[string]int {
	of := map[string]int{}
	if n.in.Fixtures == nil {
		return of
	}
	for i, f := range n.in.Fixtures.Fixtures {
		for _, p := range f.Parts {
			of[p.ID] = i
		}
	}
	return of
}

// withoutCopy is a part's ID without the number of its copy.
func withoutCopy(id string) string {
	if i := strings.LastIndexByte(id, '.'); i >= 0 && strings.Trim(id[i+1:], "0123456789") == "" {
		return id[:i]
	}
	return id
}

// load adds the print of a load and its taking off, for which the bill counts so
// many seconds. Where it counts none they are guessed. It is told by its name, for
// fixtures have loads with IDs like the piece's.
func (n *net) load(name string, l printing.Load, counted int64, before []int) int {
	hand := counted
	if hand == 0 {
		hand = guessLoad
	}
	start := int64(math.Round(loadHalf * float64(hand)))
	off := hand - start
	bill := func(s int64) int64 {
		if counted > 0 {
			return s
		}
		return 0
	}
	seconds := int64(math.Ceil(l.Seconds))
	p := task{id: "print " + name, kind: Print, of: name, hand: start, bill: bill(start), long: start + seconds, after: after(before...)}
	printer := n.printer(l.Printer)
	if printer >= 0 {
		u := use{resource: printer, amount: 1, hours: project.Unattended}
		if !n.in.Shop.Work.NightPrinting {
			u.hours = project.Attended
			if most := n.hours.longestRoom; p.long > most {
				u.hours = project.Unattended
				n.found(finding.Finding{
					Severity: finding.Stop, Code: "load-too-long", Subject: name,
					Message: fmt.Sprintf("%s prints for %s, but the shop is never open longer than %s and does not print when nobody is there; the calendar lets it go on", name, span(float64(p.long)), span(float64(most))),
					Remedy:  "allow night_printing in the shop's section work; or take a printer with a smaller bed, so that loads are smaller", Source: "the shop's section work",
				})
			}
		}
		p.uses = append(p.uses, u)
	}
	p.uses = append(p.uses, use{resource: person, amount: 1, to: start, hours: project.Attended})
	print := n.add(p)
	t := task{id: "take off " + name, kind: TakeOff, of: name, hand: off, bill: bill(off), after: after(print)}
	if printer >= 0 {
		t.uses = append(t.uses, use{resource: printer, amount: 1, hours: project.Unattended})
	}
	last := n.work(t)
	if printer >= 0 {
		n.loads = append(n.loads, load{resource: printer, print: print, off: last, high: int64(math.Ceil(max(l.High, l.Seconds)))})
	}
	return last
}

// tools waits for the fixtures that a step of the job needs for some of what
// they serve; fixtures that name none of it serve all of the step.
func (n *net) tools(step fixture.Step, ids ...string) []wait {
	if n.in.Fixtures == nil {
		return nil
	}
	var ws []wait
	for i, f := range n.in.Fixtures.Fixtures {
		if f.Step != step {
			continue
		}
		if len(f.Serves) == 0 || slices.ContainsFunc(f.Serves, func(s string) bool { return slices.Contains(ids, s) }) {
			ws = append(ws, lagged(0, "its "+string(f.Kind), n.made[i]...)...)
		}
	}
	return ws
}

// named waits for fixtures by their IDs.
func (n *net) named(ids []string) []wait {
	var ws []wait
	for i, f := range n.in.Fixtures.Fixtures {
		if slices.Contains(ids, f.ID) {
			ws = append(ws, lagged(0, "its "+string(f.Kind), n.made[i]...)...)
		}
	}
	return ws
}
