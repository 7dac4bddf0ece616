// Package kit packs a piece for sending: what comes apart and stays flat, what
// goes into which parcel and in which order, what the parcel weighs, what its
// insert sheet says, and what a batch of kits costs.
//
// It takes members together that stay glued, puts a box round each sub-assembly,
// the cut veneer, the hardware and the fixtures (parts.go, leaves.go, hardware.go,
// fixtures.go), packs the boxes by
// package pack (parcel.go), draws the order of packing (drawing.go), writes the
// insert sheet (insert.go) and works out prices (price.go). Read Make.
package kit

import (
	"context"
	"fmt"

	"groundwork/internal/bill"
	"groundwork/internal/core"
	"groundwork/internal/draw"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/pack"
	"groundwork/internal/piece"
	"groundwork/internal/printing"
	"groundwork/internal/seam"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Inputs are the earlier results that a kit is made from.
type Inputs struct {
	Piece    *piece.Piece
	Shop     *shop.Shop
	Joints   *joint.Result
	Layout   *veneer.Layout
	Patterns []veneer.Pattern
	Seams    *seam.Result
	Cores    *core.Result
	Printing *printing.Result
	Sheets   *sheet.Result
	Bill     *bill.Bill

	Fixtures        *fixture.Result  // what the buyer glues and lays by; nil: none is sent
	FixturePrinting *printing.Result // of Fixtures.Segments, for masses; nil: they count as solid
}

// Split is who does what.
type Split string

const (
	Ready  Split = "ready"  // the seller does all but the last screws: finished sub-assemblies
	Cores  Split = "cores"  // the seller prints and lasers, the buyer glues, veneers and finishes
	Leaves Split = "leaves" // the seller lasers, the buyer prints: veneer, hardware and files
)

// Measurer is who measures the cores, for the leaves that wait for that: whoever
// has them in hand before leaves are cut. With Cores the seller pushes the segments
// together dry on their dowels, measures, and cuts before the box is packed; with
// Leaves the buyer prints, glues and measures, and the veneer follows.
func (s Split) Measurer() string {
	if s == Leaves {
		return "buyer"
	}
	return "seller"
}

// Splits is every split, the least work for the buyer first.
var Splits = []Split{Ready, Cores, Leaves}

// Options steer Make. The zero value works.
type Options struct {
	Split   Split // Ready when empty
	Batches []int // sizes of batches that are priced; 1, 5 and 20 when empty
	Steps   int   // of packing, for each parcel; 10000 when 0
}

// Kind is what a packed thing is.
type Kind string

const (
	SubAssembly Kind = "sub-assembly"
	Segment     Kind = "segment"
	VeneerPack  Kind = "veneer"
	Hardware    Kind = "hardware"
	Fixture     Kind = "fixture"
)

// Thing is something that goes into a parcel as one.
type Thing struct {
	N        int // number on its label and in the drawings, from 1
	ID       string
	Kind     Kind
	Members  []string   // IDs of the members in it
	Segments []string   // IDs of the segments in it
	Frame    geom.Frame // world to the box's axes: Local of a point of the piece lies in the box, z upright. The zero frame where nothing of the piece is in it
	Net      geom.Vec3  // box round it, mm: length, width, height as it rests
	Size     geom.Vec3  // with padding
	Mass     float64    // g, without padding
	Bears    float64    // g that may lie on it
	Turns    pack.Turns
	Label    string // with the kit's revision
	Note     string // how it is packed: "between two boards"
}

// Parcel is one box to send.
type Parcel struct {
	ID       string
	Box      string    // ID of the shop's box, "" for one made to measure
	Follows  string    // what it waits for before it is sent, "" for one that is sent at once
	Inside   geom.Vec3 // z upright
	Outside  geom.Vec3
	Things   []int       // indices into Result.Things, in order of packing
	Layout   pack.Layout // of the things, items in the order of Items; within the cushion
	Items    []pack.Item // as packed, one for each of Things' boxes: Layout.Placed[i].Item is an index into it and into Of
	Of       []int       // by item, index into Result.Things
	Layers   int
	Contents float64 // g
	Packing  float64 // g of box, wrapping and filling
	Mass     float64 // g all told
	Girthed  float64 // longest edge and girth, mm
	Sheet    draw.Sheet
	Scale    float64 // of Sheet: 5 means 1:5
	Steps    []string
	Drop     Drop
}

// Spare is what is put in more of than is needed.
type Spare struct {
	Item     string
	Quantity int
	Why      string
}

// Result is what the stage hands on.
type Result struct {
	Split    Split
	Revision string // of the kit: "7F3A-12BC", the same for the same plan; on every part, and none may be mixed
	Things   []Thing
	Parcels  []Parcel
	Hardware []Count // what the hardware box holds, spares not counted
	Spares   []Spare
	Veneer   *Leaf // how cut veneer is packed, nil where none is sent
	Insert   []string
	Prices   []Price
	Findings []finding.Finding
}

// Mass of all parcels, g.
func (r *Result) Mass() float64 {
	var m float64
	for _, p := range r.Parcels {
		m += p.Mass
	}
	return m
}

// Count is how many of something.
type Count struct {
	Item     string
	Quantity int
	Mass     float64 // g of one
	Volume   float64 // mm³ of one
}

// making is the kit as it is made.
type making struct {
	Inputs
	Options
	r *Result
}

// Make packs a piece. What cannot be sent as it is, is a finding.
func Make(ctx context.Context, in Inputs, o Options) (*Result, error) {
	if o.Split == "" {
		o.Split = Ready
	}
	if o.Split != Ready && o.Split != Cores && o.Split != Leaves {
		return nil, fmt.Errorf("kit: the split %q is not known", o.Split)
	}
	if len(o.Batches) == 0 {
		o.Batches = []int{1, 5, 20}
	}
	for _, n := range o.Batches {
		if n < 1 || n > 1e6 {
			return nil, fmt.Errorf("kit: a batch of %d", n)
		}
	}
	if o.Steps == 0 {
		o.Steps = 10000
	}
	m := &making{Inputs: in, Options: o, r: &Result{Split: o.Split, Revision: Revision(in)}}
	switch o.Split {
	case Ready:
		m.assemblies()
	case Cores:
		m.segments()
		m.leaves()
		m.fixtures()
	}
	m.hardware()
	if o.Split == Leaves { // which may follow, and so have the last number
		m.leaves()
	}
	for i := range m.r.Things {
		t := &m.r.Things[i]
		t.N = i + 1
		t.Label = fmt.Sprintf("%d  %s  %s  kit %s", t.N, in.Piece.Name, t.ID, m.r.Revision)
	}
	if err := m.parcels(ctx); err != nil {
		return nil, fmt.Errorf("packing the kit of %s: %w", in.Piece.Name, err)
	}
	m.price()
	m.insert()
	m.r.Findings = finding.Sorted(m.r.Findings)
	return m.r, nil
}

func (m *making) find(s finding.Severity, code, subject, message, remedy, source string) {
	m.r.Findings = append(m.r.Findings, finding.Finding{Severity: s, Stage: "kit", Code: code, Subject: subject, Message: message, Remedy: remedy, Source: source})
}
