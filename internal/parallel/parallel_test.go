package parallel

import (
	"bytes"
	"errors"
	"sync/atomic"
	"testing"
)

func TestEachDoesEveryTaskOnce(t *testing.T) {
	for _, tt := range []struct{ n, workers int }{{0, 0}, {1, 0}, {2, 1}, {1000, 0}, {1000, 3}} {
		done := make([]atomic.Int32, tt.n)
		Each(tt.n, tt.workers, func(i int) { done[i].Add(1) })
		for i := range done {
			if got := done[i].Load(); got != 1 {
				t.Errorf("%d tasks, %d workers: task %d was done %d times", tt.n, tt.workers, i, got)
			}
		}
	}
}

func failing(int) { panic(errBroken) }

var errBroken = errors.New("broken")

func TestAPanicReachesTheCaller(t *testing.T) {
	for _, n := range []int{2, 100} {
		func() {
			defer func() {
				p, ok := recover().(*Panic)
				if !ok || !errors.Is(p, errBroken) {
					t.Fatalf("%d tasks: got %v", n, p)
				}
				if !bytes.Contains(p.Stack, []byte("failing")) {
					t.Errorf("%d tasks: the stack does not tell where it broke:\n%s", n, p.Stack)
				}
				if Caught(p) != p {
					t.Error("a panic that is passed on loses where it was")
				}
			}()
			// Two workers even on one processor: the tasks after the first must not run for ever.
			Each(n, 2, failing)
			t.Errorf("%d tasks: it returned", n)
		}()
	}
}
