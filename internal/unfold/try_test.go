package unfold_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"groundwork/internal/geom"
	"groundwork/internal/unfold"
)

func TestTry(t *testing.T) {
	show := func(name string, v []geom.Vec3, tr [][3]int32, o unfold.Options) *unfold.Patch {
		s := time.Now()
		p, d, err := unfold.Flatten(v, tr, o)
		if err != nil {
			fmt.Println(name, err)
			return nil
		}
		b := geom.EmptyBox2()
		for _, q := range p.Flat {
			b = b.Add(q)
		}
		fmt.Printf("%s: %d tri %v\n  %+v\n size %v borders %d\n", name, len(tr), time.Since(s), d, b.Size(), len(p.Border()))
		r, h, at, dir := p.Tightest()
		fmt.Println("  tightest", r, h, at, dir)
		return p
	}

	g := func(name string, v []geom.Vec3, tr [][3]int32, l unfold.Limits, o unfold.GoreOptions) {
		s := time.Now()
		gs, err := unfold.Gores(v, tr, l, o)
		fmt.Println(name, len(gs), err, time.Since(s))
		area := 0.0
		for i, x := range gs {
			area += x.Patch.Area()
			if i < 3 {
				fmt.Println("   ", x.Along, x.Across, x.Length, x.Width, x.Distortion.Overlap)
			}
		}
		fmt.Println("  area", area)
	}
	_ = show
	v, tr := dome(100, 50*math.Pi, 20)
	g("hemisphere", v, tr, unfold.DefaultLimits, unfold.GoreOptions{})
	g("hemisphere grain z", v, tr, unfold.DefaultLimits, unfold.GoreOptions{Grain: geom.V3(0, 0, 1)})
	g("hemisphere grain x", v, tr, unfold.DefaultLimits, unfold.GoreOptions{Grain: geom.V3(1, 0, 0)})
	v, tr = dome(300, 100, 20)
	g("dish", v, tr, unfold.DefaultLimits, unfold.GoreOptions{})
	v, tr = grid(40, 10, false, func(x, y float64) geom.Vec3 {
		a, b := 2*x, 1.5*(y-.5)
		return geom.V3((200+50*math.Cos(b))*math.Cos(a), (200+50*math.Cos(b))*math.Sin(a), 50*math.Sin(b))
	})
	g("torus arm", v, tr, unfold.DefaultLimits, unfold.GoreOptions{})
	v, tr, _ = readOBJ("/work/shared/data/models/spot.obj")
	g("spot", v, tr, unfold.Limits{.025, .025}, unfold.GoreOptions{Most: 12})
}

func cone(r, h float64, n, k int) (v []geom.Vec3, t [][3]int32) {
	w, u := frustum(r, r/float64(k), h*(1-1/float64(k)), 2*math.Pi, n, k-1)
	apex := int32(len(w))
	w = append(w, geom.V3(0, 0, h))
	for i := range n {
		u = append(u, [3]int32{int32(i*k + k - 1), int32((i+1)%n*k + k - 1), apex})
	}
	return w, u
}
