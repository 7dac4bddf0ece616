package mesh

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/geom"
)

// unitLength is the length in mm of each unit of the core specification.
var unitLength = map[string]float64{
	"micron": 0.001, "millimeter": 1, "centimeter": 10, "inch": 25.4, "foot": 304.8, "meter": 1000,
}

// Read3MF reads the core part of a 3MF file: mesh objects, components, build
// items, metadata. Everything comes out in millimetres. Components are taken
// apart, so that each item places one mesh; where a transform scales, shears or
// mirrors, the item gets a body of its own with the transform worked in.
// Materials, properties, thumbnails and other parts are passed over.
//
// Objects must be of type "model": a support or a loose surface is an error, as
// is an extension that the file says is required, an element that the core
// specification does not know, a document type declaration, or an object used
// before it is defined. Meshes are not checked for closedness; use Check.
func Read3MF(r io.ReaderAt, size int64, lim Limits) (Document, error) {
	lim = lim.orDefault()
	if size > lim.FileBytes {
		return Document{}, fmt.Errorf("read 3MF: the file is larger than %d bytes", lim.FileBytes)
	}
	zr, err := zip.NewReader(r, size)
	if err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	a, err := openArchive(zr, lim)
	if err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	start, err := a.startPart()
	if err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	if err := a.checkContentType(start); err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	m := &modelReader{lim: lim, objects: map[uint64]*object{}, resources: map[uint64]bool{}}
	if err := a.parse(start, m.model); err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	return m.doc, nil
}

// archive finds parts by name, whose case the packaging conventions ignore.
type archive struct {
	parts map[string]*zip.File
	lim   Limits
}

func openArchive(zr *zip.Reader, lim Limits) (*archive, error) {
	if len(zr.File) > lim.Entries {
		return nil, fmt.Errorf("more than %d files in the archive", lim.Entries)
	}
	a := &archive{parts: map[string]*zip.File{}, lim: lim}
	for _, f := range zr.File {
		key := strings.ToLower(f.Name)
		if a.parts[key] != nil {
			return nil, fmt.Errorf("%q is in the archive twice", clip(f.Name))
		}
		a.parts[key] = f
	}
	return a, nil
}

// parse runs f over the root element of a part, and checks that nothing but
// white space and comments follows.
func (a *archive) parse(name string, f func(*scanner, xml.StartElement) error) error {
	part := a.parts[strings.ToLower(strings.TrimPrefix(name, "/"))]
	if part == nil {
		return fmt.Errorf("%q is not in the archive", clip(name))
	}
	if part.UncompressedSize64 > uint64(a.lim.ExpandedBytes) {
		return fmt.Errorf("%q: %w: %d bytes", clip(name), errTooLarge, part.UncompressedSize64)
	}
	body, err := part.Open()
	if err != nil {
		return fmt.Errorf("%q: %w", clip(name), err)
	}
	defer body.Close()
	s := &scanner{
		dec:      xml.NewDecoder(&cappedReader{r: body, left: a.lim.ExpandedBytes}),
		maxDepth: a.lim.Depth,
	}
	s.dec.CharsetReader = func(charset string, _ io.Reader) (io.Reader, error) {
		return nil, fmt.Errorf("encoding %q; only UTF-8 is read", clip(charset))
	}
	err = func() error {
		root, err := s.next()
		if err != nil {
			return err
		}
		if root == nil {
			return errors.New("no element")
		}
		if err := f(s, *root); err != nil {
			return err
		}
		if more, err := s.next(); err != nil || more != nil {
			return errors.Join(err, errors.New("something follows the root element"))
		}
		return nil
	}()
	if err != nil {
		line, _ := s.dec.InputPos()
		return fmt.Errorf("%q line %d: %w", clip(name), line, err)
	}
	return nil
}

// cappedReader fails rather than ends when the cap is passed, whatever size the
// archive's directory claims.
type cappedReader struct {
	r    io.Reader
	left int64
}

func (c *cappedReader) Read(p []byte) (int, error) {
	if c.left < 0 {
		return 0, errTooLarge
	}
	n, err := c.r.Read(p)
	if c.left -= int64(n); c.left < 0 {
		return 0, errTooLarge
	}
	return n, err
}

// startPart is the name of the model part, by the package's relationships.
func (a *archive) startPart() (string, error) {
	var start string
	err := a.parse(relsPart, func(s *scanner, root xml.StartElement) error {
		if root.Name != (xml.Name{Space: relsNamespace, Local: "Relationships"}) {
			return fmt.Errorf("root element is %q", clip(root.Name.Local))
		}
		return s.children(func(el xml.StartElement) error {
			if attr(el, "Type") == startPartRelation {
				if start != "" {
					return errors.New("two start parts")
				}
				if start = attr(el, "Target"); start == "" {
					return errors.New("the start part has no target")
				}
			}
			return s.skip()
		})
	})
	if err == nil && start == "" {
		err = fmt.Errorf("%q names no start part", relsPart)
	}
	return path.Join("/", start), err
}

func (a *archive) checkContentType(start string) error {
	var byExtension, byName string
	ext := strings.TrimPrefix(path.Ext(start), ".")
	err := a.parse(typesPart, func(s *scanner, root xml.StartElement) error {
		if root.Name != (xml.Name{Space: typesNamespace, Local: "Types"}) {
			return fmt.Errorf("root element is %q", clip(root.Name.Local))
		}
		return s.children(func(el xml.StartElement) error {
			switch {
			case el.Name.Local == "Default" && strings.EqualFold(attr(el, "Extension"), ext):
				byExtension = attr(el, "ContentType")
			case el.Name.Local == "Override" && strings.EqualFold(attr(el, "PartName"), start):
				byName = attr(el, "ContentType")
			}
			return s.skip()
		})
	})
	if err != nil {
		return err
	}
	if byName == "" {
		byName = byExtension
	}
	if byName != modelContentType {
		return fmt.Errorf("%q has content type %q, not that of a model", clip(start), clip(byName))
	}
	return nil
}

// scanner steps through XML elements within a depth limit. Document type
// declarations, and with them entities of the file's own, are refused.
type scanner struct {
	dec      *xml.Decoder
	maxDepth int
	depth    int
	text     []byte // character data directly in the element now open
}

// next is the next element to open, or nil when the current one closes or the
// file ends. The decoder itself refuses a file that ends inside an element.
func (s *scanner) next() (*xml.StartElement, error) {
	for {
		tok, err := s.dec.Token()
		if err == io.EOF && s.depth == 0 {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			if s.depth++; s.depth > s.maxDepth {
				return nil, fmt.Errorf("elements lie deeper than %d", s.maxDepth)
			}
			s.text = s.text[:0]
			return &tok, nil
		case xml.EndElement:
			s.depth--
			return nil, nil
		case xml.CharData:
			s.text = append(s.text, tok...)
		case xml.Directive:
			return nil, errors.New("document type declarations are not allowed")
		}
	}
}

// children runs f on each child of the open element; f must read to the child's
// end.
func (s *scanner) children(f func(xml.StartElement) error) error {
	for {
		el, err := s.next()
		if el == nil || err != nil {
			return err
		}
		if err := f(*el); err != nil {
			return err
		}
	}
}

// skip reads to the end of the open element.
func (s *scanner) skip() error {
	return s.children(func(xml.StartElement) error { return s.skip() })
}

func attr(el xml.StartElement, name string) string {
	for _, a := range el.Attr {
		if a.Name.Space == "" && a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// object is a resource: a mesh, by its body's index, or a list of components.
type object struct {
	body       int // -1 for components
	depth      int // of components under it
	name       string
	components []component
}

type component struct {
	of    *object
	place affine
}

type modelReader struct {
	lim       Limits
	unit      float64
	doc       Document
	objects   map[uint64]*object
	resources map[uint64]bool
	vertices  int
	triangles int
	placed    struct{ vertices, triangles int } // over all items
}

func (m *modelReader) model(s *scanner, root xml.StartElement) error {
	if root.Name != (xml.Name{Space: coreNamespace, Local: "model"}) {
		return fmt.Errorf("root element is %q in %q, not a core model", clip(root.Name.Local), clip(root.Name.Space))
	}
	unit := attr(root, "unit")
	if unit == "" {
		unit = "millimeter"
	}
	m.unit = unitLength[unit]
	if m.unit == 0 {
		return fmt.Errorf("unit %q is not one of the core specification", clip(unit))
	}
	for _, prefix := range strings.Fields(attr(root, "requiredextensions")) {
		space := ""
		for _, a := range root.Attr {
			if a.Name.Space == "xmlns" && a.Name.Local == prefix {
				space = a.Value
			}
		}
		if space != coreNamespace {
			return fmt.Errorf("the file requires extension %q (%q), which is not read here", clip(prefix), clip(space))
		}
	}
	var names []string
	stage := 0 // resources come once, then build once
	err := s.children(func(el xml.StartElement) error {
		if el.Name.Space != coreNamespace {
			return s.skip()
		}
		switch el.Name.Local {
		case "metadata":
			name := attr(el, "name")
			if slices.Contains(names, name) {
				return fmt.Errorf("metadata %q comes twice", clip(name))
			}
			if len(names) == m.lim.Items {
				return fmt.Errorf("more than %d metadata", m.lim.Items)
			}
			names = append(names, name)
			err := s.skip()
			if slices.Contains(coreMetadata, name) {
				m.doc.Metadata = append(m.doc.Metadata, Metadata{name, string(s.text)})
			}
			return err
		case "resources":
			if stage != 0 {
				return errors.New("resources come twice or after the build")
			}
			stage = 1
			return s.children(func(el xml.StartElement) error { return m.resource(s, el) })
		case "build":
			if stage != 1 {
				return errors.New("the build comes twice or before the resources")
			}
			stage = 2
			return s.children(func(el xml.StartElement) error { return m.item(s, el) })
		}
		return unknown(el)
	})
	if err == nil && stage != 2 {
		err = errors.New("the model has no resources or no build")
	}
	return err
}

func unknown(el xml.StartElement) error {
	return fmt.Errorf("element %q is not expected here", clip(el.Name.Local))
}

func (m *modelReader) resource(s *scanner, el xml.StartElement) error {
	if el.Name.Space != coreNamespace {
		return s.skip()
	}
	if el.Name.Local != "object" && el.Name.Local != "basematerials" {
		return unknown(el)
	}
	id, err := index(el, "id", 1<<31)
	if err != nil {
		return err
	}
	if id == 0 || m.resources[id] {
		return fmt.Errorf("resource id %d is 0 or comes twice", id)
	}
	m.resources[id] = true
	if len(m.resources) > m.lim.Objects {
		return fmt.Errorf("more than %d resources", m.lim.Objects)
	}
	if el.Name.Local == "basematerials" {
		return s.skip()
	}
	if t := attr(el, "type"); t != "" && t != "model" {
		return fmt.Errorf("object %d is of type %q; only models are read", id, clip(t))
	}
	o := &object{body: -1, name: attr(el, "name")}
	filled := false
	err = s.children(func(child xml.StartElement) error {
		if child.Name.Space != coreNamespace {
			return s.skip()
		}
		switch child.Name.Local {
		case "metadatagroup":
			return s.skip()
		case "mesh", "components":
			if filled {
				return fmt.Errorf("object %d has more than one mesh or list of components", id)
			}
			filled = true
			if child.Name.Local == "components" {
				return s.children(func(c xml.StartElement) error { return m.component(s, c, o) })
			}
			body, err := m.mesh(s)
			if err != nil {
				return fmt.Errorf("object %d: %w", id, err)
			}
			body.Name, body.PartNumber = o.name, attr(el, "partnumber")
			o.body = len(m.doc.Bodies)
			m.doc.Bodies = append(m.doc.Bodies, body)
			return nil
		}
		return unknown(child)
	})
	if err == nil && (!filled || o.body < 0 && len(o.components) == 0) {
		err = fmt.Errorf("object %d is empty", id)
	}
	// Only now: an object cannot be a component of itself.
	m.objects[id] = o
	return err
}

// placedObject reads the objectid and transform of a component or an item.
func (m *modelReader) placedObject(el xml.StartElement) (*object, affine, error) {
	id, err := index(el, "objectid", 1<<31)
	if err != nil {
		return nil, affine{}, err
	}
	o := m.objects[id]
	if o == nil {
		return nil, affine{}, fmt.Errorf("object %d is used but not defined before", id)
	}
	place := affineOf(geom.World())
	if text := attr(el, "transform"); text != "" {
		words := strings.Fields(clipLong(text))
		if len(words) != len(place) {
			return nil, affine{}, fmt.Errorf("a transform has %d numbers, not %d", len(words), len(place))
		}
		for i, w := range words {
			if place[i], err = parseNumber(w); err != nil {
				return nil, affine{}, fmt.Errorf("transform: %q is not a number", clip(w))
			}
		}
		for i := 9; i < 12; i++ {
			place[i] *= m.unit
		}
		if place.determinant() == 0 {
			return nil, affine{}, errors.New("a transform flattens its object")
		}
	}
	return o, place, nil
}

// clipLong keeps an absurdly long attribute from being split into words; it is
// longer than any twelve numbers worth reading.
func clipLong(s string) string {
	if len(s) > 4096 {
		return ""
	}
	return s
}

func (m *modelReader) component(s *scanner, el xml.StartElement, o *object) error {
	if el.Name.Space != coreNamespace {
		return s.skip()
	}
	if el.Name.Local != "component" {
		return unknown(el)
	}
	child, place, err := m.placedObject(el)
	if err != nil {
		return err
	}
	if len(o.components) == m.lim.Items {
		return fmt.Errorf("more than %d components in one object", m.lim.Items)
	}
	if o.depth = max(o.depth, child.depth+1); o.depth > m.lim.Depth {
		return fmt.Errorf("components lie deeper than %d", m.lim.Depth)
	}
	o.components = append(o.components, component{child, place})
	return s.skip()
}

func (m *modelReader) item(s *scanner, el xml.StartElement) error {
	if el.Name.Space != coreNamespace {
		return s.skip()
	}
	if el.Name.Local != "item" {
		return unknown(el)
	}
	o, place, err := m.placedObject(el)
	if err != nil {
		return err
	}
	if err := m.place(o, place, attr(el, "partnumber")); err != nil {
		return err
	}
	return s.skip()
}

// place adds an item for every mesh under o. Objects refer only to earlier ones,
// so this ends; since no list of components is empty, the limits on items and on
// depth bound the work, and those on triangles and vertices the memory.
func (m *modelReader) place(o *object, place affine, part string) error {
	if o.body < 0 {
		for _, c := range o.components {
			if err := m.place(c.of, c.place.then(place), part); err != nil {
				return err
			}
		}
		return nil
	}
	if len(m.doc.Items) == m.lim.Items {
		return fmt.Errorf("more than %d placed bodies", m.lim.Items)
	}
	m.placed.triangles += len(m.doc.Bodies[o.body].Triangles)
	m.placed.vertices += len(m.doc.Bodies[o.body].Vertices)
	if max(m.placed.triangles, m.placed.vertices) > m.lim.Triangles {
		return fmt.Errorf("more than %d triangles or vertices in placed bodies", m.lim.Triangles)
	}
	it := Item{Body: o.body, PartNumber: part}
	var ok bool
	if it.Frame, ok = place.rigid(); !ok {
		it.Body = len(m.doc.Bodies)
		it.Frame = geom.World()
		m.doc.Bodies = append(m.doc.Bodies, m.doc.Bodies[o.body].transformed(place))
	}
	m.doc.Items = append(m.doc.Items, it)
	return nil
}

// transformed is b with m worked into its vertices. A mirror turns triangles
// inside out, so they are run the other way.
func (b Body) transformed(m affine) Body {
	vertices := make([]geom.Vec3, len(b.Vertices))
	for i, v := range b.Vertices {
		vertices[i] = m.point(v)
	}
	triangles := slices.Clone(b.Triangles)
	if m.determinant() < 0 {
		for i, t := range triangles {
			triangles[i] = [3]int32{t[0], t[2], t[1]}
		}
	}
	b.Vertices, b.Triangles = vertices, triangles
	return b
}

func (m *modelReader) mesh(s *scanner) (Body, error) {
	var b Body
	stage := 0 // vertices, then triangles
	err := s.children(func(el xml.StartElement) error {
		if el.Name.Space != coreNamespace {
			return s.skip()
		}
		switch {
		case el.Name.Local == "vertices" && stage == 0:
			stage = 1
			return s.children(func(el xml.StartElement) error {
				if el.Name.Space != coreNamespace {
					return s.skip()
				}
				if el.Name.Local != "vertex" {
					return unknown(el)
				}
				// A closed mesh has about half as many vertices as triangles.
				if m.vertices == m.lim.Triangles {
					return fmt.Errorf("more than %d vertices", m.lim.Triangles)
				}
				m.vertices++
				var p [3]float64
				for i, name := range []string{"x", "y", "z"} {
					v, err := parseNumber(attr(el, name))
					if err != nil {
						return fmt.Errorf("vertex %d: %s is %q, not a number", len(b.Vertices), name, clip(attr(el, name)))
					}
					p[i] = v * m.unit
				}
				b.Vertices = append(b.Vertices, geom.V3(p[0], p[1], p[2]))
				return s.skip()
			})
		case el.Name.Local == "triangles" && stage == 1:
			stage = 2
			return s.children(func(el xml.StartElement) error {
				if el.Name.Space != coreNamespace {
					return s.skip()
				}
				if el.Name.Local != "triangle" {
					return unknown(el)
				}
				if m.triangles == m.lim.Triangles {
					return fmt.Errorf("more than %d triangles", m.lim.Triangles)
				}
				m.triangles++
				var t [3]int32
				for i, name := range []string{"v1", "v2", "v3"} {
					v, err := index(el, name, uint64(len(b.Vertices)))
					if err != nil {
						return fmt.Errorf("triangle %d: %w", len(b.Triangles), err)
					}
					t[i] = int32(v)
				}
				if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
					return fmt.Errorf("triangle %d has a repeated corner", len(b.Triangles))
				}
				b.Triangles = append(b.Triangles, t)
				return s.skip()
			})
		}
		return unknown(el)
	})
	if err == nil && len(b.Triangles) < 4 {
		err = fmt.Errorf("%d triangles cannot bound a solid", len(b.Triangles))
	}
	return b, err
}

// index reads a required attribute that is a whole number below limit.
func index(el xml.StartElement, name string, limit uint64) (uint64, error) {
	text := attr(el, name)
	v, err := strconv.ParseUint(text, 10, 32)
	if err != nil || v >= limit {
		return 0, fmt.Errorf("%s is %q, not a whole number below %d", name, clip(text), limit)
	}
	return v, nil
}
