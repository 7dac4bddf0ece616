// Package mesh reads and writes triangle meshes: the cores that are printed and
// the solids that a maker brings in.
//
// A Body is one closed surface, given as vertices in millimetres and triangles
// whose corners run counter-clockwise seen from outside. Check says whether it
// is closed and consistently oriented; Weld brings vertices to the float32 grid
// that both file formats carry, so that what was checked is what is written.
//
// Three formats are spoken. STL (WriteSTL, ReadSTL) holds bodies and no unit; 3MF
// (Document.WriteTo, Read3MF) holds named bodies, each placed any number of
// times; OBJ is only read. Read takes files of other people in any of the three,
// goes by what they hold, and says what it passed over and in which unit they
// are, if they say so; ReadSTL and Read3MF are strict, for our own files. What
// cannot be read is an error that names the place, and every size is bounded by
// Limits before memory is spent. Files written here are the same bytes for the
// same data.
package mesh
