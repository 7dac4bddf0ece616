package scene

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"groundwork/internal/geom"
)

// decoded is a file as read by the rules of the glTF 2.0 specification, without
// the writer's types.
type decoded struct {
	size  int
	nodes []*decodedNode // in the file's order
	root  *decodedNode
}

type decodedNode struct {
	name, kind string
	extras     map[string]any
	parent     *decodedNode
	children   []*decodedNode
	local      geom.Frame // of nodes below the root
	away       geom.Vec3
	from, to   float64
	lines      bool
	points     []geom.Vec3 // own coordinates
	normals    []geom.Vec3
	place      []geom.Vec2
	stress     []float64
	moved      []geom.Vec3
	index      []int
}

// at carries a point of a node to the world, mm, with the slider at s.
func (n *decodedNode) at(p geom.Vec3, s float64) geom.Vec3 {
	for x := n; x.parent != nil; x = x.parent {
		p = x.local.Point(p)
		if x.to > x.from {
			p = p.Add(x.away.Scale(max(0, min(1, (s-x.from)/(x.to-x.from)))))
		}
	}
	return p
}

type bad struct{ error }

// decode reads a file and reports everything in it that the specification
// forbids, section numbers of glTF 2.0.1.
func decode(t testing.TB, data []byte) *decoded {
	t.Helper()
	d, err := parse(data)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func parse(data []byte) (d *decoded, err error) {
	defer func() {
		if r := recover(); r != nil {
			b, ok := r.(bad)
			if !ok {
				panic(r)
			}
			err = b.error
		}
	}()
	want := func(ok bool, format string, args ...any) {
		if !ok {
			panic(bad{fmt.Errorf(format, args...)})
		}
	}
	word := func(at int) int { return int(binary.LittleEndian.Uint32(data[at:])) }

	// 4.4 binary container
	want(len(data) >= 20 && string(data[:4]) == "glTF" && word(4) == 2 && word(8) == len(data), "header")
	text := word(12)
	want(string(data[16:20]) == "JSON" && text%4 == 0 && 20+text <= len(data), "JSON chunk")
	var doc map[string]any
	want(json.Unmarshal(data[20:20+text], &doc) == nil, "JSON")
	var bin []byte
	if rest := data[20+text:]; len(rest) > 0 {
		at := 20 + text
		want(word(at)%4 == 0 && string(data[at+4:at+8]) == "BIN\x00" && at+8+word(at) == len(data), "BIN chunk")
		bin = data[at+8:]
	}
	var walk func(where string, v any)
	walk = func(where string, v any) { // 3.1: no empty arrays, no null
		switch x := v.(type) {
		case []any:
			want(len(x) > 0, "%s is an empty array", where)
			for _, y := range x {
				walk(where, y)
			}
		case map[string]any:
			for k, y := range x {
				walk(where+"."+k, y)
			}
		case nil:
			want(false, "%s is null", where)
		}
	}
	walk("", doc)
	list := func(name string) []map[string]any {
		var out []map[string]any
		all, _ := doc[name].([]any)
		for _, x := range all {
			out = append(out, x.(map[string]any))
		}
		return out
	}
	num := func(m map[string]any, key string, def int) int {
		v, ok := m[key]
		if !ok {
			return def
		}
		f := v.(float64)
		want(f == math.Trunc(f) && f >= 0, "%s is %v", key, f)
		return int(f)
	}
	want(doc["asset"].(map[string]any)["version"] == "2.0", "asset.version")
	buffers, views, accessors := list("buffers"), list("bufferViews"), list("accessors")
	want(len(buffers) <= 1, "%d buffers", len(buffers))
	if len(buffers) == 1 { // 4.4.3.3: up to three bytes of padding
		pad := len(bin) - num(buffers[0], "byteLength", -1)
		want(pad >= 0 && pad <= 3 && buffers[0]["uri"] == nil, "buffer")
	}
	used := map[int]int{} // view: accessors
	for _, a := range accessors {
		used[num(a, "bufferView", -1)]++
	}
	// 3.6.2: accessors
	read := func(i, target int) (values [][]float64, kind string) {
		want(i >= 0 && i < len(accessors), "accessor %d", i)
		a := accessors[i]
		vi := num(a, "bufferView", -1)
		v := views[vi]
		kind = a["type"].(string)
		n := map[string]int{"SCALAR": 1, "VEC2": 2, "VEC3": 3}[kind]
		component := num(a, "componentType", -1)
		want(n > 0 && (component == 5126 || component == 5125), "accessor %d: %s of %d", i, kind, component)
		want(num(v, "target", -1) == target, "view %d has target %v", vi, v["target"])
		stride := num(v, "byteStride", 0)
		if target == 34963 {
			want(stride == 0 && component == 5125 && n == 1, "indices: %v", a)
			stride = 4
		} else {
			want(component == 5126, "attribute of %d", component)
			if used[vi] > 1 { // 3.6.2.4: must be given where accessors share a view of vertices
				want(stride > 0, "view %d has no stride", vi)
			}
			if stride == 0 {
				stride = 4 * n
			}
			want(stride%4 == 0 && stride >= 4*n && stride <= 252, "stride %d", stride)
		}
		start, count := num(a, "byteOffset", 0), num(a, "count", 0)
		want(count > 0 && start%4 == 0 && (start+num(v, "byteOffset", 0))%4 == 0, "accessor %d: offset %d, count %d", i, start, count)
		want(start+(count-1)*stride+4*n <= num(v, "byteLength", 0), "accessor %d leaves its view", i)
		want(num(v, "byteOffset", 0)+num(v, "byteLength", 0) <= len(bin), "view %d leaves the buffer", vi)
		lo, hi := make([]float64, n), make([]float64, n)
		for k := range n {
			lo[k], hi[k] = math.Inf(1), math.Inf(-1)
		}
		for c := range count {
			row := make([]float64, n)
			for k := range n {
				bits := binary.LittleEndian.Uint32(bin[num(v, "byteOffset", 0)+start+c*stride+4*k:])
				row[k] = float64(bits)
				if component == 5126 {
					row[k] = float64(math.Float32frombits(bits))
					want(!math.IsNaN(row[k]) && !math.IsInf(row[k], 0), "accessor %d holds %v", i, row[k])
				}
				lo[k], hi[k] = min(lo[k], row[k]), max(hi[k], row[k])
			}
			values = append(values, row)
		}
		for key, is := range map[string][]float64{"min": lo, "max": hi} {
			told, ok := a[key].([]any)
			if !ok {
				continue
			}
			for k := range n { // 3.6.2.5: as stored, rounded to single precision
				want(float32(told[k].(float64)) == float32(is[k]), "accessor %d: %s %v, is %v", i, key, told, is)
			}
		}
		return values, kind
	}
	v3 := func(rows [][]float64) (out []geom.Vec3) {
		for _, r := range rows {
			out = append(out, geom.V3(r[0], r[1], r[2]))
		}
		return out
	}

	d = &decoded{size: len(data)}
	raw := list("nodes")
	for range raw {
		d.nodes = append(d.nodes, &decodedNode{local: geom.World()})
	}
	meshes, materials := list("meshes"), list("materials")
	for i, r := range raw {
		n := d.nodes[i]
		n.name, _ = r["name"].(string)
		n.extras, _ = r["extras"].(map[string]any)
		n.kind, _ = n.extras["kind"].(string)
		if away, ok := n.extras["away"].([]any); ok {
			n.away = geom.V3(away[0].(float64), away[1].(float64), away[2].(float64))
			n.from, n.to = n.extras["from"].(float64), n.extras["to"].(float64)
			want(n.from >= 0 && n.from < n.to && n.to <= 1, "%s moves from %v to %v", n.name, n.from, n.to)
		}
		if tr, ok := r["translation"].([]any); ok {
			n.local.Origin = geom.V3(tr[0].(float64), tr[1].(float64), tr[2].(float64))
		}
		if q, ok := r["rotation"].([]any); ok {
			x, y, z, w := q[0].(float64), q[1].(float64), q[2].(float64), q[3].(float64)
			want(math.Abs(x*x+y*y+z*z+w*w-1) < 1e-6, "%s: rotation %v", n.name, q)
			n.local.X = geom.V3(1-2*(y*y+z*z), 2*(x*y+z*w), 2*(x*z-y*w))
			n.local.Y = geom.V3(2*(x*y-z*w), 1-2*(x*x+z*z), 2*(y*z+x*w))
			n.local.Z = geom.V3(2*(x*z+y*w), 2*(y*z-x*w), 1-2*(x*x+y*y))
		}
		kids, _ := r["children"].([]any)
		for _, c := range kids {
			k := d.nodes[int(c.(float64))]
			want(k.parent == nil && k != n, "node %v hangs twice", c) // 3.5.2: strict trees
			k.parent = n
			n.children = append(n.children, k)
		}
		if r["mesh"] == nil {
			continue
		}
		prims := meshes[num(r, "mesh", -1)]["primitives"].([]any)
		want(len(prims) == 1, "%s: %d primitives", n.name, len(prims))
		p := prims[0].(map[string]any)
		want(num(p, "material", -1) < len(materials), "material")
		mode := num(p, "mode", 4)
		want(mode == 4 || mode == 1, "mode %d", mode)
		n.lines = mode == 1
		attributes := p["attributes"].(map[string]any)
		for key := range attributes {
			known := key == "POSITION" || key == "NORMAL" || key == "TEXCOORD_0" || strings.HasPrefix(key, "_")
			want(known, "attribute %s", key)
			rows, kind := read(num(attributes, key, -1), 34962)
			switch key {
			case "POSITION":
				a := accessors[num(attributes, key, -1)]
				want(kind == "VEC3" && a["min"] != nil && a["max"] != nil, "positions of %s", n.name)
				n.points = v3(rows)
			case "NORMAL":
				want(kind == "VEC3", "normals of %s", n.name)
				n.normals = v3(rows)
				for _, v := range n.normals {
					want(math.Abs(v.Len()-1) < 1e-5, "%s has a normal of length %v", n.name, v.Len())
				}
			case "TEXCOORD_0":
				want(kind == "VEC2", "places on %s", n.name)
				for _, r := range rows {
					n.place = append(n.place, geom.V2(r[0], r[1]))
				}
			case "_STRESS":
				for _, r := range rows {
					n.stress = append(n.stress, r[0])
				}
			case "_MOVED":
				n.moved = v3(rows)
			}
		}
		for _, l := range []int{len(n.normals), len(n.place), len(n.stress), len(n.moved)} {
			want(l == 0 || l == len(n.points), "%s: attributes of different lengths", n.name)
		}
		rows, _ := read(num(p, "indices", -1), 34963)
		per := 3
		if n.lines {
			per = 2
		}
		want(len(rows)%per == 0, "%s: %d indices", n.name, len(rows))
		for _, r := range rows {
			want(int(r[0]) < len(n.points), "%s: index %v", n.name, r[0])
			n.index = append(n.index, int(r[0]))
		}
	}
	scenes := list("scenes")
	roots := scenes[num(doc, "scene", 0)]["nodes"].([]any)
	want(len(roots) == 1, "%d roots", len(roots))
	d.root = d.nodes[int(roots[0].(float64))]
	for _, n := range d.nodes {
		x, steps := n, 0
		for x.parent != nil && steps <= len(d.nodes) {
			x, steps = x.parent, steps+1
		}
		want(x == d.root, "%s does not hang on the root", n.name)
	}
	// Our root: mm with Z up to m with Y up.
	matrix, ok := raw[int(roots[0].(float64))]["matrix"].([]any)
	want(ok && len(matrix) == 16, "the root has no matrix")
	for i, v := range []float64{0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1} {
		want(matrix[i].(float64) == v, "matrix %v", matrix)
	}
	return d, nil
}

// volume of a node's closed mesh, mm³, by the divergence theorem.
func (n *decodedNode) volume() float64 {
	var v float64
	for i := 0; i < len(n.index); i += 3 {
		a, b, c := n.points[n.index[i]], n.points[n.index[i+1]], n.points[n.index[i+2]]
		v += a.Dot(b.Cross(c)) / 6
	}
	return v
}

func (d *decoded) of(kind string) (out []*decodedNode) {
	for _, n := range d.nodes {
		if n.kind == kind {
			out = append(out, n)
		}
	}
	return out
}

// A file that breaks a rule must not pass, or decode checks nothing.
func TestDecoderRefuses(t *testing.T) {
	g := newGLTF()
	mesh := g.mesh("m", &triangles{Points: []geom.Vec3{{}, {X: 1}, {Y: 1}}, Normals: []geom.Vec3{{Z: 1}, {Z: 1}, {Z: 1}}, Index: []uint32{0, 1, 2}}, matCore)
	n := g.node(nodeDoc{Name: "n", Mesh: &mesh, Extras: Extras{Kind: "member"}})
	root := g.node(nodeDoc{Name: "r", Children: []int{n}, Matrix: []float64{0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1}, Extras: Extras{Kind: "piece"}})
	var b bytes.Buffer
	if err := g.write(&b, root); err != nil {
		t.Fatal(err)
	}
	if _, err := parse(b.Bytes()); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, to string }{
		{`"version":"2.0"`, `"version":"1.0"`},
		{`"target":34962`, `"target":34963`},
		{`"componentType":5125`, `"componentType":5123`},
		{`"max":[1,1,0]`, `"max":[1,2,0]`},
		{`"byteStride":12`, `"byteStride":16`},
		{`"count":3`, `"count":9`},
		{`"children":[0]`, `"children":[1]`},
		{`0.001`, `0.002`},
	} {
		if !bytes.Contains(b.Bytes(), []byte(c.from)) {
			t.Fatalf("no %s in the file", c.from)
		}
		if _, err := parse(bytes.Replace(b.Bytes(), []byte(c.from), []byte(c.to), 1)); err == nil {
			t.Errorf("%s instead of %s passes", c.to, c.from)
		}
	}
	for _, at := range []int{4, 8, 12, b.Len() - 36} { // version, lengths, an index
		broken := bytes.Clone(b.Bytes())
		broken[at] ^= 0x40
		if _, err := parse(broken); err == nil && at < 20 {
			t.Errorf("a changed byte %d passes", at)
		}
	}
}
