package piece

import (
	"os"
	"testing"

	"groundwork/internal/mesh"
)

// FuzzReadSolids: whatever a file holds, its solids are closed, and what is
// made of them has surfaces, a volume and a place.
func FuzzReadSolids(f *testing.F) {
	for _, name := range []string{"foot.stl", "crossing.stl", "it.3mf"} {
		data, err := os.ReadFile("testdata/parts/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, "z", 0.0)
		f.Add(data[:len(data)-50], "-y", 1.5)
	}
	f.Fuzz(func(t *testing.T, data []byte, up string, thicken float64) {
		if len(data) > 1<<16 {
			return
		}
		o := ReadOptions{Unit: mesh.Millimetre, Up: up}
		if thicken > 0 && thicken < 100 {
			o.Mend.Thicken = thicken
		}
		solids, err := ReadSolids("fuzz", data, o)
		if err != nil {
			return
		}
		seen := map[string]bool{}
		for _, b := range solids {
			if seen[b.Part] || b.Part == "" {
				t.Fatalf("two parts are called %q", b.Part)
			}
			seen[b.Part] = true
			if b.Shell.Solid() != (b.Solid != nil) {
				t.Fatalf("%s: a solid without surfaces, or surfaces without a solid", b.Part)
			}
			if b.Solid == nil {
				for _, x := range b.Shell.Faults {
					if FaultText(x, b.Unit) == "" || FaultRemedy(x) == "" {
						t.Fatalf("%+v has no words", x)
					}
				}
				continue
			}
			m := b.Member
			m.ID = b.Part
			if got, want := len(m.Surfaces(0.1)), len(m.SurfaceNames()); got != want {
				t.Fatalf("%d surfaces with %d names", got, want)
			}
			if _, err := m.Inset(make([]float64, len(m.SurfaceNames()))); err != nil {
				t.Fatalf("not moved at all: %v", err)
			}
		}
	})
}
