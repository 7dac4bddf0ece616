package scene

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"groundwork/internal/geom"
)

// This file writes binary glTF 2.0 (Khronos Group, glTF 2.0 Specification,
// version 2.0.1; ISO/IEC 12113:2022): one buffer, in it one view for each kind
// of data, whose accessors follow one another.

// Component types, targets and modes of the specification.
const (
	typeFloat   = 5126
	typeUint32  = 5125
	arrayBuffer = 34962
	indexBuffer = 34963
	modeLines   = 1
)

type document struct {
	Asset       asset        `json:"asset"`
	Scene       int          `json:"scene"`
	Scenes      []sceneDoc   `json:"scenes"`
	Nodes       []nodeDoc    `json:"nodes"`
	Meshes      []meshDoc    `json:"meshes,omitempty"`
	Materials   []material   `json:"materials,omitempty"`
	Accessors   []accessor   `json:"accessors,omitempty"`
	BufferViews []bufferView `json:"bufferViews,omitempty"`
	Buffers     []bufferDoc  `json:"buffers,omitempty"`
}

type asset struct {
	Version   string `json:"version"`
	Generator string `json:"generator"`
}

type sceneDoc struct {
	Nodes []int `json:"nodes"`
}

type nodeDoc struct {
	Name        string      `json:"name"`
	Mesh        *int        `json:"mesh,omitempty"`
	Children    []int       `json:"children,omitempty"`
	Matrix      []float64   `json:"matrix,omitempty"`
	Translation *[3]float32 `json:"translation,omitempty"`
	Rotation    *[4]float32 `json:"rotation,omitempty"`
	Extras      any         `json:"extras,omitempty"`
}

type meshDoc struct {
	Name       string      `json:"name"`
	Primitives []primitive `json:"primitives"`
}

type primitive struct {
	Attributes attributes `json:"attributes"`
	Indices    int        `json:"indices"`
	Material   int        `json:"material"`
	Mode       *int       `json:"mode,omitempty"` // left out: triangles
}

type attributes struct {
	Position int  `json:"POSITION"`
	Normal   *int `json:"NORMAL,omitempty"`
	TexCoord *int `json:"TEXCOORD_0,omitempty"`
	Stress   *int `json:"_STRESS,omitempty"`
	Moved    *int `json:"_MOVED,omitempty"`
}

type material struct {
	Name        string  `json:"name"`
	PBR         surface `json:"pbrMetallicRoughness"`
	DoubleSided bool    `json:"doubleSided,omitempty"`
}

type surface struct {
	BaseColor [4]float32 `json:"baseColorFactor"`
	Metallic  float32    `json:"metallicFactor"`
	Roughness float32    `json:"roughnessFactor"`
}

type accessor struct {
	BufferView    int       `json:"bufferView"`
	ByteOffset    int       `json:"byteOffset"`
	ComponentType int       `json:"componentType"`
	Count         int       `json:"count"`
	Type          string    `json:"type"`
	Min           []float32 `json:"min,omitempty"`
	Max           []float32 `json:"max,omitempty"`
}

type bufferView struct {
	Buffer     int `json:"buffer"`
	ByteOffset int `json:"byteOffset"`
	ByteLength int `json:"byteLength"`
	ByteStride int `json:"byteStride,omitempty"`
	Target     int `json:"target"`
}

type bufferDoc struct {
	ByteLength int `json:"byteLength"`
}

// triangles is a mesh, or lines, ready to be drawn: all of Normals, Place,
// Stress and Moved that are not nil have an entry for each of Points.
type triangles struct {
	Points  []geom.Vec3
	Normals []geom.Vec3
	Place   []geom.Vec2 // TEXCOORD_0
	Stress  []float64
	Moved   []geom.Vec3
	Index   []uint32 // by threes, or by twos where Lines
	Lines   bool
}

// stream is one kind of data: a buffer view to be.
type stream struct {
	data   bytes.Buffer
	stride int // of vertex data; 0 for indices
}

const (
	indexStream = iota
	pointStream // positions, normals, displacements
	placeStream
	scalarStream
	streams
)

// gltf gathers a document and its data.
type gltf struct {
	doc  document
	data [streams]stream
}

func newGLTF() *gltf {
	g := &gltf{}
	g.doc.Asset = asset{Version: "2.0", Generator: "Groundwork"}
	g.data[pointStream].stride, g.data[placeStream].stride, g.data[scalarStream].stride = 12, 8, 4
	g.doc.Materials = materials
	return g
}

// mesh adds a mesh and returns its index.
func (g *gltf) mesh(name string, t *triangles, material int) int {
	p := primitive{Attributes: attributes{Position: g.floats(pointStream, flat3(t.Points), 3, true)}, Material: material}
	optional := func(s int, values []float32, n int) *int {
		if len(values) == 0 {
			return nil
		}
		at := g.floats(s, values, n, false)
		return &at
	}
	p.Attributes.Normal = optional(pointStream, flat3(t.Normals), 3)
	p.Attributes.TexCoord = optional(placeStream, flat2(t.Place), 2)
	scalars := make([]float32, len(t.Stress))
	for i, s := range t.Stress {
		scalars[i] = float32(s)
	}
	p.Attributes.Stress = optional(scalarStream, scalars, 1)
	p.Attributes.Moved = optional(pointStream, flat3(t.Moved), 3)
	if t.Lines {
		mode := modeLines
		p.Mode = &mode
	}
	s := &g.data[indexStream]
	p.Indices = len(g.doc.Accessors)
	g.doc.Accessors = append(g.doc.Accessors, accessor{BufferView: indexStream, ByteOffset: s.data.Len(), ComponentType: typeUint32, Count: len(t.Index), Type: "SCALAR"})
	var word [4]byte
	for _, i := range t.Index {
		binary.LittleEndian.PutUint32(word[:], i)
		s.data.Write(word[:])
	}
	g.doc.Meshes = append(g.doc.Meshes, meshDoc{Name: name, Primitives: []primitive{p}})
	return len(g.doc.Meshes) - 1
}

// floats adds an accessor of groups of n numbers. Positions must tell their
// least and greatest; so do all here, of what is stored.
func (g *gltf) floats(s int, values []float32, n int, bounds bool) int {
	a := accessor{BufferView: s, ByteOffset: g.data[s].data.Len(), ComponentType: typeFloat, Count: len(values) / n, Type: []string{"SCALAR", "VEC2", "VEC3"}[n-1]}
	if bounds || n == 1 {
		a.Min, a.Max = append([]float32(nil), values[:n]...), append([]float32(nil), values[:n]...)
	}
	var word [4]byte
	for i, v := range values {
		if a.Min != nil {
			a.Min[i%n], a.Max[i%n] = min(a.Min[i%n], v), max(a.Max[i%n], v)
		}
		binary.LittleEndian.PutUint32(word[:], math.Float32bits(v))
		g.data[s].data.Write(word[:])
	}
	g.doc.Accessors = append(g.doc.Accessors, a)
	return len(g.doc.Accessors) - 1
}

// node adds a node and returns its index.
func (g *gltf) node(n nodeDoc) int {
	g.doc.Nodes = append(g.doc.Nodes, n)
	return len(g.doc.Nodes) - 1
}

// write writes the file with root as its only scene's node.
func (g *gltf) write(w io.Writer, root int) error {
	g.doc.Scenes = []sceneDoc{{Nodes: []int{root}}}
	// Streams without data have no view; the others move up.
	at := [streams]int{}
	var length int
	for i := range g.data {
		s := &g.data[i]
		if s.data.Len() == 0 {
			continue
		}
		at[i] = len(g.doc.BufferViews)
		v := bufferView{ByteOffset: length, ByteLength: s.data.Len(), ByteStride: s.stride, Target: arrayBuffer}
		if i == indexStream {
			v.Target = indexBuffer
		}
		g.doc.BufferViews = append(g.doc.BufferViews, v)
		length += s.data.Len() // a multiple of 4: all numbers are of 4 bytes
	}
	for i := range g.doc.Accessors {
		g.doc.Accessors[i].BufferView = at[g.doc.Accessors[i].BufferView]
	}
	if length > 0 {
		g.doc.Buffers = []bufferDoc{{ByteLength: length}}
	} else {
		g.doc.Materials = nil
	}
	text, err := json.Marshal(g.doc)
	if err != nil {
		return fmt.Errorf("scene: %w", err)
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	total := 12 + 8 + len(text)
	if length > 0 {
		total += 8 + length
	}
	var head bytes.Buffer
	word := func(v uint32) { binary.Write(&head, binary.LittleEndian, v) }
	word(0x46546C67) // "glTF"
	word(2)
	word(uint32(total))
	word(uint32(len(text)))
	word(0x4E4F534A) // "JSON"
	head.Write(text)
	if length > 0 {
		word(uint32(length))
		word(0x004E4942) // "BIN"
	}
	if _, err := w.Write(head.Bytes()); err != nil {
		return fmt.Errorf("scene: %w", err)
	}
	for i := range g.data {
		if _, err := w.Write(g.data[i].data.Bytes()); err != nil {
			return fmt.Errorf("scene: %w", err)
		}
	}
	return nil
}

func flat3(vs []geom.Vec3) []float32 {
	out := make([]float32, 0, 3*len(vs))
	for _, v := range vs {
		out = append(out, float32(v.X), float32(v.Y), float32(v.Z))
	}
	return out
}

func flat2(vs []geom.Vec2) []float32 {
	out := make([]float32, 0, 2*len(vs))
	for _, v := range vs {
		out = append(out, float32(v.X), float32(v.Y))
	}
	return out
}
