package api

import (
	"archive/zip"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"mime"
	"net/http"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/job"
	"groundwork/internal/marks"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/store"
	"groundwork/internal/veneer"
)

// plans answers what is asked of plans.
type plans struct {
	ctx    context.Context // of the program
	desk   *desk
	bench  *bench
	kernel *solid.Kernel
	cache  plan.Cache
	stock  *stock
	long   Long
}

// kept is how many bytes of results of stages are kept for the next plan.
const kept = 256 << 20

func newPlans(ctx context.Context, k *solid.Kernel, d *desk, long Long, log func(string, ...any)) *plans {
	return &plans{ctx: ctx, desk: d, bench: newBench(benchOptions{Log: log}), kernel: k, cache: plan.NewMemory(kept), long: long}
}

// faultyError is why there can be no plan: what is wrong in the maker's files.
type faultyError struct {
	what   string
	faults []Fault
}

func (e *faultyError) Error() string { return e.what }

// failure is an error as an event.
func failure(err error) FailedEvent {
	var f *faultyError
	if errors.As(err, &f) {
		return FailedEvent{f.what, f.faults}
	}
	return FailedEvent{err.Error(), []Fault{}}
}

func (p *plans) order(ctx context.Context, in *struct{ Body PlanOrder }) (*answer[Ordered], error) {
	asked := in.Body
	if asked.Remedies && !asked.Strength {
		return nil, problem(http.StatusUnprocessableEntity, "remedies are looked for only where strength is worked out", "ask for strength too")
	}
	making, theBook := asked.chosen(marks.File{})
	if u := (*marks.Unfit)(nil); errors.As(errors.Join(making.Check(), theBook.Check()), &u) {
		return nil, problem(http.StatusUnprocessableEntity, u.Key+": "+u.What, u.Remedy)
	}
	files, err := p.desk.papers(asked.Piece)
	if err != nil {
		return nil, err
	}
	has := &store.Stock{} // a plan that does not go by the stock goes by an empty one
	if asked.Stock {
		if has, err = p.stock.snapshot(ctx, asked.Job); err != nil {
			return nil, err
		}
	}
	t, err := p.bench.begin(p.ctx, order{
		Key: orderKey(files, p.desk.reading(files).solids, asked, has), View: asked.View,
		Make: func(ctx context.Context, t *task) (*made, error) { return p.make(ctx, t, files, asked, has) },
	})
	if err != nil {
		return nil, err
	}
	out := Ordered{ID: t.id}
	if s, err := shop.Parse(p.desk.where(files.shop.Name), files.shop.Data); err == nil && asked.Stock { // a faulty shop is told by the plan
		_, found := has.Overlay(s, asked.Job)
		for _, f := range found {
			out.Findings = append(out.Findings, told(f))
		}
	}
	return &answer[Ordered]{out}, nil
}

// orderKey tells orders apart by all that their plans depend on.
func orderKey(f papers, solids string, o PlanOrder, has *store.Stock) string {
	h := sha256.New()
	fmt.Fprintf(h, "%q %q %q %q\n%s\n", f.piece.Name, f.piece.Version, f.marks.Version, f.shop.Name, solids)
	h.Write(f.shop.Data)
	for _, k := range slices.Sorted(maps.Keys(o.Set)) {
		fmt.Fprintf(h, "%q %q\n", k, o.Set[k])
	}
	fmt.Fprintln(h, o.Strength, o.Remedies, o.FaceDown, o.Kerf)
	// What is asked for beside the marks; nothing of it fails to be written.
	_ = json.NewEncoder(h).Encode([]any{o.Start, o.NoCoupons, o.Send, o.Batches, o.Book})
	for _, it := range has.Items {
		for _, l := range it.Lots {
			if l.Piece != nil && l.For(o.Job) > 0 {
				fmt.Fprintf(h, "%q %q %v %v\n", it.ID, l.Lot, l.Piece.Outline, l.Piece.Reserved)
			}
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// make works a plan out, as the command line does.
func (p *plans) make(ctx context.Context, t *task, f papers, asked PlanOrder, has *store.Stock) (*made, error) {
	r := p.desk.reading(f)
	pc, found, err := r.piece, r.findings, r.err
	if err == nil && len(asked.Set) > 0 {
		if pc, found, err = r.doc.Resolve(asked.Set); err != nil {
			var set []string
			for _, k := range slices.Sorted(maps.Keys(asked.Set)) {
				set = append(set, k+" = "+asked.Set[k])
			}
			return nil, &faultyError{"with " + strings.Join(set, ", ") + " the piece cannot be planned", p.desk.faults(err, f.piece.Name)}
		}
	}
	if err != nil {
		return nil, &faultyError{f.piece.Name + " has faults", p.desk.faults(err, f.piece.Name)}
	}
	s, err := shop.Parse(p.desk.where(f.shop.Name), f.shop.Data)
	if err != nil {
		return nil, &faultyError{f.shop.Name + " has faults", p.desk.faults(err, f.shop.Name)}
	}
	s, _ = has.Overlay(s, asked.Job)
	m, err := readMarks(f)
	if err != nil {
		return nil, &faultyError{f.marks.Name + " has faults", p.desk.faults(err, f.marks.Name)}
	}
	out := made{Sheet: sheet.Options{FaceDown: asked.FaceDown, Compensate: asked.Kerf}, Marks: m}
	m.Settle(p.desk.where(f.marks.Name), &out.Sheet)
	out.Folder.Sheet = out.Sheet
	whole := func(pl *plan.Plan) *made { // with what was found when the piece was read
		q, o := *pl, out
		q.Findings = finding.Sorted(append(slices.Clone(pl.Findings), found...))
		o.Plan = &q
		return &o
	}
	o := plan.Options{
		Core: core.Options{Labels: true, Solids: true}, Sheet: out.Sheet,
		Progress: t.tellStage, Cache: p.cache,
		Ready: func(stage string, sofar *plan.Plan) {
			if stage == "patterns" {
				p.bench.tellGeometry(t, whole(sofar))
			}
		},
	}
	making, theBook := asked.chosen(m)
	if err := job.Chosen(making, theBook, &o, &out.Folder); err != nil {
		return nil, err
	}
	if asked.Strength {
		tell := func(done, total int, what string) {
			t.tellPart("strength", fmt.Sprintf("%s: %d of %d", what, done, total))
		}
		o.Strength = &plan.StrengthOptions{Remedies: asked.Remedies, Progress: tell, Ask: p.bears(f, r.doc, pc.Name, asked, tell)}
	}
	pl, err := plan.Make(ctx, p.kernel, pc, s, o)
	if err != nil {
		return nil, err
	}
	return whole(pl), nil
}

// has is an error for a plan that is not known.
func (p *plans) has(id string) error {
	_, err := p.bench.find(id)
	return err
}

func (p *plans) events(ctx context.Context, in *struct {
	PlanID
	Since
}, send sse.Sender) {
	t, err := p.bench.find(in.ID)
	if err != nil { // dropped in this moment
		send.Data(failure(err))
		return
	}
	defer t.audience.enter()()
	follow(ctx, t.news, in.LastEventID, nil, send)
}

func (p *plans) cancel(_ context.Context, in *struct {
	PlanID
	View string `query:"view" maxLength:"100" doc:"Give it up for this view alone; others may still wait for it"`
}) (*struct{}, error) {
	t, err := p.bench.find(in.ID)
	if err != nil {
		return nil, err
	}
	p.bench.cancel(t, in.View)
	return nil, nil
}

// sofar is what is known of a plan.
func (p *plans) sofar(id string) (*made, error) {
	t, err := p.bench.find(id)
	if err != nil {
		return nil, err
	}
	m, _, over := p.bench.known(t)
	if m == nil {
		return nil, unready(over, "geometry")
	}
	return m, nil
}

// whole is a plan that is made.
func (p *plans) whole(id string) (*task, *made, error) {
	t, err := p.bench.find(id)
	if err != nil {
		return nil, nil, err
	}
	_, m, over := p.bench.known(t)
	if m == nil {
		return nil, nil, unready(over, "done")
	}
	return t, m, nil
}

func unready(over bool, event string) *Problem {
	if over {
		return problem(http.StatusConflict, "this plan was given up or could not be made", "its events say why; order it again")
	}
	return problem(http.StatusConflict, "the plan is still being made", "wait for its event "+event)
}

func (p *plans) geometry(_ context.Context, in *PlanID) (*blob, error) {
	m, err := p.sofar(in.ID)
	if err != nil {
		return nil, err
	}
	return document(m, "no-store") // more may be known the next time
}

func (p *plans) document(_ context.Context, in *PlanID) (*blob, error) {
	_, m, err := p.whole(in.ID)
	if err != nil {
		return nil, err
	}
	return document(m, lasting)
}

func document(m *made, cache string) (*blob, error) {
	b, err := job.Encode(m.Plan, job.Names{FaceDown: m.Sheet.FaceDown})
	if err != nil {
		return nil, broken(err)
	}
	return &blob{ContentType: "application/json", Cache: cache, Body: b}, nil
}

// broken is an error that no maker can mend.
func broken(err error) *Problem {
	return problem(http.StatusInternalServerError, err.Error(), "try again; if it comes again, send us the piece and shop files")
}

// SceneRequest says what to show.
type SceneRequest struct {
	PlanID
	Of   string `query:"of" enum:"geometry,whole,fixtures,strength" default:"whole"`
	Case int    `query:"case" minimum:"0" doc:"Load case, from 0, in the order of plan.json; for strength"`
}

func (p *plans) scene(ctx context.Context, in *SceneRequest) (*blob, error) {
	var b bytes.Buffer
	var err error
	switch in.Of {
	case "geometry":
		m, known := p.sofar(in.ID)
		if known != nil {
			return nil, known
		}
		err = scene.Geometry(ctx, p.kernel, m.Plan, &b)
	case "whole":
		_, m, known := p.whole(in.ID)
		if known != nil {
			return nil, known
		}
		err = scene.Whole(ctx, p.kernel, m.Plan, &b)
	case "fixtures":
		_, m, known := p.whole(in.ID)
		if known != nil {
			return nil, known
		}
		err = scene.Fixtures(ctx, p.kernel, m.Plan, &b)
	default:
		_, m, known := p.whole(in.ID)
		if known != nil {
			return nil, known
		}
		err = p.strained(ctx, m.Plan, in.Case, &b)
	}
	if err != nil {
		return nil, asProblem(err)
	}
	return &blob{ContentType: "model/gltf-binary", Cache: lasting, Body: b.Bytes()}, nil
}

// jobFolder is the job folder of a plan. It is written when it is first asked
// for, and so is a single file of it.
type jobFolder struct {
	all, one chan struct{} // each holds one token, for who writes

	mu    sync.Mutex
	files []job.File
	parts map[string]job.File // by name
}

func newJobFolder() *jobFolder {
	return &jobFolder{all: make(chan struct{}, 1), one: make(chan struct{}, 1), parts: map[string]job.File{}}
}

// have is all that is written, nil if nothing is, and the file of a name.
func (f *jobFolder) have(name string) (files []job.File, file job.File, ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	file, ok = f.parts[name]
	return f.files, file, ok
}

// written is the job folder; work writes it.
func (f *jobFolder) written(ctx context.Context, work func() ([]job.File, error)) ([]job.File, error) {
	select {
	case f.all <- struct{}{}:
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	defer func() { <-f.all }()
	if files, _, _ := f.have(""); files != nil {
		return files, nil
	}
	files, err := work()
	if err != nil {
		return nil, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.files = files
	for _, file := range files {
		f.parts[file.Name] = file
	}
	return files, nil
}

// file is one file of the job folder; work writes it, and says whether there is
// one of its name.
func (f *jobFolder) file(ctx context.Context, name string, work func() (job.File, bool, error)) (job.File, bool, error) {
	select {
	case f.one <- struct{}{}:
	case <-ctx.Done():
		return job.File{}, false, ctx.Err()
	}
	defer func() { <-f.one }()
	if files, file, ok := f.have(name); ok || files != nil {
		return file, ok, nil
	}
	file, ok, err := work()
	if err == nil && ok {
		f.mu.Lock()
		defer f.mu.Unlock()
		f.parts[name] = file
	}
	return file, ok, err
}

// jobFiles are the files of a plan's job folder.
func (p *plans) jobFiles(ctx context.Context, id string) (*made, []job.File, error) {
	t, m, err := p.whole(id)
	if err != nil {
		return nil, nil, err
	}
	files, err := t.job.written(ctx, func() ([]job.File, error) {
		return job.Files(ctx, p.kernel, m.Plan, m.Folder)
	})
	if err != nil {
		return nil, nil, broken(err)
	}
	return m, files, nil
}

func (p *plans) files(ctx context.Context, in *PlanID) (*answer[[]JobFile], error) {
	_, files, err := p.jobFiles(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	out := []JobFile{}
	for _, f := range files {
		out = append(out, JobFile{f.Name, len(f.Data)})
	}
	return &answer[[]JobFile]{out}, nil
}

func (p *plans) file(ctx context.Context, in *struct {
	PlanID
	Name string `path:"name" maxLength:"300"`
}) (*blob, error) {
	t, m, err := p.whole(in.ID)
	if err != nil {
		return nil, err
	}
	f, ok, err := t.job.file(ctx, in.Name, func() (job.File, bool, error) {
		return job.One(ctx, p.kernel, m.Plan, m.Folder, in.Name)
	})
	if err != nil {
		return nil, broken(err)
	}
	if !ok {
		return nil, problem(http.StatusNotFound, "the job folder has no file "+quoted(in.Name), "look at the list of its files")
	}
	// Types that a browser shows but does not run; all others are saved.
	kinds := map[string]string{".json": "application/json", ".csv": "text/csv; charset=utf-8", ".txt": "text/plain; charset=utf-8", ".svg": "image/svg+xml", ".dxf": "image/vnd.dxf", ".stl": "model/stl", ".3mf": "model/3mf", ".pdf": "application/pdf", ".yaml": "application/yaml", ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
	kind := kinds[path.Ext(in.Name)]
	if kind == "" {
		kind = "application/octet-stream"
	}
	return &blob{kind, attachment(path.Base(in.Name)), lasting, f.Data}, nil
}

func attachment(name string) string {
	return mime.FormatMediaType("attachment", map[string]string{"filename": name})
}

func (p *plans) folder(ctx context.Context, in *PlanID) (*huma.StreamResponse, error) {
	m, files, err := p.jobFiles(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	return &huma.StreamResponse{Body: func(c huma.Context) {
		c.SetHeader("Content-Type", "application/zip")
		c.SetHeader("Content-Disposition", attachment(m.Plan.Piece.Name+"-job.zip"))
		if err := zipped(c.BodyWriter(), files); err != nil {
			panic(http.ErrAbortHandler) // the client is gone; half a zip must not look whole
		}
	}}, nil
}

// zipped writes a job folder as a zip file, the same bytes for the same files.
func zipped(w io.Writer, files []job.File) error {
	z := zip.NewWriter(w)
	for _, f := range files {
		e, err := z.CreateHeader(&zip.FileHeader{Name: f.Name, Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err != nil {
			return err
		}
		if _, err := e.Write(f.Data); err != nil {
			return err
		}
	}
	return z.Close()
}

func (p *plans) clashes(_ context.Context, in *struct {
	PlanID
	Body Moves
}) (*answer[Clashes], error) {
	_, m, err := p.whole(in.ID)
	if err != nil {
		return nil, err
	}
	pl := m.Plan
	var moves []sheet.Placement
	for _, v := range in.Body.Moves {
		i := slices.IndexFunc(pl.Patterns, func(q veneer.Pattern) bool { return q.ID == v.Pattern })
		if i < 0 {
			return nil, problem(http.StatusUnprocessableEntity, "the plan has no pattern "+quoted(v.Pattern), "look at the plan again: the piece has changed")
		}
		b := slices.IndexFunc(pl.Sheets.Blanks, func(b sheet.Blank) bool { return b.ID == v.Blank })
		if b < 0 && v.Blank != "" { // "" is for one that is held beside the blanks
			return nil, problem(http.StatusUnprocessableEntity, "the plan has no blank "+quoted(v.Blank), "look at the plan again: the layout has changed")
		}
		moves = append(moves, sheet.Placement{Pattern: i, Blank: b, At: geom.V2(v.X, v.Y), Turn: v.Rotation * math.Pi / 180})
	}
	out := Clashes{[]Clash{}}
	for _, c := range pl.Sheets.Clashes(pl.Patterns, moves...) {
		out.Clashes = append(out.Clashes, Clash{Kind: string(c.Kind), Patterns: c.Patterns, Message: c.Message, Clear: [2]float64{c.Clear.X, c.Clear.Y}})
	}
	return &answer[Clashes]{out}, nil
}
