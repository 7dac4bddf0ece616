package printing

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"groundwork/internal/geom"
	"groundwork/internal/shop"
)

// Reason is one term in the choice of a pose. The pose with the least sum of
// costs is taken.
type Reason struct {
	Name  string  // time, plastic, bed, supports, strength, standing, steadiness, warping, mating-face, diagonal, tilted
	Value float64 // what was measured
	Unit  string  // of Value
	Cost  float64 // minutes of printing that it is worth
	Told  string  // the same in words
}

// Across is how a print bears the pull across its layers.
type Across struct {
	Tension float64 // MPa, the greatest over all load cases
	Parts   float64 // MPa, at which layers part: the filament's strength times its Z factor
	Margin  float64 // Parts / Tension, +Inf for no tension
}

// What things are worth, in minutes of printing. All are common practice,
// no source, but gram: at 22 for a kilogram, and 0.44 for an hour of a printer and its
// current, a gram costs as much as three minutes.
const (
	gram    = 3.0  // of filament
	hand    = 10.0 // a minute of hand work: it cannot be done overnight
	serving = 5.0  // min of hand work for a load: clear, clean, start, look at the first layer

	supportFill = 0.15 // share of the volume beneath an overhang that is filled
	dressing    = 2e-3 // min of hand work for a mm² of overhang: break supports off, scrape, fill, sand

	loose   = 0.05 // chance of a failed print, of a foot with hardly any contact, and of one as slender as
	sways   = 4.0  // times the least width of the foot
	curls   = 0.5  // chance of a face lifting, when twice as long as is good for the filament
	chamfer = 0.25 // min of hand work for the edges of a mating face
	skewed  = 1.0  // a part that is not square to the bed
	lies    = 60.0 // a thread that stands though it could lie, where no stress is known
	leans   = 1000.0
)

// enough is how many times the tension across layers the strength across them
// must be, and ample from when on more of it is worth nothing: common practice, no source.
const (
	enough = 3.0
	ample  = 6.0
)

// risk is what tension across layers costs: nothing up to a sixth of the strength,
// an hour at a third, and a hundred hours for as much again, which is more than
// anything else can cost.
func risk(tension, parts float64) float64 {
	r := tension * enough / parts
	if r <= 1 {
		from := enough / ample
		k := max(0, (r-from)/(1-from))
		return 60 * k * k
	}
	return 60 + 6000*(r-1)
}

// setting is what poses of one segment on one printer are judged by.
type setting struct {
	machine
	room     geom.Vec3 // usable volume, in core sizes
	filament shop.Filament
	along    geom.Vec3  // of the greatest pull, or zero
	down     *geom.Vec3 // must point to the bed, nil where anything may
	mating   []geom.Plane
	bridge   float64
	gap      float64
	across   func(up geom.Vec3) float64 // nil when no stress is known
}

// strong reports whether tension across layers can be judged.
func (s *setting) strong() bool { return s.across != nil && parts(s.filament) > 0 }

// parts is the stress, MPa, at which layers part.
func parts(f shop.Filament) float64 { return f.Strength * f.ZFactor }

func (p *pose) add(name string, value float64, unit string, cost float64, told string, a ...any) {
	p.why = append(p.why, Reason{name, value, unit, cost, fmt.Sprintf(told, a...)})
	p.cost += cost
}

// judge costs a pose but for the tension across its layers.
func (b *body) judge(f geom.Frame, s *setting, flat bool) pose {
	p := pose{frame: f, flat: flat}
	down := f.Z.Neg()
	height := 0.0
	all := make([]geom.Vec2, len(b.points))
	var rest []geom.Vec2
	for i, q := range b.points {
		l := f.Local(q)
		height = max(height, l.Z)
		all[i] = l.XY()
		if l.Z < onBed {
			rest = append(rest, l.XY())
		}
	}
	outline := hull2(all)
	p.contact = hull2(rest)
	contact := 0.0
	for i, t := range b.triangles {
		if b.normals[i].Dot(down) > sameWay && f.Local(b.points[t[0]]).Z < onBed && f.Local(b.points[t[1]]).Z < onBed && f.Local(b.points[t[2]]).Z < onBed {
			contact += b.areas[i]
		}
	}

	seconds, plastic := b.quick(s.machine, f.Z, height, contact)
	p.seconds, p.grams = seconds, plastic*s.filament.Density/1000
	p.add("time", seconds/60, "min", seconds/60, "about %.0f min on the machine, %d layers", seconds/60, s.layers(height))
	p.add("plastic", p.grams, "g", gram*p.grams, "about %.0f g", p.grams)
	// Every part pays for as much of a load as it takes of the bed.
	share := (outline.Area() + outline.Perimeter()*s.gap/2) / (s.room.X * s.room.Y)
	p.add("bed", share, "share", share*(s.HeatUp/60+serving*hand), "%.0f %% of the bed", 100*share)

	lean := leanFooted
	if contact == 0 {
		lean = leanUnfooted
	}
	p.overhang, p.under = b.overhang(f, s.bridge, lean)
	if p.overhang > 0 {
		p.support = s.support(p.overhang, p.under, s.filament)
		p.add("supports", p.overhang, "mm²", p.support.Seconds/60+gram*p.support.Grams+hand*dressing*p.overhang,
			"%.0f mm² hang over, %.0f g of supports beneath", p.overhang, p.support.Grams)
	}
	if !s.strong() {
		// Layers part before they tear, so a long body lies down. Slenderness runs
		// from 0 for a cube to 1 for a thread.
		slender, axis := 0.0, b.axes[0]
		if b.spread[0] > 0 {
			slender = 1 - b.spread[1]/b.spread[0]
		}
		if s.along != (geom.Vec3{}) {
			slender, axis = 1, s.along.Unit()
		}
		rise := axis.Dot(f.Z)
		p.standing = slender * rise * rise
		if p.standing > 1e-9 {
			p.add("standing", math.Abs(rise), "cosine", lies*p.standing, "its length stands %.0f degrees from the bed", math.Asin(min(1, math.Abs(rise)))*180/math.Pi)
		}
	}
	lost := seconds/60 + gram*p.grams + serving*hand // a failed print
	touch := min(1, contact/outline.Area())
	thin := 1.0
	if w := width(p.contact); w > 0 {
		thin = min(1, loose*math.Pow(height/w/sways, 2))
	}
	fails, told := min(1, loose*(1-touch)+thin), ""
	if centre := f.Local(b.centre).XY(); len(p.contact) < 3 || !p.contact.Contains(centre) {
		fails, told = 1, ", and its weight is not over them"
	}
	p.add("steadiness", fails, "share", fails*lost, "%.0f %% of its outline on the bed, %.0f mm high on %.0f mm%s", 100*touch, height, width(p.contact), told)
	if limit := s.filament.MaxFlat; limit > 0 && len(p.contact) >= 3 {
		if _, l := farthest(p.contact); l > limit {
			p.add("warping", l, "mm", min(1, curls*(l/limit-1))*lost, "%.0f mm lie flat, %.0f are good for the filament", l, limit)
		}
	}
	for i, m := range s.mating {
		if m.Normal.Dot(down) > sameWay && math.Abs(f.Local(m.Normal.Scale(m.D)).Z) < onBed*2 {
			p.mating = append(p.mating, i)
		}
	}
	if len(p.mating) > 0 {
		p.add("mating-face", contact, "mm²", hand*chamfer, "edges of a mating face to be broken")
	}
	if skew := askew(outline); skew > 1e-6 {
		p.add("diagonal", skew*180/math.Pi, "degrees", skewed, "%.0f degrees off square", skew*180/math.Pi)
	}
	if !flat {
		least := math.Pi / 2
		for _, face := range b.faces {
			least = min(least, math.Acos(max(-1, min(1, face.n.Dot(down)))))
		}
		p.add("tilted", least*180/math.Pi, "degrees", leans, "on no face of its own")
	}
	return p
}

func (p *pose) total() float64 { return p.cost + p.borne }

// bear adds what the tension across the layers costs.
func (p *pose) bear(tension float64, f shop.Filament) {
	a := &Across{Tension: max(0, tension), Parts: parts(f), Margin: math.Inf(1)}
	told := fmt.Sprintf("%.2f MPa across layers, which part at %.1f", a.Tension, a.Parts)
	if a.Tension > 0 {
		a.Margin = a.Parts / a.Tension
		told += fmt.Sprintf(": %.3g times as much", a.Margin)
	}
	p.across = a
	p.borne = risk(a.Tension, a.Parts)
	p.why = append(p.why, Reason{"strength", a.Tension, "MPa", p.borne, told})
}

// Support is what holds up overhangs.
type Support struct {
	Volume  float64 // mm³ beneath overhangs, down to the bed or the part
	Grams   float64
	Seconds float64
}

// support is laid as core fill is, thinner.
func (m machine) support(area, volume float64, f shop.Filament) Support {
	b := m.bead(1)
	plastic := supportFill * volume
	chord := math.Sqrt(area)
	pitch := b.spacing() / supportFill
	lines := plastic / b.area() / chord
	v := m.speed(m.FillSpeed, b, false)
	return Support{
		Volume: volume, Grams: plastic * f.Density / 1000,
		Seconds: lines * (moveTime(chord, v, m.Acceleration) + moveTime(pitch, m.TravelSpeed, m.Acceleration)),
	}
}

// same is how near two poses' costs, min, must be to count as alike; then the one
// on the larger face is taken. It is more than the rounding of a mesh makes of
// costs, so that mirrored segments lie alike.
const same = 0.01

// best is the index of the pose with the least cost, -1 of none. Tension across
// layers is asked for only where the other terms leave a chance, since the
// answer takes long; layers lie alike whichever side of them is up, so it is asked once
// for both.
func (s *setting) best(poses []pose) int {
	if !s.strong() {
		at := -1
		for i := range poses {
			if at < 0 || poses[i].cost < poses[at].cost-same {
				at = i
			}
		}
		return at
	}
	order := make([]int, len(poses))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(poses[a].cost, poses[b].cost) })
	least := math.Inf(1)
	var asked []int
	for _, i := range order {
		if poses[i].cost > least+same {
			break
		}
		p := &poses[i]
		if p.across == nil {
			if k := slices.IndexFunc(asked, func(o int) bool { return math.Abs(poses[o].frame.Z.Dot(p.frame.Z)) > sameWay }); k >= 0 {
				p.bear(poses[asked[k]].across.Tension, s.filament)
			} else {
				p.bear(s.across(p.frame.Z), s.filament)
			}
		}
		if math.IsNaN(p.total()) {
			return i // which Plan refuses
		}
		asked = append(asked, i)
		least = min(least, p.total())
	}
	slices.Sort(asked)
	for _, i := range asked {
		if poses[i].total() <= least+same {
			return i
		}
	}
	return -1
}
