package nest

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
)

// Verify judges a layout by integer arithmetic in micrometres and returns
// what is wrong with it; nothing means that the layout can be cut. It shares
// no collision test with Pack. Codes:
//
//	overlap      two items share area: crossing edges, one within the other,
//	             the same place twice, or edges that run together
//	gap          two items closer than gap, mm
//	outside      an item beyond the bin less its margin
//	reserved     an item within a reserved area, or closer to it than gap
//	turn         a rotation that the item does not allow, nor its band round one
//	set          items of one set that are not together on one bin at one turn,
//	             or of which At less Offset, turned and rounded to whole
//	             micrometres, is not one and the same point
//	pin          a pinned copy that is not where it is pinned
//	kind         an item on a bin of another kind
//	count        a copy placed twice, or neither placed nor listed as unplaced,
//	             or one that was not asked for; more bins than there are
//	unknown      an item, bin or bin index that does not exist
//	off-grid     a translation that is not a whole number of micrometres, or none at all
//	bad-shape    an outline without area, or crossing itself
//
// Items that touch exactly at the gap pass, and so does an item in a hole of
// another. Items of one set are judged against each other as they lie in the
// set before it is turned: once it is, rounding may bring them closer.
// Outlines are turned, rounded to micrometres and rid of spikes as
// the package comment says; the error of that is at most 0.71 µm a vertex.
func Verify(items []Item, bins []Bin, l *Layout, gap float64) []finding.Finding {
	v := verifier{gap: int64(math.Round(gap * micron))}
	if err := checkRequest(items, bins, gap); err != nil {
		return []finding.Finding{{Severity: finding.Stop, Stage: "nest", Code: "unknown", Subject: "request", Message: err.Error()}}
	}
	itemOf, binOf := map[string]int{}, map[string]int{}
	for i, it := range items {
		itemOf[it.ID] = i
	}
	for i, b := range bins {
		binOf[b.ID] = i
	}

	type copyKey struct {
		id string
		n  int
	}
	opened := map[copyKey]bool{}
	for _, u := range l.Bins {
		i, ok := binOf[u.ID]
		if !ok {
			v.add("unknown", u.ID, "there is no bin %q", u.ID)
			continue
		}
		if u.Copy < 0 || bins[i].Quantity != Unlimited && u.Copy >= max(bins[i].Quantity, 1) {
			v.add("count", u.ID, "bin %q has no copy %d", u.ID, u.Copy)
		}
		if opened[copyKey{u.ID, u.Copy}] {
			v.add("count", u.ID, "copy %d of bin %q is opened twice", u.Copy, u.ID)
		}
		opened[copyKey{u.ID, u.Copy}] = true
	}

	laid := map[copyKey]bool{}
	sets := map[copyKey][]member{}
	var met []copyKey // of sets, in order
	seen := make([]int, len(items))
	on := make([][]body, len(l.Bins))
	for _, p := range l.Placements {
		name := fmt.Sprintf("%s/%d", p.Item, p.Copy)
		i, ok := itemOf[p.Item]
		if !ok || p.Bin < 0 || p.Bin >= len(l.Bins) {
			v.add("unknown", name, "placed item %q on bin number %d: no such thing", p.Item, p.Bin)
			continue
		}
		it := items[i]
		if laid[copyKey{p.Item, p.Copy}] || p.Copy < 0 || p.Copy >= max(it.Quantity, 1) {
			v.add("count", name, "copy %d of %d is placed again, or was not asked for", p.Copy, max(it.Quantity, 1))
		}
		laid[copyKey{p.Item, p.Copy}] = true
		seen[i]++
		if !it.allowed(p.Turn) {
			v.add("turn", name, "turned by %g rad, which is not allowed", p.Turn)
		}
		if !(max(math.Abs(p.At.X), math.Abs(p.At.Y))*micron <= maxSpan) {
			v.add("off-grid", name, "placed at (%v, %v), beyond any bin", p.At.X, p.At.Y)
			continue
		}
		at := point{int64(math.Round(p.At.X * micron)), int64(math.Round(p.At.Y * micron))}
		if math.Abs(p.At.X*micron-float64(at.x)) > 1e-3 || math.Abs(p.At.Y*micron-float64(at.y)) > 1e-3 {
			v.add("off-grid", name, "placed at (%v, %v), not whole micrometres", p.At.X, p.At.Y)
			continue
		}
		if p.Copy >= 0 && p.Copy < len(it.Pins) {
			pin := it.Pins[p.Copy]
			if u := l.Bins[p.Bin]; u.ID != pin.Bin || u.Copy != pin.Copy || p.Turn != pin.Turn || at != pin.at() {
				v.add("pin", name, "lies at (%.3f, %.3f) mm on %s/%d, turned by %g rad, and is pinned at (%.3f, %.3f) mm on %s/%d, turned by %g rad",
					p.At.X, p.At.Y, u.ID, u.Copy, p.Turn, pin.At.X, pin.At.Y, pin.Bin, pin.Copy, pin.Turn)
			}
		}
		if it.Set != "" {
			k := copyKey{it.Set, p.Copy}
			if sets[k] == nil {
				met = append(met, k)
			}
			sets[k] = append(sets[k], member{name, p.Bin, p.Turn, at.sub(it.shift(p.Turn))})
		}
		b, err := newBody(name, it.Shape, p.Turn, at)
		if err != nil {
			v.add("bad-shape", name, "%v", err)
			continue
		}
		b.set, b.copy = it.Set, p.Copy
		j, ok := binOf[l.Bins[p.Bin].ID]
		if !ok {
			continue
		}
		if bins[j].Kind != it.Kind {
			v.add("kind", name, "an item of kind %q lies on a bin of kind %q", it.Kind, bins[j].Kind)
		}
		on[p.Bin] = append(on[p.Bin], b)
		v.within(b, bins[j])
	}
	for _, u := range l.Unplaced {
		if i, ok := itemOf[u.Item]; ok {
			seen[i] += u.Count
		} else {
			v.add("unknown", u.Item, "there is no item %q", u.Item)
		}
	}
	for i, it := range items {
		for k := range it.Pins {
			if !laid[copyKey{it.ID, k}] {
				v.add("pin", fmt.Sprintf("%s/%d", it.ID, k), "is pinned, and not placed")
			}
		}
		if want := max(it.Quantity, 1); seen[i] != want {
			v.add("count", it.ID, "%d copies asked for, %d placed or listed as unplaced", want, seen[i])
		}
	}

	members := map[string]int{}
	for _, it := range items {
		members[it.Set]++
	}
	torn := map[copyKey]bool{}
	for _, k := range met {
		ms := sets[k]
		for _, m := range ms[1:] {
			if a := ms[0]; m.bin != a.bin || m.turn != a.turn || m.origin != a.origin {
				torn[k] = true
				v.add("set", m.name, "does not lie to %s as set %q says", a.name, k.id)
			}
		}
		if len(ms) < members[k.id] {
			v.add("set", ms[0].name, "only %d of %d items of set %q are placed", len(ms), members[k.id], k.id)
		}
	}

	for k, bodies := range on {
		slices.SortStableFunc(bodies, func(a, b body) int { return cmp.Compare(a.lo.x, b.lo.x) })
		for i := range bodies {
			for j := i + 1; j < len(bodies) && bodies[j].lo.x-bodies[i].hi.x < max(v.gap, 1); j++ {
				if a, b := bodies[i], bodies[j]; a.set == "" || a.set != b.set || a.copy != b.copy || a.name == b.name || torn[copyKey{a.set, a.copy}] {
					v.apart(a, b, "overlap", "gap")
				}
			}
		}
		j, ok := binOf[l.Bins[k].ID]
		if !ok {
			continue
		}
		areas := v.areas(bins[j])
		for _, b := range bodies {
			v.reserved(b, areas)
		}
	}
	return finding.Sorted(v.found)
}

// body is a placed outline.
type body struct {
	name   string
	loops  outline
	lo, hi point
	set    string
	copy   int
}

// member is an item of a set as placed; origin is where the set's then lies.
type member struct {
	name   string
	bin    int
	turn   float64
	origin point
}

func newBody(name string, shape geom.Polygons, turn float64, at point) (body, error) {
	o, err := outlineOf(shape, turn)
	if err != nil {
		return body{}, err
	}
	for _, loop := range o {
		for i := range loop {
			loop[i] = loop[i].add(at)
		}
	}
	b := body{name: name, loops: o}
	b.lo, b.hi = o.bounds()
	return b, nil
}

type verifier struct {
	gap   int64 // µm
	found []finding.Finding
}

func (v *verifier) add(code, subject, format string, a ...any) {
	v.found = append(v.found, finding.Finding{Severity: finding.Stop, Stage: "nest", Code: code, Subject: subject, Message: fmt.Sprintf(format, a...)})
}

// within checks a body against the edges of its bin.
func (v *verifier) within(b body, bin Bin) {
	m := int64(math.Ceil(bin.Margin*micron - 1e-6))
	right, top := int64(math.Floor(bin.Size.X*micron+1e-6))-m, int64(math.Floor(bin.Size.Y*micron+1e-6))-m
	if b.lo.x < m || b.lo.y < m || b.hi.x > right || b.hi.y > top {
		v.add("outside", b.name, "reaches (%.3f, %.3f) to (%.3f, %.3f) mm; allowed is (%.3f, %.3f) to (%.3f, %.3f) mm",
			float64(b.lo.x)/micron, float64(b.lo.y)/micron, float64(b.hi.x)/micron, float64(b.hi.y)/micron,
			float64(m)/micron, float64(m)/micron, float64(right)/micron, float64(top)/micron)
	}
}

// areas are the reserved areas of a bin.
func (v *verifier) areas(bin Bin) []body {
	var out []body
	for n, r := range bin.Reserved {
		area, err := newBody(fmt.Sprintf("reserved area %d", n+1), r, 0, point{})
		switch {
		case err == errNoArea:
		case err != nil:
			v.add("bad-shape", bin.ID, "reserved area %d: %v", n+1, err)
		default:
			out = append(out, area)
		}
	}
	return out
}

// reserved checks a body against the reserved areas of its bin.
func (v *verifier) reserved(b body, areas []body) {
	for _, area := range areas {
		v.apart(b, area, "reserved", "reserved")
	}
}

// apart checks two bodies against each other.
func (v *verifier) apart(a, b body, overlap, gap string) {
	g := v.gap
	if max(a.lo.x-b.hi.x, b.lo.x-a.hi.x, a.lo.y-b.hi.y, b.lo.y-a.hi.y) >= g {
		return // boxes that only touch share no area
	}
	if shareArea(a.loops, b.loops) {
		v.add(overlap, a.name, "shares area with %s", b.name)
		return
	}
	if g > 0 && closer(a.loops, b.loops, g) {
		v.add(gap, a.name, "closer than %.3f mm to %s", float64(g)/micron, b.name)
	}
}

// shareArea reports whether two regions have interior points in common.
//
// If two edges cross properly they do. If none do, edges meet only where a
// vertex of one lies on the other. Cut every edge at such vertices: each piece
// then lies, except for its ends, inside the other region, outside it, or
// along one of its edges. The regions share area exactly if some piece of one
// lies inside the other, or runs along an edge of the other in the same
// direction, since material lies to the left of both.
func shareArea(a, b outline) bool {
	lo, hi := b.bounds()
	for _, la := range a {
		for i, p := range la {
			q := la[(i+1)%len(la)]
			if beside(p, q, lo, hi) {
				continue
			}
			for _, lb := range b {
				for j, r := range lb {
					s := lb[(j+1)%len(lb)]
					if max(p.x, q.x) <= min(r.x, s.x) || max(r.x, s.x) <= min(p.x, q.x) ||
						max(p.y, q.y) <= min(r.y, s.y) || max(r.y, s.y) <= min(p.y, q.y) {
						continue // a proper crossing is inside both boxes
					}
					if turnOf(p, q, r)*turnOf(p, q, s) < 0 && turnOf(r, s, p)*turnOf(r, s, q) < 0 {
						return true
					}
				}
			}
		}
	}
	return enters(a, b) || enters(b, a)
}

// enters reports whether a piece of a's boundary lies inside b, or along b's
// boundary in the same direction. No edges may cross properly.
func enters(a, b outline) bool {
	var cuts []point
	lo, hi := b.bounds()
	for _, la := range a {
		for i, p := range la {
			q := la[(i+1)%len(la)]
			if beside(p, q, lo, hi) {
				continue // no point of it is in b or on its boundary
			}
			d := q.sub(p)
			cuts = append(cuts[:0], p, q)
			for _, lb := range b {
				for _, r := range lb {
					if between(p, q, r) && turnOf(p, q, r) == 0 {
						cuts = append(cuts, r)
					}
				}
			}
			slices.SortFunc(cuts, func(u, w point) int { // along the edge
				if d.x != 0 {
					return cmp.Compare(u.x, w.x) * sign(d.x)
				}
				return cmp.Compare(u.y, w.y) * sign(d.y)
			})
			for k := 0; k+1 < len(cuts); k++ {
				if cuts[k] == cuts[k+1] {
					continue
				}
				m := cuts[k].add(cuts[k+1]) // twice the midpoint
				in := false
				along, against := false, false
				for _, lb := range b {
					for j, r := range lb {
						s := lb[(j+1)%len(lb)]
						r, s := point{2 * r.x, 2 * r.y}, point{2 * s.x, 2 * s.y}
						if between(r, s, m) && turnOf(r, s, m) == 0 {
							if e := s.sub(r); sign(e.x)*sign(d.x) > 0 || sign(e.x)*sign(d.x) == 0 && sign(e.y)*sign(d.y) > 0 {
								along = true
							} else {
								against = true
							}
						}
						if (r.y > m.y) != (s.y > m.y) && (turnOf(r, s, m) > 0) == (s.y > r.y) {
							in = !in
						}
					}
				}
				if along || in && !against {
					return true
				}
			}
		}
	}
	return false
}

// beside reports whether the segment pq lies beyond a side of a box, without
// touching it.
func beside(p, q, lo, hi point) bool {
	return max(p.x, q.x) < lo.x || min(p.x, q.x) > hi.x || max(p.y, q.y) < lo.y || min(p.y, q.y) > hi.y
}

func sign(a int64) int { return cmp.Compare(a, 0) }

// between reports whether r, on the line through p and q, lies from p to q.
func between(p, q, r point) bool {
	return min(p.x, q.x) <= r.x && r.x <= max(p.x, q.x) && min(p.y, q.y) <= r.y && r.y <= max(p.y, q.y)
}

// closer reports whether the boundaries of two regions that share no area
// come closer than g > 0. The least distance of edges that do not cross is
// taken at an end of one of them.
func closer(a, b outline, g int64) bool {
	return anyNear(a, b, g) || anyNear(b, a, g)
}

func anyNear(a, b outline, g int64) bool {
	lo, hi := a.bounds()
	for _, lb := range b {
		for _, p := range lb {
			if p.x <= lo.x-g || p.x >= hi.x+g || p.y <= lo.y-g || p.y >= hi.y+g {
				continue
			}
			for _, la := range a {
				for i, r := range la {
					if near(p, r, la[(i+1)%len(la)], g) {
						return true
					}
				}
			}
		}
	}
	return false
}

// near reports whether p is less than g from the segment rs, exactly:
// squares are compared in 128 bits.
func near(p, r, s point, g int64) bool {
	if p.x <= min(r.x, s.x)-g || p.x >= max(r.x, s.x)+g || p.y <= min(r.y, s.y)-g || p.y >= max(r.y, s.y)+g {
		return false
	}
	d, e := s.sub(r), p.sub(r)
	along := d.x*e.x + d.y*e.y
	length2 := d.x*d.x + d.y*d.y
	switch {
	case along <= 0:
		return e.x*e.x+e.y*e.y < g*g
	case along >= length2:
		e = p.sub(s)
		return e.x*e.x+e.y*e.y < g*g
	}
	c := d.cross(e)
	if c < 0 {
		c = -c
	}
	h1, l1 := bits.Mul64(uint64(c), uint64(c))
	h2, l2 := bits.Mul64(uint64(g*g), uint64(length2))
	return h1 < h2 || h1 == h2 && l1 < l2
}
