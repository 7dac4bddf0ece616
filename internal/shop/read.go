package shop

import (
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/geom"
	"groundwork/internal/given"
	"groundwork/internal/unit"
)

// measure is what a number of a shop file measures.
type measure struct {
	quantity unit.Quantity
	word     string   // the unit it ends up in, "" for a plain number
	extra    []string // unit words that may follow a plain number and change nothing
	percent  bool     // may be written in %
	example  string
}

var (
	lengths      = measure{quantity: unit.Length, word: "mm", example: "19 mm or 3/4 in"}
	masses       = measure{quantity: unit.Mass, word: "g", example: "750 g or 1 kg"}
	times        = measure{quantity: unit.Time, word: "s", example: "90 s or 4 min"}
	counts       = measure{quantity: unit.Plain, example: "4"}
	shares       = measure{quantity: unit.Plain, percent: true, example: "0.25 or 25 %"}
	speeds       = measure{quantity: unit.Plain, word: "mm/s", extra: []string{"mm/s"}, example: "120 or 120 mm/s"}
	gains        = measure{quantity: unit.Plain, word: "mm/s2", extra: []string{"mm/s2", "mm/s²"}, example: "5000 or 5000 mm/s2"}
	flows        = measure{quantity: unit.Plain, word: "mm3/s", extra: []string{"mm3/s", "mm³/s"}, example: "20 or 20 mm3/s"}
	densities    = measure{quantity: unit.Plain, word: "g/cm3", extra: []string{"g/cm3", "g/cm³"}, example: "1.04 or 1.04 g/cm3"}
	stresses     = measure{quantity: unit.Plain, word: "MPa", extra: []string{"MPa"}, example: "36 or 36 MPa"}
	temperatures = measure{quantity: unit.Plain, word: "°C", extra: []string{"°C", "C"}, example: "92 or 92 °C"}
	powers       = measure{quantity: unit.Plain, word: "W", extra: []string{"W"}, example: "120 or 120 W"}
	expansions   = measure{quantity: unit.Plain, word: "1e-6/K", extra: []string{"1e-6/K"}, example: "90 or 90 1e-6/K"}
)

// span is the range in which a value is plausible, both ends included.
// Outside it a unit or a decimal point is wrong, not a shop unusual.
type span struct{ lo, hi float64 }

// reader turns a Document into a Shop.
type reader struct {
	faults   *given.Faults
	currency string
	badForm  bool // keys are missing or of the wrong kind
}

// sound reports whether values read since before can be compared with one
// another. Where one is missing or wrong that would only mislead.
func (r *reader) sound(before int) bool { return !r.badForm && r.faults.Len() == before }

// number reads n, or yields def when it is left out or wrong. what names it in
// faults: "the kerf of laser".
func (r *reader) number(n given.Number, what string, m measure, def float64, ok span) float64 {
	if !n.Written() {
		return def
	}
	text := strings.TrimSpace(n.Text)
	factor := 1.0
	if t, found := strings.CutSuffix(text, "%"); found && m.percent {
		text, factor = strings.TrimSpace(t), 0.01
	}
	for _, w := range m.extra {
		if t, found := strings.CutSuffix(text, w); found && strings.TrimSpace(t) != "" {
			text = strings.TrimSpace(t)
			break
		}
	}
	if strings.HasPrefix(text, "=") {
		r.faults.Add(n.Place, "write the number, as in "+m.example, "an expression cannot stand in a shop file")
		return def
	}
	v, q, err := unit.Parse(text)
	switch {
	case err != nil:
		r.faults.Add(n.Place, "write it as "+m.example, "the %s is no number: %s", what, err)
		return def
	case q != m.quantity && q != unit.Plain:
		r.faults.Add(n.Place, "write it as "+m.example, "the %s is given as %s", what, article(q))
		return def
	}
	v *= factor
	if v < ok.lo || v > ok.hi {
		word := m.word
		if word != "" {
			word = " " + word
		}
		remedy := fmt.Sprintf("keep it between %s and %s%s", num(ok.lo), num(ok.hi), word)
		if v <= 0 && ok.lo > 0 {
			remedy = "make it more than 0; " + remedy
		}
		r.faults.Add(n.Place, remedy, "the %s is %s%s", what, num(v), word)
		return def
	}
	return v
}

func article(q unit.Quantity) string {
	if q == unit.Angle {
		return "an angle"
	}
	return "a " + string(q)
}

func num(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// whole reads a whole number.
func (r *reader) whole(n given.Number, what string, def int, ok span) int {
	v := r.number(n, what, counts, float64(def), ok)
	if v != math.Trunc(v) {
		r.faults.Add(n.Place, "make it whole", "the %s is %s", what, num(v))
		return def
	}
	return int(v)
}

// price reads money, with or without the shop's currency code; 0 when left
// out.
func (r *reader) price(n given.Number, what string) float64 {
	if !n.Written() {
		return 0
	}
	v, code, err := unit.ParseMoney(n.Text)
	switch {
	case err != nil:
		r.faults.Add(n.Place, "write the amount alone, as in 12.50", "the %s is no amount of money: %s", what, err)
	case code != "" && code != r.currency:
		r.faults.Add(n.Place, "give every price in "+r.currency, "the %s is in %s, but the shop reckons in %s", what, code, r.currency)
	case v < 0 || v > 1e6:
		r.faults.Add(n.Place, "give 0 or more, up to a million", "the %s is %s", what, num(v))
	default:
		return v
	}
	return 0
}

// vec2 and vec3 read lists; def where they are left out.
func (r *reader) vec2(ns []given.Number, what string, def geom.Vec2, ok span) geom.Vec2 {
	if len(ns) != 2 {
		return def
	}
	return geom.V2(r.number(ns[0], "first size of "+what, lengths, def.X, ok), r.number(ns[1], "second size of "+what, lengths, def.Y, ok))
}

func (r *reader) vec3(ns []given.Number, what string, m measure, ok span) geom.Vec3 {
	if len(ns) != 3 {
		return geom.Vec3{}
	}
	return geom.V3(r.number(ns[0], what+" in x", m, 0, ok), r.number(ns[1], what+" in y", m, 0, ok), r.number(ns[2], what+" in z", m, 0, ok))
}

var (
	idForm       = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)*$`)
	currencyForm = regexp.MustCompile(`^[A-Z]{3}$`)
	materialForm = regexp.MustCompile(`^[A-Z][A-Z0-9]*(-[A-Z0-9]+)*$`)
)

// maxID is the longest id, so that file names stay usable.
const maxID = 40

// names sees to it that ids can be used in file names and are not taken.
type names map[string]given.Place

func (r *reader) id(t given.Text, what string, taken names) string {
	if !t.Written() {
		return ""
	}
	if !idForm.MatchString(t.Value) || len(t.Value) > maxID {
		r.faults.Add(t.Place, "use lower-case letters, digits and single hyphens, as in oak-thin", "the id %q of a %s cannot be used", t.Value, what)
		return t.Value
	}
	r.once(t.Place, t.Value, what, taken)
	return t.Value
}

// once notes a fault if the name is taken.
func (r *reader) once(p given.Place, name, what string, taken names) {
	if other, ok := taken[name]; ok {
		r.faults.Add(p, fmt.Sprintf("change or remove one; the other stands in line %d", other.Line), "there is a %s %q already", what, name)
		return
	}
	taken[name] = p
}

func or(t given.Text, def string) string {
	if t.Value == "" {
		return def
	}
	return t.Value
}

// liftLimit is what one person should lift, in g: the lifting constant of the
// revised NIOSH lifting equation (1994), 23 kg.
const liftLimit = 23000

func (r *reader) shop(d *Document) *Shop {
	s := &Shop{Name: d.Name.Value, Currency: d.Currency.Value}
	if c := d.Currency; c.Written() && !currencyForm.MatchString(c.Value) {
		r.faults.Add(c.Place, "write three capitals, as in EUR", "%q is no ISO 4217 currency code", c.Value)
	}
	r.currency = s.Currency
	taken := names{}
	for _, p := range d.Printers {
		s.Printers = append(s.Printers, r.printer(p, taken))
	}
	taken = names{}
	for _, f := range d.Filaments {
		s.Filaments = append(s.Filaments, r.filament(f, taken))
	}
	for _, p := range d.Printers {
		for _, k := range p.Log.Keys {
			if _, ok := taken[k.Value]; !ok && idForm.MatchString(k.Value) {
				r.faults.Add(k.Place, given.Suggest(k.Value, slices.Sorted(maps.Keys(taken))), "the log of printer %s has a filament %q, which the shop has not", p.ID.Value, k.Value)
			}
		}
	}
	taken = names{}
	for _, l := range d.Lasers {
		s.Lasers = append(s.Lasers, r.laser(l, taken))
	}
	taken = names{}
	for _, v := range d.Veneers {
		s.Veneers = append(s.Veneers, r.veneer(v, taken))
	}
	taken = names{}
	for _, w := range d.Screws {
		s.Screws = append(s.Screws, r.screw(w, taken))
	}
	taken = names{}
	for _, n := range d.Inserts {
		s.Inserts = append(s.Inserts, r.insert(n, taken))
	}
	sizes := map[bool]names{false: {}, true: {}}
	for _, w := range d.Dowels {
		s.Dowels = append(s.Dowels, r.dowel(w, sizes))
	}
	taken = names{}
	for _, q := range d.Pins {
		s.Pins = append(s.Pins, r.pin(q, taken))
	}
	gap := span{0, 2}
	s.Fits = Fits{
		Hole:       r.number(d.Fits.Hole, "hole fit", lengths, 0.15, gap),
		GluedDowel: r.number(d.Fits.GluedDowel, "gap for a glued dowel", lengths, 0.25, gap),
		LooseDowel: r.number(d.Fits.LooseDowel, "gap for a loose dowel", lengths, 0.3, gap),
		Plug:       r.number(d.Fits.Plug, "gap for a plug", lengths, 0.2, gap),
		BedChamfer: r.number(d.Fits.BedChamfer, "chamfer on the bed", lengths, 0.4, gap),
	}
	taken = names{}
	for _, c := range d.Consumables {
		s.Consumables = append(s.Consumables, Consumable{
			ID: r.id(c.ID, "consumable", taken), Per: c.Per.Value, Unit: c.Unit.Value, Note: c.Note.Value,
			Amount: r.number(c.Amount, "amount of "+c.ID.Value, counts, 0, span{0, 1e6}),
			Price:  r.price(c.Price, "price of "+c.ID.Value),
		})
	}
	s.Labour = r.price(d.Labour, "price of labour")
	s.Electricity = r.price(d.Electricity, "price of electricity")
	s.Bench = r.bench(d.Bench)
	s.Work = r.work(d.Work)
	s.Parcels = r.parcels(d.Parcels)
	s.LiftLimit = r.number(d.LiftLimit, "lift limit", masses, liftLimit, span{1000, 100000})
	return s
}

func (r *reader) printer(d PrinterDoc, taken names) Printer {
	before := r.faults.Len()
	p := Printer{ID: r.id(d.ID, "printer", taken)}
	of := " of printer " + p.ID
	p.Count = r.whole(d.Count, "count"+of, 1, span{1, 1000})
	p.Build = r.vec3(d.Build, "build volume"+of, lengths, span{30, 3000})
	p.Brim = r.number(d.Brim, "brim"+of, lengths, 5, span{0, 100})
	p.Top = r.number(d.Top, "free top"+of, lengths, 2, span{0, 200})
	p.Nozzle = r.number(d.Nozzle, "nozzle"+of, lengths, 0.4, span{0.1, 2})
	p.Price = r.price(d.Price, "price"+of)
	p.Power = r.number(d.Power, "power"+of, powers, 120, span{0, 10000})
	p.Profile = r.profile(d.Profile, p.Nozzle, of)
	p.Log = r.log(d.Log, of)
	if !r.sound(before) {
		return p
	}
	if min(p.Build.X, p.Build.Y) <= 2*p.Brim {
		r.faults.Add(d.Brim.Place, "make the brim narrower", "the brim leaves nothing of the bed%s", of)
	}
	if p.Build.Z <= p.Top {
		r.faults.Add(d.Top.Place, "make it lower", "the free top leaves nothing of the height%s", of)
	}
	return p
}

func (r *reader) profile(d ProfileDoc, nozzle float64, of string) Profile {
	before := r.faults.Len()
	speed := span{1, 2000}
	p := Profile{FillPattern: or(d.FillPattern, "triangles")}
	p.Layer = r.number(d.Layer, "layer height"+of, lengths, 0.7*nozzle, span{0.02, 2})
	p.FirstLayer = r.number(d.FirstLayer, "first layer"+of, lengths, p.Layer, span{0.02, 2})
	p.Line = r.number(d.Line, "bead width"+of, lengths, 1.125*nozzle, span{0.05, 4})
	p.Contours = r.whole(d.Contours, "number of contours"+of, 4, span{1, 50})
	p.CoverLayers = r.whole(d.CoverLayers, "number of cover layers"+of, 5, span{0, 100})
	p.Fill = r.number(d.Fill, "core fill"+of, shares, 0.25, span{0, 1})
	p.OuterSpeed = r.number(d.OuterSpeed, "outer speed"+of, speeds, 120, speed)
	p.InnerSpeed = r.number(d.InnerSpeed, "inner speed"+of, speeds, 200, speed)
	p.FillSpeed = r.number(d.FillSpeed, "fill speed"+of, speeds, 200, speed)
	p.CoverSpeed = r.number(d.CoverSpeed, "cover speed"+of, speeds, 200, speed)
	p.FirstSpeed = r.number(d.FirstSpeed, "first speed"+of, speeds, 50, speed)
	p.TravelSpeed = r.number(d.TravelSpeed, "travel speed"+of, speeds, 300, speed)
	p.Acceleration = r.number(d.Acceleration, "acceleration"+of, gains, 5000, span{10, 100000})
	p.Flow = r.number(d.Flow, "flow"+of, flows, 20, span{0.5, 500})
	p.LayerChange = r.number(d.LayerChange, "layer change"+of, times, 1, span{0, 600})
	p.Retract = r.number(d.Retract, "retract"+of, times, 0.3, span{0, 60})
	p.MinLayer = r.number(d.MinLayer, "shortest layer"+of, times, 8, span{0, 600})
	p.HeatUp = r.number(d.HeatUp, "heat-up"+of, times, 420, span{0, 14400})
	p.Waste = r.number(d.Waste, "waste"+of, shares, 0.05, span{0, 1})
	p.Spread = r.number(d.Spread, "spread"+of, shares, 0.25, span{0, 1})
	if !r.sound(before) {
		return p
	}
	// Layers of a quarter to three quarters of the nozzle are the usual rule;
	// a first layer may be up to the nozzle. Beads narrower than 0.6 or wider
	// than 2 nozzles do not come out as asked (common practice, no source).
	within := func(n given.Number, v, lo, hi float64, what string) {
		const rounding = 1e-9
		if v < lo*nozzle-rounding || v > hi*nozzle+rounding {
			r.faults.Add(n.Place, fmt.Sprintf("keep it between %s mm and %s mm, %g %% to %g %% of the nozzle", num(lo*nozzle), num(hi*nozzle), 100*lo, 100*hi),
				"the %s%s is %s mm with a nozzle of %s mm", what, of, num(v), num(nozzle))
		}
	}
	within(d.Layer, p.Layer, 0.25, 0.75, "layer height")
	if d.FirstLayer.Written() {
		within(d.FirstLayer, p.FirstLayer, 0.25, 1, "first layer")
	}
	within(d.Line, p.Line, 0.6, 2, "bead width")
	if r.sound(before) && p.Line <= max(p.Layer, p.FirstLayer) {
		// The bead is a rectangle with round ends: it has to be wider than high.
		at := d.Line.Place
		if !at.Written() {
			at = d.FirstLayer.Place
		}
		r.faults.Add(at, "make the bead wider or the layers lower", "the bead%s is %s mm wide, no more than a layer is high", of, num(p.Line))
	}
	return p
}

// material is the generic values of one plastic.
type material struct {
	name                                                string
	density, hdt, modulus, strength, zFactor, expansion float64
}

// materials are the middles of generic ranges for prints, solid and flat,
// from memory, as is usual in data sheets; PA-CF wet, its expansion across
// the fibres. Seen: PLA, PETG and ABS bars in Processes 13(9) 2733 (2025), and ABS
// sheet data (1.04 g/cm³, 94e-6/K). A spool's own data sheet is better.
var materials = []material{
	{"PLA", 1.24, 54, 3000, 52, 0.55, 74},
	{"PETG", 1.27, 69, 1800, 42, 0.55, 65},
	{"ABS", 1.04, 92, 1950, 36, 0.45, 90},
	{"ASA", 1.07, 96, 2050, 37, 0.45, 92},
	{"ABS-GF", 1.11, 100, 3050, 42, 0.40, 52},
	{"PA-CF", 1.15, 160, 3000, 62, 0.35, 90},
	{"PC", 1.20, 122, 2200, 61, 0.50, 67},
}

func (r *reader) filament(d FilamentDoc, taken names) Filament {
	f := Filament{ID: r.id(d.ID, "filament", taken), Material: d.Material.Value}
	of := " of filament " + f.ID
	i := slices.IndexFunc(materials, func(m material) bool { return m.name == f.Material })
	var m material
	switch {
	case i >= 0:
		m = materials[i]
	case !d.Material.Written(): // noted
	case !materialForm.MatchString(f.Material):
		var known []string
		for _, m := range materials {
			known = append(known, m.name)
		}
		r.faults.Add(d.Material.Place, given.Suggest(f.Material, known), "the material %q%s is not written in capitals, digits and hyphens", f.Material, of)
	default:
		for _, x := range []struct {
			n   given.Number
			key string
		}{{d.Density, "density"}, {d.HDT, "hdt"}, {d.Modulus, "modulus"}, {d.Strength, "strength"}, {d.ZFactor, "z_factor"}, {d.Expansion, "expansion"}} {
			if !x.n.Written() {
				r.faults.Add(d.Place, "add "+x.key+": from its data sheet", "the %s%s is missing, and no generic value of %s is known", x.key, of, f.Material)
			}
		}
	}
	f.Density = r.number(d.Density, "density"+of, densities, m.density, span{0.5, 4})
	f.Diameter = r.number(d.Diameter, "diameter"+of, lengths, 1.75, span{1, 5})
	f.HDT = r.number(d.HDT, "heat deflection temperature"+of, temperatures, m.hdt, span{30, 400})
	f.Modulus = r.number(d.Modulus, "modulus"+of, stresses, m.modulus, span{10, 50000})
	f.Strength = r.number(d.Strength, "strength"+of, stresses, m.strength, span{1, 500})
	f.ZFactor = r.number(d.ZFactor, "z factor"+of, shares, m.zFactor, span{0.05, 1})
	f.Expansion = r.number(d.Expansion, "expansion"+of, expansions, m.expansion, span{1, 500})
	f.Shrink = r.vec3(d.Shrink, "shrinkage"+of, shares, span{-0.02, 0.05})
	f.MaxFlat = r.number(d.MaxFlat, "longest flat length"+of, lengths, 0, span{10, 3000})
	f.MaxFlow = r.number(d.MaxFlow, "flow"+of, flows, 0, span{0.5, 500})
	f.SpoolMass = r.number(d.SpoolMass, "spool mass"+of, masses, 1000, span{50, 25000})
	f.SpoolPrice = r.price(d.SpoolPrice, "spool price"+of)
	f.Source = or(d.Source, "generic values of "+f.Material+", from memory: read the data sheet")
	return f
}

func (r *reader) laser(d LaserDoc, taken names) Laser {
	before := r.faults.Len()
	l := Laser{ID: r.id(d.ID, "laser bed", taken)}
	of, speed := " of laser bed "+l.ID, span{0.1, 5000}
	l.Bed = r.vec2(d.Bed, "the bed"+of, geom.Vec2{}, span{50, 5000})
	l.Margin = r.number(d.Margin, "margin"+of, lengths, 5, span{0, 200})
	l.Kerf = r.number(d.Kerf, "kerf"+of, lengths, 0.15, span{0, 0.999})
	l.CutSpeed = r.number(d.CutSpeed, "cutting speed"+of, speeds, 20, speed)
	l.MarkSpeed = r.number(d.MarkSpeed, "marking speed"+of, speeds, 100, speed)
	l.Move = r.number(d.Move, "speed between cuts"+of, speeds, 200, speed)
	l.SetUp = r.number(d.SetUp, "set-up"+of, times, 240, span{0, 14400})
	l.Price = r.price(d.Price, "price"+of)
	if r.sound(before) && min(l.Bed.X, l.Bed.Y) <= 2*l.Margin+l.Kerf {
		r.faults.Add(d.Margin.Place, "make the margin narrower", "the margin leaves nothing of the bed%s", of)
	}
	return l
}

func (r *reader) veneer(d VeneerDoc, taken names) Veneer {
	before := r.faults.Len()
	v := Veneer{ID: r.id(d.ID, "veneer", taken), Figure: or(d.Figure, "plain"), Source: d.Source.Value}
	of := " of veneer " + v.ID
	v.Species = or(d.Species, v.ID)
	v.Face = r.number(d.Face, "face"+of, lengths, 0, span{0.1, 3})
	v.Backing = r.number(d.Backing, "backing"+of, lengths, 0, span{0, 2})
	v.Adhesive = r.number(d.Adhesive, "adhesive"+of, lengths, 0, span{0, 0.5})
	v.Neutral = r.number(d.Neutral, "neutral surface"+of, lengths, 0, span{0.01, 5})
	v.Sheet = r.vec2(d.Sheet, "a sheet"+of, geom.Vec2{}, span{50, 6000})
	v.Price = r.price(d.Price, "price"+of)
	v.EdgeMargin = r.number(d.EdgeMargin, "edge margin"+of, lengths, 10, span{0, 200})
	v.BendAlong = r.number(d.BendAlong, "bend with the grain round the curve"+of, counts, 60, span{1, 500})
	v.BendAcross = r.number(d.BendAcross, "bend with the grain along the axis"+of, counts, 30, span{1, 500})
	v.ServiceTemperature = r.number(d.ServiceTemperature, "service temperature"+of, temperatures, 0, span{20, 300})
	v.MinOffcut = r.vec2(d.MinOffcut, "the smallest offcut"+of, geom.V2(50, 300), span{1, 6000})
	v.BlankKerf = r.number(d.BlankKerf, "kerf of blanks"+of, lengths, 0, span{0, 10})
	names := names{}
	for _, o := range d.Offcuts {
		v.Offcuts = append(v.Offcuts, r.offcut(o, of, names))
	}
	if !r.sound(before) {
		return v
	}
	if v.Neutral > v.Stack() {
		r.faults.Add(d.Neutral.Place, "measure it from the core", "the neutral surface%s lies outside its stack of %s mm", of, num(v.Stack()))
	}
	if min(v.Sheet.X, v.Sheet.Y) <= 2*v.EdgeMargin {
		r.faults.Add(d.EdgeMargin.Place, "make the margin narrower", "the edge margin leaves nothing of a sheet%s", of)
	}
	return v
}

// offcut reads a piece of veneer that the shop has.
func (r *reader) offcut(d OffcutDoc, of string, taken names) Offcut {
	before := r.faults.Len()
	o := Offcut{ID: r.id(d.ID, "kept offcut"+of, taken)}
	name := " of offcut " + o.ID + of
	o.Size = r.vec2(d.Size, "the offcut "+o.ID+of, geom.Vec2{}, span{1, 6000})
	o.Count = r.whole(d.Count, "count"+name, 1, span{1, 1000})
	o.Price = r.price(d.Price, "price"+name)
	for _, k := range d.Reserved {
		at := r.vec2(k.At, "the place of a reserved area"+name, geom.Vec2{}, span{0, 6000})
		size := r.vec2(k.Size, "a reserved area"+name, geom.V2(1, 1), span{0.1, 6000})
		if r.sound(before) && (at.X >= o.Size.X || at.Y >= o.Size.Y) {
			r.faults.Add(k.Place, "measure it from the lower left corner, across the grain first", "a reserved area%s lies beside it", name)
		}
		o.Reserved = append(o.Reserved, Reserved{at, size})
	}
	return o
}

// metricHardware is the stock of one thread when a shop file gives only the
// thread.
type metricHardware struct {
	size          string
	diameter      float64
	shortest      float64 // range of lengths of ISO 4762 (from memory)
	longest       float64
	hole, length  float64 // insert: public tables for M4 and M5, from memory for M6 and M8
	mouldingTable float64 // wall round an insert, moulding tables, from memory
}

var threads = []metricHardware{
	{"M4", 4, 6, 40, 5.6, 8.1, 2.1},
	{"M5", 5, 8, 50, 6.4, 9.5, 2.6},
	{"M6", 6, 10, 60, 8.0, 12.7, 3.3},
	{"M8", 8, 12, 80, 10.0, 12.7, 4.5},
}

// nominalLengths is the series of nominal lengths of ISO 4762, as far as
// these threads go.
var nominalLengths = []float64{6, 8, 10, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 80}

func threadOf(size string) metricHardware {
	t, _ := find(threads, func(t metricHardware) bool { return t.size == size })
	return t
}

func (r *reader) screw(d ScrewDoc, taken names) Screw {
	w := Screw{Size: d.Size.Value, Washer: d.Washer == nil || d.Washer.Value}
	if d.Size.Written() {
		r.once(d.Size.Place, w.Size, "screw", taken)
	}
	w.Price = r.price(d.Price, "price of screw "+w.Size)
	w.WasherPrice = r.price(d.WasherPrice, "price of a washer for screw "+w.Size)
	if d.Lengths == nil {
		t := threadOf(w.Size)
		for _, l := range nominalLengths {
			if l >= t.shortest && l <= t.longest {
				w.Lengths = append(w.Lengths, l)
			}
		}
		return w
	}
	if len(d.Lengths) == 0 {
		r.faults.Add(d.Size.Place, "list its lengths, or take the key lengths out for the ordinary ones", "the screw %s has no lengths", w.Size)
	}
	for _, n := range d.Lengths {
		before := r.faults.Len()
		l := r.number(n, "length of a screw "+w.Size, lengths, 0, span{3, 500})
		if r.faults.Len() > before {
			continue
		}
		if slices.Contains(w.Lengths, l) {
			r.faults.Add(n.Place, "take one of them out", "the screw %s has the length %s mm twice", w.Size, num(l))
		}
		w.Lengths = append(w.Lengths, l)
	}
	slices.Sort(w.Lengths) // any order may be written; the joint stage wants the shortest first
	return w
}

func (r *reader) insert(d InsertDoc, taken names) Insert {
	before := r.faults.Len()
	n := Insert{Size: d.Size.Value}
	if d.Size.Written() {
		r.once(d.Size.Place, n.Size, "insert", taken)
	}
	t, of := threadOf(n.Size), " of insert "+n.Size
	const insertWall = 2.4 // FDM bosses: J. Manuf. Mater. Process. 7(1) 42, 2023
	n.Hole = r.number(d.Hole, "bore"+of, lengths, t.hole, span{2, 30})
	n.Outer = r.number(d.Outer, "outer diameter"+of, lengths, n.Hole+0.3, span{2, 30})
	n.Length = r.number(d.Length, "length"+of, lengths, t.length, span{2, 60})
	n.Melt = r.number(d.Melt, "melt depth"+of, lengths, 1, span{0, 20})
	n.MinWall = r.number(d.MinWall, "wall"+of, lengths, max(insertWall, t.mouldingTable), span{0.5, 30})
	n.Price = r.price(d.Price, "price"+of)
	if !r.sound(before) {
		return n
	}
	if n.Outer < n.Hole {
		r.faults.Add(d.Outer.Place, "make the bore 0.1 mm to 0.3 mm smaller than the insert", "the insert %s, %s mm, would fall through its bore of %s mm", n.Size, num(n.Outer), num(n.Hole))
	}
	if n.Hole <= t.diameter {
		r.faults.Add(d.Hole.Place, "measure the insert again", "the bore%s, %s mm, is no larger than its thread", of, num(n.Hole))
	}
	return n
}

// dowel reads a dowel; a bought and a printed one may be of the same size.
func (r *reader) dowel(d DowelDoc, taken map[bool]names) Dowel {
	before := r.faults.Len()
	w := Dowel{
		Diameter: r.number(d.Diameter, "diameter of a dowel", lengths, 0, span{2, 40}),
		Length:   r.number(d.Length, "length of a dowel", lengths, 0, span{5, 400}),
		Printed:  d.Printed.Value,
		Price:    r.price(d.Price, "price of a dowel"),
	}
	if !r.sound(before) {
		return w
	}
	if w.Length < 2*w.Diameter {
		r.faults.Add(d.Length.Place, "look at the order of diameter and length", "a dowel of %s mm is only %s mm long", num(w.Diameter), num(w.Length))
	}
	kind := "bought dowel"
	if w.Printed {
		kind = "printed dowel"
	}
	r.once(d.Place, fmt.Sprintf("%s x %s", num(w.Diameter), num(w.Length)), kind, taken[w.Printed])
	return w
}
