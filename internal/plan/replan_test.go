package plan

import (
	"context"
	"fmt"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// example is a piece of the library with some parameters set, and its shop.
func example(t testing.TB, name string, set map[string]string) (*piece.Piece, *shop.Shop) {
	t.Helper()
	p, err := examples.Piece(name, set)
	if err != nil {
		t.Fatal(err)
	}
	_, s := given(t, box)
	return p, s
}

// BenchmarkReplan is how long it takes to plan the heron table again after one
// change: to the patterns, and to the end. Every change is to a value that was
// not there before.
func BenchmarkReplan(b *testing.B) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	n := 0 // of changes
	set := func(parameter string, from float64) func(*shop.Shop, *Options) map[string]string {
		return func(*shop.Shop, *Options) map[string]string {
			return map[string]string{parameter: fmt.Sprintf("%g mm", from+float64(n%20))}
		}
	}
	for _, c := range []struct {
		name   string
		change func(*shop.Shop, *Options) map[string]string
	}{
		{"nothing", func(*shop.Shop, *Options) map[string]string { return nil }},
		{"height", set("height", 541)},
		{"top_length", set("top_length", 461)},
		{"top_depth", set("top_depth", 341)},
		{"shelf_z", set("shelf_z", 151)},
		{"price of a spool", func(s *shop.Shop, _ *Options) map[string]string {
			for i := range s.Filaments {
				s.Filaments[i].SpoolPrice += float64(n)
			}
			return nil
		}},
		{"density of the filament", func(s *shop.Shop, _ *Options) map[string]string {
			for i := range s.Filaments {
				s.Filaments[i].Density += 1e-3 * float64(n)
			}
			return nil
		}},
		{"reserved area", func(_ *shop.Shop, o *Options) map[string]string {
			o.Sheet.Reserved = []sheet.Reserved{{Sheet: "walnut-1", At: geom.V2(100+float64(n), 200), Size: geom.V2(30, 40)}}
			return nil
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			var patterns, first, all, cold time.Duration
			for b.Loop() {
				b.StopTimer()
				n++
				p, s := example(b, "heron-side-table", nil)
				m := NewMemory(512 << 20)
				start := time.Now()
				if _, err := Make(context.Background(), k, p, s, Options{Cache: m}); err != nil {
					b.Fatal(err)
				}
				cold += time.Since(start)
				o := Options{Cache: m, Ready: func(stage string, _ *Plan) {
					if stage == "patterns" {
						first = time.Since(start)
					}
				}}
				_, s = example(b, "heron-side-table", nil)
				p, _ = example(b, "heron-side-table", c.change(s, &o))
				b.StartTimer()
				start = time.Now()
				if _, err := Make(context.Background(), k, p, s, o); err != nil {
					b.Fatal(err)
				}
				all += time.Since(start)
				patterns += first
			}
			b.ReportMetric(float64(patterns.Milliseconds())/float64(b.N), "ms-to-patterns")
			b.ReportMetric(float64(all.Milliseconds())/float64(b.N), "ms-to-end")
			b.ReportMetric(float64(cold.Milliseconds())/float64(b.N), "ms-before")
		})
	}
}
