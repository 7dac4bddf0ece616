package guillotine

import "fmt"

// Cut is one cut, as it is told to whoever makes it.
type Cut struct {
	Sheet     int       // index into Layout.Sheets
	N         int       // 1 for the sheet's first
	Of        string    // what is cut: "" for the whole sheet, or "2b": what lies beyond cut 2; "2a": what lies before it
	On        Rect      // where that lies on the sheet
	Direction Direction // Upright or Level
	Where     int64     // from the left or lower edge of what is cut
	// Before and Beyond are what comes of it.
	Before, Beyond Yield
}

// Yield is what comes of a cut: an item, an offcut, waste, nothing, or what is
// cut again.
type Yield struct {
	Name    string // "2a", "2b"
	Item    string // ID of the item it is
	Copy    int    // of the item
	Offcut  bool   // it is worth keeping
	Waste   bool   // it is not
	Nothing bool   // the kerf took it all
	Again   bool   // it is cut again
}

// Cuts are all cuts in the order in which they can be made: each piece is done
// with before the next is taken up.
func (l *Layout) Cuts() []Cut {
	type place struct {
		sheet int
		Rect
	}
	who := map[place]Placement{}
	for _, p := range l.Placements {
		who[place{p.Sheet, p.Rect}] = p
	}
	var out []Cut
	for i, s := range l.Sheets {
		n := 0
		kept := map[Rect]bool{}
		for _, r := range s.Offcuts {
			kept[r] = true
		}
		yield := func(c *Cutting, name string) Yield {
			r := Rect{c.At, c.Size}
			y := Yield{Name: name}
			switch {
			case c.Cut != Whole:
				y.Again = true
			case c.Piece >= 0:
				p := who[place{i, r}]
				y.Item, y.Copy = p.Item, p.Copy
			case c.Size.X == 0 || c.Size.Y == 0:
				y.Nothing = true
			case kept[r]:
				y.Offcut = true
			default:
				y.Waste = true
			}
			return y
		}
		var tell func(c *Cutting, of string)
		tell = func(c *Cutting, of string) {
			if c.Cut == Whole {
				return
			}
			n++
			a, b := fmt.Sprintf("%da", n), fmt.Sprintf("%db", n)
			out = append(out, Cut{i, n, of, Rect{c.At, c.Size}, c.Cut, c.Where, yield(c.Parts[0], a), yield(c.Parts[1], b)})
			tell(c.Parts[0], a)
			tell(c.Parts[1], b)
		}
		tell(s.Cutting, "")
	}
	return out
}
