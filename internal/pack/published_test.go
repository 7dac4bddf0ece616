package pack

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/parallel"
)

// problem is one published container problem.
type problem struct {
	number int
	box    Box
	items  []Item
}

// problems reads a file of Bischoff and Ratcliff (Omega 23(4), 1995, 377-390):
// lengths are taken as mm. Of each edge it says whether it may stand upright.
func problems(t testing.TB, file string) []problem {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := bufio.NewScanner(f)
	in.Split(bufio.ScanWords)
	next := func() int {
		if !in.Scan() {
			t.Fatalf("%s ends too early", file)
		}
		n, err := strconv.Atoi(in.Text())
		if err != nil {
			t.Fatalf("%s: %v", file, err)
		}
		return n
	}
	size := func() geom.Vec3 { return geom.V3(float64(next()), float64(next()), float64(next())) }
	var out []problem
	for range next() {
		p := problem{number: next()}
		next() // seed of the generator
		p.box = Box{ID: fmt.Sprint(p.number), Size: size()}
		for range next() {
			it := Item{ID: fmt.Sprint(next())}
			x, ux, y, uy, z, uz := next(), next(), next(), next(), next(), next()
			it.Size = geom.V3(float64(x), float64(y), float64(z))
			for _, u := range []struct {
				may int
				set Turns
			}{{ux, UpX}, {uy, UpY}, {uz, UpZ}} {
				if u.may == 1 {
					it.Turns |= u.set
				}
			}
			it.Count = next()
			p.items = append(p.items, it)
		}
		out = append(out, p)
	}
	return out
}

// TestPublishedFolder measures all problems of the files thpack1.txt, thpack2.txt
// … in the folder that PACK_PROBLEMS names; docs/packing.md holds the table. PACK_STEPS
// and PACK_SUPPORT set the options, PACK_FILES how many of the files.
func TestPublishedFolder(t *testing.T) {
	folder := os.Getenv("PACK_PROBLEMS")
	if folder == "" {
		t.Log("PACK_PROBLEMS names no folder: only the problems in testdata are solved, by TestPublished")
		return
	}
	o := Options{Steps: number(t, "PACK_STEPS", defaultSteps), Support: float64(number(t, "PACK_SUPPORT", 0)) / 100}
	for k := 1; k <= number(t, "PACK_FILES", 3); k++ {
		ps := problems(t, filepath.Join(folder, fmt.Sprintf("thpack%d.txt", k)))
		if n := number(t, "PACK_FIRST", len(ps)); n < len(ps) {
			ps = ps[:n]
		}
		use, steps := make([]float64, len(ps)), make([]int, len(ps))
		parallel.Each(len(ps), 1, func(i int) {
			l, err := Fill(ps[i].items, ps[i].box, o)
			if err == nil {
				err = Verify(l, ps[i].items, o)
			}
			if err != nil {
				t.Errorf("file %d, problem %d: %v", k, ps[i].number, err)
			}
			use[i], steps[i] = l.Use, l.Steps
		})
		var sum, least float64 = 0, 1
		for _, u := range use {
			sum, least = sum+u, min(least, u)
		}
		t.Logf("file %d: %d problems, mean %.2f %%, least %.2f %%", k, len(ps), 100*sum/float64(len(ps)), 100*least)
	}
}

func number(t *testing.T, name string, def int) int {
	v := os.Getenv(name)
	if v == "" {
		return def
	}
	n, err := strconv.Atoi(v)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return n
}

// The problems in testdata, a fraction of the steps of the table in
// docs/packing.md. Simple layer heuristics fill about 83 to 85 % (from memory
// of the literature); every layout is judged.
func TestPublished(t *testing.T) {
	for _, support := range []float64{0, 1} {
		var sum, n float64
		for k := 1; k <= 3; k++ {
			for _, p := range problems(t, filepath.Join("testdata", fmt.Sprintf("thpack%d.txt", k))) {
				l := filled(t, p.items, p.box, Options{Steps: 800, Support: support})
				sum, n = sum+l.Use, n+1
			}
		}
		if mean := sum / n; mean < 0.90 {
			t.Errorf("support %g: a mean of %.2f %%, want 90 %%", support, 100*mean)
		} else {
			t.Logf("support %g: a mean of %.2f %% over %.0f problems", support, 100*mean, n)
		}
	}
}

// BenchmarkFill fills the first problem with a thousand steps.
func BenchmarkFill(b *testing.B) {
	p := problems(b, filepath.Join("testdata", "thpack3.txt"))[0]
	for b.Loop() {
		if _, err := Fill(p.items, p.box, Options{Steps: 1000}); err != nil {
			b.Fatal(err)
		}
	}
}
