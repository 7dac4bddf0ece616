package scene

import (
	"bytes"
	"context"
	"fmt"
	"testing"

	"groundwork/examples"
)

func TestTree(t *testing.T) {
	for _, name := range examples.Pieces() {
		k, pl := planned(t, name)
		m := newMaker(pl)
		cores, err := m.cores(context.Background(), k, viewChord)
		if err != nil {
			t.Fatal(err)
		}
		a := takeApart(m, cores, true)
		var b bytes.Buffer
		var show func(x *assembly, in string)
		show = func(x *assembly, in string) {
			what := "-"
			if x.body >= 0 {
				what = m.bodies[x.body].ID
			}
			fmt.Fprintf(&b, "%s%s %.0f %.2f..%.2f\n", in, what, x.Away, x.From, x.To)
			for _, p := range x.parts {
				show(p, in+"  ")
			}
		}
		show(a.whole, "")
		t.Logf("%s %v shrink %.2f stages %v\n%s", name, a.size, a.shrink, a.stages, b.String())
	}
}
