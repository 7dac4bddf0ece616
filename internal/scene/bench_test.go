package scene

import (
	"context"
	"io"
	"testing"
)

// BenchmarkGeometry is what the page waits for while a size is being slid, with
// a kernel that has not seen the piece but has been in use.
func BenchmarkGeometry(b *testing.B) {
	for _, name := range []string{"heron-side-table", "otter-stool"} {
		b.Run(name, func(b *testing.B) {
			k, pl := planned(b, name)
			for b.Loop() {
				if err := Geometry(context.Background(), k, pl, io.Discard); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkWhole(b *testing.B) {
	k, pl := planned(b, "heron-side-table")
	for b.Loop() {
		if err := Whole(context.Background(), k, pl, io.Discard); err != nil {
			b.Fatal(err)
		}
	}
}
