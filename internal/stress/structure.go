package stress

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"groundwork/internal/elastic"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/seam"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// Structure is a piece made ready to be put under loads. It may be used by
// several goroutines.
type Structure struct {
	in       Inputs
	rough    bool
	cell     float64
	linkStep float64
	creep    func(shop.Filament) float64
	memory   int64
	beside   int   // cases that memory allows to be solved side by side
	bodyOf   []int // by member
	bodies   []*body
	links    []elastic.Link
	films    []filmLinks
	screws   []spread
	dowels   []spread
	feet     []foot
	left     []string // what could not be linked
	system   *elastic.System
	lasting  *elastic.System    // under loads that stand for months; nil if nothing creeps
	rest     [2]*elastic.Result // standing under its own weight: system and lasting; where cases begin
	preload  [2][]float64       // likewise, by screw: what it pulls with then, N
	clear    [][]bool           // by body, by cell: not near a link
}

// chord is how far, in mm, facets may stray from the true surfaces. It is that
// of the seam stage, so that the kernel makes each mesh once.
const chord = 0.05

// Assemble makes the structure of a piece. No cut is made part of it: bores are
// smaller than cells, or not much larger; reliefs and pads are as thick as
// veneer, and links that meet on a pad reach over it. The error wraps
// an *elastic.Mechanism, which names bodies, if something touches nothing or
// does not stand under its own weight.
func Assemble(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*Structure, error) {
	s, err := assemble(ctx, k, in, o)
	if err != nil {
		return nil, fmt.Errorf("stress: %w", err)
	}
	return s, nil
}

func assemble(ctx context.Context, k *solid.Kernel, in Inputs, o Options) (*Structure, error) {
	if len(in.Bodies) == 0 {
		return nil, errors.New("no body is given")
	}
	if in.Joints == nil {
		in.Joints = &joint.Result{}
	}
	s := &Structure{in: in, rough: o.Rough, cell: o.Cell, creep: o.Creep, bodyOf: make([]int, len(in.Cores))}
	for i := range s.bodyOf {
		s.bodyOf[i] = -1
	}
	for i, b := range in.Bodies {
		for _, m := range b.Members {
			s.bodyOf[m] = i
		}
	}
	for m, b := range s.bodyOf {
		if b < 0 {
			return nil, fmt.Errorf("member %s belongs to no body", in.Cores[m].ID)
		}
	}
	if s.cell <= 0 {
		s.cell = defaultCell(in.Cores, o.Rough)
	}
	s.linkStep = s.cell // farther apart, links dent the bodies, the more the smaller the cells
	if s.rough {
		s.linkStep = 80
	}
	if err := s.makeBodies(ctx, k); err != nil {
		return nil, err
	}
	s.join()
	s.held()
	s.stand()

	most := o.MaxMemory
	if most == 0 {
		most = 1 << 30
	}
	model := elastic.Model{Links: s.links}
	for _, b := range s.bodies {
		model.Bodies = append(model.Bodies, s.elasticBody(b, b.plastic))
	}
	s.memory = model.Memory()
	left, alike := s.creeping()
	if !alike {
		s.memory *= 2
	}
	if s.memory > most {
		return nil, fmt.Errorf("%w: %d MiB are needed, %d MiB allowed", elastic.ErrTooLarge, s.memory>>20, most>>20)
	}
	options := elastic.Options{Tolerance: 1e-5} // forces are then in balance within 1 %, as a rule within 0.1 %
	if s.rough {
		options.Tolerance = 1e-2
	}
	var err error
	if s.system, err = elastic.Assemble(ctx, model, options); err != nil {
		return nil, err
	}
	switch {
	case !alike:
		lasting, err := s.crept(model)
		if err != nil {
			return nil, err
		}
		if s.lasting, err = elastic.Assemble(ctx, lasting, options); err != nil {
			return nil, err
		}
	case left < 1:
		s.lasting = s.system.Softened(left)
	}
	s.beside = 1
	if space := s.system.Space(); space > 0 {
		s.beside += int((most - s.memory) / space)
	}
	if !s.rough {
		if err := s.tension(ctx); err != nil {
			return nil, err
		}
	}
	s.markClear()
	return s, nil
}

// defaultCell is 0.65 of the thickness of the thinnest board, so that its core
// fill is two cells thick, and no more than a quarter of the breadth of one with
// curved edges, which planes do not follow; of turnings a ninth of the diameter,
// of solids an eighth of the least breadth. Rough structures are some three times
// coarser.
func defaultCell(cores []piece.Member, rough bool) float64 {
	least := math.Inf(1)
	for _, m := range cores {
		switch {
		case m.Board != nil:
			least = min(least, 0.65*m.Board.Thickness)
			if b, curved := breadth(m.Board.Outline.Path); curved {
				least = min(least, b/4.5)
			}
		case m.Turning != nil:
			b := m.Turning.Profile.Bounds()
			least = min(least, b.Max.X/4.6)
		case m.Solid != nil:
			box := geom.EmptyBox3()
			for _, v := range m.Solid.Shape.Vertices {
				box = box.Add(v)
			}
			size := box.Size()
			least = min(least, min(size.X, size.Y, size.Z)/8)
		}
	}
	if rough {
		return min(40, max(16, 3.4*least))
	}
	return min(12, max(4, least))
}

// breadth is the mean breadth of an outline, twice its area over its length,
// which is the breadth of a ring or a long bar; and whether any of it is curved.
func breadth(p geom.Path) (mm float64, curved bool) {
	for _, s := range p.Segs {
		curved = curved || s.Kind != geom.Line
	}
	return 2 * math.Abs(p.Area()) / p.Length(), curved
}

// makeBodies makes a lattice of every body.
func (s *Structure) makeBodies(ctx context.Context, k *solid.Kernel) error {
	var shapes []solid.Shape
	var of []int
	for i, sb := range s.in.Bodies {
		parts, err := seam.Parts(s.in.Cores, sb, nil, chord)
		if err != nil {
			return fmt.Errorf("body %s: %w", sb.ID, err)
		}
		for _, p := range parts {
			shapes, of = append(shapes, p), append(of, i)
		}
	}
	meshes, err := k.Meshes(ctx, shapes)
	if err != nil {
		return fmt.Errorf("meshes of the bodies: %w", err)
	}
	for i, sb := range s.in.Bodies {
		first := s.in.Cores[sb.Members[0]]
		b := &body{id: sb.ID, frame: first.Place, bounds: geom.EmptyBox3(), cell: s.cell}
		if b.plastic, err = newPlastic(s.in.Filament(i), s.in.Profile(i), 1); err != nil {
			return fmt.Errorf("body %s: %w", sb.ID, err)
		}
		for j, m := range meshes {
			if of[j] == i {
				b.meshes = append(b.meshes, localMesh(m, b.frame))
			}
		}
		for _, m := range b.meshes {
			for _, v := range m.vertices {
				b.bounds = b.bounds.Add(v)
			}
		}
		s.lay(b, i)
		thin := -1
		if first.Board != nil && len(sb.Members) == 1 {
			thin = 2
		}
		b.lattice.Planes = b.planes(s.cell, s.rough, thin)
		b.carve()
		if b.volume() == 0 {
			return fmt.Errorf("body %s: %w", sb.ID, elastic.ErrEmpty)
		}
		if err := s.reinforce(b, i); err != nil {
			return fmt.Errorf("body %s: %w", sb.ID, err)
		}
		s.bodies = append(s.bodies, b)
	}
	return nil
}

// lay gives a body its parts. One that is not posed yet lies on its largest
// face: a board's face, a turning's end, a solid's largest flat.
func (s *Structure) lay(b *body, index int) {
	for _, l := range s.in.Laid {
		if l.Body != index {
			continue
		}
		up := l.Up.Unit()
		at := slices.IndexFunc(b.parts, func(p part) bool { return math.Abs(p.print.Z.Dot(up)) > 1-1e-6 })
		if at < 0 {
			const most = 255/(steps+1) - 2 // that a byte can tell apart, and rods beside them
			if len(b.parts) == most {
				s.left = append(s.left, fmt.Sprintf("%s: the pose of %s", b.id, l.Segment))
				continue
			}
			at = len(b.parts)
			b.parts = append(b.parts, part{up: b.frame.LocalDir(up), print: geom.FrameFromZ(geom.Vec3{}, up)})
		}
		var planes []geom.Plane
		for _, pl := range l.Planes {
			planes = append(planes, pl.Local(b.frame))
		}
		b.parts[at].regions = append(b.parts[at].regions, planes)
	}
	if len(b.parts) == 0 {
		b.parts = []part{{up: geom.V3(0, 0, 1), print: geom.FrameFromZ(geom.Vec3{}, b.frame.Z)}}
	}
}

// elasticBody is a body for the solver, of a plastic that may have crept.
func (s *Structure) elasticBody(b *body, pl *plastic) elastic.Body {
	out := elastic.Body{Name: b.id, Frame: b.frame, Lattice: b.lattice}
	scale := 1.0
	for i, sb := range s.bodies {
		if sb == b && s.in.Weight != nil {
			if w, m := s.in.Weight(i), b.mass(); w > 0 && m > 0 {
				scale = w / m
			}
		}
	}
	for _, p := range b.parts {
		frame := geom.FrameFromZ(geom.Vec3{}, p.up)
		for step := range steps + 1 {
			out.Materials = append(out.Materials, elastic.Material{
				Name: b.id, Stiffness: pl.mixed[step].Turned(frame), Density: b.density(step) * scale,
			})
		}
	}
	for _, st := range b.steel {
		out.Materials = append(out.Materials, elastic.Material{
			Name: b.id + " with a rod", Stiffness: b.stiffness(pl, st), Density: b.density(int(st.base)%(steps+1)) * scale,
		})
	}
	return out
}

// remaining is what creep leaves of a body's modulus.
func (s *Structure) remaining(body int) float64 {
	if s.creep == nil {
		return 1
	}
	if f := s.creep(s.in.Filament(body)); f > 0 && f <= 1 {
		return f
	}
	return 1
}

// relaxed is what creep leaves of the tension of a screw that presses a body.
// A screw holds a length, so its tension falls as the modulus of what it presses.
func (s *Structure) relaxed(body int) float64 { return s.remaining(body) }

// creeping is what creep leaves of every modulus, if it leaves of all alike.
func (s *Structure) creeping() (left float64, alike bool) {
	left = s.remaining(0)
	for i, b := range s.bodies {
		if f := s.remaining(i); f != left || f < 1 && len(b.steel) > 0 {
			return 0, false
		}
	}
	return left, true
}

// crept is the model as it yields over months. Links between plastics, and the
// glue, creep as the softer body does.
func (s *Structure) crept(m elastic.Model) (elastic.Model, error) {
	out := elastic.Model{Links: slices.Clone(m.Links)}
	for i, b := range s.bodies {
		f := s.remaining(i)
		pl := b.plastic
		if f < 1 {
			var err error
			if pl, err = newPlastic(s.in.Filament(i), s.in.Profile(i), f); err != nil {
				return out, err
			}
		}
		out.Bodies = append(out.Bodies, s.elasticBody(b, pl))
	}
	for i := range out.Links {
		l := &out.Links[i]
		f := s.remaining(l.A)
		if l.B != elastic.Ground {
			f = min(f, s.remaining(l.B))
		}
		l.Along, l.Across = l.Along*f, l.Across*f
	}
	return out, nil
}

// tension does the screws up: what a screw's links pull with at no stretch is
// corrected until the screw, with the piece standing under its own weight, pulls
// with what it is to have. It also tells whether the piece stands at all.
func (s *Structure) tension(ctx context.Context) error {
	var errs [2]error
	var wg sync.WaitGroup
	for which, sys := range [2]*elastic.System{s.system, s.lasting} {
		if sys != nil {
			wg.Go(func() { s.rest[which], s.preload[which], errs[which] = s.doneUp(ctx, sys) })
		}
	}
	wg.Wait()
	return cmp.Or(errs[0], errs[1])
}

// doneUp is how a system stands with its screws done up, and what they pull with.
func (s *Structure) doneUp(ctx context.Context, sys *elastic.System) (rest *elastic.Result, pull []float64, err error) {
	at := make([]float64, len(s.screws)) // of the links, at no stretch
	for i, sc := range s.screws {
		at[i] = sc.preload
	}
	const tries, near = 4, 0.02
	for try := range tries {
		rest, err = sys.SolveFrom(ctx, elastic.Case{Name: "own weight", Gravity: geom.V3(0, 0, -Gravity)}, rest)
		if err != nil {
			return nil, nil, err
		}
		off := 0.0
		pull = make([]float64, len(s.screws))
		for i, sc := range s.screws {
			for _, l := range sc.links {
				pull[i] += rest.Link(l).Tension
			}
			off = max(off, math.Abs(pull[i]/sc.preload-1))
		}
		if off < near || try == tries-1 {
			break
		}
		for i, sc := range s.screws {
			// What is lost to yielding is in proportion to what the links hold.
			ratio := min(1, max(0.05, pull[i]/at[i]))
			at[i] += (sc.preload - pull[i]) / ratio
			for _, l := range sc.links {
				sys.Preload(l, at[i]/float64(len(sc.links)))
			}
		}
	}
	return rest, pull, nil
}

// markClear finds the cells that lie a cell or more from every link.
func (s *Structure) markClear() {
	s.clear = make([][]bool, len(s.bodies))
	for i, b := range s.bodies {
		s.clear[i] = make([]bool, len(b.lattice.Fill))
		for c := range s.clear[i] {
			s.clear[i][c] = true
		}
	}
	for _, l := range s.links {
		s.bodies[l.A].shadow(s.clear[l.A], l.At)
		if l.B != elastic.Ground {
			s.bodies[l.B].shadow(s.clear[l.B], l.At.Add(l.Axis.Scale(l.Reach)))
		}
	}
}

// shadow marks the cells that come within a cell's size of a point as not clear.
func (b *body) shadow(clear []bool, world geom.Vec3) {
	p := b.frame.Local(world)
	n := b.lattice.Size()
	var lo, hi [3]int
	for a := range 3 {
		pl := b.lattice.Planes[a]
		x := component(p, a)
		i, _ := slices.BinarySearch(pl, x-b.cell)
		j, _ := slices.BinarySearch(pl, x+b.cell)
		lo[a], hi[a] = max(0, i-1), min(n[a], j)
	}
	for k := lo[2]; k < hi[2]; k++ {
		for j := lo[1]; j < hi[1]; j++ {
			for i := lo[0]; i < hi[0]; i++ {
				clear[i+n[0]*(j+n[1]*k)] = false
			}
		}
	}
}

// Cells is how many cells are filled.
func (s *Structure) Cells() int {
	n := 0
	for _, b := range s.bodies {
		for _, f := range b.lattice.Fill {
			if f >= elastic.MinFill {
				n++
			}
		}
	}
	return n
}

// Cell is the size of bricks along boards, mm.
func (s *Structure) Cell() float64 { return s.cell }

// Memory is an estimate of the bytes that the structure takes, with one case
// after another.
func (s *Structure) Memory() int64 { return s.memory }

// LeftOut names what could not be made part of the structure: screws and dowels
// whose ends lie on no cell of their bodies.
func (s *Structure) LeftOut() []string { return slices.Clone(s.left) }

// Solve puts the structure under a case. The error wraps an *elastic.Mechanism
// if the piece tips or comes apart, and elastic.ErrNoConvergence if what bears
// and what lifts could not be told.
func (s *Structure) Solve(ctx context.Context, c Case) (*State, error) {
	st, err := s.solve(ctx, c)
	if err != nil {
		return nil, fmt.Errorf("stress: case %s: %w", c.ID, err)
	}
	return st, nil
}

// SolveAll puts the structure under every case, as many side by side as there are
// processors and memory allows. Of each there is a state or an error, as of Solve;
// none of it depends on how many are solved at a time.
func (s *Structure) SolveAll(ctx context.Context, cases []Case) ([]*State, []error) {
	return s.SolveAllTelling(ctx, cases, nil)
}

// SolveAllTelling is SolveAll that calls solved, if it is not nil, whenever a
// case has been solved or given up, from several goroutines.
func (s *Structure) SolveAllTelling(ctx context.Context, cases []Case, solved func()) ([]*State, []error) {
	out, errs := make([]*State, len(cases)), make([]error, len(cases))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(len(cases), s.beside, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(cases) {
					return
				}
				out[i], errs[i] = s.Solve(ctx, cases[i])
				if solved != nil {
					solved()
				}
			}
		})
	}
	wg.Wait()
	return out, errs
}

func (s *Structure) solve(ctx context.Context, c Case) (*State, error) {
	ec := elastic.Case{Name: c.ID, Gravity: geom.V3(0, 0, -Gravity)}
	for i, l := range c.Loads {
		if l.Member < 0 || l.Member >= len(s.bodyOf) {
			return nil, fmt.Errorf("load %d is on no member", i+1)
		}
		b := s.bodyOf[l.Member]
		var at []spot
		total := 0.0
		for _, p := range patches(l.Region, s.cell/2) {
			q := l.Frame.Point(geom.V3(p.at.X, p.at.Y, 0))
			if _, _, ok := s.bodies[b].find(q, s.reach()); ok {
				at, total = append(at, p), total+p.area
			}
		}
		if total == 0 {
			return nil, fmt.Errorf("load %d does not lie on member %s", i+1, s.in.Cores[l.Member].ID)
		}
		for _, p := range at {
			q := l.Frame.Point(geom.V3(p.at.X, p.at.Y, 0))
			ec.Points = append(ec.Points, elastic.PointLoad{Body: b, At: s.grip(b, q), Force: l.Force.Scale(p.area / total)})
		}
	}
	sys, which := s.system, 0
	if c.Sustained && s.lasting != nil {
		sys, which = s.lasting, 1
	}
	from := s.rest[which]
	r, err := sys.SolveFrom(ctx, ec, from)
	if errors.Is(err, elastic.ErrNoConvergence) && from != nil {
		r, err = sys.Solve(ctx, ec) // another beginning may do
	}
	if err != nil {
		return nil, err
	}
	return &State{s: s, r: r, c: c, loads: ec.Points, preload: s.preload[which]}, nil
}
