package kit

import (
	"fmt"
	"strings"

	"groundwork/internal/bill"
)

// insert writes the sheet that lies on top in the first parcel.
func (m *making) insert() {
	r := m.r
	say := func(format string, a ...any) { r.Insert = append(r.Insert, fmt.Sprintf(format, a...)) }
	title := m.Piece.Title
	if title == "" {
		title = m.Piece.Name
	}
	say("%s, kit %s", title, r.Revision)
	say("Every part bears %s. Parts of another revision do not fit: do not mix kits.", r.Revision)
	say("What is in it:")
	for _, q := range r.Parcels {
		say("%s, %.0f x %.0f x %.0f mm, %.1f kg, of %d", q.ID, q.Outside.X, q.Outside.Y, q.Outside.Z, q.Mass/1000, len(r.Parcels))
		for _, i := range q.Things {
			t := r.Things[i]
			line := fmt.Sprintf("%d  %s", t.N, t.ID)
			if t.Kind == SubAssembly && len(t.Members) > 1 {
				line += " (glued)"
			}
			if t.Note != "" {
				line += ": " + t.Note
			}
			say("%s", line)
		}
	}
	if len(r.Hardware) > 0 {
		say("Count the hardware before you begin:")
		for _, c := range r.Hardware {
			spare := 0
			for _, s := range r.Spares {
				if s.Item == c.Item {
					spare = s.Quantity
				}
			}
			if spare > 0 {
				say("%d %s and %d to spare", c.Quantity, c.Item, spare)
			} else {
				say("%d %s", c.Quantity, c.Item)
			}
		}
	}
	switch m.Split {
	case Ready:
		say("All is glued, veneered and finished that stays together. Lay the parts on a blanket, put loose dowels in dry, drive every screw by hand until it holds, then all once more; tighten again after a day, for plastic under a screw gives way.")
	case Cores:
		say("You glue, veneer and finish. Print nothing but the coupons: the segments are here. Follow the bench book, step by step.")
		m.toBuy(say)
	case Leaves:
		say("You print, glue, veneer and finish. Print the coupons first, enter what you measure, and print the segments that the files make for your printer; the leaves are cut for kit %s only.", r.Revision)
		m.toBuy(say)
	}
	if r.Veneer != nil {
		say("Veneer: %s.", r.Things[m.thing("veneer")].Note)
		say("Dry-fit all, tape the true lengths of rims, and compare them with the bench book before a band is cut to its last length.")
	}
	say("Something broken or lost: name its ID and the kit's revision, and it is made again from the same files%s.", ifVeneer(r.Veneer != nil))
	for _, q := range r.Parcels {
		if limit := m.Shop.LiftLimit; limit > 0 && q.Mass > limit {
			say("%s weighs %.1f kg: two lift it (one person should lift %.0f kg at most: revised NIOSH lifting equation, 1994).", q.ID, q.Mass/1000, limit/1000)
		}
	}
	say("Before using the piece, read the cautions in the bench book. Its loads and limits are estimates; nothing here is a certificate.")
}

func ifVeneer(yes bool) string {
	if yes {
		return ", and its veneer as far as there is any from the same flitch"
	}
	return ""
}

// thing is the index of a thing by its ID.
func (m *making) thing(id string) int {
	for i, t := range m.r.Things {
		if t.ID == id {
			return i
		}
	}
	return -1
}

// toBuy says what the buyer must have, since liquids are not sent.
func (m *making) toBuy(say func(string, ...any)) {
	var need []string
	for _, l := range m.Bill.Lines {
		if l.Section == bill.Consumable {
			need = append(need, fmt.Sprintf("%s %.0f %s", l.Item, l.Quantity, l.Unit))
		}
		if l.Section == bill.Filament && m.Split == Leaves {
			need = append(need, fmt.Sprintf("filament %s %.0f g", l.Item, l.Quantity))
		}
	}
	if len(need) > 0 {
		say("Have ready, for it is not sent: %s.", strings.Join(need, ", "))
	}
}
