// Package solid makes, cuts and measures solid bodies, and does the boolean
// work and the offsets on flat regions.
//
// A Shape says how a body comes about: an outline drawn to a thickness, less
// these bores, below that plane. It is immutable, costs nothing to make and has
// a hash of its contents. A Kernel turns Shapes into Meshes: closed triangle
// meshes with float64 vertices in which every facet still carries the Tag that
// the caller gave to its surface, whatever was cut afterwards.
//
// The kernel itself is the WebAssembly build of Manifold, which `make kernel`
// fetches; it runs inside the process under wazero, several instances side by
// side. Nothing of it leaves this package: no handle, no ID. What goes in is
// checked here first, because the kernel answers crossed or reversed outlines
// with wrong volumes instead of errors.
//
// Results depend on the Shape alone, to the byte: not on the instance that
// worked, nor on what it did before.
//
// Lengths are millimetres, areas mm², volumes mm³.
package solid
