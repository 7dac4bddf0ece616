package store

import (
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
)

// Needs are what a plan takes from stock: the filament of every print load, of the
// piece and of its fixtures (nil if there are none), from one spool as the
// printer's log has it, whole sheets, the pieces of veneer that it was planned on, hardware
// and consumables as on the bill. What the shop prints itself is not among them,
// for its filament is.
//
// Amounts of what is measured are rounded up to a tenth of a unit, what is
// counted to whole pieces.
func Needs(b *bill.Bill, p, fixtures *printing.Result, s *sheet.Result) []Need {
	var out []Need
	for _, l := range loads(p, fixtures) {
		out = append(out, Need{Item: Item{Filament, l.Filament}, Amount: Of(ceilTo(l.Grams, 0.1)), Unit: "g", OneLot: true, For: l.ID})
	}
	var veneers []string
	bought := map[string]int{}
	for _, sh := range s.Sheets {
		if sh.Kept != "" {
			out = append(out, Need{Item: Item{Offcut, sh.Veneer}, Lot: sh.Kept, Amount: Pieces(1), Unit: "piece", For: sh.ID})
			continue
		}
		if bought[sh.Veneer] == 0 {
			veneers = append(veneers, sh.Veneer)
		}
		bought[sh.Veneer]++
	}
	slices.Sort(veneers)
	for _, v := range veneers {
		out = append(out, Need{Item: Item{Sheet, v}, Amount: Pieces(bought[v]), Unit: "piece"})
	}
	for _, l := range b.Lines {
		step := 1.0
		if l.Unit != "piece" {
			step = 0.1
		}
		switch {
		case l.Quantity <= 0 || strings.HasPrefix(l.Item, "printed "):
		case l.Section == bill.Hardware:
			out = append(out, Need{Item: Item{Hardware, l.Item}, Amount: Of(ceilTo(l.Quantity, step)), Unit: "piece"})
		case l.Section == bill.Consumable:
			out = append(out, Need{Item: Item{Consumable, l.Item}, Amount: Of(ceilTo(l.Quantity, step)), Unit: l.Unit})
		}
	}
	return out
}

// LeftOf are the offcuts that a plan leaves, for Finish: as planned, so that the
// maker only has to say what came out otherwise. Reserved areas go along, and
// where each was cut from if that was in stock.
func LeftOf(s *sheet.Result) []Left {
	var out []Left
	for _, sh := range s.Sheets {
		from := &Ref{Item{Sheet, sh.Veneer}, ""}
		if sh.Kept != "" {
			from = &Ref{Item{Offcut, sh.Veneer}, sh.Kept}
		}
		for _, box := range sh.Offcuts {
			p := Piece{Form: Leftover, Outline: Rectangle(box.Max.Sub(box.Min)), CutFrom: from}
			for _, r := range sh.Reserved {
				lo, hi := r.At.Sub(box.Min), r.At.Add(r.Size).Sub(box.Min)
				lo.X, lo.Y = max(0, lo.X), max(0, lo.Y)
				hi.X, hi.Y = min(p.Outline.Bounds().Max.X, hi.X), min(p.Outline.Bounds().Max.Y, hi.Y)
				if hi.X > lo.X && hi.Y > lo.Y {
					p.Reserved = append(p.Reserved, reservedOf(lo, hi))
				}
			}
			out = append(out, Left{Veneer: sh.Veneer, Piece: p})
		}
	}
	return out
}

// LoadsOf are a plan's print loads, for Plan: what was worked out of each, before
// its printer's log had its say, for what is logged must be held against that.
func LoadsOf(p, fixtures *printing.Result) []Load {
	var out []Load
	for _, l := range loads(p, fixtures) {
		out = append(out, Load{ID: l.ID, Printer: l.Printer, Filament: l.Filament, Seconds: l.Reckoned.Seconds, Grams: l.Reckoned.Grams})
	}
	return out
}

// loads are those of the piece and those of its fixtures, which are told apart
// by their names: "load-01", "fixtures-load-01".
func loads(p, fixtures *printing.Result) []printing.Load {
	var out []printing.Load
	if p != nil {
		out = append(out, p.Loads...)
	}
	if fixtures != nil {
		for _, l := range fixtures.Loads {
			l.ID = "fixtures-" + l.ID
			out = append(out, l)
		}
	}
	return out
}
