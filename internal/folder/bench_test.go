package folder

import (
	"fmt"
	"testing"
	"time"
)

// full is a folder whose history is as long as it may be.
func full(b *testing.B) *Folder {
	f, err := Open(b.TempDir(), time.Now)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { f.Close() })
	f.sync = unflushed
	base := Version("")
	for i := range MaxSteps {
		s, err := f.Write("a.yaml", fmt.Appendf(nil, "%d%s", i, body(i)), base, Why{What: "step"})
		if err != nil {
			b.Fatal(err)
		}
		base = s.Version
	}
	f.sync = flush
	return f
}

func BenchmarkWrite(b *testing.B) {
	f := full(b)
	s, err := f.Read("a.yaml")
	for i := 0; b.Loop(); i++ {
		if s, err = f.Write("a.yaml", fmt.Appendf(nil, "x%d%s", i, body(i)), s.Version, Why{What: "step"}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkHistory(b *testing.B) {
	f := full(b)
	for b.Loop() {
		if _, err := f.History([]string{"a.yaml", "a.marks.yaml", "shop.yaml"}); err != nil {
			b.Fatal(err)
		}
	}
}
