package solid

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/tetratelabs/wazero"

	"groundwork/internal/geom"
	"groundwork/internal/parallel"
)

// Options set up a Kernel. The zero value is right for most uses.
type Options struct {
	// Instances is how many copies of the kernel may work side by side; 0 means GOMAXPROCS.
	Instances int
	// MaxMemoryMiB bounds the memory of one instance; 0 means 1024. A task that
	// needs more fails.
	MaxMemoryMiB int
	// CacheMiB bounds the meshes kept for Shapes that come again; 0 means 128,
	// a negative number keeps none.
	CacheMiB int
	// CacheDir keeps the compiled kernel between runs, which saves half a
	// second. Empty means the environment's GROUNDWORK_CACHE, or
	// groundwork/kernel under the user's cache folder. If it cannot be written
	// the kernel is compiled afresh.
	CacheDir string
}

// Kernel works on Shapes. It may be used by many goroutines; each task takes
// one instance, and waits while all are taken.
type Kernel struct {
	runtime  wazero.Runtime
	cache    wazero.CompilationCache
	compiled wazero.CompiledModule
	link     link
	pool     chan *instance // nil entries stand for instances not yet started
	started  atomic.Int64
	meshes   meshCache
}

// New starts a Kernel. It returns ErrNotBuilt if the binary lacks the
// kernel's files.
func New(o Options) (*Kernel, error) {
	wasm, l, err := loadKernel(files)
	if err != nil {
		return nil, err
	}
	if o.Instances <= 0 {
		o.Instances = runtime.GOMAXPROCS(0)
	}
	if o.MaxMemoryMiB <= 0 {
		o.MaxMemoryMiB = 1024
	}
	if o.MaxMemoryMiB > 4096 {
		o.MaxMemoryMiB = 4096
	}
	if o.CacheMiB == 0 {
		o.CacheMiB = 128
	}
	ctx := context.Background()
	const pagesPerMiB = 16
	config := wazero.NewRuntimeConfig().WithMemoryLimitPages(uint32(o.MaxMemoryMiB * pagesPerMiB))
	k := &Kernel{link: l, pool: make(chan *instance, o.Instances)}
	k.meshes.limit = max(0, o.CacheMiB) << 20
	if k.cache = compilationCache(o.CacheDir); k.cache != nil {
		config = config.WithCompilationCache(k.cache)
	}
	k.runtime = wazero.NewRuntimeWithConfig(ctx, config)
	if k.compiled, err = k.runtime.CompileModule(ctx, wasm); err == nil {
		err = hostModule(ctx, k.runtime, k.compiled, l)
	}
	if err != nil {
		k.Close()
		return nil, fmt.Errorf("preparing the solid kernel: %w", err)
	}
	for range o.Instances {
		k.pool <- nil
	}
	return k, nil
}

// compilationCache is nil if no folder can be used.
func compilationCache(dir string) wazero.CompilationCache {
	if dir == "" {
		dir = os.Getenv("GROUNDWORK_CACHE")
	}
	if dir == "" {
		user, err := os.UserCacheDir()
		if err != nil {
			return nil
		}
		dir = filepath.Join(user, "groundwork", "kernel")
	}
	if os.MkdirAll(dir, 0o755) != nil {
		return nil
	}
	probe, err := os.CreateTemp(dir, ".probe-*")
	if err != nil {
		return nil
	}
	probe.Close()
	os.Remove(probe.Name())
	c, err := wazero.NewCompilationCacheWithDir(dir)
	if err != nil {
		return nil
	}
	return c
}

// Close ends the Kernel. No task may be under way or follow.
func (k *Kernel) Close() error {
	ctx := context.Background()
	err := k.runtime.Close(ctx)
	if k.cache != nil {
		err = errors.Join(err, k.cache.Close(ctx))
	}
	return err
}

// with runs a task on an instance of the pool. An instance that failed is
// thrown away and replaced when next needed.
func (k *Kernel) with(ctx context.Context, task func(*instance) error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	var in, kept *instance
	select {
	case <-ctx.Done():
		return ctx.Err()
	case in = <-k.pool:
	}
	defer func() { k.pool <- kept }()
	if in == nil {
		fresh, err := newInstance(k.runtime, k.compiled, k.link, fmt.Sprintf("kernel %d", k.started.Add(1)))
		if err != nil {
			return err
		}
		in = fresh
	}
	err := task(in)
	if err == nil {
		err = in.err
	}
	if in.err == nil {
		in.trim(solidCacheSize)
	}
	if in.err != nil || in.mem.Size() > keepMemory {
		in.close()
	} else {
		kept = in
	}
	return err
}

// keepMemory is the size in bytes above which an instance is given up after
// its task: its memory can grow but not shrink, and a new one takes 5 ms.
const keepMemory = 192 << 20

// Mesh makes the body. It returns an error that wraps ErrEmpty if there is none.
func (k *Kernel) Mesh(ctx context.Context, s Shape) (*Mesh, error) {
	if s.n == nil {
		return nil, fmt.Errorf("solid: %w", ErrEmpty)
	}
	if m := k.meshes.get(s.n.hash); m != nil {
		return m, nil
	}
	var out *Mesh
	err := k.with(ctx, func(in *instance) error {
		p, err := in.eval(ctx, s.n)
		if err != nil {
			return err
		}
		out, err = in.mesh(p)
		return err
	})
	if err != nil && s.n.err != nil {
		return nil, fmt.Errorf("solid: %w", err) // the fault says what was being made
	}
	if err != nil {
		return nil, fmt.Errorf("solid: %s: %w", s.n, err)
	}
	k.meshes.put(s.n.hash, out)
	return out, nil
}

// String names a node for error messages.
func (n *node) String() string {
	switch {
	case n.op == opMesh && n.mesh != nil:
		return fmt.Sprintf("mesh of %d triangles", len(n.mesh.triangles))
	case n.op == opExtrude && n.extrude != nil:
		return fmt.Sprintf("extrusion of %d loops", len(n.extrude.loops))
	case n.op == opAt && len(n.children) == 1:
		return n.children[0].String()
	case len(n.children) > 0:
		return fmt.Sprintf("%s of %d bodies", opNames[n.op], len(n.children))
	}
	return opNames[n.op]
}

// Meshes makes many bodies, side by side on the instances, and returns them in
// the order of the shapes. If some fail, the error is that of the first.
func (k *Kernel) Meshes(ctx context.Context, shapes []Shape) ([]*Mesh, error) {
	out := make([]*Mesh, len(shapes))
	errs := make([]error, len(shapes))
	parallel.Each(len(shapes), cap(k.pool), func(i int) { out[i], errs[i] = k.Mesh(ctx, shapes[i]) })
	for i, err := range errs {
		if err != nil {
			return nil, fmt.Errorf("body %d of %d: %w", i+1, len(shapes), err)
		}
	}
	return out, nil
}

// Measure is what a body takes up.
type Measure struct {
	Volume, Area float64 // mm³, mm²
	Bounds       geom.Box3
}

// Measure measures the body.
func (k *Kernel) Measure(ctx context.Context, s Shape) (Measure, error) {
	m, err := k.Mesh(ctx, s)
	if err != nil {
		return Measure{}, err
	}
	return Measure{m.Volume, m.Area, m.Bounds}, nil
}

// Components are the separate bodies that the shape falls into, by the least
// corner of their bounds, then by their vertices.
func (k *Kernel) Components(ctx context.Context, s Shape) ([]*Mesh, error) {
	if s.n == nil {
		return nil, fmt.Errorf("solid: %w", ErrEmpty)
	}
	var out []*Mesh
	err := k.with(ctx, func(in *instance) error {
		p, err := in.eval(ctx, s.n)
		if err != nil {
			return err
		}
		v := in.make("Manifold._Decompose", p)
		defer in.drop("Vector_manifold", v)
		for _, e := range in.elements("Vector_manifold", v) {
			m, err := in.mesh(e)
			if errors.Is(err, ErrEmpty) {
				continue
			}
			if err != nil {
				return err
			}
			out = append(out, m)
		}
		return nil
	})
	if err == nil && len(out) == 0 {
		err = ErrEmpty
	}
	if err != nil {
		return nil, fmt.Errorf("solid: parts of a %s: %w", s.n, err)
	}
	slices.SortFunc(out, func(a, b *Mesh) int {
		return cmp.Or(compareVec3(a.Bounds.Min, b.Bounds.Min), slices.CompareFunc(a.Vertices, b.Vertices, compareVec3))
	})
	return out, nil
}

// Sections cuts the shape by planes parallel to f's XY plane, at the heights
// along f's Z, and returns the cut faces in f's XY coordinates, one region per
// height. Where a plane lies in a facet, the section is that just above it.
// Above and below the body the region is nil.
func (k *Kernel) Sections(ctx context.Context, s Shape, f geom.Frame, heights []float64) ([]geom.Polygons, error) {
	if s.n == nil {
		return nil, fmt.Errorf("solid: %w", ErrEmpty)
	}
	if !finite(heights...) {
		return nil, fmt.Errorf("solid: sections of a %s: a height is not finite", s.n)
	}
	local, err := s.in(f)
	if err != nil {
		return nil, fmt.Errorf("solid: sections of a %s: %w", s.n, err)
	}
	out := make([]geom.Polygons, len(heights))
	err = k.with(ctx, func(in *instance) error {
		p, err := in.eval(ctx, local.n)
		if err != nil {
			return err
		}
		for i, h := range heights {
			if err := ctx.Err(); err != nil {
				return err
			}
			out[i] = in.takeOutlines(in.make("Manifold._Slice", p, f64(h)))
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("solid: %d sections of a %s: %w", len(heights), s.n, err)
	}
	return out, nil
}

// Project is the outline of the shape seen along f's Z, in f's XY coordinates.
func (k *Kernel) Project(ctx context.Context, s Shape, f geom.Frame) (geom.Polygons, error) {
	if s.n == nil {
		return nil, fmt.Errorf("solid: %w", ErrEmpty)
	}
	local, err := s.in(f)
	if err != nil {
		return nil, fmt.Errorf("solid: outline of a %s: %w", s.n, err)
	}
	body, place := local.placed()
	m, err := k.Mesh(ctx, body)
	if err != nil {
		return nil, err
	}
	var out geom.Polygons
	err = k.with(ctx, func(in *instance) error {
		out = in.takeOutlines(in.outlines(m.silhouette(place)))
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("solid: outline of a %s: %w", s.n, err)
	}
	return out, nil
}

// in is the shape in f's coordinates.
func (s Shape) in(f geom.Frame) (Shape, error) {
	if err := checkFrame(f); err != nil {
		return s, err
	}
	return s.At(f.Inverse()), nil
}

// placed is the shape as a body and the place that it is put in.
func (s Shape) placed() (body Shape, place geom.Frame) {
	if s.n.op == opAt {
		return Shape{s.n.children[0]}, s.n.frame
	}
	return s, geom.World()
}

// made is the shape in f's coordinates, its body brought in as a finished mesh
// where it takes work to make: whoever asks for the same body from another side,
// on whatever instance, does not have it made again.
func (k *Kernel) made(ctx context.Context, s Shape, f geom.Frame) (Shape, error) {
	local, err := s.in(f)
	if err != nil {
		return s, err
	}
	body, place := local.placed()
	if body.n.op == opMesh || body.n.op == opExtrude {
		return local, nil
	}
	m, err := k.Mesh(ctx, body)
	if err != nil {
		return s, err
	}
	return meshShape(&leaf{m.Vertices, m.Triangles, m.Tags}).At(place), nil
}

// ExportTolerance is how far, in mm, Export may move a surface.
const ExportTolerance = 1e-4

// Export is the mesh in f's coordinates, ready for a file of single-precision
// numbers: simplified, its vertices rounded to float32, and closed after that
// rounding, without triangles that it left no size.
func (k *Kernel) Export(ctx context.Context, s Shape, f geom.Frame) (*Mesh, error) {
	if s.n == nil {
		return nil, fmt.Errorf("solid: %w", ErrEmpty)
	}
	local, err := s.in(f)
	if err != nil {
		return nil, fmt.Errorf("solid: exporting a %s: %w", s.n, err)
	}
	h := newHasher(opExport)
	h.bytes(local.n.hash[:])
	key := h.sum()
	if m := k.meshes.get(key); m != nil {
		return m, nil
	}
	if local, err = k.made(ctx, s, f); err != nil {
		return nil, fmt.Errorf("solid: exporting a %s: %w", s.n, err)
	}
	var out *Mesh
	err = k.with(ctx, func(in *instance) error {
		p, err := in.eval(ctx, local.n)
		if err != nil {
			return err
		}
		simple := in.simplify(p, ExportTolerance)
		defer in.drop("Manifold", simple)
		out, err = in.mesh(simple)
		return err
	})
	if err == nil {
		out = roundToSingle(out)
		err = out.Check()
	}
	if err != nil {
		return nil, fmt.Errorf("solid: exporting a %s: %w", s.n, err)
	}
	k.meshes.put(key, out)
	return out, nil
}

// meshCache keeps meshes by the hash of their Shape, up to a number of bytes;
// those used longest ago go first.
type meshCache struct {
	mu      sync.Mutex
	limit   int
	size    int
	clock   int
	entries map[[32]byte]*meshEntry
}

type meshEntry struct {
	mesh *Mesh
	size int
	used int
}

func (c *meshCache) get(hash [32]byte) *Mesh {
	c.mu.Lock()
	defer c.mu.Unlock()
	e := c.entries[hash]
	if e == nil {
		return nil
	}
	c.clock++
	e.used = c.clock
	return e.mesh
}

func (c *meshCache) put(hash [32]byte, m *Mesh) {
	size := 256 + 24*len(m.Vertices) + 16*len(m.Triangles)
	c.mu.Lock()
	defer c.mu.Unlock()
	if size > c.limit || c.entries[hash] != nil {
		return
	}
	if c.entries == nil {
		c.entries = map[[32]byte]*meshEntry{}
	}
	c.clock++
	c.entries[hash] = &meshEntry{m, size, c.clock}
	c.size += size
	if c.size <= c.limit {
		return
	}
	// Make room for a while, so that the sort is seldom needed.
	hashes := make([][32]byte, 0, len(c.entries))
	for h := range c.entries {
		hashes = append(hashes, h)
	}
	slices.SortFunc(hashes, func(a, b [32]byte) int {
		return cmp.Or(c.entries[a].used-c.entries[b].used, bytes.Compare(a[:], b[:]))
	})
	for _, h := range hashes {
		if c.size <= c.limit/4*3 {
			return
		}
		c.size -= c.entries[h].size
		delete(c.entries, h)
	}
}
