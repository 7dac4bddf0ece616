package line

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// Kept is a folder of rows by the keys of their tasks. Several programs may use
// one at a time: a row is a file that is put in place whole, and the same key
// always has the same row. What is damaged is as if it were not there.
type Kept struct{ dir string }

// keptRows is how many rows Open leaves in a folder: some tens of MB.
const keptRows = 20_000

// OpenKept opens a folder of rows, or makes it. "" is the user's own, under the
// cache folder of the system. The oldest rows are taken away when there are more
// than 20,000.
func OpenKept(dir string) (*Kept, error) {
	if dir == "" {
		user, err := os.UserCacheDir()
		if err != nil {
			return nil, fmt.Errorf("looking for a folder to keep rows in: %w", err)
		}
		dir = filepath.Join(user, "groundwork", "line")
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("making a folder to keep rows in: %w", err)
	}
	k := &Kept{dir}
	return k, k.trim(keptRows)
}

// Dir is where they are.
func (k *Kept) Dir() string { return k.dir }

var keyForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// name is the file of a key; folders by its first letters keep them small.
func (k *Kept) name(key string) string { return filepath.Join(k.dir, key[:2], key+".row") }

// get is a row's bytes; false if there is none that is whole.
func (k *Kept) get(key string) ([]byte, bool) {
	if k == nil || !keyForm.MatchString(key) {
		return nil, false
	}
	data, err := os.ReadFile(k.name(key))
	if err != nil {
		return nil, false
	}
	sum, row, ok := bytes.Cut(data, []byte("\n"))
	return row, ok && string(sum) == sumOf(key, row)
}

// put keeps a row.
func (k *Kept) put(key string, row []byte) error {
	if k == nil {
		return nil
	}
	if !keyForm.MatchString(key) {
		return fmt.Errorf("keeping a row: %q is no key", key)
	}
	name := k.name(key)
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return fmt.Errorf("keeping a row: %w", err)
	}
	if err := writeWhole(name, append([]byte(sumOf(key, row)+"\n"), row...)); err != nil {
		return fmt.Errorf("keeping a row: %w", err)
	}
	return nil
}

// sumOf tells whether a row is whole, and that of its key.
func sumOf(key string, row []byte) string {
	sum := sha256.Sum256(append([]byte(key+"\n"), row...))
	return hex.EncodeToString(sum[:])
}

// trim takes the oldest rows away, down to most, and parts of files that a
// program left when it died.
func (k *Kept) trim(most int) error {
	type file struct {
		name string
		when time.Time
	}
	var rows []file
	err := filepath.WalkDir(k.dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return nil // taken away meanwhile
		}
		switch base := d.Name(); {
		case strings.HasSuffix(base, ".row") && keyForm.MatchString(strings.TrimSuffix(base, ".row")):
			rows = append(rows, file{name, info.ModTime()})
		case partForm.MatchString(base) && time.Since(info.ModTime()) > 24*time.Hour:
			os.Remove(name)
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("looking through kept rows: %w", err)
	}
	slices.SortFunc(rows, func(a, b file) int { return cmp.Or(a.when.Compare(b.when), cmp.Compare(a.name, b.name)) })
	for _, f := range rows[:max(0, len(rows)-most)] {
		if err := os.Remove(f.name); err != nil && !os.IsNotExist(err) {
			return fmt.Errorf("taking an old row away: %w", err)
		}
	}
	return nil
}

var partForm = regexp.MustCompile(`^\.[0-9a-f]{64}\.row-[0-9]+$`)

// writeWhole writes a file by renaming, so that it is whole or as it was.
func writeWhole(name string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	if _, err := f.Write(data); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}
