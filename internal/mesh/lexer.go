package mesh

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"groundwork/internal/geom"
)

// lexer takes words out of a text. Lines end with LF, CR or both.
type lexer struct {
	data []byte
	at   int
	line int // of data[at], from 1
	// joins says that a backslash at the end of a line joins the next one to it.
	joins bool
}

func isSpace(c byte) bool { return c == ' ' || c >= '\t' && c <= '\r' }

func (l *lexer) atEOL() bool {
	return l.at < len(l.data) && (l.data[l.at] == '\n' || l.data[l.at] == '\r')
}

// eol steps over the end of a line at which the lexer stands.
func (l *lexer) eol() {
	if l.data[l.at] == '\r' && l.at+1 < len(l.data) && l.data[l.at+1] == '\n' {
		l.at++
	}
	l.at++
	l.line++
}

// word is the next word on whatever line, or nil at the end.
func (l *lexer) word() []byte {
	for l.at < len(l.data) && isSpace(l.data[l.at]) {
		if l.atEOL() {
			l.eol()
		} else {
			l.at++
		}
	}
	start := l.at
	for l.at < len(l.data) && !isSpace(l.data[l.at]) {
		l.at++
	}
	if start == l.at {
		return nil
	}
	return l.data[start:l.at]
}

// continues reports whether a backslash stands here that joins the next line to
// this one.
func (l *lexer) continues() bool {
	return l.joins && l.data[l.at] == '\\' && l.at+1 < len(l.data) && (l.data[l.at+1] == '\n' || l.data[l.at+1] == '\r')
}

// lineWord is the next word of this line, with the lines that a backslash joins
// to it, or nil at its end.
func (l *lexer) lineWord() []byte {
	for l.at < len(l.data) && !l.atEOL() {
		switch {
		case l.continues():
			l.at++
			l.eol()
			continue
		case isSpace(l.data[l.at]):
			l.at++
			continue
		}
		start := l.at
		for l.at < len(l.data) && !isSpace(l.data[l.at]) && !l.continues() {
			l.at++
		}
		return l.data[start:l.at]
	}
	return nil
}

// skipLine goes to the end of this line, whatever it ends with.
func (l *lexer) skipLine() {
	for l.at < len(l.data) && !l.atEOL() {
		l.at++
	}
}

func (l *lexer) fail(format string, args ...any) error {
	return failAt(l.line, format, args...)
}

func failAt(line int, format string, args ...any) error {
	return fmt.Errorf("line %d: %s", line, fmt.Sprintf(format, args...))
}

// shown is a word for an error message; nil is the end of the file.
func shown(word []byte) string {
	if word == nil {
		return "the end of the file"
	}
	return strconv.Quote(clip(strings.ToValidUTF8(string(word[:min(len(word), 80)]), "?")))
}

func clip(s string) string {
	if len(s) > 60 {
		return strings.ToValidUTF8(s[:60], "") + "…"
	}
	return s
}

// nameOf is text from a file as a name: valid, on one line, not too long.
func nameOf(text []byte) string {
	const most = 256 // bytes, of text that a maker may read
	text = text[:min(len(text), most)]
	return strings.Join(strings.Fields(strings.ToValidUTF8(string(text), "?")), " ")
}

// vec reads three coordinates from next.
func (l *lexer) vec(next func() []byte) (geom.Vec3, error) {
	var x [3]float64
	for i := range x {
		w := next()
		v, err := parseNumber(string(w))
		if err != nil {
			return geom.Vec3{}, l.fail("%s", notNumber(w, err))
		}
		x[i] = v
	}
	return geom.V3(x[0], x[1], x[2]), nil
}

// notNumber says why a word is not a number.
func notNumber(word []byte, err error) string {
	switch {
	case word == nil:
		return "a number is missing at the end"
	case err == strconv.ErrRange:
		return shown(word) + " is beyond what a float32 holds"
	case strings.Count(string(word), ",") == 1:
		if _, err := parseNumber(strings.Replace(string(word), ",", ".", 1)); err == nil {
			return shown(word) + " has a decimal comma; numbers must have a decimal point"
		}
	}
	return shown(word) + " is not a number"
}

// parseNumber reads a decimal number, refusing what strconv allows beyond that:
// infinities, hexadecimal and underscores.
func parseNumber(s string) (float64, error) {
	for i := range len(s) {
		switch c := s[i]; {
		case c >= '0' && c <= '9', c == '+', c == '-', c == '.', c == 'e', c == 'E':
		default:
			return 0, strconv.ErrSyntax
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		if e, ok := err.(*strconv.NumError); ok {
			err = e.Err // without the text, so that s need not be kept
		}
		return 0, err
	}
	if math.Abs(v) > math.MaxFloat32 {
		return 0, strconv.ErrRange
	}
	return v, nil
}
