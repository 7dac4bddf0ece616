package stress

import (
	"context"
	"math"
	"os"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/veneer"
)

// Kernel is the one kernel of the tests, of those outside the package too.
var Kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

func theKernel(t testing.TB) *solid.Kernel {
	t.Helper()
	k, err := Kernel()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func theShop(t testing.TB) *shop.Shop {
	t.Helper()
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// given is a piece file, taken as far as the stages before this one go.
func given(t testing.TB, text []byte) Inputs {
	t.Helper()
	doc, err := piece.Parse("piece.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	return inputs(t, p, theShop(t))
}

func inputs(t testing.TB, p *piece.Piece, s *shop.Shop) Inputs {
	t.Helper()
	ctx, k := context.Background(), theKernel(t)
	j, err := joint.Place(ctx, k, p, s, joint.Options{})
	if err != nil {
		t.Fatal(err)
	}
	l, err := veneer.Lay(ctx, k, p, j.Contacts, j.Rounds, s, veneer.Options{})
	if err != nil {
		t.Fatal(err)
	}
	filament := s.Filaments[0]
	if p.Filament != "" {
		filament, _ = s.Filament(p.Filament)
	}
	cuts := append([]piece.Cut(nil), l.Cuts...)
	return Inputs{
		Piece: p, Cores: l.Cores, Cuts: cuts, Joints: j, Bodies: seam.Bodies(l.Cores, p.PrintAsOne), Shop: s,
		Filament: func(int) shop.Filament { return filament },
		Profile:  func(int) shop.Profile { return s.Printers[0].Profile },
		Floor:    len(p.Held) == 0,
	}
}

func example(t testing.TB, name string) Inputs {
	t.Helper()
	data, err := examples.Files.ReadFile(name + ".yaml")
	if err != nil {
		data, err = os.ReadFile(name)
	}
	if err != nil {
		t.Fatal(err)
	}
	in := given(t, data)
	if name == "tern-wall-shelf" {
		in.Floor = false
		in.Held = []Held{{Member: 1, Surface: surfaceNamed(t, in, 1, "back"), At: []geom.Vec3{geom.V3(-150, 0, 1150), geom.V3(150, 0, 1150)}}}
	}
	return in
}

func surfaceNamed(t testing.TB, in Inputs, member int, name string) int {
	t.Helper()
	for i, n := range in.Cores[member].SurfaceNames() {
		if n == name {
			return i
		}
	}
	t.Fatalf("member %d has no surface %q", member, name)
	return 0
}

func member(t testing.TB, in Inputs, id string) int {
	t.Helper()
	for i, m := range in.Cores {
		if m.ID == id {
			return i
		}
	}
	t.Fatalf("no member %q", id)
	return 0
}

// pressing is a load on a square patch of a member, at a point of the world.
func pressing(m int, at, normal, force geom.Vec3, side float64) Load {
	h := side / 2
	return Load{Member: m, Frame: geom.FrameFromZ(at, normal), Force: force,
		Region: geom.Polygons{{geom.V2(-h, -h), geom.V2(h, -h), geom.V2(h, h), geom.V2(-h, h)}}}
}

func assembled(t testing.TB, in Inputs, o Options) *Structure {
	t.Helper()
	s, err := Assemble(context.Background(), theKernel(t), in, o)
	if err != nil {
		t.Fatal(err)
	}
	if left := s.LeftOut(); len(left) > 0 {
		t.Errorf("left out: %v", left)
	}
	return s
}

func solved(t testing.TB, s *Structure, c Case) *State {
	t.Helper()
	st, err := s.Solve(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

func near(t testing.TB, what string, got, want, part float64) {
	t.Helper()
	if !(math.Abs(got-want) <= part*math.Abs(want)) {
		t.Errorf("%s: %.6g, want %.6g (%+.2f %%, allowed %.2g %%)", what, got, want, 100*(got/want-1), 100*part)
	}
}

// weight of the structure, N.
func weight(s *Structure) float64 {
	w := 0.0
	for i, b := range s.bodies {
		m := b.mass()
		if s.in.Weight != nil && s.in.Weight(i) > 0 {
			m = s.in.Weight(i)
		}
		w += m * Gravity * 1e-6
	}
	return w
}
