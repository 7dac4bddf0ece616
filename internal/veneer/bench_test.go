package veneer

import (
	"context"
	"testing"

	"groundwork/internal/piece"
)

func BenchmarkRoundTop(b *testing.B) {
	k := testKernel(b)
	p := rimPiece()
	s := testShop(600, 400)
	for b.Loop() {
		l, err := Lay(context.Background(), k, p, nil, nil, s, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, _, err := Patterns(context.Background(), k, p, l, nil, s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTable(b *testing.B) {
	k := testKernel(b)
	p := table(piece.Finished, 30)
	cs := contactsOf(b, p)
	s := testShop(600, 400)
	for b.Loop() {
		l, err := Lay(context.Background(), k, p, cs, nil, s, Options{})
		if err != nil {
			b.Fatal(err)
		}
		if _, _, err := Patterns(context.Background(), k, p, l, nil, s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
