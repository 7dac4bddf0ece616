package given

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// Limits of a given file. They stand far above any real piece or shop and
// keep the YAML library inside what it does quickly: it recurses for nested
// brackets, and its time grows with the square of the keys in one mapping and
// of the dashes with nothing behind them.
const (
	MaxBytes  = 1 << 20 // bytes of a file
	MaxDepth  = 24      // lists and mappings inside one another
	maxKeys   = 12000   // "key: value" pairs
	maxDashes = 20000   // entries of lists with dashes
	maxNodes  = 100000  // values, aliases counted as if written out
)

// Kind is the kind of a Node.
type Kind int

const (
	Null Kind = iota
	Scalar
	List
	Mapping
)

func (k Kind) String() string { return [...]string{"nothing", "a value", "a list", "a mapping"}[k] }

// Node is one value of a file.
type Node struct {
	Place
	Kind   Kind
	Text   string // of a Scalar: as written, without quotes
	Quoted bool   // the scalar stood between quotes, or as a block of text
	Keys   []Text // of a Mapping, in file order, without repeats
	Items  []*Node
	size   int // nodes in it, aliases written out
}

// Text is a word or a sentence, and where it stands.
type Text struct {
	Place
	Value string
}

// ReadFile is the bytes of the named file, at most MaxBytes of them; a longer
// file is an error.
func ReadFile(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading %s: %w", name, err)
	}
	return data, nil
}

// Read parses one YAML document. Anchors and aliases may be used; merge keys,
// tags, keys that are not plain words and second documents may not. faults
// receives what is wrong; the node is nil when nothing can be made of it.
func Read(data []byte, faults *Faults) (root *Node) {
	return readBody(parse(data, faults), faults)
}

// readBody is a document that was parsed, or nil if it could not be.
func readBody(body ast.Node, faults *Faults) (root *Node) {
	defer unread(&root, faults)
	if body == nil {
		return nil
	}
	r := reader{faults: faults, anchors: map[string]*Node{}}
	return r.node(body, 0)
}

// parse is the one document in data as the YAML library has it, or nil with
// the reason in faults.
func parse(data []byte, faults *Faults) (root ast.Node) {
	top := Place{1, 1}
	switch {
	case len(data) > MaxBytes:
		faults.Add(top, "split off what is not needed", "the file is larger than %d bytes", MaxBytes)
		return nil
	case !utf8.Valid(data):
		faults.Add(top, "save it as UTF-8", "the file is not UTF-8 text")
		return nil
	}
	for i, b := range data {
		if b < ' ' && b != '\n' && b != '\r' && b != '\t' || b == 0x7f {
			line := 1 + strings.Count(string(data[:i]), "\n")
			col := i - strings.LastIndex(string(data[:i]), "\n")
			faults.Add(Place{line, col}, "take it out", "a control character (code %d) stands in the file", b)
			return nil
		}
	}
	defer unread(&root, faults)
	text := string(data)
	tokens := lexer.Tokenize(text)
	if p, what, remedy := unfit(tokens); what != "" {
		faults.Add(p, remedy, "%s", what)
		return nil
	}
	file, err := parser.Parse(tokens, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		var se *yaml.SyntaxError
		if errors.As(err, &se) && se.Token != nil {
			faults.Add(at(se.Token), "mend the YAML here or just above: indentation, a missing quote or bracket", "%s", clip(se.Message))
		} else {
			faults.Add(top, "mend the YAML", "%s", clip(err.Error()))
		}
		return nil
	}
	var body ast.Node
	for _, d := range file.Docs {
		if d.Body == nil || d.Body.Type() == ast.CommentType || d.Body.Type() == ast.DirectiveType {
			continue
		}
		if body != nil {
			faults.Add(start(d.Body), "keep one document to a file", "a second YAML document starts here")
			return nil
		}
		body = d.Body
	}
	if body == nil {
		faults.Add(top, "start from an example", "the file is empty")
		return nil
	}
	return body
}

// unread, deferred, makes a panic a fault. The YAML library has panicked on
// hostile input before; such a file is the maker's to mend, not a reason for
// the program to fall over.
func unread[T any](root *T, faults *Faults) {
	if r := recover(); r != nil {
		var none T
		*root = none
		faults.Add(Place{1, 1}, "look for unusual YAML and write it plainly", "the file cannot be read as YAML (%v)", r)
	}
}

// unfit finds what the YAML parser would follow by recursion or for minutes,
// and what is not used here: where it stands, what it is and what to do.
func unfit(tokens token.Tokens) (where Place, what, remedy string) {
	const fewer, plainly, flatter = "take out what is not needed", "write it plainly", "write it flatter"
	flow, line, entries, keys, dashes, indent := 0, 0, 0, 0, 0, []int{}
	commas, braces := 0, [MaxDepth + 1]bool{} // braces: whether { opened the level, not [
	for _, t := range tokens {
		switch t.Type {
		case token.SequenceStartType, token.MappingStartType:
			flow++
			if flow <= MaxDepth {
				braces[flow] = t.Type == token.MappingStartType
			}
		case token.SequenceEndType, token.MappingEndType:
			flow = max(0, flow-1)
		case token.CollectEntryType:
			// A key may stand in braces without its colon: {a, b}.
			if commas++; commas > maxKeys && braces[min(flow, MaxDepth)] {
				return at(t), fmt.Sprintf("the file has more than %d commas", maxKeys), fewer
			}
		case token.MappingKeyType:
			return at(t), "a key is marked with \"?\"", plainly
		case token.TagType:
			return at(t), "a YAML tag (\"!\") stands here", plainly
		case token.MergeKeyType:
			return at(t), "a YAML merge key (\"<<\") stands here", plainly
		case token.MappingValueType:
			if keys++; keys > maxKeys {
				return at(t), fmt.Sprintf("the file has more than %d keys", maxKeys), fewer
			}
		case token.SequenceEntryType, token.AnchorType:
			if dashes++; dashes > maxDashes {
				return at(t), fmt.Sprintf("the file has more than %d dashes or anchors", maxDashes), fewer
			}
			if t.Position.Line != line {
				line, entries = t.Position.Line, 0
			}
			if entries++; flow == 0 && entries > 8 {
				return at(t), "too many dashes or anchors stand on one line", plainly
			}
		}
		// Block nesting: columns that grow from line to line.
		c := t.Position.Column
		for len(indent) > 0 && indent[len(indent)-1] >= c {
			indent = indent[:len(indent)-1]
		}
		if len(indent) == 0 || t.Prev == nil || t.Prev.Position.Line != t.Position.Line {
			indent = append(indent, c)
		}
		if flow > MaxDepth || len(indent) > 2*MaxDepth {
			return at(t), fmt.Sprintf("lists or mappings stand more than %d deep", MaxDepth), flatter
		}
	}
	return Place{}, "", ""
}

type reader struct {
	faults  *Faults
	anchors map[string]*Node
	count   int
}

// node converts n. It returns a Null node where it has noted a fault.
func (r *reader) node(n ast.Node, depth int) *Node {
	out := &Node{Place: Place{1, 1}, size: 1}
	if n == nil {
		return out
	}
	out.Place = start(n)
	r.count++
	if depth > MaxDepth {
		r.faults.Add(out.Place, "write it flatter", "lists or mappings stand more than %d deep", MaxDepth)
		return out
	}
	switch v := n.(type) {
	case *ast.NullNode:
	case *ast.MappingNode:
		out.Kind = Mapping
		for _, kv := range v.Values {
			r.pair(out, kv, depth)
		}
	case *ast.MappingValueNode:
		out.Kind = Mapping
		r.pair(out, v, depth)
	case *ast.SequenceNode:
		out.Kind = List
		for _, x := range v.Values {
			r.item(out, r.node(x, depth+1))
		}
	case *ast.AnchorNode:
		name := v.Name.String()
		in := r.node(v.Value, depth+1)
		r.anchors[name] = in
		return in
	case *ast.AliasNode:
		name := v.Value.String()
		in, ok := r.anchors[name]
		if !ok {
			r.faults.Add(out.Place, "write &"+name+" before the value that is meant, above this line", "the alias *%s has no anchor before it", name)
			return out
		}
		if r.count += in.size; r.count > maxNodes {
			r.faults.Add(out.Place, "use fewer aliases", "aliases swell the file beyond %d values", maxNodes)
			return out
		}
		return in
	case *ast.LiteralNode:
		out.Kind, out.Quoted = Scalar, true
		if v.Value != nil {
			out.Text = strings.TrimSpace(v.Value.Value)
		}
	case *ast.StringNode:
		out.Kind, out.Text = Scalar, v.Value
		out.Quoted = v.Token.Type == token.SingleQuoteType || v.Token.Type == token.DoubleQuoteType
	default:
		if _, ok := n.(ast.ScalarNode); !ok {
			r.faults.Add(out.Place, "write it plainly", "this kind of YAML (%s) is not used here", n.Type())
			return out
		}
		out.Kind, out.Text = Scalar, n.GetToken().Value // numbers and booleans as written
	}
	return out
}

func (r *reader) item(list, x *Node) {
	list.Items = append(list.Items, x)
	list.size += x.size
}

func (r *reader) pair(out *Node, kv *ast.MappingValueNode, depth int) {
	if kv.Key == nil {
		r.faults.Add(at(kv.GetToken()), "write a key before the colon", "a key is missing")
		return
	}
	key := Text{Place: at(kv.Key.GetToken())}
	switch k := kv.Key.(type) {
	case *ast.StringNode:
		key.Value = k.Value
	case ast.ScalarNode:
		key.Value = k.GetToken().Value
	default:
		r.faults.Add(key.Place, "write a plain word before the colon", "this key is not a plain word")
		return
	}
	for _, k := range out.Keys {
		if k.Value == key.Value {
			r.faults.Add(key.Place, fmt.Sprintf("keep one of them; the other stands in line %d", k.Line), "%q stands here twice", clip(key.Value))
			return
		}
	}
	x := r.node(kv.Value, depth+1)
	if x.Kind == Null && x.Line == 0 {
		x.Place = key.Place
	}
	out.Keys = append(out.Keys, key)
	r.item(out, x)
}

// Get is the value of a key, or nil.
func (n *Node) Get(key string) *Node {
	for i, k := range n.Keys {
		if k.Value == key {
			return n.Items[i]
		}
	}
	return nil
}

// start is where n begins: a mapping without brackets at its first key, where
// the parser has its first colon.
func start(n ast.Node) Place {
	switch v := n.(type) {
	case *ast.MappingNode:
		if !v.IsFlowStyle && len(v.Values) > 0 && v.Values[0].Key != nil {
			return at(v.Values[0].Key.GetToken())
		}
	case *ast.MappingValueNode:
		if v.Key != nil {
			return at(v.Key.GetToken())
		}
	}
	return at(n.GetToken())
}

func at(t *token.Token) Place {
	if t == nil || t.Position == nil {
		return Place{1, 1}
	}
	return Place{max(1, t.Position.Line), max(1, t.Position.Column)}
}

func clip(s string) string {
	s, _, _ = strings.Cut(strings.TrimSpace(s), "\n")
	if len(s) > 120 {
		s = strings.ToValidUTF8(s[:120], "") + "…"
	}
	return s
}
