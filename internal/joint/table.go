package joint

import (
	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// metric holds the standard sizes that go with one thread. Millimetres.
type metric struct {
	Size      string
	Diameter  float64 // nominal
	Head      float64 // head diameter, plain heads: ISO 4762
	HeadMax   float64 // head diameter, knurled heads, largest: ISO 4762 (from memory)
	HeadHigh  float64 // head height: ISO 4762
	Key       float64 // across flats: ISO 4762
	Clearance float64 // clearance hole, medium: ISO 273
	Seat      float64 // counterbore without washer, DIN 974-1 row 1 (from memory)
	Washer    float64 // washer outer diameter: ISO 7089 (from memory)
	WasherT   float64 // washer thickness: ISO 7089 (from memory)
	KeyArm    float64 // long arm of the ordinary hexagon key: ISO 2936 (from memory)
	KeyLong   float64 // long arm of the long hexagon key: ISO 2936 (from memory)
	KeyShort  float64 // short arm of both: ISO 2936 (from memory)
}

// metrics is in order of size.
var metrics = [...]metric{
	{"M4", 4, 7, 7.22, 4, 3, 4.5, 8, 9, 0.8, 63, 126, 20},
	{"M5", 5, 8.5, 8.72, 5, 4, 5.5, 10, 10, 1.0, 70, 140, 25},
	{"M6", 6, 10, 10.22, 6, 5, 6.6, 11, 12, 1.6, 80, 160, 28},
	{"M8", 8, 13, 13.27, 8, 6, 9.0, 15, 16, 1.6, 90, 180, 32},
}

// Distances that the placement keeps. Common practice where no source stands
// beside the number.
const (
	washerRoom    = 1.0 // seat with washer: this much wider than the washer, so 13 mm for M6
	driverRoom    = 1.0 // driver path: this much wider than the head
	insertRecess  = 0.2 // an insert is set flush to this far below the contact plane
	tipRoom       = 1.0 // free bore beyond the screw's tip
	headRecess    = 0.5 // a head lies at least this far below the surface it goes in by
	plugLeast     = 3.0 // and this far where a plug is to cover it
	plugMost      = 10.0
	plugGap       = 0.5 // between a plug and the head under it
	leastBearing  = 4.0 // plastic under a head: this, or the thread's diameter when that is more
	leastWall     = 2.0 // between a bore and a surface, or another bore; see wallOf
	wallBeads     = 4   // and this many beads of the printer's line, when that is more
	padRim        = 2.0 // an insert's bore to the edge of the contact, where a pad ends a little within it
	leastEndWall  = 1.2 // between a bore's floor and a surface: two beads of a 0.6 mm line, or six 0.2 mm layers
	insertWall    = 2.4 // round an insert: J. Manuf. Mater. Process. 7(1) 42, 2023
	keySwing      = 60  // degrees that a hexagon key must turn to be set anew
	keyHandle     = 15  // of a key's long arm that stays outside to be held
	screwSpacing  = 200 // contact length to which one more screw is given
	oneScrew      = 80  // contact length up to which one screw is enough
	dowelOver     = 1.6 // a dowel bore's depth over half the dowel's length: 1/16 in, Wood Magazine
	dowelEdge     = 2.0 // first dowel bore to the end of the contact, in diameters: common practice
	dowelThinnest = 1.0 / 3
	dowelThickest = 1.0 / 2 // dowel diameter over stock thickness: Wood Magazine
	gluedReach    = 2.0     // least engagement of a glued dowel on each side, in diameters; 3 are better
	looseReach    = 1.0     // least engagement of a loose dowel, which only locates
	dowelSpacing  = 100     // contact length to which one more glued dowel is given: 96 to 160 in board work
)

// wallOf is the least wall in mm between a bore and a surface, or another
// bore: 2 mm, or four beads of the widest line among the shop's printers when
// that is more, so that either side of the wall gets its outer contour and one
// behind it. A wall too thin for all the contours of a profile needs no more:
// it prints solid. Common practice, no source.
func wallOf(s *shop.Shop) float64 {
	wall := leastWall
	for _, p := range s.Printers {
		wall = max(wall, wallBeads*p.Profile.Line)
	}
	return wall
}

// hardware is a screw size that the shop can supply: thread, screws and the
// insert that goes with it.
type hardware struct {
	metric
	screw  shop.Screw
	insert shop.Insert
}

// seat is the counterbore's diameter.
func (h hardware) seat() float64 {
	if h.screw.Washer {
		return max(h.Seat, h.Washer+washerRoom)
	}
	return h.Seat
}

// washer is what a washer adds under the head.
func (h hardware) washer() float64 {
	if h.screw.Washer {
		return h.WasherT
	}
	return 0
}

// driver is the diameter of the path that must be free for head and key.
func (h hardware) driver() float64 { return h.Head + driverRoom }

// bearing is the least plastic between head and contact plane.
func (h hardware) bearing() float64 { return max(leastBearing, h.Diameter) }

// wall is the least plastic round the insert's bore.
func (h hardware) wall() float64 { return max(insertWall, h.insert.MinWall) }

// width is the least width of material that an insert needs.
func (h hardware) width() float64 { return h.insert.Hole + 2*h.wall() }

// key is the long arm of the shortest key that reaches a head sunk by depth,
// and false if none does.
func (h hardware) key(depth float64) (float64, bool) {
	for _, arm := range []float64{h.KeyArm, h.KeyLong} {
		if arm-keyHandle >= depth {
			return arm, true
		}
	}
	return 0, false
}

// supplies lists the screw sizes of the shop that have both a screw and an
// insert whose outside the clearance hole cannot swallow, smallest first.
func supplies(s *shop.Shop) []hardware {
	var out []hardware
	for _, m := range metrics {
		for _, sc := range s.Screws {
			if sc.Size != m.Size || len(sc.Lengths) == 0 {
				continue
			}
			for _, in := range s.Inserts {
				if in.Size == m.Size && in.Outer > m.Clearance {
					out = append(out, hardware{m, sc, in})
					break
				}
			}
			break
		}
	}
	return out
}

// elbow is where the arms of a key meet that stands in a socket half as deep
// as the head is high; head is the middle of the head's seat, out the way out.
func (m metric) elbow(head, out geom.Vec3, long float64) geom.Vec3 {
	return head.Add(out.Scale(m.HeadHigh/2 + long - m.Key/2))
}

func metricOf(size string) (metric, bool) {
	for _, m := range metrics {
		if m.Size == size {
			return m, true
		}
	}
	return metric{}, false
}
