package book

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// Sizes of writing in points. Nothing is set smaller than least.
const (
	least     = 8.0
	body      = 9.5
	small     = 8.0
	heading   = 17.0
	subhead   = 12.0
	minorhead = 10.0
	leading   = 1.32 // from one baseline to the next, in sizes
)

// strip is what stands on one page: a line, a row of a table, a drawing.
type strip struct {
	high   float64 // mm
	keep   bool    // stays with the next one
	fresh  bool    // begins a page
	room   float64 // mm that must be left on the page for it, or it begins the next
	head   *strip  // stands again where a page begins with this strip
	anchor []string
	tells  []string // parts that it is about, for the index
	mark   *bookmark
	// draw puts it on a page, its upper left corner at a point.
	draw func(p *page, at geom.Vec2)
}

// flow lays strips out on pages.
type flow struct {
	paper  geom.Vec2
	left   float64 // margins, mm
	right  float64
	top    float64
	foot   float64
	strips []strip
	stays  bool // what is put beside stays with what follows
}

func (f *flow) wide() float64 { return f.paper.X - f.left - f.right }
func (f *flow) high() float64 { return f.paper.Y - f.top - f.foot }

func (f *flow) add(s ...strip) { f.strips = append(f.strips, s...) }

// gap leaves room, which vanishes at the head of a page.
func (f *flow) gap(mm float64) {
	n := len(f.strips)
	f.add(strip{high: mm, keep: n > 0 && f.strips[n-1].keep})
}

// laid is where everything came to stand.
type laid struct {
	pages []page
	at    map[string]int   // page of an anchor, from 1
	parts map[string][]int // pages on which a part is told of
	marks []bookmark
}

// lay puts the strips on pages; dry, it only finds out where they come to stand.
func (f *flow) lay(dry bool) laid {
	out := laid{at: map[string]int{}, parts: map[string][]int{}}
	var y float64 // of the next strip's upper edge
	draw := func(s *strip, p *page, at geom.Vec2) {
		if !dry {
			s.draw(p, at)
		}
	}
	fresh := func() {
		out.pages = append(out.pages, page{})
		y = f.paper.Y - f.top
	}
	for i := 0; i < len(f.strips); {
		// What stays together.
		n := i
		need := f.strips[i].high
		for f.strips[n].keep && n+1 < len(f.strips) && !f.strips[n+1].fresh {
			n++
			need += f.strips[n].high
		}
		empty := func() bool { return len(out.pages) > 0 && y == f.paper.Y-f.top }
		if len(out.pages) == 0 || f.strips[i].fresh && !empty() || f.strips[i].room > y-f.foot && !empty() || need > y-f.foot && !empty() && need <= f.high() {
			fresh()
			if h := f.strips[i].head; h != nil {
				draw(h, &out.pages[len(out.pages)-1], geom.V2(f.left, y))
				y -= h.high
			}
		}
		for ; i <= n; i++ {
			s := f.strips[i]
			if s.high > y-f.foot && !empty() && s.draw != nil {
				fresh()
				if s.head != nil {
					draw(s.head, &out.pages[len(out.pages)-1], geom.V2(f.left, y))
					y -= s.head.high
				}
			}
			if s.draw == nil { // a gap
				if !empty() {
					y -= s.high
				}
				continue
			}
			at := len(out.pages)
			for _, a := range s.anchor {
				if _, ok := out.at[a]; !ok {
					out.at[a] = at
				}
			}
			for _, p := range s.tells {
				if !slices.Contains(out.parts[p], at) {
					out.parts[p] = append(out.parts[p], at)
				}
			}
			if s.mark != nil {
				m := *s.mark
				m.page = at - 1
				out.marks = append(out.marks, m)
			}
			draw(&s, &out.pages[at-1], geom.V2(f.left, y))
			y -= s.high
		}
	}
	return out
}

// span is writing in one face.
type span struct {
	face face
	s    string
}

// spans reads *bold* writing.
func spans(s string) []span {
	var out []span
	now := regular
	var word strings.Builder
	flush := func() {
		if word.Len() > 0 {
			out = append(out, span{now, word.String()})
			word.Reset()
		}
	}
	for _, r := range s {
		switch {
		case r == '*' && (now == regular || now == bold):
			flush()
			now = bold - now
		default:
			word.WriteRune(r)
		}
	}
	flush()
	return out
}

// line is one line of a paragraph.
type line []span

// broken breaks writing into lines of a width in mm. A word that is longer than
// a line is cut.
func broken(size, wide float64, all []span) []line {
	var out []line
	var now line
	x := 0.0
	put := func(sp span) {
		if n := len(now); n > 0 && now[n-1].face == sp.face {
			now[n-1].s += sp.s
		} else {
			now = append(now, sp)
		}
		x += width(sp.face, size, sp.s)
	}
	end := func() {
		if n := len(now); n > 0 {
			now[n-1].s = strings.TrimRight(now[n-1].s, " ")
		}
		out = append(out, now)
		now, x = nil, 0
	}
	// Words carry the spaces behind them; a word may change its face within.
	var word []span
	take := func() {
		if len(word) == 0 {
			return
		}
		var w float64
		for i, sp := range word {
			s := sp.s
			if i == len(word)-1 {
				s = strings.TrimRight(s, " ")
			}
			w += width(sp.face, size, s)
		}
		if x > 0 && x+w > wide {
			end()
		}
		for _, sp := range word {
			for x+width(sp.face, size, strings.TrimRight(sp.s, " ")) > wide && len([]rune(sp.s)) > 1 { // cut
				r := []rune(sp.s)
				n := len(r) - 1
				for n > 1 && x+width(sp.face, size, string(r[:n])) > wide {
					n--
				}
				if x > 0 && n == 1 {
					end()
					continue
				}
				// Rather behind a sign that parts names.
				for i := n; i > n/2; i-- {
					if strings.ContainsRune("-/.+", r[i-1]) {
						n = i
						break
					}
				}
				put(span{sp.face, string(r[:n])})
				end()
				sp.s = string(r[n:])
			}
			if x > 0 && x+width(sp.face, size, strings.TrimRight(sp.s, " ")) > wide {
				end()
			}
			put(sp)
		}
		word = nil
	}
	for _, sp := range all {
		for _, part := range strings.SplitAfter(sp.s, " ") {
			if part == "" {
				continue
			}
			word = append(word, span{sp.face, part})
			if strings.HasSuffix(part, " ") {
				take()
			}
		}
	}
	take()
	if len(now) > 0 || len(out) == 0 {
		end()
	}
	return out
}

// set writes a line with its baseline at a point.
func (l line) set(p *page, at geom.Vec2, size float64, grey uint8) {
	for _, sp := range l {
		if sp.s != "" {
			p.texts = append(p.texts, text{at: at, size: size, face: sp.face, grey: grey, s: sp.s})
		}
		at.X += width(sp.face, size, sp.s)
	}
}

func (l line) width(size float64) (w float64) {
	for _, sp := range l {
		w += width(sp.face, size, sp.s)
	}
	return w
}

// high is from one baseline to the next, mm.
func high(size float64) float64 { return size * point * leading }

// base is from the upper edge of a line to its baseline, mm.
func base(size float64) float64 { return size * point * 1.02 }

// pen is a style of lines in one grey.
func pen(wide float64, grey uint8) *draw.Style {
	return &draw.Style{Red: grey, Green: grey, Blue: grey, ColorIndex: 8, Width: wide}
}

func lines(wide float64, grey uint8, items ...draw.Item) draw.Layer {
	return draw.Layer{Name: "lines", Operation: draw.Note, Pen: pen(wide, grey), Items: items}
}

func rectangle(b geom.Box2) geom.Polygon {
	return geom.Polygon{b.Min, {X: b.Max.X, Y: b.Min.Y}, b.Max, {X: b.Min.X, Y: b.Max.Y}}
}

func filled(b geom.Box2, grey uint8) draw.Region {
	return draw.Region{Area: geom.Polygons{rectangle(b)}, Grey: grey}
}

// para is a paragraph.
type para struct {
	size   float64
	grey   uint8
	indent float64 // mm
	hang   string  // in the indent of the first line
	box    bool    // a check box in the indent
	keep   bool    // all its lines together, and with what follows
	tells  []string
	anchor []string
}

func (f *flow) para(p para, s string) { f.add(p.strips(f.wide(), s)...) }

func (q para) strips(wide float64, s string) []strip {
	if q.size == 0 {
		q.size = body
	}
	ls := broken(q.size, wide-q.indent, spans(s))
	var out []strip
	for i, l := range ls {
		first := i == 0
		st := strip{
			high: high(q.size), keep: q.keep || first && len(ls) > 1 || i == len(ls)-2, // no line alone
			draw: func(p *page, at geom.Vec2) {
				y := at.Y - base(q.size)
				if first && q.box {
					c := q.size * point * 0.82
					p.layers = append(p.layers, lines(0.25, 0, draw.Polyline(rectangle(geom.Box2{Min: geom.V2(at.X, y-0.1*c), Max: geom.V2(at.X+c, y+0.9*c)}), true)))
				}
				if first && q.hang != "" {
					x := at.X + q.indent - 1.6 - width(bold, q.size, q.hang)
					p.texts = append(p.texts, text{at: geom.V2(x, y), size: q.size, face: bold, s: q.hang, grey: q.grey})
				}
				l.set(p, geom.V2(at.X+q.indent, y), q.size, q.grey)
			},
		}
		if first {
			st.tells, st.anchor = q.tells, q.anchor
		}
		out = append(out, st)
	}
	return out
}

// chapter begins a page with a heading.
func (f *flow) chapter(id, title string) {
	f.add(strip{
		high: heading*point*1.5 + 4, keep: true, fresh: true, anchor: []string{id}, mark: &bookmark{title: title},
		draw: func(p *page, at geom.Vec2) {
			y := at.Y - heading*point
			p.texts = append(p.texts, text{at: geom.V2(at.X, y), size: heading, face: bold, s: title})
			p.layers = append(p.layers, lines(0.5, 0, draw.Line(geom.V2(at.X, y-2.6), geom.V2(at.X+f.wide(), y-2.6))))
		},
	})
}

// follows begins a chapter on the same page if half of it is left.
func (f *flow) follows(id, title string) {
	f.gap(9)
	f.chapter(id, title)
	s := &f.strips[len(f.strips)-1]
	s.fresh, s.room = false, 0.5*f.high()
}

// section is a heading within a chapter. An empty id has no entry in viewers.
func (f *flow) section(id, title string) {
	f.gap(3)
	s := strip{
		high: subhead*point*1.5 + 0.8, keep: true,
		draw: func(p *page, at geom.Vec2) {
			p.texts = append(p.texts, text{at: geom.V2(at.X, at.Y-subhead*point*1.1), size: subhead, face: bold, s: title})
		},
	}
	if id != "" {
		s.anchor, s.mark = []string{id}, &bookmark{title: title, level: 1}
	}
	f.add(s)
}

// caution is a warning in a grey field with a bar on its left.
func (f *flow) caution(word, s, source string) {
	const indent, pad = 4.0, 1.4
	all := spans("*" + word + "*  " + s)
	ls := broken(body, f.wide()-indent-2, all)
	var src []line
	if source != "" {
		src = broken(small, f.wide()-indent-2, []span{{italic, source}})
	}
	h := float64(len(ls))*high(body) + float64(len(src))*high(small) + 2*pad
	f.gap(1)
	f.add(strip{high: h, keep: true, draw: func(p *page, at geom.Vec2) {
		box := geom.Box2{Min: geom.V2(at.X, at.Y-h), Max: geom.V2(at.X+f.wide(), at.Y)}
		bar := geom.Box2{Min: box.Min, Max: geom.V2(at.X+1.4, at.Y)}
		p.layers = append(p.layers, lines(0.1, 0, filled(box, 236), filled(bar, 40)))
		y := at.Y - pad
		for _, l := range ls {
			l.set(p, geom.V2(at.X+indent, y-base(body)), body, 0)
			y -= high(body)
		}
		for _, l := range src {
			l.set(p, geom.V2(at.X+indent, y-base(small)), small, 70)
			y -= high(small)
		}
	}})
	f.gap(1.2)
}

// column is one of a table.
type column struct {
	title string
	wide  float64 // share of the table's width
	right bool    // figures stand at the right
	mono  bool
}

// row is one of a table, with what it tells of.
type row struct {
	cells []string
	tells []string
	box   bool // a check box in its first cell
	page  int  // to which it leads, 0 for none
}

// table is a table of the whole width, its head again on every page.
func (f *flow) table(cols []column, rows []row) { f.add(table(f.wide(), cols, rows)...) }

func table(wide float64, cols []column, rows []row) []strip {
	var sum float64
	for _, c := range cols {
		sum += c.wide
	}
	const pad = 1.0
	make := func(r row, head bool) strip {
		var cells [][]line
		most := 1
		for i, c := range cols {
			s := ""
			if i < len(r.cells) {
				s = r.cells[i]
			}
			all := spans(s)
			if head {
				all = []span{{bold, s}}
			} else if c.mono {
				all = []span{{mono, s}}
			}
			ls := broken(small+0.5, c.wide/sum*wide-2*pad-boxed(r, i), all)
			cells = append(cells, ls)
			most = max(most, len(ls))
		}
		h := float64(most)*high(small+0.5) + 1
		return strip{high: h, keep: head, tells: r.tells, draw: func(p *page, at geom.Vec2) {
			x := at.X
			box := geom.Box2{Min: geom.V2(at.X, at.Y-h), Max: geom.V2(at.X+wide, at.Y)}
			if head {
				p.layers = append(p.layers, lines(0.1, 0, filled(box, 225)))
			}
			p.layers = append(p.layers, lines(0.13, 140, draw.Line(box.Min, geom.V2(box.Max.X, box.Min.Y))))
			if r.page > 0 {
				p.links = append(p.links, link{box, r.page - 1})
			}
			for i, c := range cols {
				w := c.wide / sum * wide
				y := at.Y - 0.6
				if i == 0 && r.box {
					b := (small + 0.5) * point * 0.82
					p.layers = append(p.layers, lines(0.25, 0, draw.Polyline(rectangle(geom.Box2{Min: geom.V2(x+pad, y-base(small+0.5)-0.1*b), Max: geom.V2(x+pad+b, y-base(small+0.5)+0.9*b)}), true)))
				}
				for _, l := range cells[i] {
					lx := x + pad + boxed(r, i)
					if c.right {
						lx = x + w - pad - l.width(small+0.5)
					}
					l.set(p, geom.V2(lx, y-base(small+0.5)), small+0.5, 0)
					y -= high(small + 0.5)
				}
				x += w
			}
		}}
	}
	var out []strip
	var titles []string
	titled := false
	for _, c := range cols {
		titles = append(titles, c.title)
		titled = titled || c.title != ""
	}
	var head *strip
	if titled {
		h := make(row{cells: titles}, true)
		head = &h
		out = append(out, h)
	}
	const together = 8 // rows that no page divides
	for i, r := range rows {
		s := make(r, false)
		s.head = head
		s.keep = i < len(rows)-1 && (len(rows) <= together || i == 0 || i == len(rows)-2)
		out = append(out, s)
	}
	return out
}

func boxed(r row, i int) float64 {
	if i == 0 && r.box {
		return 4
	}
	return 0
}

// picture is a drawing of some size with what it says below.
type picture struct {
	size    geom.Vec2    // mm
	layers  []draw.Layer // from its lower left corner
	caption string
	tells   []string
	labels  []geom.Box2 // places of its labels, none of which may meet
}

// figure puts a picture in the middle of the column.
func (f *flow) figure(pic *picture) {
	if pic == nil {
		return
	}
	f.add(pic.strips(f.wide())...)
	f.gap(1.5)
}

func (pic *picture) strips(wide float64) []strip {
	out := []strip{{high: pic.size.Y + 1, keep: pic.caption != "", tells: pic.tells, draw: func(p *page, at geom.Vec2) {
		pic.put(p, geom.V2(at.X+(wide-pic.size.X)/2, at.Y-pic.size.Y-0.5))
	}}}
	if pic.caption != "" {
		ls := broken(small, wide, []span{{italic, pic.caption}})
		for i, l := range ls {
			out = append(out, strip{high: high(small), keep: i < len(ls)-1, draw: func(p *page, at geom.Vec2) {
				l.set(p, geom.V2(at.X+(wide-l.width(small))/2, at.Y-base(small)), small, 50)
			}})
		}
	}
	return out
}

// put draws the picture with its lower left corner at a point of a page.
func (pic *picture) put(p *page, at geom.Vec2) {
	for _, l := range pic.layers {
		p.layers = append(p.layers, moved(l, at))
	}
}

// moved is a layer elsewhere.
func moved(l draw.Layer, by geom.Vec2) draw.Layer {
	shift := func(q geom.Vec2) geom.Vec2 { return q.Add(by) }
	items := make([]draw.Item, len(l.Items))
	for i, it := range l.Items {
		switch it := it.(type) {
		case draw.Path:
			items[i] = it.Map(shift, false)
		case draw.Circle:
			it.Center = shift(it.Center)
			items[i] = it
		case draw.Text:
			it.At = shift(it.At)
			items[i] = it
		case draw.Region:
			it.Area = it.Area.Map(shift)
			items[i] = it
		}
	}
	l.Items = items
	return l
}

// beside puts strips of two columns next to one another, as one strip that no
// page divides.
func (f *flow) beside(share float64, left, right []strip) {
	const gutter = 5
	sum := func(s []strip) (h float64) {
		for _, x := range s {
			h += x.high
		}
		return h
	}
	h := max(sum(left), sum(right))
	out := strip{high: h, keep: f.stays, draw: func(p *page, at geom.Vec2) {
		for i, side := range [][]strip{left, right} {
			x, y := at.X, at.Y
			if i == 1 {
				x += share*(f.wide()-gutter) + gutter
			}
			for _, s := range side {
				if s.draw != nil {
					s.draw(p, geom.V2(x, y))
				}
				y -= s.high
			}
		}
	}}
	for _, s := range slices.Concat(left, right) {
		out.anchor = append(out.anchor, s.anchor...)
		out.tells = append(out.tells, s.tells...)
	}
	f.add(out)
	f.gap(2)
}

// columns are the widths of the two sides of beside.
func (f *flow) columns(share float64) (left, right float64) {
	const gutter = 5
	left = share * (f.wide() - gutter)
	return left, f.wide() - gutter - left
}

// pagesOf writes pages as ranges: "3, 5-7".
func pagesOf(ps []int) string {
	ps = slices.Clone(ps)
	slices.Sort(ps)
	ps = slices.Compact(ps)
	var out []string
	for i := 0; i < len(ps); {
		j := i
		for j+1 < len(ps) && ps[j+1] == ps[j]+1 {
			j++
		}
		switch {
		case j == i:
			out = append(out, fmt.Sprint(ps[i]))
		case j == i+1:
			out = append(out, fmt.Sprint(ps[i]), fmt.Sprint(ps[j]))
		default:
			out = append(out, fmt.Sprintf("%d-%d", ps[i], ps[j]))
		}
		i = j + 1
	}
	return strings.Join(out, ", ")
}
