package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/veneer"
)

// How the bill's hours of sanding and sealing cores are divided: common practice,
// no source.
const (
	shareFill = 0.15 // where there are seams to fill
	shareSeal = 0.20
)

// covers is the veneer of a body, or of all plugs.
type covers struct {
	patterns []string
	sealed   []wait
	trims    []int
	lays     []int
}

// surface is a surface of a member with the patterns that are laid on it.
type surface struct {
	id       string // "top/face"
	body     int    // or plugs
	patterns []int
	also     [][2]int // what else of members it covers, by member and surface
	laps     []int
	trimmed  int
}

// ground fills, sands and seals every core that is veneered. Bodies that a leaf of
// flush faces covers with another's are one body: see seam.Bodies.
func (n *net) ground() {
	body := n.bodyOfMember()
	for _, p := range n.in.Patterns {
		b := bodyOf(body, p)
		if n.covers[b] == nil {
			n.covers[b] = &covers{}
		}
		n.covers[b].patterns = append(n.covers[b].patterns, p.ID)
	}
	for b := plugs; b < len(n.in.Seams.Bodies); b++ {
		if n.covers[b] != nil {
			n.groundOf(b)
		}
	}
}

// veneer lays and trims every surface.
func (n *net) veneer() {
	in := n.in
	work := in.Shop.Work
	surfaces, order := n.surfaces(n.bodyOfMember())
	blankOf := map[int]int{}
	for _, p := range in.Sheets.Placements {
		blankOf[p.Pattern] = p.Blank
	}
	for _, s := range order {
		f := &surfaces[s]
		c := n.covers[f.body]
		var before []wait
		for _, e := range n.before(surfaces, s) {
			before = append(before, after(surfaces[e].trimmed)...)
		}
		if f.body != plugs { // they are beside the piece until they are pressed in
			before = append(before, after(n.fitted...)...)
		}
		var last []int
		var ids []string
		for _, p := range f.patterns {
			id := in.Patterns[p].ID
			ids = append(ids, id)
			ws := slices.Concat(before, c.sealed, n.tools(fixture.LayLeaves, id, f.id))
			if k, ok := blankOf[p]; ok && k >= 0 {
				ws = append(ws, after(n.cut[k])...)
			}
			t := n.hand(bill.Laying, id)
			l := n.work(task{id: "lay " + id, kind: Lay, of: id, hand: t, bill: t, after: append(ws, after(last...)...), uses: n.at(f.body)})
			last = []int{l}
		}
		for _, l := range f.laps {
			t := n.hand(bill.Laying, in.Layout.Laps[l].ID)
			last = []int{n.work(task{id: "lap " + in.Layout.Laps[l].ID, kind: Lay, of: in.Layout.Laps[l].ID, hand: t, bill: t, after: after(last...), uses: n.at(f.body), note: "drill core and inner layer through the fingers, then pin"})}
		}
		t := n.hand(bill.Trimming, ids...)
		f.trimmed = n.work(task{id: "trim " + f.id, kind: Trim, of: f.id, hand: t, bill: t,
			after: append(lagged(work.BondFirst, "the bond grows", last...), n.tools(fixture.TrimLeaves, f.id)...), uses: n.at(f.body)})
		c.trims, c.lays = append(c.trims, f.trimmed), append(c.lays, last...)
	}
}

func bodyOf(body []int, p veneer.Pattern) int {
	if p.Member < 0 {
		return plugs
	}
	return body[p.Member]
}

// name is what a body, or all plugs, are called.
func (n *net) name(b int) string {
	if b == plugs {
		return "plugs"
	}
	return n.in.Seams.Bodies[b].ID
}

// groundOf fills, sands and seals a core.
func (n *net) groundOf(b int) {
	name, w := n.name(b), n.in.Shop.Work
	var ws []wait
	var fill int64
	all := n.hand(bill.Ground, n.covers[b].patterns...)
	share := func(of float64) int64 { return int64(math.Round(of * float64(all))) }
	if b == plugs {
		for _, p := range n.in.Joints.Plugs {
			ws = append(ws, n.tools(fixture.Assemble, p.ID)...)
		}
	} else {
		ws = n.firm[b]
		if slices.ContainsFunc(n.in.Seams.Seams, func(s seam.Seam) bool { return s.Body == b }) {
			fill = share(shareFill)
			ws = lagged(w.FillerDry, "filler dries", n.work(task{id: "fill " + name, kind: Ground, of: name, hand: fill, bill: fill, uses: n.at(b), after: ws}))
		}
	}
	seal := share(shareSeal)
	sand := all - fill - seal
	ws = after(n.work(task{id: "sand ground " + name, kind: Ground, of: name, hand: sand, bill: sand, uses: n.at(b), after: ws}))
	n.covers[b].sealed = lagged(w.SealerDry, "sealer dries", n.work(task{id: "seal " + name, kind: Ground, of: name, hand: seal, bill: seal, uses: n.at(b), after: ws, note: "contacts, bores and inserts masked"}))
}

// finish sands what is veneered grit by grit, and coats it. Members that are glued
// together are one thing: dust of one falls on the others, so that all of them are
// sanded before any is coated, and coated before any is coated again.
func (n *net) finish() {
	w := n.in.Shop.Work
	tried := n.sample()
	done := map[int]bool{}
	for b := plugs; b < len(n.in.Seams.Bodies); b++ {
		if done[b] {
			continue
		}
		all := n.with(b)
		var veneered []int
		var ws, firm []wait
		for _, c := range all {
			done[c] = true
			if c != plugs {
				firm = append(firm, n.firm[c]...)
			}
			if n.covers[c] != nil {
				veneered = append(veneered, c)
				ws = append(ws, n.covered(c)...)
			}
		}
		ws = append(ws, firm...)
		if len(veneered) == 0 {
			for _, c := range all {
				n.dry[c] = slices.Concat(firm, after(n.fitted...))
			}
			continue
		}
		stage := func(kind Kind, line, note string, i, of int, name func(body string) string) (ends []int) {
			for _, c := range veneered {
				s := n.share(line, c, i, of)
				ends = append(ends, n.work(task{id: name(n.name(c)), kind: kind, of: n.name(c), hand: s, bill: s, uses: n.at(c), after: ws, note: note}))
			}
			return ends
		}
		grits := bill.Grits()
		for i, g := range grits {
			ws = after(stage(Sand, bill.Sanding, "", i, len(grits), func(body string) string { return "sand " + body + " " + g })...)
		}
		for _, c := range veneered {
			ws = append(ws, lagged(w.BondFull, "the bond is whole", n.covers[c].lays...)...)
		}
		ws = append(ws, tried...)
		var last []int
		for i := range bill.Coats {
			note := ""
			if i > 1 {
				note = "sand between coats, P320"
			}
			last = stage(Finish, bill.Finishing, note, i, bill.Coats, func(body string) string { return fmt.Sprintf("coat %d %s", i+1, body) })
			ws = lagged(w.Recoat, "the coat dries", last...)
		}
		for _, c := range all {
			n.dry[c] = lagged(w.Handle, "finish hardens", last...)
		}
		n.last = append(n.last, last...)
	}
}

// sample adds the finish sample, of the veneer's offcuts, while the piece is covered
// and bonds, and gives what the first coat of the piece waits for. It is a thing of
// its own: no core is held.
func (n *net) sample() []wait {
	w := n.in.Shop.Work
	var last []int
	add := func(id, note string, t int64, after []wait) {
		if t > 0 {
			last = []int{n.work(task{id: id, kind: Finish, of: Sample, hand: t, bill: t, after: after, note: note})}
		}
	}
	add("lay sample", "on a spare print, of what is left of the sheets", n.hand(bill.Sample, bill.SampleLaid), after(n.cut...))
	add("sand sample", "", n.hand(bill.Sample, bill.SampleSanded), lagged(w.BondWork, "the bond holds", last...))
	all := n.hand(bill.Sample, bill.SampleCoated)
	ws := after(last...)
	for i := range int64(bill.Coats) {
		add(fmt.Sprintf("coat %d sample", i+1), "", all*(i+1)/bill.Coats-all*i/bill.Coats, ws)
		ws = lagged(w.Recoat, "the coat dries", last...)
	}
	return lagged(w.Handle, "the sample is hard, and looked at in daylight", last...)
}

// share takes part i of so many like parts of the hand work at a body's veneer.
func (n *net) share(line string, b, i, of int) int64 {
	var all int64
	for _, id := range n.covers[b].patterns {
		all += n.left[bill.Hand{Section: bill.Labour, Line: line, Of: id}]
	}
	if i == of-1 {
		n.hand(line, n.covers[b].patterns...)
	}
	return all*int64(i+1)/int64(of) - all*int64(i)/int64(of)
}

// cutBlanks adds the cutting of every blank: those with patterns that wait for
// a measure after all are entered.
func (n *net) cutBlanks() {
	in := n.in
	if len(in.Sheets.Blanks) == 0 {
		return
	}
	t := n.hand(bill.Blanks, bill.Unpacking)
	open := n.work(task{id: "unpack veneer", kind: Cut, of: "piece", hand: t, bill: t})
	seconds := bill.LaserTimes(in.Sheets, in.Patterns, in.Shop)
	released := make([]bool, len(in.Sheets.Blanks))
	for _, p := range in.Sheets.Placements {
		if p.Blank >= 0 && in.Patterns[p.Pattern].Release != "" {
			released[p.Blank] = true
		}
	}
	for i, b := range in.Sheets.Blanks {
		ws := lagged(in.Shop.Work.Acclimatise, "veneer gets used to the room", open)
		if released[i] {
			ws = append(ws, after(n.fitted...)...)
		}
		s := n.hand(bill.Blanks, b.ID) + n.hand(bill.Watching, b.ID)
		t := task{id: "cut " + b.ID, kind: Cut, of: b.ID, hand: s, bill: s, after: ws}
		if seconds[i] > 0 {
			t.uses = []use{{resource: laser, amount: 1}}
		}
		if b.ByKnife {
			t.note = "by knife along the grain"
		}
		n.cut = append(n.cut, n.work(t))
	}
}

// surfaces gathers patterns by the surface that they cover, and tells an order
// in which every surface comes after those that must be laid before it.
func (n *net) surfaces(body []int) ([]surface, []int) {
	in := n.in
	var list []surface
	of := map[[2]int]int{}
	for i, p := range in.Patterns {
		key := [2]int{p.Member, p.Surface}
		if p.Member < 0 {
			key = [2]int{-1 - i, 0} // every plug has its own leaf
		}
		k, ok := of[key]
		if !ok {
			k = len(list)
			of[key] = k
			s := surface{id: p.ID, body: bodyOf(body, p)}
			if p.Member >= 0 {
				// "top/edge-1" of "top/edge-1/band-2"
				member := in.Piece.Members[p.Member].ID + "/"
				name, _, _ := strings.Cut(strings.TrimPrefix(p.ID, member), "/")
				s.id = member + name
				s.also = [][2]int{key}
			}
			list = append(list, s)
		}
		list[k].patterns = append(list[k].patterns, i)
		list[k].also = append(list[k].also, p.Also...)
	}
	for i, l := range in.Layout.Laps {
		if k, ok := of[[2]int{l.Member, l.Surface}]; ok {
			list[k].laps = append(list[k].laps, i)
		}
	}
	// Depth first; a surface under way that is met again closes a ring, which only
	// leaves over flush faces can: then the order of the earlier member holds.
	var order []int
	state := make([]int, len(list))
	var visit func(int)
	visit = func(k int) {
		if state[k] != 0 {
			return
		}
		state[k] = 1
		for _, e := range n.before(list, k) {
			visit(e)
		}
		state[k] = 2
		order = append(order, k)
	}
	for k := range list {
		visit(k)
	}
	// What a surface of such a ring waits for in vain is not there yet when its turn comes.
	for k := range list {
		list[k].trimmed = -1
	}
	return list, order
}

// before is the surfaces that are laid and trimmed right before one, by the
// layout's order for each member that it covers.
func (n *net) before(list []surface, k int) []int {
	var earlier []int
	for _, a := range list[k].also {
		at := -1 // the last surface of the member's order, before this one, that has veneer of its own
		for _, s := range n.in.Layout.Order[a[0]] {
			if s == a[1] {
				break
			}
			for e := range list {
				if e != k && slices.Contains(list[e].also, [2]int{a[0], s}) {
					at = e
				}
			}
		}
		if at >= 0 && !slices.Contains(earlier, at) {
			earlier = append(earlier, at)
		}
	}
	return earlier
}

// together adds assembly, what comes after it, and the end. What is put on first
// is told by the bench book: it is one sitting, with all bodies there.
func (n *net) together() {
	in, w := n.in, n.in.Shop.Work
	var done []int
	var joints []string
	for _, j := range in.Joints.Joints {
		if j.Kind != piece.Glued {
			joints = append(joints, j.ID)
		}
	}
	if t := n.hand(bill.Assembly, joints...); t > 0 {
		ws := n.tools(fixture.Assemble, joints...)
		var all []int
		for b := range in.Seams.Bodies {
			all = append(all, b)
			ws = append(ws, n.dry[b]...)
		}
		done = []int{n.work(task{id: "assemble piece", kind: Assemble, of: "piece", hand: t, bill: t, after: ws, uses: n.at(all...)})}
	}
	if t := n.hand(bill.Tightening, bill.Whole); t > 0 {
		done = []int{n.work(task{id: "retighten", kind: Assemble, of: "piece", hand: t, bill: t, after: lagged(w.Retighten, "plastic gives way under screws", done...)})}
	}
	if t := n.hand(bill.Plugging, bill.Whole); t > 0 {
		ws := append(after(done...), n.dry[plugs]...)
		for _, p := range in.Joints.Plugs {
			ws = append(ws, n.tools(fixture.Assemble, p.ID)...)
		}
		done = []int{n.work(task{id: "fit plugs", kind: Assemble, of: "piece", hand: t, bill: t, after: ws})}
	}
	ws := append(after(done...), lagged(w.Cure, "finish cures", n.last...)...)
	for b := range in.Seams.Bodies {
		ws = append(ws, n.dry[b]...)
	}
	t := n.hand(bill.LookOver, bill.Whole)
	ws = append(ws, n.others()...)
	n.work(task{id: "hand over", kind: HandOver, of: "piece", hand: t, bill: t, after: ws, note: "look it over; from now on it may be used or packed"})
}
