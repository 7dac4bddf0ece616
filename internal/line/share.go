package line

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"groundwork/internal/piece"
)

// TaskOf is the task of a kind whose Args are the JSON of args, and whose key is
// their hash: whoever asks the same of the same build has the same task.
func TaskOf(kind string, args any) (Task, error) {
	data, err := json.Marshal(args)
	if err != nil {
		return Task{}, err
	}
	sum := sha256.Sum256(append([]byte(kind+"\n"), data...))
	return Task{hex.EncodeToString(sum[:]), data}, nil
}

// Ours is nil for a task of this build of the program, and else ErrProgram or
// why it is not known which build this is.
func Ours(program string) error {
	ours, err := Program()
	if err == nil && program != ours {
		err = fmt.Errorf("%w: it names %s, and this is %s", ErrProgram, program, ours)
	}
	return err
}

// Carry reads the files with solids that a piece names, for a task to bring
// them. open is not called if it names none.
func Carry(doc *piece.Document, open func(name string) ([]byte, error)) (map[string][]byte, error) {
	solids := map[string][]byte{}
	for _, m := range doc.Members.Values {
		if m.Solid == nil || solids[m.Solid.File.Value] != nil {
			continue
		}
		data, err := open(m.Solid.File.Value)
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", m.Solid.File.Value, err)
		}
		solids[m.Solid.File.Value] = data
	}
	return solids, nil
}

// Carried opens what a task has brought, and nothing else.
func Carried(solids map[string][]byte) func(name string) ([]byte, error) {
	return func(name string) ([]byte, error) {
		if data, ok := solids[name]; ok {
			return data, nil
		}
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
}

// Words say what a line's task is, for who watches a worker: "tern-wall-shelf,
// length 600 mm, ash"; "" if the arguments cannot be read.
func Words(data []byte) string {
	var a struct { // of args, what is short
		Piece            struct{ Name string }
		Set              map[string]string
		Veneer, Filament string
	}
	if json.Unmarshal(data, &a) != nil {
		return ""
	}
	out := Said(strings.TrimSuffix(a.Piece.Name, filepath.Ext(a.Piece.Name)), a.Set)
	for _, choice := range []string{a.Veneer, a.Filament} {
		if choice != "" {
			out += ", " + choice
		}
	}
	return out
}

// Said is a piece with the parameters that are given another value, in words.
func Said(name string, set map[string]string) string {
	for _, p := range slices.Sorted(maps.Keys(set)) {
		name += ", " + strings.ReplaceAll(p, "_", " ") + " " + set[p]
	}
	return name
}
