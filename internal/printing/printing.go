// Package printing works out how segments are printed: in which pose, on
// which load, with how much filament and in how much time.
//
// Plan chooses a pose for every segment (pose.go, fit.go), lays its layers
// bead by bead in outline (slice.go, bead.go, estimate.go), and packs the
// prints on the printers' beds (load.go). It makes no machine paths: it
// reckons their lengths, corners and stops. docs/printing.md has the formulas,
// their sources, and what is left out.
package printing

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/parallel"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// Print is one segment as it lies in the printer.
type Print struct {
	Segment   string
	Printer   string        // "" when it fits none
	Filament  string        // ID
	Pose      geom.Frame    // world frame: Pose.Local carries the segment (world) to pose coordinates, where it lies on Z = 0, upright, its least corner at the origin, in core sizes
	Scale     geom.Vec3     // what pose coordinates are multiplied by, per machine axis, to make up for shrinkage: 1/(1-shrink)
	Footprint geom.Polygons // on the bed, pose coordinates times the greater of Scale.X and Scale.Y, so that it holds at any turn
	Size      geom.Vec3     // as sent to the printer, Scale included
	Volume    float64       // mm³ of the segment's solid
	Overhang  float64       // mm² that would need support
	Layers    int
	Grams     float64  // plastic in the part
	Metres    float64  // filament in the part
	Seconds   float64  // time on the machine by itself, without heat-up
	Repeats   string   // ID of a segment with the same shape whose figures were used, "" when worked out itself
	Why       []Reason // terms that chose the pose
	Across    *Across  // how it bears the pull across its layers, nil when no stress is known
	Support   Support  // what holds up its overhangs, not in Grams, Metres and Seconds; loads have it
	Mating    []int    // of Options.Mating's planes, those that lie on the bed
	Beads     Beads    // what the time and mass are made of
	Chamfer   float64  // mm to break on the edges of those faces, 0 if none

	laying []float64 // s for each layer, without the change of layer
}

// Beads is the length, mm, of what is laid: outermost contours, other contours
// with what fills narrow places, cover layers, core fill.
type Beads struct{ Outer, Inner, Cover, Fill float64 }

// Load is what one printer prints in one go.
type Load struct {
	ID        string // "load-01"
	Printer   string
	Filament  string
	Items     []Placed
	Grams     float64 // parts, waste included, as the printer's log has it
	Metres    float64 // filament, waste included
	Seconds   float64 // with heat-up, as the printer's log has it
	Low, High float64 // honest spread of Seconds
	Height    float64

	// Reckoned is what was worked out, before the log had its say: what really was
	// taken has to be held against this.
	Reckoned Reckoned
}

// Reckoned is the time and the filament of a load as worked out from its layers.
type Reckoned struct{ Seconds, Grams float64 }

// Placed is a print on a load.
type Placed struct {
	Print int       // index into Result.Prints
	At    geom.Vec2 // where the footprint's own origin lies on the bed
	Turn  float64   // radians about Z
}

// Result is what the stage hands on.
type Result struct {
	Prints   []Print // one per segment, in the segments' order
	Loads    []Load
	Findings []finding.Finding
	Basis    string // what the times rest on, for the reader of the figures: Basis or BasisLogged
}

// Basis is what times and masses rest on.
const Basis = "worked out from outlines, bead lengths, speeds, acceleration and melt rate; not yet compared with this printer's own log"

// BasisLogged is what they rest on where the log of a printer corrects them.
const BasisLogged = "worked out from outlines, bead lengths, speeds, acceleration and melt rate, then corrected by what this shop's own print loads took"

// Options steer Plan. The zero value works.
type Options struct {
	// Mating gives the planes, world, outward, of the faces on which a segment
	// meets another: seams and contacts. nil means none are known.
	Mating func(segment int) []geom.Plane

	// Along gives the direction, world, in which a segment is pulled most, which
	// layers should not lie across. nil, or the zero vector, means its long axis.
	Along func(segment int) geom.Vec3

	// Across gives the greatest tension, MPa, over all load cases across the layers
	// of a segment that is printed with the world direction up pointing up: it is
	// that of -up too. Where it is known, Along does not count. It is called by several
	// goroutines. nil means that no stress is known; a filament without strength or
	// Z factor is taken the same way.
	Across func(segment int, up geom.Vec3) float64

	// Down gives the direction, world, that must point to the bed when a segment is
	// printed, and whether there is one. nil leaves every pose to Plan.
	Down func(segment int) (down geom.Vec3, ok bool)

	// Bridge is the widest gap, mm, that is printed without supports; 0 means
	// 15 (common practice, no source; less than what well-cooled PLA spans, for
	// ABS gets little cooling).
	Bridge float64

	// Gap is the least distance, mm, between prints on a bed; 0 means 5.
	Gap float64

	// Pack is the budget of the packing, in nest's iterations; 0 means 12.
	Pack int

	// Lines is the budget of what follows it, in nest's lines; 0 means 40,000, a
	// negative number none. Spent, if not nil, takes the place of Lines: see
	// nest.Options.
	Lines int
	Spent func() float64
}

func (o Options) orDefault() Options {
	if o.Bridge == 0 {
		o.Bridge = 15
	}
	if o.Gap == 0 {
		o.Gap = 5
	}
	if o.Pack == 0 {
		o.Pack = 12
	}
	if o.Lines == 0 {
		o.Lines = 40_000
	}
	return o
}

// Plan poses every segment, estimates it and packs the loads. filament names,
// by ID, what each segment is printed with. A segment that no printer takes,
// or whose filament the shop lacks, gets a stop finding and is left off the
// loads; the error is for a shop or a mesh that nothing can be worked out of.
func Plan(ctx context.Context, k *solid.Kernel, segments []core.Segment, s *shop.Shop, filament func(segment int) string, o Options) (*Result, error) {
	o = o.orDefault()
	if len(s.Printers) == 0 {
		return nil, errors.New("printing: the shop has no printer")
	}
	for _, p := range s.Printers {
		if err := checkPrinter(p); err != nil {
			return nil, fmt.Errorf("printing: printer %q: %w", p.ID, err)
		}
	}
	r := &Result{Prints: make([]Print, len(segments)), Basis: Basis}
	st := stage{kernel: k, segments: segments, shop: s, options: o, jobs: make([]job, len(segments))}
	for i := range segments {
		st.jobs[i].filament, st.jobs[i].known = findFilament(s, filament(i))
	}
	if err := spread(ctx, len(segments), func(i int) error { return st.candidates(ctx, i) }); err != nil {
		return nil, err
	}
	st.assign()
	st.repeats()
	if err := spread(ctx, len(segments), func(i int) error { return st.estimate(ctx, i, &r.Prints[i]) }); err != nil {
		return nil, err
	}
	st.copyRepeats(r.Prints)
	for i := range segments {
		r.Findings = append(r.Findings, st.findings(i, filament(i), r.Prints[i])...)
	}
	var err error
	if r.Loads, err = st.loads(ctx, r.Prints); err != nil {
		return nil, err
	}
	for _, ld := range r.Loads {
		i := slices.IndexFunc(s.Printers, func(p shop.Printer) bool { return p.ID == ld.Printer })
		if l := s.Printers[i].Logged(ld.Filament); l.Time.Known() || l.Grams.Known() {
			r.Basis = BasisLogged
		}
	}
	r.Findings = finding.Sorted(r.Findings)
	return r, nil
}

func checkPrinter(p shop.Printer) error {
	u, f := Usable(p), p.Profile
	switch {
	case !(u.X > 0 && u.Y > 0 && u.Z > 0):
		return fmt.Errorf("no usable volume in %v with brim %g and top %g", p.Build, p.Brim, p.Top)
	case !(f.Layer > 0 && f.FirstLayer > 0):
		return fmt.Errorf("layer heights %g and %g mm", f.FirstLayer, f.Layer)
	case !(f.Line >= max(f.Layer, f.FirstLayer)):
		return fmt.Errorf("a bead %g mm wide is narrower than its height", f.Line)
	case !(min(f.OuterSpeed, f.InnerSpeed, f.FillSpeed, f.CoverSpeed, f.FirstSpeed, f.TravelSpeed) > 0):
		return errors.New("a speed is not positive")
	case !(f.Fill >= 0 && f.Fill <= 1):
		return fmt.Errorf("core fill %g is not a fraction", f.Fill)
	case f.Contours < 0 || f.CoverLayers < 0:
		return errors.New("a negative number of contours or cover layers")
	}
	return nil
}

func findFilament(s *shop.Shop, id string) (shop.Filament, bool) {
	i := slices.IndexFunc(s.Filaments, func(f shop.Filament) bool { return f.ID == id })
	if i < 0 {
		return shop.Filament{}, false
	}
	return s.Filaments[i], true
}

// stage is the work of one call of Plan.
type stage struct {
	kernel   *solid.Kernel
	segments []core.Segment
	shop     *shop.Shop
	options  Options
	jobs     []job
}

// job is one segment on its way through the stage.
type job struct {
	filament shop.Filament
	known    bool
	body     *body
	mating   []geom.Plane
	poses    []pose // by printer
	fits     []bool // by printer
	printer  int    // -1: none
	repeats  int    // index of an earlier segment, or -1
}

// spread does the tasks 0 to n-1 side by side and returns the first error by
// number, so that the outcome does not depend on timing.
func spread(ctx context.Context, n int, do func(i int) error) error {
	errs := make([]error, n)
	parallel.Each(n, 0, func(i int) {
		if ctx.Err() == nil {
			errs[i] = do(i)
		}
	})
	if err := ctx.Err(); err != nil {
		return err
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// scale makes up for shrinkage: a part drawn 1/(1-s) as large comes out right.
func scale(f shop.Filament) geom.Vec3 {
	return geom.V3(1/(1-f.Shrink.X), 1/(1-f.Shrink.Y), 1/(1-f.Shrink.Z))
}

// candidates finds the best pose on every printer.
func (st *stage) candidates(ctx context.Context, i int) error {
	j, seg := &st.jobs[i], st.segments[i]
	m := seg.Mesh
	if m == nil {
		var err error
		if m, err = st.kernel.Mesh(ctx, seg.Shape); err != nil {
			return fmt.Errorf("printing: segment %q: %w", seg.ID, err)
		}
	}
	if len(m.Triangles) == 0 || !(m.Volume > 0) {
		return fmt.Errorf("printing: segment %q has no volume", seg.ID)
	}
	j.body = newBody(m.Vertices, m.Triangles)
	if st.options.Mating != nil {
		j.mating = st.options.Mating(i)
	}
	var along geom.Vec3
	if st.options.Along != nil {
		along = st.options.Along(i)
	}
	for _, p := range st.shop.Printers {
		s := setting{
			machine: newMachine(p, j.filament), room: Usable(ForCores(p, j.filament)), filament: j.filament,
			along: along, mating: j.mating, bridge: st.options.Bridge, gap: st.options.Gap,
		}
		if st.options.Across != nil {
			s.across = func(up geom.Vec3) float64 { return st.options.Across(i, up) }
		}
		if st.options.Down != nil {
			if down, ok := st.options.Down(i); ok {
				s.down = &down
			}
		}
		pose, ok := j.body.choose(&s)
		if math.IsNaN(pose.total()) {
			return fmt.Errorf("printing: segment %q: the cost of a pose is not a number: %v", seg.ID, pose.why)
		}
		j.poses, j.fits = append(j.poses, pose), append(j.fits, ok)
	}
	return nil
}

// assign gives each segment to a printer: the largest first, each to the one
// that then has the least volume to print for each machine of its kind. A
// printer that needs no tilting comes before one that does, and one on which
// layers hold before one on which they do not.
func (st *stage) assign() {
	order := make([]int, len(st.jobs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch va, vb := st.jobs[a].body.volume, st.jobs[b].body.volume; {
		case va > vb:
			return -1
		case va < vb:
			return 1
		}
		return 0
	})
	held := make([]float64, len(st.shop.Printers))
	for _, i := range order {
		j := &st.jobs[i]
		j.printer = -1
		least := math.Inf(1)
		for p, printer := range st.shop.Printers {
			if !j.fits[p] || !j.known {
				continue
			}
			w := (held[p] + j.body.volume) / float64(max(1, printer.Count))
			if !j.poses[p].flat {
				w += 1e15
			}
			if a := j.poses[p].across; a != nil && a.Margin < enough {
				w += 1e17
			}
			if w < least {
				least, j.printer = w, p
			}
		}
		if j.printer >= 0 {
			held[j.printer] += j.body.volume
		}
	}
}

// repeats finds segments of the same shape, or of its mirror image, that lie
// the same way on the same printer: they take the same time and plastic.
func (st *stage) repeats() {
	signatures := make([][]float64, len(st.jobs))
	for i := range st.jobs {
		j := &st.jobs[i]
		j.repeats = -1
		if j.printer < 0 {
			continue
		}
		signatures[i] = append(j.body.signature(), j.poseSignature()...)
		for e := range i {
			o := &st.jobs[e]
			if o.printer == j.printer && o.repeats < 0 && o.filament.ID == j.filament.ID && sameShape(signatures[e], signatures[i]) {
				j.repeats = e
				break
			}
		}
	}
}

func (j *job) pose() pose { return j.poses[j.printer] }

func (j *job) poseSignature() []float64 {
	box := j.box()
	x, y := box.X, box.Y
	if j.filament.Shrink.X == j.filament.Shrink.Y { // a quarter turn makes no difference
		x, y = max(x, y), min(x, y)
	}
	return []float64{x, y, box.Z, math.Sqrt(math.Abs(j.pose().contact.Area())), math.Sqrt(j.pose().overhang)}
}

// box is the size in the chosen pose, core sizes.
func (j *job) box() geom.Vec3 {
	box := geom.EmptyBox3()
	for _, p := range j.body.points {
		box = box.Add(j.pose().frame.Local(p))
	}
	return box.Max
}

// estimate fills in a print.
func (st *stage) estimate(ctx context.Context, i int, p *Print) error {
	j, seg := &st.jobs[i], st.segments[i]
	*p = Print{Segment: seg.ID, Filament: j.filament.ID, Pose: geom.World(), Scale: scale(j.filament), Volume: j.body.volume}
	if j.printer < 0 {
		return nil
	}
	printer, pose := st.shop.Printers[j.printer], j.pose()
	p.Printer, p.Pose, p.Why, p.Overhang = printer.ID, pose.frame, pose.why, pose.overhang
	p.Across, p.Support = pose.across, pose.support
	if p.Mating = pose.mating; len(p.Mating) > 0 {
		p.Chamfer = st.shop.Fits.BedChamfer
	}
	size := j.box()
	p.Size = geom.V3(size.X*p.Scale.X, size.Y*p.Scale.Y, size.Z*p.Scale.Z)
	points := make([]geom.Vec3, len(j.body.points))
	for n, q := range j.body.points {
		l := pose.frame.Local(q)
		points[n] = geom.V3(l.X*p.Scale.X, l.Y*p.Scale.Y, l.Z*p.Scale.Z)
	}
	err := st.kernel.Regions(ctx, func(r *solid.Regions) error {
		p.Footprint = footprint(r, points, j.body.triangles, max(p.Scale.X, p.Scale.Y)/p.Scale.X, max(p.Scale.X, p.Scale.Y)/p.Scale.Y)
		if j.repeats >= 0 {
			return nil
		}
		in := func(region geom.Polygons, depth float64) geom.Polygons {
			return r.Offset(region, -depth, solid.Miter, 2, 0)
		}
		e := newEstimator(newMachine(printer, j.filament), points, j.body.triangles, in)
		p.figure(e, j.filament)
		return nil
	})
	if err != nil {
		return fmt.Errorf("printing: segment %q: %w", seg.ID, err)
	}
	return nil
}

// figure fills in what the layers add up to.
func (p *Print) figure(e *estimator, f shop.Filament) {
	layers := e.layers()
	p.Layers = len(layers)
	volume := 0.0
	for k, l := range layers {
		volume += l.length() * e.bead(k).area()
		p.Beads = Beads{p.Beads.Outer + l.outer, p.Beads.Inner + l.inner, p.Beads.Cover + l.cover, p.Beads.Fill + l.fill}
		p.laying = append(p.laying, l.seconds)
		p.Seconds += max(e.MinLayer, l.seconds) + e.LayerChange
	}
	p.Grams = volume * f.Density / 1000 // mm³ g/cm³
	if f.Diameter > 0 {
		p.Metres = volume / (math.Pi * f.Diameter * f.Diameter / 4) / 1000
	}
}

func (st *stage) copyRepeats(prints []Print) {
	for i := range prints {
		e := st.jobs[i].repeats
		if st.jobs[i].printer < 0 || e < 0 {
			continue
		}
		p, q := &prints[i], prints[e]
		p.Repeats = q.Segment
		p.Layers, p.Grams, p.Metres, p.Seconds, p.Beads, p.laying = q.Layers, q.Grams, q.Metres, q.Seconds, q.Beads, q.laying
	}
}
