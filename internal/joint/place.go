package joint

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// Options of the joint stage. The zero value is right for furniture.
type Options struct {
	MinArea float64 // mm²; smaller contacts get a note and no joint. 0 means 100
}

// measureChord is how far outlines and profiles may be flattened, in mm, to
// measure walls: a tenth of what a printer can hold.
const measureChord = 0.02

// Place finds where the members of p touch and settles the joints there with
// the hardware of s. What cannot be made is a finding of severity stop; an
// error means that p itself is unfit, that the kernel failed, or that ctx ended.
//
// Contacts are found first, then joints are settled one by one, those with the
// least room first; each keeps clear of the bores already there. A joint tries
// its sizes, sides, patterns and positions in a fixed order and takes the
// first that keeps every distance, so the same piece gives the same result.
func Place(ctx context.Context, k *solid.Kernel, p *piece.Piece, s *shop.Shop, o Options) (*Result, error) {
	if o.MinArea <= 0 {
		o.MinArea = 100
	}
	forms, err := formsOf(p, measureChord)
	if err != nil {
		return nil, fmt.Errorf("placing joints in %s: %w", p.Name, err)
	}
	pl := &placer{
		p: p, shop: s, forms: forms, boxes: boxesOf(forms), group: groups(p), goods: supplies(s), wall: wallOf(s),
		bores: make([]boreSet, len(p.Members)), touching: make([][]touch, len(p.Members)),
		round: map[[2]int]bool{}, socket: map[[2]int]bool{}, screwed: map[[2]int]string{},
	}
	pl.tree = newBoxTree(pl.boxes)
	pl.look = look{p: p, surfaces: make([][]piece.Surface, len(p.Members))}
	all := geom.EmptyBox3()
	pl.middles = middlesOf(forms)
	f := &finder{p: p, group: pl.group, middles: pl.middles, minArea: o.MinArea, flats: make([][]flat, len(p.Members)), rounds: make([][]round, len(p.Members)),
		near: map[[2]int]bool{}, fits: map[[2]int]float64{}}
	for i := range p.Members {
		pl.look.surfaces[i] = p.Members[i].Surfaces(measureChord)
		f.flats[i] = flats(&p.Members[i], pl.look.surfaces[i])
		f.rounds[i] = rounds(&p.Members[i], pl.look.surfaces[i])
		all = all.Union(pl.boxes[i])
	}
	pl.look.middle = all.Center()
	pl.cores = forms
	if p.Sizes == piece.Finished {
		pl.skin = thickest(p, s)
		if pl.cores, err = pl.coresOf(measureChord); err != nil {
			return nil, fmt.Errorf("placing joints in %s: %w", p.Name, err)
		}
	}

	pairs := pl.tree.pairs(pl.boxes, nearly)
	if err := f.search(ctx, k, pairs); err != nil {
		return nil, fmt.Errorf("finding where the members of %s touch: %w", p.Name, err)
	}
	r := &Result{Contacts: f.contacts, Rounds: f.roundContacts, Findings: f.findings}
	over, err := overlaps(ctx, k, p, pl.boxes, pairs)
	if err != nil {
		return nil, fmt.Errorf("placing joints in %s: %w", p.Name, err)
	}
	for _, o := range over {
		if fit, fits := f.fits[o.Members]; fits && o.Depth <= sliver+fit {
			continue
		}
		if !f.near[o.Members] || o.Depth > nearly {
			r.Findings = append(r.Findings, o.Finding(p))
		}
	}
	for i := range r.Contacts {
		c := &r.Contacts[i]
		pl.touch(c.A, c)
		pl.touch(c.B, c)
	}
	for i := range r.Rounds {
		c := &r.Rounds[i]
		pl.touch(c.A, c)
		pl.touch(c.B, c)
		pair := pairOf(c.A.Member, c.B.Member)
		pl.round[pair] = true
		pl.socket[pair] = pl.socket[pair] || c.Closed
	}
	r.Joints = make([]Joint, len(r.Contacts)+len(r.Rounds))
	for _, i := range pl.inOrder(r) {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("placing joints in %s: %w", p.Name, err)
		}
		if k := i - len(r.Contacts); k >= 0 {
			pl.settleRound(r, i, &r.Rounds[k])
		} else {
			pl.settle(r, i)
		}
	}
	pl.relieve(r)
	r.Findings = finding.Sorted(r.Findings)
	return r, nil
}

// inOrder is the order in which joints are settled: short contacts first, as
// they leave the least choice; the order of the contacts where they are alike.
// Round ones, which may need nothing when a flat one is screwed, come last.
func (pl *placer) inOrder(r *Result) []int {
	out := make([]int, len(r.Joints))
	long := make([]float64, len(r.Joints))
	for i := range out {
		out[i] = i
		if k := i - len(r.Contacts); k >= 0 {
			long[i] = math.Round(r.Rounds[k].Region.Bounds().Size().Y)
		} else {
			long[i] = math.Round(r.Contacts[i].Region.Bounds().Size().X)
		}
	}
	slices.SortStableFunc(out, func(a, b int) int {
		if x, y := a >= len(r.Contacts), b >= len(r.Contacts); x != y {
			return cmp.Compare(a, b)
		}
		return cmp.Compare(long[a], long[b])
	})
	return out
}

// Finding is the overlap as the maker is told of it.
func (o Overlap) Finding(p *piece.Piece) finding.Finding {
	a, b := &p.Members[o.Members[0]], &p.Members[o.Members[1]]
	return finding.Finding{
		Severity: finding.Stop, Stage: "joint", Code: "members-overlap", Subject: a.ID + ":" + b.ID,
		Message: fmt.Sprintf("%s and %s reach into each other: they share %s cm³, about %s mm thick.", a.ID, b.ID, mm(o.Volume/1000), mm(o.Depth)),
		Remedy:  "move or shorten one of them so that they only touch; or print the two as one",
		Source:  "two bodies cannot fill one place", File: p.File, Line: b.Line,
	}
}

// thickest is the thickest veneer that the piece may carry.
func thickest(p *piece.Piece, s *shop.Shop) float64 {
	named := map[string]bool{p.Veneer.Veneer: true}
	for _, m := range p.Members {
		named[m.Veneer] = true
	}
	for _, r := range p.Surfaces {
		named[r.Veneer] = true
	}
	var t float64
	for i, v := range s.Veneers {
		if named[v.ID] || i == 0 && named[""] {
			t = max(t, v.Stack())
		}
	}
	return t
}

// coresOf measures what is sure to be printed of every member when sizes are
// given over the veneer: every surface that is not ruled bare lies within the
// member's own by the thickest stack. A member too thin for that stays as it
// is: it cannot be clad, as the veneer stage says.
func (pl *placer) coresOf(chord float64) ([]*form, error) {
	out := slices.Clone(pl.forms)
	for i := range pl.p.Members {
		m := &pl.p.Members[i]
		in := make([]float64, len(pl.look.surfaces[i]))
		for k := range in {
			if pl.look.rule(i, k) != "bare" {
				in[k] = pl.skin
			}
		}
		thin, err := m.Inset(in)
		if err != nil {
			continue
		}
		if out[i], err = formOf(&thin, chord); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// begin is how far beyond a contact a core is measured, so that the surface a
// bore begins in is not taken for a wall. Where that surface is veneered
// beside the contact, the core begins a stack below it, and a pad fills the rest.
func (pl *placer) begin() float64 { return start + pl.skin }

// placer settles joints.
type placer struct {
	p        *piece.Piece
	shop     *shop.Shop
	forms    []*form
	boxes    []geom.Box3
	tree     *boxTree
	group    []int
	goods    []hardware
	look     look
	wall     float64 // least material beside and between bores
	skin     float64 // how far a core may lie within its member, when sizes are given over the veneer
	cores    []*form // what is sure to be printed of every member: walls are measured in it
	middles  middles
	bores    []boreSet
	touching [][]touch // by member

	round   map[[2]int]bool   // pairs of members that fit round each other somewhere
	socket  map[[2]int]bool   // those of them one of which stands in the other
	screwed map[[2]int]string // joint that screws a pair together
}

// touch is a contact of a surface.
type touch struct {
	surface int
	contact interface{ holds(world geom.Vec3) bool }
}

func (pl *placer) touch(s Side, c interface{ holds(geom.Vec3) bool }) {
	pl.touching[s.Member] = append(pl.touching[s.Member], touch{s.Surface, c})
}

// holds reports whether a point of the surface lies in the contact.
func (c *Contact) holds(p geom.Vec3) bool { return c.Region.Contains(c.Frame.Local(p).XY()) }

func (pl *placer) id(m int) string { return pl.p.Members[m].ID }

// touched reports whether a point of a surface lies in a contact.
func (pl *placer) touched(member, surface int, at geom.Vec3) bool {
	for _, t := range pl.touching[member] {
		if t.surface == surface && t.contact.holds(at) {
			return true
		}
	}
	return false
}

// rule is the joint rule for two members, -1 if there is none: the most
// specific, the first of equals.
func rule(p *piece.Piece, a, b *piece.Member) int {
	best, found := -1, -1
	for i, r := range p.Joints {
		for _, m := range [2][2]*piece.Member{{a, b}, {b, a}} {
			x, y := matches(r.Between[0], m[0]), matches(r.Between[1], m[1])
			if x >= 0 && y >= 0 && x+y > best {
				best, found = x+y, i
			}
		}
	}
	return found
}

// task is a joint to be settled.
type task struct {
	pl   *placer
	c    *Contact
	j    *Joint
	r    *Result
	rule piece.JointRule
	size string // of the contact, in words
	w, l float64

	known map[spot]result // looked up only
	round *RoundContact   // nil at a flat contact; then c is what stands for it
}

// settle makes the joint of contact i.
func (pl *placer) settle(r *Result, i int) {
	c := &r.Contacts[i]
	t := pl.task(r, i, c)
	box := c.Region.Bounds()
	t.l, t.w = box.Size().X, box.Size().Y
	t.size = mm(min(t.w, t.l)) + " x " + mm(max(t.w, t.l))
	pair := pairOf(c.A.Member, c.B.Member)
	switch {
	case t.j.Kind == piece.KnockDown && pl.socket[pair] && pl.screwed[pair] != "":
		t.held(pl.screwed[pair])
	case t.j.Kind == piece.KnockDown:
		t.knockDown()
	case t.j.Kind == piece.Glued && pl.socket[pair]: // the tenon does what dowels would
		t.j.GlueArea = c.Area
	case t.j.Kind == piece.Glued:
		t.glue()
	}
	r.Joints[i] = *t.j
}

// task begins the joint of contact i.
func (pl *placer) task(r *Result, i int, c *Contact) *task {
	a, b := &pl.p.Members[c.A.Member], &pl.p.Members[c.B.Member]
	j := &Joint{ID: "joint-" + strconv.Itoa(i+1), Contact: c.ID, Rule: rule(pl.p, a, b), Kind: piece.Rests}
	t := &task{pl: pl, c: c, j: j, r: r, rule: piece.JointRule{Dowels: -1}, known: map[spot]result{}}
	if j.Rule >= 0 {
		t.rule = pl.p.Joints[j.Rule]
		j.Kind = t.rule.Kind
	} else {
		t.tell(finding.Note, "touches-with-no-joint", fmt.Sprintf("%s and %s touch, and no joint rule says how they are held; they only rest on each other.", a.ID, b.ID),
			"add a joint rule for the two; or one of kind rests, if that is meant", "our own rule")
	}
	return t
}

func (t *task) tell(s finding.Severity, code, message, remedy, source string) {
	line := t.rule.Line
	if line == 0 {
		line = t.pl.p.Members[t.c.B.Member].Line
	}
	t.r.Findings = append(t.r.Findings, finding.Finding{Severity: s, Stage: "joint", Code: code, Subject: t.j.ID + " (" + t.c.ID + ")",
		Message: message, Remedy: remedy, Source: source, File: t.pl.p.File, Line: line})
}

// row is a run of slots along a contact: S for a screw, D for a dowel.
type row string

// rowOf spreads dowels among screws evenly and, where it can be, in symmetry:
// beside a single screw, otherwise in the gaps between screws, the outermost
// first.
func rowOf(screws, dowels int) row {
	if screws == 0 {
		return row(strings.Repeat("D", dowels))
	}
	gaps := screws - 1
	if screws == 1 {
		gaps = 2 // before and after it
	}
	in := make([]int, gaps)
	left := dowels
	if left%2 == 1 && gaps%2 == 1 {
		in[gaps/2]++
		left--
	}
	for i := 0; left > 0; i++ {
		g := i / 2 % gaps
		if i%2 == 0 {
			g = gaps - 1 - g
		}
		in[g]++
		left--
	}
	var b strings.Builder
	if screws == 1 {
		return row(strings.Repeat("D", in[0]) + "S" + strings.Repeat("D", in[1]))
	}
	for i := range screws {
		if b.WriteByte('S'); i < gaps {
			b.WriteString(strings.Repeat("D", in[i]))
		}
	}
	return row(b.String())
}

// rows lists what a knock-down joint tries, best first: the number of screws
// that its length asks for and then fewer, each with two dowels beside a
// single screw or one between screws, and then fewer. Numbers that the rule
// fixes stay fixed.
func (t *task) rows() []row {
	n := t.wanted()
	var out []row
	for s := n; s >= 1; s-- {
		switch {
		case t.rule.Dowels >= 0:
			out = append(out, rowOf(s, t.rule.Dowels))
		case s == 1:
			out = append(out, "DSD", "SD", "S")
		case s%2 == 0:
			out = append(out, rowOf(s, 1), rowOf(s, 0))
		default:
			out = append(out, rowOf(s, 2), rowOf(s, 0))
		}
		if t.rule.Screws > 0 {
			break
		}
	}
	return out
}

// wanted is the number of screws that the contact should have.
func (t *task) wanted() int {
	switch {
	case t.rule.Screws > 0:
		return t.rule.Screws
	case t.l <= oneScrew:
		return 1
	}
	return 2 + int((t.l-oneScrew)/screwSpacing)
}

// sizes lists the screw sizes to try: the rule's, or from the largest that
// suits the contact down. M6 is the usual furniture bolt; M8 is for contacts
// from 60 mm wide, and an insert with its walls takes three quarters of the
// width at most.
func (t *task) sizes() []hardware {
	var out []hardware
	for _, h := range slices.Backward(t.pl.goods) {
		w := min(t.w, t.l)
		if t.rule.Screw == h.Size || t.rule.Screw == "" && (h.Diameter < 8 || w >= 60) && h.width() <= 0.75*w {
			out = append(out, h)
		}
	}
	if len(out) == 0 && t.rule.Screw == "" && len(t.pl.goods) > 0 {
		out = append(out, t.pl.goods[0])
	}
	return out
}

// drives lists the sides that the head may be in, the one with the opening
// that disturbs least first.
func (t *task) drives(h hardware) []drive {
	a := drive{h, t.c.A, t.c.B, t.c.Frame.Z}
	b := drive{h, t.c.B, t.c.A, t.c.Frame.Z.Neg()}
	if t.rule.Through != "" {
		ma, mb := &t.pl.p.Members[a.through.Member], &t.pl.p.Members[b.through.Member]
		switch x, y := matches(t.rule.Through, ma), matches(t.rule.Through, mb); {
		case x > y && x > 0:
			return []drive{a}
		case y > x && y > 0:
			return []drive{b}
		}
	}
	cost := func(d drive) float64 {
		back := d.axis.Neg()
		p := t.c.Frame.Origin
		if t.round != nil {
			p = t.pl.radial(t.round, d, 0, 0).at
		}
		f := t.pl.forms[d.through.Member]
		out, surface := f.exit(p.Add(back.Scale(start)), back)
		if !f.contains(p.Add(back.Scale(start))) || math.IsInf(out, 0) {
			return math.Inf(1)
		}
		return t.pl.look.cost(d.through.Member, surface, p.Add(back.Scale(out)), back) + out/100
	}
	if cost(b) < cost(a) {
		return []drive{b, a}
	}
	return []drive{a, b}
}

func (t *task) knockDown() {
	t.w, t.l = min(t.w, t.l), max(t.w, t.l)
	sizes := t.sizes()
	if len(sizes) == 0 {
		t.noGoods()
		return
	}
	found, h, pattern, why := t.try(sizes)
	if found == nil {
		t.fail(sizes, why)
		return
	}
	t.commit(found)
	screws := strings.Count(string(pattern), "S")
	if w := t.wanted(); screws < w {
		t.tell(finding.Warning, "fewer-screws", fmt.Sprintf("The contact of %s is %s mm and would have %d screws, but only %d fit.", t.between(), t.size, w, screws),
			"keep it if the load is small; or make room for more", "one more screw every 200 mm: common practice, no source")
	}
	if pattern == "S" {
		t.tell(finding.Warning, "joint-can-turn", fmt.Sprintf("%s are held by one %s screw with no dowel beside it: the joint can turn.", t.between(), h.Size),
			"make the contact longer so that a dowel fits; or allow dowels in the rule", "common practice, no source")
	}
}

// noGoods says that the shop lacks the hardware.
func (t *task) noGoods() {
	what := "any screw with an insert of its size"
	if t.rule.Screw != "" {
		what = "a " + t.rule.Screw + " screw with an insert of its size, larger than the screw's clearance hole"
	}
	t.tell(finding.Stop, noGoods, fmt.Sprintf("The shop has no hardware for the joint of %s: it lacks %s.", t.between(), what),
		"add screws and inserts of one size to the shop file; or name another size", "our own rule")
}

// between names the two members.
func (t *task) between() string { return t.pl.id(t.c.A.Member) + " and " + t.pl.id(t.c.B.Member) }

// try goes through sizes, sides and rows. A lone screw, which lets the joint
// turn, comes after every size has been tried with a dowel, unless the rule
// asks for it.
func (t *task) try(sizes []hardware) ([]*fastener, hardware, row, *lack) {
	var why *lack
	for _, lone := range []bool{false, true} {
		for _, h := range sizes {
			for way, d := range t.drives(h) {
				l := t.newLayout(d)
				for _, pattern := range t.rows() {
					if (pattern == "S") != lone {
						continue
					}
					found, lk := l.find(pattern)
					if found != nil {
						return found, h, pattern, nil
					}
					switch {
					case h.Size != sizes[0].Size || lk == nil: // the other sizes are makeshifts
					case way == 0:
						why = lesser(why, lk)
					case why != nil && why.code == noPath && lk.code != noPath: // so is the other way, unless this one is barred
						why = lk
					}
				}
			}
		}
	}
	return nil, hardware{}, "", why
}

// fail tells why a knock-down joint cannot be made, and what would help.
func (t *task) fail(tried []hardware, why *lack) {
	h := tried[0]
	need := h.width() + 2*t.pl.skin // in sizes as the piece file gives them
	msg := fmt.Sprintf("No place was found for the screws between %s (contact %s mm): %s.", t.between(), t.size, why)
	var remedies []string
	switch why.code {
	case tooSmall:
		if t.rule.Screw != "" {
			msg = fmt.Sprintf("Contact %s mm of %s is too small for %s: %s; the insert and its walls alone take %s mm.", t.size, t.between(), h.Size, why, mm(need))
		}
	case noPath:
		msg = fmt.Sprintf("No driver reaches the screws between %s: %s.", t.between(), why)
	}
	if t.rule.Screw != "" {
		saved := t.rule.Screw
		for _, other := range slices.Backward(t.pl.goods) {
			if other.Diameter >= h.Diameter {
				continue
			}
			if found, _, _, _ := t.try([]hardware{other}); found != nil {
				remedies = append(remedies, "use "+other.Size)
				break
			}
		}
		t.rule.Screw = saved
	}
	if t.rule.Through != "" {
		saved := t.rule.Through
		t.rule.Through = ""
		if found, _, _, _ := t.try(tried[:1]); found != nil {
			remedies = append(remedies, "let the screw go through the other member")
		}
		t.rule.Through = saved
	}
	if t.rule.Screws > 1 || t.rule.Dowels > 0 {
		remedies = append(remedies, "ask for fewer screws and dowels")
	}
	switch why.code {
	case noPath:
		remedies = append(remedies, "move the member that is in the way")
	case noGoods:
		remedies = append(remedies, "stock another screw length")
	case noRoom:
		remedies = append(remedies, "move the members so that their joints do not meet")
	default:
		if more := why.enlarge(); more != "" {
			remedies = append(remedies, more)
		}
	}
	if len(remedies) == 0 {
		remedies = append(remedies, "let the members meet in another way")
	}
	t.tell(finding.Stop, why.code, msg, strings.Join(remedies, "; or "), "edge and wall distances of the joint stage; insert wall: J. Manuf. Mater. Process. 7(1) 42, 2023")
}

// commit gives IDs to what was found and settles it.
func (t *task) commit(found []*fastener) {
	count := map[Purpose]int{}
	plugs := 0
	tidy := func(vs ...*geom.Vec3) { // no negative zeros in the output
		for _, v := range vs {
			*v = v.Add(geom.Vec3{})
		}
	}
	if pair := pairOf(t.c.A.Member, t.c.B.Member); t.pl.screwed[pair] == "" && slices.ContainsFunc(found, func(f *fastener) bool { return f.screw != nil }) {
		t.pl.screwed[pair] = t.j.ID
	}
	for _, f := range found {
		if f.plug != nil {
			tidy(&f.plug.Center, &f.plug.Axis)
			plugs++
			f.plug.ID = fmt.Sprintf("%s/plug-%d", t.j.ID, plugs)
			f.screw.Plug = f.plug.ID
			t.r.Plugs = append(t.r.Plugs, *f.plug)
		}
		if f.screw != nil {
			tidy(&f.screw.Head, &f.screw.Axis)
			t.j.Screws = append(t.j.Screws, *f.screw)
		}
		if f.dowel != nil {
			tidy(&f.dowel.Center, &f.dowel.Axis)
			t.j.Dowels = append(t.j.Dowels, *f.dowel)
		}
		for _, b := range f.bores {
			count[b.Purpose]++
			b.ID = fmt.Sprintf("%s/%s-%d", t.j.ID, b.Purpose, count[b.Purpose])
			b.Of = t.j.ID
			tidy(&b.Mouth, &b.Axis)
			t.j.Bores = append(t.j.Bores, b)
			t.pl.bores[t.pl.group[b.Member]].add(b)
		}
	}
}

// pegs lists the dowels to try. Stock thickness is the thinner of the two
// members as measured across the contact's middle. Glued dowels go from thick
// and long to thin and short, loose ones from short to long; those within a
// third to a half of the stock come before thinner ones.
func (t *task) pegs(glued bool) []peg {
	thick := t.thickness()
	var out []peg
	for _, d := range t.pl.shop.Dowels {
		if t.rule.Dowel > 0 && math.Abs(d.Diameter-t.rule.Dowel) > 1e-6 {
			continue
		}
		if t.rule.Dowel == 0 && d.Diameter > thick*dowelThickest+0.01 {
			continue
		}
		const longest = 12.0 // dowel length in diameters: 6 on each side
		if d.Length > longest*d.Diameter {
			continue
		}
		out = append(out, peg{d, glued})
	}
	thin := func(p peg) int {
		if p.Diameter < thick*dowelThinnest-0.01 {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(out, func(a, b peg) int {
		if glued {
			return cmp.Or(cmp.Compare(thin(a), thin(b)), -cmp.Compare(a.Diameter, b.Diameter), -cmp.Compare(a.Length, b.Length))
		}
		if thin(a) != thin(b) {
			return thin(a) - thin(b)
		}
		if thin(a) == 1 { // all are thin: the thickest first
			return cmp.Or(-cmp.Compare(a.Diameter, b.Diameter), cmp.Compare(a.Length, b.Length))
		}
		return cmp.Or(cmp.Compare(a.Diameter, b.Diameter), cmp.Compare(a.Length, b.Length))
	})
	return out
}

// pegless says that no dowel of the shop suits the stock, and how much
// thicker it would have to be for the thinnest that the rule allows.
func (t *task) pegless() *lack {
	thick, in := t.thinnest()
	l := lack{code: noGoods, stage: -1, have: thick, note: fmt.Sprintf("the shop has no dowel that suits stock %s mm thick", mm(thick))}
	for _, d := range t.pl.shop.Dowels {
		fit := max(t.pl.shop.Fits.GluedDowel, t.pl.shop.Fits.LooseDowel)
		if need := max(d.Diameter/dowelThickest, d.Diameter+fit+2*t.pl.wall); t.rule.Dowel == 0 && (l.need == 0 || need < l.need) {
			l.need, l.in = need, in
		}
	}
	if l.need == 0 {
		l.need = 1e3
	}
	return &l
}

// thickness is that of the thinner stock at the contact.
func (t *task) thickness() float64 {
	thick, _ := t.thinnest()
	return thick
}

// thinnest is the same with the member whose stock it is.
func (t *task) thinnest() (thick float64, in string) {
	thick, in = min(t.w, t.l), t.pl.id(t.c.B.Member)
	box := t.c.Region.Bounds()
	mid := geom.V2(box.Center().X, 0)
	if y, ok := medial(t.c.Region, mid.X, 1); ok {
		mid.Y = y
	}
	p := t.c.Frame.Point(geom.V3(mid.X, mid.Y, 0))
	for _, s := range []struct {
		m   int
		dir geom.Vec3
	}{{t.c.A.Member, t.c.Frame.Z.Neg()}, {t.c.B.Member, t.c.Frame.Z}} {
		if d := t.pl.cores[s.m].lateral(p, s.dir, t.pl.begin(), 4, math.Inf(1)); d > 0 && 2*d < thick {
			thick, in = 2*d, t.pl.id(s.m)
		}
	}
	return thick, in
}

func (t *task) glue() {
	t.w, t.l = min(t.w, t.l), max(t.w, t.l)
	t.j.GlueArea = t.c.Area
	const source = "dowels a third to a half of the stock: Wood Magazine; at least two per joint: common practice"
	n := max(2, int(math.Round(t.l/dowelSpacing)))
	least := 2
	if t.rule.Dowels >= 0 {
		n, least = t.rule.Dowels, t.rule.Dowels
		if n < 2 {
			t.tell(finding.Warning, "few-dowels", fmt.Sprintf("The glued joint of %s has %d dowels: it can slip or turn while the glue sets.", t.between(), n), "ask for two dowels or more", source)
		}
	}
	if n == 0 {
		return
	}
	var why *lack
	pegs := t.pegs(true)
	if len(pegs) == 0 {
		why = t.pegless()
	}
	for k := n; k >= least; k-- {
		for _, d := range pegs {
			l := t.newLayout(drive{})
			l.peg = []peg{d}
			found, lk := l.find(rowOf(0, k))
			why = lesser(why, lk)
			if found == nil {
				continue
			}
			t.commit(found)
			for _, dw := range t.j.Dowels {
				t.j.GlueArea -= math.Pi / 4 * dw.Diameter * dw.Diameter
			}
			if thick := t.thickness(); d.Diameter < thick*dowelThinnest-0.01 || d.Diameter > thick*dowelThickest+0.01 {
				t.tell(finding.Note, "dowel-size", fmt.Sprintf("The dowels between %s are %s mm in stock %s mm thick; a third to a half of it, %s to %s mm, is usual.",
					t.between(), mm(d.Diameter), mm(thick), mm(thick*dowelThinnest), mm(thick*dowelThickest)), "stock a dowel of that size; or keep it, as the glued faces carry the load", source)
			}
			return
		}
	}
	remedy := "stock a thinner or shorter dowel"
	if more := why.enlarge(); more != "" {
		remedy += "; or " + more
	}
	t.tell(finding.Stop, why.code, fmt.Sprintf("No place was found for %d dowels between %s (contact %s mm): %s.", least, t.between(), t.size, why), remedy, source)
}
