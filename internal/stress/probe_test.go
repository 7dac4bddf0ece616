package stress

import (
	"context"
	"os"
	"strconv"
	"syscall"
	"testing"
	"time"
)

func cpu() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func TestProbe(t *testing.T) {
	t0 := cpu()
	in := example(t, "heron-side-table")
	t.Log("inputs", cpu()-t0)
	cases := tableCases(t, in)
	os1 := []Options{{Rough: true}, {Cell: 16}, {}}
	if v, err := strconv.ParseFloat(os.Getenv("CELL"), 64); err == nil {
		os1 = []Options{{Cell: v, Rough: v < 0}}
	}
	for _, o := range os1 {
		t0 = cpu()
		s, err := Assemble(context.Background(), theKernel(t), in, o)
		if err != nil {
			t.Fatal(err)
		}
		t.Log(o.Rough, "assemble", cpu()-t0, s.Cell(), "cells", s.Cells(), "links", len(s.links), "MiB", s.Memory()>>20, s.LeftOut())
		for _, c := range cases {
			t0 = cpu()
			st, err := s.Solve(context.Background(), c)
			if err != nil {
				t.Log(err)
				continue
			}
			t.Log(c.ID, cpu()-t0, st.Iterations(), st.r.Rounds, st.Body(0).Moved.Value, st.Body(0).Mises.Value)
		}
	}
}
