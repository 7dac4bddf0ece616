package api

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"

	"groundwork/examples"
	"groundwork/internal/folder"
	"groundwork/internal/given"
	"groundwork/internal/marks"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// desk is where the maker's files are read and changed.
type desk struct {
	dir    *folder.Folder
	kernel *solid.Kernel
	news   *journal      // changes of files
	intake chan struct{} // room for files with solids that are being read

	mu   sync.Mutex
	read map[string]*reading // the last of every piece file
}

func newDesk(ctx context.Context, dir *folder.Folder, k *solid.Kernel) *desk {
	d := &desk{dir: dir, kernel: k, news: newJournal(500), intake: make(chan struct{}, 1), read: map[string]*reading{}}
	// Numbers go on from the time, so that those of an earlier run of the program
	// are known to be old.
	d.news.gone = int(time.Now().Unix())
	changes := dir.Watch(ctx)
	go func() {
		for c := range changes {
			d.news.add(ChangeEvent{File: c.Name, Version: string(c.Version), View: c.Who})
		}
	}()
	return d
}

// tell is a piece file and what belongs to it, for the page.
func (d *desk) tell(p papers) (*answer[Piece], error) {
	r := d.reading(p)
	out := Piece{
		File: p.piece.Name, Title: strings.TrimSuffix(p.piece.Name, filepath.Ext(p.piece.Name)),
		Text: string(p.piece.Data), Version: string(p.piece.Version),
		Shop: p.shop.Name, ShopText: string(p.shop.Data), ShopVersion: string(p.shop.Version),
		MarksVersion: string(p.marks.Version),
		Parameters:   []Parameter{}, Faults: d.faults(r.err, p.piece.Name),
	}
	if r.doc != nil {
		if t := r.doc.Title.Value; t != "" {
			out.Title = t
		} else if n := r.doc.Name.Value; n != "" {
			out.Title = n
		}
	}
	if r.piece != nil {
		out.Parameters = parameters(r)
	}
	if _, err := shop.Parse(d.where(p.shop.Name), p.shop.Data); err != nil {
		out.Faults = append(out.Faults, d.faults(err, p.shop.Name)...)
	}
	m, err := readMarks(p)
	if err != nil {
		out.Faults = append(out.Faults, d.faults(err, p.marks.Name)...)
	}
	out.Marks = listed(m)
	if out.Faults == nil {
		out.Faults = []Fault{}
	}
	h, err := d.dir.History(p.names())
	if err != nil {
		return nil, d.refusal(err)
	}
	if len(h.Undo) > 0 {
		out.Undo = &Step{What: h.Undo[0].What, When: h.Undo[0].When}
	}
	if len(h.Redo) > 0 {
		out.Redo = &Step{What: h.Redo[0].What, When: h.Redo[0].When}
	}
	return &answer[Piece]{out}, nil
}

// refusalOf is an error of the folder about a file as a problem. The list of
// files knows in the maker's words why a file cannot be used.
func (d *desk) refusalOf(file string, err error) error {
	q := d.refusal(err)
	if p, ok := q.(*Problem); !ok || p.Status < 500 {
		return q
	}
	files, _ := d.dir.List() // without it the error itself is told
	for _, f := range files {
		if f.Name == file && f.Fault != "" {
			return problem(http.StatusUnprocessableEntity, file+" cannot be used: "+f.Fault, "put a plain file in its place")
		}
	}
	return q
}

// refusal is an error of the folder as a problem.
func (d *desk) refusal(err error) error {
	var p *Problem
	var name *folder.NameError
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &name):
		return problem(http.StatusUnprocessableEntity, err.Error(), "choose another name, such as my-table.yaml")
	case errors.Is(err, fs.ErrNotExist):
		return problem(http.StatusNotFound, "the folder has no such file", "look at the list of the folder's files: it may have been moved or given another name")
	case errors.Is(err, folder.ErrExists), errors.Is(err, fs.ErrExist):
		return problem(http.StatusConflict, err.Error(), "choose another name, or move that file away")
	case errors.Is(err, folder.ErrTooLarge):
		return problem(http.StatusRequestEntityTooLarge, err.Error(), "make the file smaller")
	case errors.Is(err, folder.ErrNothing):
		return problem(http.StatusConflict, err.Error(), "nothing needs to be done")
	}
	return problem(http.StatusInternalServerError, err.Error(), "see whether the folder is there, can be written to, and its disk has room; then try again")
}

func (d *desk) folder(context.Context, *struct{}) (*answer[Folder], error) {
	files, err := d.dir.List()
	if err != nil {
		return nil, d.refusal(err)
	}
	out := Folder{Path: d.dir.Path(), Pieces: []PieceEntry{}, Shops: []string{}, Library: library(), Photographs: []string{}, Solids: []string{}}
	for _, f := range files {
		switch f.Kind {
		case folder.Piece:
			out.Pieces = append(out.Pieces, d.entry(f))
		case folder.Shop:
			out.Shops = append(out.Shops, f.Name)
		case folder.Photograph:
			out.Photographs = append(out.Photographs, f.Name)
		case folder.Solid:
			out.Solids = append(out.Solids, f.Name)
		}
	}
	return &answer[Folder]{out}, nil
}

// entry tells of a piece file in a list. Files with solids are not read for it.
func (d *desk) entry(f folder.File) PieceEntry {
	stem := strings.TrimSuffix(f.Name, filepath.Ext(f.Name))
	e := PieceEntry{File: f.Name, Name: stem, Title: stem, Fault: f.Fault}
	if f.Fault != "" {
		return e
	}
	s, err := d.dir.Read(f.Name)
	if err != nil {
		e.Fault = err.Error()
		return e
	}
	doc, err := piece.Parse(f.Name, s.Data)
	if doc != nil {
		e.Name, e.Title, e.Use = doc.Name.Value, doc.Title.Value, doc.Use.Value
		if e.Title == "" {
			e.Title = e.Name
		}
	}
	if faults := d.faults(err, f.Name); len(faults) > 0 {
		e.Fault = faults[0].Message
		if faults[0].Line > 0 {
			e.Fault = fmt.Sprintf("line %d: %s", faults[0].Line, e.Fault)
		}
	}
	return e
}

// library tells of the pieces that come with the program.
var library = sync.OnceValue(func() []LibraryEntry {
	out := []LibraryEntry{}
	for _, name := range examples.Pieces() {
		e := LibraryEntry{Name: name, Title: name}
		if data, err := examples.Files.ReadFile(name + ".yaml"); err == nil {
			if doc, err := piece.Parse(name, data); err == nil {
				e.Title, e.Note, e.Use = doc.Title.Value, doc.Note.Value, doc.Use.Value
			}
		}
		out = append(out, e)
	}
	return out
})

func (d *desk) copyPiece(_ context.Context, in *struct{ Body PieceCopy }) (*answer[Piece], error) {
	from, file := in.Body.From, in.Body.File
	name := strings.TrimSuffix(file, ".yaml")
	if name == file || !piece.ValidName(name) {
		return nil, problem(http.StatusUnprocessableEntity, fmt.Sprintf("%s cannot be the name of a piece file", quoted(file)),
			"use lower-case letters, digits and single hyphens, and end in .yaml, as in my-side-table.yaml")
	}
	var data []byte
	if slices.Contains(examples.Pieces(), from) {
		data, _ = examples.Files.ReadFile(from + ".yaml")
	} else {
		s, err := d.dir.Read(from)
		if errors.Is(err, folder.ErrName) || errors.Is(err, fs.ErrNotExist) {
			return nil, problem(http.StatusNotFound, fmt.Sprintf("there is no piece %s in the library or the folder", quoted(from)), "choose one of: "+strings.Join(examples.Pieces(), ", "))
		}
		if err != nil {
			return nil, d.refusalOf(from, err)
		}
		data = s.Data
	}
	if _, err := d.dir.Create(file, renamed(data, name), ""); err != nil {
		return nil, d.refusalOf(file, err)
	}
	p, err := d.papers(file)
	if err != nil {
		return nil, err
	}
	if p.shop.Name == "" { // a shop of the maker's own, to put the printer and the prices in
		if _, err := d.dir.Create(ordinaryShop, p.shop.Data, ""); err != nil && !errors.Is(err, folder.ErrExists) {
			return nil, d.refusal(err)
		}
		if p, err = d.papers(file); err != nil {
			return nil, err
		}
	}
	return d.tell(p)
}

// renamed is a piece file with another name in it, where its own is plain to see.
func renamed(data []byte, name string) []byte {
	lines := strings.SplitAfter(string(data), "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, "name:") {
			lines[i] = "name: " + name + "\n"
			break
		}
	}
	return []byte(strings.Join(lines, ""))
}

func (d *desk) piece(_ context.Context, in *PieceFile) (*answer[Piece], error) {
	p, err := d.papers(in.File)
	if err != nil {
		return nil, err
	}
	return d.tell(p)
}

// now is the piece as it stands after a change, or as it stands instead of what
// a change was based on.
func (d *desk) now(file string, err error) (*answer[Piece], error) {
	if err != nil && !errors.Is(err, folder.ErrStale) {
		return nil, d.refusalOf(file, err)
	}
	p, readErr := d.papers(file)
	if readErr != nil {
		return nil, readErr
	}
	told, tellErr := d.tell(p)
	if tellErr != nil {
		return nil, tellErr
	}
	if err != nil {
		q := changedMeanwhile(file)
		q.Current = &told.Body
		return nil, q
	}
	return told, nil
}

// changedMeanwhile is the problem of a change to an older text.
func changedMeanwhile(file string) *Problem {
	return problem(http.StatusConflict, file+" was changed meanwhile, in another window or by another program, so that nothing was written", "look at what it is now, and make the change again")
}

func (d *desk) writePiece(_ context.Context, in *struct {
	PieceFile
	Body PieceText
}) (*answer[Piece], error) {
	if in.Body.Base == "" {
		return nil, problem(http.StatusUnprocessableEntity, "the request does not say which version was edited", "reload the page")
	}
	_, err := d.dir.Write(in.File, []byte(in.Body.Text), folder.Version(in.Body.Base), folder.Why{What: "Text of " + in.File, Who: in.Body.View})
	return d.now(in.File, err)
}

func (d *desk) writeMarks(_ context.Context, in *struct {
	PieceFile
	Body MarksText
}) (*answer[Piece], error) {
	if _, err := d.papers(in.File); err != nil {
		return nil, err
	}
	name := folder.MarksFor(in.File)
	data := marks.Format(in.Body.Marks)
	if _, err := marks.Parse(name, data); err != nil { // the rules that a schema cannot tell
		return nil, d.faulty("these marks cannot be kept", d.faults(err, name))
	}
	what := in.Body.What
	if what == "" {
		what = "Marks"
	}
	_, err := d.dir.Write(name, data, folder.Version(in.Body.Base), folder.Why{What: what, Who: in.Body.View})
	return d.now(in.File, err)
}

// faulty is a problem that lists faults.
func (d *desk) faulty(what string, faults []Fault) *Problem {
	p := problem(http.StatusUnprocessableEntity, what, "mend what is listed")
	for i, f := range faults {
		if i == 0 {
			p.Detail += ": " + f.Message
			if f.Remedy != "" {
				p.Remedy = f.Remedy
			}
		}
		p.Faults = append(p.Faults, f)
	}
	return p
}

func (d *desk) changePiece(_ context.Context, in *struct {
	PieceFile
	Body Changes
}) (*answer[Piece], error) {
	for again := 0; ; again++ {
		p, err := d.papers(in.File)
		if err != nil {
			return nil, err
		}
		if string(p.piece.Version) != in.Body.Base {
			return d.now(in.File, folder.ErrStale)
		}
		edits, what, err := d.edits(p, in.Body.Changes)
		if err != nil {
			return nil, err
		}
		why := folder.Why{What: cmp.Or(in.Body.What, what), Who: in.Body.View}
		if in.Body.Gather != "" {
			why.Gather = fmt.Sprintf("%q %q %q", in.Body.View, in.File, in.Body.Gather)
		}
		_, err = d.dir.Save(edits, why)
		// Single values can be set again in a shop or marks file that was just
		// changed; the piece is held to its version above.
		if errors.Is(err, folder.ErrStale) && again < 3 {
			continue
		}
		return d.now(in.File, err)
	}
}

// edits are the files of a piece with values changed, and what that is in
// words.
func (d *desk) edits(p papers, changes []Change) (edits []folder.Edit, what string, err error) {
	states := map[string]*folder.State{"piece": &p.piece, "shop": &p.shop, "marks": &p.marks}
	if p.shop.Name == "" { // the ordinary shop becomes the folder's own
		p.shop.Name = ordinaryShop
	}
	if p.marks.Version == "" {
		p.marks.Data = marks.Format(marks.File{})
	}
	was := ""
	for _, c := range changes {
		s := states[c.Document]
		if len(changes) == 1 {
			if n := given.Read(s.Data, &given.Faults{}).At(c.Pointer); n != nil {
				was = n.Text
			}
		}
		out, err := given.Edit(s.Data, c.Pointer, c.Value)
		if err != nil {
			return nil, "", d.unchanged(s.Name, err)
		}
		s.Data = out
	}
	for _, doc := range []string{"piece", "shop", "marks"} {
		if slices.ContainsFunc(changes, func(c Change) bool { return c.Document == doc }) {
			s := states[doc]
			edits = append(edits, folder.Edit{Name: s.Name, Data: s.Data, Base: s.Version})
		}
	}
	what = fmt.Sprintf("%d values", len(changes))
	if c := changes[0]; len(changes) == 1 {
		label := strings.Trim(c.Pointer, "/")
		for _, q := range d.known(p) {
			if q.Pointer == c.Pointer && c.Document == "piece" {
				label = q.Label
			}
		}
		what = label + " to " + c.Value
		if was != "" {
			what = label + ": " + was + " to " + c.Value
		}
	}
	return edits, what, nil
}

// known are the parameters of a piece, none while it has faults.
func (d *desk) known(p papers) []Parameter {
	if r := d.reading(p); r.piece != nil {
		return parameters(r)
	}
	return nil
}

// unchanged is why a value could not be set.
func (d *desk) unchanged(file string, err error) error {
	var e *given.EditError
	if errors.As(err, &e) {
		q := problem(http.StatusUnprocessableEntity, fmt.Sprintf("%s cannot be set in %s: %s", e.Pointer, file, e.Why), "change it in the text of the file")
		q.Faults = []Fault{{File: file, Line: e.Line, Column: e.Column, Message: e.Why}}
		return q
	}
	q := d.faulty(file+" has faults, so that no value in it can be set", d.faults(err, file))
	q.Remedy = "mend its faults in the text first"
	return q
}

func (d *desk) undo(_ context.Context, in *struct {
	PieceFile
	Body ViewName
}) (*answer[Piece], error) {
	return d.turn(in.File, in.Body.View, d.dir.Undo)
}

func (d *desk) redo(_ context.Context, in *struct {
	PieceFile
	Body ViewName
}) (*answer[Piece], error) {
	return d.turn(in.File, in.Body.View, d.dir.Redo)
}

func (d *desk) turn(file, view string, do func([]string, string) (folder.Step, []folder.State, error)) (*answer[Piece], error) {
	p, err := d.papers(file)
	if err != nil {
		return nil, err
	}
	_, _, err = do(p.names(), view)
	return d.now(file, err)
}

func (d *desk) events(ctx context.Context, in *Since, send sse.Sender) {
	n := d.news.last()
	if in.LastEventID > 0 { // a window that was cut off for a while
		n = in.LastEventID
	}
	follow(ctx, d.news, n, MissedEvent{}, send)
}
