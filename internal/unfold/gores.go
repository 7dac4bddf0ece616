package unfold

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"groundwork/internal/geom"
)

// Gore is one of the leaves into which a surface curved both ways is cut so
// that each lies on it within the strain that veneer bears.
type Gore struct {
	Patch         *Patch
	Distortion    Distortion
	Along, Across float64 // greatest strain of the leaf along and across its grain, which runs along the chart's u
	Length, Width float64 // of the flat leaf along u and v, mm
}

// GoreOptions say how a surface is cut into gores. The zero value is ready for
// use.
type GoreOptions struct {
	// Grain is the direction in space that the grain follows as nearly as it can
	// in every gore. Zero: along the length of each gore.
	Grain geom.Vec3

	// Most is the greatest number of cuts of one kind that are tried; 0: 48.
	Most int
}

// ErrStrained says that no number of gores up to the limit meets the limits.
// The least strained gores are returned beside it.
var ErrStrained = errors.New("gores are strained beyond the limits")

// Gores proposes cuts of a surface into as few gores as meet the limits, and of
// those with equally few the ones with the least length of cut. It tries
// sectors about the axis that the surface most nearly revolves about, and
// strips of equal width across the surface's long and short directions, across
// that axis (zones) and across the directions in which it bends most and least. Cuts are straight through the
// triangles: they lie in planes.
//
// Vertices are taken to lie on the true surface: where facets are coarse beside
// the limits, they are divided on the smooth surface through the vertices, and
// the gores' vertices that are new have Origin -1.
func Gores(vertices []geom.Vec3, triangles [][3]int32, limits Limits, o GoreOptions) ([]Gore, error) {
	if !(limits.Along > 0 && limits.Across > 0) {
		return nil, fmt.Errorf("cut into gores: limits must be positive, not %g and %g", limits.Along, limits.Across)
	}
	if o.Most <= 0 {
		o.Most = 48
	}
	m, err := newMesh(vertices, triangles)
	if err != nil {
		return nil, fmt.Errorf("cut into gores: %w", err)
	}
	m.normal = m.normals()
	// Facets strain a flat leaf by about an eighth of their turning squared, which
	// would ask for gores that the smooth surface does not need.
	if m, err = m.smooth(math.Sqrt(8*0.05*min(limits.Along, limits.Across)), 12000); err != nil {
		return nil, fmt.Errorf("cut into gores: %w", err)
	}
	whole := cutting{mesh: m, limits: limits, options: o}
	one, excess, err := whole.lay([]*mesh{m}, math.Inf(1))
	if err == nil && excess <= 1 {
		return one, nil
	}
	guess := 2
	if err == nil {
		guess = max(2, int(0.8*math.Sqrt(excess)))
	} else if !errors.Is(err, ErrClosed) && !errors.Is(err, ErrHandle) && !errors.Is(err, ErrNotFlat) {
		return nil, fmt.Errorf("cut into gores: %w", err)
	}
	var best []Gore
	var bestCut float64
	var nearest []Gore
	least := math.Inf(1)
	for _, f := range m.families() {
		if best != nil { // more than that would not be better
			whole.options.Most = min(whole.options.Most, len(best))
		}
		gores, excess, cut := whole.fewest(f, guess)
		switch {
		case gores == nil:
		case excess > 1:
			if excess < least {
				nearest, least = gores, excess
			}
		case best == nil || len(gores) < len(best) || len(gores) == len(best) && cut < bestCut*(1-1e-9):
			best, bestCut = gores, cut
		}
	}
	switch {
	case best != nil:
		return best, nil
	case nearest != nil:
		return nearest, fmt.Errorf("cut into gores: %w: %.3g times, with %d", ErrStrained, least, len(nearest))
	}
	return nil, fmt.Errorf("cut into gores: %w", ErrNotFlat)
}

type cutting struct {
	mesh    *mesh
	limits  Limits
	options GoreOptions
}

// lay flattens parts and says how many times the worst exceeds the limits. It
// gives up, without gores, at the first one beyond enough.
func (c *cutting) lay(parts []*mesh, enough float64) (gores []Gore, excess float64, err error) {
	for _, m := range parts {
		p, d, err := m.flatten(Options{Along: c.options.Grain})
		if err != nil {
			return nil, 0, err
		}
		g := Gore{Patch: p, Distortion: d}
		g.Along, g.Across = p.Strain(geom.V2(1, 0))
		box := geom.EmptyBox2()
		for _, q := range p.Flat {
			box = box.Add(q)
		}
		g.Length, g.Width = box.Size().X, box.Size().Y
		excess = max(excess, g.Along/c.limits.Along, g.Across/c.limits.Across)
		if d.Overlap {
			excess = math.Inf(1)
		}
		gores = append(gores, g)
		if excess > enough {
			return nil, excess, nil
		}
	}
	return gores, excess, nil
}

// fewest finds the smallest number of cuts of a family that meets the limits,
// starting from a guess, or lays the greatest number allowed. Strain falls
// about as the square of the number, which tells what to try next.
func (c *cutting) fewest(f family, guess int) (gores []Gore, excess, cut float64) {
	try := func(n int) (g []Gore, e, length float64) {
		parts, length, err := f(n)
		if err != nil {
			return nil, math.Inf(1), 0
		}
		enough := 1.0
		if n == c.options.Most {
			enough = math.Inf(1) // the least strained are wanted all the same
		}
		if g, e, err = c.lay(parts, enough); err != nil {
			return nil, math.Inf(1), 0
		}
		return g, e, length
	}
	low, n := 1, min(guess, c.options.Most) // low cuts do not meet the limits
	for {
		if gores, excess, cut = try(n); excess <= 1 {
			break
		}
		low = n
		if n >= c.options.Most {
			return gores, excess, cut
		}
		grown := 2 * float64(n)
		if !math.IsInf(excess, 1) {
			grown = min(grown, float64(n)*math.Sqrt(excess))
		}
		n = min(max(n+1, int(grown)), c.options.Most)
	}
	for low+1 < n {
		k := min(max(low+1, int(float64(n)*math.Sqrt(excess))), n-1)
		if g, e, length := try(k); e <= 1 {
			n, gores, excess, cut = k, g, e, length
		} else {
			low = k
		}
	}
	return gores, excess, cut
}

// family cuts a mesh into n gores or a few more, and says how long the cuts are.
type family func(n int) (parts []*mesh, length float64, err error)

func (m *mesh) families() []family {
	var normal, centre geom.Vec3
	area := 0.0
	for t := range m.tri {
		f := m.facet(t)
		normal = normal.Add(f)
		centre = centre.Add(m.centre(t).Scale(f.Len()))
		area += f.Len()
	}
	centre = centre.Scale(1 / area)
	var spread, bend [3][3]float64 // second moments: of the surface, of the directions in which it bends most
	outer := func(to *[3][3]float64, d geom.Vec3, k float64) {
		x := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := range 3 {
				to[i][j] += k * x[i] * x[j]
			}
		}
	}
	for t, c := range m.tri {
		n := m.facet(t)
		if n.Len() == 0 {
			continue
		}
		outer(&spread, m.centre(t).Sub(centre), n.Len())
		f := geom.FrameFromZ(geom.Vec3{}, n)
		var e, dn [3]geom.Vec2
		var l [3]float64
		for k := range 3 {
			i, j := c[k], c[(k+1)%3]
			side, d := m.v[j].Sub(m.v[i]), m.normal[j].Sub(m.normal[i])
			e[k], l[k] = geom.V2(side.Dot(f.X), side.Dot(f.Y)), side.Len()
			dn[k] = geom.V2(d.Dot(f.X), d.Dot(f.Y))
		}
		if s, ok := explain(e, l, dn); ok {
			k, d := s.greatest()
			outer(&bend, f.X.Scale(d.X).Add(f.Y.Scale(d.Y)), n.Len()*k*k)
		}
	}
	axes := principal(spread)
	if axes == nil {
		return nil
	}
	// The axis of revolution: normals meet it, so n · (a × (p - centre)) = 0.
	axis, off := geom.Vec3{}, math.Inf(1)
	candidates := axes
	if l := normal.Len(); l > 0.1*area {
		candidates = append([]geom.Vec3{normal.Scale(1 / l)}, axes...)
	}
	for _, a := range candidates {
		sum := 0.0
		for t := range m.tri {
			n := m.facet(t)
			if l := n.Len(); l > 0 {
				x := n.Dot(a.Cross(m.centre(t).Sub(centre)))
				sum += x * x / l
			}
		}
		if sum < off*(1-1e-6) {
			axis, off = a, sum
		}
	}
	fs := []family{m.sectors(centre, axis)}
	across := []geom.Vec3{axes[1], axes[0], axis}
	if b := principal(bend); b != nil {
		across = append(across, b[0], b[1])
	}
	for i, d := range across {
		if !slices.ContainsFunc(across[:i], func(e geom.Vec3) bool { return math.Abs(e.Dot(d)) > 0.995 }) {
			fs = append(fs, m.strips(d))
		}
	}
	return fs
}

// principal lists the unit eigenvectors of a symmetric matrix, of the greatest
// eigenvalue first.
func principal(a [3][3]float64) []geom.Vec3 {
	var data []float64
	for i := range 3 {
		data = append(data, a[i][:]...)
	}
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(3, data), true) {
		return nil
	}
	var v mat.Dense
	e.VectorsTo(&v)
	var out []geom.Vec3
	for j := 2; j >= 0; j-- {
		d := geom.V3(v.At(0, j), v.At(1, j), v.At(2, j))
		// Either sign would do; one is chosen for good.
		if s := d.X + d.Y/3 + d.Z/9; s < 0 {
			d = d.Neg()
		}
		out = append(out, d)
	}
	return out
}

// size is the diagonal of the mesh's bounding box.
func (m *mesh) size() float64 {
	box := geom.EmptyBox3()
	for _, c := range m.tri {
		for _, i := range c {
			box = box.Add(m.v[i])
		}
	}
	return box.Size().Len()
}

// snap is how near a cut may pass a vertex without going through it, as a
// share of the size of the mesh: a finer sliver is of no use to anyone.
const snap = 1e-6

// sectors cuts by half-planes at equal angles about an axis.
func (m *mesh) sectors(centre, axis geom.Vec3) family {
	f := geom.FrameFromZ(centre, axis)
	return func(n int) ([]*mesh, float64, error) {
		cut := m
		step := 2 * math.Pi / float64(n)
		for i := range n {
			a := step * float64(i)
			if n%2 == 0 && i >= n/2 {
				break // the same planes from the other side
			}
			s, c := math.Sincos(a)
			d := f.Dir(geom.V3(-s, c, 0))
			value := make([]float64, len(cut.v))
			for k, v := range cut.v {
				value[k] = v.Sub(centre).Dot(d)
			}
			cut, _ = cut.split(value, snap*m.size(), nil)
		}
		return cut.by(func(p geom.Vec3) int {
			q := f.Local(p)
			a := math.Atan2(q.Y, q.X)
			if a < 0 {
				a += 2 * math.Pi
			}
			return min(int(a/step), n-1)
		})
	}
}

// strips cuts by planes square to a direction, so that strips are equally wide
// along the surface on the average.
func (m *mesh) strips(d geom.Vec3) family {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, c := range m.tri {
		for _, i := range c {
			x := m.v[i].Dot(d)
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	// In a thin slice dx of the surface the cut is ∫ |∇x| dA/dx long, and the
	// slice is ∫ dA over that wide.
	const slices = 1024
	var area, slope [slices]float64
	for t, c := range m.tri {
		n := m.facet(t)
		l := n.Len()
		if l == 0 {
			continue
		}
		a, b := math.Inf(1), math.Inf(-1)
		for _, i := range c {
			x := (m.v[i].Dot(d) - lo) / (hi - lo) * slices
			a, b = min(a, x), max(b, x)
		}
		grad := n.Scale(1 / l).Cross(d).Len()
		first, last := max(0, int(a)), min(slices-1, int(b))
		for k := first; k <= last; k++ {
			w := 1.0
			if b > a {
				w = (min(b, float64(k+1)) - max(a, float64(k))) / (b - a)
			}
			area[k] += w * l
			slope[k] += w * l * grad
		}
	}
	var run [slices + 1]float64
	for k := range slices {
		w := 1.0
		if slope[k] > 0 {
			w = min(20, area[k]/slope[k])
		}
		run[k+1] = run[k] + w
	}
	return func(n int) ([]*mesh, float64, error) {
		cut := m
		var levels []float64
		k := 0
		for i := 1; i < n; i++ {
			want := run[slices] * float64(i) / float64(n)
			for run[k+1] < want {
				k++
			}
			at := (float64(k) + (want-run[k])/(run[k+1]-run[k])) / slices
			level := lo + at*(hi-lo)
			levels = append(levels, level)
			value := make([]float64, len(cut.v))
			for j, v := range cut.v {
				value[j] = v.Dot(d) - level
			}
			cut, _ = cut.split(value, snap*m.size(), nil)
		}
		return cut.by(func(p geom.Vec3) int {
			x := p.Dot(d)
			i := 0
			for i < len(levels) && x > levels[i] {
				i++
			}
			return i
		})
	}
}

// by separates the mesh by a label of each triangle's middle, and measures the
// sides between different labels.
func (m *mesh) by(label func(geom.Vec3) int) ([]*mesh, float64, error) {
	labels := make([]int, len(m.tri))
	for t := range m.tri {
		labels[t] = label(m.centre(t))
	}
	if err := m.link(); err != nil {
		return nil, 0, err
	}
	length := 0.0
	for h, o := range m.twin {
		if o > int32(h) && labels[h/3] != labels[o/3] {
			length += m.v[m.from(int32(h))].Dist(m.v[m.to(int32(h))])
		}
	}
	parts, err := m.separate(labels)
	return parts, length, err
}
