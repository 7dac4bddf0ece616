package draw

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode"

	"groundwork/internal/geom"
)

// The alphabet is drawn on a grid where a capital is 6 high. A stroke is a run
// of points "x,y"; strokes are parted by ";". A point followed by "r" is a
// rounded corner: an arc that touches both legs, beginning at most cornerRun
// before the corner and taking no more than half of a leg that it shares with
// another rounded corner. "R" is the same with wideRun, for the belly of D. Zero carries a slash so that it is not the letter O,
// one a foot and a flag so that it is not I.
const (
	capUnits   = 6.0
	cornerRun  = 1.4
	wideRun    = 2.6
	letterGap  = 1.9 // between the inked widths of neighbours
	spaceUnits = 2.2 // added to two gaps
)

var alphabet = map[rune]string{
	'A': "0,0 2,6 4,0; 0.667,2 3.333,2",
	'B': "0,3.2 0,6 3.6,6r 3.6,3.2r 0,3.2 0,0 4,0r 4,3.2r 2,3.2",
	'C': "4,4.8 4,6r 0,6r 0,0r 4,0r 4,1.2",
	'D': "0,0 0,6 4,6R 4,0R 0,0",
	'E': "3.6,0 0,0 0,6 3.6,6; 0,3.2 2.8,3.2",
	'F': "0,0 0,6 3.6,6; 0,3.2 2.8,3.2",
	'G': "4,4.8 4,6r 0,6r 0,0r 4,0r 4,2.8 2.2,2.8",
	'H': "0,0 0,6; 4,0 4,6; 0,3.2 4,3.2",
	'I': "0,0 2,0; 0,6 2,6; 1,0 1,6",
	'J': "0,1.4 0,0r 3,0r 3,6",
	'K': "0,0 0,6; 4,6 0,2.2; 1.4,3.53 4,0",
	'L': "0,6 0,0 3.6,0",
	'M': "0,0 0,6 2.3,2.4 4.6,6 4.6,0",
	'N': "0,0 0,6 4,0 4,6",
	'O': "2,0 4,0r 4,6r 0,6r 0,0r 2,0",
	'P': "0,0 0,6 4,6r 4,2.8r 0,2.8",
	'Q': "2,0 4,0r 4,6r 0,6r 0,0r 2,0; 2.4,1.6 4.2,-0.6",
	'R': "0,0 0,6 4,6r 4,2.8r 0,2.8; 2,2.8 4,0",
	'S': "3.8,4.8 3.8,6r 0,6r 0,3.2r 4,3.2r 4,0r 0,0r 0,1.2",
	'T': "0,6 4,6; 2,6 2,0",
	'U': "0,6 0,0r 4,0r 4,6",
	'V': "0,6 2,0 4,6",
	'W': "0,6 1.3,0 2.6,4 3.9,0 5.2,6",
	'X': "0,0 4,6; 0,6 4,0",
	'Y': "0,6 2,3 4,6; 2,3 2,0",
	'Z': "0,6 4,6 0,0 4,0",
	'0': "1.8,0 3.6,0r 3.6,6r 0,6r 0,0r 1.8,0; 0.9,1.6 2.7,4.4",
	'1': "0,4.4 1.6,6 1.6,0; 0,0 3.2,0",
	'2': "0,4.6 0,6r 3.6,6r 3.6,3.4r 0,0 3.6,0",
	'3': "0,6 3.6,6 1.4,3.6 3.6,3.6r 3.6,0r 0,0r 0,1.2",
	'4': "2.8,0 2.8,6 0,1.6 3.8,1.6",
	'5': "3.4,6 0.2,6 0,3.4 3.6,3.4r 3.6,0r 0,0r 0,1.2",
	'6': "3.4,4.8 3.4,6r 0,6r 0,0r 3.6,0r 3.6,3.4r 0,3.4",
	'7': "0,6 3.6,6 1.2,0",
	'8': "1.8,3.2 3.4,3.2r 3.4,6r 0.2,6r 0.2,3.2r 1.8,3.2; 1.8,3.2 3.6,3.2r 3.6,0r 0,0r 0,3.2r 1.8,3.2",
	'9': "0.2,1.2 0.2,0r 3.6,0r 3.6,6r 0,6r 0,2.6r 3.6,2.6",
	'-': "0,2.8 2.4,2.8",
	'_': "0,-0.6 4,-0.6",
	'.': "0,0 0.6,0 0.6,0.6 0,0.6 0,0",
	',': "0.7,0.8 0.7,0.1 0,-1",
	':': "0,1 0.6,1 0.6,1.6 0,1.6 0,1; 0,3.8 0.6,3.8 0.6,4.4 0,4.4 0,3.8",
	'/': "0,-0.4 3,6.4",
	'+': "0,2.8 3.2,2.8; 1.6,1.2 1.6,4.4",
	'=': "0,2 3.2,2; 0,3.8 3.2,3.8",
	'(': "1.4,6.6 0,5r 0,1r 1.4,-0.6",
	')': "0,6.6 1.4,5r 1.4,1r 0,-0.6",
	'#': "0.9,0.6 1.5,5.4; 2.5,0.6 3.1,5.4; 0.1,2.1 3.7,2.1; 0.3,3.9 3.9,3.9",
	'°': "0.8,4.4 1.6,4.4r 1.6,6r 0,6r 0,4.4r 0.8,4.4",
	' ': "",
}

// glyph is a letter ready to set: its strokes, from x = 0, and its inked width.
type glyph struct {
	strokes []Path
	width   float64
}

var glyphs = func() map[rune]glyph {
	out := make(map[rune]glyph, len(alphabet))
	for r, drawing := range alphabet {
		out[r] = parseGlyph(drawing)
	}
	return out
}()

type corner struct {
	geom.Vec2
	run float64 // how long its rounding may be; 0 is sharp
}

// parseGlyph reads a drawing of the alphabet above; a fault in one is a fault of
// this file, hence the panic.
func parseGlyph(drawing string) glyph {
	if drawing == "" {
		return glyph{width: spaceUnits}
	}
	var g glyph
	for _, stroke := range strings.Split(drawing, ";") {
		var corners []corner
		for _, word := range strings.Fields(stroke) {
			run := 0.0
			if bare, ok := strings.CutSuffix(word, "r"); ok {
				word, run = bare, cornerRun
			} else if bare, ok := strings.CutSuffix(word, "R"); ok {
				word, run = bare, wideRun
			}
			x, y, _ := strings.Cut(word, ",")
			px, errX := strconv.ParseFloat(x, 64)
			py, errY := strconv.ParseFloat(y, 64)
			if errX != nil || errY != nil {
				panic("draw: bad letter " + drawing)
			}
			corners = append(corners, corner{geom.V2(px, py), run})
		}
		p := rounded(corners)
		g.strokes = append(g.strokes, p)
		g.width = max(g.width, p.Bounds().Max.X)
	}
	return g
}

// rounded is the open path through the corners, with arcs at the round ones. For
// a corner that turns by τ, the arc that touches both legs at a run d from it
// sweeps τ, so its bulge is tan(τ/4).
func rounded(corners []corner) Path {
	var p Path
	reach := func(i, j int) float64 { // how far corner i may go towards j
		d := corners[i].Dist(corners[j].Vec2)
		if corners[j].run > 0 {
			d /= 2
		}
		return min(d, corners[i].run)
	}
	add := func(v Vertex) { // where an arc uses up a whole leg, no line is left
		if n := len(p.Vertices); n > 0 && p.Vertices[n-1].Dist(v.Vec2) < 1e-9 {
			p.Vertices[n-1].Bulge = v.Bulge
			return
		}
		p.Vertices = append(p.Vertices, v)
	}
	for i, c := range corners {
		if c.run == 0 {
			add(Vertex{Vec2: c.Vec2})
			continue
		}
		run := min(reach(i, i-1), reach(i, i+1))
		in := c.Sub(corners[i-1].Vec2).Unit()
		out := corners[i+1].Sub(c.Vec2).Unit()
		turn := math.Atan2(in.Cross(out), in.Dot(out))
		add(Vertex{c.Sub(in.Scale(run)), math.Tan(turn / 4)})
		add(Vertex{Vec2: c.Add(out.Scale(run))})
	}
	return p
}

// letter finds a character's glyph; small letters are drawn as capitals, and a
// few typographic signs as their plain kin.
func letter(r rune) (glyph, bool) {
	switch r {
	case '–', '—', '−':
		r = '-'
	case '×':
		r = 'X'
	}
	g, ok := glyphs[unicode.ToUpper(r)]
	return g, ok
}

// LetteringWidth is the width in mm of s drawn by Lettering with capitals of the
// given height. Characters without a drawing count nothing.
func LetteringWidth(s string, height float64) float64 {
	var w float64
	for _, r := range s {
		if g, ok := letter(r); ok {
			if w > 0 {
				w += letterGap
			}
			w += g.width
		}
	}
	return w * height / capUnits
}

// Lettering is a text as open single-stroke paths, for a laser to mark or a
// printed part to carry. It draws A-Z (small letters as capitals), 0-9, space
// and . , : - _ / + = ( ) # °; any other character is an error that names it.
func Lettering(t Text) ([]Path, error) {
	if !t.finite() {
		return nil, fmt.Errorf("lettering %q: not finite or without height", t.String)
	}
	unit := t.Height / capUnits
	x := -LetteringWidth(t.String, capUnits) * [...]float64{0, 0.5, 1}[t.Anchor]
	var out []Path
	for _, r := range t.String {
		g, ok := letter(r)
		if !ok {
			return nil, fmt.Errorf("lettering %q: there is no letter for %q", t.String, r)
		}
		for _, stroke := range g.strokes {
			out = append(out, stroke.Map(func(v geom.Vec2) geom.Vec2 {
				return t.At.Add(v.Add(geom.V2(x, 0)).Scale(unit).Rotate(t.Angle))
			}, false))
		}
		x += g.width + letterGap
	}
	return out, nil
}

// Capsules is the region that a round tool of the given width in mm (> 0) covers
// when its centre runs along the path: a capsule for every line and for every
// chord of an arc, each counter-clockwise. They overlap where they meet, so a
// region to engrave is their union. Chords stray from arcs, and the capsules'
// round ends from true circles, by at most tolerance mm (> 0), inwards.
func (p Path) Capsules(width, tolerance float64) []geom.Polygon {
	points := p.Flatten(tolerance)
	if p.Closed && len(points) > 1 {
		points = append(points, points[0])
	}
	r := width / 2
	steps := 2
	if tolerance < r {
		steps = max(2, int(math.Ceil(math.Pi/(2*math.Acos(1-tolerance/r)))))
	}
	var out []geom.Polygon
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if a == b {
			continue
		}
		side := b.Sub(a).Unit().Right().Scale(r)
		var capsule geom.Polygon
		for _, end := range []geom.Vec2{b, a} { // half a turn about each end
			for k := range steps + 1 {
				capsule = append(capsule, end.Add(side.Rotate(math.Pi*float64(k)/float64(steps))))
			}
			side = side.Scale(-1)
		}
		out = append(out, capsule)
	}
	return out
}
