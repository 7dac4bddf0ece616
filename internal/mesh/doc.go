// Package mesh reads and writes triangle meshes: the cores that are printed and
// the solids that a maker brings in.
//
// A Body is one closed surface, given as vertices in millimetres and triangles
// whose corners run counter-clockwise seen from outside. Check says whether it
// is closed and consistently oriented; Weld brings vertices to the float32 grid
// that both file formats carry, so that what was checked is what is written.
//
// Two formats are spoken. STL (WriteSTL, ReadSTL) holds one body and no unit;
// 3MF core (Document.WriteTo, Read3MF) holds named bodies, each placed any
// number of times. Readers are strict: what the specification forbids is an
// error that names the place, and every size is bounded by Limits before memory
// is spent. Files written here are the same bytes for the same data.
package mesh
