//go:build outside

package stress_test

import (
	"math"
	"testing"
	"time"

	"groundwork/internal/geom"
	"groundwork/internal/piece"
)

func TestTryCCX(t *testing.T) {
	for _, name := range []string{"otter-stool.yaml"} {
		p := example(t, name)
		var cases []fem
		var probes []probe
		var marks map[string][]float64
		var pairs [][2]string
		if name[0] == 'h' {
			pairs = [][2]string{{"leg", "top"}, {"end-rail", "top"}, {"long-rail", "top"}, {"end-rail", "leg"}, {"foot-rail", "leg"}, {"long-rail", "leg"}, {"shelf", "foot-rail"}}
			marks = map[string][]float64{"shelf": {18, 324}}
			var rim []geom.Vec3
			e := p.Members[0].Board.Outline.Path.Segs[0]
			for i := range 40 {
				for j := range 22 {
					y := -19.5 + float64(i)
					x := e.Rx * math.Sqrt(1-y*y/e.Ry/e.Ry)
					rim = append(rim, geom.V3(x, y, 518.5+float64(j)))
				}
			}
			cases = []fem{
				{"middle", false, []push{{0, onDisc(geom.V3(0, 0, 540), 50), geom.V3(0, 0, -1000), 1e-4}}},
				{"edge", false, []push{{0, onDisc(geom.V3(175, 0, 540), 50), geom.V3(0, 0, -1000), 1e-4}}},
				{"side", false, []push{{0, rim, geom.V3(-100, 0, 0), 0.02}}},
				{"weight", true, nil},
			}
			probes = []probe{{"mid", 0, geom.V3(0, 0, 540)}, {"edge", 0, geom.V3(175, 0, 540)}, {"rim", 0, geom.V3(230, 0, 540)}}
		} else {
			pairs = [][2]string{{"leg", "seat"}}
			cases = []fem{
				{"middle", false, []push{{0, onDisc(geom.V3(0, 0, 440), 50), geom.V3(0, 0, -1000), 1e-4}}},
				{"edge", false, []push{{0, onDisc(geom.V3(110, 0, 440), 50), geom.V3(0, 0, -1000), 1e-4}}},
				{"weight", true, nil},
			}
			probes = []probe{{"mid", 0, geom.V3(0, 0, 440)}, {"edge", 0, geom.V3(110, 0, 440)}, {"rim", 0, geom.V3(165, 0, 440)}}
		}
		for _, o := range []struct {
			step    float64
			through int
			kind    string
		}{{20, 2, "C3D20R"}} {
			start := time.Now()
			m := meshOf(t, p, o.step, o.through, marks, pairs)
			t.Log(name, o, len(m.bricks), "bricks", len(m.nodes), "nodes", len(m.tieList), "tied", time.Since(start))
			for i, s := range m.ccx(t, o.kind, cases, probes) {
				t.Logf("%8s %v %v", cases[i].name, s.moved, s.reaction)
			}
			t.Log(time.Since(start))
		}
	}
	_ = piece.Table
}
