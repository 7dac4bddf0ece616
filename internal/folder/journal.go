package folder

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"time"

	"groundwork/internal/given"
)

// The hidden folder holds
//
//	lock            locked by whoever changes something
//	journal         one line a record, oldest first, only ever added to
//	versions/HASH   contents that the journal names, as plain copies
//
// A line is the CRC-32C of a JSON object in eight hexadecimal digits, a space
// and the object. A line that was cut short or spoiled is passed over.
//
// A change is written in this order, each step on the disk before the next:
// contents old and new to versions; new contents to temporary files; record;
// temporary files renamed over the files; "done". If a record has no "done"
// after it, whoever takes the lock next finishes it: a file that is still old
// becomes new.
const (
	hidden       = ".groundwork"
	lockName     = hidden + "/lock"
	journalName  = hidden + "/journal"
	versionsName = hidden + "/versions"
)

// Bounds of the history. When one is passed, the oldest steps are dropped
// until it holds again, and contents that no step names any more.
const (
	MaxSteps   = 500      // steps kept, of all files together
	MaxBytes   = 64 << 20 // bytes of contents kept
	maxJournal = 64 << 20 // bytes of a journal that is read
	maxLine    = 256 << 10
)

// bounds of the history of a folder.
type bounds struct {
	steps int
	slack int // how far steps may be passed before the journal is written anew, so that this is not done every time
	lines int // of the journal beyond which it is written anew: a gathered step has many
	bytes int64
}

var usual = bounds{MaxSteps, 50, 4000, MaxBytes}

// change is what a record does to one file.
type change struct {
	Name   string  `json:"name"`
	Before Version `json:"before,omitempty"`
	After  Version `json:"after,omitempty"`
}

// deed is what a record tells.
type deed string

const (
	didSee  deed = "seen" // a file's content when we first saw it: no step
	didStep deed = "step" // a change by us, or by another program
	didUndo deed = "undo" // the step Of was undone
	didRedo deed = "redo" // the step Of was done again
	isDone  deed = "done" // the record Of is on the disk
	isVoid  deed = "void" // the record Of failed and was taken back
)

// record is one line of the journal.
type record struct {
	ID      int       `json:"id"`
	Did     deed      `json:"did"`
	Of      int       `json:"of,omitempty"`
	Gathers int       `json:"gathers,omitempty"` // this step replaces the outcome of that one
	Outside bool      `json:"outside,omitempty"` // made by another program
	What    string    `json:"what,omitempty"`
	Who     string    `json:"who,omitempty"`
	When    time.Time `json:"when,omitzero"`
	Files   []change  `json:"files,omitempty"`
}

// touches reports whether the record changes one of the files.
func (r record) touches(files []string) bool {
	return slices.ContainsFunc(r.Files, func(c change) bool { return slices.Contains(files, c.Name) })
}

// valid reports whether a record read from a file can be relied on: every name
// and version in it leads into the folder.
func (r record) valid() bool {
	switch r.Did {
	case isDone, isVoid:
		return r.Of > 0
	case didUndo, didRedo:
		if r.Of <= 0 {
			return false
		}
	case didSee, didStep:
	default:
		return false
	}
	seen := map[string]bool{}
	for _, c := range r.Files {
		if textName(c.Name) != nil || seen[c.Name] || !c.Before.valid() || !c.After.valid() {
			return false
		}
		seen[c.Name] = true
	}
	return r.ID > 0 && len(r.Files) > 0
}

func (v Version) valid() bool {
	if v == "" {
		return true
	}
	ok := len(v) == 32
	for _, c := range []byte(v) {
		ok = ok && ('0' <= c && c <= '9' || 'a' <= c && c <= 'f')
	}
	return ok
}

// journal is the history as read: what happened, oldest first, with gathered
// steps already one. A journal is not changed once others can see it.
type journal struct {
	records []record
	pending *record // written but not known to be done
	last    int     // greatest ID given
	lines   int
	open    bool // the last line has no end
	info    os.FileInfo
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// line is a record as a line of the journal.
func (r record) line() ([]byte, error) {
	b, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("writing a step of the history: %w", err)
	}
	return sealed(b), nil
}

// sealed is the body of a line with its checksum before and its end behind it.
func sealed(body []byte) []byte {
	return fmt.Appendf(nil, "%08x %s\n", crc32.Checksum(body, castagnoli), body)
}

// parseLine reads a line of the journal without its end.
func parseLine(line []byte) (record, bool) {
	var r record
	sum, body, ok := bytes.Cut(line, []byte(" "))
	if !ok || len(sum) != 8 || len(line) > maxLine {
		return r, false
	}
	want, err := strconv.ParseUint(string(sum), 16, 32)
	if err != nil || crc32.Checksum(body, castagnoli) != uint32(want) {
		return r, false
	}
	if json.Unmarshal(body, &r) != nil || !r.valid() {
		return r, false
	}
	return r, true
}

// parse reads a journal. Nothing in it is a fault: what cannot be read is
// passed over.
func parse(data []byte) *journal {
	j := &journal{open: len(data) > 0 && data[len(data)-1] != '\n'}
	for line := range bytes.Lines(data) {
		j.lines++
		whole, ended := bytes.CutSuffix(line, []byte("\n"))
		if r, ok := parseLine(whole); ok && ended {
			j.add(r)
		}
	}
	return j
}

// add takes in the next record of the journal.
func (j *journal) add(r record) {
	j.last = max(j.last, r.ID)
	switch r.Did {
	case isDone, isVoid:
		if p := j.pending; p != nil && p.ID == r.Of {
			j.pending = nil
			if r.Did == isDone {
				j.apply(*p)
			}
		}
		return
	}
	if j.pending != nil { // its "done" was lost, but others went on after it
		j.apply(*j.pending)
		j.pending = nil
	}
	if r.Did == didSee || r.Outside { // nothing is written with these
		j.apply(r)
		return
	}
	j.pending = &r
}

// apply takes a finished record into the history.
func (j *journal) apply(r record) {
	if r.Gathers != 0 {
		at := slices.IndexFunc(j.records, func(x record) bool { return x.ID == r.Gathers && x.Did == didStep })
		if at >= 0 && sameFiles(j.records[at], r) {
			g := j.records[at]
			g.What, g.Who, g.When, g.Files = r.What, r.Who, r.When, slices.Clone(g.Files)
			for i := range g.Files {
				k := slices.IndexFunc(r.Files, func(c change) bool { return c.Name == g.Files[i].Name })
				g.Files[i].After = r.Files[k].After
			}
			j.records = slices.Clone(j.records)
			j.records[at] = g
			return
		}
		r.Gathers = 0 // the step is no longer kept
	}
	j.records = append(j.records, r)
}

// sameFiles reports whether two records change the same files.
func sameFiles(a, b record) bool {
	names := func(r record) []string {
		var out []string
		for _, c := range r.Files {
			out = append(out, c.Name)
		}
		slices.Sort(out)
		return out
	}
	return slices.Equal(names(a), names(b))
}

// finished is the history with the record that is being carried out taken as
// done, for readers that do not wait for it.
func (j *journal) finished() []record {
	if j.pending == nil {
		return j.records
	}
	k := journal{records: slices.Clip(j.records)}
	k.apply(*j.pending)
	return k.records
}

// head is the version that the history says a file has, and the record that
// made it so; ok is false for a file it does not know.
func head(records []record, name string) (v Version, by record, ok bool) {
	for _, r := range slices.Backward(records) {
		for _, c := range r.Files {
			if c.Name == name {
				return c.After, r, true
			}
		}
	}
	return "", record{}, false
}

// journal is the history as it stands on the disk.
func (f *Folder) journal() (*journal, error) {
	info, err := f.root.Stat(journalName)
	known := f.known.Load()
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return &journal{last: known.last}, nil
	case err != nil:
		return nil, fmt.Errorf("reading the history: %w", err)
	case known.info != nil && os.SameFile(known.info, info) && known.info.Size() == info.Size():
		return known, nil
	}
	data, err := f.readSome(journalName, maxJournal)
	if err != nil {
		return nil, fmt.Errorf("reading the history: %w", err)
	}
	j := parse(data)
	j.info = info
	if int64(len(data)) != info.Size() { // it grew meanwhile: look again next time
		j.info = nil
	}
	return j, nil
}

// write adds records to the journal and sees them onto the disk. The lock is
// held.
func (f *Folder) write(j *journal, records ...record) (*journal, error) {
	file, err := f.root.OpenFile(journalName, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o644)
	if err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	defer file.Close()
	var text []byte
	if j.open {
		text = append(text, '\n')
	}
	for _, r := range records {
		line, err := r.line()
		if err != nil {
			return nil, err
		}
		text = append(text, line...)
	}
	if _, err = file.Write(text); err == nil {
		err = f.sync(file)
	}
	if err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	if j.info == nil {
		if err := f.syncDir(hidden); err != nil {
			return nil, err
		}
	}
	next := *j
	next.records = slices.Clip(j.records)
	next.open = false
	next.lines += len(records)
	for _, r := range records {
		next.add(r)
	}
	if next.info, err = file.Stat(); err != nil {
		return nil, fmt.Errorf("writing the history: %w", err)
	}
	f.known.Store(&next)
	return &next, nil
}

// keep stores a content among the versions, if it is not there yet.
func (f *Folder) keep(s State) error {
	if s.Version == "" {
		return nil
	}
	name := versionsName + "/" + string(s.Version)
	if _, err := f.kept(s.Version); err == nil {
		return nil
	}
	if err := f.root.MkdirAll(versionsName, 0o755); err != nil {
		return fmt.Errorf("keeping a version of %s: %w", s.Name, err)
	}
	part, err := f.stage(string(s.Version), s.Data, 0o644)
	if err != nil {
		return err
	}
	if err := f.root.Rename(part, name); err != nil {
		f.root.Remove(part)
		return fmt.Errorf("keeping a version of %s: %w", s.Name, err)
	}
	return f.syncDir(versionsName)
}

// kept is the content of a version. It is checked against its name, so a
// spoiled copy is never given out.
func (f *Folder) kept(v Version) ([]byte, error) {
	data, err := f.readSome(versionsName+"/"+string(v), given.MaxBytes)
	if err != nil {
		return nil, fmt.Errorf("looking for an earlier version: %w", err)
	}
	if VersionOf(data) != v {
		return nil, fmt.Errorf("looking for an earlier version: the copy %s/%s is spoiled", versionsName, v)
	}
	return data, nil
}

// trim writes the journal anew without its oldest steps if a bound is passed.
// The lock is held.
func (f *Folder) trim(j *journal) (*journal, error) {
	sizes, total, err := f.versions()
	if err != nil {
		return j, err
	}
	if steps(j.records) <= f.bounds.steps+f.bounds.slack && j.lines <= f.bounds.lines && total <= f.bounds.bytes || j.pending != nil {
		return j, nil
	}
	records := newest(j.records, sizes, f.bounds)
	var text []byte
	for _, r := range records {
		line, err := r.line()
		if err != nil {
			return j, err
		}
		text = append(text, line...)
		if r.Did != didSee && !r.Outside {
			if line, err = (record{ID: r.ID, Did: isDone, Of: r.ID}).line(); err != nil {
				return j, err
			}
			text = append(text, line...)
		}
	}
	part, err := f.stage("journal", text, 0o644)
	if err != nil {
		return j, err
	}
	if err := f.root.Rename(part, journalName); err != nil {
		f.root.Remove(part)
		return j, fmt.Errorf("shortening the history: %w", err)
	}
	if err := f.syncDir(hidden); err != nil {
		return j, err
	}
	next := parse(text)
	next.last = max(next.last, j.last)
	if next.info, err = f.root.Stat(journalName); err != nil {
		return j, fmt.Errorf("shortening the history: %w", err)
	}
	f.known.Store(next)
	// Only now may contents go: a journal that named them is no longer there.
	named := versionsOf(records)
	for v := range sizes {
		if !named[v] {
			f.root.Remove(versionsName + "/" + string(v))
		}
	}
	return next, nil
}

// versionsOf is the set of contents that records name.
func versionsOf(records []record) map[Version]bool {
	out := map[Version]bool{}
	for _, r := range records {
		for _, c := range r.Files {
			out[c.Before], out[c.After] = true, true
		}
	}
	delete(out, "")
	return out
}

// newest drops the oldest records until both bounds hold. The version that a
// file has is always kept: if all that was told of it is dropped, one record
// that it was seen stays.
func newest(records []record, sizes map[Version]int64, most bounds) []record {
	drop := 0
	for n := steps(records); n > most.steps; drop++ {
		n -= steps(records[drop : drop+1])
	}
	for ; ; drop++ {
		rest := records[drop:]
		var out []record
		told := map[string]bool{}
		for _, r := range slices.Backward(records[:drop]) {
			for _, c := range r.Files {
				if _, _, ok := head(rest, c.Name); !told[c.Name] && !ok && c.After != "" {
					out = append(out, record{ID: r.ID, Did: didSee, Who: r.Who, When: r.When, Files: []change{{Name: c.Name, After: c.After}}})
				}
				told[c.Name] = true
			}
		}
		slices.SortStableFunc(out, func(a, b record) int { return cmp.Compare(a.ID, b.ID) })
		out = append(out, rest...)
		var total int64
		for v := range versionsOf(out) {
			total += sizes[v]
		}
		if total <= most.bytes || drop == len(records) {
			return out
		}
	}
}

// steps counts the records that are steps, undone or not.
func steps(records []record) int {
	n := 0
	for _, r := range records {
		if r.Did != didSee {
			n++
		}
	}
	return n
}

// versions lists the contents kept and their bytes together.
func (f *Folder) versions() (map[Version]int64, int64, error) {
	entries, err := fs.ReadDir(f.root.FS(), versionsName)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, 0, fmt.Errorf("listing the versions kept: %w", err)
	}
	sizes, total := map[Version]int64{}, int64(0)
	for _, e := range entries {
		if info, err := e.Info(); err == nil && Version(e.Name()).valid() {
			sizes[Version(e.Name())] = info.Size()
			total += info.Size()
		}
	}
	return sizes, total, nil
}
