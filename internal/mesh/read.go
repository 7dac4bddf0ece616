package mesh

import (
	"bytes"
	"fmt"
	"path"
	"slices"
	"strings"

	"groundwork/internal/geom"
)

// Scene is what a file of somebody else's holds. Items say what stands where; a
// body without an item is a shape that the file keeps but does not place.
//
// Vertices are in the file's own numbers where Unit is unknown, and in mm where
// it is known.
type Scene struct {
	Document
	Format string   // "STL", "OBJ" or "3MF"
	Unit   Unit     // Millimetre for 3MF, whose files state theirs; unknown for the others
	Passed []string // parts of the shape that were passed over, in words; colours and the like are not told
}

// Read reads a file of triangle meshes, and tells its format by what it holds
// and only then by its name. It is forgiving where nothing is lost by it, and
// says in Scene.Passed what it left out; a file that is cut short, or holds
// numbers that are none, is an error that names the file and the place in it:
// the byte, the line, or the part of the archive and its line.
//
//   - STL, binary or ASCII: each solid is a body. A header that says "solid",
//     attribute bytes, padding at the end, garbled endsolid lines do not matter.
//   - OBJ: see the notes at readOBJ. Each object or group is a body, unless it
//     shares an open edge with another; polygons are cut into triangles.
//   - 3MF: the core specification 1.3 with the production extension 1.1.2 (3MF
//     Consortium). Objects that are not models are passed over.
//
// In STL and OBJ corners at exactly the same place become one vertex. Meshes are
// not checked or mended.
func Read(name string, data []byte, lim Limits) (Scene, error) {
	lim = lim.orDefault()
	if int64(len(data)) > lim.FileBytes {
		return Scene{}, fmt.Errorf("read %q: the file is larger than %d bytes", name, lim.FileBytes)
	}
	format, err := detect(name, data)
	if err != nil {
		return Scene{}, fmt.Errorf("read %q: %w", name, err)
	}
	s := Scene{Format: format}
	var passed notes
	switch format {
	case "STL":
		s.Bodies, err = readSTL(data, lim, &passed)
	case "OBJ":
		s.Bodies, err = readOBJ(data, lim, &passed)
	case "3MF":
		s.Unit = Millimetre
		s.Document, err = readThreeMF(data, lim, &passed)
	}
	if err == nil && format != "3MF" {
		for i := range s.Bodies {
			s.Items = append(s.Items, Item{Body: i, Frame: geom.World()})
		}
	}
	switch {
	case err != nil || len(s.Items) > 0:
	case len(s.Bodies) > 0:
		err = fmt.Errorf("it holds %d surfaces but its build places none of them", len(s.Bodies))
	default:
		err = fmt.Errorf("it holds no surface%s", passed.inBrackets())
	}
	if err != nil {
		return Scene{}, fmt.Errorf("read %q as %s: %w", name, format, err)
	}
	s.Passed = passed.words()
	return s, nil
}

// foreign are the beginnings of files that people try, and what to say of them.
var foreign = []struct{ begins, is string }{
	{"ISO-10303-21", "a STEP file (ISO 10303-21)"},
	{"ply\n", "a PLY file"}, {"ply\r", "a PLY file"},
	{"glTF", "a binary glTF file"},
	{"OFF\n", "an OFF file"}, {"OFF\r", "an OFF file"},
	{"<?xml", "an XML text"}, {"<model", "an XML text"},
	{"{", "a JSON text"},
	{"%PDF", "a PDF"},
	{"\xff\xfe", "a text in UTF-16"}, {"\xfe\xff", "a text in UTF-16"},
}

// detect tells the format of a file.
func detect(name string, data []byte) (string, error) {
	if len(data) == 0 {
		return "", fmt.Errorf("the file is empty")
	}
	text := trimBOM(data)
	start := text[:min(len(text), 1024)]
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")), bytes.HasPrefix(data, []byte("PK\x05\x06")):
		return "3MF", nil
	case fitsBinarySTL(data), isASCIISTL(text):
		return "STL", nil
	case isText(start) && startsOBJ(text):
		return "OBJ", nil
	}
	for _, f := range foreign {
		if bytes.HasPrefix(text, []byte(f.begins)) {
			return "", fmt.Errorf("it is %s; STL, OBJ and 3MF are read: save it as one of these", f.is)
		}
	}
	switch ext := strings.ToLower(path.Ext(name)); ext {
	case ".stl", ".obj", ".3mf":
		return strings.ToUpper(ext[1:]), nil
	}
	return "", fmt.Errorf("it is neither STL, OBJ nor 3MF, by what it holds or by its name")
}

// trimBOM is data without the byte order mark that some editors put before
// UTF-8.
func trimBOM(data []byte) []byte { return bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) }

// isText reports whether no control character but white space is in data.
func isText(data []byte) bool {
	return !bytes.ContainsFunc(data, func(r rune) bool { return r < ' ' && !isSpace(byte(r)) })
}

// maxNotes bounds how many different things are told as passed over.
const maxNotes = 20

// notes gathers what is passed over: each thing once, with how often and where
// it was met first. The zero value is ready.
type notes struct {
	things []note
}

type note struct {
	what, first string
	count       int
}

// add notes one thing; first says where it was, and is kept the first time.
func (n *notes) add(what, first string) {
	i := slices.IndexFunc(n.things, func(t note) bool { return t.what == what })
	if i < 0 && len(n.things) >= maxNotes {
		what = "other things"
		i = slices.IndexFunc(n.things, func(t note) bool { return t.what == what })
	}
	if i < 0 {
		i = len(n.things)
		n.things = append(n.things, note{what: what, first: first})
	}
	n.things[i].count++
}

func (n *notes) words() []string {
	var out []string
	for _, t := range n.things {
		switch {
		case t.count > 1 && t.first != "":
			out = append(out, fmt.Sprintf("%s (%d times, first %s)", t.what, t.count, t.first))
		case t.count > 1:
			out = append(out, fmt.Sprintf("%s (%d times)", t.what, t.count))
		case t.first != "":
			out = append(out, fmt.Sprintf("%s (%s)", t.what, t.first))
		default:
			out = append(out, t.what)
		}
	}
	return out
}

func (n *notes) inBrackets() string {
	if len(n.things) == 0 {
		return ""
	}
	return " (passed over: " + strings.Join(n.words(), "; ") + ")"
}
