package kit

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/bill"
	"groundwork/internal/unit"
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
	say("What is in it, by the numbers of the labels:")
	for _, q := range r.Parcels {
		say("%s, %.0f x %.0f x %.0f mm, %.1f kg, of %d%s", q.ID, q.Outside.X, q.Outside.Y, q.Outside.Z, q.Mass/1000, len(r.Parcels), q.when())
		for _, i := range q.Numbered() {
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
		say("Of its mass %s are the box, wrapping and filling.", unit.FormatMass(q.Packing))
	}
	if len(r.Hardware)+len(r.Spares) > 0 {
		say("Count the hardware before you begin:")
		for _, c := range r.Hardware {
			if spare := r.SparesOf(c.Item); spare > 0 {
				say("%d %s and %d to spare", c.Quantity, c.Item, spare)
			} else {
				say("%d %s", c.Quantity, c.Item)
			}
		}
		for _, s := range r.Spares {
			if !slices.ContainsFunc(r.Hardware, func(c Count) bool { return c.Item == s.Item }) {
				say("%d %s: %s", s.Quantity, s.Item, s.Why)
			}
		}
	}
	switch m.Split {
	case Ready:
		say("All is glued, veneered and finished that stays together. Lay the parts on a blanket, put loose dowels in dry, drive every screw by hand until it holds, then all once more; tighten again after a day, for plastic under a screw gives way.")
	case Cores:
		say("You set inserts, glue, veneer and finish. Nothing is left to print or to measure for the veneer: the coupons and segments are printed, the segments were pushed together dry on their dowels and measured%s, and every leaf was cut to what was measured. Follow the bench book, step by step.", m.released())
		m.toBuy(say)
	case Leaves:
		say("You print, glue, veneer and finish. Print the coupons first; write what you measure into the form fixtures/coupons.yaml, and send it to who made the kit. Print the segments from the files that come back: they are made for your printer.")
		if why := m.follows(); why != "" {
			say("The veneer follows: it waits for %s. When the segments are glued and ground, measure what the bench book asks for in its chapter \"fit and measure\", write it into the table there, and send a picture of that page, with the revision %s on it, to who made the kit. The leaves are cut then, and for kit %s only.", why, r.Revision, r.Revision)
		} else {
			say("The leaves are cut for kit %s only.", r.Revision)
		}
		m.toBuy(say)
	}
	if r.Veneer != nil {
		say("Veneer: %s.", r.Things[m.thing("veneer")].Note)
	}
	say("Something broken or lost: name its ID and the kit's revision, and it is made again from the same files%s.", ifVeneer(r.Veneer != nil))
	for _, q := range r.Parcels {
		if limit := m.Shop.LiftLimit; limit > 0 && q.Mass > limit {
			say("%s weighs %.1f kg: two lift it (one person should lift %.0f kg at most: revised NIOSH lifting equation, 1994).", q.ID, q.Mass/1000, limit/1000)
		}
	}
	say("Before using the piece, read the cautions in the bench book. Its loads and limits are estimates; nothing here is a certificate.")
}

// when says that a parcel is sent later.
func (q Parcel) when() string {
	if q.Follows == "" {
		return ""
	}
	return "; it follows, and waits for " + q.Follows
}

// Numbered are the parcel's things, indices into Result.Things, by their numbers.
func (q Parcel) Numbered() []int { return slices.Sorted(slices.Values(q.Things)) }

// SparesOf is how many of an item are put in more of than is needed.
func (r *Result) SparesOf(item string) (n int) {
	for _, s := range r.Spares {
		if s.Item == item {
			n += s.Quantity
		}
	}
	return n
}

// released says what was measured for the leaves that wait.
func (m *making) released() string {
	var what []string
	for _, p := range m.Patterns {
		for _, w := range strings.Split(p.Release, ", ") {
			if w != "" && !slices.Contains(what, w) {
				what = append(what, w)
			}
		}
	}
	if what == nil {
		return ""
	}
	return " (" + strings.Join(what, ", ") + ")"
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
		line := ""
		switch {
		case l.Section == bill.Consumable:
			of := l.Unit
			if of == "piece" && l.Quantity != 1 {
				of = "pieces"
			}
			line = fmt.Sprintf("%s, %.0f %s", strings.ReplaceAll(l.Item, "-", " "), l.Quantity, of)
			if l.Note != "" {
				line += ": " + l.Note
			}
		case l.Section == bill.Filament && m.Split == Leaves:
			line = fmt.Sprintf("filament %s, %.0f g", l.Item, l.Quantity)
		case l.Section == bill.Fixtures && m.Split == Leaves && l.Unit == "g":
			line = fmt.Sprintf("filament %s for fixtures, %.0f g", l.Item, l.Quantity)
		}
		if line != "" {
			need = append(need, line)
		}
	}
	if len(need) > 0 {
		say("Have ready, for it is not sent:")
		for _, s := range need {
			say("%s", s)
		}
	}
}
