package schedule

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/fixture"
	"groundwork/internal/piece"
	"groundwork/internal/veneer"
)

// How the bill's hours of sanding and sealing cores are divided: common practice,
// no source.
const (
	shareFill = 0.15 // where there are seams to fill
	shareSeal = 0.20
)

// grits of veneer, and coats: three to six wipe-on coats (finishing guides), four of
// which the bill counts.
var grits = []string{"P180", "P220"}

const coats = 4

// surface is a surface of a member with the patterns that are laid on it.
type surface struct {
	id       string // "top/face"
	body     int    // or plugs
	patterns []int
	also     [][2]int // what else of members it covers, by member and surface
	laps     []int
	trimmed  int
	laid     []int
}

// veneer adds everything from the bare core to the last coat.
func (n *net) veneer() {
	in := n.in
	work := in.Shop.Work
	body := n.bodyOfMember()
	n.cutBlanks()

	surfaces, order := n.surfaces(body)
	// What of bodies is under veneer, mm². Bodies that a leaf of flush faces covers
	// with another's are one body: see seam.Bodies.
	area := map[int]float64{}
	for _, p := range in.Patterns {
		area[bodyOf(body, p)] += p.NetArea
	}
	ground := map[int]int{}
	for b := plugs; b < len(in.Seams.Bodies); b++ {
		if area[b] > 0 {
			ground[b] = n.ground(b, area[b])
		} else if b >= 0 {
			n.dry[b] = n.firm[b]
		}
	}

	blankOf := map[int]int{}
	for _, p := range in.Sheets.Placements {
		blankOf[p.Pattern] = p.Blank
	}
	for _, s := range order {
		f := &surfaces[s]
		var before []wait
		for _, e := range n.before(surfaces, s) {
			before = append(before, after(surfaces[e].trimmed)...)
		}
		sealed := lagged(work.SealerDry, "sealer dries", ground[f.body])
		var last []int
		for _, p := range f.patterns {
			id := in.Patterns[p].ID
			ws := slices.Concat(before, sealed, n.tools(fixture.LayLeaves, id, f.id))
			if k, ok := blankOf[p]; ok && k >= 0 {
				ws = append(ws, after(n.cut[k])...)
			}
			t := n.counted(lineLaying, weighLeaf)
			l := n.work(task{id: "lay " + id, kind: Lay, of: id, hand: t, bill: t, after: append(ws, after(last...)...), uses: n.at(f.body)})
			last = []int{l}
		}
		for _, l := range f.laps {
			t := n.counted(lineLaying, weighLap)
			last = []int{n.work(task{id: "lap " + in.Layout.Laps[l].ID, kind: Lay, of: in.Layout.Laps[l].ID, hand: t, bill: t, after: after(last...), uses: n.at(f.body), note: "drill core and inner layer through the fingers, then pin"})}
		}
		f.laid = last
		var edge float64
		for _, p := range f.patterns {
			for _, loop := range in.Patterns[p].Gross {
				edge += loop.Perimeter()
			}
		}
		t := n.counted(lineTrimming, edge)
		f.trimmed = n.work(task{id: "trim " + f.id, kind: Trim, of: f.id, hand: t, bill: t,
			after: append(lagged(work.BondFirst, "the bond grows", last...), n.tools(fixture.TrimLeaves, f.id)...), uses: n.at(f.body)})
	}

	for b := plugs; b < len(in.Seams.Bodies); b++ {
		if area[b] == 0 {
			continue
		}
		var trims, lays []int
		for _, s := range order {
			if surfaces[s].body == b {
				trims, lays = append(trims, surfaces[s].trimmed), append(lays, surfaces[s].laid...)
			}
		}
		n.finish(b, area[b], trims, lays)
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

// ground fills, sands and seals a core.
func (n *net) ground(b int, area float64) int {
	name, w := n.name(b), n.in.Shop.Work
	var ws []wait
	seams := false
	if b == plugs {
		for _, p := range n.in.Joints.Plugs {
			ws = append(ws, n.tools(fixture.Assemble, p.ID)...)
		}
	} else {
		ws = n.firm[b]
		seams = slices.ContainsFunc(n.glued(), func(g int) bool { return g == b })
	}
	fill := 0.0
	if seams {
		fill = shareFill
		t := n.counted(lineGround, fill*area)
		ws = lagged(w.FillerDry, "filler dries", n.work(task{id: "fill " + name, kind: Ground, of: name, hand: t, bill: t, uses: n.at(b), after: ws}))
	}
	t := n.counted(lineGround, (1-fill-shareSeal)*area)
	ws = after(n.work(task{id: "sand ground " + name, kind: Ground, of: name, hand: t, bill: t, uses: n.at(b), after: ws}))
	t = n.counted(lineGround, shareSeal*area)
	return n.work(task{id: "seal " + name, kind: Ground, of: name, hand: t, bill: t, uses: n.at(b), after: ws, note: "contacts masked"})
}

// glued is the bodies that have seams.
func (n *net) glued() []int {
	var list []int
	for _, s := range n.in.Seams.Seams {
		list = append(list, s.Body)
	}
	return list
}

// finish sands a veneered body grit by grit, and coats it.
func (n *net) finish(b int, area float64, trims, lays []int) {
	name, w := n.name(b), n.in.Shop.Work
	const perSquareMetre = 1e-6
	ws := append(after(trims...), lagged(w.BondWork, "the bond grows", lays...)...)
	for _, g := range grits {
		ws = after(n.work(task{id: "sand " + name + " " + g, kind: Sand, of: name, hand: int64(math.Ceil(sandVeneer * area * perSquareMetre)), uses: n.at(b), after: ws}))
	}
	ws = append(ws, lagged(w.BondFull, "the bond is whole", lays...)...)
	var last int
	for c := range coats {
		t := n.counted(lineFinish, area/coats*float64(c+1)) - n.counted(lineFinish, area/coats*float64(c))
		note := ""
		if c > 1 {
			note = "sand between coats, P320"
		}
		last = n.work(task{id: fmt.Sprintf("coat %d %s", c+1, name), kind: Finish, of: name, hand: t, bill: t, uses: n.at(b), after: ws, note: note})
		ws = lagged(w.Recoat, "the coat dries", last)
	}
	n.dry[b] = lagged(w.Handle, "finish hardens", last)
	n.last = append(n.last, last)
}

// cutBlanks adds the cutting of every blank: those with patterns that wait for
// a measure after all are entered.
func (n *net) cutBlanks() {
	in := n.in
	if len(in.Sheets.Blanks) == 0 {
		return
	}
	open := n.work(task{id: "unpack veneer", kind: Cut, of: "piece", hand: unpack})
	seconds := LaserTimes(in)
	released := make([]bool, len(in.Sheets.Blanks))
	for _, p := range in.Sheets.Placements {
		if p.Blank >= 0 && in.Patterns[p.Pattern].Release != "" {
			released[p.Blank] = true
		}
	}
	counted := n.counted(lineBlanks, 1)
	for i, b := range in.Sheets.Blanks {
		ws := lagged(in.Shop.Work.Acclimatise, "veneer gets used to the room", open)
		if released[i] {
			ws = append(ws, after(n.measured...)...)
		}
		// A laser is never left alone (a rule of every workshop with one): who tends it is there all the time.
		t := task{id: "cut " + b.ID, kind: Cut, of: b.ID, hand: max(counted, int64(seconds[i]+0.5)), bill: counted, after: ws}
		if seconds[i] > 0 {
			t.uses = []use{{resource: laser, amount: 1}}
		}
		if b.ByKnife {
			t.note = "by knife along the grain"
		}
		n.cut = append(n.cut, n.work(t))
	}
}

// LaserTimes is how long the laser is at every blank, s: what the bill counts
// all together.
func LaserTimes(in Inputs) []float64 {
	t := make([]float64, len(in.Sheets.Blanks))
	for _, l := range in.Shop.Lasers {
		if l.ID != in.Sheets.Laser {
			continue
		}
		for i, b := range in.Sheets.Blanks {
			if !b.ByKnife {
				t[i] = l.SetUp
			}
		}
		for _, p := range in.Sheets.Placements {
			if p.Blank < 0 {
				continue
			}
			for _, loop := range in.Patterns[p.Pattern].Gross {
				t[p.Blank] += loop.Perimeter() / l.CutSpeed
				if l.Move > 0 {
					t[p.Blank] += l.Bed.Len() / 4 / l.Move
				}
			}
		}
	}
	return t
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

// together adds assembly, what comes after it, and the end.
func (n *net) together() {
	in, w := n.in, n.in.Shop.Work
	body := n.bodyOfMember()
	ends := n.ends()
	var all []int
	screws := 0
	for _, j := range in.Joints.Joints {
		e, ok := ends[j.Contact]
		if !ok || j.Kind == piece.Glued || len(j.Screws)+len(j.Dowels) == 0 {
			continue
		}
		screws += len(j.Screws)
		t := n.counted(lineAssembly, float64(len(j.Screws))) + n.counted(lineSeams, weighDowel*float64(len(j.Dowels)))
		ws := slices.Concat(n.dry[body[e[0]]], n.dry[body[e[1]]], n.tools(fixture.Assemble, j.ID))
		both := union([]int{body[e[0]]}, []int{body[e[1]]})
		all = append(all, n.work(task{id: "assemble " + j.ID, kind: Assemble, of: j.ID, hand: t, bill: t, after: ws, uses: n.at(both...)}))
	}
	done := all
	if screws > 0 {
		done = []int{n.work(task{id: "retighten", kind: Assemble, of: "piece", hand: turnScrew * int64(screws), after: lagged(w.Retighten, "plastic gives way under screws", all...)})}
	}
	if k := len(in.Joints.Plugs); k > 0 {
		ws := append(after(done...), n.dry[plugs]...)
		for _, p := range in.Joints.Plugs {
			ws = append(ws, n.tools(fixture.Assemble, p.ID)...)
		}
		done = []int{n.work(task{id: "fit plugs", kind: Assemble, of: "piece", hand: fitPlug * int64(k), after: ws})}
	}
	ws := append(after(done...), lagged(w.Cure, "finish cures", n.last...)...)
	for b := range in.Seams.Bodies {
		ws = append(ws, n.dry[b]...)
	}
	ws = append(ws, n.others()...)
	n.work(task{id: "hand over", kind: HandOver, of: "piece", hand: check, after: ws, note: "look it over; from now on it may be used or packed"})
}

// others adds lines of labour on the bill that have no place above, before the
// end.
func (n *net) others() []wait {
	var ws []wait
	for _, l := range n.in.Bill.Lines {
		if _, ok := n.rates[l.Item]; l.Section == bill.Labour && !ok && l.Quantity > 0 {
			t := int64(l.Quantity*3600 + 0.5)
			ws = append(ws, after(n.work(task{id: "other work: " + l.Item, kind: HandOver, of: "piece", hand: t, bill: t}))...)
		}
	}
	return ws
}
