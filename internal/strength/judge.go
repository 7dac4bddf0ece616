package strength

import (
	"cmp"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/shop"
	"groundwork/internal/stress"
)

// Solved is what is asked of a structure under a case; *stress.State answers.
type Solved interface {
	Displacement(body int, at geom.Vec3) (geom.Vec3, bool)
	Body(i int) stress.BodyState
	Seam(i int) (stress.Section, bool)
	Screws() []stress.Pull
	Dowels() []stress.Pull
	Films() []stress.Film
}

// Verdict compares what something bears with what it may bear.
type Verdict struct {
	ID      string // "top-middle/leg-1/shell": case, subject, kind; stable while those are
	Case    string
	Subject string // body, seam, joint, screw, dowel or member, by ID
	Kind    string // see Kinds
	What    string // what is compared, in a few words
	Value   float64
	Limit   float64
	Margin  float64 // Limit / Value; Ample where it is more, or where nothing is borne
	Unit    string
	Error   float64 // by how much Value is off, estimated from a rougher state; 0 where that is not known
	Span    float64 // mm, of a sag
	At      geom.Vec3
	Judged  bool    // false: reported, never a verdict
	Agreed  float64 // of the case: it fails where Margin is below it
	Source  string  // what the limit rests on; the load's is the case's
}

// Fails reports whether the verdict is that it does not hold.
func (v Verdict) Fails() bool { return v.Judged && v.Margin < v.Agreed }

// Ample is the margin beyond which margins are not told apart.
const Ample = 1000.0

// kinds of verdicts in the order in which they are told, with advice.
var kinds = []struct{ kind, what, advice string }{
	{"shell", "stress in contours and cover layers", "print it with more contours and cover layers; or make it thicker; or shorten its span"},
	{"layers", "tension across the layers", "print it in another pose, its layers along the pull; or with more contours; or let a rod in"},
	{"fill", "stress in the core fill", "print it with denser core fill"},
	{"months", "stress in the shell for months", "print it with more contours and cover layers; or use a filament that creeps less"},
	{"sag-first", "sag when it is loaded", "make it thicker, its span shorter or its core fill denser"},
	{"sag-months", "sag after months", "make it thicker, its span shorter; or use a filament that creeps less"},
	{"sag-use", "sag under a short load", "make it thicker or its span shorter"},
	{"peel", "peel of the seam's glue", "move the seam to where it bends less; or make its faces larger; or print it whole"},
	{"glue-shear", "shear of the seam's glue", "move the seam to where it bears less; or make its faces larger"},
	{"seam-shell", "tension in the shell beside the seam", "print it with more contours; or move the seam"},
	{"seam-dowel-pull", "pull on a dowel of the seam if its glue lets go", "take longer or more dowels"},
	{"seam-dowel-shear", "shear of a dowel of the seam if its glue lets go", "take thicker or more dowels"},
	{"seam-dowel-bearing", "pressure of a dowel of the seam on its bore if its glue lets go", "take thicker or longer dowels"},
	{"film-peel", "peel of the joint's glue", "take more dowels; or make the contact larger"},
	{"film-shear", "shear of the joint's glue", "take more dowels; or make the contact larger"},
	{"pull-out", "pull on the insert", "take one more screw, or a larger one; or print the boss so that its layers lie along the insert"},
	{"insert-bearing", "pressure of the insert on its bore, sideways", "take one more screw or dowel"},
	{"proof", "pull and shear of the screw", "take a larger screw"},
	{"head", "pressure under the screw's head", "put a washer under it, or take a larger screw"},
	{"dowel-shear", "shear of the dowel", "take thicker or more dowels"},
	{"dowel-bearing", "pressure of the dowel on its bore", "take thicker, longer or more dowels"},
}

// Kinds are the kinds of verdicts in the order in which they are told.
func Kinds() []string {
	var out []string
	for _, k := range kinds {
		out = append(out, k.kind)
	}
	return out
}

func rank(kind string) int {
	for i, k := range kinds {
		if k.kind == kind {
			return i
		}
	}
	return len(kinds)
}

// Moved is how far the piece moves in a case.
type Moved struct {
	Body  string
	Value float64 // mm, the greatest
	At    geom.Vec3
	Error float64 // mm, estimated from a rougher state; 0 where that is not known
}

// CaseResult is what a case comes to.
type CaseResult struct {
	ID, What, Source string
	Kind             Kind
	Judged           bool
	Sustained        bool
	Solved           bool
	Ballast          float64 // g
	Share            float64
	Moved            Moved
	Lowest           string  // ID of the judged verdict of least margin; of any, in a case that is not judged
	Margin           float64 // of that
}

// Racking is how stiff the piece is sideways.
type Racking struct {
	Axis      string  // x or y
	Stiffness float64 // N/mm
	Force     float64 // N of one push
	Moved     float64 // mm under it
	Error     float64 // mm
	Height    float64 // mm of the point that is watched
	Angle     float64 // rad, Moved over Height
}

// Result is how the piece bears its cases. It must not be changed.
type Result struct {
	Cases    []CaseResult
	Verdicts []Verdict // by case, then by kind, then by subject
	Racking  []Racking
	Lowest   string  // ID of the judged verdict of least margin; "" where none was judged
	Margin   float64 // of that
	Findings []finding.Finding
}

// Verdict is the verdict of the given ID; false if there is none.
func (r *Result) Verdict(id string) (Verdict, bool) {
	for _, v := range r.Verdicts {
		if v.ID == id {
			return v, true
		}
	}
	return Verdict{}, false
}

// Failing is how many comparisons fail, and in how many cases.
func (r *Result) Failing() (comparisons, cases int) {
	in := map[string]bool{}
	for _, v := range r.Verdicts {
		if v.Fails() {
			comparisons++
			in[v.Case] = true
		}
	}
	return comparisons, len(in)
}

// Worst are the verdicts of least margin over all cases, one for each kind and
// subject, in the order of kinds and subjects: what a table shows. Where a
// judged case fails it stands before one that is not judged.
func (r *Result) Worst() []Verdict {
	type key struct{ kind, subject string }
	at := map[key]int{}
	var out []Verdict
	for _, v := range r.Verdicts {
		k := key{v.Kind, v.Subject}
		i, ok := at[k]
		switch {
		case !ok:
			at[k] = len(out)
			out = append(out, v)
		case v.Judged == out[i].Judged && v.Margin < out[i].Margin || v.Judged && !out[i].Judged:
			out[i] = v
		}
	}
	slices.SortStableFunc(out, func(a, b Verdict) int {
		return cmp.Or(cmp.Compare(rank(a.Kind), rank(b.Kind)), cmp.Compare(a.Subject, b.Subject))
	})
	return out
}

// judge compares one case after another.
type judge struct {
	in     stress.Inputs
	out    *Result
	body   []int       // by member
	levels []levelled  // boards that lie level
	up     []geom.Vec3 // by body, where it is not known how it is laid
	c      Case
}

// levelled is a level surface with the points that it rests at.
type levelled struct {
	ground
	rests []geom.Vec3
	near  func(geom.Vec3) float64 // distance to where it rests, mm
	thick float64                 // mm, 0 where it is no board
	shelf bool
}

// Judge says how well the piece bears each case. solved[i] is its state under
// cases[i], nil where it could not be solved; Structures were assembled with
// stress.Options.Creep set to Creep. rough, if not nil, are states of the same
// cases by a rougher mesh: how far the two differ is the estimated error of each
// deflection.
func Judge(in stress.Inputs, cases []Case, solved, rough []Solved) *Result {
	j := &judge{in: in, out: &Result{Margin: Ample}, body: make([]int, len(in.Cores))}
	for i, b := range in.Bodies {
		for _, m := range b.Members {
			j.body[m] = i
		}
	}
	j.level()
	states := j.ask(solved)
	for i, c := range cases {
		r := CaseResult{ID: c.ID, What: c.What, Source: c.Source, Kind: c.Kind, Judged: c.Judged, Sustained: c.Sustained,
			Ballast: c.Ballast, Share: c.Share, Margin: Ample}
		if i < len(solved) && solved[i] != nil {
			r.Solved = true
			j.c = c
			var ro Solved
			if i < len(rough) {
				ro = rough[i]
			}
			from := len(j.out.Verdicts)
			r.Moved = j.moved(solved[i], ro, states[i])
			j.bodies(states[i])
			j.sag(solved[i], ro)
			j.seams(solved[i])
			j.films(solved[i])
			j.screws(solved[i])
			j.dowels(solved[i])
			mine := j.out.Verdicts[from:]
			slices.SortStableFunc(mine, func(a, b Verdict) int {
				return cmp.Or(cmp.Compare(rank(a.Kind), rank(b.Kind)), cmp.Compare(a.Subject, b.Subject))
			})
			for _, v := range mine {
				if (v.Judged || !c.Judged) && v.Margin < r.Margin {
					r.Lowest, r.Margin = v.ID, v.Margin
				}
				if v.Judged && v.Margin < j.out.Margin {
					j.out.Lowest, j.out.Margin = v.ID, v.Margin
				}
			}
		}
		j.out.Cases = append(j.out.Cases, r)
	}
	j.racking(cases, solved, rough)
	j.tell()
	return j.out
}

// ask is what the bodies bear, by case, asked on all processors.
func (j *judge) ask(solved []Solved) [][]stress.BodyState {
	out := make([][]stress.BodyState, len(solved))
	var next atomic.Int64
	bodies := len(j.in.Bodies)
	for i := range out {
		out[i] = make([]stress.BodyState, bodies)
	}
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for {
				n := int(next.Add(1)) - 1
				if n >= len(solved)*bodies {
					return
				}
				if s := solved[n/bodies]; s != nil {
					out[n/bodies][n%bodies] = s.Body(n % bodies)
				}
			}
		})
	}
	wg.Wait()
	return out
}

// say adds a verdict on the case in hand. Where nothing is borne it says
// nothing.
func (j *judge) say(subject, kind string, value, limit float64, unit, source string, at geom.Vec3, judged bool) *Verdict {
	if !(value > 0) || !(limit > 0) {
		return nil
	}
	j.out.Verdicts = append(j.out.Verdicts, Verdict{
		ID: j.c.ID + "/" + subject + "/" + kind, Case: j.c.ID, Subject: subject, Kind: kind, What: kinds[rank(kind)].what,
		Value: value, Limit: limit, Margin: min(Ample, limit/value), Unit: unit, At: at,
		Judged: judged && j.c.Judged, Agreed: j.c.Agreed, Source: source,
	})
	return &j.out.Verdicts[len(j.out.Verdicts)-1]
}

// moved is the greatest movement. Its error is the difference of the two states
// at the same place.
func (j *judge) moved(s, rough Solved, states []stress.BodyState) Moved {
	var out Moved
	body := -1
	for i, b := range j.in.Bodies {
		if p := states[i].Moved; p.Value > out.Value {
			out, body = Moved{Body: b.ID, Value: p.Value, At: p.At}, i
		}
	}
	if rough != nil && body >= 0 {
		a, ok1 := s.Displacement(body, out.At)
		b, ok2 := rough.Displacement(body, out.At)
		if ok1 && ok2 {
			out.Error = a.Dist(b)
		}
	}
	return out
}

// layersUp is the direction across the layers of a body at a point.
func (j *judge) layersUp(body int, p geom.Vec3) geom.Vec3 {
	const rounding = 0.01 // mm
	for _, l := range j.in.Laid {
		inside := l.Body == body
		for _, pl := range l.Planes {
			inside = inside && pl.Distance(p) <= rounding
		}
		if inside {
			return l.Up
		}
	}
	for _, l := range j.in.Laid { // a bore's mouth may lie off the body
		if l.Body == body {
			return l.Up
		}
	}
	if j.up == nil {
		j.up = make([]geom.Vec3, len(j.in.Bodies))
	}
	if j.up[body] == (geom.Vec3{}) {
		j.up[body] = geom.V3(0, 0, 1)
		area := 0.0
		for _, m := range j.in.Bodies[body].Members {
			for _, s := range j.in.Cores[m].Surfaces(chord) {
				if s.Kind == piece.Plane && s.Area > area {
					area, j.up[body] = s.Area, j.in.Cores[m].Place.Dir(s.Frame.Z)
				}
			}
		}
	}
	return j.up[body]
}

// along is the strength of a body's plastic against tension in a direction, and
// whether it lies across the layers.
func (j *judge) along(body int, at, dir geom.Vec3) (strength float64, across bool) {
	f := j.in.Filament(body)
	if math.Abs(dir.Unit().Dot(j.layersUp(body, at))) > 0.5 {
		return f.Strength * f.ZFactor, true
	}
	return f.Strength, false
}

func (j *judge) bodies(states []stress.BodyState) {
	for i, b := range j.in.Bodies {
		f, st := j.in.Filament(i), states[i]
		j.say(b.ID, "shell", st.Mises.Value, f.Strength, "MPa", ofFilament, st.Mises.At, true)
		j.say(b.ID, "layers", st.Layers.Value, f.Strength*f.ZFactor, "MPa", ofLayers, st.Layers.At, true)
		j.say(b.ID, "fill", st.Core.Value, f.Strength, "MPa", ofFilament, st.Core.At, true)
		if j.c.Sustained {
			j.say(b.ID, "months", st.Mises.Value, shareForMonths*f.Strength, "MPa", ofMonths, st.Mises.At, false)
		}
	}
}

// glued reports whether the figures for glue are meant for a filament: they are
// for solvent cement, which only ABS and its like take.
func glued(f shop.Filament) bool {
	return strings.HasPrefix(f.Material, "ABS") || strings.HasPrefix(f.Material, "ASA")
}

func (j *judge) seams(s Solved) {
	for i, sm := range j.in.Seams {
		sec, ok := s.Seam(i)
		if !ok {
			continue
		}
		f := j.in.Filament(sm.Body)
		j.say(sm.ID, "peel", sec.Tension.Value, GluePeel, "MPa", ofGlue, sec.Tension.At, glued(f))
		j.say(sm.ID, "glue-shear", sec.Shear.Value, glueShear, "MPa", ofGlue, sec.Shear.At, glued(f))
		strength, across := j.along(sm.Body, sec.Tension.At, sm.Plane.Normal)
		source := ofFilament
		if across {
			source = ofLayers
		}
		j.say(sm.ID, "seam-shell", sec.Tension.Value, strength, "MPa", source, sec.Tension.At, true)
		if len(sm.Dowels) == 0 {
			continue
		}
		c := middle(sm.Section)
		var at []geom.Vec2
		for _, d := range sm.Dowels {
			at = append(at, sm.Frame.Local(d.Center).XY().Sub(c))
		}
		tension, shear := pulls(at, sm.Section.Map(func(p geom.Vec2) geom.Vec2 { return p.Sub(c) }),
			sm.Frame.LocalDir(sec.Force), sm.Frame.LocalDir(sec.Moment))
		d := sm.Dowels[0]
		// Glue along half of the dowel, in its bore; it is glued on both sides.
		j.say(sm.ID, "seam-dowel-pull", tension, glueShear*math.Pi*d.Diameter*d.Length/2, "N", ofGlue+"; statics of a group of bolts", sm.Frame.Origin, glued(f))
		j.say(sm.ID, "seam-dowel-shear", shear, dowelShear(d, f), "N", ofDowel+"; statics of a group of bolts", sm.Frame.Origin, true)
		j.say(sm.ID, "seam-dowel-bearing", shear, dowelBearing(d, f), "N", ofDowel, sm.Frame.Origin, true)
	}
}

// dowelShear is the force in N across a dowel by which it may be sheared.
func dowelShear(d joint.Dowel, f shop.Filament) float64 {
	tau := dowelWood
	if d.Printed {
		tau = shearOfTension * f.Strength
	}
	return tau * math.Pi / 4 * d.Diameter * d.Diameter / holdFactor
}

// dowelBearing is the force in N by which half of a dowel may press on its bore.
func dowelBearing(d joint.Dowel, f shop.Filament) float64 {
	return f.Strength * d.Diameter * d.Length / 2 / holdFactor
}

// sides are the members that meet in a joint.
func (j *judge) sides(jt joint.Joint) (a, b int, ok bool) {
	for _, c := range j.in.Joints.Contacts {
		if c.ID == jt.Contact {
			return c.A.Member, c.B.Member, true
		}
	}
	for _, c := range j.in.Joints.Rounds {
		if c.ID == jt.Contact {
			return c.A.Member, c.B.Member, true
		}
	}
	return 0, 0, false
}

// weaker is the filament of the two sides of a joint that bears less.
func (j *judge) weaker(jt joint.Joint) (shop.Filament, bool) {
	a, b, ok := j.sides(jt)
	if !ok {
		return shop.Filament{}, false
	}
	f, g := j.in.Filament(j.body[a]), j.in.Filament(j.body[b])
	if g.Strength < f.Strength {
		f = g
	}
	return f, true
}

// joint is a joint by its index; false beyond the list.
func (j *judge) joint(i int) (joint.Joint, bool) {
	if j.in.Joints == nil || i < 0 || i >= len(j.in.Joints.Joints) {
		return joint.Joint{}, false
	}
	return j.in.Joints.Joints[i], true
}

func (j *judge) films(s Solved) {
	for _, g := range s.Films() {
		jt, ok := j.joint(g.Joint)
		if !ok {
			continue
		}
		f, ok := j.weaker(jt)
		if !ok {
			continue
		}
		j.say(jt.ID, "film-peel", g.Tension.Value, GluePeel, "MPa", ofGlue, g.Tension.At, glued(f))
		j.say(jt.ID, "film-shear", g.Shear.Value, glueShear, "MPa", ofGlue, g.Shear.At, glued(f))
	}
}

func (j *judge) screws(s Solved) {
	for _, p := range s.Screws() {
		jt, ok := j.joint(p.Joint)
		if !ok || p.Number < 0 || p.Number >= len(jt.Screws) {
			continue
		}
		sc := jt.Screws[p.Number]
		id := fmt.Sprintf("%s/screw-%d", jt.ID, p.Number+1)
		into, through := j.body[sc.Into], j.body[sc.Through]
		tip := sc.Head.Add(sc.Axis.Unit().Scale(sc.Grip))
		if in, ok := j.in.Shop.Insert(sc.Insert); ok {
			strength, _ := j.along(into, tip.Add(sc.Axis.Unit().Scale(in.Length/2)), sc.Axis)
			j.say(id, "pull-out", pulled(p), pullOut(in, strength), "N", ofInsert, tip, true)
			j.say(id, "insert-bearing", p.Shear, j.in.Filament(into).Strength*in.Outer*in.Length/holdFactor, "N", ofDowel, tip, true)
		}
		t, ok := threads[sc.Size]
		if !ok {
			continue
		}
		// Tension and shear on the stress area together, by von Mises.
		j.say(id, "proof", math.Sqrt(max(0, p.Tension)*max(0, p.Tension)+3*p.Shear*p.Shear), t.proof, "N", ofProof, sc.Head, false)
		limit := j.in.Filament(through).Strength
		if j.c.Sustained {
			limit *= shareUnderHead
		}
		j.say(id, "head", p.Tension/t.underHead(sc.Washer), limit, "MPa", ofHead, sc.Head, true)
	}
}

func (j *judge) dowels(s Solved) {
	for _, p := range s.Dowels() {
		jt, ok := j.joint(p.Joint)
		if !ok || p.Number < 0 || p.Number >= len(jt.Dowels) {
			continue
		}
		f, ok := j.weaker(jt)
		if !ok {
			continue
		}
		d, id := jt.Dowels[p.Number], fmt.Sprintf("%s/dowel-%d", jt.ID, p.Number+1)
		j.say(id, "dowel-shear", p.Shear, dowelShear(d, f), "N", ofDowel, d.Center, true)
		j.say(id, "dowel-bearing", p.Shear, dowelBearing(d, f), "N", ofDowel, d.Center, true)
	}
}
