// Package veneer decides which surfaces are veneered and how big every flat
// pattern is.
//
// It works in two steps because seams must know where veneer joints lie
// before segments exist, and patterns must know the bores: Lay settles
// coverings, core sizes, bands, laps and what to keep clear of; Patterns
// draws the leaves and bands.
package veneer

import (
	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

// State says what is done with a surface.
type State string

const (
	Show   State = "show"   // veneered, seen
	Hidden State = "hidden" // veneered only to balance its opposite, or not at all; see Covering.Stack
	Bare   State = "bare"   // left as printed: feet, full contacts, insides
)

// Covering is what is done with one surface of one member.
type Covering struct {
	State  State
	Veneer string  // shop veneer; "" when nothing is laid on it
	Stack  float64 // thickness laid on, mm; 0 when nothing
	Inset  float64 // how far the core's surface lies inside the one in the piece file
	Grain  float64 // angle of the grain from the surface's u axis, radians

	Neutral float64 // how far above the core's surface the veneer keeps its length when it bends, mm
	Why     string  // "shows", "full contact with top", "foot", "balances face", "set in the piece file"
}

// Clear is a place that seams keep away from, because a joint in the veneer
// lies there.
type Clear struct {
	Member   int
	Line     []geom.Vec3 // world; polyline on the core's surface
	Distance float64     // mm
	Why      string
}

// Layout is the result of the first step.
type Layout struct {
	Coverings [][]Covering   // by member, by surface
	Cores     []piece.Member // the members as printed: surfaces moved in, tags unchanged
	Bands     []BandRun
	Laps      []Lap
	Clears    []Clear
	Cuts      []piece.Cut // pads (Add) and reliefs
	Windows   []Window    // where the veneer stops round a contact
	Joints    []LeafJoint // where a leaf is divided, and butt joints of rings
	Flush     []Flush     // surfaces in one plane, of members printed as one
	Order     [][]int     // by member: covered surfaces in the order in which they are laid
	Findings  []finding.Finding
}

// Treatment is how the veneer meets another member.
type Treatment string

const (
	Pad     Treatment = "pad"     // the core is raised to the contact plane, the leaf runs round it
	Open    Treatment = "window"  // the leaf is cut out round the other member, cores touch
	Through Treatment = "through" // the veneer runs on under the other member
)

// Window is a part of a surface that is left bare because another member
// stands there.
type Window struct {
	Member    int
	Surface   int
	Contact   string // ID of the contact; "" between members printed as one
	Treatment Treatment
	Region    geom.Polygons // in the chart of the core's surface
}

// Flush is a pair of surfaces in one plane, of members printed as one, that
// meet without a step.
type Flush struct {
	A, B [2]int // member and surface; A is the earlier member
	One  bool   // one leaf covers both and bears the name of the earliest; otherwise their veneers meet edge to edge
}

// LeafJoint is a joint inside one surface: where a leaf too large for the bed
// is divided, or where a ring meets its own end; or a joint between surfaces of
// members printed as one.
type LeafJoint struct {
	ID      string
	Member  int
	Surface int
	Kind    string     // "side by side" (along the grain), "end match" (across it), "butt" (ends of a ring) or "edge to edge" (of flush surfaces)
	Line    geom.Plane // in the chart: points with Normal.XY·p = D; Z is not used
	At      float64    // butt: u of the joint, for a cone the angle about its axis in radians
}

// BandRun is a stretch of an edge or side that is covered without a break in
// the veneer apart from laps.
type BandRun struct {
	ID       string // "top/edge-1"; ".2" for a second stretch of the same surface
	Member   int
	Surface  int
	From, To float64  // u on the core's surface; To may exceed Length on a closed surface
	Closed   bool     // goes all the way round
	Laps     []string // in order of u
	Parts    int      // bands that it is made of
	Knife    bool     // ripped by knife, since it is longer than the bed
	Low      bool     // fingers point towards falling u
}

// Lap is a swallowtail lap: the fingered end of one band over the feathered
// start of the next.
type Lap struct {
	ID      string
	Member  int
	Surface int
	At      float64 // u of its middle on the core's surface
	Length  float64 // along u
	Fingers int
	Finger  float64     // finger length
	Pins    []geom.Vec2 // (u, v) on the core's surface
	Pin     float64     // pin diameter
	Relief  bool        // core recessed so that the lap lies flush
	Feather float64     // length over which the inner end is feathered
}

// PatternKind is the kind of a pattern.
type PatternKind string

const (
	Leaf PatternKind = "leaf" // of a face, an end, a plug
	Band PatternKind = "band" // of an edge or a turning's side
)

// Pattern is a flat piece of veneer, drawn as seen from its show side.
type Pattern struct {
	ID         string // "top/face", "leg-1/edge-2", "top/edge-1/band-2"
	Member     int    // index, -1 for a plug's leaf
	Surface    int
	Also       [][2]int // member and surface of what else it covers: flush faces of members printed as one
	Kind       PatternKind
	Veneer     string
	Net        geom.Polygons // exactly what shows, mm; holes clockwise
	Gross      geom.Polygons // as cut: net plus allowance, holes shrunk
	NetArea    float64       // mm²
	GrossArea  float64
	Length     float64     // net extent along u (bands: the flat length), mm
	Width      float64     // net extent across
	Grain      float64     // angle of the grain from the pattern's X axis, radians
	Allowance  float64     // on free edges
	Marks      []Mark      // what the laser marks or half-cuts inside the outline
	Pins       []geom.Vec2 // centres of pin holes that are pre-pierced (fingers only)
	Pin        float64     // diameter
	Fingers    int
	Lap        string    // lap whose fingers it carries
	Set        string    // matched set, "" for none
	SetOrder   int       // place in the set, from 1
	ShowFirst  bool      // wants the best figure
	KnifeCut   bool      // longer than the bed: cut by knife to length, only its fingered end is lasered
	CutInPlace bool      // closed butt ring: ends are cut to fit on the piece
	Release    string    // "", or what must be measured first: "true perimeter", "bore centres"
	Chart      geom.Vec2 // pattern coordinates = chart coordinates of the covered surface minus this
	Turn       float64   // and turned by this, radians
}

// Mark is a line that is marked, not cut.
type Mark struct {
	Purpose string // label, half-cut, centre line, joint
	Line    []geom.Vec2
}
