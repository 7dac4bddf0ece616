package printing

import (
	"context"
	"math"
	"os"
	"testing"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var kernel *solid.Kernel

func TestMain(m *testing.M) {
	var err error
	if kernel, err = solid.New(solid.Options{}); err != nil {
		println("the solid kernel does not start:", err.Error(), "(run make kernel)")
		os.Exit(1)
	}
	code := m.Run()
	kernel.Close()
	os.Exit(code)
}

// fast is the ordinary fast printer of docs/printing.md, fixed there before
// anything was computed with it.
func fast() shop.Printer {
	return shop.Printer{
		ID: "fast", Count: 1, Build: geom.V3(220, 220, 250), Nozzle: 0.4,
		Profile: shop.Profile{
			Layer: 0.28, FirstLayer: 0.28, Line: 0.45, Contours: 5, CoverLayers: 5,
			Fill: 0.25, FillPattern: "triangles",
			OuterSpeed: 120, InnerSpeed: 200, FillSpeed: 200, CoverSpeed: 200, FirstSpeed: 50, TravelSpeed: 300,
			Acceleration: 5000, Flow: 20, LayerChange: 1, Retract: 0.3, MinLayer: 8, HeatUp: 420,
			Waste: 0.05, Spread: 0.25,
		},
	}
}

func abs() shop.Filament {
	return shop.Filament{ID: "abs", Material: "ABS", Density: 1.04, Diameter: 1.75, ZFactor: 0.45}
}

func testShop() *shop.Shop {
	return &shop.Shop{Printers: []shop.Printer{fast()}, Filaments: []shop.Filament{abs()}, Fits: shop.Fits{BedChamfer: 0.4}}
}

func segment(t testing.TB, id string, s solid.Shape) core.Segment {
	t.Helper()
	m, err := kernel.Mesh(context.Background(), s)
	if err != nil {
		t.Fatalf("%s: %v", id, err)
	}
	return core.Segment{ID: id, Shape: s, Mesh: m, Volume: m.Volume, Bounds: m.Bounds}
}

func box(x, y, z float64) solid.Shape { return boxAt(0, 0, 0, x, y, z) }

func boxAt(x, y, z, w, d, h float64) solid.Shape {
	return solid.Box(geom.Box3{Min: geom.V3(x, y, z), Max: geom.V3(x+w, y+d, z+h)}, 0)
}

func plan(t testing.TB, s *shop.Shop, segments ...core.Segment) *Result {
	t.Helper()
	r, err := Plan(context.Background(), kernel, segments, s, func(int) string { return s.Filaments[0].ID }, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func within(t testing.TB, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: %.6g, want %.6g within %.3g %%", what, got, want, rel*100)
	}
}

// settingOf is what poses are judged by on a shop's first printer.
func settingOf(s *shop.Shop) *setting {
	return &setting{
		machine: newMachine(s.Printers[0], s.Filaments[0]), room: Usable(s.Printers[0]), filament: s.Filaments[0],
		bridge: 15, gap: 5,
	}
}
