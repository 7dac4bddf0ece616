package main

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"

	"groundwork/internal/folder"
	"groundwork/internal/marks"
	"groundwork/internal/sheet"
)

// marksFlag names what the maker has marked on the veneer of a piece.
type marksFlag struct {
	Marks   string `help:"Knots marked, patterns pinned, layouts kept, and what was chosen of the job. Without it the file of the piece's name ending in .marks.yaml is read, if it lies beside the piece." type:"path" placeholder:"FILE"`
	NoMarks bool   `help:"Go about it as if nothing were marked or chosen."`
}

// settle puts the marks of a piece into the options of the sheets. It gives all
// of them, for what is chosen of the job.
func (f marksFlag) settle(out *output, pieceFile string, o *sheet.Options) (marks.File, error) {
	if f.NoMarks {
		if f.Marks != "" {
			return marks.File{}, errors.New("--marks and --no-marks do not go together; leave one out")
		}
		return marks.File{}, nil
	}
	name := f.Marks
	if name == "" {
		name = folder.MarksFor(pieceFile)
	}
	m, err := marks.ParseFile(name)
	if f.Marks == "" && errors.Is(err, fs.ErrNotExist) {
		return marks.File{}, nil
	}
	if err != nil {
		return marks.File{}, err
	}
	m.Settle(name, o)
	if f.Marks == "" {
		fmt.Fprintf(out.Err, "With the marks in %s.\n", filepath.Base(name))
	}
	return m, nil
}
