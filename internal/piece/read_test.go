package piece

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/given"

	"github.com/google/go-cmp/cmp"
	"github.com/santhosh-tekuri/jsonschema/v6"
)

// mark shows where in a test's file the fault has to be reported.
const mark = "‸"

// marked is the file without its mark, and the mark's line and column.
func marked(t *testing.T, file string) (text string, line, column int) {
	t.Helper()
	before, after, ok := strings.Cut(file, mark)
	if !ok || strings.Contains(after, mark) {
		t.Fatalf("one mark is wanted in:\n%s", file)
	}
	return before + after, 1 + strings.Count(before, "\n"), len(before) - strings.LastIndex(before, "\n")
}

// head starts a piece; body and board write the ordinary rest.
const head = "groundwork: 1\nname: test\nuse: table\nsizes: core\n"

func withBoard(board string) string { return head + "members:\n  top:\n    board: " + board + "\n" }

const plain = "{rectangle: {length: 100, width: 50}, thickness: 10}"

// members are a leg (two of it), a seat and a round post.
const members = head + `members:
  leg:
    board: {rectangle: {length: 100, width: 50}, thickness: 10}
    at: [100, 0, 0]
    mirror: x
  seat:
    board: {circle: {diameter: 300}, thickness: 20}
  post:
    turning: {cylinder: {diameter: 40, length: 200}}
`

func withSolid(keys string) string {
	return head + "members:\n  top:\n    solid: " + strings.Replace("{"+keys+"}", "{"+mark, mark+"{", 1) + "\n"
}

// onlyFoot finds the files that tests of solids name.
func onlyFoot(name string) ([]byte, error) {
	foot, err := os.ReadFile("testdata/parts/foot.stl")
	if err != nil {
		return nil, err
	}
	switch name {
	case "parts/foot.stl":
		return foot, nil
	case "parts/cut.stl":
		return foot[:len(foot)-20], nil
	case "parts/it.3mf", "parts/crossing.stl":
		return os.ReadFile("testdata/" + name)
	}
	return nil, fs.ErrNotExist
}

func read(text string, set map[string]string) (*Piece, error) {
	d, err := Parse("test.yaml", []byte(text))
	if err != nil {
		return nil, err
	}
	d.Open = onlyFoot
	p, _, err := d.Resolve(set)
	return p, err
}

func TestFaultsStandWhereTheyAre(t *testing.T) {
	for _, tc := range []struct{ name, file, what, remedy string }{
		{"unknown key", head + "‸memebers:\n  top: {board: " + plain + "}\n", `the key "memebers" is not known here`, `did you mean "members"?`},
		{"unknown key deep down", withBoard("{rectangle: {length: 100, ‸wdith: 50}, thickness: 10}"), `the key "wdith" is not known here`, `did you mean "width"?`},
		{"missing key", withBoard("{rectangle: ‸{length: 100}, thickness: 10}"), `the key "width" is missing here`, "add width"},
		{"key twice", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, ‸thickness: 12}"), `"thickness" stands here twice`, "keep one of them; the other stands in line 7"},
		{"no version", "‸name: test\n", "the format version is missing", "start with the line groundwork: 1"},
		{"another version", "groundwork: ‸2\nname: test\n", `the format version "2" is not known`, "write groundwork: 1"},
		{"list at the top", "‸- a\n- b\n", "a mapping of keys, not a list", "start with the line groundwork: 1"},
		{"empty", "‸", "the file is empty", "start from an example"},
		{"value missing", strings.Replace(withBoard(plain), "use: table", "use:‸", 1), "a value is missing here", "give it a value"},
		{"word outside the choice", strings.Replace(withBoard(plain), "use: table", "use: ‸tabel", 1), `"tabel" is not a word that is known here`, `did you mean "table"?`},
		{"name with capitals", strings.Replace(withBoard(plain), "name: test", "name: ‸My Test", 1), `"My Test" cannot be used for files`, "lower-case letters"},

		{"unknown unit", withBoard("{rectangle: {length: ‸100 furlong, width: 50}, thickness: 10}"), `"furlong" is no unit`, "write a number, as in 19 mm"},
		{"angle for a length", withBoard("{rectangle: {length: ‸90 deg, width: 50}, thickness: 10}"), "is an angle, not a length", "give it in mm or in"},
		{"mass for a length", withBoard("{rectangle: {length: ‸2 kg, width: 50}, thickness: 10}"), "the length of top is a mass, not a length", "give it in mm or in"},
		{"time for a length", withBoard("{rectangle: {length: ‸2 min, width: 50}, thickness: 10}"), "measures time, which no number of a piece does", "use mm, cm, m, in"},
		{"force for an angle", members + "surfaces:\n  - {on: seat, surface: face, grain: ‸4 N}\n", "the angle of the grain is a force, not an angle", "give it in deg or rad"},
		{"mass for a number", withBoard(plain) + "    repeat: {radial: ‸4 kg}\n", "is a mass, not a plain number", "take the unit out"},
		{"angle without unit", members + "surfaces:\n  - {on: seat, surface: face, grain: ‸45}\n", "angle of the grain has no unit", "write 45 deg"},
		{"comma in a number", withBoard("\n      rectangle: {length: 100, width: 50}\n      thickness: ‸1,5 mm"), "a comma cannot stand in a number", "write a number, as in 19 mm"},
		{"two quantities", withBoard("{rectangle: {length: ‸1 ft 20 deg, width: 50}, thickness: 10}"), "mixes length and angle", "write a number"},
		{"zero thickness", withBoard("{rectangle: {length: 100, width: 50}, thickness: ‸0}"), "the thickness of top comes to 0 mm", "make it more than 0"},
		{"negative size", withBoard("{rectangle: {length: ‸-100, width: 50}, thickness: 10}"), "the length of top comes to -100 mm", "make it more than 0"},
		{"size in the wrong unit", withBoard("{rectangle: {length: ‸100 m, width: 50}, thickness: 10}"), "comes to 100000 mm", "look at its unit"},
		{"member thrown far", withBoard(plain) + "    at: [0, ‸20 m, 0]\n", "comes to 20000 mm", "look at its unit"},
		{"corner too round", withBoard("{rectangle: {length: 100, width: 50, corner: ‸30}, thickness: 10}"), "the corner radius of top comes to 30 mm", "keep it between 0 mm and 25 mm"},
		{"sides not whole", withBoard("{polygon: {sides: ‸4.5, across: 50}, thickness: 10}"), "comes to 4.5, which is not whole", "make it whole"},
		{"two shapes", withBoard("‸{circle: {diameter: 10}, rectangle: {length: 100, width: 50}, thickness: 10}"), "a board has one shape, not 2", "give exactly one of"},
		{"no shape", head + "members:\n  ‸top: {at: [0, 0, 0]}\n", "the member top has no shape", "add board:, turning: or solid:"},
		{"place of two numbers", withBoard(plain) + "    at: ‸[0, 0]\n", "this list has 2 entries; at least 3 are wanted", "count them again"},

		{"expression of nothing", withBoard("{rectangle: {length: ‸= heigth * 2, width: 50}, thickness: 10}") + "parameters:\n  height: {value: 40}\n", "there is no heigth here", `did you mean "height"?`},
		{"expression broken off", withBoard("\n      rectangle: {length: 100, width: 50}\n      thickness: ‸= (1 +"), "cannot be worked out", "mend the expression"},
		{"expression with a list", withBoard("\n      rectangle: {length: 100, width: 50}\n      thickness: ‸= [1, 2]"), "only numbers, names", "mend the expression"},
		{"expression through zero", withBoard("{rectangle: {length: ‸= 10 / 0, width: 50}, thickness: 10}"), "it divides by zero", "mend the expression"},
		{"expression of no number", withBoard("{rectangle: {length: ‸= sqrt(-1), width: 50}, thickness: 10}"), "it yields no number", "mend the expression"},
		{"expression that compares", withBoard("{rectangle: {length: ‸= 3 > 2, width: 50}, thickness: 10}"), "it yields a comparison", "mend the expression"},
		{"length and angle added", withBoard("{rectangle: {length: ‸= 3 mm + 2 deg, width: 50}, thickness: 10}"), "a length and an angle cannot be put together by +", "mend the expression"},
		{"unknown function", withBoard("{rectangle: {length: ‸= sine(2), width: 50}, thickness: 10}"), "there is no function sine here", `did you mean "sin"?`},
		{"size of another shape", head + "members:\n  top:\n    board: {circle: {diameter: 300}, thickness: ‸= top.width}\n", "there is no top.width here", "use one of: top."},

		{"crossing outline", withBoard("\n      ‸path: M0 0 L100 100 L100 0 L0 100 Z\n      thickness: 10"), "it crosses or touches itself", "runs round the board once"},
		{"open path", withBoard("\n      path: ‸M0 0 L100 0 L100 50\n      thickness: 10"), "the path of top cannot be used", "write one closed loop"},
		{"not a path", withBoard("\n      path: ‸hello\n      thickness: 10"), "the path of top cannot be used", "write one closed loop"},
		{"cut-out over the rim", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, cutouts: [‸{circle: {diameter: 20}, at: [45, 0]}]}"), "cut-out 1 of top cannot be made: it leaves the board", "move it or make it smaller"},
		{"cut-out beside the board", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, cutouts: [‸{circle: {diameter: 20}, at: [200, 0]}]}"), "it lies outside the board", "move it or make it smaller"},
		{"cut-outs that meet", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, cutouts: [{circle: {diameter: 20}}, ‸{circle: {diameter: 20}, at: [10, 0]}]}"), "cut-out 2 of top cannot be made: it meets cut-out 1", "move it or make it smaller"},
		{"cut-out in a cut-out", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, cutouts: [{circle: {diameter: 20}}, ‸{circle: {diameter: 5}}]}"), "lie inside one another", "move it or make it smaller"},
		{"cut-out at the rim", withBoard("{rectangle: {length: 100, width: 50}, thickness: 10, cutouts: [‸{circle: {diameter: 20}, at: [39.9, 0]}]}"), "only 0.10 mm are left", "move it or make it smaller"},
		{"profile through the axis", head + "members:\n  leg:\n    turning:\n      profile: [[20, 0], ‸[0, 100]]\n", "comes to radius", "keep the radius at"},
		{"profile that falls back", head + "members:\n  leg:\n    turning:\n      profile: [[20, 0], [20, 100], ‸[30, 50]]\n", "falls back from z", "from the low end to the high end"},

		{"mirror and repeat", withBoard(plain) + "    mirror: x\n    repeat: ‸{radial: 4}\n", "has both mirror and repeat", "keep one of them"},
		{"board and solid", withBoard(plain) + "    solid: ‸{file: parts/foot.stl}\n", "is both a board and a solid", "keep one of them"},
		{"solid without a file", withSolid("‸unit: mm"), `the key "file" is missing here`, "add file"},
		{"absolute path", withSolid("file: ‸/etc/leg.stl, unit: mm"), `"/etc/leg.stl" is no path from the piece file's folder`, "with forward slashes"},
		{"path of another system", withSolid("file: ‸'parts\\leg.stl', unit: mm"), "a path is written with forward slashes", "as in parts/leg.stl"},
		{"path of a disk", withSolid("file: ‸'C:/leg.stl', unit: mm"), "is no path from the piece file's folder", "with forward slashes"},
		{"empty path", withSolid("file: ‸'', unit: mm"), "the path of a file has 1 to 240 characters, not 0", "as in parts/leg.stl"},
		{"long path", withSolid("file: ‸" + strings.Repeat("a", 250) + ", unit: mm"), "not 250", "as in parts/leg.stl"},
		{"no such file", withSolid("file: ‸parts/leg.stl, unit: mm"), "the file parts/leg.stl is not there", "put it there"},
		{"damaged file", withSolid("file: ‸parts/cut.stl, unit: mm"), "the file parts/cut.stl cannot be used", "save it anew"},
		{"no unit", withSolid("‸file: parts/foot.stl, part: body-1"), "parts/foot.stl states no unit", "add unit: mm"},
		{"unknown unit of a file", withSolid("file: parts/foot.stl, unit: ‸yd"), `"yd" is not a word that is known here`, "use one of"},
		{"needless unit", withSolid("file: parts/it.3mf, unit: ‸in"), "states its unit itself", "take unit out"},
		{"no part", withSolid("‸file: parts/foot.stl, unit: in"), "holds 2 bodies, and top does not say which", "add part: and one of: body-1, body-1.2"},
		{"another part", withSolid("file: parts/foot.stl, unit: in, part: ‸body-2"), `holds no part "body-2"`, "write one of: body-1, body-1.2"},
		{"no board", withSolid("file: parts/foot.stl, unit: in, part: body-1, as: ‸board"), "top is no board: ", "write as: solid"},
		{"no turning", withSolid("file: parts/foot.stl, unit: in, part: body-1, as: ‸turning"), "top is no turning: ", "take as out"},
		{"no hash", withSolid("file: parts/foot.stl, unit: in, part: body-1, sha256: ‸1234"), `"1234" is no SHA-256`, "64 hexadecimal digits"},
		{"solid of another size", withSolid("file: parts/foot.stl, unit: um, part: ‸body-1"), "sizes lie between 0.5 mm and 5000 mm", "look at its unit"},
		{"crossing triangles", withSolid("file: ‸parts/crossing.stl, unit: mm"), "pairs of its triangles pass through one another", "join the parts that overlap"},
		{"shell without thickness", withSolid("file: parts/foot.stl, unit: in, part: body-1, thicken: ‸0"), "the thickness of the shell of top comes to 0 mm", "make it more than 0"},
		{"end cut of a solid", withSolid("file: parts/foot.stl, unit: in, part: body-1, as: solid") + "    end_cuts: [‸{at: [0, 0, 5], normal: -z}]\n", "top is a solid, and only boards and turnings take end cuts", "cut it in the program"},
		{"surface of a solid", withSolid("file: parts/foot.stl, unit: in, part: body-1, as: solid") + "surfaces:\n  - {on: top, surface: ‸plane-99}\n", `top has no surface "plane-99"`, `did you mean "plane-`},
		{"places and a place", withBoard(plain) + "    at: [‸1, 2, 3]\n    repeat: {places: [{at: [0, 0, 0]}]}\n", "has both places and a place", "take at and axes out"},
		{"places and axes", withBoard(plain) + "    axes: ‸{x: +y}\n    repeat: {places: [{at: [0, 0, 0]}]}\n", "has both places and axes", "take at and axes out"},
		{"places and a number", withBoard(plain) + "    repeat: ‸{places: [{at: [0, 0, 0]}], count: 2}\n", "the places are all there is to say", "take count, start and about out"},
		{"places and radial", withBoard(plain) + "    repeat: ‸{places: [{at: [0, 0, 0]}], radial: 2}\n", "repeat has one of radial, along and places", "write {radial: 4}"},
		{"mirror and places", withBoard(plain) + "    mirror: x\n    repeat: ‸{places: [{at: [0, 0, 0]}]}\n", "has both mirror and repeat", "keep one of them"},
		{"mirror in z", withBoard(plain) + "    mirror: ‸z\n", `"z" is no mirror plane`, "write x, y or [x, y]"},
		{"mirror twice the same", withBoard(plain) + "    mirror: ‸[x, x]\n", "names each plane once", "write x, y or [x, y]"},
		{"copies in one place", withBoard(plain) + "    repeat: ‸{along: [0, 0, 0], count: 3}\n", "lie in the same place", "make the step longer"},
		{"too many members", withBoard(plain) + "    at: [0, 0, 0]\n    repeat: {along: [0, 0, 1], count: 300}\n  ‸more:\n    board: " + plain + "\n    repeat: {along: [0, 0, 1], count: 300}\n", "more than 500 members", "use fewer copies"},
		{"too many copies", withBoard(plain) + "    repeat: {radial: ‸501}\n", "comes to 501", "keep it between 1 and 500"},
		{"copy with another's name", head + "members:\n  leg:\n    board: " + plain + "\n    mirror: x\n  ‸leg-2:\n    board: " + plain + "\n", "two members are called leg-2", "choose another name"},
		{"names alike in expressions", head + "parameters:\n  end_rail: {value: 3}\nmembers:\n  ‸end-rail:\n    board: " + plain + "\n", `the name "end-rail" is taken by the one in line 6`, "choose another name"},
		{"member name twice", head + "members:\n  leg:\n    board: " + plain + "\n  ‸leg:\n    board: " + plain + "\n", `"leg" stands here twice`, "keep one of them"},
		{"name with a meaning", head + "parameters:\n  ‸pi: {value: 3}\nmembers:\n  leg:\n    board: " + plain + "\n", "has a meaning of its own", "choose another name"},
		{"axes along one line", withBoard(plain) + "    axes: {x: +x, y: ‸-x}\n", "point along one line", "give two directions that differ"},
		{"axis of no length", withBoard(plain) + "    axes: {x: ‸[0, 0, 0]}\n", "has no direction", "give it a length"},
		{"no direction", withBoard(plain) + "    axes: {x: ‸up}\n", `"up" is no direction`, "write +x, -x"},
		{"limits without value", head + "parameters:\n  height: {value: ‸900, min: 400, max: 750}\nmembers:\n  leg:\n    board: " + plain + "\n", "the parameter height comes to 900", "keep it between 400 and 750"},
		{"one limit", head + "parameters:\n  height: ‸{value: 500, min: 400}\nmembers:\n  leg:\n    board: " + plain + "\n", "has only one limit", "give both min and max"},

		{"joint of a missing member", members + "joints:\n  - {between: [seat, ‸lge], kind: glued}\n", `there is no member "lge"`, `did you mean "leg"?`},
		{"joint of a missing copy", members + "joints:\n  - {between: [seat, ‸leg-3], kind: glued}\n", `there is no member "leg-3"`, `did you mean "leg-1"?`},
		{"joint with itself", members + "joints:\n  - {between: [seat, ‸seat], kind: glued}\n", "seat cannot be joined to itself", "name two members"},
		{"joint of three", members + "joints:\n  - {between: ‸[seat, leg, post], kind: glued}\n", "this list has 3 entries", "count them again"},
		{"screw through a third", members + "joints:\n  - {between: [seat, leg], kind: knock-down, through: ‸post}\n", `through names "post"`, "write seat or leg"},
		{"screw in a glued joint", members + "joints:\n  - {between: [seat, leg], kind: glued, screw: ‸M6}\n", "only a knock-down joint has screws", "take it out"},
		{"no thread", members + "joints:\n  - {between: [seat, leg], kind: knock-down, screw: ‸6 mm}\n", `"6 mm" is no thread`, "as in M6"},
		{"surface of a missing member", members + "surfaces:\n  - {on: ‸saet, surface: face}\n", `there is no member "saet"`, `did you mean "seat"?`},
		{"missing surface", members + "surfaces:\n  - {on: leg, surface: ‸edge-5}\n", `leg has no surface "edge-5"`, `did you mean "edge-1"?`},
		{"surface of no member", members + "surfaces:\n  - {on: \"*\", surface: ‸botom}\n", `no member has a surface "botom"`, "use one of"},
		{"end cut by a missing member", members + "    end_cuts: [{member: ‸saet, surface: back}]\n", `there is no member "saet"`, `did you mean "seat"?`},
		{"end cut by a missing surface", members + "    end_cuts: [{member: seat, surface: ‸bakc}]\n", `seat has no surface "bakc"`, `did you mean "back"?`},
		{"end cut by a round surface", members + "    end_cuts: [{member: seat, surface: ‸edge-1}]\n", "is not flat", "name a flat surface"},
		{"end cut by itself", members + "    end_cuts: [{member: ‸post, surface: low-end}]\n", "post cannot be cut by its own surface", "name another member"},
		{"end cut of everything", members + "    end_cuts: [‸{at: [0, 0, 300], normal: -z}]\n", "leaves nothing of post", "turn the normal round"},
		{"end cut without place", members + "    end_cuts: [‸{member: seat}]\n", "member and surface go together", "write {member: seat, surface: back}"},
		{"end cut of neither kind", members + "    end_cuts: [‸{at: [0, 0, 0]}]\n", "either a normal or a member", "write {at: [0, 0, 0], normal: -z}"},
		{"printed with nothing", members + "print_as_one: [[seat, ‸psot]]\n", `there is no member "psot"`, `did you mean "post"?`},
		{"printed twice", members + "print_as_one: [[seat, leg], [post, ‸seat]]\n", "is in a print_as_one group already", "name it once"},

		{"load on a missing member", members + "loads: [{name: a, on: ‸saet, mass: 2 kg}]\n", `there is no member "saet"`, `did you mean "seat"?`},
		{"load on a missing surface", members + "loads: [{name: a, on: seat, surface: ‸edge-3, mass: 2 kg}]\n", `seat has no surface "edge-3"`, `did you mean "edge-1"?`},
		{"load without a name", members + "loads: [‸{on: seat, mass: 2 kg}]\n", `the key "name" is missing here`, "add name"},
		{"load of a long name", members + "loads: [{name: ‸" + strings.Repeat("a", 61) + ", on: seat, mass: 2 kg}]\n", "the name of this load is too long", "say it in 60 characters"},
		{"load on a group of surfaces", members + "loads: [{name: a, on: seat, surface: ‸faces, mass: 2 kg}]\n", `seat has no surface "faces"`, `did you mean "face"?`},
		{"load without a size", members + "loads: [‸{name: a, on: seat}]\n", "this load has 0 sizes", "give exactly one of person"},
		{"load of two sizes", members + "loads: [‸{name: a, on: seat, mass: 2 kg, force: 3 N}]\n", "this load has 2 sizes", "give exactly one of person"},
		{"mass without unit", members + "loads: [{name: a, on: seat, mass: ‸20}]\n", "the mass of the load has no unit", "as in 20 kg"},
		{"force in kg", members + "loads: [{name: a, on: seat, force: ‸20 kg}]\n", "the force is a mass, not a force", "as in 100 N"},
		{"mass in N", members + "loads: [{name: a, on: seat, mass: ‸20 N}]\n", "the mass of the load is a force, not a mass", "as in 20 kg"},
		{"person in mm", members + "loads: [{name: a, on: seat, person: ‸1800 mm}]\n", "the mass of the person is a length, not a mass", "as in 110 kg"},
		{"force of nothing", members + "loads: [{name: a, on: seat, force: ‸0 N}]\n", "the force comes to 0", "make it more than 0"},
		{"negative mass", members + "loads: [{name: a, on: seat, mass: ‸-3 kg}]\n", "comes to -3000", "make it more than 0"},
		{"mass of a house", members + "loads: [{name: a, on: seat, mass: ‸6000 kg}]\n", "comes to 6000 kg; more than 5000 kg", "look at its unit"},
		{"force of a house", members + "loads: [{name: a, on: seat, force: ‸60 kN}]\n", "comes to 60000 N; more than 50000 N", "look at its unit"},
		{"force in an unknown unit", members + "loads: [{name: a, on: seat, force: ‸60 dyn}]\n", `"dyn" is no unit`, "write a number"},
		{"mass and length added", members + "loads: [{name: a, on: seat, mass: ‸= 3 kg + 2 mm}]\n", "a mass and a length cannot be put together by +", "mend the expression"},
		{"weight with a direction", members + "loads: [{name: a, on: seat, mass: 2 kg, towards: ‸+x}]\n", "a weight presses down", "take towards out"},
		{"force towards nothing", members + "loads: [{name: a, on: seat, force: 2 N, towards: ‸[0, 0, 0]}]\n", "the direction of the force has no direction", "give it a length"},
		{"place without a surface", members + "loads: [{name: a, on: seat, mass: 2 kg, at: [‸1, 2]}]\n", "a load has a place, but no surface", "name the surface too"},
		{"place of three numbers", members + "loads: [{name: a, on: seat, surface: face, mass: 2 kg, at: ‸[1, 2, 3]}]\n", "this list has 3 entries", "count them again"},
		{"disc of nothing", members + "loads: [{name: a, on: seat, mass: 2 kg, across: ‸0 mm}]\n", "the disc of a load comes to 0 mm", "make it more than 0"},
		{"person for months", members + "loads: [{name: a, on: seat, person: 80 kg, sustained: ‸true}]\n", "a person does not stay for months", "take sustained out"},
		{"held by a missing member", members + "held: [{on: ‸wall, surface: back}]\n", `there is no member "wall"`, "use one of"},
		{"held by a missing surface", members + "held: [{on: post, surface: ‸back}]\n", `post has no surface "back"`, "use one of: side-1"},
		{"held by no surface", members + "held: [‸{on: post}]\n", `the key "surface" is missing here`, "add surface"},
		{"seam of a missing member", members + "seams: [{on: ‸rim, whole: true}]\n", `there is no member "rim"`, "use one of"},
		{"seam of nothing", members + "seams: [‸{on: leg}]\n", "a seam has one of at, clear and whole", "write {on: rim"},
		{"seam of two kinds", members + "seams: [‸{on: leg, across: x, at: 10, whole: true}]\n", "a seam has one of at, clear and whole", "write {on: rim"},
		{"seam without a direction", members + "seams: [‸{on: leg, at: 10}]\n", "this seam has no direction", "add across"},
		{"seam in no direction", members + "seams: [{on: leg, across: ‸w, at: 10}]\n", `"w" is not a word that is known here`, `did you mean "x"?`},
		{"seam beside the member", members + "seams: [{on: leg, across: x, at: ‸50}]\n", "there is nothing of leg-1 at 50 mm along its own x", "reaches from -50 mm to 50 mm"},
		{"seam beyond a turning", members + "seams: [{on: post, across: z, at: ‸-1}]\n", "there is nothing of post at -1 mm along its own z", "reaches from 0 mm to 200 mm"},
		{"stretch turned round", members + "seams: [{on: leg, across: x, clear: [‸40, 10]}]\n", "runs from 40 mm to 10 mm", "give the smaller one first"},
		{"stretch beside the member", members + "seams: [{on: leg, across: y, clear: [‸30, 40]}]\n", "there is nothing of leg-1 at 30 mm to 40 mm", "reaches from -25 mm to 25 mm"},
		{"whole or not", members + "seams: [{on: leg, whole: ‸false}]\n", "whole: false says nothing", "take it out"},
		{"whole across", members + "seams: [{on: leg, whole: true, across: ‸x}]\n", "no seam across an axis", "take across out"},

		{"nested too deep", head + "members: " + strings.Repeat("[", given.MaxDepth) + mark + "[" + strings.Repeat("]", given.MaxDepth+1), "more than 24 deep", "write it flatter"},
		{"alias bomb", bomb(), "aliases swell the file", "use fewer aliases"},
		{"alias of nothing", head + "members: ‸*thing\n", "alias *thing has no anchor", "write &thing before"},
		{"tag", head + "members: ‸!!str x\n", "a YAML tag", "write it plainly"},
		{"control character", head + "title: a‸\x01b\n", "a control character (code 1)", "take it out"},
		{"second document", head + "members: {}\n---\n‸a: 1\n", "a second YAML document", "keep one document"},
		{"too large", "‸" + strings.Repeat("# filling\n", given.MaxBytes/10+1), "larger than 1048576 bytes", "split off"},
		{"not UTF-8", "‸name: \xff\n", "not UTF-8", "save it as UTF-8"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			text, line, column := marked(t, tc.file)
			_, err := read(text, nil)
			var all Errors
			if !errors.As(err, &all) {
				t.Fatalf("no Errors but %v", err)
			}
			for _, e := range all {
				if e.What == "" || e.Remedy == "" || e.File != "test.yaml" {
					t.Errorf("incomplete: %+v", e)
				}
				if strings.Contains(e.What, tc.what) {
					if e.Line != line || e.Column != column {
						t.Errorf("reported at %d:%d, stands at %d:%d: %s", e.Line, e.Column, line, column, e)
					}
					if !strings.Contains(e.Remedy, tc.remedy) {
						t.Errorf("remedy %q does not say %q", e.Remedy, tc.remedy)
					}
					if !strings.HasPrefix(e.Error(), fmt.Sprintf("test.yaml:%d:%d: ", line, column)) {
						t.Errorf("no place in %q", e.Error())
					}
					return
				}
			}
			t.Errorf("%q is not reported, but:\n%s", tc.what, err)
		})
	}
}

// bomb is a file that swells tenfold with every line. The fault belongs to the
// alias by which it passes 100,000 values: with 11 values in a, 111 in b, 1111
// in c and 11111 in d, and 12,330 counted before line e, the eighth of that line.
func bomb() string {
	b := "a: &a [1,1,1,1,1,1,1,1,1,1]\n"
	for i, n := range "bcdefgh" {
		from := string("abcdefg"[i])
		b += fmt.Sprintf("%c: &%c [%s*%s]\n", n, n, strings.Repeat("*"+from+",", 9), from)
	}
	e := strings.Repeat("*d,", 7)
	return strings.Replace(b, e, e+mark, 1)
}

func TestRingIsNamed(t *testing.T) {
	text, line, column := marked(t, head+`parameters:
  a: {value: ‸= b + 1}
  b: {value: = top.length}
members:
  top:
    board: {rectangle: {length: = a * 2, width: 50}, thickness: = a}
`)
	_, err := read(text, nil)
	want := fmt.Sprintf("test.yaml:%d:%d: these expressions need one another in a ring: a (line 6) needs b (line 7) needs top.length (line 10) needs a; give one of them a number of its own", line, column)
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
	// A number that needs itself, and two end cuts that need one another.
	_, err = read(withBoard("{rectangle: {length: = top.length, width: 50}, thickness: 10}"), nil)
	if err == nil || !strings.Contains(err.Error(), "top.length (line 7) needs top.length;") {
		t.Errorf("got %v", err)
	}
	cut := "    board: " + plain + "\n    end_cuts: [{member: %s, surface: cut-1}]\n"
	_, err = read(head+"members:\n  one:\n"+fmt.Sprintf(cut, "two")+"  two:\n    at: [10, 0, 0]\n"+fmt.Sprintf(cut, "one"), nil)
	if err == nil || !strings.Contains(err.Error(), "need one another in a ring") {
		t.Errorf("got %v", err)
	}
}

func TestOverrides(t *testing.T) {
	const file = head + `parameters:
  height: {value: 560 mm, min: 400 mm, max: 750 mm}
  length: {value: = height / 2}
  splay: {value: 8 deg, min: 0 deg, max: 20 deg}
  count: {value: 4}
members:
  top:
    board: {rectangle: {length: = length, width: 50}, thickness: 10}
    repeat: {radial: = count}
    at: [200, 0, = 100 * sin(splay)]
`
	for _, tc := range []struct {
		set    map[string]string
		length float64
		n      int
	}{
		{nil, 280, 4},
		{map[string]string{"height": "600 mm"}, 300, 4},
		{map[string]string{"height": "20 in"}, 254, 4},
		{map[string]string{"height": "= 2 * 230"}, 230, 4},
		{map[string]string{"height": "600", "count": "3"}, 300, 3},
		{map[string]string{"length": "100", "splay": "0 deg"}, 100, 4},
	} {
		p, err := read(file, tc.set)
		if err != nil {
			t.Errorf("%v: %v", tc.set, err)
			continue
		}
		if got := p.Members[0].Board.Outline.Path.Bounds().Size().X; !same(got, tc.length) || len(p.Members) != tc.n {
			t.Errorf("%v: length %g of %d members, want %g of %d", tc.set, got, len(p.Members), tc.length, tc.n)
		}
	}
	for _, tc := range []struct {
		set          map[string]string
		what, remedy string
	}{
		{map[string]string{"hieght": "600"}, `test.yaml: the piece has no parameter "hieght" to set`, `did you mean "height"?`},
		{map[string]string{"height": "900 mm"}, "the parameter height comes to 900", "keep it between 400 and 750"},
		{map[string]string{"height": "tall"}, `cannot read "tall"`, "write a number"},
		{map[string]string{"height": ""}, "it is empty", "write a number"},
		{map[string]string{"height": "= length"}, "need one another in a ring: height (line 6) needs length (line 7) needs height", "give one of them"},
		{map[string]string{"height": "5 deg"}, "the min of height is a length where its value is an angle", "give both in one unit"},
		{map[string]string{"count": "0"}, "the number round the axis of top comes to 0", "keep it between 1 and 500"},
		{map[string]string{"length": "-3"}, "the length of top comes to -3 mm", "make it more than 0"},
	} {
		_, err := read(file, tc.set)
		if err == nil || !strings.Contains(err.Error(), tc.what) || !strings.Contains(err.Error(), tc.remedy) {
			t.Errorf("%v: got %v", tc.set, err)
		}
	}
}

func TestResolveLeavesTheDocumentAlone(t *testing.T) {
	d, err := ParseFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	first, _, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := d.Resolve(map[string]string{"height": "700 mm", "spokes": "7"}); err != nil {
		t.Fatal(err)
	}
	again, _, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	// What was brought in is read and recognised once.
	if diff := cmp.Diff(first, again, cmp.Comparer(func(a, b *Solid) bool { return a == b })); diff != "" {
		t.Error(diff)
	}
}

func TestValidName(t *testing.T) {
	for name, want := range map[string]bool{
		"heron-side-table": true, "a": true, "2": true, strings.Repeat("a", 60): true,
		"": false, "-a": false, "a-": false, "a--b": false, "A": false, "a_b": false, "a b": false, "../a": false, "a.yaml": false, "ä": false, "a\n": false, strings.Repeat("a", 61): false,
	} {
		if ValidName(name) != want {
			t.Errorf("ValidName(%q) = %v", name, !want)
		}
	}
}

// inside reports whether a world point lies in a board's material, by the
// member's own description.
func inside(m Member, w geom.Vec3) bool {
	p := m.Place.Local(w)
	in := p.Z > 0 && p.Z < m.Board.Thickness && m.Board.Outline.Path.Polygon(0.001).Contains(p.XY())
	for _, c := range m.Board.Cutouts {
		in = in && !c.Path.Polygon(0.001).Contains(p.XY())
	}
	for _, e := range m.EndCuts {
		in = in && e.Plane.Distance(p) < 0
	}
	return in
}

// TestMirroredBoardsAreMirrorImages: a point lies in a copy exactly if its
// mirror image lies in the original, for a board without any symmetry of its
// own, turned askew, with a cut-out and an end cut.
func TestMirroredBoardsAreMirrorImages(t *testing.T) {
	p, err := read(head+`members:
  leg:
    board:
      taper: {length: 300, from: 80, to: 40, keep: lower, bow: 15, bow_edge: upper}
      thickness: 24
      cutouts: [{rectangle: {length: 40, width: 12}, at: [90, 30], turn: 20 deg}]
    at: [120, 90, 30]
    axes: {x: [1, 2, 5], y: [3, -1, 1]}
    mirror: [x, y]
    end_cuts: [{at: [0, 0, 60], normal: [1, 2, -9]}]
`, nil)
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Members) != 4 {
		t.Fatalf("%d members", len(p.Members))
	}
	images := []struct {
		x, y     float64
		mirrored bool
	}{{1, 1, false}, {-1, 1, true}, {1, -1, true}, {-1, -1, false}}
	base := p.Members[0]
	for i, m := range p.Members {
		if f := m.Place; !sameVec(f.X.Cross(f.Y), f.Z) || !same(f.X.Len(), 1) || !same(f.Y.Len(), 1) {
			t.Errorf("%s: no right-handed frame: %+v", m.ID, f)
		}
		if area := m.Board.Outline.Path.Polygon(0.001).Area(); area <= 0 {
			t.Errorf("%s: outline runs clockwise", m.ID)
		}
		if m.Mirrored != images[i].mirrored {
			t.Errorf("%s: Mirrored is %v", m.ID, m.Mirrored)
		}
	}
	in, out := 0, 0
	for x := -19.3; x < 320; x += 7.1 {
		for y := -18.7; y < 110; y += 5.3 {
			for z := -4.1; z < 29; z += 4.7 {
				w := base.Place.Point(geom.V3(x, y, z))
				want := inside(base, w)
				for i, m := range p.Members {
					image := geom.V3(w.X*images[i].x, w.Y*images[i].y, w.Z)
					if got := inside(m, image); got != want && !edgy(base, w) {
						t.Fatalf("%s: %v is inside: %v, its original: %v", m.ID, image, got, want)
					}
				}
				if want {
					in++
				} else {
					out++
				}
			}
		}
	}
	if in < 500 || out < 500 {
		t.Errorf("only %d points inside and %d outside", in, out)
	}
}

// edgy reports whether a point is so near to the surface that the flattening
// of curves may decide.
func edgy(m Member, w geom.Vec3) bool {
	for _, d := range []geom.Vec3{{X: 1}, {Y: 1}, {Z: 1}} {
		if d = d.Scale(0.01); inside(m, w.Add(d)) != inside(m, w) || inside(m, w.Sub(d)) != inside(m, w) {
			return true
		}
	}
	return false
}

// keysOf collects the keys of a document's type, of all structs under it.
func keysOf(t reflect.Type, into map[string]bool) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return
	}
	if knot, ok := t.FieldByName("knotKeys"); ok {
		keysOf(knot.Type, into)
		return
	}
	if values, ok := t.FieldByName("Values"); ok { // a Map
		keysOf(values.Type, into)
		return
	}
	for _, k := range given.Keys(t) {
		into[k] = true
	}
	for _, f := range reflect.VisibleFields(t) {
		if f.Tag.Get("json") != "" && f.Tag.Get("json") != "-" {
			keysOf(f.Type, into)
		}
	}
}

func sorted(m map[string]bool) []string { return slices.Sorted(maps.Keys(m)) }

// TestEveryKeyIsUsed keeps testdata/every-key.yaml complete.
func TestEveryKeyIsUsed(t *testing.T) {
	data, err := os.ReadFile("testdata/every-key.yaml")
	if err != nil {
		t.Fatal(err)
	}
	faults := &given.Faults{File: "every-key.yaml"}
	used := map[string]bool{}
	var walk func(n *given.Node)
	walk = func(n *given.Node) {
		for _, k := range n.Keys {
			used[k.Value] = true
		}
		for _, x := range n.Items {
			walk(x)
		}
	}
	walk(given.Read(data, faults))
	if faults.Any() {
		t.Fatal(faults.Err())
	}
	known := map[string]bool{}
	keysOf(reflect.TypeFor[Document](), known)
	if len(known) < 70 {
		t.Errorf("only %d keys found", len(known))
	}
	for _, k := range sorted(known) {
		if !used[k] {
			t.Errorf("the key %s is not used", k)
		}
	}
}

func compiled(t *testing.T) (*jsonschema.Schema, any) {
	t.Helper()
	text, err := Schema()
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("piece.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("piece.json")
	if err != nil {
		t.Fatal(err)
	}
	return s, doc
}

// validate checks a file against the schema.
func validate(s *jsonschema.Schema, data []byte) error {
	faults := &given.Faults{}
	n := given.Read(data, faults)
	if faults.Any() {
		return faults.Err()
	}
	return s.Validate(n.Value())
}

func TestSchemaKnowsTheSameKeys(t *testing.T) {
	_, doc := compiled(t)
	inSchema := map[string]bool{}
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			for k, x := range v {
				if props, ok := x.(map[string]any); ok && k == "properties" {
					for name := range props {
						inSchema[name] = true
					}
				}
				walk(x)
			}
		case []any:
			for _, x := range v {
				walk(x)
			}
		}
	}
	walk(doc)
	known := map[string]bool{}
	keysOf(reflect.TypeFor[Document](), known)
	if diff := cmp.Diff(sorted(known), sorted(inSchema)); diff != "" {
		t.Error(diff)
	}
}

func TestSchemaTakesTheExamples(t *testing.T) {
	s, _ := compiled(t)
	files, err := filepath.Glob("../../examples/*.yaml")
	if err != nil || len(files) < 4 {
		t.Fatalf("%d examples (%v)", len(files), err)
	}
	for _, name := range append(files, "testdata/every-key.yaml") {
		if filepath.Base(name) == "shop.yaml" {
			continue
		}
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := validate(s, data); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		resolveFile(t, name)
	}
}

// TestSchemaRefusesWhatTheParserRefuses: faults of form, not of value.
func TestSchemaRefusesWhatTheParserRefuses(t *testing.T) {
	s, _ := compiled(t)
	good := members + "joints:\n  - {between: [seat, leg], kind: glued}\n"
	if err := validate(s, []byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ from, to string }{
		{"sizes: core\n", ""},
		{"sizes: core", "sizes: outer"},
		{"members:", "membres:"},
		{"width: 50", "wide: 50"},
		{"width: 50", "width: wide"},
		{", width: 50", ""},
		{"width: 50", "width: [50]"},
		{"at: [100, 0, 0]", "at: [100, 0]"},
		{"at: [100, 0, 0]", "at: 100"},
		{"kind: glued", "kind: welded"},
		{", kind: glued", ""},
		{"[seat, leg]", "[seat]"},
		{"[seat, leg]", "[seat, leg, post]"},
		{"mirror: x", "axes: {x: up}"},
		{"mirror: x", "axes: {x: [1, 2]}"},
		{"{cylinder: {diameter: 40, length: 200}}", "{profile: [[20, 0]]}"},
		{"{cylinder: {diameter: 40, length: 200}}", "{profile: [[20, 0], [20, 30, 40]]}"},
		{"{cylinder: {diameter: 40, length: 200}}", "{profile: [[20, 0], {arc: [20, 30]}]}"},
		{"mirror: x", "mirror: {x: y}"},
		{"mirror: x", "repeat: {places: []}"},
		{"mirror: x", "repeat: {places: [{at: [1, 2]}]}"},
		{"mirror: x", "repeat: {places: [{on: [1, 2, 3]}]}"},
		{"turning: {cylinder: {diameter: 40, length: 200}}", "solid: {part: body-1}"},
		{"turning: {cylinder: {diameter: 40, length: 200}}", "solid: {file: a.stl, unit: furlong}"},
		{"turning: {cylinder: {diameter: 40, length: 200}}", "solid: {file: a.stl, as: plank}"},
		{"turning: {cylinder: {diameter: 40, length: 200}}", "solid: {file: a.stl, up: north}"},
		{"turning: {cylinder: {diameter: 40, length: 200}}", "solid: a.stl"},
		{"use: table", "use: table\nveneer: {balance: perhaps}"},
		{"use: table", "use: table\nloads: [{on: seat, mass: 2 kg}]"},
		{"use: table", "use: table\nloads: [{name: a, on: seat, weight: 2 kg}]"},
		{"use: table", "use: table\nloads: [{name: a, on: seat, force: strong}]"},
		{"use: table", "use: table\nloads: [{name: a, on: seat, force: 2 N, towards: down}]"},
		{"use: table", "use: table\nloads: [{name: a, on: seat, surface: face, force: 2 N, at: [1]}]"},
		{"use: table", "use: table\nheld: [{on: seat}]"},
		{"use: table", "use: table\nheld: seat"},
		{"use: table", "use: table\nseams: [{on: leg, across: up, at: 3}]"},
		{"use: table", "use: table\nseams: [{on: leg, across: x, clear: [3]}]"},
	} {
		bad := strings.Replace(good, tc.from, tc.to, 1)
		if bad == good {
			t.Fatalf("%q is not there", tc.from)
		}
		if validate(s, []byte(bad)) == nil {
			t.Errorf("the schema takes %q for %q", tc.to, tc.from)
		}
		if _, err := read(bad, nil); err == nil {
			t.Errorf("the parser takes %q for %q", tc.to, tc.from)
		}
	}
}

func FuzzParse(f *testing.F) {
	files, _ := filepath.Glob("../../examples/*.yaml")
	for _, name := range append(files, "testdata/every-key.yaml") {
		data, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte(strings.Replace(bomb(), mark, "", 1)))
	f.Add([]byte(withSolid("file: parts/foot.stl, unit: in, part: body-1")))
	f.Add([]byte(members + "joints:\n  - {between: [leg, seat], kind: glued}\n"))
	f.Add([]byte(members + "loads:\n  - {name: a, on: seat, surface: face, at: [1, = 2 mm], across: 30, force: = 2 kN / 3, towards: [1, 0, 1]}\nheld:\n  - {on: post, surface: low-end}\nseams:\n  - {on: leg, across: x, clear: [0, 3]}\n"))
	f.Add([]byte(withBoard("{rectangle: {length: = top.length + (1, width: 50}, thickness: = [1][0]}")))
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Parse("fuzz.yaml", data)
		if err == nil {
			d.Open = onlyFoot
			_, _, err = d.Resolve(nil)
		}
		if err == nil {
			return
		}
		var all Errors
		if !errors.As(err, &all) || len(all) == 0 {
			t.Fatalf("not Errors: %v", err)
		}
		for _, e := range all {
			if e.What == "" || e.Remedy == "" {
				t.Fatalf("incomplete: %+v", e)
			}
		}
	})
}

func FuzzParsePath(f *testing.F) {
	for _, s := range []string{"M0 0 H120 V40 C120 80 80 90 60 90 S20 80 0 40 Z", "m0,0l1-1.5.5z", "M0 0A1 1 0 1 0 2 2Z", "M", "M0 0Q1 1 2 0T4 0Z"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if p, err := ParsePath(s); err == nil && (len(p.Segs) == 0 || !p.Closed) {
			t.Fatalf("no closed path, but no error: %q", s)
		}
	})
}
