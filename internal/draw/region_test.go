package draw

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

func TestRegion(t *testing.T) {
	square := func(x, y, w float64) geom.Polygon {
		return geom.Polygon{{X: x, Y: y}, {X: x + w, Y: y}, {X: x + w, Y: y + w}, {X: x, Y: y + w}}
	}
	s := Sheet{Width: 20, Height: 20, Layers: []Layer{{
		Name: "tone", Operation: Note, Pen: &Style{Width: 0.5},
		Items: []Item{Region{Area: geom.Polygons{square(0, 0, 10), square(2, 2, 3).Reversed()}, Grey: 5}},
	}}}
	var b bytes.Buffer
	if err := WriteSVG(&b, s); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`stroke="#000000" stroke-width="0.5" stroke-linecap="round" stroke-linejoin="round">`, `<path fill="#050505" fill-rule="evenodd" stroke="none" d="M0 20L10 20L10 10L0 10ZM2 15L5 15L5 18L2 18Z"/>`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%s is not in\n%s", want, b.String())
		}
	}
	b.Reset()
	if err := WriteDXF(&b, s); err != nil {
		t.Fatal(err)
	}
	if n := strings.Count(b.String(), "\nPOLYLINE\n"); n != 2 {
		t.Errorf("%d outlines, want 2", n)
	}
	s.Layers[0].Items[0] = Region{Area: geom.Polygons{{{X: math.NaN()}, {}, {X: 1}}}}
	if WriteSVG(&b, s) == nil {
		t.Error("a point that is not a number is written")
	}
}
