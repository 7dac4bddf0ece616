package folder

import (
	"errors"
	"fmt"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Kind is what a file of the folder is to the maker.
type Kind string

const (
	Piece      Kind = "piece"      // YAML with the key members
	Shop       Kind = "shop"       // YAML with the key printers
	Marks      Kind = "marks"      // what the maker marked for a piece: its name with .marks.yaml
	Photograph Kind = "photograph" // jpg, jpeg, png
	Solid      Kind = "solid"      // stl, obj, 3mf
	Other      Kind = "other"      // YAML that is none of these
)

// marksEnd is how the name of a marks file ends.
const marksEnd = ".marks.yaml"

// MarksFor is the name of the marks file of a piece file: "stool.yaml" has
// "stool.marks.yaml".
func MarksFor(piece string) string { return strings.TrimSuffix(piece, path.Ext(piece)) + marksEnd }

// maxName is how long a name may be: 255 bytes is the most that common file
// systems take, and a temporary file's name is longer than the file's own.
const maxName = 200

// CheckName is nil if name may be the name of a maker's file in the folder:
// one plain word or phrase that every common file system takes, with an ending
// that says which kind of file it is. The rules of reserved characters and
// names are those of "Naming Files, Paths, and Namespaces", Microsoft Learn.
func CheckName(name string) error {
	fault := func(format string, args ...any) error {
		return &NameError{name, fmt.Sprintf(format, args...)}
	}
	switch {
	case name == "":
		return fault("it is empty")
	case len(name) > maxName:
		return fault("it is longer than %d bytes", maxName)
	case !utf8.ValidString(name):
		return fault("it is not UTF-8 text")
	case strings.ContainsAny(name, `/\`):
		return fault("it leads to another folder; name a file of this one")
	case name[0] == '.':
		return fault("it begins with a full stop, which hides a file")
	case name[0] == ' ' || strings.HasSuffix(name, " ") || strings.HasSuffix(name, "."):
		return fault("it begins or ends with a space, or ends with a full stop")
	case strings.ContainsAny(name, `:*?"<>|`):
		return fault(`it has one of : * ? " < > |, which not every system takes`)
	}
	for _, r := range name {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
			return fault("it has a character that cannot be seen (code %d)", r)
		}
	}
	stem, _, _ := strings.Cut(name, ".")
	if reserved(strings.TrimRight(stem, " ")) {
		return fault("%q is the name of a device on Windows", stem)
	}
	if kindOfName(name) == "" {
		return fault("its ending is none of .yaml, .yml, .jpg, .jpeg, .png, .stl, .obj, .3mf")
	}
	return nil
}

// reserved reports whether Windows keeps the name for a device.
func reserved(stem string) bool {
	s := strings.ToUpper(stem)
	switch s {
	case "CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$":
		return true
	}
	for _, port := range []string{"COM", "LPT"} {
		if n, ok := strings.CutPrefix(s, port); ok && utf8.RuneCountInString(n) == 1 && strings.Contains("0123456789¹²³", n) {
			return true
		}
	}
	return false
}

// kindOfName is the kind that a name's ending tells: Other for YAML whose keys
// must be looked at, "" for a file that is none of the maker's.
func kindOfName(name string) Kind {
	lower := strings.ToLower(name)
	switch path.Ext(lower) {
	case ".yaml", ".yml":
		if strings.HasSuffix(lower, marksEnd) {
			return Marks
		}
		return Other
	case ".jpg", ".jpeg", ".png":
		return Photograph
	case ".stl", ".obj", ".3mf":
		return Solid
	}
	return ""
}

// text reports whether a file is one whose versions are kept.
func text(name string) bool {
	switch kindOfName(name) {
	case Other, Marks:
		return true
	}
	return false
}

// ErrName is what every *NameError is.
var ErrName = errors.New("not a name for a file of the folder")

// NameError says why a name cannot be used.
type NameError struct {
	Name string
	Why  string // "it is empty"
}

func (e *NameError) Error() string {
	return fmt.Sprintf("%q cannot be used as a name: %s", e.Name, e.Why)
}

// Is makes errors.Is(err, ErrName) true.
func (e *NameError) Is(target error) bool { return target == ErrName }
