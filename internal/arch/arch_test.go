// Package arch holds the rules that keep the program readable: imports point
// only downwards, and every package says what it is for.
package arch

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "groundwork/"

// layers lists every package, lowest first: the reading order of the program.
// A package may import only packages that stand before it.
var layers = strings.Fields(`
	internal/unit internal/geom internal/finding internal/digest internal/parallel internal/whole
	internal/solid internal/mesh internal/mend internal/surface internal/unfold internal/draw internal/nest internal/guillotine internal/project internal/elastic internal/instance internal/pack
	internal/given internal/piece internal/shop
	internal/joint internal/veneer internal/seam internal/core internal/printing internal/sheet internal/marks
	internal/stability internal/climate internal/stress internal/strength internal/remedy
	internal/fixture internal/bill internal/schedule internal/kit internal/check
	internal/drawn internal/intake internal/plan internal/line internal/task internal/scene internal/view internal/book internal/job internal/remake internal/store internal/work
	examples internal/specimen internal/folder web internal/api
	cmd/groundwork
	internal/arch tools/kernel tools/outside tools/picture tools/measure tools/nestbench
`)

// sources calls f for every Go file that is not generated or installed.
func sources(t *testing.T, f func(name string, src []byte)) {
	root := os.DirFS("../..")
	seen := 0
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "ui" || d.Name() == "testdata" || d.Name() == ".git" || d.Name() == "out" || d.Name() == "node_modules"):
			return fs.SkipDir
		case !strings.HasSuffix(name, ".go"):
			return nil
		}
		src, err := fs.ReadFile(root, name)
		if err != nil {
			return err
		}
		seen++
		f(name, src)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if seen == 0 {
		t.Fatal("no Go file found")
	}
}

func TestImportsPointDown(t *testing.T) {
	sources(t, func(name string, src []byte) {
		if strings.HasSuffix(name, "_test.go") {
			return
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, src, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		self := slices.Index(layers, path.Dir(name))
		if self < 0 {
			t.Errorf("%s: its package has no line in layers", name)
		}
		for _, imp := range f.Imports {
			p, _ := strconv.Unquote(imp.Path.Value)
			dep, ours := strings.CutPrefix(p, module)
			if !ours {
				continue
			}
			if at := slices.Index(layers, dep); at < 0 || at >= self {
				t.Errorf("%s: imports %s, which does not stand before it", name, dep)
			}
		}
	})
}

// Only the core stage cuts solids: no other stage may ask the kernel for a
// boolean of solids, but to put the shape of one cut together.
func TestOnlyCoreCuts(t *testing.T) {
	stages := []string{"joint", "veneer", "seam", "printing", "sheet", "bill", "check", "plan", "job"}
	sources(t, func(name string, src []byte) {
		if strings.HasSuffix(name, "_test.go") || !slices.Contains(stages, path.Base(path.Dir(name))) {
			return
		}
		for _, call := range []string{"solid.Difference(", "solid.Union("} {
			if call == "solid.Union(" && name == "internal/veneer/round.go" {
				continue // a pad on a round side is made of staves
			}
			if strings.Contains(string(src), call) {
				t.Errorf("%s: calls %s; list a piece.Cut and let the core stage carry it out", name, strings.TrimSuffix(call, "("))
			}
		}
	})
}

func TestEveryPackageSaysWhatItIsFor(t *testing.T) {
	docs := map[string]bool{}
	sources(t, func(name string, src []byte) {
		f, err := parser.ParseFile(token.NewFileSet(), name, src, parser.PackageClauseOnly|parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		dir := path.Dir(name)
		docs[dir] = docs[dir] || f.Doc != nil
	})
	for _, dir := range layers {
		if has, ok := docs[dir]; ok && !has {
			t.Errorf("%s: no package comment", dir)
		}
	}
}
