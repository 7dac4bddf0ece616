package solid

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
	"github.com/tetratelabs/wazero/experimental/table"

	"groundwork/internal/geom"
)

// ptr is the address of an object in the kernel's memory.
type ptr = uint64

// instance is one running copy of the kernel, used by one goroutine at a time.
//
// Calls do not return errors. The first failure is kept in err, and from then
// on every call does nothing: after a C++ exception the kernel's memory is in
// an unknown state, so there is nothing left to do but to throw the instance away.
type instance struct {
	ctx context.Context // carries the instance to the host functions
	mod api.Module
	mem api.Memory
	err error

	types    map[uint32]string // embind's type IDs
	views    map[uint32]uint32 // type ID of a memory view -> kind
	bindings map[string]*binding
	invokers []invoker
	vals     []any
	stack    []uint64 // arguments and result of the call under way
	malloc   api.Function
	free     api.Function

	mover  uint32     // table index of the function that importMesh moves vertices with
	linker api.Module // the module that put it there
	moving []geom.Vec3

	scratch ptr // 64 bytes for passing vectors
	live    int // objects made and not yet dropped
	solids  solidCache
}

// newInstance starts a copy of the kernel. name must be unique in r.
func newInstance(r wazero.Runtime, compiled wazero.CompiledModule, l link, name string) (*instance, error) {
	in := &instance{
		types:    map[uint32]string{},
		views:    map[uint32]uint32{},
		bindings: map[string]*binding{},
		vals:     make([]any, firstVal),
		stack:    make([]uint64, 16),
		solids:   newSolidCache(),
	}
	in.ctx = context.WithValue(context.Background(), instanceKey{}, in)
	mod, err := r.InstantiateModule(experimental.WithMemoryAllocator(in.ctx, experimental.MemoryAllocatorFunc(linearMemory)), compiled, wazero.NewModuleConfig().WithName(name).WithStartFunctions())
	if err != nil {
		return nil, fmt.Errorf("starting the solid kernel: %w", err)
	}
	in.mod, in.mem = mod, mod.ExportedMemory(l.Exports["memory"])
	in.malloc, in.free = mod.ExportedFunction(l.Exports["malloc"]), mod.ExportedFunction(l.Exports["free"])
	start := mod.ExportedFunction(l.Exports["start"])
	if in.mem == nil || in.malloc == nil || in.free == nil || start == nil {
		mod.Close(in.ctx)
		return nil, errors.New("starting the solid kernel: it lacks an export that link.json names")
	}
	if _, err := start.Call(in.ctx); err != nil {
		mod.Close(in.ctx)
		return nil, fmt.Errorf("starting the solid kernel: %w", err)
	}
	if err := in.installMover(r, name, l.Exports["table"]); err != nil {
		in.close()
		return nil, fmt.Errorf("starting the solid kernel: %w", err)
	}
	in.scratch = in.alloc(64)
	if in.err != nil {
		in.close()
		return nil, in.err
	}
	return in, nil
}

// close frees the memory. wazero keeps a module for as long as it is open, and
// with it the table it imports.
func (in *instance) close() {
	if in.linker != nil {
		in.linker.Close(in.ctx)
	}
	in.mod.Close(in.ctx)
}

func (in *instance) fail(err error) {
	if in.err == nil {
		in.err = err
	}
}

// call runs a registered function. Methods take the object first.
func (in *instance) call(name string, args ...uint64) uint64 {
	if in.err != nil {
		return 0
	}
	b := in.bindings[name]
	if b == nil {
		in.fail(fmt.Errorf("the kernel has no %s", name))
		return 0
	}
	if b.call == nil {
		params, results := wireTypes(b.signature)
		b.call = table.LookupFunction(in.mod, 0, b.invoker, params, results)
	}
	stack := in.stack[:0]
	if len(args) < len(b.signature)-1 { // a raw destructor has no context
		stack = append(stack, uint64(b.context))
	}
	stack = append(stack, args...)
	if len(stack) != len(b.signature)-1 {
		in.fail(fmt.Errorf("%s of the kernel takes %d arguments, not %d", name, len(b.signature)-1, len(stack)))
		return 0
	}
	if len(stack) == 0 {
		stack = append(stack, 0)
	}
	if err := b.call.CallWithStack(in.ctx, stack); err != nil {
		in.fail(gaveUp(name, err))
		return 0
	}
	if b.signature[0] == 'v' {
		return 0
	}
	return stack[0]
}

func wireTypes(signature string) (params, results []api.ValueType) {
	of := func(c byte) api.ValueType {
		switch c {
		case 'd':
			return api.ValueTypeF64
		case 'f':
			return api.ValueTypeF32
		case 'j':
			return api.ValueTypeI64
		}
		return api.ValueTypeI32
	}
	for i := 1; i < len(signature); i++ {
		params = append(params, of(signature[i]))
	}
	if signature[0] != 'v' {
		results = append(results, of(signature[0]))
	}
	return params, results
}

func f64(x float64) uint64 { return math.Float64bits(x) }

func (in *instance) alloc(n int) ptr {
	if in.err != nil {
		return 0
	}
	in.stack[0] = uint64(n)
	if err := in.malloc.CallWithStack(in.ctx, in.stack[:1]); err != nil {
		in.fail(gaveUp(fmt.Sprintf("allocating %d bytes", n), err))
		return 0
	}
	if in.stack[0] == 0 {
		in.fail(fmt.Errorf("allocating %d bytes: %w: out of memory", n, errThrown))
	}
	return in.stack[0]
}

func (in *instance) release(p ptr) {
	if in.err != nil || p == 0 {
		return
	}
	in.stack[0] = p
	if err := in.free.CallWithStack(in.ctx, in.stack[:1]); err != nil {
		in.fail(gaveUp("freeing memory", err))
	}
}

// gaveUp is the error for a call that did not come back: an exception, an
// abort, or a trap, which is what running out of memory inside the kernel's
// own allocator ends in. The stack of nameless functions that wazero adds is
// left out.
func gaveUp(name string, err error) error {
	if !errors.Is(err, errThrown) {
		err = fmt.Errorf("%w: %w", errThrown, err)
	}
	text, _, _ := strings.Cut(err.Error(), "\nwasm stack trace")
	text = strings.TrimSuffix(text, " (recovered by wazero)")
	return &callError{name + ": " + text, err}
}

type callError struct {
	text  string
	cause error
}

func (e *callError) Error() string { return e.text }
func (e *callError) Unwrap() error { return e.cause }

// made counts an object that must later be dropped.
func (in *instance) made(p ptr) ptr {
	if in.err == nil {
		in.live++
	}
	return p
}

// make runs a function that returns a new object.
func (in *instance) make(name string, args ...uint64) ptr { return in.made(in.call(name, args...)) }

// drop destroys an object of the class.
func (in *instance) drop(class string, p ptr) {
	if in.err != nil || p == 0 {
		return
	}
	in.call("~"+class, p)
	in.live--
}

// vector is the address and the length in bytes of a std::vector's contents.
func (in *instance) vector(v ptr) (at, size uint32) {
	if in.err != nil {
		return 0, 0
	}
	b := in.bytes(uint32(v), 8)
	if b == nil {
		in.fail(fmt.Errorf("%w: vector outside its memory", errThrown))
		return 0, 0
	}
	at = binary.LittleEndian.Uint32(b)
	return at, binary.LittleEndian.Uint32(b[4:]) - at
}

// contents is a view of the bytes of a std::vector, good until the next call.
func (in *instance) contents(v ptr) []byte {
	at, size := in.vector(v)
	if in.err != nil || size == 0 {
		return nil
	}
	b := in.bytes(at, size)
	if b == nil {
		in.fail(fmt.Errorf("%w: vector outside its memory", errThrown))
	}
	return b
}

// elements are the addresses of the objects inside a std::vector, good while it lives.
func (in *instance) elements(class string, v ptr) []ptr {
	n := int(in.call(class+".size", v))
	at, size := in.vector(v)
	if in.err != nil || n == 0 {
		return nil
	}
	out := make([]ptr, n)
	for i := range out {
		out[i] = ptr(at) + ptr(i)*ptr(int(size)/n)
	}
	return out
}

// installMover puts a function of the host into the kernel's function table,
// so that C++ can be given it as a function pointer. JavaScript does this with
// table.set; wazero offers no such call, but a module of ninety bytes that
// imports both the table and the function can do it from the inside:
//
//	(import name table (table 0 funcref))
//	(import "host" "move" (func (param i32 i32)))
//	(func (export "install") (result i32) (table.grow (ref.func 0) (i32.const 1)))
func (in *instance) installMover(r wazero.Runtime, name, tableName string) error {
	str := func(s string) []byte { return append([]byte{byte(len(s))}, s...) }
	section := func(id byte, parts ...[]byte) []byte {
		var body []byte
		for _, p := range parts {
			body = append(body, p...)
		}
		return append([]byte{id, byte(len(body))}, body...) // all sections are shorter than 128 bytes
	}
	var wasm []byte
	wasm = append(wasm, "\x00asm\x01\x00\x00\x00"...)
	wasm = append(wasm, section(1, []byte{2, 0x60, 2, 0x7f, 0x7f, 0, 0x60, 0, 1, 0x7f})...) // types
	wasm = append(wasm, section(2, []byte{2},
		str(name), str(tableName), []byte{1, 0x70, 0, 0}, // table, funcref, no maximum, minimum 0
		str("host"), str("move"), []byte{0, 0})...)
	wasm = append(wasm, section(3, []byte{1, 1})...)
	wasm = append(wasm, section(7, []byte{2}, str("move"), []byte{0, 0}, str("install"), []byte{0, 1})...)
	wasm = append(wasm, section(10, []byte{1, 9, 0, 0xd2, 0, 0x41, 1, 0xfc, 0x0f, 0, 0x0b})...)
	mod, err := r.InstantiateWithConfig(in.ctx, wasm, wazero.NewModuleConfig().WithName(name+" mover"))
	if err != nil {
		return fmt.Errorf("linking the vertex mover: %w", err)
	}
	in.linker = mod
	at, err := mod.ExportedFunction("install").Call(in.ctx)
	if err != nil {
		return fmt.Errorf("linking the vertex mover: %w", err)
	}
	if int32(at[0]) < 0 {
		return errors.New("linking the vertex mover: the function table is full")
	}
	in.mover = uint32(at[0])
	return nil
}

// decoy is the place of vertex i of n on the way in: see importMesh.
func decoy(i, n int) (x, y, z float64) {
	z = 1 - (2*float64(i)+1)/float64(n)
	s, c := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
	r := math.Sqrt(1 - z*z)
	return r * c, r * s, z
}

// maxVertices is the largest mesh whose decoys can still be told apart in
// single precision: neighbours differ by 2/n in z, which must exceed 2^-24.
const maxVertices = 1 << 22

// move serves the kernel's call for new places: count vertices of three
// doubles each at p, each now at its decoy's place.
func (in *instance) move(p, count uint32) {
	n := float64(len(in.moving))
	b := in.bytes(p, 24*count)
	for i := 0; i+24 <= len(b); i += 24 {
		z := math.Float64frombits(binary.LittleEndian.Uint64(b[i+16:]))
		j := int(math.Round(((1-z)*n - 1) / 2))
		if j < 0 || j >= len(in.moving) {
			panic(fmt.Errorf("%w: it lost a vertex", errThrown))
		}
		v := in.moving[j]
		binary.LittleEndian.PutUint64(b[i:], math.Float64bits(v.X))
		binary.LittleEndian.PutUint64(b[i+8:], math.Float64bits(v.Y))
		binary.LittleEndian.PutUint64(b[i+16:], math.Float64bits(v.Z))
	}
}

// importMesh brings a closed mesh into the kernel in double precision, every
// triangle marked with a number.
//
// The kernel's only door for meshes takes float32, which would leave facets up
// to 3e-5 mm out of plane on a metre of board. So only the connections go in
// through it, every vertex at a decoy place; then the vertices are moved to
// their true places by the kernel's warp, which works in float64. The decoys
// lie on a sphere, evenly spread, because then no two coincide and no three
// are in line, whatever the true shape, so nothing is dropped on the way; and
// their z gives back the vertex number.
func (in *instance) importMesh(vertices []geom.Vec3, triangles [][3]int32, marks []uint32) ptr {
	if len(vertices) > maxVertices {
		in.fail(fmt.Errorf("a mesh of %d vertices is more than the kernel is given, %d", len(vertices), maxVertices))
		return 0
	}
	places := make([]float32, 0, 3*len(vertices))
	for i := range vertices {
		x, y, z := decoy(i, len(vertices))
		places = append(places, float32(x), float32(y), float32(z))
	}
	corners := make([]uint32, 0, 3*len(triangles))
	for _, t := range triangles {
		corners = append(corners, uint32(t[0]), uint32(t[1]), uint32(t[2]))
	}
	m := in.make("new Manifold", uint64(in.newVal(object{
		"numProp":        float64(3),
		"vertProperties": places,
		"triVerts":       corners,
		"faceID":         marks,
	})))
	in.clearVals()
	in.checkStatus("bringing in a mesh", m)
	in.moving = vertices
	moved := in.make("Manifold._WarpBatch", m, uint64(in.mover))
	in.checkStatus("bringing in a mesh", moved)
	in.moving = nil
	in.drop("Manifold", m)
	return moved
}

func (in *instance) clearVals() {
	clear(in.vals[firstVal:])
	in.vals = in.vals[:firstVal]
}

// checkStatus makes the kernel do the work it has put off, and fails if it reports a fault.
func (in *instance) checkStatus(doing string, m ptr) {
	s := in.call("Manifold.status", m)
	if in.err != nil {
		in.err = fmt.Errorf("%s: %w", doing, in.err)
		return
	}
	// The wire holds the address of a length and the characters.
	n, _ := in.mem.ReadUint32Le(uint32(s))
	status := string(in.bytes(uint32(s)+4, n))
	in.release(s)
	if status != "NoError" {
		in.fail(fmt.Errorf("%s: the kernel says %s", doing, status))
	}
}

// rawMesh is a mesh as the kernel keeps it.
type rawMesh struct {
	vertices  []geom.Vec3
	triangles [][3]int32
	marks     []uint32
}

func (in *instance) exportMesh(m ptr) rawMesh {
	var out rawMesh
	v := in.make("new Vector_vec3")
	in.call("_manifoldCollectVertices", v, m)
	b := in.contents(v)
	out.vertices = make([]geom.Vec3, len(b)/24)
	for i := range out.vertices {
		out.vertices[i] = getVec3(b[24*i:])
	}
	in.drop("Vector_vec3", v)

	h := in.call("Manifold._GetMeshJS", m, uint64(math.MaxUint32)) // -1: no normals
	if in.err != nil {
		return rawMesh{}
	}
	mesh, _ := in.val(h).(object)
	corners, _ := mesh["triVerts"].([]uint32)
	marks, _ := mesh["faceID"].([]uint32)
	places, _ := mesh["vertProperties"].([]float32)
	in.clearVals()
	if len(corners) != 3*len(marks) || len(places) != 3*len(out.vertices) {
		in.fail(fmt.Errorf("the kernel's mesh is out of step: %d corners, %d marks, %d and %d coordinates",
			len(corners), len(marks), len(places), 3*len(out.vertices)))
		return rawMesh{}
	}
	out.marks = marks
	out.triangles = make([][3]int32, len(marks))
	for i := range out.triangles {
		out.triangles[i] = [3]int32{int32(corners[3*i]), int32(corners[3*i+1]), int32(corners[3*i+2])}
	}
	return out
}

// combine runs one of the kernel's operations on many solids at once.
func (in *instance) combine(name, doing string, solids ...ptr) ptr {
	v := in.make("new Vector_manifold")
	for _, s := range solids {
		in.call("Vector_manifold.push_back", v, s)
	}
	m := in.make(name, v)
	in.checkStatus(doing, m)
	in.drop("Vector_manifold", v)
	return m
}

// transform is the solid, given in f's coordinates, in the enclosing ones.
func (in *instance) transform(m ptr, f geom.Frame) ptr {
	matrix := []float64{
		f.X.X, f.X.Y, f.X.Z, 0,
		f.Y.X, f.Y.Y, f.Y.Z, 0,
		f.Z.X, f.Z.Y, f.Z.Z, 0,
		f.Origin.X, f.Origin.Y, f.Origin.Z, 1,
	}
	t := in.make("Manifold.transform", m, uint64(in.newVal(matrix)))
	in.clearVals()
	in.checkStatus("placing a solid", t)
	return t
}

func (in *instance) simplify(m ptr, tolerance float64) ptr {
	s := in.make("Manifold._Simplify", m, f64(tolerance))
	in.checkStatus("simplifying a solid", s)
	return s
}

func getF64(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) }
func getVec2(b []byte) geom.Vec2 {
	return geom.Vec2{X: getF64(b), Y: getF64(b[8:])}
}
func getVec3(b []byte) geom.Vec3 {
	return geom.Vec3{X: getF64(b), Y: getF64(b[8:]), Z: getF64(b[16:])}
}

// outlines passes loops to the kernel; the result is a Vector2_vec2.
func (in *instance) outlines(loops []geom.Polygon) ptr {
	outer := in.make("new Vector2_vec2")
	inner := in.make("new Vector_vec2")
	in.call("Vector2_vec2.resize", outer, uint64(len(loops)), inner)
	in.drop("Vector_vec2", inner)
	if in.err == nil {
		clear(in.bytes(uint32(in.scratch), 16))
	}
	for i, v := range in.elements("Vector2_vec2", outer) {
		in.call("Vector_vec2.resize", v, uint64(len(loops[i])), in.scratch)
		b := in.contents(v)
		if len(b) != 16*len(loops[i]) {
			break // the call failed
		}
		for j, p := range loops[i] {
			binary.LittleEndian.PutUint64(b[16*j:], math.Float64bits(p.X))
			binary.LittleEndian.PutUint64(b[16*j+8:], math.Float64bits(p.Y))
		}
	}
	return outer
}

// readOutlines copies loops out of a Vector2_vec2.
func (in *instance) readOutlines(v ptr) geom.Polygons {
	var out geom.Polygons
	for _, e := range in.elements("Vector2_vec2", v) {
		b := in.contents(e)
		loop := make(geom.Polygon, len(b)/16)
		for i := range loop {
			loop[i] = getVec2(b[16*i:])
		}
		out = append(out, loop)
	}
	return out
}

// triangulate divides the region inside the loops into triangles; the corners
// are numbered through all loops.
func (in *instance) triangulate(loops []geom.Polygon) [][3]int32 {
	o := in.outlines(loops)
	v := in.make("_Triangulate", o, f64(-1), 1) // own precision; convex shortcuts allowed
	b := in.contents(v)
	out := make([][3]int32, len(b)/12)
	for i := range out {
		for j := range 3 {
			out[i][j] = int32(binary.LittleEndian.Uint32(b[12*i+4*j:]))
		}
	}
	in.drop("Vector_ivec3", v)
	in.drop("Vector2_vec2", o)
	return out
}
