package sheet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/guillotine"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Reserved is a rectangle of a sheet that no pattern may lie on: a knot, a
// split, a stain.
type Reserved struct {
	Sheet string    // ID as in Result.Sheets: "walnut-1", "walnut-a-1" for the shop's offcut "a"
	At    geom.Vec2 // lower left corner on the sheet as seen from its show face, X across the grain, mm
	Size  geom.Vec2
	What  string // "knot", for messages; "" for an area of no name
	Line  int    // in the file Options.Marks, 0 when unknown
}

// Keep is a blank that the maker wants as it is.
type Keep struct {
	Veneer  string
	Size    geom.Vec2 // as it lies on the bed, mm
	GrainUp bool      // its grain runs along the bed's Y
	Sheet   string    // that it is cut from, at At; "" for wherever it is best cut
	At      geom.Vec2 // lower left corner on the sheet, in the sheet's coordinates
	Pins    []Pin
	Rest    bool // other patterns may join those that are pinned
	Line    int  // in the file Options.Marks, 0 when unknown
}

// Pin holds a pattern in its place: At and Turn as in Placement. The nearest
// turn that the grain allows is taken, if it is within half a degree.
type Pin struct {
	Pattern string // ID
	At      geom.Vec2
	Turn    float64 // radians
	Line    int
}

// slack is what may be missing from a gap or a border of a layout that was told
// in the coordinates of the bed, mm: outlines are turned, moved and rounded to
// micrometres again, and a matched set may have lost two more.
const slack = 5e-3

// mostNumbered is how many sheets to be bought the marks may tell apart.
const mostNumbered = 30

// box is a reserved area.
func (k Reserved) box() geom.Box2 { return geom.Box2{Min: k.At, Max: k.At.Add(k.Size)} }

// name is what the area is called.
func (k Reserved) name() string {
	if k.What == "" || k.What == "other" {
		return "reserved area"
	}
	return k.What
}

// kept is a blank of the marks, as far as it can be done.
type kept struct {
	blankPlan
	rest     bool
	reserved []geom.Polygons // on it, grain along X
	laid     []nest.Laid     // what is pinned
}

// place is where a blank is cut from.
type place struct {
	stock string
	at    [2]int64
}

// lot is the patterns of one veneer, and what is to be done about them.
type lot struct {
	patterns []veneer.Pattern // of all veneers
	v        shop.Veneer
	laser    shop.Laser
	o        Options
	gap      float64
	keeps    []*kept
	pinned   map[int]bool // by pattern
	stock    []numbered
	marked   bool // a sheet that the marks speak of has reserved areas
}

// numbered is a stock, and from which number on its sheets are counted.
type numbered struct {
	guillotine.Stock
	kept  string // ID of the shop's offcut
	first int
	known bool // it is one sheet, told by its ID
}

// sheetOf is which sheet of the veneer has an ID: of those to be bought, or of
// the shop's offcut kept, from 1; false if none can have it.
func sheetOf(v shop.Veneer, id string) (kept string, n int, ok bool) {
	rest, ok := strings.CutPrefix(id, v.ID+"-")
	if !ok {
		return "", 0, false
	}
	number := func(s string, most int) (int, bool) {
		n, err := strconv.Atoi(s)
		return n, err == nil && n >= 1 && n <= most && strconv.Itoa(n) == s
	}
	if n, ok := number(rest, mostNumbered); ok {
		return "", n, true
	}
	for _, q := range v.Offcuts {
		if s, ok := strings.CutPrefix(rest, q.ID+"-"); ok {
			if n, ok := number(s, q.Count); ok {
				return q.ID, n, true
			}
		}
	}
	return "", 0, false
}

// stockID names the stock that is one sheet alone.
func stockID(kept string, n int) string {
	if kept != "" {
		return fmt.Sprintf("kept %s#%d", kept, n)
	}
	return fmt.Sprintf("%s#%d", bought, n)
}

// ground is the sheet of a stock that is told by its ID: its size and margin.
func ground(v shop.Veneer, kept string) (size geom.Vec2, margin float64) {
	for _, q := range v.Offcuts {
		if q.ID == kept {
			return q.Size, 0
		}
	}
	return v.Sheet, v.EdgeMargin
}

// aside are the stocks of a veneer, with the sheets that the marks speak of apart
// from the others.
func aside(v shop.Veneer, o Options) []numbered {
	highest := map[string]int{} // by ID of the offcut, "" for sheets to be bought
	see := func(id string) {
		if kept, n, ok := sheetOf(v, id); ok {
			highest[kept] = max(highest[kept], n)
		}
	}
	for _, k := range o.Reserved {
		see(k.Sheet)
	}
	for _, k := range slices.Concat(o.Keep, o.From) {
		if k.Veneer == v.ID {
			see(k.Sheet)
		}
	}
	var out []numbered
	for _, s := range stockOf(v) {
		kept, _ := strings.CutPrefix(s.ID, "kept ")
		if s.ID == bought {
			kept = ""
		}
		h := highest[kept]
		for n := 1; n <= h; n++ {
			one := s
			one.ID, one.Quantity = stockID(kept, n), 1
			one.Reserved = slices.Clone(s.Reserved)
			for _, k := range o.Reserved {
				if id, m, ok := sheetOf(v, k.Sheet); ok && id == kept && m == n {
					if r, ok := onStock(v, kept, k, one.Size); ok {
						one.Reserved = append(one.Reserved, r)
					}
				}
			}
			one.Reserved = joined(one.Reserved)
			out = append(out, numbered{one, kept, n, true})
		}
		if s.Quantity != guillotine.Unlimited {
			if s.Quantity -= h; s.Quantity <= 0 {
				continue
			}
		}
		out = append(out, numbered{s, kept, h + 1, false})
	}
	return out
}

// onStock is a reserved area on what is within a sheet's margin, in micrometres;
// false if it lies beside that.
func onStock(v shop.Veneer, kept string, k Reserved, size guillotine.Size) (guillotine.Rect, bool) {
	_, m := ground(v, kept)
	box := k.box()
	lo := [2]int64{max(0, down(box.Min.X-m)), max(0, down(box.Min.Y-m))}
	hi := [2]int64{min(size.X, up(box.Max.X-m)), min(size.Y, up(box.Max.Y-m))}
	return guillotine.Rect{At: lo, Size: guillotine.Size{X: hi[0] - lo[0], Y: hi[1] - lo[1]}}, lo[0] < hi[0] && lo[1] < hi[1]
}

// joined puts reserved areas together until there are few enough to be cut out:
// the two first whose common rectangle takes least more.
func joined(rs []guillotine.Rect) []guillotine.Rect {
	const most = 100 // as guillotine has it
	both := func(a, b guillotine.Rect) guillotine.Rect {
		lo := [2]int64{min(a.At[0], b.At[0]), min(a.At[1], b.At[1])}
		return guillotine.Rect{At: lo, Size: guillotine.Size{
			X: max(a.At[0]+a.X, b.At[0]+b.X) - lo[0], Y: max(a.At[1]+a.Y, b.At[1]+b.Y) - lo[1]}}
	}
	rs = slices.Clone(rs)
	for len(rs) > most {
		least, p, q := math.Inf(1), 0, 1
		for i := range rs {
			for j := range i {
				c := both(rs[i], rs[j])
				if more := float64(c.X)*float64(c.Y) - float64(rs[i].X)*float64(rs[i].Y) - float64(rs[j].X)*float64(rs[j].Y); more < least {
					least, p, q = more, j, i
				}
			}
		}
		rs[p] = both(rs[p], rs[q])
		rs = slices.Delete(rs, q, q+1)
	}
	return rs
}

// told makes a finding about the marks.
func (o Options) told(severity finding.Severity, line int, code, subject, remedy, format string, args ...any) finding.Finding {
	f := finding.Finding{Severity: severity, Stage: "sheet", Code: code, Subject: subject, Message: fmt.Sprintf(format, args...), Remedy: remedy, Source: "the marks"}
	if line > 0 {
		f.File, f.Line = o.Marks, line
	}
	return f
}

// arrange lays out what the marks keep on the blanks of each lot, and says what
// cannot be done of them.
func arrange(lots []*lot, patterns []veneer.Pattern, o Options) []finding.Finding {
	var out []finding.Finding
	index := map[string]int{}
	for i, p := range patterns {
		index[p.ID] = i
	}
	for i, k := range o.Keep {
		name := fmt.Sprintf("blank %d of the marks", i+1)
		n := slices.IndexFunc(lots, func(l *lot) bool { return l.v.ID == k.Veneer })
		if n < 0 {
			out = append(out, o.told(finding.Warning, k.Line, "kept-blank-of-another-veneer", name,
				"Take the blank out of the marks; or give the surfaces this veneer again.", "Nothing of the piece is laid with the veneer %s any more, so this blank is not cut.", k.Veneer))
			continue
		}
		out = append(out, lots[n].keep(k, name, index)...)
	}
	for _, k := range o.Reserved {
		n := slices.IndexFunc(lots, func(l *lot) bool { _, _, ok := sheetOf(l.v, k.Sheet); return ok })
		if n < 0 {
			out = append(out, o.told(finding.Warning, k.Line, "reserved-on-unknown-sheet", k.Sheet,
				"Take the mark out; or give the sheet its name in the plan.", "The plan has no sheet %s, so the %s marked on it counts for nothing.", k.Sheet, k.name()))
			continue
		}
		kept, _, _ := sheetOf(lots[n].v, k.Sheet)
		if size, _ := ground(lots[n].v, kept); k.At.X >= size.X || k.At.Y >= size.Y || k.At.X+k.Size.X <= 0 || k.At.Y+k.Size.Y <= 0 {
			out = append(out, o.told(finding.Warning, k.Line, "reserved-beside-the-sheet", k.Sheet,
				"Measure it from the sheet's lower left corner, across the grain first; or take it out.", "The %s at (%.0f, %.0f) mm lies beside the sheet %s of %.0f x %.0f mm.", k.name(), k.At.X, k.At.Y, k.Sheet, size.X, size.Y))
		}
	}
	for _, l := range lots {
		out = append(out, l.torn()...)
	}
	return out
}

// torn tells of matched sets of which some leaves are pinned and others not.
func (l *lot) torn() []finding.Finding {
	var out []finding.Finding
	pins, all := map[string]int{}, map[string]int{}
	var names []string
	for i, p := range l.patterns {
		if p.Set == "" || p.Veneer != l.v.ID {
			continue
		}
		if all[p.Set]++; all[p.Set] == 1 {
			names = append(names, p.Set)
		}
		if l.pinned[i] {
			pins[p.Set]++
		}
	}
	for _, s := range names {
		if n := pins[s]; n > 0 && n < all[s] {
			out = append(out, l.o.told(finding.Warning, 0, "matched-set-pinned-in-part", s,
				"Pin all leaves of the set side by side; or none of them.", "Of the matched set %s %d of %d leaves are pinned: the others are laid by themselves, and the figure does not run on from one to the next.", s, n, all[s]))
		}
	}
	return out
}

// keep lays out one blank.
func (l *lot) keep(k Keep, name string, index map[string]int) (out []finding.Finding) {
	v, o := l.v, l.o
	say := func(line int, code, subject, remedy, format string, args ...any) {
		out = append(out, o.told(finding.Warning, line, code, subject, remedy, format, args...))
	}
	size := k.Size
	if k.GrainUp {
		size = geom.V2(k.Size.Y, k.Size.X)
	}
	item := guillotine.Size{X: up(size.Y), Y: up(size.X)} // on the sheet
	if !slices.ContainsFunc(l.stock, func(s numbered) bool { return item.X <= s.Size.X && item.Y <= s.Size.Y }) {
		say(k.Line, "kept-blank-too-large", name, "Take it out of the marks; or use larger sheets.",
			"No sheet of %s holds this blank of %.0f x %.0f mm, so its patterns are laid like all others.", v.ID, k.Size.X, k.Size.Y)
		return out
	}
	lone := len(k.Pins) == 1
	if lone {
		i, ok := index[k.Pins[0].Pattern]
		lone = ok && l.patterns[i].KnifeCut
	}
	long := k.Size.X > l.laser.Bed.X || k.Size.Y > l.laser.Bed.Y
	if long && (k.GrainUp || k.Size.Y > l.laser.Bed.Y && !lone) {
		say(k.Line, "kept-blank-too-large", name, "Take it out of the marks; or use a larger laser bed.",
			"The laser bed of %.0f x %.0f mm does not hold this blank of %.0f x %.0f mm, so its patterns are laid like all others.", l.laser.Bed.X, l.laser.Bed.Y, k.Size.X, k.Size.Y)
		return out
	}
	b := &kept{rest: k.Rest, blankPlan: blankPlan{kind: kind{name: name, turned: k.GrainUp}, size: size, given: true, knife: long || lone}}
	var areas []nest.Laid
	if k.Sheet != "" {
		out = append(out, l.fix(b, k, name, item)...)
		if b.fixed != nil {
			for _, r := range reservedOn(v, o, k.Sheet) {
				box := onBlank(r.box(), k.At, size)
				box.Min, box.Max = geom.V2(max(0, box.Min.X), max(0, box.Min.Y)), geom.V2(min(size.X, box.Max.X), min(size.Y, box.Max.Y))
				if box.Min.X >= box.Max.X || box.Min.Y >= box.Max.Y {
					continue
				}
				ps := geom.Polygons{rectangle(box)}
				if a, err := nest.Lay(ps, 0, geom.Vec2{}); err == nil { // else it is thinner than a micrometre
					areas, b.reserved = append(areas, a), append(b.reserved, ps)
				}
			}
		}
	}
	m := l.laser.Margin - slack
	inner := geom.Box2{Min: geom.V2(m, m), Max: size.Sub(geom.V2(m, m))}
	gap := max(0, l.gap-slack)
	const again = "Lay it anew; or take the pin out."
	for _, pin := range k.Pins {
		i, ok := index[pin.Pattern]
		var p veneer.Pattern
		if ok {
			p = l.patterns[i]
		}
		switch {
		case !ok:
			say(pin.Line, "pin-of-no-pattern", pin.Pattern, "Take the pin out; or pin the pattern that has taken its place.", "The piece has no pattern %s any more, so its pin counts for nothing.", pin.Pattern)
			continue
		case p.Veneer != v.ID:
			say(pin.Line, "pin-of-another-veneer", p.ID, again, "The pattern %s is of %s now, and pinned on a blank of %s: it is laid like all others.", p.ID, p.Veneer, v.ID)
			continue
		case l.pinned[i]:
			say(pin.Line, "pinned-twice", p.ID, "Take one of the pins out.", "The pattern %s is pinned twice: the later pin counts for nothing.", p.ID)
			continue
		}
		quarter := 0.0
		at := pin.At
		if k.GrainUp {
			quarter = math.Pi / 2
			at = geom.V2(pin.At.Y, size.Y-pin.At.X)
		}
		turn, found := 0.0, false
		for _, t := range turns(v) {
			const near = 0.5 * math.Pi / 180
			if math.Abs(math.Remainder(pin.Turn-(t-p.Grain+quarter), 2*math.Pi)) <= near {
				turn, found = t, true
			}
		}
		if !found {
			say(pin.Line, "pinned-against-the-grain", p.ID, "Turn it back, or end for end if its figure has no direction; or take the pin out.",
				"The pattern %s is pinned at a turn of %.1f degrees, which its grain does not allow: it is laid like all others.", p.ID, pin.Turn*180/math.Pi)
			continue
		}
		laid, err := nest.Lay(aligned(p), turn, at)
		if err != nil {
			say(pin.Line, "pin-without-room", p.ID, again, "The pattern %s cannot be pinned: %v.", p.ID, err)
			continue
		}
		if way, fits := laid.Beyond(inner); !fits || way.Len() > 0 {
			why := fmt.Sprintf("by %.2f mm", way.Len())
			if !fits {
				why = "whatever way it is moved"
			}
			say(pin.Line, "pin-without-room", p.ID, again, "The pattern %s is pinned where it reaches beyond its blank of %.0f x %.0f mm or into the border of %.0f mm, %s: it is laid like all others.", p.ID, k.Size.X, k.Size.Y, l.laser.Margin, why)
			continue
		}
		if n := slices.IndexFunc(areas, func(a nest.Laid) bool { return laid.Meets(a, gap) != nest.Apart }); n >= 0 {
			say(pin.Line, "pin-on-a-reserved-area", p.ID, again, "The pattern %s is pinned on a reserved area of %s or closer to it than the gap of %.2f mm: it is laid like all others.", p.ID, k.Sheet, l.gap)
			continue
		}
		if n := slices.IndexFunc(b.laid, func(a nest.Laid) bool { return laid.Meets(a, gap) != nest.Apart }); n >= 0 {
			say(pin.Line, "pin-without-room", p.ID, again, "The pattern %s is pinned closer than the gap of %.2f mm to %s, which is pinned before it: it is laid like all others.", p.ID, l.gap, l.patterns[b.items[n].pattern].ID)
			continue
		}
		told := pin.At
		b.items = append(b.items, placed{pattern: i, at: at, turn: turn, told: &told})
		b.laid = append(b.laid, laid)
		b.knife = b.knife || p.KnifeCut
		l.pinned[i] = true
	}
	if len(b.items) == 0 && !k.Rest {
		if len(k.Pins) > 0 {
			say(k.Line, "kept-blank-empty", name, "Take it out of the marks.", "No pattern can be kept on this blank of %.0f x %.0f mm, so it is not cut.", k.Size.X, k.Size.Y)
		}
		return out
	}
	l.keeps = append(l.keeps, b)
	return out
}

// fix gives a blank its place on a sheet, if it can be cut there.
func (l *lot) fix(b *kept, k Keep, name string, item guillotine.Size) (out []finding.Finding) {
	no := func(code, remedy, format string, args ...any) []finding.Finding {
		return append(out, l.o.told(finding.Warning, k.Line, code, name, remedy, format+": it is cut where it is best.", args...))
	}
	id, n, ok := sheetOf(l.v, k.Sheet)
	if !ok {
		return no("kept-blank-on-unknown-sheet", "Give the sheet its name in the plan; or take sheet and at out.", "The plan has no sheet %s of %s for this blank", k.Sheet, l.v.ID)
	}
	stock := stockID(id, n)
	s := l.stock[slices.IndexFunc(l.stock, func(s numbered) bool { return s.ID == stock })]
	_, m := ground(l.v, id)
	r := guillotine.Rect{At: [2]int64{int64(math.Round((k.At.X - m) / micron)), int64(math.Round((k.At.Y - m) / micron))}, Size: item}
	rects := []guillotine.Rect{r}
	for _, o := range l.keeps {
		if o.fixed != nil && o.fixed.stock == stock {
			rects = append(rects, guillotine.Rect{At: o.fixed.at, Size: guillotine.Size{X: up(o.size.Y), Y: up(o.size.X)}})
		}
	}
	switch {
	case !guillotine.Cuttable(s.Size, rects[:1], up(l.v.BlankKerf)):
		return no("kept-blank-off-the-sheet", "Move it in; or take sheet and at out.", "This blank reaches beyond what can be used of the sheet %s, or lies too near its edge for the cut", k.Sheet)
	case !guillotine.Cuttable(s.Size, rects, up(l.v.BlankKerf)):
		return no("kept-blanks-not-cuttable", "Move it clear of the others, so that cuts from edge to edge part them; or take sheet and at out.", "This blank cannot be cut from the sheet %s where it lies, beside those before it, by cuts from edge to edge", k.Sheet)
	}
	b.fixed = &place{stock, r.At}
	return out
}

// reservedOn are all reserved areas of a sheet: the shop's of an offcut, and the
// maker's.
func reservedOn(v shop.Veneer, o Options, id string) []Reserved {
	var out []Reserved
	kept, _, _ := sheetOf(v, id)
	for _, q := range v.Offcuts {
		if kept != "" && q.ID == kept {
			for _, r := range q.Reserved {
				out = append(out, Reserved{Sheet: id, At: r.At, Size: r.Size})
			}
		}
	}
	for _, r := range o.Reserved {
		if r.Sheet == id {
			out = append(out, r)
		}
	}
	return out
}

// onBlank is a rectangle of a sheet on a blank of a size, with the grain along X,
// whose lower left corner on the sheet is at.
func onBlank(b geom.Box2, at, size geom.Vec2) geom.Box2 {
	return geom.Box2{Min: geom.V2(b.Min.Y-at.Y, size.Y-(b.Max.X-at.X)), Max: geom.V2(b.Max.Y-at.Y, size.Y-(b.Min.X-at.X))}
}

// OnSheet is a point of a blank on its sheet. A blank whose grain runs along the
// bed's X lies turned a quarter counter-clockwise on the sheet.
func (r *Result) OnSheet(blank int, p geom.Vec2) geom.Vec2 {
	b := r.Blanks[blank]
	if b.Grain == 0 {
		p = geom.V2(b.Size.Y-p.Y, p.X)
	}
	return b.At.Add(p)
}

// OnBlank is a point of a sheet on a blank of it.
func (r *Result) OnBlank(blank int, p geom.Vec2) geom.Vec2 {
	b := r.Blanks[blank]
	p = p.Sub(b.At)
	if b.Grain == 0 {
		p = geom.V2(p.Y, b.Size.Y-p.X)
	}
	return p
}

// unused tells of sheets that the marks speak of and nothing is cut from.
func unused(lots []*lot, r *Result, o Options) []finding.Finding {
	var out []finding.Finding
	seen := map[string]bool{}
	for _, k := range o.Reserved {
		known := slices.ContainsFunc(lots, func(l *lot) bool { _, _, ok := sheetOf(l.v, k.Sheet); return ok })
		if !known || seen[k.Sheet] || slices.ContainsFunc(r.Sheets, func(s Sheet) bool { return s.ID == k.Sheet }) {
			continue
		}
		seen[k.Sheet] = true
		out = append(out, o.told(finding.Note, k.Line, "reserved-sheet-not-used", k.Sheet,
			"Leave the marks if the sheet is there; or take them out.", "Nothing is cut from the sheet %s, on which areas are reserved: it is not needed, or they leave no room.", k.Sheet))
	}
	return out
}
