package draw

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// capHeight is the height of a capital in common sans-serif fonts as a part of
// the font size (from memory; it ranges from 0.70 to 0.73).
const capHeight = 0.716

// WriteSVG writes the sheet as SVG 1.1 at full size: width and height in mm, one
// user unit to the millimetre, y turned down in the numbers themselves so that
// nothing depends on a transform. Every layer is one group, named after it, in
// the order given; a name becomes an id by SVGLayerID. Lines have no fill.
// Coordinates have four decimals.
func WriteSVG(w io.Writer, s Sheet) error {
	if err := s.check(); err != nil {
		return fmt.Errorf("write SVG: %w", err)
	}
	ids, err := s.names(SVGLayerID)
	if err != nil {
		return fmt.Errorf("write SVG: %w", err)
	}
	b := &bytes.Buffer{}
	b.WriteString(xml.Header)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="%smm" height="%smm" viewBox="0 0 %[1]s %[2]s">`+"\n",
		num(s.Width), num(s.Height))
	if s.Title != "" {
		fmt.Fprintf(b, "<title>%s</title>\n", escape(s.Title))
	}
	for i, l := range s.Layers {
		st := l.Style()
		fmt.Fprintf(b, `<g id="%s" fill="none" stroke="#%02x%02x%02x" stroke-width="%s"`,
			ids[i], st.Red, st.Green, st.Blue, num(st.Width))
		if l.Pen != nil { // ends of lines that meet are round, as a pen leaves them
			b.WriteString(` stroke-linecap="round" stroke-linejoin="round"`)
		}
		if st.Dash != nil {
			b.WriteString(` stroke-dasharray="` + nums(st.Dash...) + `"`)
		}
		b.WriteString(">\n")
		for _, it := range l.Items {
			switch it := it.(type) {
			case Path:
				svgPath(b, it, s.Height)
			case Circle:
				fmt.Fprintf(b, `<circle cx="%s" cy="%s" r="%s"/>`, num(it.Center.X), num(s.Height-it.Center.Y), num(it.Radius))
			case Text:
				svgText(b, it, s.Height, st)
			case Region:
				svgRegion(b, it, s.Height)
			}
			b.WriteByte('\n')
		}
		b.WriteString("</g>\n")
	}
	b.WriteString("</svg>\n")
	if _, err := w.Write(b.Bytes()); err != nil {
		return fmt.Errorf("write SVG: %w", err)
	}
	return nil
}

// SVGLayerID is a name as an id of XML allows it: what is neither an ASCII
// letter, a digit, ".", "-" nor "_" becomes "_", and so begins a name that would
// not begin with a letter.
func SVGLayerID(name string) string {
	out := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '.', r == '-', r == '_':
			return r
		}
		return '_'
	}, name)
	if c := out[0]; c >= '0' && c <= '9' || c == '.' || c == '-' {
		out = "_" + out
	}
	return out
}

func svgPath(b *bytes.Buffer, p Path, height float64) {
	first := p.Vertices[0]
	b.WriteString(`<path d="M` + nums(first.X, height-first.Y))
	n := len(p.Vertices)
	for i := range p.Vertices {
		from := p.Vertices[i]
		to := first
		switch {
		case i+1 < n:
			to = p.Vertices[i+1]
		case !p.Closed || from.Bulge == 0: // closing draws the line itself
			continue
		}
		if from.Bulge == 0 {
			b.WriteString("L" + nums(to.X, height-to.Y))
			continue
		}
		_, r, sweep := arc(from.Vec2, to.Vec2, from.Bulge)
		large, clockwise := 0.0, 0.0
		if math.Abs(sweep) > math.Pi {
			large = 1
		}
		if sweep < 0 { // seen on the page; SVG counts it the same with y down
			clockwise = 1
		}
		b.WriteString("A" + nums(r, r, 0, large, clockwise, to.X, height-to.Y))
	}
	if p.Closed {
		b.WriteString("Z")
	}
	b.WriteString(`"/>`)
}

func svgText(b *bytes.Buffer, t Text, height float64, st Style) {
	x, y := num(t.At.X), num(height-t.At.Y)
	fmt.Fprintf(b, `<text x="%s" y="%s" font-family="sans-serif" font-size="%s" text-anchor="%s" fill="#%02x%02x%02x" stroke="none"`,
		x, y, num(t.Height/capHeight), [...]string{"start", "middle", "end"}[t.Anchor], st.Red, st.Green, st.Blue)
	if t.Angle != 0 {
		fmt.Fprintf(b, ` transform="rotate(%s %s %s)"`, num(-t.Angle*180/math.Pi), x, y)
	}
	b.WriteString(">" + escape(t.String) + "</text>")
}

func escape(s string) string {
	var b bytes.Buffer
	if err := xml.EscapeText(&b, []byte(s)); err != nil {
		panic(err) // a bytes.Buffer does not fail
	}
	return b.String()
}

// num prints with four decimals at most: a tenth of a micrometre in mm.
func num(x float64) string { return decimals(x, 4) }

func nums(xs ...float64) string {
	var words []string
	for _, x := range xs {
		words = append(words, num(x))
	}
	return strings.Join(words, " ")
}

func decimals(x float64, n int) string {
	s := strconv.FormatFloat(x, 'f', n, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}
