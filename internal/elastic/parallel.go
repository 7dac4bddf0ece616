package elastic

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls f for 0..n-1 on all processors. Calls must not touch what others
// write: then the outcome does not depend on who does what.
func each(n int, f func(i int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	if workers <= 1 {
		for i := range n {
			f(i)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	work := func() {
		for {
			i := int(next.Add(1)) - 1
			if i >= n {
				return
			}
			f(i)
		}
	}
	for range workers - 1 {
		wg.Go(work)
	}
	work()
	wg.Wait()
}

// chunk is how many numbers of a long vector one call takes: fixed, so that
// sums are made in the same order whatever the number of processors.
const chunk = 1 << 14

func chunks(n int, f func(lo, hi int)) {
	each((n+chunk-1)/chunk, func(i int) { f(i*chunk, min(n, (i+1)*chunk)) })
}

// dot is the scalar product, summed chunk by chunk.
func dot(a, b []float64) float64 {
	parts := make([]float64, (len(a)+chunk-1)/chunk)
	each(len(parts), func(i int) {
		lo, hi := i*chunk, min(len(a), (i+1)*chunk)
		x, y := a[lo:hi], b[lo:hi]
		y = y[:len(x)]
		s := 0.0
		for j, v := range x {
			s += v * y[j]
		}
		parts[i] = s
	})
	s := 0.0
	for _, p := range parts {
		s += p
	}
	return s
}
