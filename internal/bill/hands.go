package bill

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"groundwork/internal/fixture"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/veneer"
)

// Lines of hand work. Those of fixtures have names of the piece's lines, and
// stand in their own section.
const (
	Loading    = "loading and clearing printers"
	Inserts    = "setting inserts"
	DryFit     = "dry fitting"
	Gluing     = "gluing seams"
	Ground     = "sanding and sealing cores"
	Measuring  = "measuring and entering measures"
	Blanks     = "cutting blanks and tending the laser"
	Watching   = "watching the laser"
	Laying     = "laying veneer"
	Trimming   = "trimming"
	Joining    = "gluing members"
	Sanding    = "sanding veneer"
	Sample     = "finish sample"
	Finishing  = "finishing"
	Assembly   = "assembly"
	Tightening = "tightening again"
	Plugging   = "fitting plugs"
	LookOver   = "looking over and handing over"
	Testing    = "measuring coupons"
)

// hands is every line of the piece in the order of the work.
var hands = []string{
	Loading, Inserts, DryFit, Gluing, Ground, Measuring, Blanks, Watching, Laying, Trimming, Joining, Sanding, Sample, Finishing,
	Assembly, Tightening, Plugging, LookOver,
}

// Whole is what work is counted of that is done once for the piece, and Coupons
// what the measuring of coupons is counted of.
const (
	Whole   = "piece"
	Coupons = "coupons"
)

// Unpacking is what the unpacking of the veneer is counted of, in the line Blanks.
const Unpacking = "veneer"

// What the work at the finish sample is counted of, in its order.
const (
	SampleLaid   = "sample/lay"
	SampleSanded = "sample/sand"
	SampleCoated = "sample/coats" // all coats
)

// Screw is what the setting of a joint's screw n, from 0, is counted of.
func Screw(joint string, n int) string { return fmt.Sprintf("%s/%d", joint, n+1) }

// Grits that veneer is sanded with, and coats of finish: the upper end of three
// to six wipe-on coats (finishing guides vary).
var grits = []string{"P180", "P220"}

const coats = 4

// Grits is the grits that veneer is sanded with, coarse ones first.
func Grits() []string { return slices.Clone(grits) }

// Coats is how many coats of finish are counted.
const Coats = coats

// handTimes in seconds for one of each, with everything ready at hand. Common
// practice, no source: replace them by what your own bench takes.
var handTimes = struct {
	loadPrint, seam, dowel, insert, screw, leaf, trimPerMetre, groundPerSquareMetre, sandPerSquareMetre, coatPerSquareMetre, lap, blank float64
	fit, fitFace, measure, enter, unpack, turnScrew, plug, lookOver, coupons                                                            float64
	sample, sampleSanded, sampleCoat                                                                                                    float64
}{
	loadPrint: 300, seam: 420, dowel: 45, insert: 60, screw: 60, leaf: 300, trimPerMetre: 120,
	groundPerSquareMetre: 3600, sandPerSquareMetre: 600, coatPerSquareMetre: 900, lap: 600, blank: 240,
	fit: 300, fitFace: 60, // putting something together dry, and for every seam or joint of it
	measure: 300, enter: 600, // a body; then entering all, and looking at the new cut sheets
	unpack: 600, turnScrew: 20, plug: 60, lookOver: 900, coupons: 3600,
	sample: 600, sampleSanded: 180, sampleCoat: 120, // a piece as large as a hand of each kind of veneer, on a spare print
}

// Hand is hand work at one thing: a load, body, seam, joint, blank, pattern or
// lap by its ID, or one of the words above.
type Hand struct {
	Section Section // Labour, or Fixtures
	Line    string  // item of the bill's line
	Of      string
	Seconds int64
}

// count is what a line of hand work counts, for its note.
type count struct {
	amount float64
	format string // with the amount, and the unit time in words
}

// work gathers hand work.
type work struct {
	hands  []Hand
	counts map[string][]count // by section and line, in order
}

func (w *work) add(s Section, line, of string, seconds float64, counts ...count) {
	if seconds <= 0 {
		return
	}
	w.hands = append(w.hands, Hand{s, line, of, int64(math.Round(seconds))})
	key := string(s) + "/" + line
	for _, c := range counts {
		if c.amount == 0 {
			continue
		}
		i := slices.IndexFunc(w.counts[key], func(o count) bool { return o.format == c.format })
		if i < 0 {
			w.counts[key] = append(w.counts[key], c)
			continue
		}
		w.counts[key][i].amount += c.amount
	}
}

// each is so many of something, with the time of one. The word for it is a format too:
// it has no percent sign.
func each(n float64, what string, seconds float64) count {
	return count{n, what + ": %.4g x " + minutes(seconds)}
}

func minutes(s float64) string {
	if s < 60 || math.Mod(s, 60) != 0 {
		return fmt.Sprintf("%g s", s)
	}
	return fmt.Sprintf("%g min", s/60)
}

// note is what a line counts, in words.
func (w *work) note(s Section, line string) string {
	var out []string
	for _, c := range w.counts[string(s)+"/"+line] {
		out = append(out, fmt.Sprintf(c.format, c.amount))
	}
	return strings.Join(out, "; ")
}

// labour counts the hand work of the piece and of its fixtures, thing by thing;
// a line of the bill is the sum of its things.
func (b *Bill) labour(in Inputs) {
	w := &work{counts: map[string][]count{}}
	w.cores(in)
	w.veneer(in)
	w.together(in)
	w.fixtures(in)
	b.Hands = w.hands
	line := func(s Section, item string) {
		var seconds int64
		for _, h := range w.hands {
			if h.Section == s && h.Line == item {
				seconds += h.Seconds
			}
		}
		if seconds == 0 {
			return
		}
		q := float64(seconds) / 3600
		b.Lines = append(b.Lines, Line{Section: s, Item: item, Quantity: q, Unit: "h", Price: in.Shop.Labour, Cost: q * in.Shop.Labour, Note: w.note(s, item), Seconds: seconds, Unpriced: in.Shop.Labour == 0})
		if s == Labour {
			b.LabourSeconds += float64(seconds)
		} else {
			b.FixtureLabourSeconds += float64(seconds)
		}
	}
	for _, item := range hands {
		line(Labour, item)
	}
	line(Fixtures, Loading)
	line(Fixtures, Testing)
}

// cores counts printing, inserts and the gluing of bodies.
func (w *work) cores(in Inputs) {
	h := handTimes
	for _, l := range in.Printing.Loads {
		w.add(Labour, Loading, l.ID, h.loadPrint, each(1, "loads", h.loadPrint))
	}
	for _, j := range in.Joints.Joints {
		for i := range j.Screws {
			w.add(Labour, Inserts, Screw(j.ID, i), h.insert, each(1, "inserts", h.insert))
		}
	}
	for b, it := range in.Seams.Bodies {
		n := 0.0
		for _, s := range in.Seams.Seams {
			if s.Body == b {
				n++
			}
		}
		if n > 0 {
			w.add(Labour, DryFit, it.ID, h.fit+h.fitFace*n, each(1, "dry fits", h.fit), each(n, "seams and joints", h.fitFace))
		}
	}
	for _, s := range in.Seams.Seams {
		n := float64(len(s.Dowels))
		w.add(Labour, Gluing, s.ID, h.seam+h.dowel*n, each(1, "seams", h.seam), each(n, "dowels", h.dowel))
	}
}

// veneer counts from the bare core to the last coat.
func (w *work) veneer(in Inputs) {
	h := handTimes
	const squareMetre = 1e-6
	measured := map[string]bool{}
	held := false
	for _, p := range in.Patterns {
		m2 := p.NetArea * squareMetre
		var edge float64
		for _, loop := range p.Gross {
			edge += loop.Perimeter() / 1000
		}
		w.add(Labour, Ground, p.ID, h.groundPerSquareMetre*m2, each(m2, "m2", h.groundPerSquareMetre))
		w.add(Labour, Laying, p.ID, h.leaf, each(1, "leaves", h.leaf))
		w.add(Labour, Trimming, p.ID, h.trimPerMetre*edge, each(edge, "m", h.trimPerMetre))
		w.add(Labour, Sanding, p.ID, float64(len(grits))*h.sandPerSquareMetre*m2, each(float64(len(grits))*m2, "m2 in all grits", h.sandPerSquareMetre))
		w.add(Labour, Finishing, p.ID, coats*h.coatPerSquareMetre*m2, each(coats*m2, "m2 in all coats", h.coatPerSquareMetre))
		if p.Release == "" {
			continue
		}
		held = true
		if b := in.bodyOf(p.Member); b >= 0 && !measured[in.Seams.Bodies[b].ID] {
			id := in.Seams.Bodies[b].ID
			measured[id] = true
			w.add(Labour, Measuring, id, h.measure, each(1, "bodies", h.measure))
		}
	}
	var kinds []string
	for _, p := range in.Patterns {
		if !slices.Contains(kinds, p.Veneer) {
			kinds = append(kinds, p.Veneer)
		}
	}
	n := float64(len(kinds))
	w.add(Labour, Sample, SampleLaid, h.sample*n, each(n, "laid", h.sample))
	w.add(Labour, Sample, SampleSanded, h.sampleSanded*n, each(n, "sanded", h.sampleSanded))
	w.add(Labour, Sample, SampleCoated, h.sampleCoat*coats*n, each(coats*n, "coats", h.sampleCoat))
	if held {
		w.add(Labour, Measuring, Whole, h.enter, each(1, "entering", h.enter))
	}
	for _, l := range in.Layout.Laps {
		w.add(Labour, Laying, l.ID, h.lap, each(1, "laps", h.lap))
	}
	if len(in.Sheets.Blanks) > 0 {
		w.add(Labour, Blanks, Unpacking, h.unpack, each(1, "unpacking", h.unpack))
	}
	for i, s := range LaserTimes(in.Sheets, in.Patterns, in.Shop) {
		id := in.Sheets.Blanks[i].ID
		w.add(Labour, Blanks, id, h.blank, each(1, "blanks", h.blank))
		// A laser is never left alone (a rule of every workshop with one): who tends
		// it is there for as long as it cuts.
		w.add(Labour, Watching, id, math.Ceil(s-h.blank), count{math.Ceil(max(0, s-h.blank)) / 60, "%.1f min of cutting beyond the time of the blank"})
	}
}

// together counts gluing members and all that follows finish.
func (w *work) together(in Inputs) {
	h := handTimes
	across, screws := 0.0, 0.0
	for _, j := range in.Joints.Joints {
		dowels, n := float64(len(j.Dowels)), float64(len(j.Screws))
		screws += n
		apart := in.across(j)
		if apart {
			across++
		}
		switch {
		case j.Kind != piece.Glued:
			w.add(Labour, Assembly, j.ID, h.screw*n+h.dowel*dowels, each(n, "screws", h.screw), each(dowels, "dowels", h.dowel))
		case apart:
			w.add(Labour, Joining, j.ID, h.seam+h.dowel*dowels, each(1, "joints", h.seam), each(dowels, "dowels", h.dowel))
		}
	}
	if across > 0 {
		w.add(Labour, DryFit, Whole, h.fit+h.fitFace*across, each(1, "dry fits", h.fit), each(across, "seams and joints", h.fitFace))
	}
	w.add(Labour, Tightening, Whole, h.turnScrew*screws, each(screws, "screws", h.turnScrew))
	k := float64(len(in.Joints.Plugs))
	w.add(Labour, Plugging, Whole, h.plug*k, each(k, "plugs", h.plug))
	w.add(Labour, LookOver, Whole, h.lookOver, each(1, "pieces", h.lookOver))
}

// fixtures counts what is done for them, and for coupons.
func (w *work) fixtures(in Inputs) {
	h := handTimes
	if in.Fixtures == nil || in.FixturePrinting == nil {
		return
	}
	for _, l := range in.FixturePrinting.Loads {
		w.add(Fixtures, Loading, l.ID, h.loadPrint, each(1, "loads", h.loadPrint))
	}
	if slices.ContainsFunc(in.Fixtures.Fixtures, func(f fixture.Fixture) bool { return f.Kind == fixture.Coupon }) {
		w.add(Fixtures, Testing, Coupons, h.coupons, each(1, "sets, once for a shop and a filament", h.coupons))
	}
}

// bodyOf is the body that a member is printed in, -1 for none.
func (in Inputs) bodyOf(member int) int {
	for b, it := range in.Seams.Bodies {
		if slices.Contains(it.Members, member) {
			return b
		}
	}
	return -1
}

// across is whether a joint's members are in different bodies.
func (in Inputs) across(j joint.Joint) bool {
	for _, c := range in.Joints.Contacts {
		if c.ID == j.Contact {
			return in.bodyOf(c.A.Member) != in.bodyOf(c.B.Member)
		}
	}
	for _, c := range in.Joints.Rounds {
		if c.ID == j.Contact {
			return in.bodyOf(c.A.Member) != in.bodyOf(c.B.Member)
		}
	}
	return false
}

// LaserTimes is how long the laser is at every blank, s: set-up unless it is cut
// by knife, cutting at speed along every outline, and a move to each cut of a
// quarter of the bed's diagonal on average.
func LaserTimes(sheets *sheet.Result, patterns []veneer.Pattern, s *shop.Shop) []float64 {
	t := make([]float64, len(sheets.Blanks))
	for _, l := range s.Lasers {
		if l.ID != sheets.Laser {
			continue
		}
		for i, b := range sheets.Blanks {
			if !b.ByKnife {
				t[i] = l.SetUp
			}
		}
		for _, p := range sheets.Placements {
			if p.Blank < 0 {
				continue
			}
			for _, loop := range patterns[p.Pattern].Gross {
				t[p.Blank] += loop.Perimeter() / l.CutSpeed
				if l.Move > 0 {
					t[p.Blank] += l.Bed.Len() / 4 / l.Move
				}
			}
		}
	}
	return t
}
