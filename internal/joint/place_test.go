package joint

import (
	"context"
	"encoding/json"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
)

// TestStandardSizes holds the table against values typed from the standards a
// second time.
func TestStandardSizes(t *testing.T) {
	for _, tc := range []struct {
		size                               string
		clearance                          float64 // ISO 273:1979, medium series
		head, high, key                    float64 // ISO 4762: dk of plain heads, k, s; a maker's public table of DIN 912 has the same
		seat                               float64 // DIN 974-1 row 1, from memory
		washer, thick                      float64 // ISO 7089, from memory
		arm, long                          float64 // ISO 2936 long arm, ordinary and long keys, from memory
		washerSeat, leastBearing, widthFor float64 // common practice: M6 with washer needs 13 mm
	}{
		{"M4", 4.5, 7, 4, 3, 8, 9, 0.8, 63, 126, 10, 4, 10.4},
		{"M5", 5.5, 8.5, 5, 4, 10, 10, 1.0, 70, 140, 11, 5, 11.6},
		{"M6", 6.6, 10, 6, 5, 11, 12, 1.6, 80, 160, 13, 6, 14.6},
		{"M8", 9, 13, 8, 6, 15, 16, 1.6, 90, 180, 17, 8, 19},
	} {
		m, ok := metricOf(tc.size)
		if !ok || m.Clearance != tc.clearance || m.Head != tc.head || m.HeadHigh != tc.high || m.Key != tc.key || m.Seat != tc.seat ||
			m.Washer != tc.washer || m.WasherT != tc.thick || m.KeyArm != tc.arm || m.KeyLong != tc.long || m.KeyShort != map[string]float64{"M4": 20, "M5": 25, "M6": 28, "M8": 32}[tc.size] {
			t.Errorf("%s: %+v", tc.size, m)
		}
		i := slices.IndexFunc(supplies(bench()), func(h hardware) bool { return h.Size == tc.size })
		h := supplies(bench())[i]
		if h.seat() != tc.washerSeat || h.bearing() != tc.leastBearing || !near(h.width(), tc.widthFor, 1e-9) {
			t.Errorf("%s: seat %v, bearing %v, width %v", tc.size, h.seat(), h.bearing(), h.width())
		}
		if h.screw.Washer = false; h.seat() != tc.seat {
			t.Errorf("%s: seat without washer %v", tc.size, h.seat())
		}
		if h.seat() < h.driver() && tc.size != "M5" && tc.size != "M4" {
			t.Errorf("%s: the driver path %v is wider than the seat %v", tc.size, h.driver(), h.seat())
		}
	}
	// An insert that the clearance hole would swallow is no hardware.
	s := bench()
	s.Inserts[1].Outer = 5.5
	for _, h := range supplies(s) {
		if h.Size == "M5" {
			t.Error("an M5 insert 5.5 mm over the knurls can be pulled through a 5.5 mm hole")
		}
	}
}

// TestHeadsFitTheirSeats: what the standards say of one thread must go
// together: the largest knurled head into the plain counterbore, the screw
// through its hole, the washer under the head and over the hole.
func TestHeadsFitTheirSeats(t *testing.T) {
	for _, tc := range []struct {
		size         string
		fine, coarse float64 // ISO 273:1979, fine and coarse series: the medium one lies between
		knurled      float64 // ISO 4762: dk of knurled heads, largest, from memory
		nut          float64 // ISO 4032: across flats; a key is narrower
		inner        float64 // ISO 7089: inner diameter of the washer, from memory
	}{
		{"M4", 4.3, 4.8, 7.22, 7, 4.3},
		{"M5", 5.3, 5.8, 8.72, 8, 5.3},
		{"M6", 6.4, 7.0, 10.22, 10, 6.4},
		{"M8", 8.4, 10.0, 13.27, 13, 8.4},
	} {
		m, ok := metricOf(tc.size)
		if !ok {
			t.Fatal(tc.size)
		}
		if m.HeadMax != tc.knurled || m.Seat <= m.HeadMax || m.Head >= m.HeadMax {
			t.Errorf("%s: head %v to %v in a seat of %v", tc.size, m.Head, m.HeadMax, m.Seat)
		}
		if m.Clearance <= tc.fine || m.Clearance >= tc.coarse || m.Clearance < m.Diameter+0.4 {
			t.Errorf("%s: a medium clearance of %v lies between %v and %v", tc.size, m.Clearance, tc.fine, tc.coarse)
		}
		if m.Washer <= m.Head || m.Washer <= m.Clearance+2 || tc.inner < m.Diameter {
			t.Errorf("%s: a washer of %v lies under a head of %v on a hole of %v", tc.size, m.Washer, m.Head, m.Clearance)
		}
		if m.HeadHigh != m.Diameter || m.Key >= tc.nut {
			t.Errorf("%s: head %v high, key %v", tc.size, m.HeadHigh, m.Key)
		}
	}
}

// TestInsertTables holds the inserts of the tests' shop against what tables of
// makers say, and the room they are given against measurements. Inserts are an
// input of the shop: families differ by half a millimetre and more.
func TestInsertTables(t *testing.T) {
	for _, tc := range []struct {
		size                string
		holeLeast, holeMost float64 // straight hole: two public tables agree on M4 and M5; M6 and M8 from memory
		short, long         float64 // lengths on offer, from memory
		boss                float64 // outside diameter of a boss: two public tables for M4 and M5; common practice for M6 and M8
	}{
		{"M4", 5.6, 5.6, 4, 8.1, 10},
		{"M5", 6.4, 6.4, 5.8, 9.5, 12},
		{"M6", 8.0, 8.0, 7.2, 12.7, 15},
		{"M8", 9.6, 10.1, 9.5, 14, 19},
	} {
		i := slices.IndexFunc(supplies(bench()), func(h hardware) bool { return h.Size == tc.size })
		h := supplies(bench())[i]
		in := h.insert
		if in.Hole < tc.holeLeast || in.Hole > tc.holeMost || in.Length < tc.short || in.Length > tc.long {
			t.Errorf("%s: %+v", tc.size, in)
		}
		// The hole is 0.1 to 0.3 mm under the knurls, and 0.5 to 1 mm deeper
		// than the insert so that molten plastic has room (makers' guides).
		if d := in.Outer - in.Hole; d < 0.1-1e-9 || d > 0.3+1e-9 || in.Melt < 0.5 || in.Melt > 1 {
			t.Errorf("%s: %.2f mm under the knurls, %v to melt into", tc.size, d, in.Melt)
		}
		// Printed bosses need 2.4 mm of wall, and little is gained beyond:
		// J. Manuf. Mater. Process. 7(1) 42, 2023.
		if h.wall() < 2.4 || h.width() < in.Hole+4.8-1e-9 || math.Abs(h.width()-tc.boss) > 0.5 {
			t.Errorf("%s: wall %v, width %v; a boss is %v", tc.size, h.wall(), h.width(), tc.boss)
		}
	}
}

// TestWalls: 2 mm, or four beads of the widest line.
func TestWalls(t *testing.T) {
	for _, tc := range []struct {
		lines []float64
		want  float64
	}{{nil, 2}, {[]float64{0.45}, 2}, {[]float64{0.5}, 2}, {[]float64{0.6}, 2.4}, {[]float64{0.4, 0.8, 0.5}, 3.2}} {
		s := bench()
		s.Printers = nil
		for _, l := range tc.lines {
			// However many contours: a thin wall prints solid.
			s.Printers = append(s.Printers, shop.Printer{Profile: shop.Profile{Line: l, Contours: 6}})
		}
		if got := wallOf(s); !near(got, tc.want, 1e-12) {
			t.Errorf("lines %v: wall %v, want %v", tc.lines, got, tc.want)
		}
	}
	// An M4 with its washer has a seat of 10 mm: it fits an 18 mm rail of
	// which the veneer leaves 16.4, with 3.2 mm either side; and 14 mm, not 13.9.
	for _, tc := range []struct {
		thick float64
		sizes piece.Sizes
		fits  bool
	}{{18, piece.Finished, true}, {15.6, piece.Finished, true}, {15.5, piece.Finished, false}, {14, piece.CoreSize, true}, {13.9, piece.CoreSize, false}} {
		rule := piece.JointRule{Between: [2]string{"top", "rail"}, Kind: piece.KnockDown, Screw: "M4", Through: "rail", Dowels: 0}
		p := &piece.Piece{Name: "top", Sizes: tc.sizes, Joints: []piece.JointRule{rule},
			Members: []piece.Member{block("top", 300, 300, 22, geom.V3(0, 0, 11)), block("rail", 200, tc.thick, 60, geom.V3(0, 0, -30))}}
		if got := len(stops(place(t, p, bench()))) == 0; got != tc.fits {
			t.Errorf("a rail of %v mm, sizes %s: fits %v", tc.thick, tc.sizes, got)
		}
	}
}

// TestScrewLengths works screws out by hand. With M6, washer 1.6 and head 6:
// grip + engagement of the 12.7 mm insert set 0.2 deep must be the length.
func TestScrewLengths(t *testing.T) {
	hw := func(size string) hardware {
		for _, h := range supplies(bench()) {
			if h.Size == size {
				return h
			}
		}
		t.Fatal(size)
		return hardware{}
	}
	for _, tc := range []struct {
		name           string
		size           string
		stock, recess  float64
		tipMost        float64
		length, grip   float64 // grip: plastic only
		code           string
		shortBy, slack float64
	}{
		// 19 mm: 19-1.6-6-0.5 = 10.9 of plastic at most. 25 leaves 25-1.6-12.9 = 10.5.
		{name: "19 mm board", size: "M6", stock: 19, recess: 0.5, tipMost: 40, length: 25, grip: 10.5},
		// 40 mm leg: 31.9 at most; 45 leaves 30.5, 50 leaves 31.9 and 3.6 too much thread.
		{name: "40 mm leg", size: "M6", stock: 40, recess: 0.5, tipMost: 40, length: 45, grip: 30.5},
		// 300 mm: the longest screw, 80, leaves 65.5: the head would be 234.5 deep; no key reaches.
		{name: "a rail end on", size: "M6", stock: 300, recess: 0.5, tipMost: 40, code: noPath, shortBy: 300 - 65.5 - 145},
		// 120 mm: 80 leaves 65.5, head sunk by 54.5, an 80 mm key holds 15: 65 reach.
		{name: "deep counterbore", size: "M6", stock: 120, recess: 0.5, tipMost: 40, length: 80, grip: 65.5},
		// 12 mm: 12-1.6-6-0.5 = 3.9, under the 6 that M6 bears on.
		{name: "12 mm board", size: "M6", stock: 12, recess: 0.5, tipMost: 40, code: tooThin, shortBy: 2.1},
		// the same with M4: 12-0.8-4-0.5 = 6.7; 16 leaves 16-0.8-8.3 = 6.9, capped at 6.7.
		{name: "12 mm board", size: "M4", stock: 12, recess: 0.5, tipMost: 40, length: 16, grip: 6.7},
		// the tip may not go deeper than 13: only lengths that end within.
		{name: "shallow member", size: "M6", stock: 19, recess: 0.5, tipMost: 13, length: 25, grip: 10.5},
		{name: "too shallow", size: "M6", stock: 19, recess: 0.5, tipMost: 11, code: tooThin, shortBy: 1.9},
		// under a plug 3.5 deep: 7.9 at most; 25 leaves it with 15.5 of thread, 20 would leave 5.5, under 6.
		{name: "under a plug", size: "M6", stock: 19, recess: 3.5, tipMost: 40, length: 25, grip: 7.9},
	} {
		l, g, lk := hw(tc.size).choose(tc.stock, tc.recess, tc.tipMost, 0, "leg", "rail")
		switch {
		case tc.code != "":
			if lk == nil || lk.code != tc.code || !near(lk.short(), tc.shortBy, 1e-6) {
				t.Errorf("%s %s: %v %v %v", tc.name, tc.size, l, g, lk)
			}
		case lk != nil || l != tc.length || !near(g, tc.grip, 1e-9):
			t.Errorf("%s %s: length %v, grip %v, %v; want %v, %v", tc.name, tc.size, l, g, lk, tc.length, tc.grip)
		}
	}
}

func TestRows(t *testing.T) {
	for _, tc := range []struct {
		s, d int
		want row
	}{{1, 0, "S"}, {1, 1, "SD"}, {1, 2, "DSD"}, {1, 3, "DDSD"}, {2, 0, "SS"}, {2, 1, "SDS"}, {2, 2, "SDDS"}, {3, 2, "SDSDS"}, {3, 1, "SSDS"},
		{4, 1, "SSDSS"}, {4, 2, "SDSSDS"}, {4, 3, "SDSDSDS"}, {0, 3, "DDD"}, {3, 4, "SDDSDDS"}} {
		if got := rowOf(tc.s, tc.d); got != tc.want {
			t.Errorf("%d screws, %d dowels: %s, want %s", tc.s, tc.d, got, tc.want)
		}
	}
}

func TestTable(t *testing.T) {
	p := table()
	r := place(t, p, bench())
	if len(r.Contacts) != 16 || len(stops(r)) > 0 {
		t.Fatalf("%d contacts, %v", len(r.Contacts), r.Findings)
	}
	for _, j := range r.Joints {
		if j.Kind != piece.KnockDown {
			continue
		}
		if len(j.Screws)+len(j.Dowels) < 2 || len(j.Screws) == 1 && len(j.Dowels) == 0 {
			t.Errorf("%s (%s) has %d screws, %d dowels", j.ID, j.Contact, len(j.Screws), len(j.Dowels))
		}
		for _, s := range j.Screws {
			through := p.Members[s.Through]
			switch p.Members[j.Bores[0].Member].Name {
			case "rail":
				// From under the rail no plug is wanted; through the leg's outside one is.
				if through.Name == "leg" && s.Plug == "" {
					t.Errorf("%s: an opening in a leg's outside has no plug", j.ID)
				}
			}
			if strings.HasPrefix(j.Contact, "top:") && (through.Name == "top" || s.Plug != "") {
				t.Errorf("%s: the head is in %s; underneath is less seen", j.ID, through.Name)
			}
		}
	}
	// Both rails meet each leg at one height, from two sides: their bores must be staggered.
	if len(r.Joints[8].Screws) == 0 || near(r.Joints[8].Screws[0].Head.Z, r.Joints[9].Screws[0].Head.Z, 1) {
		t.Errorf("screws of %s and %s are at one height", r.Joints[8].Contact, r.Joints[9].Contact)
	}
	again, _ := json.Marshal(place(t, table(), bench()))
	if first, _ := json.Marshal(r); string(first) != string(again) {
		t.Error("two runs differ")
	}
	if strings.Contains(string(again), ":-0,") || strings.Contains(string(again), ":-0}") {
		t.Error("there are negative zeros in the result")
	}
}

func TestRules(t *testing.T) {
	leg, rail := &piece.Member{ID: "leg-2", Name: "leg"}, &piece.Member{ID: "rail", Name: "rail"}
	p := &piece.Piece{Joints: []piece.JointRule{
		{Between: [2]string{"top", "leg"}}, {Between: [2]string{"leg", "rail"}}, {Between: [2]string{"rail", "leg"}}, {Between: [2]string{"rail", "leg-2"}}, {Between: [2]string{"leg-1", "rail"}},
	}}
	if got := rule(p, leg, rail); got != 3 {
		t.Errorf("rule %d; the one that names leg-2 by ID is the most specific", got)
	}
	p.Joints = p.Joints[:3]
	if got := rule(p, leg, rail); got != 1 {
		t.Errorf("rule %d; of equals the first counts", got)
	}
	p.Joints = p.Joints[:1]
	if got := rule(p, leg, rail); got != -1 {
		t.Errorf("rule %d; none fits", got)
	}
}

// pair is a leg 60 x 60 and a rail that butts against it, with one rule.
func pair(w, d, thick, high float64, r piece.JointRule) *piece.Piece {
	r.Between = [2]string{"leg", "rail"}
	return &piece.Piece{Name: "pair", Sizes: piece.CoreSize, Joints: []piece.JointRule{r},
		Members: []piece.Member{block("leg", w, d, 300, geom.V3(0, 0, 150)), block("rail", 300, thick, high, geom.V3(w/2+150, 0, 200))}}
}

func TestWhatCannotBeMade(t *testing.T) {
	rule := func(kind piece.JointKind, screw string) piece.JointRule {
		return piece.JointRule{Kind: kind, Screw: screw, Dowels: -1}
	}
	through := rule(piece.KnockDown, "M6")
	through.Through = "rail"
	many := rule(piece.KnockDown, "M6")
	many.Screws = 5
	for _, tc := range []struct {
		name   string
		p      *piece.Piece
		code   string
		says   []string
		remedy string
	}{
		{"M8 in 18 x 40", pair(60, 60, 18, 40, rule(piece.KnockDown, "M8")), tooSmall, []string{"18 x 40 mm", "leg and rail", "too small for M8", "19 mm"}, "use M6"},
		{"rail end on", pair(60, 60, 30, 80, through), noPath, []string{"key", "rail"}, "let the screw go through the other member"},
		{"leg too thin", pair(12.5, 60, 30, 80, rule(piece.KnockDown, "M6")), tooThin, []string{"thickness of leg", "12.5 mm"}, "use M4"},
		{"five screws in 60", pair(60, 60, 30, 60, many), tooSmall, []string{"leg and rail"}, "ask for fewer"},
		{"no such size", pair(60, 60, 30, 60, rule(piece.KnockDown, "M10")), noGoods, []string{"M10"}, "name another size"},
		{"dowels in 9 x 12", pair(60, 60, 9, 12, rule(piece.Glued, "")), "", []string{"2 dowels", "leg and rail"}, "stock a thinner"},
	} {
		r := place(t, tc.p, bench())
		fs := stops(r)
		if len(fs) != 1 {
			t.Errorf("%s: %v", tc.name, r.Findings)
			continue
		}
		if tc.code != "" && fs[0].Code != tc.code || !strings.Contains(fs[0].Remedy, tc.remedy) {
			t.Errorf("%s: %s: %v", tc.name, fs[0].Code, fs[0])
		}
		for _, s := range tc.says {
			if !strings.Contains(fs[0].Message, s) {
				t.Errorf("%s: %v does not say %q", tc.name, fs[0], s)
			}
		}
		if len(r.Joints[0].Bores) > 0 {
			t.Errorf("%s: it has bores although it cannot be made", tc.name)
		}
	}
}

// TestEnlarging follows what a finding says to make larger until there is
// nothing left to say: three times is enough, for there are three things that
// can be too small.
func TestEnlarging(t *testing.T) {
	knocked := func(screw string, screws int) piece.JointRule {
		return piece.JointRule{Kind: piece.KnockDown, Dowels: -1, Screw: screw, Screws: screws}
	}
	says := regexp.MustCompile(`make (the contact|leg|rail) (\w+)(?: there)? by ([0-9.]+) mm`)
	for _, tc := range []struct {
		name              string
		w, d, thick, high float64
		rule              piece.JointRule
		first             string // of what is said at first
	}{
		// Core sizes: M6 takes 8 + 2 x 3.3 = 14.6 mm, M8 10 + 2 x 4.5 = 19 mm.
		{"M6 in 12 mm", 40, 60, 12, 80, knocked("M6", 0), "make rail wider there by 2.6 mm"},
		{"M8 in 13 mm", 40, 60, 13, 80, knocked("M8", 0), "make rail wider there by 6 mm"},
		{"M6 in a thin leg's edge", 40, 12, 30, 80, knocked("M6", 0), "make leg wider there by 5 mm"}, // a seat of 13 and 2 mm either side
		// 1.6 washer, 6 head, 6 to bear on, 3.5 for a plug.
		{"M6 through 10 mm", 10, 60, 30, 80, knocked("M6", 0), "make leg thicker there by 7.1 mm"},
		{"M6 in a low rail", 40, 60, 30, 14, knocked("M6", 0), "make rail wider there by 0.6 mm"},
		{"any in 9 mm", 40, 60, 9, 80, knocked("", 0), "make rail wider there by 1.4 mm"},
		{"five M6 in 60 mm", 40, 60, 30, 60, knocked("M6", 5), "make the contact longer by"},
		{"three M6 in 40 mm", 40, 60, 30, 40, knocked("M6", 3), "make the contact longer by"},
		{"two dowels in 9 x 12", 40, 60, 9, 12, piece.JointRule{Kind: piece.Glued, Dowels: -1}, "make the contact longer by"},
		{"10 mm dowels in 12 mm", 12, 60, 30, 80, piece.JointRule{Kind: piece.Glued, Dowels: 2, Dowel: 10}, "make leg thicker there by 10.8 mm"},
	} {
		for _, sizes := range []piece.Sizes{piece.CoreSize, piece.Finished} {
			w, d, thick, high := tc.w, tc.d, tc.thick, tc.high
			var said []string
			for i := 0; ; i++ {
				p := pair(w, d, thick, high, tc.rule)
				p.Sizes = sizes
				fs := stops(place(t, p, bench()))
				if len(fs) == 0 {
					if i == 0 {
						t.Errorf("%s: it fits as it is", tc.name)
					}
					break
				}
				said = append(said, fs[0].Message+" "+fs[0].Remedy)
				m := says.FindStringSubmatch(fs[0].Remedy)
				if m == nil || i == 3 {
					t.Errorf("%s: no way to a joint: %q", tc.name, said)
					break
				}
				if i == 0 && sizes == piece.CoreSize && !strings.Contains(fs[0].Remedy, tc.first) {
					t.Errorf("%s: %q does not say %q", tc.name, fs[0].Remedy, tc.first)
				}
				by, err := strconv.ParseFloat(m[3], 64)
				if err != nil || by <= 0 {
					t.Fatalf("%s: %q", tc.name, fs[0].Remedy)
				}
				switch of := m[1] + " " + m[2]; {
				case of == "leg wider":
					d += by
				case of == "leg thicker":
					w += by
				case of == "the contact longer" && thick > high, of != "the contact longer" && thick < high:
					thick += by
				default:
					high += by
				}
			}
		}
	}
}

// TestDriverPath puts things in the way of the head's opening in the leg.
func TestDriverPath(t *testing.T) {
	rule := piece.JointRule{Kind: piece.KnockDown, Screw: "M6", Dowels: -1}
	barred := func(members ...piece.Member) *piece.Piece {
		p := pair(40, 60, 30, 80, rule)
		p.Members = append(p.Members, members...)
		return p
	}
	bores := func(r *Result, u Purpose) (out []Bore) {
		for _, b := range r.Bores() {
			if b.Purpose == u {
				out = append(out, b)
			}
		}
		return out
	}

	r := place(t, barred(), bench())
	if len(bores(r, Driver)) != 0 || len(r.Plugs) != 1 || len(stops(r)) > 0 {
		t.Errorf("free: %v %v", r.Plugs, r.Findings)
	}
	// A panel 50 mm behind the leg, in the key's way: it is bored through, and the plug is in the panel's... outside.
	r = place(t, barred(block("panel", 12, 300, 300, geom.V3(-20-50-6, 0, 150))), bench())
	d := bores(r, Driver)
	if len(stops(r)) > 0 || len(d) != 1 || d[0].Member != 2 || !near(d[0].Depth, 12, 1e-9) || d[0].Diameter < 11-1e-9 || !d[0].Shows {
		t.Errorf("panel: %+v %v", d, r.Findings)
	}
	if len(r.Plugs) != 1 || r.Plugs[0].Member != 2 {
		t.Errorf("panel: plugs %+v", r.Plugs)
	}
	// Beyond screw and key nothing matters: 40+... the opening, 45 + 80.
	r = place(t, barred(block("panel", 12, 300, 300, geom.V3(-20-45-80-7, 0, 150))), bench())
	if len(bores(r, Driver)) != 0 || len(stops(r)) > 0 {
		t.Errorf("far panel: %v", r.Findings)
	}
	// A bar that covers half the opening cannot be bored through where the
	// screw would be, but the screw can move aside.
	r = place(t, barred(block("bar", 10, 300, 10, geom.V3(-20-10, 0, 200))), bench())
	if len(stops(r)) > 0 || len(bores(r, Driver)) != 0 {
		t.Errorf("bar: %v %v", bores(r, Driver), r.Findings)
	}
	// A block as deep as no key reaches.
	r = place(t, barred(block("block", 200, 300, 300, geom.V3(-20-100, 0, 150))), bench())
	if fs := stops(r); len(fs) != 1 || fs[0].Code != noPath || !strings.Contains(fs[0].Message, "block") {
		t.Errorf("block: %v", r.Findings)
	}
	// A channel behind the leg. The M6 key's long arm is 80 mm and its short
	// one 28, at 80 + 6/2 - 5/2 mm from the head's seat. Between walls 150 mm
	// apart it turns, between walls 36 mm apart it goes 40 degrees either way
	// from along the walls, which is enough; in a shaft 28 mm square it cannot
	// turn wherever the screw is. In one of 36 mm it could, with the screw to
	// one side.
	wall := func(id string, x, y float64) piece.Member {
		if x == 0 {
			return block(id, 200, 10, 300, geom.V3(-20-100, y+math.Copysign(5, y), 200))
		}
		return block(id, 200, 2*math.Abs(x), 10, geom.V3(-20-100, 0, 200+x+math.Copysign(5, x)))
	}
	for _, tc := range []struct {
		name  string
		walls []piece.Member
		free  bool
	}{
		{"wide channel", []piece.Member{wall("left", 0, 75), wall("right", 0, -75)}, true},
		{"narrow channel", []piece.Member{wall("left", 0, 18), wall("right", 0, -18)}, true},
		{"wide shaft", []piece.Member{wall("left", 0, 18), wall("right", 0, -18), wall("over", 18, 0), wall("under", -18, 0)}, true},
		{"shaft", []piece.Member{wall("left", 0, 14), wall("right", 0, -14), wall("over", 14, 0), wall("under", -14, 0)}, false},
	} {
		p := barred(tc.walls...)
		p.Joints[0].Through = "leg"
		r := place(t, p, bench())
		fs := stops(r)
		if tc.free != (len(fs) == 0) || !tc.free && (fs[0].Code != noPath || !strings.Contains(fs[0].Message, "turned by 60 degrees")) {
			t.Errorf("%s: %v", tc.name, r.Findings)
		}
	}
	// Verify sees it too, in a joint that was made without the shaft.
	r = place(t, barred(), bench())
	said := false
	for _, f := range Verify(barred(wall("left", 0, 14), wall("right", 0, -14), wall("over", 14, 0), wall("under", -14, 0)), r, bench()) {
		said = said || strings.Contains(f.Message, "no room to turn")
	}
	if !said {
		t.Error("Verify does not see that the key cannot turn")
	}
	// Hidden by rule: no plug.
	p := barred()
	p.Surfaces = []piece.SurfaceRule{{Member: "leg", Surface: "*", Show: "bare"}}
	if r = place(t, p, bench()); len(r.Plugs) != 0 {
		t.Errorf("bare: plugs %+v", r.Plugs)
	}
}

// TestGlued: dowels a third to a half of the stock, at least two, 3 mm more
// bore than dowel, and the glue area is the contact less the bores' mouths.
func TestGlued(t *testing.T) {
	r := place(t, pair(60, 60, 20, 80, piece.JointRule{Kind: piece.Glued, Dowels: -1}), bench())
	j := r.Joints[0]
	if len(j.Dowels) != 2 || len(stops(r)) > 0 {
		t.Fatalf("%+v %v", j, r.Findings)
	}
	for _, d := range j.Dowels {
		if d.Diameter < 20.0/3 || d.Diameter > 10 || !d.Glued || !d.Vent {
			t.Errorf("%+v", d)
		}
	}
	if d := j.Dowels[0].Diameter; !near(j.GlueArea, 1600-2*math.Pi/4*d*d, 1e-6) {
		t.Errorf("glue area %v", j.GlueArea)
	}
	// Symmetric about the middle of the contact.
	if m := j.Dowels[0].Center.Lerp(j.Dowels[1].Center, 0.5); m.Dist(r.Contacts[0].Frame.Origin) > 1e-6 {
		t.Errorf("dowels centred at %v", m)
	}
	if len(j.Bores) != 4 || !near(j.Bores[0].Diameter, j.Dowels[0].Diameter+0.2, 1e-9) || j.Bores[0].Fit != 0.15 {
		t.Errorf("bores %+v", j.Bores)
	}
	// A rule for one dowel is obeyed, with a warning.
	r = place(t, pair(60, 60, 20, 80, piece.JointRule{Kind: piece.Glued, Dowels: 1}), bench())
	if len(r.Joints[0].Dowels) != 1 || len(coded(r, "few-dowels")) != 1 {
		t.Errorf("%+v %v", r.Joints[0].Dowels, r.Findings)
	}
}

// TestFinishedSizes: over the veneer, walls are kept in the core that is left.
func TestFinishedSizes(t *testing.T) {
	// An M6 insert takes 8 + 2 x 3.3 = 14.6 mm: a 15 mm rail holds it as core,
	// not when 0.8 mm of veneer are to come off either side.
	rule := piece.JointRule{Kind: piece.KnockDown, Screw: "M6", Dowels: 0}
	p := pair(40, 60, 15, 80, rule)
	if r := place(t, p, bench()); len(stops(r)) != 0 {
		t.Errorf("core: %v", r.Findings)
	}
	p.Sizes = piece.Finished
	if r := place(t, p, bench()); len(stops(r)) != 1 {
		t.Errorf("finished: %v", r.Findings)
	}
}

// TestVerifyFindsFaults spoils a sound result in every way that Verify claims
// to see.
func TestVerifyFindsFaults(t *testing.T) {
	p, s := table(), bench()
	p.Members = append(p.Members, block("post", 60, 60, 300, geom.V3(800, 0, 150)), block("arm", 300, 30, 80, geom.V3(800+30+150, 0, 200)),
		block("panel", 12, 300, 300, geom.V3(800-30-30-6, 0, 150)))
	p.Joints = append(p.Joints, piece.JointRule{Between: [2]string{"post", "arm"}, Kind: piece.KnockDown, Dowels: 2, Screws: 1})
	sound, err := json.Marshal(place(t, p, s))
	if err != nil {
		t.Fatal(err)
	}
	fresh := func() *Result {
		var r Result
		if err := json.Unmarshal(sound, &r); err != nil {
			t.Fatal(err)
		}
		return &r
	}
	// The joint of leg-1 and rail-1, by what its bores are for.
	at := func(r *Result, joint int, u Purpose, n int) *Bore {
		for i := range r.Joints[joint].Bores {
			if b := &r.Joints[joint].Bores[i]; b.Purpose == u {
				if n == 0 {
					return b
				}
				n--
			}
		}
		t.Fatalf("no %s bore %d", u, n)
		return nil
	}
	const rail = 8
	last := len(fresh().Joints) - 1
	for _, tc := range []struct {
		name  string
		spoil func(r *Result)
		says  string
	}{
		{"screw too short", func(r *Result) { r.Joints[rail].Screws[0].Length = 40 }, "thread are in the insert"},
		{"screw not in stock", func(r *Result) { r.Joints[rail].Screws[0].Length = 46 }, "not in the shop"},
		{"screw too long", func(r *Result) { r.Joints[rail].Screws[0].Length = 50 }, "bottom out"},
		{"no run-out", func(r *Result) { at(r, rail, InsertBore, 0).Depth -= 2 }, "wide and"},
		{"wrong insert bore", func(r *Result) { at(r, rail, InsertBore, 0).Diameter = 6.4 }, "wide and"},
		{"clearance hole lets the insert pass", func(r *Result) { at(r, rail, Clearance, 1).Diameter = 8.5 }, "lets the insert"},
		{"seat without depth", func(r *Result) {
			b := at(r, rail, Seat, 0)
			b.Mouth = b.Mouth.Add(b.Axis.Scale(8))
			b.Depth -= 8
		}, "does not lie on surface"},
		{"seat narrow", func(r *Result) { at(r, rail, Seat, 0).Diameter = 10.2 }, "narrow"},
		{"bore too near the side", func(r *Result) {
			b := at(r, rail, DowelBore, 0)
			b.Mouth.Y += 16
		}, "left beside it"},
		{"bore breaks out beyond", func(r *Result) { at(r, rail, DowelBore, 0).Depth = 39.5 }, "beyond its floor"},
		{"bore outside", func(r *Result) { at(r, rail, DowelBore, 0).Mouth.X += 100 }, "does not lie on surface"},
		{"bore outwards", func(r *Result) {
			b := at(r, rail, DowelBore, 0)
			b.Axis = b.Axis.Neg()
		}, "does not go into"},
		{"bores of two joints meet", func(r *Result) {
			z := r.Joints[rail].Screws[0].Head.Z
			d := z - r.Joints[rail+1].Screws[0].Head.Z
			for i := range r.Joints[rail+1].Bores {
				r.Joints[rail+1].Bores[i].Mouth.Z += d
			}
		}, "comes within"},
		{"no dowel bore", func(r *Result) { r.Joints[rail].Bores = r.Joints[rail].Bores[1:] }, "do not take"},
		{"bore of nothing", func(r *Result) { r.Joints[rail].Dowels = r.Joints[rail].Dowels[1:] }, "uses it"},
		{"one ID twice", func(r *Result) { at(r, rail, DowelBore, 0).ID = at(r, rail, DowelBore, 1).ID }, "this ID"},
		{"no screw and no word", func(r *Result) { r.Joints[rail].Screws, r.Joints[rail].Bores, r.Joints[rail].Dowels = nil, nil, nil }, "no finding says why"},
		{"no access bore", func(r *Result) {
			j := &r.Joints[last]
			j.Bores = slices.DeleteFunc(j.Bores, func(b Bore) bool { return b.Purpose == Driver })
		}, "barred by"},
		{"access bore too narrow", func(r *Result) { at(r, last, Driver, 0).Diameter = 9 }, "barred by"},
		{"head bears on nothing", func(r *Result) { r.Joints[rail].Screws[0].Head.X += 26 }, "plastic lie under"},
		{"plug in the air", func(r *Result) { r.Plugs[0].Center.X -= 1 }, "plug does not lie"},
	} {
		r := fresh()
		tc.spoil(r)
		ok := false
		var all []string
		for _, f := range Verify(p, r, s) {
			ok = ok || strings.Contains(f.Message, tc.says)
			all = append(all, f.String())
		}
		if !ok {
			t.Errorf("%s: not found; said %q", tc.name, all)
		}
	}
}

// TestCut: the body of a bore contains the true cylinder from beyond its
// mouth to its floor, and not much more.
func TestCut(t *testing.T) {
	for _, b := range []Bore{
		{ID: "a", Member: 3, Purpose: DowelBore, Mouth: geom.V3(10, 20, 30), Axis: geom.V3(0, 0, 1), Diameter: 8, Depth: 20, Fit: 0.15},
		{ID: "b", Member: 1, Purpose: Seat, Mouth: geom.V3(-4, 2, 7), Axis: geom.V3(2, 3, 6).Unit(), Diameter: 13, Depth: 9, Over: 4, Under: 1},
	} {
		c := b.Cut()
		if c.ID != b.ID || c.Member != b.Member || c.Purpose != string(b.Purpose) || c.Add {
			t.Errorf("%+v", c)
		}
		m, err := kernel.Measure(context.Background(), c.Shape)
		if err != nil {
			t.Fatal(err)
		}
		r := (b.Diameter + b.Fit) / 2
		want := math.Pi * r * r * (max(b.Over, 1) + b.Depth + b.Under)
		if m.Volume < want || m.Volume > 1.02*want {
			t.Errorf("volume %v, cylinder %v", m.Volume, want)
		}
	}
}

func TestContextEnds(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Place(ctx, kernel, table(), bench(), Options{}); err == nil {
		t.Error("an ended context is no error")
	}
	if _, err := Place(context.Background(), kernel, &piece.Piece{Members: []piece.Member{{ID: "void"}}}, bench(), Options{}); err == nil || !strings.Contains(err.Error(), "void") {
		t.Errorf("a member without a shape: %v", err)
	}
	if r, err := Place(context.Background(), kernel, &piece.Piece{}, &shop.Shop{}, Options{}); err != nil || len(r.Joints) > 0 {
		t.Errorf("nothing: %v %v", r, err)
	}
}

var _ = finding.Stop
