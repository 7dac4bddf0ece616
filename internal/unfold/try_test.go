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
	v, tr := cylinder(100, 300, 1, 10, 1)
	p := show("strip", v, tr, unfold.Options{})
	q, err := p.Offset(3)
	fmt.Println(q.Border()[0].Bounds().Size(), 103*20*math.Sin(.05), err)
	v, tr = cylinder(100, 300, 2*math.Pi, 40, 8)
	p = show("tube", v, tr, unfold.Options{})
	q, err = p.Offset(3)
	fmt.Println(q.Border()[0].Bounds().Size(), 103*80*math.Sin(math.Pi/40), err)
	v, tr = frustum(100, 50, 300, 2*math.Pi, 40, 8)
	show("frustum", v, tr, unfold.Options{})
	v, tr = frustum(100, 0, 300, 2*math.Pi, 40, 1)
	for i := range v {
		_ = i
	}
	v, tr = dome(100, 30, 20)
	show("dome", v, tr, unfold.Options{})
	fmt.Println("theory", 30.*30/8/100/100)
	v, tr = dome(100, 157, 60)
	show("hemisphere", v, tr, unfold.Options{})
	v, tr = cylinder(100, 300, 1, 100, 100)
	show("20k", v, tr, unfold.Options{})
	v, tr = grid(100, 100, false, func(x, y float64) geom.Vec3 { return geom.V3(300*x, 300*y, 30*math.Sin(6*x)*math.Sin(6*y)) })
	show("20k bumpy", v, tr, unfold.Options{})
}
