package piece

import (
	"errors"
	"fmt"
	"math"
	"strconv"

	"groundwork/internal/geom"
)

// maxPathSegments bounds the work that one outline can ask for.
const maxPathSegments = 500

// ParsePath reads SVG path data (SVG 1.1 chapter 8.3: M L H V C S Q T A Z,
// absolute and relative) as one closed loop in mm, y upwards. The last point is
// joined to the first by a line if they differ. The loop comes back running
// counter-clockwise, whichever way it was drawn, from the point where it was
// begun. Segments of no length are dropped.
//
// Arcs follow the implementation notes of SVG 1.1, F.6. Because y points up
// here and down there, an arc with sweep flag 1 runs counter-clockwise here,
// as it does on the paper of whoever writes "positive angle".
func ParsePath(text string) (geom.Path, error) {
	s := pathScanner{text: text}
	var segs []geom.Seg
	var start, at, handle geom.Vec2 // handle: last control point, for S and T
	var cmd, last byte
	closed := false
	for {
		s.space()
		if s.done() {
			break
		}
		if closed {
			return geom.Path{}, fmt.Errorf("something follows the closing Z at character %d; an outline is one loop, so make a hole a cut-out", s.i+1)
		}
		c := s.text[s.i]
		if c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' {
			cmd = c
			s.i++
		} else if cmd == 'M' || cmd == 'm' { // further pairs after a move are lines
			cmd-- // L stands before M, l before m
		} else if cmd == 0 || cmd == 'Z' || cmd == 'z' {
			return geom.Path{}, fmt.Errorf("a command letter is wanted at character %d", s.i+1)
		}
		if last == 0 && cmd != 'M' && cmd != 'm' {
			return geom.Path{}, errors.New("it does not begin with M")
		}
		if last != 0 && (cmd == 'M' || cmd == 'm') {
			return geom.Path{}, fmt.Errorf("a second loop begins at character %d; an outline is one loop, so make a hole a cut-out", s.i)
		}
		base := geom.Vec2{}
		if cmd >= 'a' {
			base = at
		}
		from := at
		next := handle
		switch cmd {
		case 'M', 'm':
			at = s.point(base)
			start, next = at, at
		case 'L', 'l':
			at = s.point(base)
			segs, next = append(segs, geom.LineTo(from, at)), at
		case 'H', 'h':
			at.X = base.X + s.number()
			segs, next = append(segs, geom.LineTo(from, at)), at
		case 'V', 'v':
			at.Y = base.Y + s.number()
			segs, next = append(segs, geom.LineTo(from, at)), at
		case 'C', 'c', 'S', 's':
			b := from
			if cmd == 'C' || cmd == 'c' {
				b = s.point(base)
			} else if last == 'C' || last == 'c' || last == 'S' || last == 's' {
				b = from.Add(from.Sub(handle))
			}
			c := s.point(base)
			at = s.point(base)
			segs, next = append(segs, geom.CubicTo(from, b, c, at)), c
		case 'Q', 'q', 'T', 't':
			q := from
			if cmd == 'Q' || cmd == 'q' {
				q = s.point(base)
			} else if last == 'Q' || last == 'q' || last == 'T' || last == 't' {
				q = from.Add(from.Sub(handle))
			}
			at = s.point(base)
			// The same curve as a cubic: handles two thirds of the way to q.
			segs, next = append(segs, geom.CubicTo(from, from.Lerp(q, 2.0/3), at.Lerp(q, 2.0/3), at)), q
		case 'A', 'a':
			rx, ry := math.Abs(s.number()), math.Abs(s.number())
			rot := s.number() * math.Pi / 180
			large, sweep := s.flag(), s.flag()
			at = s.point(base)
			segs, next = append(segs, arcTo(from, at, rx, ry, rot, large, sweep)), at
		case 'Z', 'z':
			closed = true
		default:
			return geom.Path{}, fmt.Errorf("%q is no path command; M L H V C S Q T A Z are", string(cmd))
		}
		if s.err != nil {
			return geom.Path{}, s.err
		}
		if len(segs) > maxPathSegments {
			return geom.Path{}, fmt.Errorf("it has more than %d segments", maxPathSegments)
		}
		last, handle = cmd, next
	}
	if last == 0 {
		return geom.Path{}, errors.New("it is empty")
	}
	if !closed {
		return geom.Path{}, errors.New("it is not closed; end it with Z")
	}
	if d := at.Dist(start); d > 0 {
		if d < 1e-6 && len(segs) > 0 { // rounding of relative commands: end exactly where it began
			segs[len(segs)-1].P[3] = start
		} else {
			segs = append(segs, geom.LineTo(at, start))
		}
	}
	kept := segs[:0]
	for _, g := range segs {
		if g.Kind == geom.Line && g.From() == g.To() ||
			g.Kind == geom.Cubic && g.P[0] == g.P[1] && g.P[1] == g.P[2] && g.P[2] == g.P[3] ||
			g.Kind == geom.Arc && g.Sweep == 0 {
			continue
		}
		for _, p := range g.P {
			if !(math.Abs(p.X) <= maxPlace && math.Abs(p.Y) <= maxPlace) {
				return geom.Path{}, fmt.Errorf("it reaches beyond %d mm", int(maxPlace))
			}
		}
		if g.Kind == geom.Arc && !(max(g.Rx, g.Ry) <= 1e6) {
			return geom.Path{}, errors.New("an arc has a radius beyond a kilometre; draw a line")
		}
		kept = append(kept, g)
	}
	if len(kept) < 2 {
		return geom.Path{}, errors.New("it encloses nothing")
	}
	p := geom.Path{Segs: kept, Closed: true}
	if p.Area() < 0 {
		p = p.Reversed()
	}
	return p, nil
}

// arcTo is the elliptical arc from a to b (SVG 1.1, F.6.5 and F.6.6).
func arcTo(a, b geom.Vec2, rx, ry, rot float64, large, sweep bool) geom.Seg {
	if rx == 0 || ry == 0 || a == b {
		return geom.LineTo(a, b)
	}
	half := a.Sub(b).Scale(0.5).Rotate(-rot)
	if k := half.X*half.X/(rx*rx) + half.Y*half.Y/(ry*ry); k > 1 { // too small to reach: grow
		rx, ry = rx*math.Sqrt(k), ry*math.Sqrt(k)
	}
	down := rx*rx*half.Y*half.Y + ry*ry*half.X*half.X
	k := 0.0
	if down > 0 {
		k = math.Sqrt(max(0, (rx*rx*ry*ry-down)/down))
	}
	if large == sweep {
		k = -k
	}
	c := geom.V2(k*rx*half.Y/ry, -k*ry*half.X/rx)
	center := c.Rotate(rot).Add(a.Lerp(b, 0.5))
	start := math.Atan2((half.Y-c.Y)/ry, (half.X-c.X)/rx)
	end := math.Atan2((-half.Y-c.Y)/ry, (-half.X-c.X)/rx)
	turn := end - start
	if sweep && turn < 0 {
		turn += 2 * math.Pi
	} else if !sweep && turn > 0 {
		turn -= 2 * math.Pi
	}
	s := geom.ArcOf(center, rx, ry, rot, start, turn)
	s.P[0], s.P[3] = a, b // the points as written, so that the path has no gaps
	return s
}

// pathScanner reads the numbers of path data. After the first fault every
// read yields zero and err says what is wrong.
type pathScanner struct {
	text string
	i    int
	err  error
}

func (s *pathScanner) done() bool { return s.i >= len(s.text) }

func (s *pathScanner) space() {
	for !s.done() && (s.text[s.i] <= ' ' || s.text[s.i] == ',') {
		s.i++
	}
}

func (s *pathScanner) point(base geom.Vec2) geom.Vec2 {
	x := s.number()
	return base.Add(geom.V2(x, s.number()))
}

func (s *pathScanner) number() float64 {
	s.space()
	from, digits, dot := s.i, false, false
	if !s.done() && (s.text[s.i] == '-' || s.text[s.i] == '+') {
		s.i++
	}
	for ; !s.done(); s.i++ {
		c := s.text[s.i]
		switch {
		case c >= '0' && c <= '9':
			digits = true
			continue
		case c == '.' && !dot:
			dot = true
			continue
		case (c == 'e' || c == 'E') && digits:
			j := s.i + 1
			if j < len(s.text) && (s.text[j] == '-' || s.text[j] == '+') {
				j++
			}
			if k := j; k < len(s.text) && s.text[k] >= '0' && s.text[k] <= '9' {
				for k < len(s.text) && s.text[k] >= '0' && s.text[k] <= '9' {
					k++
				}
				s.i = k
			}
		}
		break
	}
	v, err := strconv.ParseFloat(s.text[from:s.i], 64)
	if s.err == nil && (err != nil || !digits || math.IsInf(v, 0)) {
		s.err = fmt.Errorf("a number is wanted at character %d", from+1)
	}
	if s.err != nil {
		return 0
	}
	return v
}

// flag reads 0 or 1, which may stand without a space before what follows.
func (s *pathScanner) flag() bool {
	s.space()
	if s.done() || s.text[s.i] != '0' && s.text[s.i] != '1' {
		if s.err == nil {
			s.err = fmt.Errorf("an arc's flag, 0 or 1, is wanted at character %d", s.i+1)
		}
		return false
	}
	s.i++
	return s.text[s.i-1] == '1'
}
