package strength

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/joint"
	"groundwork/internal/piece"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var exampleNames = []string{"heron-side-table", "badger-bench", "otter-stool", "tern-wall-shelf"}

func TestCasesOfExamples(t *testing.T) {
	for _, name := range exampleNames {
		t.Run(name, func(t *testing.T) {
			in := example(t, name)
			cs, fs := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
			golden(t, name+"-cases.txt", table(in, cs, fs))
			again, _ := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
			if diff := cmp.Diff(cs, again); diff != "" {
				t.Errorf("not the same twice: %s", diff)
			}
		})
	}
}

// Every patch lies on the surface that it is on, and the forces of a case sum to
// what it says.
func TestPatchesLieOnTheirSurfaces(t *testing.T) {
	for _, name := range exampleNames {
		in := example(t, name)
		cs, _ := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
		for _, c := range cs {
			for _, l := range c.Loads {
				if l.Region.Area() < speck || l.Force.Len() == 0 {
					t.Errorf("%s %s: a patch of %g mm² with %g N", name, c.ID, l.Region.Area(), l.Force.Len())
				}
				m := in.Cores[l.Member]
				for _, loop := range l.Region {
					for _, q := range loop {
						p := m.Place.Local(l.Frame.Point(flat(q)))
						off := math.Inf(1)
						for _, s := range m.Surfaces(chord) {
							if len(s.Region) > 0 {
								off = min(off, s.Point(s.Chart(p)).Dist(p))
							}
						}
						// On a rim of radius 125 a disc of 50 mm stands off by 25²/250 mm at most.
						if off > 3 {
							t.Errorf("%s %s: %v is %.2f mm off %s", name, c.ID, p, off, m.ID)
						}
					}
				}
			}
		}
	}
}

const boards = "groundwork: 1\nname: test\nuse: %s\nsizes: core\nmembers:\n"

func board(name string, length, width, thick, x, y, z float64) string {
	return fmt.Sprintf("  %s:\n    board: {rectangle: {length: %g, width: %g}, thickness: %g}\n    at: [%g, %g, %g]\n", name, length, width, thick, x, y, z)
}

// upright is a board on its edge, along x.
func upright(name string, length, height, thick, x, y, z float64) string {
	return fmt.Sprintf("  %s:\n    board: {rectangle: {length: %g, width: %g}, thickness: %g}\n    at: [%g, %g, %g]\n    axes: {x: +x, y: +z}\n", name, length, height, thick, x, y+thick/2, z+height/2)
}

func bare(t *testing.T, text string) ([]Case, *piece.Piece, []string) {
	t.Helper()
	p := readPiece(t, text)
	cs, fs := Cases(p, p.Members, nil, nil)
	var codes []string
	for _, f := range fs {
		if f.Message == "" || f.Source == "" {
			t.Errorf("incomplete: %+v", f)
		}
		codes = append(codes, f.Code)
	}
	return cs, p, codes
}

func ids(cs []Case) []string {
	var out []string
	for _, c := range cs {
		out = append(out, c.ID)
	}
	return out
}

// Names mean nothing: the top is the highest broad surface, shelves lie below.
func TestWhatIsATop(t *testing.T) {
	for _, tc := range []struct {
		name, text   string
		top, shelves []string
	}{
		{"one board", board("a", 500, 300, 20, 0, 0, 0), []string{"a"}, nil},
		{"a block on the top", board("a", 500, 300, 20, 0, 0, 400) + board("b", 80, 60, 40, 0, 0, 420), []string{"a"}, nil},
		{"a smaller top over a larger shelf", board("a", 500, 400, 20, 0, 0, 100) + board("b", 300, 200, 20, 0, 0, 400), []string{"b"}, []string{"a"}},
		{"a gallery", board("a", 500, 300, 20, 0, 0, 400) + upright("b", 500, 60, 15, 0, 140, 420), []string{"a"}, nil},
		{"slats", board("a", 500, 60, 20, 0, -70, 400) + board("b", 500, 60, 20, 0, 0, 400) + board("c", 500, 60, 20, 0, 70, 401), []string{"a", "b", "c"}, nil},
		{"a rail is no shelf", board("a", 500, 300, 20, 0, 0, 400) + board("b", 500, 50, 20, 0, 0, 100), []string{"a"}, nil},
		{"two shelves", board("a", 500, 300, 20, 0, 0, 400) + board("b", 480, 300, 20, 0, 0, 100) + board("c", 480, 300, 20, 0, 0, 250), []string{"a"}, []string{"c", "b"}},
		{"named otherwise", board("leg", 500, 300, 20, 0, 0, 400) + board("top", 480, 300, 20, 0, 0, 100), []string{"leg"}, []string{"top"}},
		{"on its edge", upright("a", 500, 300, 20, 0, 0, 0), nil, nil},
		{"a post", "  a:\n    turning: {cylinder: {diameter: 60, length: 400}}\n", nil, nil},
		{"a turned disc", "  a:\n    turning: {cylinder: {diameter: 400, length: 40}}\n", []string{"a"}, nil},
		{"a slope of 20 degrees", "  a:\n    board: {rectangle: {length: 500, width: 300}, thickness: 20}\n    axes: {z: [0, = sin(deg(20)), = cos(deg(20))], x: +x}\n", nil, nil},
		{"a slope of 10 degrees", "  a:\n    board: {rectangle: {length: 500, width: 300}, thickness: 20}\n    axes: {z: [0, = sin(deg(10)), = cos(deg(10))], x: +x}\n", []string{"a"}, nil},
		{"its back is up", "  a:\n    board: {rectangle: {length: 500, width: 300}, thickness: 20}\n    axes: {z: -z}\n", []string{"a"}, nil},
	} {
		p := readPiece(t, fmt.Sprintf(boards, "table")+tc.text)
		name := func(s slab) (out []string) {
			for _, m := range s.members() {
				out = append(out, p.Members[m].ID)
			}
			return out
		}
		top, shelves := split(grounds(p.Members, nil))
		var below []string
		for _, s := range shelves {
			below = append(below, name(s)...)
		}
		if !slices.Equal(name(top), tc.top) || !slices.Equal(below, tc.shelves) {
			t.Errorf("%s: top %v, shelves %v; want %v, %v", tc.name, name(top), below, tc.top, tc.shelves)
		}
	}
	// A surface that another member covers is no top: joined to the seat above it.
	p := readPiece(t, fmt.Sprintf(boards, "seat")+board("a", 500, 300, 20, 0, 0, 100)+board("b", 500, 280, 20, 0, 0, 120))
	js := &joint.Result{Contacts: []joint.Contact{{A: joint.Side{Member: 0, Surface: 1, Covered: 0.93}, B: joint.Side{Member: 1, Surface: 0, Covered: 1}}}}
	if top, shelves := split(grounds(p.Members, js)); len(top) != 1 || top[0].member != 1 || len(shelves) != 0 {
		t.Errorf("top %v, shelves %v", top, shelves)
	}
}

func TestDegeneratePieces(t *testing.T) {
	for _, tc := range []struct {
		name, use, text string
		ids             []string
		codes           []string
	}{
		{"no flat top", "table", upright("a", 500, 300, 20, 0, 0, 0), []string{"dead"}, []string{"no-top"}},
		{"other use", "other", board("a", 500, 300, 20, 0, 0, 0), []string{"dead"}, nil},
		{"in the air", "other", board("a", 500, 300, 20, 0, 0, 50), []string{"dead"}, []string{"stands-nowhere"}},
		{"one board on the floor", "table", board("a", 500, 300, 20, 0, 0, 0),
			[]string{"dead", "top-middle", "top-long-side", "top-short-side", "top-corner", "push+x", "push-x", "push+y", "push-y"}, nil},
		{"too small to press on", "seat", board("a", 60, 40, 20, 0, 0, 0), []string{"dead", "seat-middle", "push+x", "push-x", "push+y", "push-y"}, nil},
		{"a shelf on the floor", "shelf", board("a", 500, 300, 20, 0, 0, 0),
			[]string{"dead", "top-middle", "top-long-side", "top-short-side", "top-corner", "push+x", "push-x", "push+y", "push-y", "shelves"}, nil},
		{"a shelf on the wall", "shelf", board("a", 500, 300, 20, 0, 0, 900) + "held: [{on: a, surface: edge-3}]\n", []string{"dead", "shelves"}, nil},
		{"an ordinary bench of three", "seat", board("a", 1100, 300, 20, 0, 0, 0),
			[]string{"dead", "seat-middle", "seat-front", "seat-place-1", "seat-place-2", "seat-place-3", "push+x", "push-x", "push+y", "push-y"}, nil},
	} {
		cs, _, codes := bare(t, fmt.Sprintf(boards, tc.use)+tc.text)
		if diff := cmp.Diff(tc.ids, ids(cs)); diff != "" {
			t.Errorf("%s: %s", tc.name, diff)
		}
		if !slices.Equal(codes, tc.codes) {
			t.Errorf("%s: findings %v, want %v", tc.name, codes, tc.codes)
		}
	}
}

// A stand is worked at when it is no higher than 1000 mm and at least 250 mm
// deep (EN 14749, secondary source).
func TestTopsOfStands(t *testing.T) {
	for _, tc := range []struct{ depth, height, force float64 }{{300, 900, 1000}, {240, 900, 750}, {300, 1100, 750}, {250, 980, 1000}} {
		cs, _, _ := bare(t, fmt.Sprintf(boards, "stand")+board("a", 500, tc.depth, 20, 0, 0, tc.height-20)+upright("b", 400, tc.height-20, 20, 0, 0, 0))
		i := slices.IndexFunc(cs, func(c Case) bool { return c.ID == "top-middle" })
		if i < 0 || math.Abs(cs[i].Loads[0].Force.Z+tc.force) > 1e-9 {
			t.Errorf("%g mm deep and %g high: %v", tc.depth, tc.height, ids(cs))
		}
	}
}

// A shelf of 480 × 300 mm bears 0.65·4.8·3 = 9.36 kg, 91.79 N.
func TestShelfLoad(t *testing.T) {
	cs, _, _ := bare(t, fmt.Sprintf(boards, "table")+board("a", 500, 300, 20, 0, 0, 400)+board("b", 480, 300, 20, 0, 0, 0))
	c := cs[len(cs)-1]
	if c.ID != "shelves" || !c.Sustained || len(c.Loads) != 1 || math.Abs(c.Loads[0].Force.Z+91.790) > 1e-3 || !strings.Contains(c.What, "9.36 kg") {
		t.Errorf("%+v", c)
	}
}

func TestOwnLoads(t *testing.T) {
	const file = boards + `  top:
    board: {rectangle: {length: 500, width: 300}, thickness: 20}
    at: [0, 0, 400]
  leg:
    turning: {cylinder: {diameter: 40, length: 400}}
    at: [200, 100, 0]
    mirror: [x, y]
loads:
`
	down := geom.V3(0, 0, -98.0665)
	for _, tc := range []struct {
		name, load string
		n          int       // of patches
		force      geom.Vec3 // sum
		at         geom.Vec3 // of the first patch
		area       float64   // of the first patch, mm²; 0: not asked
		normal     geom.Vec3
	}{
		{"a weight on all of the top", "on: top, mass: 10 kg", 1, down, geom.V3(0, 0, 420), 150000, geom.V3(0, 0, 1)},
		{"a weight on its back", "on: top, surface: back, mass: 10 kg", 1, down, geom.V3(0, 0, 400), 150000, geom.V3(0, 0, -1)},
		{"lifted", "on: top, force: 98.0665 N, towards: +z", 1, down.Neg(), geom.V3(0, 0, 400), 150000, geom.V3(0, 0, -1)},
		// A 32-sided polygon in a circle of radius 50: 16·50²·sin(2π/32) = 7803.6 inside, about it 7879.3.
		{"a disc", "on: top, surface: face, at: [100, 50], across: 100, mass: 10 kg", 1, down, geom.V3(100, 50, 420), 7879.3, geom.V3(0, 0, 1)},
		{"half of a disc over the rim", "on: top, surface: face, at: [250, 0], across: 100, mass: 10 kg", 1, down, geom.V3(250-21.2, 0, 420), 3939.6, geom.V3(0, 0, 1)},
		{"on an edge", "on: top, surface: edge-1, at: [50, 0], across: 10, force: 100 N, towards: +y", 1, geom.V3(0, 100, 0), geom.V3(50, -150, 410), 0, geom.V3(0, -1, 0)},
		{"towards an edge", "on: top, force: 100 N, towards: +x", 1, geom.V3(100, 0, 0), geom.V3(-250, 0, 410), 6000, geom.V3(-1, 0, 0)},
		{"on the side of one leg", "on: leg-1, across: 20, force: 100 N, towards: -x", 1, geom.V3(-100, 0, 0), geom.V3(220, 100, 200), 0, geom.V3(1, 0, 0)},
		// A disc of radius 10 on a radius of 20, seen flat: ∫ cos(x/20) over it is π·10²·(1 - 10²/(8·20²)) = 304.3, of the polygon about it 305.3.
		{"over the line where a chart begins", "on: leg-1, surface: side-1, at: [= -20 * pi, 0], across: 20, force: 100 N, towards: -x", 1, geom.V3(-100, 0, 0), geom.V3(220, 100, 200), 305.3, geom.V3(1, 0, 0)},
		{"on every leg", "on: leg, across: 20, force: 100 N, towards: -x", 4, geom.V3(-400, 0, 0), geom.V3(220, 100, 200), 0, geom.V3(1, 0, 0)},
		{"all round a leg", "on: leg-1, surface: side-1, force: 100 N", 48, geom.V3(0, 0, -100), geom.Vec3{}, 0, geom.Vec3{}},
	} {
		cs, _, codes := bare(t, fmt.Sprintf(file, "other")+"  - {name: it, "+tc.load+"}\n")
		if len(cs) != 2 || len(codes) != 0 {
			t.Errorf("%s: cases %v, findings %v", tc.name, ids(cs), codes)
			continue
		}
		c := cs[1]
		loads := c.Loads
		if c.Ballast > 0 {
			loads = loads[:len(loads)-1]
		}
		var sum geom.Vec3
		for _, l := range loads {
			sum = sum.Add(l.Force)
		}
		first := loads[0]
		p := first.Frame.Point(flat(middle(first.Region)))
		switch {
		case len(loads) != tc.n || sum.Dist(tc.force) > 1e-6:
			t.Errorf("%s: %d patches with %v", tc.name, len(loads), sum)
		case tc.normal == geom.Vec3{}:
		case p.Dist(tc.at) > 0.6 || first.Frame.Z.Dist(tc.normal) > 0.02:
			t.Errorf("%s: at %v facing %v", tc.name, p, first.Frame.Z)
		case tc.area > 0 && math.Abs(first.Region.Area()-tc.area) > 0.002*tc.area:
			t.Errorf("%s: area %g, want %g", tc.name, first.Region.Area(), tc.area)
		}
	}
	cs, p, codes := bare(t, fmt.Sprintf(file, "other")+"  - {name: beside it, on: top, surface: face, at: [400, 0], mass: 1 kg}\n")
	if len(cs) != 1 || !slices.Equal(codes, []string{"load-misses"}) {
		t.Errorf("beside the top: %v, %v", ids(cs), codes)
	}
	_, fs := Cases(p, p.Members, nil, nil)
	if fs[0].Line != p.Loads[0].Line || fs[0].File != "test.yaml" {
		t.Errorf("no place: %+v", fs[0])
	}
}

// The forces of patches of a pressed disc sum to the force, wherever it is.
func TestPressSums(t *testing.T) {
	p := readPiece(t, fmt.Sprintf(boards, "table")+board("a", 500, 60, 20, 0, -70, 400)+board("b", 500, 60, 20, 0, 0, 400)+board("c", 500, 60, 20, 0, 70, 401))
	top, _ := split(grounds(p.Members, nil))
	rapid.Check(t, func(t *rapid.T) {
		c := geom.V2(rapid.Float64Range(-300, 300).Draw(t, "x"), rapid.Float64Range(-150, 150).Draw(t, "y"))
		loads := top.press(c, 50, 1000)
		if len(loads) == 0 {
			if top.plan().Contains(c) {
				t.Fatal("nothing lies under it")
			}
			return
		}
		var sum, area float64
		for _, l := range loads {
			sum, area = sum+l.Force.Z, area+l.Region.Area()
			if l.Force.X != 0 || l.Force.Y != 0 {
				t.Fatalf("sideways: %v", l.Force)
			}
		}
		if math.Abs(sum+1000) > 1e-9 || area > 7880 {
			t.Fatalf("%g N over %g mm²", sum, area)
		}
	})
}

// No case tells of what nobody may promise.
func TestCasesPromiseNothing(t *testing.T) {
	for _, name := range exampleNames {
		in := example(t, name)
		cs, fs := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
		for _, c := range cs {
			promises(t, c.What+" "+c.Source)
			if c.What == "" || c.Source == "" || c.Agreed <= 0 || c.Agreed > 1 || c.Share <= 0 || c.Share > 1 {
				t.Errorf("%s %s: incomplete: %+v", name, c.ID, c)
			}
		}
		for _, f := range fs {
			promises(t, f.Message+" "+f.Remedy+" "+f.Source)
		}
	}
}

func promises(t *testing.T, s string) {
	t.Helper()
	for _, word := range []string{"safe", "compli", "certif", "guarant"} {
		if strings.Contains(strings.ToLower(s), word) {
			t.Errorf("%q says %q", s, word)
		}
	}
}
