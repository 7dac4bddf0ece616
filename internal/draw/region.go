package draw

import (
	"bytes"
	"fmt"

	"groundwork/internal/geom"
)

// Region is an area filled with an even tone, without an outline. It is for
// reading only: a machine follows lines. Outer loops run counter-clockwise,
// holes clockwise.
type Region struct {
	Area geom.Polygons
	Grey uint8 // 0 black to 255 white
}

// Bounds is the box of the region.
func (r Region) Bounds() geom.Box2 { return r.Area.Bounds() }

func (r Region) finite() bool {
	for _, loop := range r.Area {
		if len(loop) < 3 {
			return false
		}
		for _, q := range loop {
			if !isFinite(q.X, q.Y) {
				return false
			}
		}
	}
	return len(r.Area) > 0
}

func svgRegion(b *bytes.Buffer, r Region, height float64) {
	fmt.Fprintf(b, `<path fill="#%02x%02[1]x%02[1]x" fill-rule="evenodd" stroke="none" d="`, r.Grey)
	for _, loop := range r.Area {
		for i, q := range loop {
			if i == 0 {
				b.WriteString("M")
			} else {
				b.WriteString("L")
			}
			b.WriteString(nums(q.X, height-q.Y))
		}
		b.WriteString("Z")
	}
	b.WriteString(`"/>`)
}
