// Package surface finds the smooth surfaces of a closed triangle mesh: planes,
// cylinders, cones, spheres, other developables, and the rest, each with its
// exact geometry where it has one. From them it tells whether the solid is a
// board (an outline with a thickness) or a turning (a profile about an axis),
// and it moves surfaces inward for the veneer that will lie on them.
//
// Meshes come from a drawing whose vertices lie on the true surfaces; only the
// facets between them stray. Nothing here mends a mesh: it must be closed and
// oriented.
package surface

import "groundwork/internal/geom"

// Kind says what a face is.
type Kind string

// The kinds of face.
const (
	Plane       Kind = "plane"
	Cylinder    Kind = "cylinder"
	Cone        Kind = "cone"
	Sphere      Kind = "sphere"
	Developable Kind = "developable" // unrolls without strain, but is none of the above
	Free        Kind = "free"        // curved both ways
)

// Face is a smooth region of a Solid.
type Face struct {
	Kind      Kind
	Frame     geom.Frame // Plane: origin in it, Z the outward normal. Cylinder, Cone: Z the axis. Sphere: origin its centre
	Radius    float64    // mm; Cylinder, Sphere; Cone: where Frame's origin is
	Slope     float64    // Cone: growth of the radius per mm along Z, positive
	Hollow    bool       // Cylinder, Cone, Sphere: the material is outside, as round a bore
	Full      bool       // Cylinder, Cone: goes all the way round the axis
	From, To  float64    // Cylinder, Cone: extent along Z, mm
	Triangles []int32    // rising
	Area      float64    // mm², of the triangles
	Residual  float64    // mm; farthest that a vertex lies from the surface
	Sag       float64    // mm; farthest that a facet strays from the surface between vertices, estimated
}

// Solid is a closed mesh whose triangles are grouped into faces. It must not
// be changed.
type Solid struct {
	Vertices  []geom.Vec3 // mm
	Triangles [][3]int32  // counter-clockwise seen from outside
	Faces     []Face      // in an order that depends on the geometry alone: by kind as listed above, then largest first
	Of        []int32     // face of each triangle
	Snaps     []Snap      // how faces were set right by one another

	twin []int32 // the other side of every half-edge; nil where it is to be found anew
}

// Loop is a closed border of a face, with the face on its left seen from
// outside.
type Loop struct {
	Vertices []int32 // indices into Solid.Vertices
	Across   []int32 // face beyond the side from Vertices[i] to the next
}

// Board is a solid seen as a board: an outline with a thickness, less what lies
// beyond its end cuts.
type Board struct {
	Frame     geom.Frame   // in the solid's coordinates: Z from the back to the face, origin on the back
	Thickness float64      // mm
	Outline   geom.Path    // in Frame's XY: closed, counter-clockwise
	Cutouts   []geom.Path  // closed, clockwise
	Cuts      []geom.Plane // in Frame's coordinates; normals point out of what is left
	Residual  float64      // mm; farthest that a vertex lies from the board's surfaces
}

// Turning is a solid seen as a turning: a profile revolved about an axis, less
// what lies beyond its end cuts.
type Turning struct {
	Frame    geom.Frame // in the solid's coordinates: Z the axis
	Profile  geom.Path  // (radius, z): z never falling, radius > 0
	Cuts     []geom.Plane
	Residual float64
}
