package folder

import (
	"context"
	"io/fs"
	"os"
	"slices"
	"time"
)

// Change tells that a file is another than before.
type Change struct {
	Name    string
	Version Version // "" if it is gone
	Who     string  // who made it, as told to Save; "" for another program
}

const (
	// watchEvery is how often the folder is looked at: twice within the half
	// second in which an outside edit is to be noticed.
	watchEvery = 200 * time.Millisecond
	// watchAgain is for how many looks a file that changed is read again even
	// if it seems the same: a file system's time may be coarse, and a second
	// edit of the same size may carry the same time (2 s is the coarsest in
	// use, that of FAT).
	watchAgain = 11
	// watchSmall is up to which size a file is read again so.
	watchSmall = 1 << 20
)

// look is what a watcher knows of a file.
type look struct {
	info    os.FileInfo // nil for a file that has only been seen empty, once
	version Version     // "" for a big file that has not changed yet
	again   int
	empty   bool // it was empty at the last look, and is not taken for that yet
}

// Watch tells every change of the maker's files from now on, by whomever,
// until ctx ends, when it closes the channel. Changes that follow each other
// faster than they are taken from the channel are told as one. While somebody
// watches, changes by other programs go into the history as they are noticed.
func (f *Folder) Watch(ctx context.Context) <-chan Change {
	out := make(chan Change, 16)
	wake := make(chan struct{}, 1)
	f.watch.Lock()
	f.wakes[wake] = true
	f.watch.Unlock()
	known := f.scan(nil)
	f.notice(names(known))
	go func() {
		defer close(out)
		defer func() {
			f.watch.Lock()
			delete(f.wakes, wake)
			f.watch.Unlock()
		}()
		tick := time.NewTicker(watchEvery)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-wake:
			case <-tick.C:
			}
			next := f.scan(known)
			for _, c := range f.differences(known, next) {
				select {
				case out <- c:
				case <-ctx.Done():
					return
				}
			}
			known = next
		}
	}()
	return out
}

// wake makes watchers look now.
func (f *Folder) wake() {
	f.watch.Lock()
	defer f.watch.Unlock()
	for w := range f.wakes {
		select {
		case w <- struct{}{}:
		default: // it will look anyway
		}
	}
}

// scan looks at the folder, reading only what may have changed since was.
// With no earlier look, big files are not read at all.
func (f *Folder) scan(was map[string]look) map[string]look {
	entries, err := fs.ReadDir(f.root.FS(), ".")
	if err != nil {
		return was
	}
	next := map[string]look{}
	for _, e := range entries {
		name := e.Name()
		if CheckName(name) != nil || e.IsDir() {
			continue
		}
		info, err := f.root.Stat(name)
		if err != nil || !info.Mode().IsRegular() {
			continue
		}
		old := was[name]
		// Many programs empty a file and then write it: what is empty is believed at
		// the second look.
		if was != nil && info.Size() == 0 && (old.info == nil || old.info.Size() > 0) && !old.empty {
			old.empty = true
			next[name] = old
			continue
		}
		had := old.info != nil
		same := had && os.SameFile(old.info, info) && old.info.Size() == info.Size() && old.info.ModTime().Equal(info.ModTime())
		l := look{info: info, version: old.version, again: max(0, old.again-1)}
		switch {
		case same && old.again == 0:
		case was == nil && info.Size() > watchSmall:
		default:
			v, err := f.versionOfBig(name)
			if err != nil || v == "" {
				if had {
					next[name] = old // being replaced: look again
				}
				continue
			}
			l.version = v
			if !same && info.Size() <= watchSmall {
				l.again = watchAgain
			}
		}
		next[name] = l
	}
	return next
}

// differences lists what is another than before, in the order of the names,
// and takes what other programs did into the history.
func (f *Folder) differences(was, now map[string]look) []Change {
	var out []Change
	var changed []string
	for _, name := range names(was, now) {
		a, b := was[name], now[name]
		if (a.info != nil) == (b.info != nil) && a.version == b.version {
			continue
		}
		c := Change{Name: name, Version: b.version}
		out = append(out, c)
		changed = append(changed, name)
	}
	f.notice(changed)
	for i, c := range out {
		out[i].Who = f.maker(c.Name, c.Version)
	}
	return out
}

// names lists the keys of looks, sorted, each once.
func names(looks ...map[string]look) []string {
	var out []string
	for _, l := range looks {
		for name := range l {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// notice takes text files into the history as they stand. Should this fail
// (the folder may be read-only), it is tried again with their next change.
func (f *Folder) notice(files []string) {
	j, err := f.journal()
	if err != nil {
		return
	}
	records := j.finished()
	files = slices.DeleteFunc(slices.Clone(files), func(name string) bool {
		if !text(name) {
			return true
		}
		now, err := f.current(name)
		v, _, _ := head(records, name)
		return err != nil || v == now.Version
	})
	if len(files) == 0 {
		return
	}
	_ = f.locked(func(j *journal) error {
		for _, name := range files {
			var err error
			if _, j, err = f.reconcile(j, name); err != nil {
				return err
			}
		}
		return nil
	})
}

// maker is who made a version of a file, "" if another program did.
func (f *Folder) maker(name string, v Version) string {
	if !text(name) {
		f.watch.Lock()
		defer f.watch.Unlock()
		if m := f.streamed[name]; m.version == v {
			return m.who
		}
		return ""
	}
	j, err := f.journal()
	if err != nil {
		return ""
	}
	if is, by, ok := head(j.finished(), name); ok && is == v {
		return by.Who
	}
	return ""
}
