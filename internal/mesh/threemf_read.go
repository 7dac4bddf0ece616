package mesh

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path"
	"slices"
	"strconv"
	"strings"

	"groundwork/internal/geom"
)

// Namespaces of the extensions that are read, or do not change the shape: the
// production extension 1.1.2 and the materials and properties extension 1.2.1
// (3MF Consortium).
const (
	productionNamespace = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
	materialNamespace   = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
	setsNamespace       = "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07" // names for sets of triangles
)

// unitLength is the length in mm of each unit of the core specification.
var unitLength = map[string]float64{
	"micron": Micron.MM(), "millimeter": Millimetre.MM(), "centimeter": Centimetre.MM(),
	"inch": Inch.MM(), "foot": Foot.MM(), "meter": Metre.MM(),
}

// understood are the extensions that a file may require: the core itself, the
// production extension, and materials, which do not change the shape.
var understood = []string{coreNamespace, productionNamespace, materialNamespace}

// Read3MF reads a 3MF file such as Document.WriteTo writes: mesh objects,
// components, build items, metadata. Everything comes out in millimetres.
// Components are taken apart, so that each item places one mesh; where a
// transform scales, shears or mirrors, the item gets a body of its own with the
// transform worked in. Objects may lie in other model parts of the archive
// (production extension). Materials, properties, thumbnails and other parts are
// passed over.
//
// It is strict; Read is the one for files of other people. Objects must be of
// type "model": a support or a loose surface is an error, as is an extension
// that the file requires and that changes the shape, an element that the core
// specification does not know, a document type declaration, or an object used
// before it is defined. Meshes are not checked for closedness; use Check.
func Read3MF(r io.ReaderAt, size int64, lim Limits) (Document, error) {
	lim = lim.orDefault()
	if size > lim.FileBytes {
		return Document{}, fmt.Errorf("read 3MF: the file is larger than %d bytes", lim.FileBytes)
	}
	data, err := io.ReadAll(io.NewSectionReader(r, 0, size))
	if err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	doc, err := readThreeMF(data, lim, nil)
	if err != nil {
		return Document{}, fmt.Errorf("read 3MF: %w", err)
	}
	return doc, nil
}

// readThreeMF reads a 3MF file: strictly without passed, else noting there what
// it passes over.
func readThreeMF(data []byte, lim Limits, passed *notes) (Document, error) {
	a, err := openArchive(data, lim)
	if err != nil {
		return Document{}, err
	}
	start, err := a.startPart()
	if err != nil {
		return Document{}, err
	}
	if err := a.checkContentType(start); err != nil {
		return Document{}, err
	}
	m := &modelReader{archive: a, passed: passed, start: start, parts: map[string]*modelPartReader{}}
	if _, err := m.part(start); err != nil {
		return Document{}, err
	}
	return m.doc, nil
}

// archive finds parts by name, whose case the packaging conventions ignore.
type archive struct {
	parts map[string]*zip.File
	lim   Limits
	left  int64 // bytes that may still be expanded
}

// openArchive reads the directory of an archive. How many entries it has is
// looked at before they are read, by counting what each must begin with; the
// number that the directory itself gives may be wrong.
func openArchive(data []byte, lim Limits) (*archive, error) {
	if bytes.Count(data, []byte("PK\x01\x02")) > lim.Entries {
		return nil, fmt.Errorf("more than %d files in the archive", lim.Entries)
	}
	zr, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		return nil, fmt.Errorf("the zip archive: %w", err)
	}
	a := &archive{parts: map[string]*zip.File{}, lim: lim, left: lim.TotalBytes}
	for _, f := range zr.File {
		if strings.HasSuffix(f.Name, "/") || strings.HasSuffix(f.Name, "\\") {
			continue // a folder
		}
		key := partKey(f.Name)
		if a.parts[key] != nil {
			return nil, fmt.Errorf("%q is in the archive twice", clip(f.Name))
		}
		a.parts[key] = f
	}
	return a, nil
}

// partKey is a part's name in the form in which names are compared. Some
// programs write backslashes into archives, and some leave out or put in the
// percent signs with which the packaging conventions write other characters.
func partKey(name string) string {
	name = strings.TrimPrefix(strings.ReplaceAll(name, "\\", "/"), "/")
	if plain, err := url.PathUnescape(name); err == nil {
		name = plain
	}
	return strings.ToLower(name)
}

// maxToken bounds one tag, text or comment, since the XML reader holds it whole.
const maxToken = 1 << 20

// parse runs f over the root element of a part, and checks that nothing but
// white space and comments follows.
func (a *archive) parse(name string, f func(*scanner, xml.StartElement) error) error {
	part := a.parts[partKey(name)]
	if part == nil {
		return fmt.Errorf("%q is not in the archive", clip(name))
	}
	if part.Flags&1 != 0 {
		return fmt.Errorf("%q is encrypted", clip(name))
	}
	room := min(a.lim.ExpandedBytes, a.left)
	if part.UncompressedSize64 > uint64(room) {
		return fmt.Errorf("%q: %w: %d bytes", clip(name), errTooLarge, part.UncompressedSize64)
	}
	body, err := part.Open()
	if err != nil {
		return fmt.Errorf("%q: %w", clip(name), err)
	}
	defer body.Close()
	source := &byteSource{r: bufio.NewReaderSize(&cappedReader{r: body, left: room}, 1<<15), total: &a.left}
	if mark, _ := source.r.Peek(2); string(mark) == "\xff\xfe" || string(mark) == "\xfe\xff" {
		return fmt.Errorf("%q: encoding UTF-16; only UTF-8 is read", clip(name))
	}
	s := &scanner{dec: xml.NewDecoder(source), source: source, maxDepth: a.lim.Depth}
	s.dec.CharsetReader = func(charset string, r io.Reader) (io.Reader, error) {
		if strings.EqualFold(charset, "us-ascii") || strings.EqualFold(charset, "ascii") {
			return r, nil // what is beyond ASCII is then read as UTF-8 or refused
		}
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

// byteSource hands the XML reader one byte at a time, so that it never reads
// ahead, and fails within a token that is too long or once the archive has
// expanded too far.
type byteSource struct {
	r     *bufio.Reader
	token int    // bytes since the last token
	total *int64 // that may still be read, over all parts
}

func (b *byteSource) ReadByte() (byte, error) {
	c, err := b.r.ReadByte()
	if err != nil {
		return 0, err
	}
	if b.token++; b.token > maxToken {
		return 0, fmt.Errorf("one tag or text is longer than %d bytes", maxToken)
	}
	if *b.total--; *b.total < 0 {
		return 0, errTooLarge
	}
	return c, nil
}

// Read is there because the XML reader asks for an io.Reader; it reads bytes.
func (b *byteSource) Read(p []byte) (int, error) {
	if len(p) == 0 {
		return 0, nil
	}
	c, err := b.ReadByte()
	if err != nil {
		return 0, err
	}
	p[0] = c
	return 1, nil
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

// startPart is the name of the root model part, by the package's relationships.
func (a *archive) startPart() (string, error) {
	targets, err := a.models(relsPart, "/")
	switch {
	case err != nil:
		return "", err
	case len(targets) == 0:
		return "", fmt.Errorf("%q names no start part", relsPart)
	case len(targets) > 1:
		return "", fmt.Errorf("%q names two start parts", relsPart)
	}
	return targets[0], nil
}

// models is the model parts that a relationships part names, whose source lies
// in folder.
func (a *archive) models(rels, folder string) ([]string, error) {
	var targets []string
	err := a.parse(rels, func(s *scanner, root xml.StartElement) error {
		if root.Name != (xml.Name{Space: relsNamespace, Local: "Relationships"}) {
			return fmt.Errorf("root element is %q", clip(root.Name.Local))
		}
		return s.children(func(el xml.StartElement) error {
			if attr(el, "Type") == startPartRelation {
				target := attr(el, "Target")
				if target == "" {
					return errors.New("the model has no target")
				}
				if !path.IsAbs(target) {
					target = path.Join(folder, target)
				}
				if len(targets) == a.lim.Entries {
					return fmt.Errorf("more than %d models", a.lim.Entries)
				}
				targets = append(targets, path.Clean(target))
			}
			return s.skip()
		})
	})
	return targets, err
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
	source   *byteSource
	maxDepth int
	depth    int
	text     []byte // character data directly in the element now open
}

// next is the next element to open, or nil when the current one closes or the
// file ends. The decoder itself refuses a file that ends inside an element.
func (s *scanner) next() (*xml.StartElement, error) {
	for {
		s.source.token = 0
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
			if len(s.text)+len(tok) > maxToken { // texts between comments
				return nil, fmt.Errorf("the text of one element is longer than %d bytes", maxToken)
			}
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

func attr(el xml.StartElement, name string) string { return attrOf(el, "", name) }

func attrOf(el xml.StartElement, space, name string) string {
	for _, a := range el.Attr {
		if a.Name.Space == space && a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// object is a resource: a mesh, by its body's index, or a list of components.
type object struct {
	body       int  // -1 for components
	depth      int  // of components under it
	passed     bool // over: not a model, or nothing but such objects
	components []component
}

type component struct {
	of    *object
	place affine
}

// modelReader reads the model parts of an archive into one document.
type modelReader struct {
	*archive
	passed *notes // nil to be strict
	doc    Document
	start  string // the root model part
	parts  map[string]*modelPartReader
	// related are the model parts that the root's relationships name.
	related   []string
	resources int // over all parts
	vertices  int
	triangles int
	placed    struct{ vertices, triangles int } // over all items
}

// modelPartReader reads one model part. Numbers of objects and the unit are its
// own.
type modelPartReader struct {
	*modelReader
	name    string
	root    bool
	unit    float64
	objects map[uint64]*object
	taken   map[uint64]bool // ids
}

// part is the model part of that name, which is read the first time. Only the
// root part leads to others, so this goes two deep at most.
func (m *modelReader) part(name string) (*modelPartReader, error) {
	key := partKey(name)
	if p := m.parts[key]; p != nil {
		return p, nil
	}
	p := &modelPartReader{modelReader: m, name: name, root: name == m.start, objects: map[uint64]*object{}, taken: map[uint64]bool{}}
	m.parts[key] = p
	return p, m.parse(name, p.model)
}

// otherPart is the part that a component or an item names by its path.
func (m *modelPartReader) otherPart(name string) (*modelPartReader, error) {
	if !m.root {
		return nil, fmt.Errorf("path %q stands in a model part that is not the root, where the production extension forbids it", clip(name))
	}
	if !path.IsAbs(name) || path.Clean(name) != name || strings.Contains(name, "\\") {
		return nil, fmt.Errorf("path %q is not the absolute name of a part", clip(name))
	}
	if m.parts[partKey(name)] == nil && m.passed == nil {
		if err := m.checkRelated(name); err != nil {
			return nil, err
		}
	}
	return m.part(name)
}

// checkRelated asks the root model part's relationships about another part.
func (m *modelPartReader) checkRelated(name string) error {
	dir, file := path.Split(m.start)
	rels := path.Join(dir, "_rels", file+".rels")
	if m.related == nil {
		related, err := m.models(rels, dir)
		if err != nil {
			return err
		}
		m.related = related
	}
	if !slices.ContainsFunc(m.related, func(r string) bool { return partKey(r) == partKey(name) }) {
		return fmt.Errorf("%q does not name %q", clip(rels), clip(name))
	}
	return nil
}

// strict reports whether what is wrong or unknown is an error. Otherwise it is
// passed over, with a word.
func (m *modelReader) strict() bool { return m.passed == nil }

// passOver notes what is left out, where the element just opened is. Only for
// readers that are not strict.
func (m *modelPartReader) passOver(s *scanner, what string) {
	line, _ := s.dec.InputPos()
	m.passed.add(what, fmt.Sprintf("%q line %d", clip(m.name), line))
}

// foreignElement skips an element of another namespace. Where it may have been
// part of the shape, that is noted.
func (m *modelPartReader) foreignElement(s *scanner, el xml.StartElement) error {
	if !m.strict() && el.Name.Space != materialNamespace && el.Name.Space != setsNamespace {
		m.passOver(s, fmt.Sprintf("element %q of %q", clip(el.Name.Local), clip(el.Name.Space)))
	}
	return s.skip()
}

func (m *modelPartReader) model(s *scanner, root xml.StartElement) error {
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
		if !slices.Contains(understood, space) {
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
			if !m.root {
				return s.skip() // so the production extension, 3.2
			}
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
			if !m.root {
				return s.skip() // so the production extension, chapter 2
			}
			return s.children(func(el xml.StartElement) error { return m.item(s, el) })
		}
		return unknown(el)
	})
	if err == nil && (stage == 0 || stage == 1 && m.root) {
		err = errors.New("the model has no resources or no build")
	}
	return err
}

func unknown(el xml.StartElement) error {
	return fmt.Errorf("element %q is not expected here", clip(el.Name.Local))
}

func (m *modelPartReader) resource(s *scanner, el xml.StartElement) error {
	if el.Name.Space != coreNamespace {
		return m.foreignElement(s, el)
	}
	if el.Name.Local != "object" && el.Name.Local != "basematerials" {
		return unknown(el)
	}
	id, err := index(el, "id", 1<<31)
	if err != nil {
		return err
	}
	if id == 0 || m.taken[id] {
		return fmt.Errorf("resource id %d is 0 or comes twice", id)
	}
	m.taken[id] = true
	if m.resources++; m.resources > m.lim.Objects {
		return fmt.Errorf("more than %d resources", m.lim.Objects)
	}
	if el.Name.Local == "basematerials" {
		return s.skip()
	}
	o := &object{body: -1}
	if t := attr(el, "type"); t != "" && t != "model" {
		if m.strict() {
			return fmt.Errorf("object %d is of type %q; only models are read", id, clip(t))
		}
		m.passOver(s, fmt.Sprintf("object of type %q", clip(t)))
		o.passed = true
		m.objects[id] = o
		return s.skip()
	}
	filled := false
	err = s.children(func(child xml.StartElement) error {
		if child.Name.Space != coreNamespace {
			return m.foreignElement(s, child)
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
			if len(body.Triangles) == 0 {
				m.passOver(s, "object without triangles")
				o.passed = true
				return nil
			}
			body.Name, body.PartNumber = attr(el, "name"), attr(el, "partnumber")
			o.body = len(m.doc.Bodies)
			m.doc.Bodies = append(m.doc.Bodies, body)
			return nil
		}
		return unknown(child)
	})
	if err == nil && !o.passed && o.body < 0 && len(o.components) == 0 {
		err = fmt.Errorf("object %d is empty", id)
	}
	if len(o.components) > 0 {
		o.passed = false // only some of it was
	}
	// Only now: an object cannot be a component of itself.
	m.objects[id] = o
	return err
}

// placedObject reads the objectid and transform of a component or an item.
func (m *modelPartReader) placedObject(el xml.StartElement) (*object, affine, error) {
	id, err := index(el, "objectid", 1<<31)
	if err != nil {
		return nil, affine{}, err
	}
	part := m
	if name := attrOf(el, productionNamespace, "path"); name != "" {
		if part, err = m.otherPart(name); err != nil {
			return nil, affine{}, err
		}
	}
	o := part.objects[id]
	if o == nil {
		return nil, affine{}, fmt.Errorf("object %d of %q is used but not defined before", id, clip(part.name))
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

func (m *modelPartReader) component(s *scanner, el xml.StartElement, o *object) error {
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
	if child.passed {
		o.passed = true
		return s.skip()
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

func (m *modelPartReader) item(s *scanner, el xml.StartElement) error {
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
	if !o.passed {
		if err := m.place(o, place, attr(el, "partnumber")); err != nil {
			return err
		}
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
	for _, v := range m.doc.Bodies[it.Body].Vertices {
		if !finite(it.Frame.Point(v)) {
			return errors.New("a transform puts a vertex beyond all numbers")
		}
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

func (m *modelPartReader) mesh(s *scanner) (Body, error) {
	var b Body
	stage := 0 // vertices, then triangles
	err := s.children(func(el xml.StartElement) error {
		if el.Name.Space != coreNamespace {
			return m.foreignElement(s, el)
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
				if m.strict() && (t[0] == t[1] || t[1] == t[2] || t[2] == t[0]) {
					return fmt.Errorf("triangle %d has a repeated corner", len(b.Triangles))
				}
				b.Triangles = append(b.Triangles, t)
				return s.skip()
			})
		}
		return unknown(el)
	})
	if err == nil && m.strict() && len(b.Triangles) < 4 {
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
