// Package web carries the page that groundwork serve shows. Its source is in
// web/ui; make ui builds it into web/dist, which a fresh clone has empty.
package web

import (
	"embed"
	"io/fs"
)

// "all:" so that the placeholder, whose name begins with a dot, is enough to
// compile an unbuilt tree.
//
//go:embed all:dist
var dist embed.FS

// Files is the built page: index.html and what it loads. Its index.html holds
// an empty groundwork-token, for the server to fill.
func Files() fs.FS {
	files, err := fs.Sub(dist, "dist")
	if err != nil {
		panic(err) // the directory's name is a constant that go:embed has checked
	}
	return files
}

// Built reports whether files holds a built page.
func Built(files fs.FS) bool {
	_, err := fs.Stat(files, "index.html")
	return err == nil
}
