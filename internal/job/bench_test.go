package job

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"groundwork/examples"
	"groundwork/internal/core"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// given reads an example and the example shop.
func given(b *testing.B, name string, set map[string]string) (*piece.Piece, *shop.Shop) {
	b.Helper()
	data, err := examples.Files.ReadFile(name + ".yaml")
	if err != nil {
		b.Fatal(err)
	}
	doc, err := piece.Parse(name+".yaml", data)
	if err != nil {
		b.Fatal(err)
	}
	p, _, err := doc.Resolve(set)
	if err != nil {
		b.Fatal(err)
	}
	if data, err = examples.Files.ReadFile("shop.yaml"); err != nil {
		b.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", data)
	if err != nil {
		b.Fatal(err)
	}
	return p, s
}

// BenchmarkJob is the whole job of every example, from its files to the folder
// on disk, with a fresh kernel each time as in a new process.
func BenchmarkJob(b *testing.B) {
	for _, name := range examples.Pieces() {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				p, s := given(b, name, nil)
				k, err := solid.New(solid.Options{})
				if err != nil {
					b.Fatal(err)
				}
				pl, err := plan.Make(context.Background(), k, p, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
				if err != nil {
					b.Fatal(err)
				}
				if err := Write(context.Background(), k, pl, filepath.Join(b.TempDir(), "job"), Options{}); err != nil {
					b.Fatal(err)
				}
				k.Close()
			}
		})
	}
}

// BenchmarkReplan is the plan of the heron table after one parameter changed,
// with the kernel warm from the plan before: as a page that is being dragged
// would ask for it. Each stage's share is reported in ms.
func BenchmarkReplan(b *testing.B) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	spent := map[string]time.Duration{}
	var order []string
	height := 540
	for b.Loop() {
		height += 5
		if height > 700 {
			height = 425
		}
		b.StopTimer()
		p, s := given(b, "heron-side-table", map[string]string{"height": fmt.Sprintf("%d mm", height)})
		b.StartTimer()
		last, since := "", time.Now()
		_, err := plan.Make(context.Background(), k, p, s, plan.Options{Progress: func(stage string, _, _ int) {
			now := time.Now()
			if last != "" {
				if _, ok := spent[last]; !ok {
					order = append(order, last)
				}
				spent[last] += now.Sub(since)
			}
			last, since = stage, now
		}})
		if err != nil {
			b.Fatal(err)
		}
	}
	for _, st := range order {
		b.ReportMetric(float64(spent[st].Microseconds())/1000/float64(b.N), "ms-"+strings.ReplaceAll(st, " ", "-"))
	}
}
