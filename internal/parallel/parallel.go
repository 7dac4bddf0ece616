// Package parallel does alike tasks side by side. A task that panics ends the
// caller with its panic, not the program: whoever asked for the work can still
// answer for it.
package parallel

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
)

// Panic is what a task panicked with, and where.
type Panic struct {
	Value any
	Stack []byte // of the task's goroutine
}

func (p *Panic) Error() string { return fmt.Sprint(p.Value) }

// Unwrap is the error that the task panicked with, if it was one.
func (p *Panic) Unwrap() error {
	err, _ := p.Value.(error)
	return err
}

// Each calls task(0) to task(n-1) from as many goroutines as there are
// processors, but at most workers if that is above 0, and returns when all have
// ended. If one panics, no further ones begin and Each panics with a *Panic; of
// several, with that of the lowest number.
func Each(n, workers int, task func(i int)) {
	if most := runtime.GOMAXPROCS(0); workers <= 0 || workers > most {
		workers = most
	}
	workers = min(workers, n)
	if workers <= 1 {
		for i := range n {
			task(i)
		}
		return
	}
	var (
		next    atomic.Int64
		stopped atomic.Bool
		wg      sync.WaitGroup
		mu      sync.Mutex
		first   *Panic
		at      int
	)
	do := func(i int) {
		defer func() {
			v := recover()
			if v == nil {
				return
			}
			stopped.Store(true)
			mu.Lock()
			defer mu.Unlock()
			if first == nil || i < at {
				first, at = Caught(v), i
			}
		}()
		task(i)
	}
	for range workers {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n && !stopped.Load(); i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
	if first != nil {
		panic(first)
	}
}

// Caught is what recover gave, with the stack it is called on; a panic that
// came by way of Each keeps its own.
func Caught(v any) *Panic {
	if p, ok := v.(*Panic); ok {
		return p
	}
	return &Panic{v, debug.Stack()}
}
