package remake

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/job"
	"groundwork/internal/mesh"
	"groundwork/internal/nest"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/specimen"
	"groundwork/internal/veneer"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// planned is a plan of an example, or of the trestle, made once; and the job that
// it makes.
func planned(t testing.TB, name string) (*solid.Kernel, *plan.Plan, *Job) {
	t.Helper()
	k, err := specimen.Kernel()
	if err != nil {
		t.Fatal(err)
	}
	plansMu.Lock()
	defer plansMu.Unlock()
	pl, ok := plans[name]
	if !ok {
		pl = made(t, k, name, nil, nil)
		plans[name] = pl
	}
	data, err := job.Encode(pl, job.Names{})
	if err != nil {
		t.Fatal(err)
	}
	j, err := Parse(data)
	if err != nil {
		t.Fatal(err)
	}
	j.Name = name + "-job"
	return k, pl, j
}

var (
	plansMu sync.Mutex
	plans   = map[string]*plan.Plan{}
)

func made(t testing.TB, k *solid.Kernel, name string, set map[string]string, change func(*shop.Shop)) *plan.Plan {
	t.Helper()
	text := []byte(specimen.Trestle)
	if name != "trestle" {
		var err error
		if text, err = examples.Files.ReadFile(name + ".yaml"); err != nil {
			t.Fatal(err)
		}
	}
	doc, err := piece.Parse(name+".yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(set)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(s)
	}
	pl, err := plan.Make(context.Background(), k, p, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	return pl
}

func remade(t testing.TB, k *solid.Kernel, pl *plan.Plan, j *Job, o Options, ids ...string) *Result {
	t.Helper()
	r, err := Make(context.Background(), k, j, pl, ids, o)
	if err != nil {
		t.Fatal(err)
	}
	hold(t, r, pl)
	return r
}

// hold checks what every result must: leaves as they were, on the offcuts they
// are said to be on, clear of knots and of one another.
func hold(t testing.TB, r *Result, pl *plan.Plan) {
	t.Helper()
	s, patterns := r.Part.Sheets, r.Part.Patterns
	for i, n := range r.Patterns {
		if d := cmp.Diff(pl.Patterns[n], patterns[i]); d != "" {
			t.Errorf("%s is another: %s", patterns[i].ID, d)
		}
	}
	if len(r.Laid) != len(patterns) {
		t.Errorf("%d leaves and bands, %d of them laid", len(patterns), len(r.Laid))
	}
	if cs := s.Clashes(patterns); len(cs) > 0 {
		t.Errorf("clashes: %v", cs)
	}
	for i, b := range s.Blanks { // by the verifier of nest
		const slack = 5e-3 // layouts that are kept lose micrometres
		var items []nest.Item
		l := &nest.Layout{Bins: []nest.BinUse{{ID: b.ID}}}
		for _, p := range s.Placements {
			if p.Blank == i {
				id := patterns[p.Pattern].ID
				items = append(items, nest.Item{ID: id, Shape: patterns[p.Pattern].Gross, Turns: []float64{p.Turn}})
				l.Placements = append(l.Placements, nest.Placement{Item: id, Turn: p.Turn,
					At: geom.V2(math.Round(p.At.X*1000)/1000, math.Round(p.At.Y*1000)/1000)})
			}
		}
		if vs := nest.Verify(items, []nest.Bin{{ID: b.ID, Size: b.Size, Margin: s.Border - slack}}, l, s.Gap-slack); len(vs) > 0 {
			t.Errorf("%s: %v", b.ID, vs)
		}
	}
	kerfOf := func(id string) float64 { v, _ := pl.Shop.Veneer(id); return v.BlankKerf }
	boxes := map[string][]geom.Box2{}
	for i, b := range s.Blanks {
		sh := s.Sheets[b.Sheet]
		on := geom.EmptyBox2().Add(s.OnSheet(i, geom.Vec2{})).Add(s.OnSheet(i, b.Size))
		for _, o := range boxes[sh.ID] {
			if o.Overlaps(on.Grow(kerfOf(b.Veneer) - 2e-3)) {
				t.Errorf("%s lies on another blank of %s", b.ID, sh.ID)
			}
		}
		boxes[sh.ID] = append(boxes[sh.ID], on)
		if turn := math.Abs(math.Remainder(b.Grain, math.Pi)); math.Min(turn, math.Abs(turn-math.Pi/2)) > 1e-9 {
			t.Errorf("%s lies askew", b.ID)
		}
	}
	for _, at := range r.Laid {
		i := slices.IndexFunc(patterns, func(p veneer.Pattern) bool { return p.ID == at.Pattern })
		p := s.Placements[i]
		b := s.Blanks[p.Blank]
		if b.ID != at.Blank || s.Sheets[b.Sheet].ID != at.From || b.Veneer != patterns[i].Veneer {
			t.Errorf("%+v is not where it is: %+v", at, b)
		}
		if off := math.Remainder(patterns[i].Grain+p.Turn-b.Grain, math.Pi); math.Abs(off) > 1e-9 {
			t.Errorf("%s lies %g off the grain", at.Pattern, off)
		}
		if at.Offcut == nil {
			continue
		}
		// On the job's own sheet, by its plan.json.
		var doc job.SheetDoc
		for _, d := range r.Job.Document.Sheets {
			if d.ID == at.Offcut.Sheet {
				doc = d
			}
		}
		inside, knots := false, doc.Reserved
		box := geom.EmptyBox2()
		for _, loop := range s.Outline(patterns, p) {
			for _, q := range loop {
				box = box.Add(at.Offcut.Box.Min.Add(s.OnSheet(p.Blank, q)))
			}
		}
		within := func(o job.BoxDoc) bool {
			const eps = 1e-6
			return box.Min.X >= o.Min[0]-eps && box.Min.Y >= o.Min[1]-eps && box.Max.X <= o.Max[0]+eps && box.Max.Y <= o.Max[1]+eps
		}
		for _, o := range doc.Offcuts {
			inside = inside || within(o)
		}
		if !inside {
			t.Errorf("%s at %v of %s lies beyond what is left of it: %v", at.Pattern, box, doc.ID, doc.Offcuts)
		}
		for _, k := range knots {
			if box.Min.X < k.Max[0] && box.Max.X > k.Min[0] && box.Min.Y < k.Max[1] && box.Max.Y > k.Min[1] {
				t.Errorf("%s at %v lies on the knot %v", at.Pattern, box, k)
			}
		}
		for _, q := range r.Job.Document.Patterns { // nor on what the job has cut
			if q.ID == at.Pattern && q.Panel == "" {
				t.Errorf("%s was not laid in the job", q.ID)
			}
		}
	}
}

func codes(fs []finding.Finding, stage string) string {
	var out []string
	for _, f := range fs {
		if f.Stage == stage {
			out = append(out, f.Code+" "+f.Subject)
		}
		if f.Message == "" || f.Remedy == "" || f.Source == "" {
			out = append(out, "INCOMPLETE "+f.Code)
		}
	}
	return strings.Join(out, ", ")
}

// A segment is the job's to the byte, in the file of its own and, where the load
// does not turn it, in that of the load.
func TestSegmentsAreTheJobs(t *testing.T) {
	ctx := context.Background()
	for name, each := range map[string]int{"heron-side-table": 13, "otter-stool": 5} {
		k, pl, j := planned(t, name)
		n := 0
		for i := range pl.Cores.Segments {
			if i%each != 0 {
				continue
			}
			n++
			id := pl.Cores.Segments[i].ID
			r := remade(t, k, pl, j, Options{}, id)
			if len(r.Part.Printing.Prints) != 1 || len(r.Part.Printing.Loads) != 1 || len(r.Part.Patterns) != 0 {
				t.Fatalf("%s: made again are %d prints on %d loads", id, len(r.Part.Printing.Prints), len(r.Part.Printing.Loads))
			}
			file := job.Names{}.Segment(id)
			was, ok, err := job.One(ctx, k, pl, job.Options{}, file)
			if err != nil || !ok {
				t.Fatal(ok, err)
			}
			files, err := r.Files(ctx, k, job.Options{})
			if err != nil {
				t.Fatal(err)
			}
			is := slices.IndexFunc(files, func(f job.File) bool { return f.Name == file })
			if is < 0 || !bytes.Equal(files[is].Data, was.Data) {
				t.Errorf("%s of %s is another body", id, name)
			}
			load := slices.IndexFunc(files, func(f job.File) bool { return f.Name == "core/remake-load-01.3mf" })
			if load < 0 {
				t.Fatalf("%s: no load among %d files", id, len(files))
			}
			doc, err := mesh.Read3MF(bytes.NewReader(files[load].Data), int64(len(files[load].Data)), mesh.Limits{})
			if err != nil {
				t.Fatal(err)
			}
			a, _ := r.Part.Printing.SegmentBody(ctx, k, r.Part.Cores.Segments, 0)
			if len(doc.Bodies) != 1 || doc.Items[0].PartNumber != id || math.Abs(volume(doc.Bodies[0])/volume(a)-1) > 1e-6 {
				t.Errorf("%s: the load holds something else", id)
			}
			if codes(r.Findings, "remake") != "" {
				t.Errorf("%s: %s", id, codes(r.Findings, "remake"))
			}
		}
		if n < 3 {
			t.Errorf("only %d segments of %s were looked at", n, name)
		}
	}
}

// volume is that of a closed mesh, by the divergence theorem.
func volume(b mesh.Body) (v float64) {
	for _, t := range b.Triangles {
		v += b.Vertices[t[0]].Dot(b.Vertices[t[1]].Cross(b.Vertices[t[2]])) / 6
	}
	return v
}

// All together are the job's too, in other loads.
func TestAllSegmentsTogether(t *testing.T) {
	k, pl, j := planned(t, "otter-stool")
	var ids []string
	for _, s := range pl.Cores.Segments {
		ids = append(ids, s.ID)
	}
	slices.Reverse(ids)
	r := remade(t, k, pl, j, Options{}, append(ids, ids...)...)
	if len(r.Part.Printing.Prints) != len(ids) || !slices.IsSorted(r.Segments) {
		t.Fatalf("%d prints for %d segments named twice", len(r.Part.Printing.Prints), len(ids))
	}
	for i, p := range r.Part.Printing.Prints {
		q := pl.Printing.Prints[i]
		if p.Segment != q.Segment || p.Pose != q.Pose || p.Scale != q.Scale || p.Printer != q.Printer {
			t.Errorf("%s lies otherwise than in the job", p.Segment)
		}
	}
	if got, want := len(r.Seams(pl)), len(pl.Seams.Seams); got != want {
		t.Errorf("%d of %d seams are glued again", got, want)
	}
}

func TestLeavesFromWhatIsLeft(t *testing.T) {
	for _, c := range []struct {
		piece string
		ids   []string
		from  string // of each
		tells string
	}{
		{"heron-side-table", []string{"shelf/face"}, "walnut-1/offcut-2", ""},
		{"heron-side-table", []string{"top/face"}, "walnut-new-1", "new-sheet top/face"},
		{"heron-side-table", []string{"top/edge-1/band-2"}, "walnut-1/offcut-3", "measure-first top/edge-1/band-2"},
		{"heron-side-table", []string{"leg-1/edge-3", "shelf/edge-1", "end-rail-1/face"}, "", ""},
		{"heron-side-table", []string{"leg-1/face"}, "walnut-new-1", "new-sheet leg-1/face, measure-first leg-1/face"},
		{"otter-stool", []string{"seat/face"}, "oak-1/offcut-1", "measure-first seat/face"},
		{"otter-stool", []string{"leg-3/side-1"}, "", "measure-first leg-3/side-1"},
	} {
		k, pl, j := planned(t, c.piece)
		r := remade(t, k, pl, j, Options{}, c.ids...)
		for _, l := range r.Laid {
			t.Logf("%s from %s", l.Pattern, l.From)
			if c.from != "" && l.From != c.from {
				t.Errorf("%s is cut from %s, want %s", l.Pattern, l.From, c.from)
			}
			if !l.Same() && !strings.HasPrefix(c.tells, "new-sheet") {
				t.Errorf("%s is cut from %s, and came from %s", l.Pattern, l.From, l.Own)
			}
		}
		if got := codes(r.Findings, "remake"); got != c.tells {
			t.Errorf("%v: told is %q, want %q", c.ids, got, c.tells)
		}
	}
}

// Its own sheet comes first, then another sheet of the job, then a new one.
func TestOrderOfSheets(t *testing.T) {
	k, pl, j := planned(t, "trestle")
	id := "top/face"
	own := j.sheetOf(id)
	if own == "" {
		t.Fatal("the leaf lies on no sheet")
	}
	box := func(x, y, w, h float64) job.BoxDoc { return job.BoxDoc{Min: job.Vec{x, y}, Max: job.Vec{x + w, y + h}} }
	i := slices.IndexFunc(j.Document.Sheets, func(s job.SheetDoc) bool { return s.ID == own })
	j.Document.Sheets[i].Offcuts = []job.BoxDoc{box(10, 10, 60, 60), box(10, 100, 550, 900)} // the first is too small
	other := j.Document.Sheets[i]
	other.ID, other.Offcuts = "walnut-77", []job.BoxDoc{box(100, 100, 160, 300)} // fits better than what is left of its own
	j.Document.Sheets = append([]job.SheetDoc{other}, j.Document.Sheets...)
	for _, c := range []struct {
		gone        []string
		from, tells string
	}{
		{nil, own + "/offcut-2", ""},
		{[]string{own + "/offcut-1"}, own + "/offcut-2", ""},
		{[]string{own + "/offcut-2"}, "walnut-77/offcut-1", "other-sheet top/face"},
		{[]string{own + "/offcut-2", "walnut-77/offcut-1"}, "walnut-new-1", "new-sheet top/face"},
	} {
		r := remade(t, k, pl, j, Options{Gone: c.gone}, id)
		got := strings.ReplaceAll(codes(r.Findings, "remake"), ", measure-first top/face", "")
		if got = strings.ReplaceAll(got, "measure-first top/face", ""); r.Laid[0].From != c.from || got != c.tells {
			t.Errorf("without %v it is cut from %s, and told is %q; want %s and %q", c.gone, r.Laid[0].From, got, c.from, c.tells)
		}
	}
	if _, err := Make(context.Background(), k, j, pl, []string{id}, Options{Gone: []string{"walnut-1/offcut-9"}}); err == nil || !strings.Contains(err.Error(), own+"/offcut-2") {
		t.Errorf("an offcut that there is not: %v", err)
	}
}

// Whatever leaves are asked for, and whatever is left and marked on it, they lie
// on sound veneer.
func TestLeavesHold(t *testing.T) {
	k, pl, j := planned(t, "heron-side-table")
	sheets := j.Document.Sheets
	rapid.Check(t, func(rt *rapid.T) {
		own := *j
		own.Document.Sheets = slices.Clone(sheets)
		s := &own.Document.Sheets[0]
		s.Offcuts, s.Reserved = nil, nil
		y := 10.0
		for range rapid.IntRange(0, 3).Draw(rt, "offcuts") {
			w, h := rapid.Float64Range(40, 590).Draw(rt, "w"), rapid.Float64Range(40, 700).Draw(rt, "h")
			s.Offcuts = append(s.Offcuts, job.BoxDoc{Min: job.Vec{10, y}, Max: job.Vec{10 + w, y + h}})
			y += h
		}
		for range rapid.IntRange(0, 3).Draw(rt, "knots") {
			x, at := rapid.Float64Range(0, 580).Draw(rt, "x"), rapid.Float64Range(0, 2100).Draw(rt, "at")
			s.Reserved = append(s.Reserved, job.BoxDoc{Min: job.Vec{x, at}, Max: job.Vec{x + rapid.Float64Range(1, 60).Draw(rt, "kw"), at + rapid.Float64Range(1, 60).Draw(rt, "kh")}})
		}
		var ids []string
		for range rapid.IntRange(1, 4).Draw(rt, "leaves") {
			p := pl.Patterns[rapid.IntRange(0, len(pl.Patterns)-1).Draw(rt, "leaf")]
			if p.Member >= 0 { // a plug's would be printed, too
				ids = append(ids, p.ID)
			}
		}
		if len(ids) == 0 {
			return
		}
		r, err := Make(context.Background(), k, &own, pl, ids, Options{})
		if err != nil {
			rt.Fatal(err)
		}
		hold(t, r, pl)
		if t.Failed() {
			rt.Fatalf("%v on %v with %v", ids, s.Offcuts, s.Reserved)
		}
	})
}

func TestMatchedSetWarns(t *testing.T) {
	k, pl, j := planned(t, "heron-side-table")
	set := *pl
	set.Patterns = slices.Clone(pl.Patterns)
	n := 0
	for i, p := range set.Patterns {
		if p.ID == "shelf/face" || p.ID == "shelf/back" {
			n++
			set.Patterns[i].Set, set.Patterns[i].SetOrder = "shelf", n
		}
	}
	r := remade(t, k, &set, j, Options{}, "shelf/face")
	if got := codes(r.Findings, "remake"); got != "matched-set shelf" {
		t.Errorf("told is %q", got)
	}
	if !strings.Contains(strings.Join(strings.Fields(r.Text()), " "), "WARNING: Of the matched set shelf, which is shelf/back, shelf/face, only shelf/face is made again") {
		t.Errorf("the text says nothing of it:\n%s", r.Text())
	}
	r = remade(t, k, &set, j, Options{}, "shelf/face", "shelf/back") // the whole set is no fault
	if strings.Contains(codes(r.Findings, "remake"), "matched-set") {
		t.Errorf("told is %q", codes(r.Findings, "remake"))
	}
}

func TestAnotherRevisionIsRefused(t *testing.T) {
	k, _, j := planned(t, "trestle")
	for name, c := range map[string]struct {
		set    map[string]string
		change func(*shop.Shop)
		says   []string
	}{
		"parameter": {map[string]string{"wide": "260 mm"}, nil, []string{"wide was 240 and is 260", "segments gone: top", "segments new: top.a, top.b", "top/face"}},
		"veneer": {nil, func(s *shop.Shop) {
			for i := range s.Veneers {
				s.Veneers[i].Adhesive += 0.1
			}
		}, []string{"segments other than they were", "leaves and bands other than they were"}},
	} {
		now := made(t, k, "trestle", c.set, c.change)
		r, err := Make(context.Background(), k, j, now, []string{"top/face"}, Options{})
		var e *RevisionError
		if r != nil || !errors.As(err, &e) || e.Job != j.Revision() || e.Plan != now.Kit.Revision || e.Job == e.Plan {
			t.Fatalf("%s: %v", name, err)
		}
		for _, w := range append(c.says, "nothing was made", e.Job, e.Plan) {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q is not in %v", name, w, err)
			}
		}
	}
	now := made(t, k, "trestle", nil, func(s *shop.Shop) { s.Labour *= 2 }) // fits none the less
	if _, err := Make(context.Background(), k, j, now, []string{"side-1/face"}, Options{}); err != nil {
		t.Errorf("dearer hours: %v", err)
	}
}

func TestNames(t *testing.T) {
	_, pl, j := planned(t, "heron-side-table")
	rev := j.Revision()
	for _, c := range []struct {
		ids                 string
		says                string // of the error, "" for none
		segs, leaves, parts int
	}{
		{"top.b", "", 1, 0, 0},
		{"top.b top.b", "", 1, 0, 0},
		{"top/face", "", 0, 1, 0},
		{"heron-side-table/" + rev + "/top/face", "", 0, 1, 0},
		{"heron-side-table/" + rev + "/leg-1.a", "", 1, 0, 0},
		{"heron-side-table/0000-0000/top.b", "is of kit 0000-0000", 0, 0, 0},
		{"plug/1", "", 0, 0, 1},
		{"plug/1 plug/1 plug/1.4", "", 0, 0, 3},
		{"plug/1.9", "no part plug/1.9", 0, 0, 0},
		{"joint-11/plug-1", "", 0, 1, 1},
		{"dowel/8x30 dowel/6x20", "", 0, 0, 2},
		{"coupon/shrink-abs", "", 0, 0, 2},
		{"coupon/shrink-abs/tower", "", 0, 0, 1},
		{"batten/1", "not printed", 0, 0, 0},
		{"top.x", "did you mean top.a", 0, 0, 0},
		{"tpo.b", "did you mean top.b", 0, 0, 0},
		{"top/fase", "did you mean top/face", 0, 0, 0},
		{"top-2", "did you mean", 0, 0, 0},
		{"top", "several parts; name those that are to be made again, of top.a, top.b", 0, 0, 0},
		{"zzzzzzzzzzz", "IDs stand on the labels", 0, 0, 0},
		{"", "no part", 0, 0, 0},
		{"/", "no part", 0, 0, 0},
	} {
		ids := strings.Fields(c.ids)
		if c.ids == "" {
			ids = []string{""}
		}
		got, err := choose(j, pl, ids)
		if c.says != "" {
			if err == nil || !strings.Contains(err.Error(), c.says) {
				t.Errorf("%q: %v", c.ids, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%q: %v", c.ids, err)
			continue
		}
		parts := 0
		for _, f := range got.fixtures {
			for _, p := range f.Parts {
				parts += p.Quantity
			}
		}
		if len(got.segments) != c.segs || len(got.patterns) != c.leaves || parts != c.parts {
			t.Errorf("%q: %d segments, %d leaves, %d parts", c.ids, len(got.segments), len(got.patterns), parts)
		}
	}
	if _, err := choose(j, pl, nil); err == nil {
		t.Error("nothing is made again without a word")
	}
}

// What plan.json says of parameters gives the piece back.
func TestParametersGoRound(t *testing.T) {
	for _, name := range examples.Pieces() {
		was, err := examples.Piece(name, nil)
		if err != nil {
			t.Fatal(err)
		}
		j := &Job{}
		for _, p := range was.Parameters {
			v := p.Value
			if p.Kind == piece.Angle {
				v = math.Round(v*180/math.Pi*1e6) / 1e6
			}
			j.Document.Piece.Parameters = append(j.Document.Piece.Parameters, job.ParameterDoc{Name: p.Name, Kind: string(p.Kind), Value: v})
		}
		is, err := examples.Piece(name, j.Parameters())
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(was.Parameters) == 0 && name != "badger-bench" {
			t.Logf("%s has no parameters", name)
		}
		for i, p := range was.Parameters {
			if math.Abs(is.Parameters[i].Value-p.Value) > 1e-7 {
				t.Errorf("%s: %s was %g and is %g", name, p.Name, p.Value, is.Parameters[i].Value)
			}
		}
	}
}

func TestWhatDiffersInPrinting(t *testing.T) {
	k, pl, j := planned(t, "trestle")
	id := pl.Cores.Segments[0].ID
	for i := range j.Document.Segments {
		if s := &j.Document.Segments[i]; s.ID == id {
			s.Filament, s.Printer = "petg-of-old", "a-printer-of-old"
			s.Scale = job.Vec{s.Scale[0], s.Scale[1] + 0.002, s.Scale[2]}
		}
	}
	r := remade(t, k, pl, j, Options{}, id)
	if got, want := codes(r.Findings, "remake"), "other-filament "+id+", other-shrinkage "+id+", other-printer "+id; got != want {
		t.Errorf("told is %q, want %q", got, want)
	}
}

func TestFaceDown(t *testing.T) {
	k, pl, j := planned(t, "trestle")
	for i := range j.Document.Patterns {
		j.Document.Patterns[i].Facing = "face down"
	}
	r := remade(t, k, pl, j, Options{}, "top/face")
	files, err := r.Files(context.Background(), k, job.Options{})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(files, func(f job.File) bool { return f.Name == "veneer/remake-blank-01.svg" })
	if i < 0 || !bytes.Contains(files[i].Data, []byte("face down, mirrored, kit "+j.Revision())) {
		t.Error("the job is cut face down, and this is not")
	}
}

var golden = os.Getenv("GOLDEN") == "update"

func TestText(t *testing.T) {
	k, pl, j := planned(t, "trestle")
	r := remade(t, k, pl, j, Options{}, pl.Cores.Segments[0].ID, "top/face", "side-1/face", "plug/1")
	got := r.Text()
	name := filepath.Join("testdata", "trestle.txt")
	if golden {
		if err := os.WriteFile(name, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("the text differs (GOLDEN=update takes it):\n%s", d)
	}
	sum := 0.0
	for _, l := range r.Lines {
		sum += l.Cost
		if l.Seconds == 0 && math.Abs(l.Quantity*l.Price-l.Cost) > 1e-9 {
			t.Errorf("%s: %g at %g is not %g", l.Item, l.Quantity, l.Price, l.Cost)
		}
	}
	if math.Abs(sum-r.Cost) > 1e-9 {
		t.Errorf("lines come to %g, the bill to %g", sum, r.Cost)
	}
	again := remade(t, k, pl, j, Options{}, "plug/1", "side-1/face", "top/face", pl.Cores.Segments[0].ID)
	if again.Text() != got {
		t.Error("the order in which parts are named makes a difference")
	}
}

func TestWrite(t *testing.T) {
	ctx := context.Background()
	k, pl, j := planned(t, "trestle")
	r := remade(t, k, pl, j, Options{}, "top/face", pl.Cores.Segments[0].ID, "plug/1")
	dir := filepath.Join(t.TempDir(), "deep", "again")
	if err := r.Write(ctx, k, dir, job.Options{}); err != nil {
		t.Fatal(err)
	}
	tree := func() map[string]string {
		out := map[string]string{}
		err := fs.WalkDir(os.DirFS(dir), ".", func(name string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			b, err := os.ReadFile(filepath.Join(dir, name))
			out[name] = string(b)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	first := tree()
	for _, want := range []string{"remake.txt", "labels.pdf", "core/cards.txt", "core/remake-load-01.3mf", "core/segments/" + pl.Cores.Segments[0].ID + ".stl",
		"fixtures/remake-load-01.3mf", "fixtures/plug-1.stl", "fixtures/cards.txt", "veneer/remake-blank-01.svg", "veneer/remake-blank-01.dxf", "veneer/sheet-cuts.csv", "veneer/patterns.csv"} {
		if first[want] == "" {
			t.Errorf("no %s", want)
		}
	}
	if len(first) != 12 {
		t.Errorf("%d files", len(first))
	}
	if err := r.Write(ctx, k, dir, job.Options{}); !errors.Is(err, fs.ErrExist) {
		t.Errorf("over what is there: %v", err)
	}
	if err := r.Write(ctx, k, dir, job.Options{Replace: true}); err != nil {
		t.Error(err)
	}
	if d := cmp.Diff(first, tree()); d != "" {
		t.Error("the same parts have other bytes the second time")
	}
	if entries, err := os.ReadDir(filepath.Dir(dir)); err != nil || len(entries) != 1 {
		t.Errorf("something was left beside it: %v %v", entries, err)
	}
	foreign := t.TempDir()
	if err := os.WriteFile(filepath.Join(foreign, "plan.json"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := r.Write(ctx, k, foreign, job.Options{Replace: true}); err == nil || errors.Is(err, fs.ErrExist) {
		t.Errorf("over a job: %v", err)
	}
	ended, cancel := context.WithCancel(ctx)
	cancel()
	never := filepath.Join(t.TempDir(), "never")
	if err := r.Write(ended, k, never, job.Options{}); err == nil {
		t.Error("written though it was ended")
	}
	if _, err := os.Stat(never); !errors.Is(err, fs.ErrNotExist) {
		t.Error("there is part of a folder")
	}
}

func TestParse(t *testing.T) {
	_, pl, _ := planned(t, "trestle")
	data, err := job.Encode(pl, job.Names{})
	if err != nil {
		t.Fatal(err)
	}
	spoilt := func(change func(map[string]any)) []byte {
		var d map[string]any
		if err := json.Unmarshal(data, &d); err != nil {
			t.Fatal(err)
		}
		change(d)
		b, err := json.Marshal(d)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	sheet := func(d map[string]any) map[string]any { return d["sheets"].([]any)[0].(map[string]any) }
	for name, c := range map[string]struct {
		data []byte
		says string
	}{
		"no JSON": {[]byte("hello"), "no plan"},
		"another": {[]byte(`{"schema_version": 1}`), "no revision"},
		"version": {spoilt(func(d map[string]any) { d["schema_version"] = 99 }), "version is 99"},
		"no kit":  {spoilt(func(d map[string]any) { d["kit"] = nil }), "no revision"},
		"no size": {spoilt(func(d map[string]any) { sheet(d)["width_mm"] = 0 }), "has no size"},
		"flat offcut": {spoilt(func(d map[string]any) {
			sheet(d)["offcuts"] = []any{map[string]any{"min": []any{1, 1}, "max": []any{1, 5}}}
		}), "an area that is none"},
		"short corner": {spoilt(func(d map[string]any) {
			sheet(d)["reserved"] = []any{map[string]any{"min": []any{1}, "max": []any{3, 5}}}
		}), "an area that is none"},
	} {
		if _, err := Parse(c.data); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Read(t.TempDir()); err == nil || !strings.Contains(err.Error(), "no job folder") {
		t.Errorf("an empty folder: %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"schema_version": 1, "kit": {"revision": "0000-0000"}, "sheets": [{"id": "a", "width_mm": 5, "length_mm": 6, "offcuts": [{"min": [1, 1], "max": [2, 2]}], "reserved": [{"min": [0, 0], "max": [1.5, 9]}]}]}`))
	f.Add([]byte(`{"schema_version": 1, "kit": {"revision": "x"}, "piece": {"parameters": [{"name": "a", "kind": "angle", "value": 1e300}]}}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		j, err := Parse(data)
		if err != nil {
			return
		}
		for _, o := range j.Offcuts() {
			if size := o.Box.Size(); !(size.X > 0 && size.Y > 0) {
				t.Errorf("offcut %v", o)
			}
			for _, k := range o.reserved {
				if !(k.Size.X > 0 && k.Size.Y > 0 && k.At.X >= 0 && k.At.Y >= 0) {
					t.Errorf("reserved %v", k)
				}
			}
		}
		j.Parameters()
		j.FaceDown()
		j.sheetOf("a")
	})
}
