package joint

import (
	"fmt"
	"testing"
)

func TestTable(t *testing.T) {
	r := place(t, table(), bench())
	for _, c := range r.Contacts {
		fmt.Println(c.ID, c.A, c.B, c.Area, c.Frame.Origin, c.Region.Bounds())
	}
	for _, j := range r.Joints {
		fmt.Println(j.ID, j.Contact, j.Kind, j.Rule)
		for _, s := range j.Screws {
			fmt.Printf("   %+v\n", s)
		}
		for _, s := range j.Dowels {
			fmt.Printf("   %+v\n", s)
		}
		for _, s := range j.Bores {
			fmt.Printf("      %s m%d %v %v d%.2f l%.2f s%d shows%v\n", s.ID, s.Member, s.Mouth, s.Axis, s.Diameter, s.Depth, s.Surface, s.Shows)
		}
	}
	for _, f := range r.Findings {
		fmt.Println(f)
	}
}
