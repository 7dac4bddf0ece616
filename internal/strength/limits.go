package strength

import (
	"math"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
)

// Creep is the share of a filament's modulus that is left under a load that
// stands for months at 23 °C, for stress.Options.Creep: common practice, no
// source, of about the size that creep tests of PETG and PLA show. Unknown
// materials are taken for the one that creeps most.
func Creep(f shop.Filament) float64 {
	switch {
	case strings.HasSuffix(f.Material, "-GF"):
		return 0.6
	case f.Material == "PC":
		return 0.65
	case f.Material == "PLA", f.Material == "ABS", f.Material == "ASA":
		return 0.5
	case f.Material == "PETG":
		return 0.45
	}
	return 0.4 // PA-CF, moist, and what is not known
}

// Limits, with what they rest on.
const (
	shareForMonths = 0.2 // of the strength that may be borne for months: common practice, no source
	shareUnderHead = 0.25

	// GluePeel and glueShear are what a glued face may bear by design, MPa: solvent
	// cement on ABS and ASA, with a factor of 3 on its strength in them. Common
	// practice, no source.
	GluePeel, glueShear = 0.3, 1.0

	pullOutShare   = 0.5   // of the shear strength round an insert: the lower end of 0.5 to 0.6, reckoned from moulded bosses
	shearOfTension = 0.577 // 1/√3, by von Mises
	printedShare   = 0.5   // of a moulded boss: common practice, no source
	holdFactor     = 3.0   // on the load of inserts and dowels: common practice, no source

	// dowelWood is the shear strength in MPa of a bought dowel, that of
	// yellow-poplar along the grain (1190 psi, USDA Wood Handbook, FPL-GTR-282,
	// table 5-3b): the least of the hardwoods that dowels are made of, and across
	// the grain it is more.
	dowelWood = 8.2

	sagNew, sagSeen, sagUse = 600.0, 384.0, 200.0
)

const (
	ofFilament = "strength in the shop file, from your data sheet or a generic range"
	ofLayers   = "strength and z_factor in the shop file, from your data sheet or a generic range"
	ofGlue     = "0.3 MPa in peel and 1 MPa in shear by design for cement on ABS and ASA, a factor of 3 in them: common practice, no source"
	ofInsert   = "F = η τ π D L with η 0.5 and τ 0.577 σ, half of it for printed bosses, factor 3 on what the load adds to the screw's preload: common practice, no source; η from ranges for moulded ABS"
	ofProof    = "proof load of class 8.8 by ISO 898-1, from memory"
	ofHead     = "washers by ISO 7089 and heads by ISO 4762 on clearance holes by ISO 273; a quarter of the strength for months: common practice, no source"
	ofDowel    = "shear 0.577 σ of a printed dowel; of a bought one 8.2 MPa, yellow-poplar along the grain in table 5-3b of the USDA Wood Handbook; factor 3: common practice, no source"
	ofMonths   = "0.2 of the strength for months: common practice, no source"
	ofNewSag   = "0.02 in a foot for a new shelf (woodworking text)"
	ofSeenSag  = "the eye notices 1/32 in a foot (woodworking text); creep: common practice, no source"
	ofUseSag   = "L/200, common in European furniture work, no source"
)

// thread is a screw as the standards have it.
type thread struct {
	proof     float64 // N, class 8.8, ISO 898-1, from memory
	head      float64 // mm, ISO 4762, plain
	washer    float64 // mm, ISO 7089, from memory
	clearance float64 // mm, ISO 273 medium
	major     float64 // mm
}

var threads = map[string]thread{
	"M4": {5100, 7, 9, 4.5, 4},
	"M5": {8230, 8.5, 10, 5.5, 5},
	"M6": {11600, 10, 12, 6.6, 6},
	"M8": {21200, 13, 16, 9, 8},
}

// pullOut is the force in N that pulls an insert out: the shear strength of the
// plastic round it, reduced as told in ofInsert.
func pullOut(in shop.Insert, strength float64) float64 {
	return pullOutShare * printedShare * shearOfTension * strength * math.Pi * in.Outer * in.Length
}

// pulled is the pull in N that an insert is held against: the factor is for what
// the load adds, which is uncertain, and not for the preload, which is set by hand.
func pulled(p stress.Pull) float64 {
	if p.Tension <= p.Preload {
		return p.Tension
	}
	return p.Preload + holdFactor*(p.Tension-p.Preload)
}

// underHead is the area in mm² that a screw's head or washer presses on.
func (t thread) underHead(washer bool) float64 {
	d := t.head
	if washer {
		d = t.washer
	}
	return math.Pi / 4 * (d*d - t.clearance*t.clearance)
}

// pulls are the greatest tension and the greatest shear in N that a seam's
// dowels bear if its glue lets go.
//
// Forces are in the seam's plane frame: force.Z parts the faces, moment about
// their centroid at the origin. Bending opens the joint about the edge that the
// faces press on: the tension of a dowel is in proportion to its distance from
// that edge, and moments about it are in balance:
//
//	k Σ d² = M + N c,  T = k d
//
// with c the distance of the centroid from the edge. Shear is shared evenly, and
// a moment about the normal in proportion to the distance from the dowels' own
// centroid (statics of a group of bolts).
func pulls(dowels []geom.Vec2, outline geom.Polygons, force, moment geom.Vec3) (tension, shear float64) {
	if len(dowels) == 0 {
		return 0, 0
	}
	// A moment about the axis a presses where a × p is most against +Z.
	m := geom.V2(moment.X, moment.Y)
	if m.Len() < 1e-9 {
		tension = max(0, force.Z) / float64(len(dowels))
	} else {
		// Positive moment about x lifts the side of positive y; see lift.
		lift := m.Unit().Left()
		edge := math.Inf(1)
		for _, loop := range outline {
			for _, p := range loop {
				edge = min(edge, p.Dot(lift))
			}
		}
		var squares, far float64
		for _, d := range dowels {
			a := max(0, d.Dot(lift)-edge)
			squares, far = squares+a*a, max(far, a)
		}
		if over := m.Len() - force.Z*edge; over > 0 && squares > 0 {
			tension = over / squares * far
		}
	}
	var c geom.Vec2
	for _, d := range dowels {
		c = c.Add(d.Scale(1 / float64(len(dowels))))
	}
	// About the dowels' centroid the shear force adds its own moment.
	v := geom.V2(force.X, force.Y)
	twist := moment.Z - c.Cross(v)
	var polar float64
	for _, d := range dowels {
		polar += d.Sub(c).Dot(d.Sub(c))
	}
	for _, d := range dowels {
		each := v.Scale(1 / float64(len(dowels)))
		if polar > 1 {
			each = each.Add(d.Sub(c).Left().Scale(twist / polar))
		}
		shear = max(shear, each.Len())
	}
	return tension, shear
}
