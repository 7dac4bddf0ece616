// Package examples is the library of pieces that ships inside the program,
// and a shop to plan them in. Each is an ordinary piece file: furniture
// families are parametric files, not code.
package examples

import (
	"embed"
	"slices"
	"strings"
)

//go:embed *.yaml
var Files embed.FS

// Pieces lists the pieces of the library by name.
func Pieces() []string {
	entries, _ := Files.ReadDir(".") // the root of an embedded folder is always there
	var out []string
	for _, e := range entries {
		if n, ok := strings.CutSuffix(e.Name(), ".yaml"); ok && n != "shop" {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}

// Title is the title line of a piece of the library, "" if it has none.
func Title(name string) string {
	data, err := Files.ReadFile(name + ".yaml")
	if err != nil {
		return ""
	}
	for line := range strings.Lines(string(data)) {
		if t, ok := strings.CutPrefix(line, "title:"); ok {
			return strings.TrimSpace(t)
		}
	}
	return ""
}
