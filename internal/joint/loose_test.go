package joint

import (
	"testing"

	"groundwork/internal/finding"
	"groundwork/internal/piece"
)

func TestLoose(t *testing.T) {
	members := []piece.Member{{ID: "top", Name: "top"}, {ID: "leg-1", Name: "leg"}, {ID: "leg-2", Name: "leg"}, {ID: "rail", Name: "rail"}}
	touch := []Contact{{A: Side{Member: 0}, B: Side{Member: 1}}, {A: Side{Member: 0}, B: Side{Member: 2}}}
	rule := func(a, b string) piece.JointRule { return piece.JointRule{Between: [2]string{a, b}, Line: 7} }
	for _, tt := range []struct {
		name  string
		rules []piece.JointRule
		asOne [][]int
		stops []string
		loose []string
	}{
		{"all meet but one member", []piece.JointRule{rule("leg", "top")}, nil, nil, []string{"rail"}},
		{"a rule that meets nowhere", []piece.JointRule{rule("top", "leg-2"), rule("leg", "rail")}, nil, []string{"leg:rail"}, []string{"rail"}},
		{"printed as one", []piece.JointRule{rule("rail", "leg")}, [][]int{{1, 3}}, nil, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var stops, loose []string
			for _, f := range Loose(&piece.Piece{Members: members, Joints: tt.rules, PrintAsOne: tt.asOne}, touch) {
				if f.Severity == finding.Stop {
					stops = append(stops, f.Subject)
					if f.Line != 7 || f.Remedy == "" {
						t.Errorf("%v lacks its place or remedy", f)
					}
				} else {
					loose = append(loose, f.Subject)
				}
			}
			if len(stops) != len(tt.stops) || len(loose) != len(tt.loose) || len(stops) > 0 && stops[0] != tt.stops[0] || len(loose) > 0 && loose[0] != tt.loose[0] {
				t.Errorf("stops %v, loose %v; want %v, %v", stops, loose, tt.stops, tt.loose)
			}
		})
	}
}
