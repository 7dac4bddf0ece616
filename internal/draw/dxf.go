package draw

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"groundwork/internal/geom"
)

// WriteDXF writes the sheet as ASCII DXF release 12 (AC1009), one drawing unit
// to the millimetre. The release has no field for the unit, so a comment at the
// head says it. Layer names become what the release allows (DXFLayerName);
// paths of one straight line are LINEs, all others POLYLINEs with bulges.
func WriteDXF(w io.Writer, s Sheet) error {
	if err := s.check(); err != nil {
		return fmt.Errorf("write DXF: %w", err)
	}
	names, err := s.names(DXFLayerName)
	if err != nil {
		return fmt.Errorf("write DXF: %w", err)
	}

	d := &dxfWriter{}
	d.text(999, "Units: millimetres, scale 1:1")
	if s.Title != "" {
		d.text(999, dxfText(s.Title))
	}
	d.section("HEADER")
	d.text(9, "$ACADVER")
	d.text(1, "AC1009")
	for _, v := range []struct {
		name string
		at   geom.Vec2
	}{{"$LIMMIN", geom.V2(0, 0)}, {"$LIMMAX", geom.V2(s.Width, s.Height)}} {
		d.text(9, v.name)
		d.real(10, v.at.X)
		d.real(20, v.at.Y)
	}
	box := s.bounds()
	d.text(9, "$EXTMIN")
	d.point(10, box.Min)
	d.text(9, "$EXTMAX")
	d.point(10, box.Max)
	d.text(9, "$LUNITS") // decimal
	d.int(70, 2)
	d.text(9, "$LUPREC")
	d.int(70, 4)
	d.text(0, "ENDSEC")

	d.section("TABLES")
	d.lineTypes()
	d.table("LAYER", len(s.Layers)+1)
	d.layer("0", 7, "CONTINUOUS")
	for i, l := range s.Layers {
		d.layer(names[i], l.Style().ColorIndex, layerLine(l))
	}
	d.text(0, "ENDTAB")
	d.table("STYLE", 1)
	d.text(0, "STYLE")
	d.text(2, "STANDARD")
	d.int(70, 0)
	d.real(40, 0)
	d.real(41, 1)
	d.real(50, 0)
	d.int(71, 0)
	d.real(42, 2.5)
	d.text(3, "txt")
	d.text(4, "")
	d.text(0, "ENDTAB")
	d.text(0, "ENDSEC")

	d.section("BLOCKS")
	d.text(0, "ENDSEC")

	d.section("ENTITIES")
	for i, l := range s.Layers {
		for _, it := range l.Items {
			switch it := it.(type) {
			case Path:
				d.path(names[i], it)
			case Circle:
				d.entity("CIRCLE", names[i])
				d.point(10, it.Center)
				d.real(40, it.Radius)
			case Text:
				d.writing(names[i], it)
			case Region: // the release has no holes in what it fills: its outlines
				for _, loop := range it.Area {
					d.path(names[i], Polyline(loop, true))
				}
			}
		}
	}
	d.text(0, "ENDSEC")
	d.text(0, "EOF")
	if _, err := w.Write(d.b.Bytes()); err != nil {
		return fmt.Errorf("write DXF: %w", err)
	}
	return nil
}

// DXFLayerName is a name as release 12 allows it: at most 31 of the characters
// A-Z, 0-9, $, - and _. Small letters become capitals, anything else "_".
func DXFLayerName(name string) string {
	out := strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z':
			return r - 'a' + 'A'
		case r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '$', r == '-', r == '_':
			return r
		}
		return '_'
	}, name)
	return out[:min(len(out), 31)]
}

// dxfText is s in the printable ASCII that every reader of release 12 knows.
// The format's own codes stand for degrees, plus-minus and diameter; two percent
// signs begin such a code, so percent signs are kept apart.
func dxfText(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '%' && strings.HasSuffix(b.String(), "%"):
			b.WriteString(" %")
		case r >= ' ' && r <= '~':
			b.WriteRune(r)
		case r == '°':
			b.WriteString("%%d")
		case r == '±':
			b.WriteString("%%p")
		case r == '⌀', r == 'Ø':
			b.WriteString("%%c")
		case r == '×':
			b.WriteByte('x')
		case r == '–', r == '—', r == '−':
			b.WriteByte('-')
		default:
			b.WriteByte('?')
		}
	}
	return b.String()
}

func (s Sheet) bounds() geom.Box2 {
	box := geom.EmptyBox2()
	for _, l := range s.Layers {
		for _, it := range l.Items {
			box = box.Union(it.Bounds())
		}
	}
	if box.Empty() {
		return geom.Box2{Max: geom.V2(s.Width, s.Height)}
	}
	return box
}

// dxfWriter writes pairs of a group code and a value, a line each.
type dxfWriter struct{ b bytes.Buffer }

func (d *dxfWriter) text(code int, value string) { fmt.Fprintf(&d.b, "%3d\n%s\n", code, value) }
func (d *dxfWriter) int(code, value int)         { d.text(code, strconv.Itoa(value)) }

// real keeps six decimals, and a decimal point in every number.
func (d *dxfWriter) real(code int, value float64) { d.realTo(code, value, 6) }

func (d *dxfWriter) realTo(code int, value float64, places int) {
	s := decimals(value, places)
	if !strings.Contains(s, ".") {
		s += ".0"
	}
	d.text(code, s)
}

func (d *dxfWriter) point(code int, p geom.Vec2) {
	d.real(code, p.X)
	d.real(code+10, p.Y)
	d.real(code+20, 0)
}

func (d *dxfWriter) section(name string) {
	d.text(0, "SECTION")
	d.text(2, name)
}

func (d *dxfWriter) table(name string, entries int) {
	d.text(0, "TABLE")
	d.text(2, name)
	d.int(70, entries)
}

func (d *dxfWriter) entity(kind, layer string) {
	d.text(0, kind)
	d.text(8, layer)
}

// layerLine is the line type of a layer. Pens share the dashes of notes.
func layerLine(l Layer) string {
	switch {
	case l.Pen == nil:
		return lineType(l.Operation)
	case l.Pen.Dash != nil:
		return lineType(Note)
	}
	return "CONTINUOUS"
}

func lineType(o Operation) string {
	if o.Style().Dash == nil {
		return "CONTINUOUS"
	}
	return DXFLayerName(o.String()) + "_LINE"
}

func (d *dxfWriter) lineTypes() {
	dashed := []Operation{}
	for o := Cut; o <= Note; o++ {
		if o.Style().Dash != nil {
			dashed = append(dashed, o)
		}
	}
	d.table("LTYPE", len(dashed)+1)
	d.lineType("CONTINUOUS", "whole line", nil)
	for _, o := range dashed {
		d.lineType(lineType(o), o.String()+" line", o.Style().Dash)
	}
	d.text(0, "ENDTAB")
}

func (d *dxfWriter) lineType(name, description string, dash []float64) {
	d.text(0, "LTYPE")
	d.text(2, name)
	d.int(70, 0)
	d.text(3, description)
	d.int(72, 65) // "A", the only alignment there is
	d.int(73, len(dash))
	var period float64
	for _, x := range dash {
		period += x
	}
	d.real(40, period)
	for i, x := range dash {
		if i%2 == 1 {
			x = -x // gaps are negative
		}
		d.real(49, x)
	}
}

func (d *dxfWriter) layer(name string, color int, lineType string) {
	d.text(0, "LAYER")
	d.text(2, name)
	d.int(70, 0)
	d.int(62, color)
	d.text(6, lineType)
}

func (d *dxfWriter) path(layer string, p Path) {
	if len(p.Vertices) == 2 && !p.Closed && p.Vertices[0].Bulge == 0 {
		d.entity("LINE", layer)
		d.point(10, p.Vertices[0].Vec2)
		d.point(11, p.Vertices[1].Vec2)
		return
	}
	d.entity("POLYLINE", layer)
	d.int(66, 1) // vertices follow
	d.point(10, geom.Vec2{})
	closed := 0
	if p.Closed {
		closed = 1
	}
	d.int(70, closed)
	for i, v := range p.Vertices {
		d.entity("VERTEX", layer)
		d.point(10, v.Vec2)
		if v.Bulge != 0 && (p.Closed || i+1 < len(p.Vertices)) {
			d.realTo(42, v.Bulge, 10)
		}
	}
	d.entity("SEQEND", layer)
}

func (d *dxfWriter) writing(layer string, t Text) {
	d.entity("TEXT", layer)
	d.point(10, t.At)
	d.real(40, t.Height)
	d.text(1, dxfText(t.String))
	if t.Angle != 0 {
		d.real(50, t.Angle*180/math.Pi)
	}
	if t.Anchor != Start {
		d.int(72, int(t.Anchor)) // 1 centred, 2 to the right; then 11 is the place
		d.point(11, t.At)
	}
}
