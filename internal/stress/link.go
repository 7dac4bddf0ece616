package stress

import (
	"fmt"
	"math"
	"slices"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
)

// What joints are made of. Figures without a source are common practice.
const (
	steel = 210e3 // MPa (EN 1993-1-1, 3.2.6)

	// A face of print on another beds in over the height of its beads: it yields
	// as half a millimetre of the plastic would, E over bedding in N/mm³.
	bedding = 0.5  // mm
	hold    = 0.35 // stiffness sideways over that, as of G over E
	slide   = 0.02 // N/mm³; what only rests is held sideways no more than keeps it in place
	tiny    = 4.0  // mm; a foot that is narrower is no more than a point

	// A film of glue: thickness, and moduli of a rigid two-part glue.
	film      = 0.1  // mm
	glueE     = 1000 // MPa
	glueG     = 350  // MPa
	wallBolt  = 5.0  // mm; radius of the ring on which a wall screw's head bears
	footDepth = 0.2  // mm; what lies no farther above a body's lowest point stands on the floor
	footLevel = 2.0  // mm; a body whose lowest point is higher does not stand on it: veneer and less than this
)

// hardware is a screw's size: diameter of the hole it passes (ISO 273, medium),
// of its head (ISO 4762) and of its washer (ISO 7089), mm, and the area that
// carries its tension (ISO 898-1), mm². Heads and washers are from memory.
type hardware struct{ hole, head, washer, area float64 }

var hardwares = map[string]hardware{
	"M4": {4.5, 7, 9, 8.78},
	"M5": {5.5, 8.5, 10, 14.2},
	"M6": {6.6, 10, 12, 20.1},
	"M8": {9, 13, 16, 36.6},
}

// bearing is the ring under the head or washer: its area, mm², and mean radius.
func (h hardware) bearing(washer bool) (area, radius float64) {
	d := h.head
	if washer {
		d = h.washer
	}
	return math.Pi / 4 * (d*d - h.hole*h.hole), (d + h.hole) / 4
}

// pressed is the share of a filament's strength at which a screw that is done up
// by feel presses the plastic under its head (common practice, no source).
const pressed = 0.25

// spread is a set of links that together are one thing.
type spread struct {
	joint, number int
	links         []int // along its axis
	across        []int // across it
	axis          geom.Vec3
	preload       float64 // N, wanted
}

// film is the links of one glued contact.
type filmLinks struct {
	joint int
	round bool
	links []int
	areas []float64
}

// foot is a patch on which a body stands on the floor.
type foot struct {
	body  int
	links []int
}

// spot is a small patch of a region.
type spot struct {
	at   geom.Vec2
	area float64
}

// patches divides a region into patches no wider than step, at least two each
// way, so that it resists being turned; together they have its area.
func patches(region geom.Polygons, step float64) (out []spot) {
	box := region.Bounds()
	if box.Empty() {
		return nil
	}
	size := box.Size()
	even := func(lo, breadth float64) []float64 {
		n := max(2, int(math.Ceil(breadth/step-1e-9)))
		out := make([]float64, n+1)
		for i := range out {
			out[i] = lo + breadth*float64(i)/float64(n)
		}
		return out
	}
	return patchesBetween(region, even(box.Min.X, size.X), even(box.Min.Y, size.Y))
}

// patchesBetween divides a region by lines of equal x and of equal y.
func patchesBetween(region geom.Polygons, xs, ys []float64) (out []spot) {
	const fine = 4 // points each way in a patch
	total := 0.0
	for j := range len(ys) - 1 {
		for i := range len(xs) - 1 {
			du, dv := xs[i+1]-xs[i], ys[j+1]-ys[j]
			var mid geom.Vec2
			hits := 0.0
			for s := range fine * fine {
				p := geom.V2(xs[i]+du*(float64(s%fine)+0.5)/fine, ys[j]+dv*(float64(s/fine)+0.5)/fine)
				if region.Contains(p) {
					mid = mid.Add(p)
					hits++
				}
			}
			if hits > 0 {
				out = append(out, spot{mid.Scale(1 / hits), hits * du * dv})
				total += hits * du * dv
			}
		}
	}
	if area := region.Area(); total > 0 && area > 0 {
		for i := range out {
			out[i].area *= area / total
		}
	}
	return out
}

// reach is how far off a body's cells a point may lie and still be taken for a
// point of it.
func (s *Structure) reach() float64 { return s.cell }

// grip is the point itself where the solver can take hold of the body there,
// within a cell's breadth along every axis, otherwise the nearest point of it.
func (s *Structure) grip(body int, p geom.Vec3) geom.Vec3 {
	b := s.bodies[body]
	c, at, ok := b.find(p, s.reach())
	if !ok {
		return p
	}
	size := b.box(c).Size()
	d := b.frame.LocalDir(at.Sub(p))
	if math.Abs(d.X) > size.X || math.Abs(d.Y) > size.Y || math.Abs(d.Z) > size.Z {
		return at
	}
	return p
}

// add puts a link in, unless one of its ends misses its body.
func (s *Structure) add(l elastic.Link) (int, bool) {
	for side, b := range [2]int{l.A, l.B} {
		if b == elastic.Ground {
			continue
		}
		p := l.At.Add(l.Axis.Scale(float64(side) * l.Reach))
		if _, _, ok := s.bodies[b].find(p, s.reach()); !ok {
			return 0, false
		}
		if q := s.grip(b, p); q != p {
			if l.Reach != 0 {
				return 0, false
			}
			l.At = q
		}
	}
	s.links = append(s.links, l)
	return len(s.links) - 1, true
}

// modulus of the softer of two bodies' plastics, MPa.
func (s *Structure) modulus(a, b int) float64 {
	e := s.bodies[a].plastic.e
	if b != elastic.Ground {
		e = min(e, s.bodies[b].plastic.e)
	}
	return e
}

// face spreads a link over patches; its stiffnesses are for each mm².
func (s *Structure) face(l elastic.Link, frame geom.Frame, at []spot) (links []int, areas []float64) {
	for i, p := range at {
		m := l
		if l.Contact && l.Across == slide {
			// What it bears sideways does not matter, only that it is held: a few do.
			const few = 6
			m.Across = 0
			if i%few == 0 {
				m.Across = few * slide
			}
		}
		m.At, m.Axis = frame.Point(geom.V3(p.at.X, p.at.Y, 0)), frame.Z
		m.Along, m.Across = m.Along*p.area, m.Across*p.area
		if i, ok := s.add(m); ok {
			links, areas = append(links, i), append(areas, p.area)
		}
	}
	return links, areas
}

// contact is a link that presses, for each mm², and holds sideways while it
// does. What only rests is hardly held sideways: friction gives way long before a
// shelf becomes an arch between its rests. In a rough structure it pulls as well,
// so that nothing need be opened and closed.
func (s *Structure) contact(name string, a, b int, rests bool) elastic.Link {
	k := s.modulus(a, b) / bedding
	l := elastic.Link{Name: name, A: a, B: b, Along: k, Across: hold * k, Contact: !s.rough}
	if rests {
		l.Across = slide
	}
	return l
}

// join links what joints hold together and what touches.
func (s *Structure) join() {
	joints := map[string][]int{} // by contact
	for i, j := range s.in.Joints.Joints {
		joints[j.Contact] = append(joints[j.Contact], i)
	}
	rests := func(contact string) bool {
		for _, j := range joints[contact] {
			if s.in.Joints.Joints[j].Kind != piece.Rests {
				return false
			}
		}
		return true
	}
	glued := func(contact string) int {
		for _, j := range joints[contact] {
			if s.in.Joints.Joints[j].Kind == piece.Glued {
				return j
			}
		}
		return -1
	}
	glue := func(name string, a, b int) elastic.Link {
		return elastic.Link{Name: name, A: a, B: b, Along: glueE / film, Across: glueG / film}
	}
	for _, c := range s.in.Joints.Contacts {
		a, b := s.bodyOf[c.A.Member], s.bodyOf[c.B.Member]
		if a == b {
			continue
		}
		at := patches(c.Region, s.linkStep)
		if j := glued(c.ID); j >= 0 {
			links, areas := s.face(glue(c.ID, a, b), c.Frame, at)
			s.films = append(s.films, filmLinks{joint: j, links: links, areas: areas})
		} else {
			s.face(s.contact(c.ID, a, b, rests(c.ID)), c.Frame, at)
		}
	}
	for _, c := range s.in.Joints.Rounds {
		a, b := s.bodyOf[c.A.Member], s.bodyOf[c.B.Member]
		if a == b {
			continue
		}
		j := glued(c.ID)
		l := s.contact(c.ID, a, b, rests(c.ID))
		if j >= 0 {
			l = glue(c.ID, a, b)
		}
		f := filmLinks{joint: j, round: true}
		// No wider than a sixth of the way round, or a film could not tell a turn.
		for _, p := range patches(c.Region, min(s.linkStep, c.Radius)) {
			sin, cos := math.Sincos(p.at.X / c.Radius)
			out := c.Axis.X.Scale(cos).Add(c.Axis.Y.Scale(sin))
			m := l
			m.At = c.Axis.Origin.Add(out.Scale(c.Radius)).Add(c.Axis.Z.Scale(p.at.Y))
			m.Axis = out.Neg() // from the hollow to what fills it
			m.Along, m.Across = l.Along*p.area, l.Across*p.area
			if i, ok := s.add(m); ok {
				f.links, f.areas = append(f.links, i), append(f.areas, p.area)
			}
		}
		if j >= 0 {
			s.films = append(s.films, f)
		}
	}
	if s.rough {
		return // faces that do not part need no screws
	}
	for i := range s.in.Joints.Joints {
		j := &s.in.Joints.Joints[i]
		for n := range j.Screws {
			s.screw(i, n)
		}
		for n := range j.Dowels {
			s.dowel(i, n)
		}
	}
}

// insertAt is how far beyond the contact an insert begins and ends.
func (s *Structure) insertAt(sc joint.Screw) (from, to float64) {
	length := sc.Engagement
	if in, ok := s.in.Shop.Insert(sc.Insert); ok {
		length = in.Length
	}
	return sc.Sunk, sc.Sunk + length
}

// screw links the ring under the head with the length of the insert. Its links
// yield as the steel between them and the plastic round either end do together:
// that of a stiff ring on a half-space, 2 E* a (Johnson, Contact Mechanics,
// eq. 3.36), which cells as wide as the ring do not show, and that of a sleeve
// sheared out of a tube three times as wide, 2π G L / ln 3.
func (s *Structure) screw(jointIndex, number int) {
	sc := s.in.Joints.Joints[jointIndex].Screws[number]
	h, known := hardwares[sc.Size]
	a, b := s.bodyOf[sc.Through], s.bodyOf[sc.Into]
	if !known || a == b {
		return
	}
	area, radius := h.bearing(sc.Washer)
	from, to := s.insertAt(sc)
	pl := s.bodies[a].plastic
	under := 2 * pl.e / (1 - 0.35*0.35) * math.Sqrt(area/math.Pi)
	round := 2 * math.Pi * s.bodies[b].plastic.g * (to - from) / math.Log(3)
	k := 1 / (1/under + 1/round + (sc.Grip+(from+to)/2)/(steel*h.area))
	sp := spread{joint: jointIndex, number: number, axis: sc.Axis}
	sp.preload = pressed * s.in.Filament(a).Strength * area * s.relaxed(a)
	name := fmt.Sprintf("%s/screw-%d", s.in.Joints.Joints[jointIndex].ID, number+1)
	f := geom.FrameFromZ(sc.Head, sc.Axis)
	var tries []elastic.Link
	for i := range 4 {
		sin, cos := math.Sincos(math.Pi/4 + math.Pi/2*float64(i))
		at := f.Point(geom.V3(radius*cos, radius*sin, 0))
		for _, depth := range []float64{0.25, 0.75} {
			tries = append(tries, elastic.Link{Name: name, A: a, B: b, At: at, Axis: sc.Axis, Reach: sc.Grip + from + depth*(to-from)})
		}
	}
	var kept []elastic.Link
	for _, l := range tries {
		_, _, okA := s.bodies[a].find(l.At, s.reach())
		_, _, okB := s.bodies[b].find(l.At.Add(l.Axis.Scale(l.Reach)), s.reach())
		if okA && okB {
			kept = append(kept, l)
		}
	}
	for _, l := range kept {
		l.Along, l.Preload = k/float64(len(kept)), sp.preload/float64(len(kept))
		if i, ok := s.add(l); ok {
			sp.links = append(sp.links, i)
		}
	}
	if len(sp.links) == 0 {
		s.left = append(s.left, name)
		return
	}
	// Sideways it bears on its hole: a bar in plastic of modulus E is held by
	// some E for each mm of its length, over about its own diameter.
	// On two sides, for its head and thread resist being turned.
	lateral := s.modulus(a, b) * math.Sqrt(h.area)
	for _, side := range []float64{-radius, radius} {
		l := elastic.Link{Name: name, A: a, B: b, At: f.Point(geom.V3(side, 0, sc.Grip)), Axis: sc.Axis, Across: lateral / 2}
		if i, ok := s.add(l); ok {
			sp.across = append(sp.across, i)
		}
	}
	s.screws = append(s.screws, sp)
}

// dowel holds two bodies to each other across its axis.
func (s *Structure) dowel(jointIndex, number int) {
	j := s.in.Joints.Joints[jointIndex]
	d := j.Dowels[number]
	a, b, ok := s.sides(j.Contact)
	if !ok || a == b {
		return
	}
	name := fmt.Sprintf("%s/dowel-%d", j.ID, number+1)
	i, ok := s.add(elastic.Link{Name: name, A: a, B: b, At: d.Center, Axis: d.Axis, Across: s.modulus(a, b) * d.Diameter})
	if !ok {
		s.left = append(s.left, name)
		return
	}
	s.dowels = append(s.dowels, spread{joint: jointIndex, number: number, across: []int{i}, axis: d.Axis})
}

// sides are the bodies that a contact lies between.
func (s *Structure) sides(contact string) (a, b int, ok bool) {
	for _, c := range s.in.Joints.Contacts {
		if c.ID == contact {
			return s.bodyOf[c.A.Member], s.bodyOf[c.B.Member], true
		}
	}
	for _, c := range s.in.Joints.Rounds {
		if c.ID == contact {
			return s.bodyOf[c.A.Member], s.bodyOf[c.B.Member], true
		}
	}
	return 0, 0, false
}

// held links the surfaces that are fixed to a wall with the ground: by screws
// where they are known, and pressing on the wall elsewhere; otherwise all over.
func (s *Structure) held() {
	for _, h := range s.in.Held {
		b := s.bodyOf[h.Member]
		core := s.in.Cores[h.Member]
		surfaces := core.Surfaces(0.1)
		if h.Surface < 0 || h.Surface >= len(surfaces) {
			continue
		}
		sf := surfaces[h.Surface]
		name := "held " + core.ID + " " + sf.Name
		e := s.bodies[b].plastic.e
		for _, p := range h.At {
			n := core.Place.Dir(sf.Normal(sf.Chart(core.Place.Local(p))))
			f := geom.FrameFromZ(p, n)
			for i := range 4 {
				sin, cos := math.Sincos(math.Pi/4 + math.Pi/2*float64(i))
				s.add(elastic.Link{Name: name, A: b, B: elastic.Ground, At: f.Point(geom.V3(wallBolt*cos, wallBolt*sin, 0)), Axis: n,
					Along: e * wallBolt / 2, Across: e * wallBolt / 4})
			}
		}
		l := elastic.Link{Name: name, A: b, B: elastic.Ground, Along: glueE / film, Across: glueG / film}
		if len(h.At) > 0 {
			l = s.contact(name, b, elastic.Ground, false)
			l.Across = 0 // the screws hold it, and where it presses is then sure to be found
		}
		for _, p := range patches(sf.Region, s.cell) {
			m := l
			m.At, m.Axis = core.Place.Point(sf.Point(p.at)), core.Place.Dir(sf.Normal(p.at))
			m.Along, m.Across = l.Along*p.area, l.Across*p.area
			s.add(m)
		}
	}
}

// stand links what stands on the floor with the ground.
func (s *Structure) stand() {
	if !s.in.Floor {
		return
	}
	down := geom.V3(0, 0, -1)
	for bi, b := range s.bodies {
		for _, f := range b.feet() {
			at := patches(f.region, s.linkStep)
			if f.point {
				at = []spot{{area: f.region.Area()}}
			}
			frame := geom.Frame{Origin: f.origin, X: geom.V3(1, 0, 0), Y: geom.V3(0, -1, 0), Z: down}
			links, _ := s.face(s.contact("floor under "+b.id, bi, elastic.Ground, false), frame, at)
			if len(links) > 0 {
				s.feet = append(s.feet, foot{bi, links})
			}
		}
	}
}

// footprint is a patch of a body near the floor.
type footprint struct {
	origin geom.Vec3
	region geom.Polygons // in X and -Y from origin
	point  bool          // it is round: the body stands on a point
}

// feet are the patches of a body that lie lowest, if it reaches the floor.
func (b *body) feet() (out []footprint) {
	lowest := math.Inf(1)
	for _, m := range b.meshes {
		for _, v := range m.vertices {
			lowest = min(lowest, b.frame.Point(v).Z)
		}
	}
	if lowest > footLevel {
		return nil
	}
	for _, m := range b.meshes {
		world := make([]geom.Vec3, len(m.vertices))
		for i, v := range m.vertices {
			world[i] = b.frame.Point(v)
		}
		// Triangles that look down near the floor, in groups that share corners.
		group := make([]int, len(world))
		for i := range group {
			group[i] = i
		}
		root := func(i int) int {
			for group[i] != i {
				i = group[i]
			}
			return i
		}
		var low [][3]int32
		for _, t := range m.triangles {
			p, q, r := world[t[0]], world[t[1]], world[t[2]]
			n := q.Sub(p).Cross(r.Sub(p))
			if n.Z >= -1e-9 || max(p.Z, q.Z, r.Z) > lowest+footDepth {
				continue
			}
			low = append(low, t)
			for _, k := range t[1:] {
				group[root(int(k))] = root(int(t[0]))
			}
		}
		if len(low) == 0 {
			// Nothing but a corner or an edge reaches the floor.
			for _, v := range world {
				if v.Z < lowest+1e-6 {
					out = append(out, footprint{origin: v, region: geom.Polygons{{geom.V2(-1, -1), geom.V2(1, -1), geom.V2(1, 1), geom.V2(-1, 1)}}, point: true})
				}
			}
			continue
		}
		done := map[int]int{}
		for _, t := range low {
			g := root(int(t[0]))
			at, ok := done[g]
			if !ok {
				at = len(out)
				done[g] = at
				out = append(out, footprint{origin: geom.V3(0, 0, math.Inf(1))})
			}
			f := &out[at]
			var tri geom.Polygon
			for _, k := range t {
				v := world[k]
				if v.Z < f.origin.Z-1e-9 {
					f.point = f.point || !math.IsInf(f.origin.Z, 1) && v.Z < f.origin.Z-1e-3
					f.origin.Z = v.Z
				}
				f.point = f.point || v.Z > f.origin.Z+1e-3
				tri = append(tri, geom.V2(v.X, -v.Y))
			}
			f.region = append(f.region, tri)
		}
	}
	for i := range out {
		f := &out[i]
		if f.origin.X != 0 || f.origin.Y != 0 {
			continue // a corner
		}
		// Every patch is told from the middle of what it covers.
		var mid geom.Vec2
		total := 0.0
		for _, t := range f.region {
			a := math.Abs(t.Area())
			mid = mid.Add(t[0].Add(t[1]).Add(t[2]).Scale(a / 3))
			total += a
		}
		mid = mid.Scale(1 / total)
		for j, t := range f.region {
			f.region[j] = t.Map(func(p geom.Vec2) geom.Vec2 { return p.Sub(mid) })
			if f.region[j].Area() < 0 {
				f.region[j] = f.region[j].Reversed()
			}
		}
		f.origin.X, f.origin.Y = mid.X, -mid.Y
		if size := f.region.Bounds().Size(); max(size.X, size.Y) < tiny {
			f.point = true
		}
	}
	slices.SortStableFunc(out, func(a, b footprint) int {
		switch {
		case a.origin.X < b.origin.X-1e-6:
			return -1
		case a.origin.X > b.origin.X+1e-6:
			return 1
		case a.origin.Y < b.origin.Y-1e-6:
			return -1
		case a.origin.Y > b.origin.Y+1e-6:
			return 1
		}
		return 0
	})
	return out
}
