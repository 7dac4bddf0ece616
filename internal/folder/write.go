package folder

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strings"
	"time"

	"groundwork/internal/given"
)

// Edit is a text file as it is to be.
type Edit struct {
	Name string
	Data []byte  // at most given.MaxBytes
	Base Version // what the file must still be; "" if there must be no such file
}

// Why tells what a change is for.
type Why struct {
	What string // as the maker reads it in the history: "Height: 540 mm to 600 mm"
	Who  string // which window made it; told to watchers
	// Gather, if not empty, makes one step of many: a change that follows one
	// of the same key, files and run of the program, with nothing else done to
	// these files in between, replaces its outcome. What is then that of the
	// last change, so word it from where the first one began.
	Gather string
}

// ErrStale is what every *StaleError is.
var ErrStale = errors.New("the file was changed meanwhile")

// StaleError says that files are no longer what a change was based on.
// Nothing was written.
type StaleError struct{ Current []State } // those files as they stand

func (e *StaleError) Error() string {
	var names []string
	for _, s := range e.Current {
		names = append(names, s.Name)
	}
	return fmt.Sprintf("%v: %s", ErrStale, strings.Join(names, ", "))
}

// Is makes errors.Is(err, ErrStale) true.
func (e *StaleError) Is(target error) bool { return target == ErrStale }

// Write saves one text file as one step of its history: see Save.
func (f *Folder) Write(name string, data []byte, base Version, why Why) (State, error) {
	states, err := f.Save([]Edit{{name, data, base}}, why)
	if err != nil {
		return State{}, err
	}
	return states[0], nil
}

// Save writes text files as one step of their history, all or none of them,
// and returns them as they now stand. It returns a *StaleError with nothing
// written if one is not its Base any more. When it returns without an error,
// the change lasts even if the power goes. Files that already are as they are
// to be are no change; if none is, there is no step.
func (f *Folder) Save(edits []Edit, why Why) ([]State, error) {
	var names []string
	for _, e := range edits {
		if err := checkEdit(e.Name, e.Data); err != nil {
			return nil, err
		}
		if slices.Contains(names, e.Name) {
			return nil, fmt.Errorf("saving %s: it stands twice in one change", e.Name)
		}
		names = append(names, e.Name)
	}
	var out []State
	err := f.locked(func(j *journal) error {
		var stale StaleError
		var turns []turn
		for _, e := range edits {
			now, next, err := f.reconcile(j, e.Name)
			if err != nil {
				return err
			}
			j = next
			to := State{e.Name, e.Data, VersionOf(e.Data)}
			out = append(out, to)
			switch {
			case now.Version != e.Base:
				stale.Current = append(stale.Current, now)
			case now.Version == "":
				if err := f.clash(e.Name); err != nil {
					return err
				}
			}
			if now.Version != to.Version {
				turns = append(turns, turn{now, to})
			}
		}
		if stale.Current != nil {
			return &stale
		}
		if turns == nil {
			return nil
		}
		r := record{ID: j.last + 1, Did: didStep, What: why.What, Who: why.Who, When: f.now(), Files: changes(turns)}
		if why.Gather != "" {
			if id, ok := f.gathered[why.Gather]; ok && onTop(j.records, id, r) {
				r.Gathers = id
			} else {
				f.gathered[why.Gather] = r.ID
			}
		}
		return f.carryOut(j, r, turns)
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// onTop reports whether the last thing that happened to every file of r is
// step id, which changed just these files.
func onTop(records []record, id int, r record) bool {
	for _, c := range r.Files {
		_, by, ok := head(records, c.Name)
		if !ok || by.ID != id || by.Did != didStep || !sameFiles(by, r) {
			return false
		}
	}
	return true
}

// ErrExists says that a file of this name is there already.
var ErrExists = errors.New("a file of this name is there already")

// Create makes a new text file. Unlike a file written by Write with no base,
// undoing never takes it away again: its history begins with data.
func (f *Folder) Create(name string, data []byte, who string) (State, error) {
	if err := checkEdit(name, data); err != nil {
		return State{}, err
	}
	s := State{name, data, VersionOf(data)}
	err := f.locked(func(j *journal) error {
		now, j, err := f.reconcile(j, name)
		if err != nil {
			return err
		}
		if now.Version != "" {
			return fmt.Errorf("making %s: %w", name, ErrExists)
		}
		if err := f.clash(name); err != nil {
			return err
		}
		if err := f.keep(s); err != nil {
			return err
		}
		if err := f.replace(s); err != nil {
			return err
		}
		// Should we die before this line is written, the file is there and is
		// taken as seen when it is next looked at.
		j, err = f.write(j, record{ID: j.last + 1, Did: didSee, Who: who, When: f.now(), Files: []change{{Name: name, After: s.Version}}})
		return err
	})
	if err != nil {
		return State{}, err
	}
	return s, nil
}

// WriteFrom streams a photograph or solid into the folder, at most limit
// bytes; more is an error that is ErrTooLarge. base is the version that it
// replaces, "" for a new file; there is no history of it. A file that is there
// with the same content is no error.
func (f *Folder) WriteFrom(name string, r io.Reader, limit int64, base Version, who string) (Version, error) {
	if err := CheckName(name); err != nil {
		return "", err
	}
	if text(name) {
		return "", &NameError{name, "its ending is that of a text file"}
	}
	part, file, err := f.part(name, 0o644)
	if err != nil {
		return "", err
	}
	defer f.root.Remove(part) // does nothing once it is renamed
	hash := sha256.New()
	n, err := io.Copy(io.MultiWriter(file, hash), io.LimitReader(r, limit+1))
	if err == nil && n > limit {
		err = fmt.Errorf("%w: more than %d bytes", ErrTooLarge, limit)
	}
	if err == nil {
		err = f.sync(file)
	}
	if err = errors.Join(err, file.Close()); err != nil {
		return "", fmt.Errorf("taking in %s: %w", name, err)
	}
	v := Version(hex.EncodeToString(hash.Sum(nil)[:16]))
	err = f.locked(func(*journal) error {
		now, err := f.versionOfBig(name)
		switch {
		case err != nil:
			return err
		case now == v:
			return nil
		case now != base && base == "":
			return fmt.Errorf("taking in %s: %w", name, ErrExists)
		case now != base:
			return &StaleError{[]State{{Name: name, Version: now}}}
		case now == "":
			if err := f.clash(name); err != nil {
				return err
			}
		}
		if err := f.over(part, name); err != nil {
			return err
		}
		f.watch.Lock()
		f.streamed[name] = made{v, who}
		f.watch.Unlock()
		return nil
	})
	if err != nil {
		return "", err
	}
	return v, nil
}

// versionOfBig hashes a file of any size without holding it.
func (f *Folder) versionOfBig(name string) (Version, error) {
	file, err := f.open(name)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	defer file.Close()
	hash := sha256.New()
	if _, err := io.Copy(hash, file); err != nil {
		return "", fmt.Errorf("reading %s: %w", name, err)
	}
	return Version(hex.EncodeToString(hash.Sum(nil)[:16])), nil
}

func checkEdit(name string, data []byte) error {
	if err := textName(name); err != nil {
		return err
	}
	if len(data) > given.MaxBytes {
		return fmt.Errorf("saving %s: %w: more than %d bytes", name, ErrTooLarge, given.MaxBytes)
	}
	return nil
}

// clash is an error if another file's name differs from a new one by capitals
// only.
func (f *Folder) clash(name string) error {
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return fmt.Errorf("looking whether %s is free: %w", name, err)
	}
	for _, e := range entries {
		if e.Name() != name && strings.EqualFold(e.Name(), name) {
			return &NameError{name, fmt.Sprintf("%s differs from it by capitals only, and not every system tells them apart", e.Name())}
		}
	}
	return nil
}

// turn is one file's change with its contents.
type turn struct{ from, to State }

func changes(turns []turn) []change {
	var out []change
	for _, t := range turns {
		out = append(out, change{t.from.Name, t.from.Version, t.to.Version})
	}
	return out
}

// carryOut does what r tells. The lock is held, and the files are as turns say
// they are.
func (f *Folder) carryOut(j *journal, r record, turns []turn) error {
	for _, t := range turns {
		if err := errors.Join(f.keep(t.from), f.keep(t.to)); err != nil {
			return err
		}
	}
	parts := make([]string, len(turns))
	defer func() {
		for _, p := range parts {
			if p != "" {
				f.root.Remove(p)
			}
		}
	}()
	for i, t := range turns {
		if t.to.Version == "" {
			continue
		}
		var err error
		if parts[i], err = f.stage(t.to.Name, t.to.Data, f.mode(t.to.Name)); err != nil {
			return err
		}
	}
	// The disk took its time; another program may have saved meanwhile.
	var stale StaleError
	for _, t := range turns {
		now, err := f.current(t.from.Name)
		if err != nil {
			return err
		}
		if now.Version != t.from.Version {
			stale.Current = append(stale.Current, now)
		}
	}
	if stale.Current != nil {
		return &stale
	}
	next, err := f.write(j, r)
	if err != nil {
		torn := *j
		torn.open = true // how much of the line was written is not known
		return errors.Join(err, f.takeBack(&torn, r, turns))
	}
	j = next
	for i, t := range turns {
		if t.to.Version == "" {
			err = f.root.Remove(t.to.Name)
		} else {
			err = f.root.Rename(parts[i], t.to.Name)
		}
		if err != nil {
			err = fmt.Errorf("replacing %s: %w", t.to.Name, err)
			break
		}
		parts[i] = ""
	}
	if err == nil {
		err = f.syncDir(".")
	}
	if err != nil {
		return errors.Join(err, f.takeBack(j, r, turns))
	}
	if j, err = f.write(j, record{ID: r.ID, Did: isDone, Of: r.ID}); err != nil {
		return err
	}
	// The change is made. Should trimming fail, the next one tries it again.
	_, _ = f.trim(j)
	return nil
}

// takeBack undoes what was carried out of r before it failed.
func (f *Folder) takeBack(j *journal, r record, turns []turn) error {
	for _, t := range turns {
		now, err := f.current(t.to.Name)
		if err != nil {
			return err
		}
		if now.Version == t.to.Version {
			if err := f.put(t.from); err != nil {
				return err
			}
		}
	}
	_, err := f.write(j, record{ID: r.ID, Did: isVoid, Of: r.ID})
	return err
}

// put makes a file what s says, or takes it away.
func (f *Folder) put(s State) error {
	if s.Version != "" {
		return f.replace(s)
	}
	if err := f.root.Remove(s.Name); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("taking %s away: %w", s.Name, err)
	}
	return f.syncDir(".")
}

// recover finishes what somebody who died had begun. The lock is held.
func (f *Folder) recover(j *journal) (*journal, error) {
	p := j.pending
	if p == nil {
		return j, nil
	}
	for _, c := range p.Files {
		now, err := f.current(c.Name)
		if err != nil {
			return nil, err
		}
		if now.Version != c.Before {
			continue // done, or another program went on from it
		}
		to := State{Name: c.Name, Version: c.After}
		if c.After != "" {
			if to.Data, err = f.kept(c.After); err != nil {
				return nil, fmt.Errorf("finishing a change of %s that was broken off: %w", c.Name, err)
			}
		}
		if err := f.put(to); err != nil {
			return nil, err
		}
	}
	return f.write(j, record{ID: p.ID, Did: isDone, Of: p.ID})
}

// outsideWhat is what the history calls a change by another program.
const outsideWhat = "changed outside"

// reconcile takes a file's content into the history if another program made
// it, and returns the file as it stands. The lock is held.
func (f *Folder) reconcile(j *journal, name string) (State, *journal, error) {
	now, err := f.current(name)
	if err != nil {
		return State{}, nil, err
	}
	was, _, ok := head(j.records, name)
	if was == now.Version {
		return now, j, nil
	}
	if err := f.keep(now); err != nil {
		return State{}, nil, err
	}
	r := record{ID: j.last + 1, Did: didStep, Outside: true, What: outsideWhat, When: f.now(), Files: []change{{name, was, now.Version}}}
	if !ok || was == "" { // a new file: undoing is not to take it away
		r.Did, r.Outside, r.What = didSee, false, ""
	}
	if j, err = f.write(j, r); err != nil {
		return State{}, nil, err
	}
	return now, j, nil
}

// ErrBusy says that another program of ours kept the folder locked.
var ErrBusy = errors.New("another program has been writing in this folder for too long")

// lockPatience is how long to wait for a lock: the longest that is held is a
// few flushes of the disk.
const lockPatience = 10 * time.Second

// locked runs do with the folder's lock and its history, and wakes watchers.
func (f *Folder) locked(do func(*journal) error) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err := f.take(); err != nil {
		return err
	}
	defer unlock(f.lock)
	j, err := f.journal()
	if err != nil {
		return err
	}
	f.known.Store(j)
	if j, err = f.recover(j); err != nil {
		return err
	}
	defer f.wake()
	return do(j)
}

// take takes the folder's lock.
func (f *Folder) take() error {
	for start := time.Now(); ; time.Sleep(2 * time.Millisecond) {
		if f.lock == nil {
			if err := f.root.MkdirAll(hidden, 0o755); err != nil {
				return fmt.Errorf("making the folder %s: %w", hidden, err)
			}
			lock, err := f.root.OpenFile(lockName, os.O_CREATE|os.O_RDWR, 0o644)
			if err != nil {
				return fmt.Errorf("locking the folder: %w", err)
			}
			f.lock = lock
		}
		switch ok, err := tryLock(f.lock); {
		case err != nil:
			return fmt.Errorf("locking the folder: %w", err)
		case ok:
			// The maker may have taken the hidden folder away; a lock on a
			// file that is gone keeps nobody out.
			mine, err := f.lock.Stat()
			if there, err2 := f.root.Stat(lockName); err == nil && err2 == nil && os.SameFile(mine, there) {
				return nil
			}
			f.lock.Close()
			f.lock = nil
		case time.Since(start) > lockPatience:
			return fmt.Errorf("locking the folder %s: %w", f.path, ErrBusy)
		}
	}
}

// partEnd ends the names of temporary files.
const partEnd = ".part"

// part opens a new temporary file for a file of the folder.
func (f *Folder) part(name string, mode fs.FileMode) (string, *os.File, error) {
	for {
		part := fmt.Sprintf(".%s.%d-%d%s", name, os.Getpid(), f.parts.Add(1), partEnd)
		file, err := f.root.OpenFile(part, os.O_CREATE|os.O_EXCL|os.O_WRONLY, mode)
		if errors.Is(err, fs.ErrExist) {
			continue // left by an earlier program of the same number
		}
		if err != nil {
			return "", nil, fmt.Errorf("writing %s: %w", name, err)
		}
		return part, file, nil
	}
}

// stage writes data to a temporary file and sees it onto the disk.
func (f *Folder) stage(name string, data []byte, mode fs.FileMode) (string, error) {
	part, file, err := f.part(name, mode)
	if err != nil {
		return "", err
	}
	if _, err = file.Write(data); err == nil {
		err = f.sync(file)
	}
	if err = errors.Join(err, file.Close()); err != nil {
		f.root.Remove(part)
		return "", fmt.Errorf("writing %s: %w", name, err)
	}
	return part, nil
}

// replace makes a file's content what s says.
func (f *Folder) replace(s State) error {
	part, err := f.stage(s.Name, s.Data, f.mode(s.Name))
	if err != nil {
		return err
	}
	return f.over(part, s.Name)
}

// over renames a temporary file over a file.
func (f *Folder) over(part, name string) error {
	if err := f.root.Rename(part, name); err != nil {
		f.root.Remove(part)
		return fmt.Errorf("replacing %s: %w", name, err)
	}
	return f.syncDir(".")
}

// mode is the permissions that a file has, or those of a new one.
func (f *Folder) mode(name string) fs.FileMode {
	if info, err := f.root.Stat(name); err == nil {
		return info.Mode().Perm()
	}
	return 0o644
}

func (f *Folder) syncDir(name string) error {
	d, err := f.root.Open(name)
	if err != nil {
		return fmt.Errorf("flushing the folder %s: %w", path.Join(f.path, name), err)
	}
	defer d.Close()
	if err := f.sync(d); err != nil {
		return fmt.Errorf("flushing the folder %s: %w", path.Join(f.path, name), err)
	}
	return nil
}

// sweepAge is how old a temporary file must be to be nobody's any more.
const sweepAge = 24 * time.Hour

// sweep takes away temporary files that a program left when it died.
func (f *Folder) sweep() {
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return // told when the folder is listed
	}
	for _, e := range entries {
		if e.Name()[0] != '.' || !strings.HasSuffix(e.Name(), partEnd) {
			continue
		}
		if info, err := e.Info(); err == nil && info.Mode().IsRegular() && f.now().Sub(info.ModTime()) > sweepAge {
			f.root.Remove(e.Name())
		}
	}
}
