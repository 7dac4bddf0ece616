package job

import (
	"errors"
	"testing"
	"time"

	"groundwork/internal/book"
	"groundwork/internal/fixture"
	"groundwork/internal/kit"
	"groundwork/internal/marks"
	"groundwork/internal/plan"
	"groundwork/internal/schedule"

	"github.com/google/go-cmp/cmp"
)

func TestChosen(t *testing.T) {
	var p plan.Options
	var o Options
	m := marks.Making{Start: "2027-01-11", Coupons: marks.Measured, Send: marks.Leaves, Batches: []int{3}}
	b := marks.Book{Paper: marks.Letter, Maker: "Wren", Notes: "Dry.", Licence: "own use", Templates: marks.Without, Inch: true}
	if err := Chosen(m, b, &p, &o); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(schedule.Options{Start: time.Date(2027, 1, 11, 0, 0, 0, 0, time.UTC)}, p.Schedule); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(fixture.Options{NoCoupons: true}, p.Fixture); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(kit.Options{Split: kit.Leaves, Batches: []int{3}}, p.Kit); d != "" {
		t.Error(d)
	}
	want := Options{Maker: "Wren", Notes: "Dry.", Licence: "own use", Book: book.Options{Paper: book.Letter, Inch: true, NoTemplates: true}}
	if d := cmp.Diff(want, o); d != "" {
		t.Error(d)
	}
	// Nothing chosen is as if nothing were asked.
	p, o = plan.Options{}, Options{}
	if err := Chosen(marks.Making{}, marks.Book{}, &p, &o); err != nil || cmp.Diff(Options{}, o) != "" || !p.Schedule.Start.IsZero() || p.Fixture.NoCoupons || p.Kit.Split != "" || p.Kit.Batches != nil {
		t.Errorf("%+v, %+v, %v", p, o, err)
	}
	for _, c := range []struct {
		m marks.Making
		b marks.Book
	}{{m: marks.Making{Start: "soon"}}, {m: marks.Making{Batches: []int{0}}}, {b: marks.Book{Paper: "a3"}}} {
		var u *marks.Unfit
		if err := Chosen(c.m, c.b, &p, &o); !errors.As(err, &u) {
			t.Errorf("%+v: %v", c, err)
		}
	}
	// The words are those of the kit.
	if d := cmp.Diff([]kit.Split{marks.Ready, marks.Cores, marks.Leaves}, kit.Splits); d != "" {
		t.Error(d)
	}
}
