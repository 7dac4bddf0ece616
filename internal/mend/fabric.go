package mend

import (
	"cmp"
	"math"
	"slices"

	"groundwork/internal/geom"
)

// fabric is a mesh being mended. Triangles name points, and points are unlike
// places: solids that touch share points and even sides here, and which
// triangles hang together is said by mates alone. Only at the end does every
// sheet get vertices of its own.
//
// Side h of the fabric is side h%3 of triangle h/3, which runs from its corner
// h%3 to the next.
type fabric struct {
	points    []geom.Vec3 // mm
	triangles [][3]int32
	mates     []int32 // side: the side it is joined to, or a border
	sheets    []int32 // triangle: number of the sheet it belongs to, set by orient
	oneSided  []bool  // sheet: cannot be turned to one side
	turned    []bool  // triangle: runs the other way round than it did at first
}

const (
	border   = -1 // no mate: the edge of an opening
	unjoined = -2 // no mate: too many sheets meet
)

func (f *fabric) ends(h int32) (from, to int32) {
	t := f.triangles[h/3]
	return t[h%3], t[(h%3+1)%3]
}

func (f *fabric) apex(h int32) int32 { return f.triangles[h/3][(h%3+2)%3] }

func next(h int32) int32 { return h - h%3 + (h%3+1)%3 }

func (f *fabric) corners(i int32) (a, b, c geom.Vec3) {
	t := f.triangles[i]
	return f.points[t[0]], f.points[t[1]], f.points[t[2]]
}

// normal is the normal of a triangle, as long as twice its area.
func (f *fabric) normal(i int32) geom.Vec3 {
	a, b, c := f.corners(i)
	return b.Sub(a).Cross(c.Sub(a))
}

func (f *fabric) length(h int32) float64 {
	a, b := f.ends(h)
	return f.points[a].Dist(f.points[b])
}

// edge is one side of a triangle, known by its two points.
type edge struct {
	key uint64
	h   int32
}

func edgeKey(a, b int32) uint64 {
	if a > b {
		a, b = b, a
	}
	return uint64(uint32(a))<<32 | uint64(uint32(b))
}

func (f *fabric) edges() []edge {
	out := make([]edge, 0, 3*len(f.triangles))
	for i, t := range f.triangles {
		for s := range 3 {
			out = append(out, edge{edgeKey(t[s], t[(s+1)%3]), int32(3*i + s)})
		}
	}
	slices.SortFunc(out, func(a, b edge) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.h, b.h)) })
	return out
}

// join finds the mate of every side. Where more than two sides run between two
// points, they are joined by pairs in the order of their angles about it, each
// to the one across the material between them, so that solids which touch
// along an edge stay two solids. It returns how many edges were shared so.
func (f *fabric) join() (crowded int, at geom.Vec3) {
	f.mates = make([]int32, 3*len(f.triangles))
	edges := f.edges()
	type run struct{ from, to int }
	var crowds []run
	for i := 0; i < len(edges); {
		j := i + 1
		for j < len(edges) && edges[j].key == edges[i].key {
			j++
		}
		for k := i; k < j; k++ {
			f.mates[edges[k].h] = border
		}
		switch {
		case j-i == 2:
			f.mates[edges[i].h], f.mates[edges[i+1].h] = edges[i+1].h, edges[i].h
		case j-i > 2:
			for k := i; k < j; k++ {
				f.mates[edges[k].h] = unjoined
			}
			crowds = append(crowds, run{i, j})
		}
		i = j
	}
	f.orient()
	if len(crowds) == 0 {
		return 0, at
	}
	// A fin that ends in the air should not take the place of a solid's face:
	// sheets without an opening choose first.
	open := make([]bool, len(f.oneSided))
	for h, m := range f.mates {
		if m == border {
			open[f.sheets[h/3]] = true
		}
	}
	for _, r := range crowds {
		around := make([]int32, 0, r.to-r.from)
		for _, e := range edges[r.from:r.to] {
			around = append(around, f.orientedSide(e))
		}
		around = f.byAngle(around)
		around = f.joinWedges(around, func(h int32) bool { return !open[f.sheets[h/3]] })
		f.joinWedges(around, func(int32) bool { return true })
	}
	a, _ := f.ends(edges[crowds[0].from].h)
	f.orient()
	return len(crowds), f.points[a]
}

// orientedSide is the side that e has become since the triangle was turned.
func (f *fabric) orientedSide(e edge) int32 {
	for s := range int32(3) {
		h := e.h - e.h%3 + s
		if a, b := f.ends(h); edgeKey(a, b) == e.key {
			return h
		}
	}
	return e.h
}

// byAngle orders sides of one edge by the angle of their triangles about it,
// rising as seen against the run from the lower to the higher point.
func (f *fabric) byAngle(sides []int32) []int32 {
	a, b := f.ends(sides[0])
	if a > b {
		a, b = b, a
	}
	o := f.points[a]
	axis := f.points[b].Sub(o)
	x := f.points[f.apex(sides[0])].Sub(o)
	y := axis.Cross(x)
	x = y.Cross(axis).Unit()
	y = y.Unit()
	type ray struct {
		h     int32
		angle float64
	}
	rays := make([]ray, len(sides))
	for i, h := range sides {
		d := f.points[f.apex(h)].Sub(o)
		angle := math.Atan2(d.Dot(y), d.Dot(x))
		if angle < same-math.Pi {
			angle += 2 * math.Pi
		}
		rays[i] = ray{h, angle}
	}
	slices.SortStableFunc(rays, func(a, b ray) int { return cmp.Compare(a.angle, b.angle) })
	// Faces that lie on one another: the wedge below ends before that above begins.
	for i := 0; i < len(rays); {
		j := i + 1
		for j < len(rays) && rays[j].angle-rays[j-1].angle < same {
			j++
		}
		slices.SortStableFunc(rays[i:j], func(a, b ray) int {
			return cmp.Compare(f.against(a.h), f.against(b.h))
		})
		i = j
	}
	for i, r := range rays {
		sides[i] = r.h
	}
	return sides
}

// same is how far apart in angle, in radians, faces are that lie on one another.
const same = 1e-7

// against is 1 if the side runs from its higher to its lower point, else 0.
func (f *fabric) against(h int32) int {
	if a, b := f.ends(h); a > b {
		return 1
	}
	return 0
}

// joinWedges joins those of the sides, ordered by angle, that choose admits,
// and returns the rest. A triangle whose side runs with the axis has its
// material below it in angle, one that runs against it above: like brackets,
// every wedge of material opens with the one and closes with the other.
func (f *fabric) joinWedges(sides []int32, choose func(h int32) bool) []int32 {
	var waiting []int32
	joined := map[int32]bool{}
	for round := range 2 { // the wedge that holds angle 0 closes in the second round
		for _, h := range sides {
			if joined[h] || !choose(h) {
				continue
			}
			if f.against(h) == 1 {
				if round == 0 {
					waiting = append(waiting, h)
				}
			} else if n := len(waiting); n > 0 {
				m := waiting[n-1]
				waiting = waiting[:n-1]
				f.mates[h], f.mates[m] = m, h
				joined[h], joined[m] = true, true
			}
		}
	}
	rest := sides[:0]
	for _, h := range sides {
		if !joined[h] {
			rest = append(rest, h)
		}
	}
	return rest
}

// orient turns the triangles of every sheet the way that most of its area
// already runs, and numbers the sheets.
func (f *fabric) orient() {
	n := len(f.triangles)
	f.sheets = make([]int32, n)
	for i := range f.sheets {
		f.sheets[i] = -1
	}
	f.oneSided = f.oneSided[:0]
	if len(f.turned) < n {
		f.turned = append(f.turned, make([]bool, n-len(f.turned))...)
	}
	flip := make([]bool, n)
	var sheet []int32
	flips := false
	for first := range n {
		if f.sheets[first] >= 0 {
			continue
		}
		number := int32(len(f.oneSided))
		oneSided := false
		f.sheets[first] = number
		sheet = append(sheet[:0], int32(first))
		var kept, changed float64
		for k := 0; k < len(sheet); k++ {
			i := sheet[k]
			if area := f.normal(i).Len(); flip[i] {
				changed += area
			} else {
				kept += area
			}
			for h := 3 * i; h < 3*i+3; h++ {
				m := f.mates[h]
				if m < 0 {
					continue
				}
				a, _ := f.ends(h)
				c, _ := f.ends(m)
				want := flip[i] != (a == c) // both run the same way: one must turn
				if j := m / 3; f.sheets[j] < 0 {
					f.sheets[j], flip[j] = number, want
					sheet = append(sheet, j)
				} else if flip[j] != want {
					oneSided = true
				}
			}
		}
		f.oneSided = append(f.oneSided, oneSided)
		for _, i := range sheet {
			if changed > kept {
				flip[i] = !flip[i]
			}
			if oneSided {
				flip[i] = false
			}
			flips = flips || flip[i]
		}
	}
	if flips {
		f.flip(flip)
	}
}

// flip turns the chosen triangles over.
func (f *fabric) flip(chosen []bool) {
	for i, c := range chosen {
		if c {
			t := f.triangles[i]
			f.triangles[i] = [3]int32{t[0], t[2], t[1]} // sides 0 and 2 change places
			f.turned[i] = !f.turned[i]
		}
	}
	side := func(h int32) int32 {
		if h >= 0 && chosen[h/3] {
			return h - h%3 + 2 - h%3
		}
		return h
	}
	mates := make([]int32, len(f.mates))
	for h, m := range f.mates {
		mates[side(int32(h))] = side(m)
	}
	f.mates = mates
}

// keep drops the triangles for which choose is false. Mates must be found anew.
func (f *fabric) keep(choose func(i int) bool) {
	n := 0
	for i, t := range f.triangles {
		if choose(i) {
			f.triangles[n] = t
			if f.turned != nil {
				f.turned[n] = f.turned[i]
			}
			n++
		}
	}
	f.triangles = f.triangles[:n]
	if f.turned != nil {
		f.turned = f.turned[:n]
	}
	f.mates = nil
}

// borders is every side that lies along an opening.
func (f *fabric) borders() []int32 {
	var out []int32
	for h, m := range f.mates {
		if m == border {
			out = append(out, int32(h))
		}
	}
	return out
}
