package job

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"groundwork/internal/drawn"
	"groundwork/internal/finding"
	"groundwork/internal/intake"
	"groundwork/internal/mesh"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
)

// Models of furniture made for pictures: open shells, worn edges, members that
// reach into one another. Their origin and licences stand beside them.
var furniture = []struct {
	file  string
	scale float64 // mm per number of the file
	up    string
}{
	{"../mesh/testdata/furniture_painted_wooden_stool.obj", 1, "z"},
	{"../mesh/testdata/furniture_wooden_table_02.obj", 1, "z"},
	{"../mesh/testdata/furniture_painted_wooden_cabinet.obj", 1, "z"},
	{"../mesh/testdata/furniture_wooden_bookshelf_worn.obj", 1, "z"},
	{"../surface/testdata/spot.obj", 523.9, "y"},
}

// takeIn brings a model in with every hole closed, or as it comes.
func takeIn(t testing.TB, i int, holes float64, s *shop.Shop) *intake.Result {
	t.Helper()
	m := furniture[i]
	data, err := os.ReadFile(m.file)
	if err != nil {
		t.Fatal(err)
	}
	if m.scale != 1 {
		b, err := mesh.Read(m.file, data, mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		data = drawn.OBJ([]mesh.Body{drawn.Scaled(b.Bodies[0], m.scale)}).Data
	}
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	o := intake.Options{Name: "model", Up: m.up, Holes: holes}
	o.Unit = "mm"
	r, err := intake.Make(context.Background(), k, []intake.File{{Name: "model.obj", Data: data}}, s, o)
	if err != nil {
		t.Fatalf("%s: %v", m.file, err)
	}
	return r
}

// Each model goes through to a plan, or to findings that name what is wrong and
// where; none is lost without a word.
func TestFurnitureModels(t *testing.T) {
	for i := range furniture {
		through(t, i, 0)
	}
	through(t, 1, 1e4) // the table with every hole closed; the others so under the tag long
}

func through(t *testing.T, i int, holes float64) {
	k, ref := planned(t, "heron-side-table")
	m := furniture[i]
	t.Run(fmt.Sprintf("%s/%g", filepath.Base(m.file), holes), func(t *testing.T) {
		start := time.Now()
		r := takeIn(t, i, holes, ref.Shop)
		told := 0
		for _, f := range r.Findings {
			if f.Severity == finding.Stop {
				told++
				if f.Message == "" || f.Remedy == "" || f.Subject == "" {
					t.Errorf("a stop that does not say what, where or what to do: %v", f)
				}
			}
		}
		in := time.Since(start)
		if r.Piece == nil {
			if told == 0 {
				t.Fatal("nothing came in, and nothing says why")
			}
			t.Logf("%d parts, none usable; %d stops", r.Parts, told)
			return
		}
		if lost := r.Parts - len(r.Piece.Members); lost > told {
			t.Errorf("%d parts were left out and %d stops say why", lost, told)
		}
		pl, err := plan.Make(context.Background(), k, r.Piece, ref.Shop, plan.Options{})
		if err != nil {
			t.Fatal(err)
		}
		codes := map[string]int{}
		for _, f := range pl.Findings {
			if f.Severity == finding.Stop {
				codes[f.Code]++
				if f.Message == "" || f.Remedy == "" || f.Subject == "" {
					t.Errorf("a stop that does not say what, where or what to do: %v", f)
				}
			}
		}
		if len(pl.Cores.Segments) == 0 && len(codes) == 0 {
			t.Error("no segment and no stop")
		}
		t.Logf("%d parts, %d members, %d joints proposed, %d segments, %d patterns; in %.2f s + %.2f s; stops %v", r.Parts, len(r.Piece.Members), len(r.Joints),
			len(pl.Cores.Segments), len(pl.Patterns), in.Seconds(), time.Since(start).Seconds()-in.Seconds(), codes)
	})
}
