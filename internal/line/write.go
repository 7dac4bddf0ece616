package line

import (
	"fmt"

	"groundwork/internal/whole"
)

// folder is what a line lies in.
var folder = whole.Folder{Marker: "line.json", Holds: "a line"}

// Ready says whether a line may be written to dir: it must be free, or hold a
// line that is to be replaced. The error wraps fs.ErrExist if only replace is
// wanting.
func Ready(dir string, replace bool) error {
	if err := folder.Ready(dir, replace); err != nil {
		return fmt.Errorf("line: %w", err)
	}
	return nil
}

// Write makes table.html, table.xlsx, table.csv and line.json, and puts the
// folder in place whole or not at all.
func (t *Table) Write(dir string, replace bool) error {
	var files []whole.File
	for _, f := range []struct {
		name string
		make func() ([]byte, error)
	}{{"table.html", t.HTML}, {"table.xlsx", t.XLSX}, {"table.csv", t.CSV}, {folder.Marker, t.JSON}} {
		data, err := f.make()
		if err != nil {
			return err
		}
		files = append(files, whole.File{Name: f.name, Data: data})
	}
	if err := folder.Write(dir, replace, files); err != nil {
		return fmt.Errorf("line: %w", err)
	}
	return nil
}
