package schedule_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"groundwork/internal/bill"
	"groundwork/internal/piece"
	"groundwork/internal/schedule"
)

// broken judges a calendar by the rules of the trade, from the piece's results
// and the shop alone: it shares nothing with what made it, and goes by names
// and times.
func broken(in schedule.Inputs, o schedule.Options, r *schedule.Result) []string {
	c := checker{in: in, r: r, w: map[string][2]float64{}}
	for _, a := range r.Activities {
		id, _, _ := strings.Cut(a.ID, " (")
		s, ok := c.w[id]
		if !ok {
			s = [2]float64{a.Start, a.End}
		}
		c.w[id] = [2]float64{min(s[0], a.Start), max(s[1], a.End)}
	}
	c.hours(o)
	c.machines()
	c.prints(o)
	c.cores()
	c.members()
	c.veneer()
	c.assembly()
	c.labour(o)
	return c.faults
}

type checker struct {
	in     schedule.Inputs
	r      *schedule.Result
	w      map[string][2]float64 // when, by ID, all parts together
	faults []string
}

func (c *checker) fault(format string, args ...any) {
	c.faults = append(c.faults, fmt.Sprintf(format, args...))
}

// after notes a fault unless both are in the calendar and the second begins so
// long after the first ends.
func (c *checker) after(first, second string, lag float64) {
	a, ok := c.w[first]
	b, ok2 := c.w[second]
	switch {
	case !ok:
		c.fault("%q is not in the calendar", first)
	case !ok2:
		c.fault("%q is not in the calendar", second)
	case b[0] < a[1]+lag-1e-6:
		c.fault("%s begins %.0f s after the end of %s, wants %.0f", second, b[0]-a[1], first, lag)
	}
}

// hours: hands are at work in working hours only, and there are no more than
// persons. Days are counted by package time.
func (c *checker) hours(o schedule.Options) {
	work := c.in.Shop.Work
	date := func(s float64) (time.Weekday, string) {
		n := int(s) / 86400
		if o.Start.IsZero() {
			return (time.Monday + time.Weekday(n)) % 7, ""
		}
		t := time.Date(o.Start.Year(), o.Start.Month(), o.Start.Day(), 12, 0, 0, 0, time.UTC).AddDate(0, 0, n)
		return t.Weekday(), t.Format(time.DateOnly)
	}
	free := map[string]bool{}
	for _, d := range work.Holidays {
		free[string(d)] = true
	}
	open := func(from, to float64) bool {
		for t := from; t < to-1e-6; {
			weekday, name := date(t)
			midnight := math.Floor(t/86400) * 86400
			next := t
			for _, s := range work.Hours.Of(weekday) {
				if !free[name] && midnight+s[0] <= next && next < midnight+s[1] {
					next = midnight + s[1]
				}
			}
			if next == t {
				return false
			}
			t = next
		}
		return true
	}
	var at []float64
	for _, a := range c.r.Activities {
		if a.Hand > 0 && !open(a.Start, a.Start+a.Hand) {
			c.fault("%s: hands work out of hours", a.ID)
		}
		if a.Kind == schedule.TakeOff && a.Hand == 0 {
			c.fault("%s: nobody", a.ID)
		}
		at = append(at, a.Start)
		if a.Start < 0 || a.End < a.Start {
			c.fault("%s: from %g to %g", a.ID, a.Start, a.End)
		}
		if !o.Start.IsZero() {
			if got := a.Begin.Hour()*3600 + a.Begin.Minute()*60 + a.Begin.Second(); got != int(a.Start)%86400 {
				c.fault("%s: dated %v for %g s", a.ID, a.Begin, a.Start)
			}
			if a.Begin.Before(o.Start) {
				c.fault("%s begins before the job", a.ID)
			}
		}
	}
	for _, t := range at {
		n := 0
		for _, a := range c.r.Activities {
			if a.Start <= t && t < a.Start+a.Hand {
				n++
			}
		}
		if n > work.Persons {
			c.fault("%d persons at work at %g, there are %d", n, t, work.Persons)
		}
	}
	// Where printers do not run alone, every print lies within one day of the shop.
	if !work.NightPrinting {
		tooLong := map[string]bool{}
		for _, f := range c.r.Findings {
			if f.Code == "load-too-long" {
				tooLong[f.Subject] = true
			}
		}
		for _, a := range c.r.Activities {
			if a.Kind != schedule.Print || tooLong[a.Of] {
				continue
			}
			for t := a.Start; t < a.End; t = math.Floor(t/86400)*86400 + 86400 {
				weekday, name := date(t)
				midnight := math.Floor(t/86400) * 86400
				ss := work.Hours.Of(weekday)
				if len(ss) == 0 || free[name] || t < midnight+ss[0][0] || min(a.End, midnight+86400) > midnight+ss[len(ss)-1][1] {
					c.fault("%s prints while the shop is closed", a.ID)
					break
				}
			}
		}
	}
}

// machines: clamps, laser and printers are not in two places, and a printer
// prints nothing while something still lies on it.
func (c *checker) machines() {
	count := map[string]int{"clamps": c.in.Shop.Work.Clamps, c.in.Sheets.Laser: 1}
	for _, p := range c.in.Shop.Printers {
		count[p.ID] = p.Count
	}
	for name, most := range count {
		for _, at := range c.r.Activities {
			n := 0
			for _, a := range c.r.Activities {
				for _, u := range a.Uses {
					if u.Resource == name && a.Start+u.From <= at.Start && at.Start < a.Start+u.To {
						n += u.Amount
					}
				}
			}
			if n > most {
				c.fault("%d of %s held at %g, there are %d", n, name, at.Start, most)
			}
		}
	}
	loads := map[string]bool{}
	for _, a := range c.r.Activities {
		if a.Kind == schedule.Print && loads[a.Of] {
			c.fault("two loads are %s", a.Of)
		}
		loads[a.Of] = loads[a.Of] || a.Kind == schedule.Print
	}
	busy := map[string]string{} // machine, and what lies on it
	for _, a := range c.r.Activities {
		switch {
		case a.Kind == schedule.Print && busy[a.Machine] != "":
			c.fault("%s begins while %s is still on %s", a.ID, busy[a.Machine], a.Machine)
		case a.Kind == schedule.Print:
			busy[a.Machine] = a.Of
		case a.Kind == schedule.TakeOff:
			if busy[a.Machine] != a.Of {
				c.fault("%s: not on %s", a.ID, a.Machine)
			}
			// Its own end frees the printer; what begins at the same moment follows in order.
			busy[a.Machine] = ""
			for _, b := range c.r.Activities {
				if b.Machine == a.Machine && b.ID != a.ID && b.Start < a.End && b.Start >= a.Start && b.Kind == schedule.Print {
					c.fault("%s begins before %s ends", b.ID, a.ID)
				}
			}
		}
	}
	machines := map[string]bool{}
	for _, a := range c.r.Activities {
		machines[a.Machine] = true
	}
	delete(machines, "")
	most := 0
	for _, p := range c.in.Shop.Printers {
		most += p.Count
	}
	if len(machines) > most {
		c.fault("%d printers at work, there are %d", len(machines), most)
	}
}

func (c *checker) prints(o schedule.Options) {
	for _, l := range c.in.Printing.Loads {
		if o.Coupons {
			c.after("test coupons", "print "+l.ID, 0)
		}
		c.after("print "+l.ID, "take off "+l.ID, 0)
		if s := c.w["print "+l.ID]; s[1]-s[0] < l.Seconds {
			c.fault("%s prints for %g s, wants %g", l.ID, s[1]-s[0], l.Seconds)
		}
	}
}

func (c *checker) ends(contact string) (ms []int) {
	for _, k := range c.in.Joints.Contacts {
		if k.ID == contact {
			ms = append(ms, k.A.Member, k.B.Member)
		}
	}
	for _, k := range c.in.Joints.Rounds {
		if k.ID == contact {
			ms = append(ms, k.A.Member, k.B.Member)
		}
	}
	return ms
}

// idOf is the body of a member.
func (c *checker) idOf(member int) string {
	for _, b := range c.in.Seams.Bodies {
		if slices.Contains(b.Members, member) {
			return b.ID
		}
	}
	return "?"
}

// named is every activity whose ID begins so, whole or in parts.
func (c *checker) named(prefixes ...string) []string {
	var ids []string
	for id := range c.w {
		for _, p := range prefixes {
			if id == p || strings.HasPrefix(id, p+"/") {
				ids = append(ids, id)
			}
		}
	}
	slices.Sort(ids)
	return ids
}

func (c *checker) bodies() (ids []string) {
	for _, b := range c.in.Seams.Bodies {
		ids = append(ids, b.ID)
	}
	return ids
}

// where is the bodies that an activity is at, by its name.
func (c *checker) where(a schedule.Activity) []string {
	id, _, _ := strings.Cut(a.ID, " (")
	switch a.Kind {
	case schedule.Lay, schedule.Trim:
		for m, it := range c.in.Piece.Members {
			if strings.HasPrefix(a.Of, it.ID+"/") {
				return []string{c.idOf(m)}
			}
		}
	case schedule.Inserts, schedule.DryFit, schedule.Ground, schedule.Sand, schedule.Finish:
		if a.Of != "plugs" && a.Of != schedule.Sample {
			return []string{a.Of}
		}
	case schedule.Measure:
		if id == "dry fit piece" {
			return c.bodies()
		}
		if a.Of != "piece" {
			return []string{a.Of}
		}
	case schedule.Glue, schedule.Join, schedule.Assemble:
		if strings.HasPrefix(id, "glue body ") {
			return []string{a.Of}
		}
		if id == "assemble piece" {
			return c.bodies()
		}
		var bodies []string
		for _, j := range c.in.Joints.Joints {
			if slices.Contains(strings.Split(a.Of, "+"), j.ID) {
				for _, m := range c.ends(j.Contact) {
					bodies = append(bodies, c.idOf(m))
				}
			}
		}
		return bodies
	}
	return nil
}

func (c *checker) cores() {
	// No core is in two places.
	until := map[string]schedule.Activity{}
	for _, a := range c.r.Activities { // by start
		for _, b := range c.where(a) {
			if before, ok := until[b]; ok && a.Start < before.End && before.ID != a.ID {
				c.fault("%s is at %s and at %s", b, before.ID, a.ID)
			}
			if a.End > until[b].End {
				until[b] = a
			}
		}
	}
	glueFree := c.in.Shop.Work.GlueCure - c.in.Shop.Work.GlueHold
	for b, it := range c.in.Seams.Bodies {
		seams := 0
		for _, s := range c.in.Seams.Seams {
			if s.Body == b {
				seams++
			}
		}
		// Every segment is off its printer before the body is put together, or prepared.
		next := "sand ground " + it.ID
		glue := c.named("glue body " + it.ID)
		if seams > 0 {
			next = "dry fit " + it.ID
			if len(glue) == 0 {
				c.fault("%s has %d seams and is not glued", it.ID, seams)
			}
			for _, g := range glue {
				c.after("dry fit "+it.ID, g, 0)
			}
		}
		if _, ok := c.w[next]; ok {
			for _, s := range c.in.Seams.Segments {
				if s.Body != b {
					continue
				}
				for _, l := range c.in.Printing.Loads {
					for _, p := range l.Items {
						if c.in.Printing.Prints[p.Print].Segment == s.ID {
							c.after("take off "+l.ID, next, 0)
						}
					}
				}
			}
		}
		inserts := 0
		for _, j := range c.in.Joints.Joints {
			for _, s := range j.Screws {
				if c.idOf(s.Into) == it.ID {
					inserts++
				}
			}
		}
		if _, ok := c.w["sand ground "+it.ID]; !ok {
			continue
		}
		if inserts > 0 {
			c.after("set inserts "+it.ID, "sand ground "+it.ID, 0) // before veneering
		}
		for _, g := range glue {
			first := "sand ground " + it.ID
			if seams > 0 {
				first = "fill " + it.ID
				c.after(first, "sand ground "+it.ID, c.in.Shop.Work.FillerDry)
			}
			c.after(g, first, max(0, glueFree))
			// Clamps stay on for as long as glue asks.
			for _, a := range c.r.Activities {
				if id, _, _ := strings.Cut(a.ID, " ("); id == g && a.End-a.Start-a.Hand < c.in.Shop.Work.GlueHold {
					c.fault("%s: out of its clamps too early", g)
				}
			}
		}
		c.after("sand ground "+it.ID, "seal "+it.ID, 0)
	}
}

// members: leaves are laid on loose members, and members glued when the leaves of
// both are trimmed and hold; what is glued then is sanded and coated as one.
func (c *checker) members() {
	w := c.in.Shop.Work
	for _, j := range c.in.Joints.Joints {
		ms := c.ends(j.Contact)
		if j.Kind != piece.Glued || len(ms) == 0 || c.idOf(ms[0]) == c.idOf(ms[1]) {
			continue
		}
		glue := ""
		for id := range c.w {
			if set, ok := strings.CutPrefix(id, "glue members "); ok && slices.Contains(strings.Split(set, "+"), j.ID) {
				glue = id
			}
		}
		if glue == "" {
			c.fault("%s is not glued", j.ID)
			continue
		}
		for _, a := range c.r.Activities {
			if id, _, _ := strings.Cut(a.ID, " ("); id == glue && a.End-a.Start-a.Hand < w.GlueHold {
				c.fault("%s: out of its clamps too early", glue)
			}
		}
		c.after("dry fit piece", glue, 0)
		for _, m := range ms {
			body := c.idOf(m)
			for _, g := range c.named("glue body " + body) {
				c.after(g, glue, max(0, w.GlueCure-w.GlueHold))
			}
			veneered := false
			for _, p := range c.in.Patterns {
				if p.Member < 0 || c.idOf(p.Member) != body {
					continue
				}
				veneered = true
				c.after("trim "+strings.Join(strings.Split(p.ID, "/")[:2], "/"), glue, 0)
				c.after("lay "+p.ID, glue, w.BondWork)
			}
			if !veneered {
				continue
			}
			c.after(glue, "sand "+body+" P180", max(0, w.GlueCure-w.GlueHold))
			// No dust of one on the wet coat of the other.
			for _, o := range ms {
				if _, ok := c.w["coat 1 "+c.idOf(o)]; ok {
					c.after("sand "+body+" P220", "coat 1 "+c.idOf(o), 0)
				}
			}
		}
	}
}

func (c *checker) veneer() {
	w := c.in.Shop.Work
	surfaceOf := func(i int) string {
		p := c.in.Patterns[i]
		if p.Member < 0 {
			return p.ID
		}
		return strings.Join(strings.Split(p.ID, "/")[:2], "/")
	}
	bodyOf := func(i int) string {
		if c.in.Patterns[i].Member < 0 {
			return "plugs"
		}
		return c.idOf(c.in.Patterns[i].Member)
	}
	if len(c.in.Patterns) > 0 { // the finish sample, of offcuts, its bond good for sanding
		for _, b := range c.in.Sheets.Blanks {
			c.after("cut "+b.ID, "lay sample", 0)
		}
		c.after("lay sample", "sand sample", w.BondWork)
		c.after("sand sample", "coat 1 sample", 0)
		for k := 1; k < 4; k++ {
			c.after(fmt.Sprintf("coat %d sample", k), fmt.Sprintf("coat %d sample", k+1), w.Recoat)
		}
	}
	for i, p := range c.in.Patterns {
		lay, body := "lay "+p.ID, bodyOf(i)
		c.after("seal "+body, lay, w.SealerDry)
		if _, ok := c.w["dry fit piece"]; ok && body != "plugs" { // the piece together on bare cores, before any leaf
			c.after("seal "+body, "dry fit piece", 0)
			c.after("dry fit piece", lay, 0)
		}
		c.after(lay, "trim "+surfaceOf(i), w.BondFirst)
		c.after("trim "+surfaceOf(i), "sand "+body+" P180", 0)
		c.after(lay, "sand "+body+" P180", w.BondWork)
		c.after(lay, "coat 1 "+body, w.BondFull)
		c.after("sand "+body+" P180", "sand "+body+" P220", 0)
		c.after("sand "+body+" P220", "coat 1 "+body, 0)
		for k := 1; k < 4; k++ {
			c.after(fmt.Sprintf("coat %d %s", k, body), fmt.Sprintf("coat %d %s", k+1, body), w.Recoat)
		}
		c.after("coat 4 "+body, "hand over", w.Cure)
		c.after("coat 4 sample", "coat 1 "+body, w.Handle) // no coat before the sample was seen
		for _, l := range c.in.Sheets.Placements {
			if l.Pattern != i || l.Blank < 0 {
				continue
			}
			cut := "cut " + c.in.Sheets.Blanks[l.Blank].ID
			c.after(cut, lay, 0)
			c.after("unpack veneer", cut, w.Acclimatise)
			if p.Release != "" {
				c.after("enter measures", cut, 0)
				if p.Member >= 0 {
					if _, ok := c.w["dry fit piece"]; ok {
						c.after("dry fit piece", "measure "+body, 0)
					}
					c.after("measure "+body, "enter measures", 0)
				}
			}
		}
		// Faces first or edges first: what the layout lays before is trimmed before.
		if p.Member < 0 {
			continue
		}
		for j, q := range c.in.Patterns {
			if q.Member != p.Member {
				continue
			}
			order := c.in.Layout.Order[p.Member]
			if slices.Index(order, q.Surface) < slices.Index(order, p.Surface) {
				c.after("trim "+surfaceOf(j), lay, 0)
			}
		}
	}
	for _, l := range c.in.Layout.Laps {
		for i, p := range c.in.Patterns {
			if p.Member == l.Member && p.Surface == l.Surface {
				c.after("lay "+p.ID, "lap "+l.ID, 0)
				c.after("lap "+l.ID, "trim "+surfaceOf(i), w.BondFirst)
			}
		}
	}
}

func (c *checker) assembly() {
	screws := 0
	for _, j := range c.in.Joints.Joints {
		screws += len(j.Screws)
		if j.Kind == piece.Glued || len(j.Screws)+len(j.Dowels) == 0 {
			continue
		}
		for _, m := range c.ends(j.Contact) {
			if _, ok := c.w["coat 4 "+c.idOf(m)]; ok {
				c.after("coat 4 "+c.idOf(m), "assemble piece", c.in.Shop.Work.Handle)
			}
			for _, g := range c.named("glue body " + c.idOf(m)) {
				c.after(g, "assemble piece", c.in.Shop.Work.GlueCure-c.in.Shop.Work.GlueHold)
			}
		}
		if screws > 0 {
			c.after("assemble piece", "retighten", c.in.Shop.Work.Retighten)
			c.after("retighten", "hand over", 0)
		}
		if len(c.in.Joints.Plugs) > 0 && screws > 0 {
			c.after("retighten", "fit plugs", 0) // their screws are behind them
			c.after("fit plugs", "hand over", 0)
		}
	}
	for id, s := range c.w {
		if s[1] > c.w["hand over"][0] && id != "hand over" {
			c.fault("%s ends after the piece is handed over", id)
		}
	}
}

// lineOf is the bill's lines of an activity; several where it does what they count.
func lineOf(a schedule.Activity) string {
	switch a.Kind {
	case schedule.Print, schedule.TakeOff:
		if strings.Contains(a.ID, "fixtures") {
			return "fixtures: loading and clearing printers"
		}
		if a.Of == "coupons" { // guessed
			return ""
		}
		return "loading and clearing printers"
	case schedule.Coupons:
		return "fixtures: measuring coupons"
	case schedule.Inserts:
		return "setting inserts"
	case schedule.Ground:
		return "sanding and sealing cores"
	case schedule.Cut:
		return "cutting blanks and tending the laser, watching the laser"
	case schedule.Lay:
		return "laying veneer"
	case schedule.Trim:
		return "trimming"
	case schedule.Sand:
		return "sanding veneer"
	case schedule.Finish:
		if a.Of == schedule.Sample {
			return "finish sample"
		}
		return "finishing"
	case schedule.Glue:
		return "gluing seams"
	case schedule.Join:
		return "gluing members"
	case schedule.DryFit:
		return "dry fitting"
	case schedule.Measure:
		if a.ID == "dry fit piece" {
			return "dry fitting"
		}
		return "measuring and entering measures"
	case schedule.Assemble:
		switch a.ID {
		case "retighten":
			return "tightening again"
		case "fit plugs":
			return "fitting plugs"
		}
		return "assembly"
	case schedule.HandOver:
		if a.ID == "hand over" {
			return "looking over and handing over"
		}
	}
	return "?"
}

// labour: bill and calendar count the same hours, line by line and to the second.
func (c *checker) labour(o schedule.Options) {
	got, want := map[string]float64{}, map[string]float64{}
	for _, a := range c.r.Activities {
		line := lineOf(a)
		got[line] += a.Billed
		guessed := line == "" || a.Kind == schedule.Coupons && c.in.Fixtures == nil
		if a.Billed != a.Hand && !guessed {
			c.fault("%s: the bill counts %g s of %g", a.ID, a.Billed, a.Hand)
		}
	}
	for _, l := range c.in.Bill.Lines {
		item := l.Item
		switch {
		case l.Section == bill.Fixtures && l.Seconds > 0:
			item = "fixtures: " + item
			if item == "fixtures: measuring coupons" && !o.Coupons {
				continue
			}
		case l.Section != bill.Labour:
			continue
		case item == "cutting blanks and tending the laser" || item == "watching the laser":
			item = "cutting blanks and tending the laser, watching the laser"
		}
		want[item] += float64(l.Seconds)
		if math.Abs(l.Quantity*3600-float64(l.Seconds)) > 1e-6 {
			c.fault("%s: %g h and %d s", l.Item, l.Quantity, l.Seconds)
		}
	}
	for item, s := range want {
		if got[item] != s {
			c.fault("%s: %g s in the calendar, %g s on the bill", item, got[item], s)
		}
	}
	for item, s := range got {
		if s > 0 && want[item] == 0 {
			c.fault("%q: %g s that the bill does not count", item, s)
		}
	}
}
