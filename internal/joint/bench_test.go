package joint

import (
	"context"
	"fmt"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// rack is a row of upright slats between two long beams: n members in all,
// 2 (n - 2) contacts.
func rack(n int) *piece.Piece {
	p := &piece.Piece{Name: "rack", Sizes: piece.CoreSize, Joints: []piece.JointRule{knock("beam", "slat")}}
	const pitch = 50.0
	long := pitch * float64(n-1)
	p.Members = append(p.Members, block("beam-1", long, 40, 40, geom.V3(long/2, 0, 20)), block("beam-2", long, 40, 40, geom.V3(long/2, 0, 460)))
	for i := range n - 2 {
		m := block(fmt.Sprintf("slat-%d", i+1), 30, 30, 400, geom.V3(pitch*float64(i+1), 0, 240))
		m.Name = "slat"
		p.Members = append(p.Members, m)
	}
	return p
}

func BenchmarkPlace(b *testing.B) {
	for _, n := range []int{10, 40, 160} {
		b.Run(fmt.Sprintf("members=%d", n), func(b *testing.B) {
			p, s := rack(n), bench()
			for b.Loop() {
				r, err := Place(context.Background(), kernel, p, s, Options{})
				if err != nil || len(r.Joints) != 2*(n-2) || len(stops(r)) > 0 {
					b.Fatal(err, len(r.Joints), stops(r))
				}
			}
			b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N)/float64(n), "ms/member")
		})
	}
	b.Run("table", func(b *testing.B) {
		p, s := table(), bench()
		for b.Loop() {
			if _, err := Place(context.Background(), kernel, p, s, Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkVerify(b *testing.B) {
	p, s := table(), bench()
	r, err := Place(context.Background(), kernel, p, s, Options{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Verify(p, r, s)
	}
}
