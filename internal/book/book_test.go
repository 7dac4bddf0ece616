package book

import (
	"context"
	"os"
	"sync"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/fixture"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

func theKernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

var plans = map[string]*plan.Plan{}

// planned is an example planned in the example shop.
func planned(t testing.TB, name string) *plan.Plan {
	t.Helper()
	if p, ok := plans[name]; ok {
		return p
	}
	read := func(file string) []byte {
		data, err := examples.Files.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return data
	}
	doc, err := piece.Parse(name+".yaml", read(name+".yaml"))
	if err != nil {
		t.Fatal(err)
	}
	pc, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", read("shop.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan.Make(context.Background(), theKernel(t), pc, s, plan.Options{})
	if err != nil {
		t.Fatal(err)
	}
	plans[name] = p
	return p
}

// TestLook writes the books of BOOK_OUT, to be looked at.
func TestLook(t *testing.T) {
	out := os.Getenv("BOOK_OUT")
	if out == "" {
		return
	}
	for _, name := range []string{"heron-side-table", "otter-stool", "badger-bench", "tern-wall-shelf"} {
		if only := os.Getenv("BOOK_ONLY"); only != "" && only != name {
			continue
		}
		p := planned(t, name)
		begin := time.Now()
		fx, err := fixture.Plan(context.Background(), theKernel(t), fixture.Inputs{Piece: p.Piece, Shop: p.Shop, Joints: p.Joints, Layout: p.Layout, Patterns: p.Patterns, Seams: p.Seams, Cores: p.Cores, Filament: func(int) string { return "abs" }}, fixture.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range fx.Fixtures {
			t.Log(f.ID, f.Kind, f.Step, f.Serves, len(f.Parts), len(f.Templates), f.Words)
		}
		for _, f := range fx.Clamping {
			t.Log(f.ID, f.Serves, f.Like, f.Step, f.Sheet.Width, f.Sheet.Height, f.Scale, f.Words)
		}
		data, err := Make(context.Background(), theKernel(t), Inputs{Plan: p, Fixtures: fx, Maker: "The workshop in the yard", Notes: "Take your time."}, Options{})
		if err != nil {
			t.Fatal(name, err)
		}
		t.Log(name, len(data), time.Since(begin))
		if err := os.WriteFile(out+"/"+name+".pdf", data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestLookLabels writes labels to BOOK_OUT.
func TestLookLabels(t *testing.T) {
	out := os.Getenv("BOOK_OUT")
	if out == "" {
		return
	}
	data, err := Labels(Inputs{Plan: planned(t, "heron-side-table")}, Grid{})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(out+"/labels.pdf", data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func takeApart(t testing.TB, pl *plan.Plan) (*scene.Apart, error) {
	t.Helper()
	return scene.TakeApart(context.Background(), theKernel(t), pl, false, 0)
}
