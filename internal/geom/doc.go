// Package geom holds the shapes that a maker draws and the arithmetic on
// them: vectors, frames, planes, paths of lines, elliptical arcs and cubics,
// and polygons.
//
// All lengths are millimetres, all angles radians, unless a name says
// otherwise. A closed path or an outer loop runs counter-clockwise, a hole
// clockwise, so that material always lies to the left and the outward normal
// of a unit tangent t is (t.Y, -t.X).
//
// Paths are exact: length, area and turning are integrals over the segments.
// Polygons are what is left after flattening, and carry the tolerance that
// was used. Nothing here has a global tolerance; functions that need one take
// it as an argument.
package geom
