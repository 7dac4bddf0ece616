package joint

import (
	"context"
	"math"
	"testing"

	"pgregory.net/rapid"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// motion draws a rigid motion.
func motion(t *rapid.T) geom.Frame {
	// A unit quaternion from three uniform numbers: Shoemake, Graphics Gems III.
	u := [3]float64{rapid.Float64Range(0, 1).Draw(t, "u1"), rapid.Float64Range(0, 1).Draw(t, "u2"), rapid.Float64Range(0, 1).Draw(t, "u3")}
	a, b := math.Sqrt(1-u[0]), math.Sqrt(u[0])
	s1, c1 := math.Sincos(2 * math.Pi * u[1])
	s2, c2 := math.Sincos(2 * math.Pi * u[2])
	x, y, z, w := a*s1, a*c1, b*s2, b*c2
	f := geom.Frame{
		Origin: geom.V3(rapid.Float64Range(-2000, 2000).Draw(t, "x"), rapid.Float64Range(-2000, 2000).Draw(t, "y"), rapid.Float64Range(-2000, 2000).Draw(t, "z")),
		X:      geom.V3(1-2*(y*y+z*z), 2*(x*y+z*w), 2*(x*z-y*w)),
		Z:      geom.V3(2*(x*z+y*w), 2*(y*z-x*w), 1-2*(x*x+y*y)),
	}
	return geom.FrameFromXZ(f.Origin, f.X, f.Z)
}

func moved(p *piece.Piece, f geom.Frame) *piece.Piece {
	q := *p
	q.Members = append([]piece.Member(nil), p.Members...)
	for i := range q.Members {
		q.Members[i].Place = q.Members[i].Place.In(f)
	}
	return &q
}

// TestJointsAreSoundOrStopped draws pairs and trios of members of any size in
// any attitude, with any rule. Whatever comes out either passes Verify or says
// stop; nothing may be silently wrong.
func TestJointsAreSoundOrStopped(t *testing.T) {
	s := bench()
	made := 0
	rapid.Check(t, func(t *rapid.T) {
		dim := func(name string, lo, hi int) float64 { return float64(rapid.IntRange(2*lo, 2*hi).Draw(t, name)) / 2 }
		w, d := dim("leg width", 14, 70), dim("leg depth", 14, 70)
		th, ht, ln := dim("rail thickness", 8, 45), dim("rail height", 10, 180), dim("rail length", 20, 400)
		p := &piece.Piece{Name: "pair", Sizes: piece.CoreSize}
		p.Members = append(p.Members, block("leg", w, d, 300, geom.V3(0, 0, 150)))
		y := dim("offset", 0, 20) - 10
		z := dim("height", 40, 250)
		p.Members = append(p.Members, block("rail", ln, th, ht, geom.V3(w/2+ln/2, y, z)))
		if rapid.Bool().Draw(t, "second rail") {
			p.Members = append(p.Members, block("side", th, ln, ht, geom.V3(y, d/2+ln/2, z)))
		}
		if rapid.Bool().Draw(t, "wall in the way") {
			gap := dim("gap", 0, 60)
			p.Members = append(p.Members, block("wall", 10, 600, 600, geom.V3(-w/2-gap-5, 0, 300)))
		}
		if rapid.Bool().Draw(t, "finished") {
			p.Sizes = piece.Finished
		}
		kind := rapid.SampledFrom([]piece.JointKind{piece.KnockDown, piece.KnockDown, piece.Glued}).Draw(t, "kind")
		for _, b := range [][2]string{{"leg", "rail"}, {"leg", "side"}} {
			r := piece.JointRule{Between: b, Kind: kind, Dowels: rapid.IntRange(-1, 3).Draw(t, "dowels"),
				Screws:  rapid.SampledFrom([]int{0, 0, 1, 2, 3}).Draw(t, "screws"),
				Screw:   rapid.SampledFrom([]string{"", "", "M4", "M5", "M6", "M8"}).Draw(t, "size"),
				Dowel:   rapid.SampledFrom([]float64{0, 0, 4, 8}).Draw(t, "dowel"),
				Through: rapid.SampledFrom([]string{"", "", b[0], b[1]}).Draw(t, "through")}
			p.Joints = append(p.Joints, r)
		}
		p = moved(p, motion(t))
		r, err := Place(context.Background(), kernel, p, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range Verify(p, r, s) {
			t.Errorf("verify: %v", f)
		}
		for _, j := range r.Joints {
			if len(j.Bores) > 0 {
				made++
			}
		}
	})
	if made < 20 {
		t.Errorf("only %d joints were made: the draws test nothing", made)
	}
}

// TestSplayedLegsAreSoundOrStopped: turned legs that lean, screwed or dowelled
// to a seat square to it, so that every bore runs askew to the leg's surface.
func TestSplayedLegsAreSoundOrStopped(t *testing.T) {
	s := bench()
	made := 0
	rapid.Check(t, func(t *rapid.T) {
		p := splayed(float64(rapid.IntRange(0, 45).Draw(t, "lean")) / 100)
		thick := float64(rapid.IntRange(10, 45).Draw(t, "seat"))
		p.Members[0].Board.Thickness = thick
		low, high := float64(rapid.IntRange(8, 30).Draw(t, "low")), float64(rapid.IntRange(8, 35).Draw(t, "high"))
		for i := 1; i < len(p.Members); i++ {
			m := &p.Members[i]
			l := m.Turning.Profile.Segs[0].To().Y
			tn := piece.NewTurning(polyline(false, geom.V2(low, 0), geom.V2(high, l)), piece.BreakAngle)
			m.Turning = &tn
		}
		p.Joints[0].Kind = rapid.SampledFrom([]piece.JointKind{piece.KnockDown, piece.KnockDown, piece.Glued}).Draw(t, "kind")
		p.Joints[0].Through = rapid.SampledFrom([]string{"", "", "leg", "seat"}).Draw(t, "through")
		if rapid.Bool().Draw(t, "moved") {
			p = moved(p, motion(t))
		}
		r, err := Place(context.Background(), kernel, p, s, Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range Verify(p, r, s) {
			t.Errorf("verify: %v", f)
		}
		for _, j := range r.Joints {
			if len(j.Bores) > 0 {
				made++
			}
		}
	})
	if made < 20 {
		t.Errorf("only %d joints were made: the draws test nothing", made)
	}
}
