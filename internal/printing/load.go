package printing

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/core"
	"groundwork/internal/geom"
	"groundwork/internal/mesh"
	"groundwork/internal/nest"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
)

// footprint is the outline of a posed mesh seen from above, stretched by x and
// y, for packing: outside the true one by at most 0.3 mm.
//
// It is the union of the triangles that face up, taken in strips of neighbours
// by the kernel; each outline is then grown and thinned out, since packing
// compares every point with every other.
func footprint(r *solid.Regions, points []geom.Vec3, triangles [][3]int32, x, y float64) geom.Polygons {
	var parts geom.Polygons
	for _, t := range triangles {
		var p geom.Polygon
		for _, v := range t {
			p = append(p, geom.V2(points[v].X*x, points[v].Y*y))
		}
		if p.Area() > 1e-4 {
			parts = append(parts, p)
		}
	}
	const eps = 0.1
	out := r.Offset(parts, eps, solid.Miter, 2, 0)
	out = r.Simplify(out, eps)
	box := geom.EmptyBox2()
	for _, p := range points {
		box = box.Add(geom.V2(p.X*x, p.Y*y))
	}
	var kept geom.Polygons
	for _, p := range out {
		if p.Area() > -400 && p.Area() < 0 {
			continue // nothing can be printed inside a bore
		}
		// The true outline lies within its box, so the grown one need not leave it.
		kept = append(kept, p.Map(func(q geom.Vec2) geom.Vec2 {
			return geom.V2(max(box.Min.X, min(box.Max.X, q.X)), max(box.Min.Y, min(box.Max.Y, q.Y)))
		}))
	}
	return kept
}

// loads packs the prints on the beds: those of one printer and filament
// together, the highest first, so that low parts share loads with low ones and
// pay for few changes of layer.
func (st *stage) loads(ctx context.Context, prints []Print) ([]Load, error) {
	type lot struct{ printer, filament string }
	var lots []lot
	for _, p := range st.shop.Printers {
		for _, f := range st.shop.Filaments {
			lots = append(lots, lot{p.ID, f.ID})
		}
	}
	var out []Load
	packed := 0
	for _, l := range lots {
		printer := st.shop.Printers[slices.IndexFunc(st.shop.Printers, func(p shop.Printer) bool { return p.ID == l.printer })]
		var items []nest.Item
		which := map[string]int{}
		for i, p := range prints {
			if p.Printer != l.printer || p.Filament != l.filament {
				continue
			}
			id := fmt.Sprint(i)
			which[id] = i
			items = append(items, nest.Item{
				ID: id, Shape: p.Footprint, Priority: int(math.Round(p.Size.Z)),
				Turns: []float64{0, math.Pi / 2, math.Pi, 3 * math.Pi / 2},
			})
		}
		if len(items) == 0 {
			continue
		}
		bin := nest.Bin{ID: l.printer, Size: printer.Build.XY(), Margin: printer.Brim, Quantity: nest.Unlimited}
		pack := func(o nest.Options) ([]Load, error) {
			layout, err := nest.Pack(ctx, items, []nest.Bin{bin}, o)
			if err != nil {
				return nil, fmt.Errorf("printing: packing loads for %s: %w", l.printer, err)
			}
			if len(layout.Unplaced) > 0 {
				u := layout.Unplaced[0]
				return nil, fmt.Errorf("printing: packing loads for %s: %s was left out: %s", l.printer, prints[which[u.Item]].Segment, u.Detail)
			}
			loads := make([]Load, len(layout.Bins))
			for n := range loads {
				loads[n] = Load{ID: fmt.Sprintf("load-%02d", len(out)+n+1), Printer: l.printer, Filament: l.filament}
			}
			for _, p := range layout.Placements {
				ld := &loads[p.Bin]
				ld.Items = append(ld.Items, Placed{Print: which[p.Item], At: p.At, Turn: p.Turn})
			}
			for n := range loads {
				slices.SortFunc(loads[n].Items, func(a, b Placed) int { return cmp.Compare(a.Print, b.Print) })
				loads[n].figure(prints, printer.Profile)
			}
			return loads, nil
		}
		o := nest.Options{Gap: st.options.Gap, Iterations: st.options.Pack}
		loads, err := pack(o)
		if err != nil {
			return nil, err
		}
		// Separation may save a load. If it does not, it has only mixed low parts
		// with high ones.
		o.Lines = max(0, st.options.Lines)
		o.Spent = nest.Within(st.options.Spent, float64(packed)/float64(len(prints)), float64(packed+len(items))/float64(len(prints)))
		packed += len(items)
		if len(loads) > 1 && (o.Lines > 0 || o.Spent != nil) {
			fewer, err := pack(o)
			if err != nil {
				return nil, err
			}
			if cmp.Or(cmp.Compare(len(fewer), len(loads)), cmp.Compare(seconds(fewer), seconds(loads))) < 0 {
				loads = fewer
			}
		}
		for n := range loads {
			loads[n].correct(printer)
		}
		out = append(out, loads...)
	}
	return out, nil
}

// correct takes what was worked out of a load to what the printer's log says of
// it, and keeps what was worked out.
func (ld *Load) correct(p shop.Printer) {
	ld.Reckoned = Reckoned{ld.Seconds, ld.Grams}
	log := p.Logged(ld.Filament)
	ld.Seconds = log.Time.Of(ld.Reckoned.Seconds)
	if ld.Grams = log.Grams.Of(ld.Reckoned.Grams); ld.Reckoned.Grams > 0 {
		ld.Metres *= ld.Grams / ld.Reckoned.Grams
	}
	off := log.Time.Within(ld.Reckoned.Seconds, p.Profile.Spread)
	ld.Low, ld.High = ld.Seconds*(1-off), ld.Seconds*(1+off)
}

// seconds is how long all of the loads take.
func seconds(loads []Load) (sum float64) {
	for _, ld := range loads {
		sum += ld.Seconds
	}
	return sum
}

// figure adds up a load: layer by layer, since its parts share the shortest
// layer time and the change of layer, and the head has to travel from part to
// part.
func (ld *Load) figure(prints []Print, m shop.Profile) {
	layers := 0
	for _, it := range ld.Items {
		p := prints[it.Print]
		layers = max(layers, len(p.laying))
		ld.Height = max(ld.Height, p.Size.Z)
		ld.Grams += (p.Grams + p.Support.Grams) * (1 + m.Waste)
		ld.Metres += p.Metres * (1 + m.Waste)
		if p.Grams > 0 {
			ld.Metres += p.Metres * p.Support.Grams / p.Grams * (1 + m.Waste)
		}
		ld.Seconds += p.Support.Seconds
	}
	ld.Seconds += m.HeatUp
	var middles []geom.Vec2
	for k := range layers {
		sum := 0.0
		middles = middles[:0]
		for _, it := range ld.Items {
			p := prints[it.Print]
			if k < len(p.laying) {
				sum += p.laying[k]
				middles = append(middles, p.Footprint.Bounds().Center().Rotate(it.Turn).Add(it.At))
			}
		}
		for i := 1; i < len(middles); i++ {
			sum += m.Retract + moveTime(middles[i].Dist(middles[i-1]), m.TravelSpeed, m.Acceleration)
		}
		ld.Seconds += max(m.MinLayer, sum) + m.LayerChange
	}
}

// SegmentBody is a print's mesh as an STL file carries it: in pose coordinates,
// scaled against shrinkage, on the single-precision grid, closed.
func (r *Result) SegmentBody(ctx context.Context, k *solid.Kernel, segments []core.Segment, print int) (mesh.Body, error) {
	return r.body(ctx, k, segments, print, 0)
}

// LoadBodies is a load as one 3MF file carries it: a body for every print, in
// the order of the load's items, and an item that puts it in its place on the
// bed. Bodies that are scaled against shrinkage are turned first, since it goes
// by the machine's axes and not by the part's; the others are those of
// SegmentBody, turned by their item.
func (r *Result) LoadBodies(ctx context.Context, k *solid.Kernel, segments []core.Segment, load int) (mesh.Document, error) {
	items := r.Loads[load].Items
	d := mesh.Document{Bodies: make([]mesh.Body, len(items)), Items: make([]mesh.Item, len(items))}
	err := spread(ctx, len(items), func(i int) (err error) {
		it := items[i]
		turn, f := it.Turn, geom.World()
		if r.Prints[it.Print].Scale == geom.V3(1, 1, 1) {
			x := geom.V2(1, 0).Rotate(turn)
			turn, f.X, f.Y = 0, geom.V3(x.X, x.Y, 0), geom.V3(-x.Y, x.X, 0)
		}
		f.Origin = geom.V3(it.At.X, it.At.Y, 0)
		d.Bodies[i], err = r.body(ctx, k, segments, it.Print, turn)
		d.Items[i] = mesh.Item{Body: i, Frame: f, PartNumber: d.Bodies[i].PartNumber}
		return err
	})
	return d, err
}

func (r *Result) body(ctx context.Context, k *solid.Kernel, segments []core.Segment, print int, turn float64) (mesh.Body, error) {
	p := r.Prints[print]
	s, c := math.Sincos(turn)
	f := p.Pose
	f.X, f.Y = p.Pose.X.Scale(c).Sub(p.Pose.Y.Scale(s)), p.Pose.X.Scale(s).Add(p.Pose.Y.Scale(c))
	m, err := k.Export(ctx, segments[print].Shape, f)
	if err != nil {
		return mesh.Body{}, fmt.Errorf("printing: segment %q: %w", p.Segment, err)
	}
	b := mesh.Body{Name: p.Segment, PartNumber: p.Segment, Vertices: m.Vertices, Triangles: m.Triangles}
	if p.Scale == geom.V3(1, 1, 1) {
		return b, nil
	}
	scaled := make([]geom.Vec3, len(m.Vertices))
	for i, v := range m.Vertices {
		scaled[i] = geom.V3(v.X*p.Scale.X, v.Y*p.Scale.Y, v.Z*p.Scale.Z)
	}
	b.Vertices, b.Triangles = mesh.Weld(scaled, slices.Clone(m.Triangles))
	if report, err := mesh.Check(b.Vertices, b.Triangles); err != nil || !report.Printable() {
		if b.Vertices, b.Triangles, err = remade(ctx, k, scaled, m.Triangles); err != nil {
			return mesh.Body{}, fmt.Errorf("printing: segment %q, scaled against shrinkage: %w", p.Segment, err)
		}
	}
	return b, nil
}

// remade is a closed mesh made anew by the kernel, for the rare one of which
// rounding left a triangle without size.
func remade(ctx context.Context, k *solid.Kernel, points []geom.Vec3, triangles [][3]int32) ([]geom.Vec3, [][3]int32, error) {
	m, err := k.Export(ctx, solid.Foreign(points, triangles, nil), geom.World())
	if err != nil {
		return nil, nil, err
	}
	return m.Vertices, m.Triangles, nil
}
