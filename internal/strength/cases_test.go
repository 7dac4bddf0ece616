package strength

import "testing"

func TestCasesOfExamples(t *testing.T) {
	for _, name := range []string{"heron-side-table", "badger-bench", "otter-stool", "tern-wall-shelf"} {
		t.Run(name, func(t *testing.T) {
			in := example(t, name)
			cs, fs := Cases(in.Piece, in.Cores, in.Joints, in.Shop)
			golden(t, name+"-cases.txt", table(in, cs, fs))
		})
	}
}
