package given

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// EditError says why a value cannot be set where it was asked for.
type EditError struct {
	Pointer string
	Place          // in the file, if it is known
	Why     string // a sentence without its full stop
}

func (e *EditError) Error() string {
	if e.Written() {
		return fmt.Sprintf("setting %s: line %d: %s", e.Pointer, e.Line, e.Why)
	}
	return fmt.Sprintf("setting %s: %s", e.Pointer, e.Why)
}

// Edit sets one value of a YAML text, named by a JSON Pointer (RFC 6901) such
// as "/parameters/height/value", and leaves every other byte as it is. The
// value is any text on any number of lines; it is written plainly, or in the
// quotes that stood there, or in double quotes if YAML needs them. If only the
// last key of the pointer is missing, it is added to its mapping.
//
// What is not one value on one line is refused with an *EditError: lists,
// mappings, texts over several lines, and whatever has or is below an anchor
// or alias, for it would change elsewhere too. A text that Read finds faults
// in is refused with its Errors.
func Edit(src []byte, pointer, value string) ([]byte, error) {
	keys, err := splitPointer(pointer)
	if err != nil {
		return nil, err
	}
	// Places behind a block of text with lines ended by CR LF are not what the
	// YAML library says, so such a text is edited with plain ends.
	if n := bytes.Count(src, crlf); n > 0 && n == bytes.Count(src, crlf[:1]) && n == bytes.Count(src, crlf[1:]) {
		out, err := set(bytes.ReplaceAll(src, crlf, crlf[1:]), pointer, keys, value)
		return bytes.ReplaceAll(out, crlf[1:], crlf), err
	}
	return set(src, pointer, keys, value)
}

var crlf = []byte("\r\n")

// set is Edit with the pointer's keys.
func set(src []byte, pointer string, keys []string, value string) (out []byte, err error) {
	e := editor{src: src, pointer: pointer, value: value, lines: []int{0}}
	for i, b := range src {
		if b == '\n' {
			e.lines = append(e.lines, i+1)
		}
	}
	faults := &Faults{}
	body := parse(src, faults)
	before := readBody(body, faults)
	if err := faults.Err(); err != nil {
		return nil, fmt.Errorf("setting %s: %w", pointer, err)
	}
	if out, err = e.edit(body, keys); err != nil {
		return nil, err
	}
	// The YAML library's places are not to be relied on in every corner. What
	// it reads in the new text is the proof.
	if after := Read(out, faults); faults.Any() || !differsAt(before, after, keys, value) {
		return nil, e.refuse(nil, "it cannot be set without touching what stands around it; change it in the text")
	}
	return out, nil
}

// splitPointer is a JSON Pointer's keys, RFC 6901 section 3 and 4.
func splitPointer(pointer string) ([]string, error) {
	if pointer == "" || pointer[0] != '/' {
		return nil, &EditError{Pointer: strconv.Quote(pointer), Why: "a pointer begins with / and names one value"}
	}
	keys := strings.Split(pointer[1:], "/")
	for i, k := range keys {
		if plain := strings.NewReplacer("~0", "", "~1", "").Replace(k); strings.Contains(plain, "~") {
			return nil, &EditError{Pointer: pointer, Why: "in a pointer ~ is written ~0, and / within a key ~1"}
		}
		keys[i] = strings.NewReplacer("~1", "/", "~0", "~").Replace(k)
	}
	return keys, nil
}

// Pointer is the JSON Pointer (RFC 6901) that leads along the keys, with the
// numbers of list entries from 0.
func Pointer(keys ...string) string {
	var b strings.Builder
	for _, k := range keys {
		b.WriteByte('/')
		b.WriteString(strings.NewReplacer("~", "~0", "/", "~1").Replace(k))
	}
	return b.String()
}

// At is the node that a JSON Pointer leads to, or nil.
func (n *Node) At(pointer string) *Node {
	if pointer == "" {
		return n
	}
	keys, err := splitPointer(pointer)
	if err != nil {
		return nil
	}
	for _, k := range keys {
		switch {
		case n == nil:
			return nil
		case n.Kind == Mapping:
			n = n.Get(k)
		case n.Kind == List:
			i, ok := index(k, len(n.Items))
			if !ok {
				return nil
			}
			n = n.Items[i]
		default:
			return nil
		}
	}
	return n
}

// index reads a list's index as RFC 6901 writes it: no sign, no leading zero.
func index(s string, n int) (int, bool) {
	i, err := strconv.Atoi(s)
	return i, err == nil && i >= 0 && i < n && s == strconv.Itoa(i)
}

// differsAt reports whether b is a, but for the scalar want at keys, which may
// be new.
func differsAt(a, b *Node, keys []string, want string) bool {
	if b == nil {
		return false
	}
	if len(keys) == 0 {
		return b.Kind == Scalar && b.Text == want && (a == nil || a.Kind == Scalar || a.Kind == Null)
	}
	if a == nil || a.Kind != b.Kind {
		return false
	}
	switch a.Kind {
	case List:
		at, ok := index(keys[0], len(a.Items))
		if !ok || len(b.Items) != len(a.Items) {
			return false
		}
		for i := range a.Items {
			if i != at && !equal(a.Items[i], b.Items[i]) || i == at && !differsAt(a.Items[i], b.Items[i], keys[1:], want) {
				return false
			}
		}
		return true
	case Mapping:
		// All keys of a stand in b in their order; one may have come to them.
		i := 0
		for k, key := range b.Keys {
			had := i < len(a.Keys) && a.Keys[i].Value == key.Value
			switch {
			case key.Value == keys[0]:
				var old *Node
				if had {
					old = a.Items[i]
				} else if len(keys) > 1 {
					return false
				}
				if !differsAt(old, b.Items[k], keys[1:], want) {
					return false
				}
			case !had || !equal(a.Items[i], b.Items[k]):
				return false
			}
			if had {
				i++
			}
		}
		return i == len(a.Keys) && slices.ContainsFunc(b.Keys, func(k Text) bool { return k.Value == keys[0] })
	}
	return false
}

// equal reports whether two nodes hold the same.
func equal(a, b *Node) bool {
	if a.Kind != b.Kind || a.Text != b.Text || a.Quoted != b.Quoted || len(a.Keys) != len(b.Keys) || len(a.Items) != len(b.Items) {
		return false
	}
	for i := range a.Keys {
		if a.Keys[i].Value != b.Keys[i].Value {
			return false
		}
	}
	for i := range a.Items {
		if !equal(a.Items[i], b.Items[i]) {
			return false
		}
	}
	return true
}

// editor is one edit under way.
type editor struct {
	src            []byte
	lines          []int // where each line begins
	pointer, value string
}

func (e *editor) refuse(n ast.Node, format string, args ...any) error {
	err := &EditError{Pointer: e.pointer, Why: fmt.Sprintf(format, args...)}
	if n != nil {
		err.Place = start(n)
	}
	return err
}

// edit follows keys from n and sets the value there.
func (e *editor) edit(n ast.Node, keys []string) ([]byte, error) {
	var before ast.Node // the pair or list that n stands in
	flow := false
	for i, key := range keys {
		switch v := n.(type) {
		case *ast.MappingNode:
			flow = flow || v.IsFlowStyle
			if kv := pairOf(v.Values, key); kv != nil {
				before, n = kv, kv.Value
				continue
			}
			if i == len(keys)-1 {
				if v.IsFlowStyle {
					return e.addFlow(v, key)
				}
				return e.addBlock(v.Values, key)
			}
		case *ast.MappingValueNode:
			if kv := pairOf([]*ast.MappingValueNode{v}, key); kv != nil {
				before, n = kv, kv.Value
				continue
			}
			if i == len(keys)-1 {
				return e.addBlock([]*ast.MappingValueNode{v}, key)
			}
		case *ast.SequenceNode:
			flow = flow || v.IsFlowStyle
			if at, ok := index(key, len(v.Values)); ok {
				before, n = v, v.Values[at]
				continue
			}
			return nil, e.refuse(n, "the list there has %d entries, the first of them /0; %q is none of them", len(v.Values), clip(key))
		case *ast.AnchorNode, *ast.AliasNode:
			return nil, e.refuse(n, "an anchor (&) or alias (*) stands above it, so it would change elsewhere too; change it in the text")
		}
		return nil, e.refuse(n, "there is no %s in the file", Pointer(keys[:i+1]...))
	}
	switch v := n.(type) {
	case *ast.AnchorNode, *ast.AliasNode:
		return nil, e.refuse(n, "an anchor (&) or alias (*) stands there, so it would change elsewhere too; change it in the text")
	case *ast.LiteralNode:
		return nil, e.refuse(n, "a text over several lines stands there; change it in the text")
	case *ast.MappingNode, *ast.MappingValueNode, *ast.SequenceNode:
		return nil, e.refuse(n, "there is not one value but a list or mapping there")
	case *ast.NullNode:
		if kv, ok := before.(*ast.MappingValueNode); ok && !e.stands(v.Token) {
			// Nothing stands there: write it behind the colon.
			at, ok := e.offset(kv.Start)
			if !ok || e.src[at] != ':' {
				return nil, e.refuse(n, "there is no value to be found; change it in the text")
			}
			return e.splice(at+1, at+1, " "+scalar(e.value, flow, 0)), nil
		}
	case ast.ScalarNode:
	default:
		return nil, e.refuse(n, "there is not one value there")
	}
	from, to, quote, ok := e.span(n.GetToken())
	if !ok {
		return nil, e.refuse(n, "the value there does not stand on one line; change it in the text")
	}
	return e.splice(from, to, scalar(e.value, flow, quote)), nil
}

// splice is the text with from to to replaced.
func (e *editor) splice(from, to int, by string) []byte {
	return slices.Concat(e.src[:from], []byte(by), e.src[to:])
}

func pairOf(pairs []*ast.MappingValueNode, key string) *ast.MappingValueNode {
	for _, kv := range pairs {
		if k := kv.Key; k != nil && keyText(k) == key {
			return kv
		}
	}
	return nil
}

// keyText is a key without its quotes, as Read has it.
func keyText(k ast.MapKeyNode) string {
	if s, ok := k.(*ast.StringNode); ok {
		return s.Value
	}
	return k.GetToken().Value
}

// offset is where a token begins, in bytes.
func (e *editor) offset(t *token.Token) (int, bool) {
	if t == nil || t.Position == nil || t.Position.Line < 1 || t.Position.Line > len(e.lines) || t.Position.Column < 1 {
		return 0, false
	}
	at := e.lines[t.Position.Line-1]
	for range t.Position.Column - 1 { // columns count characters
		if at >= len(e.src) || e.src[at] == '\n' {
			return 0, false
		}
		_, n := utf8.DecodeRune(e.src[at:])
		at += n
	}
	return at, at < len(e.src)
}

// stands reports whether a token's text stands where the token says.
func (e *editor) stands(t *token.Token) bool {
	_, _, _, ok := e.span(t)
	return ok
}

// span is where a scalar stands, with its quotes, and which these are; ok is
// false if it cannot be found on one line.
func (e *editor) span(t *token.Token) (from, to int, quote byte, ok bool) {
	from, ok = e.offset(t)
	if !ok {
		return 0, 0, 0, false
	}
	line, _, _ := strings.Cut(string(e.src[from:]), "\n")
	switch t.Type {
	case token.DoubleQuoteType, token.SingleQuoteType:
		if n := quoted(line); n > 0 {
			return from, from + n, line[0], true
		}
		return 0, 0, 0, false
	}
	if t.Value == "" || !strings.HasPrefix(line, t.Value) {
		return 0, 0, 0, false
	}
	return from, from + len(t.Value), 0, true
}

// quoted is the length of the quoted text that line begins with, or 0.
func quoted(line string) int {
	if line == "" || line[0] != '"' && line[0] != '\'' {
		return 0
	}
	for i := 1; i < len(line); i++ {
		switch {
		case line[0] == '"' && line[i] == '\\':
			i++
		case line[i] == line[0] && line[0] == '\'' && i+1 < len(line) && line[i+1] == '\'':
			i++
		case line[i] == line[0]:
			return i + 1
		}
	}
	return 0
}

// addFlow adds a key to a mapping in braces, at its end.
func (e *editor) addFlow(m *ast.MappingNode, key string) ([]byte, error) {
	pair := scalar(key, true, 0) + ": " + scalar(e.value, true, 0)
	first, ok1 := e.offset(m.Start)
	last, ok2 := e.offset(m.End)
	if !ok1 || !ok2 || e.src[first] != '{' || e.src[last] != '}' {
		return nil, e.refuse(m, "the braces there cannot be found; change it in the text")
	}
	switch before := m.End.Prev; {
	case len(m.Values) == 0:
		return e.splice(first+1, first+1, pair), nil
	case before == nil || before.Type == token.CommentType:
		return e.splice(first+1, first+1, pair+", "), nil // not into the comment
	case before.Type == token.CollectEntryType:
		pair = " " + pair
	default:
		pair = ", " + pair
	}
	at := len(strings.TrimRightFunc(string(e.src[:last]), unicode.IsSpace))
	return e.splice(at, at, pair), nil
}

// addBlock adds a key to a mapping without braces: on a new line below the
// last key whose value stands on the key's own line, else above the first.
func (e *editor) addBlock(pairs []*ast.MappingValueNode, key string) ([]byte, error) {
	pair := scalar(key, false, 0) + ": " + scalar(e.value, false, 0)
	first, ok := e.offset(pairs[0].Key.GetToken())
	if !ok {
		return nil, e.refuse(pairs[0], "the mapping there cannot be found; change it in the text")
	}
	column := pairs[0].Key.GetToken().Position.Column
	indent := strings.Repeat(" ", column-1)
	for _, kv := range slices.Backward(pairs) {
		line := kv.Key.GetToken().Position.Line
		if !onLine(kv.Value, line) || line > len(e.lines) {
			continue
		}
		if line == len(e.lines) { // the last line, and it has no end
			return append(slices.Clone(e.src), "\n"+indent+pair...), nil
		}
		return e.splice(e.lines[line], e.lines[line], indent+pair+"\n"), nil
	}
	return e.splice(first, first, pair+"\n"+indent), nil
}

// onLine reports whether all of n stands on a line.
func onLine(n ast.Node, line int) bool {
	switch v := n.(type) {
	case nil, *ast.NullNode:
		return true
	case *ast.MappingNode:
		return v.IsFlowStyle && v.End != nil && v.End.Position.Line == line
	case *ast.SequenceNode:
		return v.IsFlowStyle && v.End != nil && v.End.Position.Line == line
	case *ast.AliasNode:
		return v.Start.Position.Line == line
	case *ast.LiteralNode, *ast.AnchorNode, *ast.MappingValueNode:
		return false
	case ast.ScalarNode:
		t := v.GetToken()
		return t.Position.Line == line && !strings.Contains(strings.TrimSpace(t.Origin), "\n")
	}
	return false
}

// scalar writes a value as YAML: in the quotes given, which it had before, or
// plainly where that can be read as nothing else.
func scalar(s string, flow bool, quote byte) string {
	printable := !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
	switch {
	case quote == '\'' && printable:
		return "'" + strings.ReplaceAll(s, "'", "''") + "'"
	case quote == 0 && printable && plain(s, flow):
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r < 0x100:
			fmt.Fprintf(&b, `\x%02x`, r)
		case r < 0x10000:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			fmt.Fprintf(&b, `\U%08x`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// plain reports whether s can be written without quotes: YAML 1.2.2 section
// 7.3.3 with some more left out, to be read alike by every reader.
func plain(s string, flow bool) bool {
	if s == "" || s != strings.TrimSpace(s) {
		return false
	}
	switch strings.ToLower(s) {
	case "~", "null", "<<", "---", "...":
		return false
	}
	if strings.ContainsRune("?:,[]{}#&*!|>'\"%@`", rune(s[0])) || s[0] == '-' && (len(s) == 1 || s[1] == ' ' || s[1] == '-') {
		return false
	}
	if strings.Contains(s, ": ") || strings.HasSuffix(s, ":") || strings.Contains(s, " #") {
		return false
	}
	return !flow || !strings.ContainsAny(s, ",[]{}") && !strings.Contains(s, ":")
}
