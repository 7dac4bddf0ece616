// Package draw holds a drawing as it will lie on the bench: a Sheet in
// millimetres, y up, whose layers say what is done along their lines, and
// writers that carry it to SVG and to DXF R12 at full size.
//
// A layer has an Operation (cut, half-cut, mark, note); its colour, line width
// and dash follow from that and are fixed in one table, Operation.Style. Items
// are written in the order given, so the order of work is the caller's.
//
// Drawings that are read and not followed by a machine have Pens of their own for
// their layers, and Regions of even tone.
//
// Letters that a machine must follow, on veneer or engraved in a core, are not
// text but paths: Lettering draws them with the package's own single-stroke
// alphabet. Text items are for eyes only.
//
// Writers are deterministic to the byte and refuse what is not finite.
package draw
