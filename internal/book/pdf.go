package book

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/carlos7ags/folio/document"
	"github.com/carlos7ags/folio/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goitalic"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"

	"groundwork/internal/draw"
	"groundwork/internal/geom"
)

// face is one of the fonts of the book.
type face int

const (
	regular face = iota
	bold
	italic
	mono
	faces
)

var fontFiles = [faces][]byte{goregular.TTF, gobold.TTF, goitalic.TTF, gomono.TTF}

// capHeight is the height of a capital of the Go fonts over their size (OS/2
// table: 1480 of 2048 units).
const capHeight = 1480.0 / 2048

// point is a typographic point in mm: 1/72 in, as PDF counts (ISO 32000-1, 8.3.2.3).
const point = 25.4 / 72

// rulers measure texts. They are kept apart from the fonts of a file, whose
// subsets grow with what is written.
var rulers = sync.OnceValues(func() (out [faces]*ruler, err error) {
	for i, data := range fontFiles {
		f, err := font.ParseTTF(data)
		if err != nil {
			return out, fmt.Errorf("book: font %d: %w", i, err)
		}
		out[i] = &ruler{wide: map[rune]float64{}, face: font.NewEmbeddedFont(f)}
	}
	return out, nil
})

// ruler keeps the widths of letters.
type ruler struct {
	lock sync.Mutex
	wide map[rune]float64 // of size 1
	face *font.EmbeddedFont
}

// width is that of a text in mm at a size in points. Letters are set without
// kerning, so widths add up.
func width(f face, size float64, s string) float64 {
	all, err := rulers()
	if err != nil {
		return 0 // Make has told it
	}
	r := all[f]
	r.lock.Lock()
	defer r.lock.Unlock()
	var sum float64
	for _, c := range s {
		w, ok := r.wide[c]
		if !ok {
			w = r.face.MeasureString(string(c), 1000) / 1000
			r.wide[c] = w
		}
		sum += w
	}
	return sum * size * point
}

// text is one line of writing on a page.
type text struct {
	at    geom.Vec2 // left end of the baseline, mm from the page's lower left corner
	size  float64   // points
	face  face
	grey  uint8
	angle float64 // of the baseline, radians
	s     string
}

// box is what the text covers: from its baseline less a quarter of its size to
// its capitals' height.
func (t text) box() geom.Box2 {
	w, h := width(t.face, t.size, t.s), t.size*point
	b := geom.EmptyBox2()
	for _, c := range []geom.Vec2{{X: 0, Y: -0.22 * h}, {X: w, Y: -0.22 * h}, {X: w, Y: 0.78 * h}, {X: 0, Y: 0.78 * h}} {
		b = b.Add(t.at.Add(c.Rotate(t.angle)))
	}
	return b
}

// link takes a reader to another page.
type link struct {
	box  geom.Box2
	page int // from 0
}

// bookmark is an entry of the outline that viewers show.
type bookmark struct {
	title string
	page  int // from 0
	level int // 0 or 1
}

// page is one page as it will be printed. Layers are drawn first, then texts.
type page struct {
	layers []draw.Layer // mm from the lower left corner; names need not differ
	texts  []text
	links  []link
}

// booklet is pages and what the file says of them.
type booklet struct {
	title, subject, author string
	size                   geom.Vec2
	pages                  []page
	marks                  []bookmark
}

// bytes writes the PDF file. Dates are those of nothing: the same pages give the
// same bytes.
func (b booklet) bytes() ([]byte, error) {
	doc := document.NewDocument(document.PageSize{Width: b.size.X / point, Height: b.size.Y / point})
	doc.Info = document.Info{
		Title: b.title, Subject: b.subject, Author: b.author, Creator: "Groundwork", Producer: "Groundwork", Language: "en",
		CreationDate: time.Unix(0, 0).UTC(), ModDate: time.Unix(0, 0).UTC(),
	}
	var fonts [faces]*font.EmbeddedFont
	for i, data := range fontFiles {
		f, err := font.ParseTTF(data)
		if err != nil {
			return nil, fmt.Errorf("book: font %d: %w", i, err)
		}
		fonts[i] = font.NewEmbeddedFont(f)
	}
	for _, p := range b.pages {
		out := doc.AddPage()
		out.AddTextEmbedded("", fonts[regular], 1, 0, 0) // makes the stream
		w := &stream{}
		for _, l := range p.layers {
			w.layer(l)
		}
		out.ContentStream().AppendBytes(w.Bytes())
		for _, l := range p.layers {
			st := l.Style()
			for _, it := range l.Items {
				if t, ok := it.(draw.Text); ok {
					write(out, fonts[:], lettered(t, st))
				}
			}
		}
		for _, t := range p.texts {
			write(out, fonts[:], t)
		}
		for _, l := range p.links {
			out.AddPageLink([4]float64{l.box.Min.X / point, l.box.Min.Y / point, l.box.Max.X / point, l.box.Max.Y / point}, l.page)
		}
	}
	var above *document.Outline
	for _, m := range b.marks {
		to := document.XYZDest(m.page, 0, b.size.Y/point, 0)
		if m.level == 0 || above == nil {
			above = doc.AddOutline(m.title, to)
			continue
		}
		above.AddChild(m.title, to)
	}
	var buf bytes.Buffer
	if _, err := doc.WriteToWithOptions(&buf, document.WriteOptions{Deterministic: true, UseXRefStream: true, UseObjectStreams: true, CompressionLevel: 6}); err != nil {
		return nil, fmt.Errorf("book: writing the PDF file: %w", err)
	}
	return buf.Bytes(), nil
}

// lettered is a drawing's text as the page has it.
func lettered(t draw.Text, st draw.Style) text {
	size := t.Height / capHeight / point
	x := -width(regular, size, t.String) * [...]float64{0, 0.5, 1}[t.Anchor]
	return text{
		at: t.At.Add(geom.V2(x, 0).Rotate(t.Angle)), size: size, s: t.String, angle: t.Angle,
		grey: uint8((int(st.Red)*30 + int(st.Green)*59 + int(st.Blue)*11) / 100),
	}
}

func write(p *document.Page, fonts []*font.EmbeddedFont, t text) {
	s := p.ContentStream()
	s.SetFillColorGray(math.Round(float64(t.grey)/255*1000) / 1000)
	if t.angle == 0 {
		p.AddTextEmbedded(t.s, fonts[t.face], round(t.size), round(t.at.X/point), round(t.at.Y/point))
		return
	}
	sin, cos := math.Sincos(t.angle)
	s.SaveState()
	s.ConcatMatrix(cos, sin, -sin, cos, t.at.X/point, t.at.Y/point)
	p.AddTextEmbedded(t.s, fonts[t.face], round(t.size), 0, 0)
	s.RestoreState()
}

// round keeps a thousandth of a point.
func round(x float64) float64 { return math.Round(x*1000) / 1000 }

// stream is content of a page in PDF's operators (ISO 32000-1, 8.5), mm turned
// into points.
type stream struct{ bytes.Buffer }

func (w *stream) num(x float64) {
	s := strconv.FormatFloat(x/point, 'f', 3, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		s = "0"
	}
	w.WriteString(s)
	w.WriteByte(' ')
}

func (w *stream) op(name string, at ...geom.Vec2) {
	for _, p := range at {
		w.num(p.X)
		w.num(p.Y)
	}
	w.WriteString(name)
	w.WriteByte('\n')
}

// layer draws lines, circles and areas; texts are written later, with their font.
func (w *stream) layer(l draw.Layer) {
	st := l.Style()
	fmt.Fprintf(w, "q %.3f %.3f %.3f RG ", float64(st.Red)/255, float64(st.Green)/255, float64(st.Blue)/255)
	w.num(st.Width)
	w.WriteString("w 1 J 1 j [ ")
	for _, d := range st.Dash {
		w.num(d)
	}
	w.WriteString("] 0 d\n")
	for _, it := range l.Items {
		switch it := it.(type) {
		case draw.Path:
			w.path(it)
			w.op("S")
		case draw.Circle:
			w.circle(it.Center, it.Radius)
			w.op("s")
		case draw.Region:
			fmt.Fprintf(w, "%.3f g\n", float64(it.Grey)/255)
			for _, loop := range it.Area {
				for i, q := range loop {
					if i == 0 {
						w.op("m", q)
					} else {
						w.op("l", q)
					}
				}
				w.op("h")
			}
			w.op("f*")
		}
	}
	w.WriteString("Q\n")
}

// path has arcs as chords that stray from them by a hundredth of a millimetre.
func (w *stream) path(p draw.Path) {
	const chord = 0.01
	for i, q := range p.Flatten(chord) {
		if i == 0 {
			w.op("m", q)
		} else {
			w.op("l", q)
		}
	}
	if p.Closed {
		w.op("h")
	}
}

// circle is four cubics, whose handles are 4/3 (√2 - 1) of the radius long: they
// stray from it by less than 3e-4 of the radius.
func (w *stream) circle(c geom.Vec2, r float64) {
	const k = 0.5522847498
	at := func(x, y float64) geom.Vec2 { return c.Add(geom.V2(x*r, y*r)) }
	w.op("m", at(1, 0))
	w.op("c", at(1, k), at(k, 1), at(0, 1))
	w.op("c", at(-k, 1), at(-1, k), at(-1, 0))
	w.op("c", at(-1, -k), at(-k, -1), at(0, -1))
	w.op("c", at(k, -1), at(1, -k), at(1, 0))
}
