package joint_test

import (
	"context"
	"fmt"
	"testing"

	"groundwork/internal/joint"
	"groundwork/internal/piece"
	"groundwork/internal/veneer"
)

// TestRoundJointsOnTheirCores: screws across round contacts hold their
// distances in the cores that the veneer leaves, too.
func TestRoundJointsOnTheirCores(t *testing.T) {
	s := joint.Bench()
	s.Veneers[0].Sheet.X, s.Veneers[0].Sheet.Y = 610, 2440
	for _, sizes := range []piece.Sizes{piece.Finished, piece.CoreSize} {
		pieces := joint.RoundPieces()
		for _, p := range joint.RoundPieces() {
			pieces = append(pieces, joint.AsSolids(t, p))
		}
		for i, p := range pieces {
			p.Sizes = sizes
			name := fmt.Sprintf("piece %d, %s", i, sizes)
			r, err := joint.Place(context.Background(), *joint.Kernel, p, s, joint.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if len(r.Rounds) == 0 || len(r.Joints[len(r.Joints)-1].Screws) == 0 {
				t.Errorf("%s: no screw: %v", name, r.Findings)
			}
			l, err := veneer.Lay(context.Background(), *joint.Kernel, p, r.Contacts, r.Rounds, s, veneer.Options{})
			if err != nil {
				t.Fatal(err)
			}
			cores := *p
			cores.Members = l.Cores
			for _, f := range joint.Verify(p, r, s) {
				t.Errorf("%s: %v", name, f)
			}
			for _, f := range joint.Verify(&cores, r, s) {
				t.Errorf("%s, cores: %v", name, f)
			}
		}
	}
}
