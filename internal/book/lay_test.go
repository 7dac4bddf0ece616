package book

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/draw"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/kit"
	"groundwork/internal/plan"
	"groundwork/internal/schedule"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/strength"
	"groundwork/internal/unit"
	"groundwork/internal/veneer"
)

var books = map[string]*booklet{}

// pagesFor is an example's book before it is a file.
func pagesFor(t testing.TB, name string, o Options) *booklet {
	t.Helper()
	key := fmt.Sprint(name, o)
	if b, ok := books[key]; ok {
		return b
	}
	b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: planned(t, name), Maker: "The workshop in the yard", Notes: "Take your time.\nAsk."}, o)
	if err != nil {
		t.Fatal(err)
	}
	books[key] = b
	return b
}

var examplesHere = []string{"heron-side-table", "otter-stool"}

// words are all texts of a page, those in drawings among them.
func words(p page) (out []text) {
	for _, l := range p.layers {
		for _, it := range l.Items {
			if t, ok := it.(draw.Text); ok {
				out = append(out, lettered(t, l.Style()))
			}
		}
	}
	return append(out, p.texts...)
}

// No writing is smaller than 8 points, none meets other writing, and nothing is
// outside the page.
func TestPages(t *testing.T) {
	for _, name := range append(slices.Clone(examplesHere), "badger-bench", "tern-wall-shelf") {
		for _, o := range []Options{{}, {Inch: true, Paper: Letter}} {
			if o.Inch && !slices.Contains(examplesHere, name) {
				continue
			}
			wellWritten(t, name, pagesFor(t, name, o))
		}
	}
}

// wellWritten is whether all writing is large enough, on its page, and over no other.
func wellWritten(t *testing.T, name string, b *booklet) {
	t.Helper()
	if len(b.pages) < 10 {
		t.Fatalf("%s: %d pages", name, len(b.pages))
	}
	paper := geom.Box2{Max: b.size}
	for i, p := range b.pages {
		ws := words(p)
		if len(ws) < 3 {
			t.Errorf("%s: page %d has %d words", name, i+1, len(ws))
		}
		for n, w := range ws {
			if w.size < least-0.01 {
				t.Errorf("%s: page %d: %q is set in %.2f points", name, i+1, w.s, w.size)
			}
			box := w.box()
			if !inside(paper, box) {
				t.Errorf("%s: page %d: %q leaves the page: %v", name, i+1, w.s, box)
			}
			for _, v := range ws[:n] {
				if w.angle == 0 && v.angle == 0 && strings.TrimSpace(w.s) != "" && box.Grow(-0.05).Overlaps(v.box().Grow(-0.05)) {
					t.Errorf("%s: page %d: %q lies over %q", name, i+1, w.s, v.s)
				}
			}
		}
		for _, l := range p.layers {
			for _, it := range l.Items {
				if b := it.Bounds(); !b.Empty() && !inside(paper, b) {
					if _, ok := it.(draw.Text); !ok {
						t.Errorf("%s: page %d: a %T leaves the page: %v", name, i+1, it, b)
					}
				}
			}
		}
	}
}

func inside(a, b geom.Box2) bool {
	return b.Min.X >= a.Min.X && b.Min.Y >= a.Min.Y && b.Max.X <= a.Max.X && b.Max.Y <= a.Max.Y
}

// What the tables of contents and the index say is where it stands.
func TestReferences(t *testing.T) {
	for _, name := range examplesHere {
		b := pagesFor(t, name, Options{})
		for i, p := range b.pages {
			for _, w := range words(p) {
				if w.s == "00" || strings.Contains(w.s, "page 00") {
					t.Errorf("%s: page %d refers to nowhere: %q", name, i+1, w.s)
				}
			}
			for _, l := range p.links {
				if l.page < 0 || l.page >= len(b.pages) {
					t.Errorf("%s: page %d leads to page %d of %d", name, i+1, l.page+1, len(b.pages))
				}
			}
		}
		// Every entry of the contents: the title stands on the page that it names.
		links := 0
		for _, l := range b.pages[1].links {
			var title string
			for _, w := range b.pages[1].texts {
				if inside(l.box.Grow(0.5), w.box()) && title == "" {
					title = w.s
				}
			}
			links++
			if !slices.ContainsFunc(words(b.pages[l.page]), func(w text) bool { return w.s == title }) {
				t.Errorf("%s: %q does not stand on page %d", name, title, l.page+1)
			}
		}
		if links < 15 {
			t.Errorf("%s: %d entries in the contents", name, links)
		}
		// Every segment and leaf is in the index, and where the index says.
		pl := planned(t, name)
		var ids []string
		for _, s := range pl.Cores.Segments {
			ids = append(ids, s.ID)
		}
		for _, p := range pl.Patterns {
			ids = append(ids, p.ID)
		}
		index := map[string]string{}
		for _, p := range b.pages {
			if !slices.ContainsFunc(p.texts, func(w text) bool { return w.s == "Pages" }) {
				continue
			}
			for n, w := range p.texts[:len(p.texts)-1] {
				if slices.Contains(ids, w.s) {
					index[w.s] = p.texts[n+1].s
				}
			}
		}
		for _, id := range ids {
			if index[id] == "" {
				t.Errorf("%s: %s is not in the index", name, id)
				continue
			}
			for _, n := range numbers(index[id]) {
				if n < 1 || n > len(b.pages) || !slices.ContainsFunc(words(b.pages[n-1]), func(w text) bool { return mentions(w.s, id) }) {
					t.Errorf("%s: %s is said to be on page %d", name, id, n)
				}
			}
		}
	}
}

// mentions is whether an ID, or its member's where it was told with that, stands in writing.
func mentions(s, id string) bool {
	for _, x := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == ',' }) {
		if x == id || strings.TrimSuffix(x, ".") == id {
			return true
		}
	}
	return false
}

// numbers are those of "3, 5-7".
func numbers(s string) (out []int) {
	for _, part := range strings.Split(s, ", ") {
		var a, b int
		if n, _ := fmt.Sscanf(part, "%d-%d", &a, &b); n == 2 {
			for i := a; i <= b; i++ {
				out = append(out, i)
			}
		} else if n == 1 {
			out = append(out, a)
		}
	}
	return out
}

// saidIn is all that is written in a book, line by line.
func saidIn(b *booklet) string {
	var all strings.Builder
	for _, p := range b.pages {
		for _, w := range words(p) {
			all.WriteString(w.s + "\n")
		}
	}
	return all.String()
}

// totals are a plan's, as the book tells them.
func totals(pl *plan.Plan) []string {
	return []string{
		unit.FormatMass(pl.Checks.Mass),
		fmt.Sprintf("%d segments on %d print loads, %s of filament, %s (%s to %s)", len(pl.Cores.Segments), len(pl.Printing.Loads), unit.FormatMass(pl.Bill.FilamentGrams),
			unit.FormatDuration(pl.Bill.PrintSeconds), unit.FormatDuration(pl.Bill.PrintLow), unit.FormatDuration(pl.Bill.PrintHigh)),
		fmt.Sprintf("%d leaves and bands on %d blanks", len(pl.Patterns), len(pl.Sheets.Blanks)),
		"about " + unit.FormatDuration(pl.Bill.LabourSeconds) + ", without waiting",
	}
}

// The figures are the plan's, rounded as everywhere; package job holds the book of
// a job against its plan.json.
func TestNumbers(t *testing.T) {
	for _, name := range examplesHere {
		pl := planned(t, name)
		book := saidIn(pagesFor(t, name, Options{}))
		for _, want := range totals(pl) {
			if !strings.Contains(strings.ReplaceAll(book, "\n", " "), want) {
				t.Errorf("%s: the book lacks %q", name, want)
			}
		}
		for _, l := range pl.Printing.Loads {
			if s := fmt.Sprintf("%s (%s to %s)", unit.FormatDuration(l.Seconds), unit.FormatDuration(l.Low), unit.FormatDuration(l.High)); !strings.Contains(book, s) {
				t.Errorf("%s: %s lacks %q", name, l.ID, s)
			}
		}
		for _, l := range pl.Bill.Lines {
			if l.Section != "hardware" {
				continue
			}
			if !strings.Contains(book, l.Item+"\n"+fmt.Sprintf("%g %s", l.Quantity, plural(int(l.Quantity), "piece", "pieces"))) {
				t.Errorf("%s: the lists lack %g of %s", name, l.Quantity, l.Item)
			}
		}
		// Screws and dowels of the steps are those of the bill.
		screws := 0
		for _, j := range pl.Joints.Joints {
			screws += len(j.Screws)
		}
		steps := stepsOf(t, pl)
		told := 0
		for _, s := range steps {
			if s.Phase != Assemble {
				continue
			}
			for _, tb := range s.Tables {
				for _, r := range tb.Rows {
					for _, j := range pl.Joints.Joints {
						if j.ID == r[0] {
							told += len(j.Screws)
						}
					}
				}
			}
		}
		if told != screws {
			t.Errorf("%s: the steps set %d screws of %d", name, told, screws)
		}
	}
}

func stepsOf(t *testing.T, pl *plan.Plan) []Step {
	t.Helper()
	a, err := takeApart(t, pl)
	if err != nil {
		t.Fatal(err)
	}
	return Steps(Inputs{Plan: pl, Revision: "TEST"}, a, unit.Metric)
}

// Steps need only what stands before them, every part is printed, glued, cut and
// laid in some step, and every caution stands at one.
func TestSteps(t *testing.T) {
	for _, name := range []string{"heron-side-table", "otter-stool", "badger-bench"} {
		pl := planned(t, name)
		steps := stepsOf(t, pl)
		done := map[string]bool{}
		parts := map[Phase][]string{}
		var told []string
		for _, s := range steps {
			if done[s.ID] {
				t.Errorf("%s: %s twice", name, s.ID)
			}
			for _, n := range s.Needs {
				if !done[n] {
					t.Errorf("%s: %s needs %s, which does not stand before it", name, s.ID, n)
				}
			}
			if len(s.Does) == 0 && len(s.Tables) == 0 {
				t.Errorf("%s: there is nothing to do in %s", name, s.ID)
			}
			done[s.ID] = true
			parts[s.Phase] = append(parts[s.Phase], s.Parts...)
			for _, c := range s.Cautions {
				told = append(told, c.Text)
			}
		}
		has := func(ph Phase, id string) {
			if !slices.Contains(parts[ph], id) {
				t.Errorf("%s: %s is in no step of %q", name, id, ph)
			}
		}
		for _, s := range pl.Cores.Segments {
			has(Print, s.ID)
		}
		for _, s := range pl.Seams.Seams {
			has(Glue, s.ID)
		}
		for _, p := range pl.Patterns {
			has(Cut, p.ID)
			has(Lay, p.ID)
		}
		for _, b := range pl.Sheets.Blanks {
			has(Cut, b.ID)
		}
		for _, j := range pl.Joints.Joints {
			if len(j.Screws) > 0 {
				has(Assemble, j.ID)
			}
			if j.Kind == "glued" {
				has(Join, j.ID)
			}
		}
		for _, c := range pl.Checks.Cautions {
			if !slices.Contains(told, c.Text) {
				t.Errorf("%s: the caution %q belongs to no step", name, c.Text)
			}
		}
	}
}

// Held patterns are cut only after the measuring.
func TestHold(t *testing.T) {
	pl := planned(t, "heron-side-table")
	steps := stepsOf(t, pl)
	held := 0
	for _, s := range steps {
		if !strings.HasPrefix(s.ID, "cut/blank") {
			continue
		}
		waits := slices.ContainsFunc(pl.Patterns, func(p veneer.Pattern) bool { return p.Release != "" && slices.Contains(s.Parts, p.ID) })
		if waits != slices.Contains(s.Needs, "measure/all") {
			t.Errorf("%s: waits %v", s.ID, waits)
		}
		if waits {
			held++
		}
	}
	if held == 0 {
		t.Error("nothing is held")
	}
}

// Every glue-up presses two sides together along one plane, and in the end there
// is one.
func TestGlueUps(t *testing.T) {
	for _, name := range []string{"heron-side-table", "badger-bench"} {
		pl := planned(t, name)
		for b, body := range pl.Seams.Bodies {
			together := map[string]int{}
			for i, s := range segments(pl, b) {
				together[s] = i
			}
			closed := map[int]bool{}
			for _, g := range glueUps(pl, b) {
				for _, side := range [][]string{g.a, g.b} {
					for _, s := range side {
						if together[s] != together[side[0]] {
							t.Errorf("%s: %s: %s is not yet part of %v", name, body.ID, s, side)
						}
					}
				}
				for _, n := range g.seams {
					s := pl.Seams.Seams[n]
					first := pl.Seams.Seams[g.seams[0]]
					if math.Abs(s.Plane.Normal.Dot(first.Plane.Normal)) < 1-1e-9 {
						t.Errorf("%s: %s and %s are pressed in one go along different planes", name, s.ID, first.ID)
					}
					if closed[n] {
						t.Errorf("%s: %s is closed twice", name, s.ID)
					}
					closed[n] = true
				}
				for s, n := range together {
					if n == together[g.b[0]] && s != g.b[0] {
						together[s] = together[g.a[0]]
					}
				}
				together[g.b[0]] = together[g.a[0]]
			}
			all := 0
			for _, s := range pl.Seams.Seams {
				if s.Body == b {
					all++
				}
			}
			if len(closed) != all {
				t.Errorf("%s: %s: %d of %d seams are closed", name, body.ID, len(closed), all)
			}
		}
	}
}

// The order of a plain grid of two by three: pairs first, then rows.
func TestGlueUpsOfGrid(t *testing.T) {
	pl := grid(2, 3)
	var sizes []string
	for _, g := range glueUps(pl, 0) {
		sizes = append(sizes, fmt.Sprintf("%d+%d by %d", len(g.a), len(g.b), len(g.seams)))
	}
	// 6 = 3+3 along the plane with three seams; each 3 = 1+2 by one, 2 = 1+1 by one.
	want := []string{"1+1 by 1", "1+2 by 1", "1+1 by 1", "1+2 by 1", "3+3 by 3"}
	if !slices.Equal(sizes, want) {
		t.Errorf("%v, want %v", sizes, want)
	}
}

// grid is a plan of one body cut into boxes of 100 mm.
func grid(nx, ny int) *plan.Plan {
	pl := &plan.Plan{Seams: &seam.Result{Bodies: []seam.Body{{ID: "b", Members: []int{0}}}}, Cores: &core.Result{}}
	id := func(x, y int) string { return fmt.Sprintf("b.%d%d", x, y) }
	for x := range nx {
		for y := range ny {
			pl.Seams.Segments = append(pl.Seams.Segments, seam.Segment{ID: id(x, y)})
			pl.Cores.Segments = append(pl.Cores.Segments, core.Segment{ID: id(x, y), Bounds: geom.EmptyBox3().Add(geom.V3(float64(x)*100, float64(y)*100, 0)).Add(geom.V3(float64(x+1)*100, float64(y+1)*100, 20))})
			if x > 0 {
				pl.Seams.Seams = append(pl.Seams.Seams, seam.Seam{ID: fmt.Sprint("x", x, y), Plane: geom.PlaneAt(geom.V3(float64(x)*100, 0, 0), geom.V3(1, 0, 0)), Segments: [2]string{id(x-1, y), id(x, y)}})
			}
			if y > 0 {
				pl.Seams.Seams = append(pl.Seams.Seams, seam.Seam{ID: fmt.Sprint("y", x, y), Plane: geom.PlaneAt(geom.V3(0, float64(y)*100, 0), geom.V3(0, 1, 0)), Segments: [2]string{id(x, y-1), id(x, y)}})
			}
		}
	}
	return pl
}

// Pieces go together in the reverse of how they come apart: what is screwed last
// in the heron is the top, and its frames are glued before anything is screwed.
func TestMoves(t *testing.T) {
	a, err := takeApart(t, planned(t, "heron-side-table"))
	if err != nil {
		t.Fatal(err)
	}
	ms := moves(a)
	if len(ms) < 3 || ms[0].phase != "glued" || !slices.Contains(ms[len(ms)-1].moving, "top") {
		t.Errorf("%+v", ms)
	}
	for i, m := range ms {
		if m.phase == "members" && slices.Contains(m.rest, "top") != (i == len(ms)) && i < len(ms)-1 && slices.Contains(m.rest, "top") {
			t.Errorf("move %d has the top already", i)
		}
	}
}

// Torque by hand: M5 with a washer of 10 mm on a hole of 5.5 mm in plastic of
// 36 MPa bears 0.25 · 36 · π/4 (10² - 5.5²) = 493 N, times 0.2 · 5 mm is 0.493 N m.
func TestTorque(t *testing.T) {
	in := shop.Insert{Outer: 6.7, Length: 9.5}
	if got := Torque(joint.Screw{Size: "M5", Washer: true}, in, 36); math.Abs(got-0.493) > 0.0005 {
		t.Errorf("%.4f N m", got)
	}
	// A short insert governs: half of 0.25 · 0.577 · 36 · π · 6.7 · 2 = 218.6 N is 109.3 N.
	in.Length = 2
	if got := Torque(joint.Screw{Size: "M5", Washer: true}, in, 36); math.Abs(got-0.1093) > 0.0002 {
		t.Errorf("%.4f N m", got)
	}
}

// The same inputs give the same bytes.
func TestSameBytes(t *testing.T) {
	var files [2][]byte
	for i := range files {
		b, err := Make(context.Background(), theKernel(t), Inputs{Plan: planned(t, "otter-stool")}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		files[i] = b
	}
	if !bytes.Equal(files[0], files[1]) {
		t.Error("two runs differ")
	}
}

// Broken lines hold every word, in order, within the width.
func TestBroken(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ws []string
		for range rapid.IntRange(1, 30).Draw(t, "words") {
			ws = append(ws, rapid.StringMatching(`[a-z*]{1,12}`).Draw(t, "word"))
		}
		s := strings.Join(ws, " ")
		wide := rapid.Float64Range(12, 120).Draw(t, "width")
		var got strings.Builder
		for i, l := range broken(9, wide, spans(s)) {
			if w := l.width(9); w > wide+1e-6 {
				t.Fatalf("line %d of %q is %.2f mm wide of %.2f", i, s, w, wide)
			}
			for _, sp := range l {
				got.WriteString(sp.s)
			}
		}
		strip := func(s string) string { return strings.NewReplacer(" ", "", "*", "").Replace(s) }
		if strip(got.String()) != strip(s) {
			t.Fatalf("%q became %q", s, got.String())
		}
	})
}

// A drawing at full size is whole on its pages, those that are left out not
// counted: every point of a line is on one of them. Neighbours overlap by 10 mm, and
// what lies in the overlap alone brings no page. Below every page stands what its
// lines are, with a piece of each in the style that it is drawn in.
func TestTiles(t *testing.T) {
	long := draw.Layer{Name: "a", Operation: draw.Note, Pen: pen(0.35, 0), Items: []draw.Item{draw.Line(geom.V2(0, 0), geom.V2(500, 700))}}
	dashed := &draw.Style{Width: 0.18, Dash: []float64{3, 1.5}}
	few := draw.Layer{Name: "b", Operation: draw.Note, Pen: dashed, Items: []draw.Item{draw.Circle{Center: geom.V2(40, 60), Radius: 5}}}
	s := draw.Sheet{Width: 500, Height: 700, Layers: []draw.Layer{long, few}}
	w := &writer{paper: A4.size()}
	tp := w.template("x", "", s, []fixture.Key{{Layers: []string{"a"}, Words: "saw on it"}, {Layers: []string{"b"}, Words: "hole"}}, "", "x")
	s = tp.sheet // it may be turned
	f := w.flow()
	c, r := tp.tiling.cols, tp.tiling.rows
	if c < 3 || r < 3 || len(tp.shown()) >= c*r || len(tp.shown())+len(tp.bare) < c*r {
		t.Fatalf("%d of %d x %d pages", len(tp.shown()), c, r)
	}
	if said := strings.Count(tp.parting(), "column "); said != c*r-len(tp.shown()) {
		t.Errorf("%q of %d x %d pages with %d shown", tp.parting(), c, r, len(tp.shown()))
	}
	var length float64
	for _, at := range tp.shown() {
		f.add(f.tile(tp, at[0], at[1]))
		for _, it := range clipped(s.Layers[0], tp.tiling.own(at[0], at[1]), geom.Vec2{}).Items {
			length += it.(draw.Path).Length()
		}
		if right := tp.tiling.window(at[0]+1, at[1]); math.Abs(tp.tiling.window(at[0], at[1]).Max.X-right.Min.X-10) > 1e-9 {
			t.Errorf("page %v and the next do not overlap by 10 mm", at)
		}
	}
	if want := math.Hypot(500, 700); math.Abs(length-want) > 0.1*float64(c*r) { // a speck may be left out
		t.Errorf("%.6f mm of %.6f", length, want)
	}
	out := f.lay(false)
	if len(out.pages) != len(tp.shown()) {
		t.Errorf("%d pages of %d", len(out.pages), len(tp.shown()))
	}
	for i, p := range out.pages {
		for k, name := range []string{"a", "b"} {
			drawn := len(clipped(s.Layers[k], tp.tiling.window(tp.shown()[i][0], tp.shown()[i][1]), geom.Vec2{}).Items) > 0
			told := slices.ContainsFunc(p.texts, func(x text) bool { return x.s == []string{"saw on it", "hole"}[k] })
			sample := slices.ContainsFunc(p.layers, func(l draw.Layer) bool {
				return l.Name == "legend "+name && reflect.DeepEqual(l.Style(), s.Layers[k].Style())
			})
			if drawn != told || drawn != sample {
				t.Errorf("page %d: layer %s is drawn %v, told of %v, with a sample %v", i+1, name, drawn, told, sample)
			}
		}
	}

	// A line that reaches into the next page's window by the overlap is whole on the first.
	near := tp.tiling.step.X + 9
	short := draw.Sheet{Width: near + 6, Height: 100, Layers: []draw.Layer{{Name: "a", Operation: draw.Cut, Items: []draw.Item{draw.Line(geom.V2(5, 5), geom.V2(near, 90))}}}}
	if one := w.template("y", "", short, nil, "", "y"); len(one.shown()) != 1 {
		t.Errorf("a drawing that ends in the overlap takes the pages %v", one.shown())
	}
	// The bar is 100 mm long.
	for i, p := range out.pages {
		found := false
		for _, l := range p.layers {
			for _, it := range l.Items {
				if q, ok := it.(draw.Path); ok && math.Abs(q.Length()-100) < 1e-9 {
					found = true
				}
			}
		}
		if !found {
			t.Errorf("page %d has no bar of 100 mm", i+1)
		}
	}
}

func TestGrids(t *testing.T) {
	for _, g := range []Grid{A4Grid3x8, A4Grid3x7, LetterGrid3x10} {
		b, err := labelSheets(Inputs{Plan: planned(t, "otter-stool")}, g)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for i, p := range b.pages {
			for k, w := range p.texts {
				if !inside(geom.Box2{Max: b.size}, w.box()) || w.size < least {
					t.Errorf("page %d: %q at %v in %.1f points", i+1, w.s, w.at, w.size)
				}
				for _, v := range p.texts[:k] {
					if w.box().Grow(-0.05).Overlaps(v.box().Grow(-0.05)) {
						t.Errorf("page %d: %q lies over %q", i+1, w.s, v.s)
					}
				}
			}
			n += len(p.layers)
		}
		pl := planned(t, "otter-stool")
		// One of each, of what lies in the box by its number.
		want := map[string]bool{}
		for _, s := range pl.Cores.Segments {
			want[s.ID] = true
		}
		for _, p := range pl.Patterns {
			want[p.ID] = true
		}
		for _, b := range pl.Sheets.Blanks {
			want[b.ID] = true
		}
		printed, _ := pl.Fixtures.Segments()
		for _, s := range printed {
			if !strings.HasPrefix(s.ID, "plug") && !strings.HasPrefix(s.ID, "dowel") {
				want[s.ID] = true
			}
		}
		for _, x := range pl.Kit.Things {
			want[x.ID] = true
		}
		if n != len(want) {
			t.Errorf("%d labels of %d", n, len(want))
		}
		for i, x := range tags(Inputs{Plan: pl, Revision: "R"}) {
			if i < len(pl.Kit.Things) && (x.n != i+1 || x.id != pl.Kit.Things[i].ID) || i >= len(pl.Kit.Things) && x.n != 0 || !want[x.id] {
				t.Errorf("label %d: %+v", i+1, x)
			}
		}
	}
	for _, g := range []Grid{
		{Columns: 4, Rows: 8, Size: geom.V2(70, 36)},
		{Columns: 3, Rows: 8, Size: geom.V2(30, 36)},
		{Columns: 3, Rows: 8, Size: geom.V2(70, 36), Pitch: geom.V2(60, 36)},
		{Columns: 3, Rows: 8, Size: geom.V2(70, 36), Skip: 24},
	} {
		if _, err := Labels(Inputs{Plan: planned(t, "otter-stool")}, g); err == nil {
			t.Errorf("%+v was let pass", g)
		}
	}
}

func TestPagesOf(t *testing.T) {
	for _, c := range []struct {
		in   []int
		want string
	}{{nil, ""}, {[]int{3}, "3"}, {[]int{4, 3}, "3, 4"}, {[]int{7, 5, 6, 3, 3}, "3, 5-7"}} {
		if got := pagesOf(c.in); got != c.want {
			t.Errorf("%v: %q, want %q", c.in, got, c.want)
		}
	}
}

// What fixtures bring stands in the book: in the list, at the step that they
// belong to, in the way that glue-ups go, and at full size.
func TestFixtures(t *testing.T) {
	pl := planned(t, "otter-stool")
	var seat []string
	for _, s := range pl.Seams.Seams {
		if pl.Seams.Bodies[s.Body].ID == "seat" {
			seat = append(seat, s.ID)
		}
	}
	sheetOf := draw.Sheet{Width: 246, Height: 180, Layers: []draw.Layer{{Name: "work", Operation: draw.Cut, Items: []draw.Item{draw.Circle{Center: geom.V2(120, 90), Radius: 40}}},
		{Name: "note", Operation: draw.Note, Items: []draw.Item{draw.Text{At: geom.V2(10, 10), Height: 2.5, String: "clamping"}}}}}
	board := draw.Sheet{Width: 598, Height: 144, Layers: []draw.Layer{{Name: "outline", Operation: draw.Cut, Items: []draw.Item{draw.Polyline([]geom.Vec2{{X: 1, Y: 1}, {X: 597, Y: 1}, {X: 597, Y: 143}, {X: 1, Y: 143}}, true)}}}}
	fx := &fixture.Result{
		Fixtures: []fixture.Fixture{
			{ID: "coupon/bar", Kind: fixture.Coupon, Step: fixture.Measure, Words: "Measure the bar.", Parts: []fixture.Part{{ID: "coupon/bar/a", Filament: "abs", Quantity: 1}}},
			{ID: "fence/1", Kind: fixture.Fence, Step: fixture.LayLeaves, Serves: []string{"seat/face"}, Words: "Lay the leaf against it.", Parts: []fixture.Part{{ID: "fence/1/a", Filament: "pla", Quantity: 3}},
				Templates: []fixture.Template{{ID: "fence-board/seat", Sheet: board, Material: "scrap board", Thickness: 18, Quantity: 1, Words: "Seen from above."}}},
		},
		Clamping: []fixture.ClampPlan{{ID: "clamping/seat/1", Serves: seat, Parts: []string{"seat.a", "seat.b", "seat.c"}, Step: fixture.GlueSegments, Sheet: sheetOf, Scale: 5, Words: []string{"Lay the parts flat.", "Clamp in H4."}}},
	}
	mine := *pl
	mine.Fixtures, mine.FixturePrinting = fx, nil
	pl = &mine
	mine.Schedule = &schedule.Result{Activities: []schedule.Activity{
		{ID: "print load-01", Kind: schedule.Print, Of: "load-01", Start: 9 * 3600, End: 30 * 3600, Hand: 600, Machine: "small-bed 1"},
		{ID: "glue seat", Kind: schedule.Glue, Of: "seat", Start: 34 * 3600, End: 36 * 3600, Hand: 900, Critical: true},
	}, Begin: 9 * 3600, End: 36 * 3600, Billed: 1500}
	b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: pl, Licence: "For your own use."}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	upright := 0
	for i, p := range b.pages {
		for _, w := range words(p) {
			all.WriteString(w.s + "\n")
			if w.size < least-0.01 || !inside(geom.Box2{Max: b.size}, w.box()) {
				t.Errorf("page %d: %q in %.1f points at %v", i+1, w.s, w.size, w.box())
			}
			if strings.HasPrefix(w.s, "fence-board/seat: column") {
				upright++
			}
		}
	}
	for _, want := range []string{"Fixtures to make first", "The calendar", "day 2 10:00 - 12:00 by hand glue : seat", "09:00 - 06:00 +1 small-bed 1 print : load-01", "For your own use.", "Measure the bar.", "Lay the leaf against it.", "Set up fence/1.", "Clamp in H4.", "clamping/seat/1, from above; push 0 mm above the bench.", "Seen from above."} {
		if !strings.Contains(strings.Join(strings.Fields(all.String()), " "), want) {
			t.Errorf("the book lacks %q", want)
		}
	}
	if upright != 3 { // 144 x 598 mm on 174 x 247 mm; lying it would be four
		t.Errorf("the fence's board is on %d pages, want 3", upright)
	}
	a, err := takeApart(t, pl)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range Steps(Inputs{Plan: pl}, a, unit.Metric) {
		if s.ID == "glue/seat" && len(s.Tables[0].Rows) != 1 {
			t.Errorf("the seat is clamped once, and glued in %d", len(s.Tables[0].Rows))
		}
	}
	without, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: pl}, Options{NoTemplates: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(without.pages) >= len(b.pages)-2 {
		t.Errorf("%d pages without templates, %d with them", len(without.pages), len(b.pages))
	}
}

// squeezed is all writing of a book in reading order without white space, so that
// what is broken over lines is found.
func squeezed(b *booklet) string {
	var all strings.Builder
	for _, p := range b.pages {
		for _, w := range words(p) {
			all.WriteString(strings.Join(strings.Fields(w.s), ""))
		}
	}
	return all.String()
}

// The hours of the book, the bill and the calendar are the same hours.
func TestHours(t *testing.T) {
	for _, name := range examplesHere {
		pl := planned(t, name)
		all := pl.Bill.LabourSeconds + pl.Bill.FixtureLabourSeconds
		tests := 0.0
		if !slices.ContainsFunc(pl.Schedule.Activities, func(a schedule.Activity) bool { return a.Kind == schedule.Coupons }) {
			for _, h := range pl.Bill.Hands {
				if h.Section == bill.Fixtures && h.Line == bill.Testing {
					tests += float64(h.Seconds)
				}
			}
		}
		if math.Abs(pl.Schedule.Billed+tests-all) > 0.5 {
			t.Errorf("%s: %g s by hand in the calendar and %g s of tests before, %g on the bill", name, pl.Schedule.Billed, tests, all)
		}
		said := squeezed(pagesFor(t, name, Options{}))
		for _, s := range []float64{pl.Bill.LabourSeconds, pl.Bill.FixtureLabourSeconds, pl.Schedule.Billed} {
			if want := strings.ReplaceAll(unit.FormatDuration(s), " ", ""); !strings.Contains(said, want) {
				t.Errorf("%s: the book does not tell of %s", name, want)
			}
		}
		// Every day on which anything begins, and every activity or that there are more.
		for _, a := range pl.Schedule.Activities {
			if d := fmt.Sprintf("day%d", int(a.Start/day)+1); a.End > a.Start && !strings.Contains(said, d) {
				t.Errorf("%s: %s is missing", name, d)
			}
		}
		w := &writer{artist: &artist{planner: &planner{pl: pl}}}
		listed := 0
		for _, e := range w.daily() {
			listed += len(e.of) + map[bool]int{true: 1}[len(e.of) == 0]
		}
		if listed < len(pl.Schedule.Activities)/4 || listed > len(pl.Schedule.Activities) {
			t.Errorf("%s: %d activities make %d entries", name, len(pl.Schedule.Activities), listed)
		}
	}
}

// What is done and to what, from an activity's ID.
func TestVerb(t *testing.T) {
	for _, c := range []struct{ id, of, does, to string }{
		{"print load-01", "load-01", "print", "load-01"},
		{"print fixtures load-01", "fixtures load-01", "print", "fixtures load-01"},
		{"sand leg-1 P180", "leg-1", "sand P180", "leg-1"},
		{"glue body top/1", "top", "glue body", "top/1"},
		{"lay top/face (2 of 3)", "top/face", "lay", "top/face"},
		{"unpack veneer", "piece", "unpack veneer", ""},
		{"fill leg-12", "leg-1", "fill leg-12", ""},
		{"hand over", "", "hand over", ""},
	} {
		if does, to := verb(schedule.Activity{ID: c.id, Of: c.of}); does != c.does || to != c.to {
			t.Errorf("%q of %q: %q to %q", c.id, c.of, does, to)
		}
	}
}

// Every file of a fixture stands in the book, as the job folder calls it, and
// every load of fixtures has its card.
func TestFixtureFiles(t *testing.T) {
	for _, name := range examplesHere {
		pl := planned(t, name)
		said := squeezed(pagesFor(t, name, Options{}))
		n := 0
		for _, f := range pl.Fixtures.Fixtures {
			for _, p := range f.Parts {
				n++
				if file := strings.TrimPrefix(p.File(), "fixtures/"); !strings.Contains(said, file) {
					t.Errorf("%s: the book lacks %s", name, file)
				}
			}
			for _, x := range f.Templates {
				n++
				if !strings.Contains(said, x.File()) {
					t.Errorf("%s: the book lacks %s", name, x.File())
				}
			}
			for _, x := range f.Needs {
				if !strings.Contains(said, strings.ReplaceAll(x.Item, " ", "")) {
					t.Errorf("%s: the book lacks %s", name, x.Item)
				}
			}
		}
		for _, l := range pl.FixturePrinting.Loads {
			if !strings.Contains(said, "fixtures/"+l.ID+".3mf") {
				t.Errorf("%s: no card of %s of the fixtures", name, l.ID)
			}
		}
		if n < 20 {
			t.Errorf("%s: %d files", name, n)
		}
	}
}

// What is in the box, with the spares, and who does what.
func TestBox(t *testing.T) {
	pl := *planned(t, "otter-stool")
	said := squeezed(pagesFor(t, "otter-stool", Options{}))
	for _, x := range pl.Kit.Things {
		if !strings.Contains(said, x.ID) {
			t.Errorf("the book lacks %s of the box", x.ID)
		}
	}
	for _, x := range pl.Kit.Spares {
		if !strings.Contains(said, strings.ReplaceAll(x.Item, " ", "")) {
			t.Errorf("the book lacks the spare %s", x.Item)
		}
	}
	if !strings.Contains(said, pl.Kit.Revision) || len(pl.Kit.Revision) < 8 {
		t.Errorf("the book lacks the revision %q", pl.Kit.Revision)
	}
	sold := map[kit.Split]map[Phase]bool{}
	for _, s := range kit.Splits {
		k := *pl.Kit
		k.Split, pl.Kit = s, &k
		b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: &pl}, Options{NoTemplates: true})
		if err != nil {
			t.Fatal(err)
		}
		said := squeezed(b)
		_, said, _ = strings.Cut(said, "Doeswhatthechapterstell")
		said, _, _ = strings.Cut(said, "kitrevision")
		theirs, _, _ := strings.Cut(said, "buyer")
		sold[s] = map[Phase]bool{}
		for _, ph := range Phases {
			sold[s][ph] = strings.Contains(theirs, strings.ReplaceAll(string(ph), " ", ""))
		}
	}
	for _, c := range []struct {
		ph                   Phase
		ready, cores, leaves bool
	}{{Print, true, true, false}, {Cut, true, true, true}, {Measure, true, true, false}, {Ready, true, true, false}, {Glue, true, false, false}, {Lay, true, false, false}, {Assemble, false, false, false}} {
		if sold[kit.Ready][c.ph] != c.ready || sold[kit.Cores][c.ph] != c.cores || sold[kit.Leaves][c.ph] != c.leaves {
			t.Errorf("%s: the seller's in %v", c.ph, sold)
		}
	}
}

// How the piece bears its loads stands in words, and what fails leads.
func TestBears(t *testing.T) {
	pl := *planned(t, "otter-stool")
	holds := strength.Verdict{ID: "seat-middle/seat/shell", Case: "seat-middle", Subject: "seat", Kind: "shell", What: "stress in contours and cover layers", Value: 4, Limit: 10, Margin: 2.5, Unit: "MPa", Judged: true, Agreed: 1}
	pl.Strength = &strength.Result{
		Cases:    []strength.CaseResult{{ID: "seat-middle", What: "1600 N press on the seat.", Judged: true, Solved: true, Margin: 2.5, Moved: strength.Moved{Body: "seat", Value: 1.3}}, {ID: "drop", What: "It is dropped."}},
		Verdicts: []strength.Verdict{holds}, Lowest: holds.ID, Margin: 2.5,
		Racking: []strength.Racking{{Axis: "x", Stiffness: 40, Force: 100, Moved: 2.5, Height: 440}},
	}
	look := func(want ...string) {
		t.Helper()
		b, err := laidOut(context.Background(), theKernel(t), Inputs{Plan: &pl}, Options{NoTemplates: true})
		if err != nil {
			t.Fatal(err)
		}
		said := squeezed(b)
		for _, w := range want {
			if !strings.Contains(said, strings.ReplaceAll(w, " ", "")) {
				t.Errorf("the book lacks %q", w)
			}
		}
		if strings.Contains(said, "hasnotbeenworkedout") {
			t.Error("the book says that strength was not worked out")
		}
	}
	look("How it bears its loads", "nothing here is a certificate", "The least margin is 2.5 x: stress in contours and cover layers of seat.", "1600 N press on the seat. holds 2.5 x 1.3 mm", "could not be worked out", "4 of 10 MPa", "with 100 N it gives by 2.5 mm")
	fails := holds
	fails.Margin, fails.Value = 0.5, 20
	pl.Strength.Verdicts = []strength.Verdict{fails}
	look("It does not bear all of its loads: 1 of 1 comparisons fail", "does not hold", "20 of 10 MPa")
}

// Nothing to tell of an unfinished plan.
func TestUnfinished(t *testing.T) {
	if _, err := Make(context.Background(), theKernel(t), Inputs{Plan: &plan.Plan{}}, Options{}); err == nil {
		t.Error("a plan without results was let pass")
	}
}

// A kit's revision follows its parts and nothing else.
func TestRevision(t *testing.T) {
	pl := *planned(t, "otter-stool")
	was := revision(&pl)
	if len(was) != 8 {
		t.Errorf("%q", was)
	}
	s := *pl.Shop
	s.Labour *= 2
	pl.Shop = &s
	if revision(&pl) != was {
		t.Error("prices change the revision")
	}
	pl.Patterns = slices.Clone(pl.Patterns)
	p := &pl.Patterns[0]
	p.Gross = p.Gross.Map(func(q geom.Vec2) geom.Vec2 { return q.Scale(1.001) })
	if revision(&pl) == was {
		t.Error("another leaf does not change the revision")
	}
}
