package intake

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"

	"groundwork/examples"
	"groundwork/internal/drawn"
	"groundwork/internal/finding"
	"groundwork/internal/mesh"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

var kernel = sync.OnceValues(func() (*solid.Kernel, error) { return solid.New(solid.Options{}) })

func bench(t testing.TB) (*solid.Kernel, *shop.Shop) {
	t.Helper()
	k, err := kernel()
	if err != nil {
		t.Fatal(err)
	}
	s, err := examples.Shop()
	if err != nil {
		t.Fatal(err)
	}
	return k, s
}

func files(fs []drawn.File) []File {
	var out []File
	for _, f := range fs {
		out = append(out, File(f))
	}
	return out
}

// what says what every member of a piece was taken for, and how many contacts
// were found.
func what(r *Result) string {
	var b strings.Builder
	for _, m := range r.Piece.Members {
		fmt.Fprintf(&b, "%s:%s ", m.ID, m.Source.As)
	}
	n, round := 0, 0
	for _, q := range r.Joints {
		n += q.Contacts
		round += q.Round
	}
	fmt.Fprintf(&b, "| %d contacts, %d round", n, round)
	return b.String()
}

// Every model comes in alike whatever the format, the unit, the fineness of its
// facets, and the damage that can be mended.
func TestModels(t *testing.T) {
	k, s := bench(t)
	for _, model := range []struct {
		name string
		make func(chord float64) []drawn.Part
		want string
	}{
		{"stool", drawn.Stool, "seat:solid leg-1:solid leg-2:solid leg-3:solid leg-4:solid | 12 contacts, 4 round"},
		{"cabinet", drawn.Cabinet, "side-left:solid side-right:solid shelf-1:board shelf-2:board top:board | 14 contacts, 0 round"},
		{"trestle", drawn.Trestle, "stretcher:board post-1:board post-2:board | 2 contacts, 0 round"},
	} {
		for _, chord := range []float64{0.5, 0.05} {
			bs := drawn.Bodies(t, k, model.make(chord))
			inch := make([]mesh.Body, len(bs))
			turned := make([]mesh.Body, len(bs))
			gone := make([]mesh.Body, len(bs))
			for i, b := range bs {
				inch[i] = drawn.Scaled(b, 1/25.4)
				turned[i] = drawn.Damaged(b, 3, 0)
				gone[i] = drawn.Damaged(b, 0, len(b.Triangles)) // the last one
			}
			for _, c := range []struct {
				how   string
				files []File
				unit  mesh.Unit
			}{
				{"binary STL", files(drawn.STL(t, bs, false)), mesh.Millimetre},
				{"text STL in inches", files(drawn.STL(t, inch, true)), mesh.Inch},
				{"OBJ", files([]drawn.File{drawn.OBJ(bs)}), mesh.Millimetre},
				{"3MF", files([]drawn.File{drawn.ThreeMF(t, bs)}), ""},
				{"STL with triangles turned", files(drawn.STL(t, turned, false)), mesh.Millimetre},
				{"STL with a triangle gone", files(drawn.STL(t, gone, false)), mesh.Millimetre},
			} {
				if testing.Short() && c.how != "3MF" {
					continue
				}
				t.Run(fmt.Sprintf("%s/%g/%s", model.name, chord, c.how), func(t *testing.T) {
					r, err := Make(context.Background(), k, c.files, s, Options{Name: "model", Unit: c.unit})
					if err != nil {
						t.Fatal(err)
					}
					if r.Piece == nil {
						t.Fatalf("nothing came in: %v", r.Findings)
					}
					if got := what(r); got != model.want {
						t.Errorf("got  %s\nwant %s\n%s", got, model.want, r.Text)
					}
					if worst, _ := finding.Worst(r.Findings); worst == finding.Stop {
						t.Errorf("stops: %v", r.Findings)
					}
				})
			}
		}
	}
}

// The same files give the same piece file.
func TestSameBytes(t *testing.T) {
	k, s := bench(t)
	files := files(drawn.STL(t, drawn.Bodies(t, k, drawn.Stool(0.2)), false))
	var first string
	for range 2 {
		r, err := Make(context.Background(), k, files, s, Options{Name: "model", Unit: mesh.Millimetre})
		if err != nil {
			t.Fatal(err)
		}
		if first == "" {
			first = string(r.Text)
		} else if first != string(r.Text) {
			t.Errorf("two runs differ:\n%s\n%s", first, r.Text)
		}
	}
}

// What is wrong is told, with the place, and the rest comes in.
func TestFaults(t *testing.T) {
	k, s := bench(t)
	bs := drawn.Bodies(t, k, drawn.Trestle(0.2))
	open := drawn.Damaged(bs[1], 0, 2)
	none := mesh.Body{Name: "dot", Vertices: bs[0].Vertices[:3], Triangles: [][3]int32{{0, 1, 2}}}
	for _, c := range []struct {
		name  string
		files []File
		o     Options
		err   string // of the error
		find  string // of a finding
		sev   finding.Severity
		lost  int // how many at least
	}{
		{"bad name", files(drawn.STL(t, bs, false)), Options{Name: "My Piece"}, "cannot be a piece's name", "", 0, 0},
		{"no mesh", []File{{"notes.stl", []byte("hello")}}, Options{Name: "p"}, "notes.stl", "", 0, 0},
		{"cut short", []File{{"a.stl", files(drawn.STL(t, bs, false))[0].Data[:200]}}, Options{Name: "p"}, "a.stl", "", 0, 0},
		{"open", files(drawn.STL(t, []mesh.Body{bs[0], open, bs[2]}, false)), Options{Name: "p", Unit: "mm"}, "", "not-a-solid", finding.Stop, 1},
		{"one triangle", files(drawn.STL(t, []mesh.Body{bs[0], none}, false)), Options{Name: "p", Unit: "mm"}, "", "not-a-solid", finding.Stop, 1},
		{"unit guessed", files(drawn.STL(t, bs, false)), Options{Name: "p"}, "", "unit-guessed", finding.Note, 0},
		{"metres for millimetres", files(drawn.STL(t, bs, false)), Options{Name: "p", Unit: "m"}, "look at its unit", "", 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := Make(context.Background(), k, c.files, s, c.o)
			if c.err != "" {
				if err == nil || !strings.Contains(err.Error(), c.err) {
					t.Errorf("error %v; want one about %q", err, c.err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, f := range r.Findings {
				found = found || f.Code == c.find && f.Severity == c.sev && f.Message != "" && f.Remedy != ""
			}
			if !found {
				t.Errorf("no %v %s in %v", c.sev, c.find, r.Findings)
			}
			if got := r.Parts - len(r.Piece.Members); (got > 0) != (c.lost > 0) {
				t.Errorf("%d parts left out, want some: %v", got, c.lost > 0)
			}
			if c.lost > 0 && !strings.Contains(string(r.Text), "# Left out") {
				t.Errorf("the piece file does not say what was left out:\n%s", r.Text)
			}
		})
	}
}

func TestNames(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"Leg 1", "leg"}, {"leg.002", "leg"}, {"leg-2", "leg"}, {"Bein_10", "bein"}, {"top", "top"}, {"2nd shelf", "nd-shelf"},
		{"", ""}, {"007", ""}, {"Größe", "gr-e"}, {strings.Repeat("x", 100), strings.Repeat("x", 40)},
	} {
		if got := slug(stem(c.in)); got != c.want {
			t.Errorf("%q becomes %q, want %q", c.in, got, c.want)
		}
	}
}
