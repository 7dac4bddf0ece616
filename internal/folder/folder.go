// Package folder keeps the folder that a maker names: plain files of pieces,
// shops, marks, photographs and solids, which any other program may change too.
//
//	f, err := folder.Open(dir, time.Now)
//	s, err := f.Read("stool.yaml")
//	s, err = f.Write("stool.yaml", data, s.Version, folder.Why{What: "Height: 540 mm to 600 mm"})
//	step, states, err := f.Undo([]string{"stool.yaml", "stool.marks.yaml", "shop.yaml"}, "")
//
// A file on the disk is always whole, old or new, and so is a change of
// several files once it is looked at again, even if the program or the machine
// dies at any moment. What was there before is kept in the hidden folder
// .groundwork (journal, versions), so every change of a text file can be
// undone, those by other programs included. Photographs and solids are kept
// without their earlier versions.
//
// Two programs of ours may use one folder: writers take turns by a lock, and
// readers never wait. Another program knows nothing of the lock; what it saves
// in the moment between our last look at a file and our replacing it is lost,
// as with any two programs that save one file.
//
// Nothing outside the folder is read or written: every access goes through an
// os.Root, so neither names nor links lead out.
package folder

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"groundwork/internal/given"
)

// Version names the content of a file: the first half of its SHA-256, in
// hexadecimal. "" is no file.
type Version string

// VersionOf is the version of a content.
func VersionOf(data []byte) Version {
	sum := sha256.Sum256(data)
	return Version(hex.EncodeToString(sum[:16]))
}

// State is a file as it stands. With Version "" there is no such file.
type State struct {
	Name    string
	Data    []byte
	Version Version
}

// File is one of the maker's files as List tells it.
type File struct {
	Name     string
	Kind     Kind
	Size     int64 // bytes
	Modified time.Time
	Fault    string // why it cannot be used as it is; "" if nothing is wrong
}

// Folder is an open folder. Its methods may be called at the same time.
type Folder struct {
	root   *os.Root
	path   string
	now    func() time.Time
	bounds bounds
	sync   func(*os.File) error // sees a file onto the disk

	mu       sync.Mutex // held with the lock of the folder: one change at a time
	lock     *os.File
	known    atomic.Pointer[journal] // as last read or written by us
	gathered map[string]int          // by gather key, the step of this run it stands in
	parts    atomic.Int64            // counts temporary files

	watch    sync.Mutex
	wakes    map[chan struct{}]bool
	streamed map[string]made // who wrote a file that has no history
}

// made is a version and who made it.
type made struct {
	version Version
	who     string
}

// Open opens the folder at dir, which must exist. now tells the time for the
// steps of the history. Nothing is written
// until the first change or Watch.
func Open(dir string, now func() time.Time) (*Folder, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("opening the folder %s: %w", dir, err)
	}
	root, err := os.OpenRoot(abs)
	if err != nil {
		return nil, fmt.Errorf("opening the folder %s: %w", dir, err)
	}
	f := &Folder{
		root: root, path: abs, now: now, bounds: usual, sync: flush,
		gathered: map[string]int{}, wakes: map[chan struct{}]bool{}, streamed: map[string]made{},
	}
	f.known.Store(&journal{})
	f.sweep()
	return f, nil
}

// Close lets the folder go.
func (f *Folder) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.lock != nil {
		f.lock.Close()
		f.lock = nil
	}
	return f.root.Close()
}

// Path is the folder's full path.
func (f *Folder) Path() string { return f.path }

// FS is the folder for reading: the solids that a piece file names, in folders
// below it too. Links do not lead out of it.
func (f *Folder) FS() fs.FS { return f.root.FS() }

// List is the maker's files in the order of their names. What is wrong with
// one stands in its Fault. Files of other kinds and hidden ones are left out.
func (f *Folder) List() ([]File, error) {
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("listing the folder %s: %w", f.path, err)
	}
	var out []File
	folded := map[string]string{}
	for _, e := range entries {
		name := e.Name()
		kind := kindOfName(name)
		if kind == "" || name[0] == '.' || e.IsDir() {
			continue
		}
		file := File{Name: name, Kind: kind}
		info, err := f.root.Stat(name)
		var bad *NameError
		switch {
		case errors.Is(err, fs.ErrNotExist) && e.Type()&fs.ModeSymlink == 0:
			continue // taken away just now
		case err != nil:
			file.Fault = "it cannot be reached, or is a link that leads out of the folder"
		case !info.Mode().IsRegular():
			file.Fault = "it is not a plain file"
		case errors.As(CheckName(name), &bad):
			file.Fault = "give it another name: " + bad.Why
		case kind == Other || kind == Marks:
			file.Kind, file.Fault = f.classify(name, kind)
		}
		if err == nil {
			file.Size, file.Modified = info.Size(), info.ModTime()
		}
		key := strings.ToLower(name)
		if other, ok := folded[key]; ok && file.Fault == "" {
			file.Fault = fmt.Sprintf("give it another name: %s differs from it by capitals only, and not every system tells them apart", other)
		}
		folded[key] = name
		out = append(out, file)
	}
	slices.SortFunc(out, func(a, b File) int { return cmp.Compare(a.Name, b.Name) })
	return out, nil
}

// classify tells what a YAML file is by its outermost keys, without reading
// what stands below them.
func (f *Folder) classify(name string, kind Kind) (Kind, string) {
	s, err := f.Read(name)
	switch {
	case errors.Is(err, ErrTooLarge):
		return kind, fmt.Sprintf("it is larger than %d bytes", given.MaxBytes)
	case err != nil:
		return kind, "it cannot be read"
	case kind == Marks:
		return Marks, ""
	}
	keys := outermost(s.Data)
	switch {
	case slices.Contains(keys, "members"):
		return Piece, ""
	case slices.Contains(keys, "printers"):
		return Shop, ""
	case len(bytes.TrimSpace(s.Data)) == 0:
		return Other, "it is empty"
	}
	return Other, "it is neither a piece (no key members) nor a shop (no key printers)"
}

// outermost lists the outermost keys of a YAML mapping. Those that begin a
// line are found without parsing, so a file with faults in it is still known
// for what it is; a file with none is parsed, for it may stand in braces.
func outermost(data []byte) []string {
	var keys []string
	for line := range bytes.Lines(data) {
		key, _, ok := bytes.Cut(line, []byte(":"))
		if ok && len(key) > 0 && !bytes.ContainsAny(key, " \t#{[&*") {
			keys = append(keys, strings.Trim(string(key), `"'`))
		}
	}
	if keys == nil {
		if n := given.Read(data, &given.Faults{}); n != nil {
			for _, k := range n.Keys {
				keys = append(keys, k.Value)
			}
		}
	}
	return keys
}

// ErrTooLarge says that a file is larger than its kind may be.
var ErrTooLarge = errors.New("the file is too large")

// Read is a text file (piece, shop, marks) as it stands. A file that is not
// there is an error that is fs.ErrNotExist.
func (f *Folder) Read(name string) (State, error) {
	if err := textName(name); err != nil {
		return State{}, err
	}
	s, err := f.current(name)
	if err == nil && s.Version == "" {
		err = fmt.Errorf("reading %s: %w", name, fs.ErrNotExist)
	}
	return s, err
}

// OpenFile opens a photograph or solid for reading.
func (f *Folder) OpenFile(name string) (*os.File, error) {
	if err := CheckName(name); err != nil {
		return nil, err
	}
	return f.open(name)
}

// open opens a plain file: never a pipe or device, which could wait for ever.
func (f *Folder) open(name string) (*os.File, error) {
	info, err := f.root.Stat(name)
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("it is not a plain file")
	}
	if err != nil {
		return nil, fmt.Errorf("opening %s: %w", name, err)
	}
	return f.root.Open(name)
}

// current is a text file as it stands, with Version "" if it is not there.
func (f *Folder) current(name string) (State, error) {
	data, err := f.readSome(name, given.MaxBytes)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return State{Name: name}, nil
	case err != nil:
		return State{}, err
	}
	return State{name, data, VersionOf(data)}, nil
}

// readSome reads a file of at most limit bytes.
func (f *Folder) readSome(name string, limit int64) ([]byte, error) {
	file, err := f.open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, limit+1))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	if int64(len(data)) > limit {
		return nil, fmt.Errorf("reading %s: %w: more than %d bytes", name, ErrTooLarge, limit)
	}
	return data, nil
}

// textName is nil if name may be that of a text file.
func textName(name string) error {
	if err := CheckName(name); err != nil {
		return err
	}
	if !text(name) {
		return &NameError{name, "its ending is neither .yaml nor .yml"}
	}
	return nil
}
