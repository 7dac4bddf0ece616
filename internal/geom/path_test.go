package geom

import (
	"math"
	"testing"
)

// The perimeter of the ellipse 460 x 340 by complete elliptic integrals is
// 1263.7156 mm (E(k) series, computed independently in arbitrary precision).
func TestEllipse(t *testing.T) {
	p := Path{Segs: []Seg{ArcOf(Vec2{}, 230, 170, 0, 0, 2*math.Pi)}, Closed: true}
	if got := p.Length(); math.Abs(got-1263.7156) > 5e-5 {
		t.Errorf("perimeter %.6f, want 1263.7156", got)
	}
	if got, want := p.Area(), math.Pi*230*170; math.Abs(got-want) > 1e-8 {
		t.Errorf("area %.9f, want %.9f", got, want)
	}
}
