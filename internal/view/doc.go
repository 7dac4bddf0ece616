// Package view draws solids as a draughtsman does: orthographic or axonometric,
// with hidden lines taken away or dashed, taken apart with threads between what
// belongs together, cut with hatched faces, with numbers round the drawing and
// dimensions.
//
// Make turns Parts, closed triangle meshes in the world, into a Drawing: lines
// in mm of the piece, seen along a direction, each with its part and its class.
// A Drawing is not yet on paper; Placing carries it there, to a scale, as layers
// of a draw.Sheet.
//
// # Which lines
//
// Contours are edges between a facet that faces the eye and one that does not;
// creases are edges at which a surface ends. Facets of one curved surface meet
// in neither. A contour is an Outline where what is seen beside it lies behind,
// and a Seam where another part lies flush against it.
//
// # What hides
//
// Every line is cut against the facets before it that face the eye, exactly: a
// facet covers a stretch of a line in the image, and of that hides what lies
// behind the facet's plane, which along a straight line is again one stretch.
// Distances from a plane are measured along its normal, so that facets seen at a
// grazing angle decide as well as others. What lies less than Touch behind a
// facet is not hidden: parts that touch lie in one plane. Facets are found by a
// grid over the image, so the work grows with the lines and what covers them.
package view
