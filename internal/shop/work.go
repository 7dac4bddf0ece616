package shop

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"groundwork/internal/given"
)

// Work is who works in the shop and when, and what has to be waited for.
// Times in s. The waits are defaults for a warm, dry room (21 °C): what the
// maker of the glue, filler, veneer or finish says is better.
type Work struct {
	Persons       int
	Hours         Hours
	Holidays      []Date // in order: nobody works
	NightPrinting bool   // printers go on when nobody is there
	Clamps        int

	GlueHold    float64 // in clamps
	GlueCure    float64 // from gluing until a seam may be worked and loaded
	FillerDry   float64
	SealerDry   float64
	Acclimatise float64 // veneer lies open in the room before it is cut
	BondFirst   float64 // from laying until it may be trimmed
	BondWork    float64 // until it may be sanded
	BondFull    float64 // until finish may go on
	Recoat      float64 // from one coat to the next
	Handle      float64 // from the last coat until it may be put together
	Cure        float64 // until it may be used or packed
	Retighten   float64 // from assembly until screws are tightened again
}

// Hours are the hours of work of each day of the week, in order, none for a
// day without.
type Hours struct {
	Monday, Tuesday, Wednesday, Thursday, Friday, Saturday, Sunday []Span
}

// Of is the hours of a day of the week.
func (h Hours) Of(d time.Weekday) []Span {
	return [...][]Span{h.Sunday, h.Monday, h.Tuesday, h.Wednesday, h.Thursday, h.Friday, h.Saturday}[d]
}

// Span is from when to when, s after midnight.
type Span [2]float64

// Date is a day of the calendar, "2006-01-02".
type Date string

// WorkDoc is who works when, and what has to be waited for.
type WorkDoc struct {
	given.Place   `json:"-"`
	Persons       given.Number `json:"persons" jsonschema_description:"How many work on a piece at a time; 1 when left out."`
	Hours         *HoursDoc    `json:"hours" jsonschema_description:"Hours of work by the day of the week; Monday to Friday from 8:00 to 12:00 and from 13:00 to 17:00 when left out (common practice, no source)."`
	Holidays      []given.Text `json:"holidays" jsonschema:"maxItems=1000" jsonschema_description:"Days on which nobody works, such as 2027-01-01."`
	NightPrinting *given.Flag  `json:"night_printing" jsonschema_description:"Whether printers go on when nobody is there; true when left out (common practice, no source: ask who insures the shop)."`
	Clamps        given.Number `json:"clamps" jsonschema_description:"How many clamps there are; 12 when left out (common practice, no source)."`
	GlueHold      given.Number `json:"glue_hold" jsonschema_description:"Time in clamps; 2 h when left out (cements may be handled after 1 to 2 h: common practice, no source)."`
	GlueCure      given.Number `json:"glue_cure" jsonschema_description:"From gluing until a seam may be worked and loaded; 24 h when left out (cement, cyanoacrylate and acrylic alike: common practice, no source)."`
	FillerDry     given.Number `json:"filler_dry" jsonschema_description:"Drying of filler before it is sanded; 2 h when left out (common practice, no source)."`
	SealerDry     given.Number `json:"sealer_dry" jsonschema_description:"Drying of sealer before veneer is laid on it; 4 h when left out (common practice, no source)."`
	Acclimatise   given.Number `json:"acclimatise" jsonschema_description:"How long veneer lies open in the room before it is cut; 48 h when left out (trade guides: 24 h at least, 48 h better)."`
	BondFirst     given.Number `json:"bond_first" jsonschema_description:"From laying veneer until it is trimmed; 20 min when left out (half of an acrylic adhesive's bond: from memory)."`
	BondWork      given.Number `json:"bond_work" jsonschema_description:"From laying veneer until it is sanded; 24 h when left out (nine tenths of the bond: from memory)."`
	BondFull      given.Number `json:"bond_full" jsonschema_description:"From laying veneer until the first coat; 72 h when left out (trade guides: the bond grows for 72 h)."`
	Recoat        given.Number `json:"recoat" jsonschema_description:"From one coat of finish to the next; 4 h when left out (finishing guides: 2 to 6 h, and they vary)."`
	Handle        given.Number `json:"handle" jsonschema_description:"From the last coat until parts may be put together; 12 h when left out (finishing guides: 8 to 12 h)."`
	Cure          given.Number `json:"cure" jsonschema_description:"From the last coat until the piece may be used or packed; 7 d when left out (guides say from 24 h to 30 d: 7 d for light use, 30 d for hard)."`
	Retighten     given.Number `json:"retighten" jsonschema_description:"From putting together until screws are tightened again, for plastic under a screw gives way; 24 h when left out (common practice, no source)."`
}

// HoursDoc is the hours of work of a week. A day that is left out is free.
type HoursDoc struct {
	given.Place `json:"-"`
	Monday      []given.Text `json:"monday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Mondays, as in [\"8:00-12:00\", \"13:00-17:00\"]; none when left out."`
	Tuesday     []given.Text `json:"tuesday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Tuesdays; none when left out."`
	Wednesday   []given.Text `json:"wednesday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Wednesdays; none when left out."`
	Thursday    []given.Text `json:"thursday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Thursdays; none when left out."`
	Friday      []given.Text `json:"friday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Fridays; none when left out."`
	Saturday    []given.Text `json:"saturday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Saturdays; none when left out."`
	Sunday      []given.Text `json:"sunday" jsonschema:"maxItems=6" jsonschema_description:"Hours on Sundays; none when left out."`
}

func (r *reader) work(d WorkDoc) Work {
	const h, day = 3600, 86400
	wait := span{0, 60 * day}
	return Work{
		Persons:       r.whole(d.Persons, "number of persons", 1, span{1, 100}),
		Hours:         r.hours(d.Hours),
		Holidays:      r.holidays(d.Holidays),
		NightPrinting: d.NightPrinting == nil || d.NightPrinting.Value,
		Clamps:        r.whole(d.Clamps, "number of clamps", 12, span{2, 1000}),
		GlueHold:      r.number(d.GlueHold, "time in clamps", times, 2*h, wait),
		GlueCure:      r.number(d.GlueCure, "cure of glue", times, 24*h, wait),
		FillerDry:     r.number(d.FillerDry, "drying of filler", times, 2*h, wait),
		SealerDry:     r.number(d.SealerDry, "drying of sealer", times, 4*h, wait),
		Acclimatise:   r.number(d.Acclimatise, "time that veneer lies open", times, 48*h, wait),
		BondFirst:     r.number(d.BondFirst, "bond before trimming", times, h/3, wait),
		BondWork:      r.number(d.BondWork, "bond before sanding", times, 24*h, wait),
		BondFull:      r.number(d.BondFull, "bond before finish", times, 72*h, wait),
		Recoat:        r.number(d.Recoat, "time between coats", times, 4*h, wait),
		Handle:        r.number(d.Handle, "time before parts are handled", times, 12*h, wait),
		Cure:          r.number(d.Cure, "cure of finish", times, 7*day, wait),
		Retighten:     r.number(d.Retighten, "time before screws are tightened again", times, 24*h, wait),
	}
}

// least is the shortest span of work that a shop is planned by, s: below it
// not even a blank can be cut.
const least = 15 * 60

func (r *reader) hours(d *HoursDoc) Hours {
	usual := []Span{{8 * 3600, 12 * 3600}, {13 * 3600, 17 * 3600}}
	if d == nil {
		return Hours{Monday: usual, Tuesday: usual, Wednesday: usual, Thursday: usual, Friday: usual}
	}
	before := r.faults.Len()
	h := Hours{
		Monday: r.spans(d.Monday), Tuesday: r.spans(d.Tuesday), Wednesday: r.spans(d.Wednesday), Thursday: r.spans(d.Thursday),
		Friday: r.spans(d.Friday), Saturday: r.spans(d.Saturday), Sunday: r.spans(d.Sunday),
	}
	if !r.sound(before) {
		return h
	}
	for day := range time.Weekday(7) {
		if len(h.Of(day)) > 0 {
			return h
		}
	}
	r.faults.Add(d.Place, "give the hours of one day at least, or take the key hours out for the usual ones", "nobody ever works in this shop")
	return h
}

func (r *reader) spans(ts []given.Text) []Span {
	var list []Span
	for _, t := range ts {
		if !t.Written() {
			continue // noted
		}
		from, to, ok := strings.Cut(t.Value, "-")
		a, begins := clock(from)
		b, ends := clock(to)
		switch {
		case !ok || !begins || !ends:
			r.faults.Add(t.Place, "write it as \"8:00-12:00\", from 0:00 to 24:00", "%q tells no hours of work", t.Value)
		case b-a < least:
			r.faults.Add(t.Place, "give the earlier time first, and 15 min at least", "%s is too short a time to work in", t.Value)
		case len(list) > 0 && a < list[len(list)-1][1]:
			r.faults.Add(t.Place, "write them in order", "the hours %s begin before those before them end", t.Value)
		default:
			list = append(list, Span{a, b})
		}
	}
	return list
}

// clock reads a time of the day: 8, 8:00 or 17:30.
func clock(s string) (seconds float64, ok bool) {
	hours, minutes, written := strings.Cut(strings.TrimSpace(s), ":")
	if !written {
		minutes = "00"
	}
	h, err := strconv.ParseUint(hours, 10, 8)
	m, err2 := strconv.ParseUint(minutes, 10, 8)
	if err != nil || err2 != nil || len(hours) > 2 || len(minutes) != 2 || m > 59 || h*60+m > 24*60 {
		return 0, false
	}
	return float64(h*3600 + m*60), true
}

func (r *reader) holidays(ts []given.Text) []Date {
	var list []Date
	taken := names{}
	for _, t := range ts {
		if d, err := time.Parse(time.DateOnly, t.Value); err != nil || d.Year() < 1900 {
			r.faults.Add(t.Place, "write it as 2027-01-01", "the holiday %q is no day of the calendar", t.Value)
			continue
		}
		r.once(t.Place, t.Value, "holiday", taken)
		list = append(list, Date(t.Value))
	}
	slices.Sort(list)
	return list
}
