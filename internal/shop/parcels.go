package shop

import (
	"groundwork/internal/geom"
	"groundwork/internal/given"
)

// Parcels is how kits are packed and what may be sent. Limits of a parcel are
// generic unless the shop gives its own.
type Parcels struct {
	Longest        float64 // longest edge outside, mm; 0 for no limit of its own
	LengthAndGirth float64 // together outside, mm; girth is twice the other two edges
	MaxMass        float64 // g, with packing

	Board      float64 // thickness of corrugated board that boxes are made of to measure, mm
	BoardMass  float64 // g/m²
	BoardPrice float64 // money per m²
	Padding    float64 // soft wrapping round each part, mm
	Cushion    float64 // soft filling between the contents and the box, mm
	SoftPrice  float64 // money per litre of wrapping and filling
	Boxes      []ParcelBox

	Packing  float64 // s that packing one parcel takes
	Failures float64 // share of printed parts and leaves that are made again
	SetUp    float64 // s of work once for a batch
	Margin   float64 // share of the cost
}

// Limits of a parcel where the shop gives none: 108 in and 70 lb, a published
// limit of a post.
const (
	genericGirthed = 2743
	genericMass    = 31700
)

// Generic reports whether the limits are those of a shop that gives none.
func (p Parcels) Generic() bool {
	return p.Longest == 0 && p.LengthAndGirth == genericGirthed && p.MaxMass == genericMass
}

// ParcelBox is a box that the shop has.
type ParcelBox struct {
	ID      string
	Inside  geom.Vec3 // the last is upright
	Mass    float64   // g, empty
	MaxMass float64   // g of contents, 0 for any
	Price   float64
}

// ParcelsDoc is how kits are packed and what may be sent.
type ParcelsDoc struct {
	given.Place    `json:"-"`
	Longest        given.Number   `json:"longest" jsonschema_description:"Longest edge of a parcel that is carried; no limit of its own when left out."`
	LengthAndGirth given.Number   `json:"length_and_girth" jsonschema_description:"Longest edge and girth (twice the two others) together; 2743 mm when left out (generic: 108 in are a published limit of a post; ask who carries yours)."`
	MaxMass        given.Number   `json:"max_mass" jsonschema_description:"Mass of a parcel that is carried; 31.7 kg when left out (generic: 70 lb are a published limit of a post; ask who carries yours)."`
	Board          given.Number   `json:"board" jsonschema_description:"Thickness of the corrugated board that boxes are made of to measure; 7 mm when left out (double wall; common practice, no source)."`
	BoardMass      given.Number   `json:"board_mass" jsonschema_description:"Grams of a square metre of it; 900 when left out (double wall; common practice, no source)."`
	BoardPrice     given.Number   `json:"board_price" jsonschema_description:"Money for a square metre of it; 0 when left out."`
	Padding        given.Number   `json:"padding" jsonschema_description:"Soft wrapping round each part; 3 mm when left out (common practice, no source)."`
	Cushion        given.Number   `json:"cushion" jsonschema_description:"Soft filling between the contents and the box; 25 mm when left out (common practice, no source)."`
	SoftPrice      given.Number   `json:"soft_price" jsonschema_description:"Money for a litre of wrapping and filling; 0 when left out."`
	Boxes          []ParcelBoxDoc `json:"boxes" jsonschema:"maxItems=100" jsonschema_description:"Boxes that the shop has; the smallest that takes a kit is used, and one is made to measure where none does."`
	Packing        given.Number   `json:"packing" jsonschema_description:"Time that packing one parcel takes; 30 min when left out (common practice, no source)."`
	Failures       given.Number   `json:"failures" jsonschema_description:"Share of printed parts and leaves that are made again; 5 % when left out (common practice, no source: count yours)."`
	SetUp          given.Number   `json:"set_up" jsonschema_description:"Work once for a batch: files, first pieces; 2 h when left out (common practice, no source)."`
	Margin         given.Number   `json:"margin" jsonschema_description:"Share of the cost that is put on it; 30 % when left out (common practice, no source)."`
}

// ParcelBoxDoc is a box that the shop has.
type ParcelBoxDoc struct {
	given.Place `json:"-"`
	ID          given.Text     `json:"id" jsonschema:"required" jsonschema_description:"Short name: lower-case letters, digits and hyphens."`
	Inside      []given.Number `json:"inside" jsonschema:"required,minItems=3,maxItems=3" jsonschema_description:"Inside [length, width, height]; the last is upright."`
	Mass        given.Number   `json:"mass" jsonschema_description:"Mass when empty; worked out from the board when left out."`
	MaxMass     given.Number   `json:"max_mass" jsonschema_description:"Mass of contents that it takes; any when left out."`
	Price       given.Number   `json:"price" jsonschema_description:"Money for one; 0 when left out."`
}

func (r *reader) parcels(d ParcelsDoc) Parcels {
	edge := span{100, 10000}
	p := Parcels{
		Longest:        r.number(d.Longest, "longest edge of a parcel", lengths, 0, edge),
		LengthAndGirth: r.number(d.LengthAndGirth, "length and girth of a parcel", lengths, genericGirthed, span{300, 20000}),
		MaxMass:        r.number(d.MaxMass, "mass of a parcel", masses, genericMass, span{500, 1e6}),

		Board:      r.number(d.Board, "thickness of board", lengths, 7, span{0, 30}),
		BoardMass:  r.number(d.BoardMass, "mass of a square metre of board", masses, 900, span{0, 20000}),
		BoardPrice: r.price(d.BoardPrice, "price of board"),
		Padding:    r.number(d.Padding, "padding of parts", lengths, 3, span{0, 100}),
		Cushion:    r.number(d.Cushion, "cushion of a parcel", lengths, 25, span{0, 200}),
		SoftPrice:  r.price(d.SoftPrice, "price of filling"),

		Packing:  r.number(d.Packing, "time of packing", times, 1800, span{0, 86400}),
		Failures: r.number(d.Failures, "share of failures", shares, 0.05, span{0, 0.9}),
		SetUp:    r.number(d.SetUp, "set-up of a batch", times, 7200, span{0, 1e6}),
		Margin:   r.number(d.Margin, "margin", shares, 0.3, span{0, 10}),
	}
	taken := names{}
	for _, b := range d.Boxes {
		id := r.id(b.ID, "box", taken)
		p.Boxes = append(p.Boxes, ParcelBox{
			ID: id, Inside: r.vec3(b.Inside, "inside of box "+id, lengths, edge),
			Mass: r.number(b.Mass, "mass of box "+id, masses, 0, span{0, 1e5}), MaxMass: r.number(b.MaxMass, "mass that box "+id+" takes", masses, 0, span{100, 1e6}),
			Price: r.price(b.Price, "price of box "+id),
		})
	}
	return p
}
