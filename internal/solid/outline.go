package solid

import (
	"errors"
	"fmt"

	"groundwork/internal/geom"
)

// CheckOutline reports the first fault in a region given by loops: fewer than
// three points, a coordinate that is not finite, a point repeated, loops that
// touch or cross themselves or one another, an outer loop that runs clockwise
// or a hole that runs counter-clockwise.
func CheckOutline(loops []geom.Polygon) error {
	if len(loops) == 0 {
		return errors.New("there is no outline")
	}
	for i, l := range loops {
		if len(l) < 3 {
			return fmt.Errorf("loop %d has only %d points", i, len(l))
		}
		for j, p := range l {
			if !finite(p.X, p.Y) {
				return fmt.Errorf("point %d of loop %d is not finite", j, i)
			}
			if p == l[(j+1)%len(l)] {
				return fmt.Errorf("point %d of loop %d, (%g, %g), comes twice in a row", j, i, p.X, p.Y)
			}
		}
	}
	if err := crossing(loops); err != nil {
		return err
	}
	bounds := make([]geom.Box2, len(loops))
	for i, l := range loops {
		bounds[i] = l.Bounds()
	}
	for i, l := range loops {
		depth := 0
		for j, m := range loops {
			if i != j && bounds[j].Add(l[0]) == bounds[j] && m.Contains(l[0]) {
				depth++
			}
		}
		area := l.Area()
		if depth%2 == 0 && area < 0 {
			return fmt.Errorf("the outer loop %d runs clockwise", i)
		}
		if depth%2 == 1 && area > 0 {
			return fmt.Errorf("the hole in loop %d runs counter-clockwise", i)
		}
	}
	return nil
}

// crossing is where loops cross or touch themselves or one another.
func crossing(loops []geom.Polygon) error {
	if p, found := geom.Polygons(loops).Crossing(); found {
		return fmt.Errorf("loops cross or touch themselves or one another near (%g, %g)", p.X, p.Y)
	}
	return nil
}
