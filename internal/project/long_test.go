//go:build long

package project

import (
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"
)

// The 480 instances j30 of the project scheduling problem library and their
// optima (Kolisch and Sprecher 1997, European Journal of Operational Research 96,
// 205-216), from the folder that PSPLIB_J30 names: the .sm files and
// j30_optimum.csv, with a line "j301_1.sm,43" for each below a line of titles.
// They come without a licence to pass them on, and so are not here.
func TestJ30(t *testing.T) {
	dir := os.Getenv("PSPLIB_J30")
	if dir == "" {
		t.Fatal("PSPLIB_J30 must name a folder with the instances j30 and j30_optimum.csv")
	}
	f, err := os.Open(filepath.Join(dir, "j30_optimum.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	rows = rows[1:]
	if len(rows) != 480 {
		t.Fatalf("%d optima, not 480", len(rows))
	}
	type instance struct {
		name    string
		p       Project
		optimum int64
	}
	var set []instance
	for _, r := range rows {
		f, err := os.Open(filepath.Join(dir, r[0]))
		if err != nil {
			t.Fatal(err)
		}
		p, err := ReadPSPLIB(f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", r[0], err)
		}
		o, err := strconv.ParseInt(r[1], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		set = append(set, instance{r[0], p, o})
	}
	seeds := []uint64{0, 1, 2}
	fmt.Println("| schedules | seed | mean gap, % | worst, % | optimal | proved | s | µs a schedule |\n|---|---|---|---|---|---|---|---|")
	for _, c := range []struct {
		schedules int
		most      float64 // mean gap, %
	}{{1000, 0.5}, {5000, 0.1}, {50000, 0.1}} {
		for _, seed := range seeds {
			out := make([]*Schedule, len(set))
			todo := make(chan int)
			var wg sync.WaitGroup
			began := time.Now()
			for range 2 {
				wg.Go(func() {
					for i := range todo {
						out[i] = solve(t, set[i].p, Options{Schedules: c.schedules, Seed: seed})
					}
				})
			}
			for i := range set {
				todo <- i
			}
			close(todo)
			wg.Wait()
			took := time.Since(began).Seconds()
			sum, worst, optimal, proved, made := 0.0, 0.0, 0, 0, 0
			for i, s := range out {
				in := set[i]
				if s.Makespan < in.optimum || s.LowerBound > in.optimum || s.Evaluated > c.schedules {
					t.Errorf("%s: makespan %d, bound %d, optimum %d, %d schedules", in.name, s.Makespan, s.LowerBound, in.optimum, s.Evaluated)
				}
				gap := 100 * float64(s.Makespan-in.optimum) / float64(in.optimum)
				sum += gap
				worst = max(worst, gap)
				made += s.Evaluated
				if s.Makespan == in.optimum {
					optimal++
				}
				if s.Makespan == s.LowerBound {
					proved++
				}
			}
			mean := sum / float64(len(set))
			fmt.Printf("| %d | %d | %.4f | %.2f | %d | %d | %.1f | %.1f |\n", c.schedules, seed, mean, worst, optimal, proved, took, 2e6*took/float64(made))
			if mean > c.most {
				t.Errorf("mean gap %.4f %% with %d schedules, more than %g %%", mean, c.schedules, c.most)
			}
		}
	}
	// What the rules and schemes do alone, and the bounds.
	fmt.Println("\n| one schedule, latest start first | mean gap, % | optimal |\n|---|---|---|")
	for _, scheme := range []string{"serial", "parallel"} {
		sum, optimal := 0.0, 0
		for _, in := range set {
			n, err := compile(in.p)
			if err != nil {
				t.Fatal(err)
			}
			s := newSearch(n, Options{})
			for i, d := range s.tail {
				s.key[i] = -d
			}
			c := s.m.forward(s.key)
			if scheme == "parallel" {
				c = s.m.parallel(s.key)
			}
			sum += 100 * float64(c-in.optimum) / float64(in.optimum)
			if c == in.optimum {
				optimal++
			}
		}
		fmt.Printf("| %s | %.2f | %d |\n", scheme, sum/float64(len(set)), optimal)
	}
	fmt.Println("\n| bound | mean below the optimum, % | equal |\n|---|---|---|")
	path, narrowed := 0.0, 0.0
	paths, equal := 0, 0
	for _, in := range set {
		n, _ := compile(in.p)
		s := newSearch(n, Options{})
		path += 100 * float64(in.optimum-s.length) / float64(in.optimum)
		narrowed += 100 * float64(in.optimum-s.bound) / float64(in.optimum)
		if s.length == in.optimum {
			paths++
		}
		if s.bound == in.optimum {
			equal++
		}
	}
	fmt.Printf("| longest path | %.2f | %d |\n| narrowed times | %.2f | %d |\n", path/480, paths, narrowed/480, equal)
}
