package mesh

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"encoding/xml"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"groundwork/internal/geom"
)

// Names fixed by the 3MF core specification 1.4.0 (3MF Consortium) and by the
// Open Packaging Conventions that it builds on (ECMA-376 part 2).
const (
	coreNamespace     = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	startPartRelation = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
	relsNamespace     = "http://schemas.openxmlformats.org/package/2006/relationships"
	typesNamespace    = "http://schemas.openxmlformats.org/package/2006/content-types"
	modelContentType  = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
	relsContentType   = "application/vnd.openxmlformats-package.relationships+xml"

	typesPart = "[Content_Types].xml"
	relsPart  = "_rels/.rels"
	modelPart = "3D/3dmodel.model"
)

var coreMetadata = []string{
	"Title", "Designer", "Description", "Copyright", "LicenseTerms", "Rating",
	"CreationDate", "ModificationDate", "Application",
}

// octantSlack is how far, in mm, a placed vertex may lie below zero and still
// count as being in the positive octant: half a float32 step at 1 m is 3e-5 mm,
// and a turned item may come out that much low.
const octantSlack = 1e-4

// archiveDate is the date that every entry of an archive carries, so that the
// same document gives the same bytes: 1 January 1980, the earliest that the
// format can hold (bits 5-8 are the month, 0-4 the day).
const archiveDate = 1<<5 | 1

// WriteTo writes the document as a 3MF file of the core specification, in
// millimetres, with no settings in it. Vertices are printed so that they read
// back as exactly the same float32, hence a mesh that was checked after Weld
// stays closed.
//
// It refuses what the specification forbids: metadata names that are not
// reserved or come twice, bodies that are not closed and consistently oriented,
// items that name no body or reach out of the positive octant. It implements
// io.WriterTo.
func (d Document) WriteTo(w io.Writer) (int64, error) {
	model, err := d.model()
	if err != nil {
		return 0, fmt.Errorf("write 3MF: %w", err)
	}
	types := xml.Header + `<Types xmlns="` + typesNamespace + `">` +
		`<Default Extension="rels" ContentType="` + relsContentType + `"/>` +
		`<Default Extension="model" ContentType="` + modelContentType + `"/>` +
		"</Types>\n"
	rels := xml.Header + `<Relationships xmlns="` + relsNamespace + `">` +
		`<Relationship Target="/` + modelPart + `" Id="start" Type="` + startPartRelation + `"/>` +
		"</Relationships>\n"

	count := &countingWriter{w: w}
	zw := zip.NewWriter(count)
	for _, part := range []struct {
		name string
		data []byte
	}{{typesPart, []byte(types)}, {relsPart, []byte(rels)}, {modelPart, model}} {
		if err := addPart(zw, part.name, part.data); err != nil {
			return count.n, fmt.Errorf("write 3MF: %s: %w", part.name, err)
		}
	}
	if err := zw.Close(); err != nil {
		return count.n, fmt.Errorf("write 3MF: %w", err)
	}
	return count.n, nil
}

type countingWriter struct {
	w io.Writer
	n int64
}

func (c *countingWriter) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// addPart compresses first and writes the sizes into the entry's header, since
// some readers do not follow sizes that come after the data.
func addPart(zw *zip.Writer, name string, data []byte) error {
	var packed bytes.Buffer
	// On mesh text, level 4 is 6 % larger than the default level and four times
	// as fast (BenchmarkWrite3MF).
	fw, err := flate.NewWriter(&packed, 4)
	if err != nil {
		return err
	}
	if _, err := fw.Write(data); err != nil {
		return err
	}
	if err := fw.Close(); err != nil {
		return err
	}
	w, err := zw.CreateRaw(&zip.FileHeader{
		Name:               name,
		Method:             zip.Deflate,
		ModifiedDate:       archiveDate, // CreateRaw does not look at Modified
		CRC32:              crc32.ChecksumIEEE(data),
		CompressedSize64:   uint64(packed.Len()),
		UncompressedSize64: uint64(len(data)),
	})
	if err != nil {
		return err
	}
	_, err = w.Write(packed.Bytes())
	return err
}

// model is the text of the model part.
func (d Document) model() ([]byte, error) {
	var b bytes.Buffer
	b.WriteString(xml.Header)
	b.WriteString(`<model unit="millimeter" xml:lang="en" xmlns="` + coreNamespace + "\">\n")
	seen := map[string]bool{}
	for _, m := range d.Metadata {
		if !slices.Contains(coreMetadata, m.Name) {
			return nil, fmt.Errorf("metadata %q is not a name of the core specification", m.Name)
		}
		if seen[m.Name] {
			return nil, fmt.Errorf("metadata %q comes twice", m.Name)
		}
		if err := checkText("metadata", m.Value); err != nil {
			return nil, err
		}
		seen[m.Name] = true
		b.WriteString(`<metadata` + attribute("name", m.Name) + `>` + escaper.Replace(m.Value) + "</metadata>\n")
	}
	b.WriteString("<resources>\n")
	for i, body := range d.Bodies {
		if err := writeObject(&b, i+1, body); err != nil {
			return nil, fmt.Errorf("body %d %q: %w", i, body.Name, err)
		}
	}
	b.WriteString("</resources>\n<build>\n")
	for i, it := range d.Items {
		if it.Body < 0 || it.Body >= len(d.Bodies) {
			return nil, fmt.Errorf("item %d names body %d of %d", i, it.Body, len(d.Bodies))
		}
		if err := checkText("part number", it.PartNumber); err != nil {
			return nil, fmt.Errorf("item %d: %w", i, err)
		}
		m := affineOf(it.Frame)
		for _, x := range m {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				return nil, fmt.Errorf("item %d %q has a place that is not finite", i, it.PartNumber)
			}
		}
		low := geom.EmptyBox3()
		for _, v := range d.Bodies[it.Body].Vertices {
			low = low.Add(m.point(v))
		}
		if min(low.Min.X, low.Min.Y, low.Min.Z) < -octantSlack {
			return nil, fmt.Errorf("item %d %q reaches out of the positive octant, to %v", i, it.PartNumber, low.Min)
		}
		b.WriteString(`<item objectid="` + strconv.Itoa(it.Body+1) + `"`)
		if m != affineOf(geom.World()) {
			b.WriteString(` transform="`)
			for j, x := range m {
				if j > 0 {
					b.WriteByte(' ')
				}
				b.WriteString(strconv.FormatFloat(x+0, 'f', -1, 64))
			}
			b.WriteByte('"')
		}
		if it.PartNumber != "" {
			b.WriteString(attribute("partnumber", it.PartNumber))
		}
		b.WriteString("/>\n")
	}
	b.WriteString("</build>\n</model>\n")
	return b.Bytes(), nil
}

func writeObject(b *bytes.Buffer, id int, body Body) error {
	if err := errors.Join(checkText("name", body.Name), checkText("part number", body.PartNumber)); err != nil {
		return err
	}
	r, err := Check(body.Vertices, body.Triangles)
	if err != nil {
		return err
	}
	if !r.Closed || !r.Oriented {
		return fmt.Errorf("not a closed, oriented surface: %d open, %d crowded, %d flipped edges", r.Open, r.Crowded, r.Flipped)
	}
	for i, t := range body.Triangles {
		if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			return fmt.Errorf("triangle %d has a repeated corner", i)
		}
	}
	b.WriteString(`<object id="` + strconv.Itoa(id) + `" type="model"`)
	if body.PartNumber != "" {
		b.WriteString(attribute("partnumber", body.PartNumber))
	}
	if body.Name != "" {
		b.WriteString(attribute("name", body.Name))
	}
	b.WriteString(">\n<mesh>\n<vertices>\n")
	var line []byte
	for i, v := range body.Vertices {
		p := round32(v)
		line = append(line[:0], `<vertex x="`...)
		for j, sep := range []string{`" y="`, `" z="`, "\"/>\n"} {
			if math.IsInf(float64(p[j]), 0) {
				return fmt.Errorf("vertex %d does not fit: %v", i, v)
			}
			line = strconv.AppendFloat(line, float64(p[j]), 'f', -1, 32)
			line = append(line, sep...)
		}
		b.Write(line)
	}
	b.WriteString("</vertices>\n<triangles>\n")
	for _, t := range body.Triangles {
		line = append(line[:0], `<triangle v1="`...)
		line = strconv.AppendInt(line, int64(t[0]), 10)
		line = append(line, `" v2="`...)
		line = strconv.AppendInt(line, int64(t[1]), 10)
		line = append(line, `" v3="`...)
		line = strconv.AppendInt(line, int64(t[2]), 10)
		line = append(line, "\"/>\n"...)
		b.Write(line)
	}
	b.WriteString("</triangles>\n</mesh>\n</object>\n")
	return nil
}

func attribute(name, value string) string { return " " + name + `="` + escaper.Replace(value) + `"` }

// escaper uses the five names that XML predefines. The encoding/xml package
// writes numbers instead (&#34;), which the 3MF Consortium's reader refuses.
var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&apos;")

// checkText refuses what an attribute cannot carry there and back: control
// characters, the two code points outside XML, and text that is not UTF-8.
func checkText(what, s string) error {
	bad := func(r rune) bool { return unicode.IsControl(r) || r == 0xFFFE || r == 0xFFFF }
	if !utf8.ValidString(s) || strings.ContainsFunc(s, bad) {
		return fmt.Errorf("%s %q holds control characters or is not UTF-8", what, s)
	}
	return nil
}

// affine is a 3MF transform: four rows of three, the images of the x, y and z
// axes and of the origin. A point is a row vector, multiplied from the left.
type affine [12]float64

func affineOf(f geom.Frame) affine {
	return affine{
		f.X.X, f.X.Y, f.X.Z,
		f.Y.X, f.Y.Y, f.Y.Z,
		f.Z.X, f.Z.Y, f.Z.Z,
		f.Origin.X, f.Origin.Y, f.Origin.Z,
	}
}

func (m affine) row(i int) geom.Vec3 { return geom.V3(m[3*i], m[3*i+1], m[3*i+2]) }

func (m affine) dir(v geom.Vec3) geom.Vec3 {
	return m.row(0).Scale(v.X).Add(m.row(1).Scale(v.Y)).Add(m.row(2).Scale(v.Z))
}

func (m affine) point(v geom.Vec3) geom.Vec3 { return m.dir(v).Add(m.row(3)) }

// then is m followed by n.
func (m affine) then(n affine) affine {
	var out affine
	for i := range 4 {
		r := n.dir(m.row(i))
		if i == 3 {
			r = n.point(m.row(i))
		}
		out[3*i], out[3*i+1], out[3*i+2] = r.X, r.Y, r.Z
	}
	return out
}

func (m affine) determinant() float64 { return m.row(0).Dot(m.row(1).Cross(m.row(2))) }

// rigid is m as a frame, if its axes are square to within 1e-6: a transform
// printed with seven digits still counts as a turn, and over a metre the
// difference is a micrometre.
func (m affine) rigid() (geom.Frame, bool) {
	const slack = 1e-6
	x, y, z := m.row(0), m.row(1), m.row(2)
	for _, e := range []float64{
		x.Dot(x) - 1, y.Dot(y) - 1, z.Dot(z) - 1, x.Dot(y), y.Dot(z), z.Dot(x),
	} {
		if math.Abs(e) > slack {
			return geom.Frame{}, false
		}
	}
	return geom.Frame{Origin: m.row(3), X: x, Y: y, Z: z}, m.determinant() > 0
}

var errTooLarge = errors.New("larger than allowed")
