package book

import (
	"context"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/plan"
	"groundwork/internal/scene"
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
	pc, err := examples.Piece(name, nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
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

func takeApart(t testing.TB, pl *plan.Plan) (*scene.Apart, error) {
	t.Helper()
	return scene.TakeApart(context.Background(), theKernel(t), pl, false, 0)
}
