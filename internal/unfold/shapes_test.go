package unfold_test

import (
	"math"
	"os"
	"strconv"
	"strings"

	"groundwork/internal/geom"
)

// grid is the mesh of f over [0, 1]² with n by k cells, its normals along
// f_x × f_y. Where wrap is set the last column is the first.
func grid(n, k int, wrap bool, f func(x, y float64) geom.Vec3) (v []geom.Vec3, t [][3]int32) {
	cols := n + 1
	if wrap {
		cols = n
	}
	for i := range cols {
		for j := range k + 1 {
			v = append(v, f(float64(i)/float64(n), float64(j)/float64(k)))
		}
	}
	at := func(i, j int) int32 { return int32(i%cols*(k+1) + j) }
	for i := range n {
		for j := range k {
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			if (i+j)%2 == 0 {
				t = append(t, [3]int32{a, b, c}, [3]int32{a, c, d})
			} else {
				t = append(t, [3]int32{a, b, d}, [3]int32{b, c, d})
			}
		}
	}
	return v, t
}

// cylinder is the part of a cylinder about Z that spans the angle, seen from outside.
func cylinder(r, h, angle float64, n, k int) ([]geom.Vec3, [][3]int32) {
	return grid(n, k, angle == 2*math.Pi, func(x, y float64) geom.Vec3 {
		s, c := math.Sincos(angle * x)
		return geom.V3(r*c, r*s, h*y)
	})
}

// frustum is a cone about Z with the radii r1 below and r2 above.
func frustum(r1, r2, h, angle float64, n, k int) ([]geom.Vec3, [][3]int32) {
	return grid(n, k, angle == 2*math.Pi, func(x, y float64) geom.Vec3 {
		s, c := math.Sincos(angle * x)
		r := r1 + (r2-r1)*y
		return geom.V3(r*c, r*s, h*y)
	})
}

// dome is a spherical cap of radius R out to the geodesic radius rho, about Z.
func dome(R, rho float64, rings int) (v []geom.Vec3, t [][3]int32) {
	v = []geom.Vec3{{Z: R}}
	first := []int32{0}
	for i := 1; i <= rings; i++ {
		first = append(first, int32(len(v)))
		a := rho / R * float64(i) / float64(rings)
		for j := range 6 * i {
			b := 2 * math.Pi * float64(j) / float64(6*i)
			v = append(v, geom.V3(R*math.Sin(a)*math.Cos(b), R*math.Sin(a)*math.Sin(b), R*math.Cos(a)))
		}
	}
	at := func(i, j int) int32 {
		if i == 0 {
			return 0
		}
		return first[i] + int32(j%(6*i))
	}
	for i := 1; i <= rings; i++ {
		for s := range 6 {
			for j := range i {
				o := s*i + j
				in := s*(i-1) + j
				t = append(t, [3]int32{at(i, o), at(i, o+1), at(i-1, in)})
				if j < i-1 {
					t = append(t, [3]int32{at(i, o+1), at(i-1, in+1), at(i-1, in)})
				}
			}
		}
	}
	return v, t
}

// readOBJ reads the vertices and the triangles of an OBJ file.
func readOBJ(name string) (v []geom.Vec3, t [][3]int32, err error) {
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, nil, err
	}
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		if len(f) < 4 {
			continue
		}
		switch f[0] {
		case "v":
			var p [3]float64
			for i := range p {
				if p[i], err = strconv.ParseFloat(f[1+i], 64); err != nil {
					return nil, nil, err
				}
			}
			v = append(v, geom.V3(p[0], p[1], p[2]))
		case "f":
			var c []int32
			for _, s := range f[1:] {
				s, _, _ = strings.Cut(s, "/")
				i, err := strconv.Atoi(s)
				if err != nil {
					return nil, nil, err
				}
				c = append(c, int32(i-1))
			}
			for i := 2; i < len(c); i++ {
				t = append(t, [3]int32{c[0], c[i-1], c[i]})
			}
		}
	}
	return v, t, nil
}

// cone is a whole cone about Z with its apex above.
func cone(r, h float64, n, k int) ([]geom.Vec3, [][3]int32) {
	v, t := frustum(r, r/float64(k), h*(1-1/float64(k)), 2*math.Pi, n, k-1)
	apex := int32(len(v))
	v = append(v, geom.V3(0, 0, h))
	for i := range n {
		t = append(t, [3]int32{int32(i*k + k - 1), int32((i+1)%n*k + k - 1), apex})
	}
	return v, t
}

// tangents is the strip between the distances t1 and t2 along the tangents of
// the helix (a cos φ, a sin φ, b φ), 0 <= φ <= span.
func tangents(a, b, t1, t2, span float64, n int) ([]geom.Vec3, [][3]int32) {
	c := math.Hypot(a, b)
	return grid(n, 1, false, func(x, y float64) geom.Vec3 {
		sn, cs := math.Sincos(span * x)
		t := t1 + (t2-t1)*y
		return geom.V3(a*cs-t*a/c*sn, a*sn+t*a/c*cs, b*span*x+t*b/c)
	})
}

// without drops the triangles that f picks.
func without(t [][3]int32, v []geom.Vec3, f func(mid geom.Vec3) bool) (kept [][3]int32) {
	for _, c := range t {
		if !f(v[c[0]].Add(v[c[1]]).Add(v[c[2]]).Scale(1. / 3)) {
			kept = append(kept, c)
		}
	}
	return kept
}

// moved is the mesh seen from another place.
func moved(v []geom.Vec3, f geom.Frame) []geom.Vec3 {
	out := make([]geom.Vec3, len(v))
	for i, p := range v {
		out[i] = f.Point(p)
	}
	return out
}
