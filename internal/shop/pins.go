package shop

import "groundwork/internal/given"

// Pin is a pin of a lap.
type Pin struct {
	Diameter float64
	Price    float64 // each
}

// PinDoc is one diameter of pin.
type PinDoc struct {
	given.Place `json:"-"`
	Diameter    given.Number `json:"diameter" jsonschema:"required" jsonschema_description:"Diameter."`
	Price       given.Number `json:"price" jsonschema_description:"Money for one; when left out the bill's sums are without pins, and say so."`
}

func (r *reader) pin(d PinDoc, taken names) Pin {
	before := r.faults.Len()
	p := Pin{
		Diameter: r.number(d.Diameter, "diameter of a pin", lengths, 0, span{0.3, 6}),
		Price:    r.price(d.Price, "price of a pin"),
	}
	if r.sound(before) {
		r.once(d.Place, num(p.Diameter), "pin", taken)
	}
	return p
}

// Pin is the pin of a diameter in mm; false if the shop has none.
func (s *Shop) Pin(diameter float64) (Pin, bool) {
	const same = 1e-6 // mm
	return find(s.Pins, func(p Pin) bool { return p.Diameter > diameter-same && p.Diameter < diameter+same })
}
