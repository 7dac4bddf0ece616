package api

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"groundwork/internal/book"
	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/fixture"
	"groundwork/internal/job"
	"groundwork/internal/kit"
	"groundwork/internal/marks"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/schedule"
	"groundwork/internal/shop"
)

// What the maker chose stands beside the piece, is followed by its plan, and
// gives the files that the same options give without the page. What an order
// asks for takes its place.
func TestChoices(t *testing.T) {
	c := serveTrestle(t)
	var p Piece
	c.must("GET", "/api/pieces/trestle.yaml", nil, &p)
	usual := c.plan(PlanOrder{Piece: "trestle.yaml"})
	told := marks.Book{Paper: marks.Letter, Maker: "Wren & Daughter", Notes: "Keep it dry.\nOil it.", Licence: "own use", Templates: marks.Without, Inch: true}
	chosen := p.Marks
	chosen.Making = marks.Making{Start: "2027-01-11", Coupons: marks.Measured, Send: marks.Cores, Batches: []int{2, 7}}
	chosen.Book = told
	c.must("PUT", "/api/pieces/trestle.yaml/marks", MarksText{Marks: chosen, Base: p.MarksVersion, What: "Chosen"}, &p)
	if p.Marks.Making.Send != marks.Cores || p.Marks.Book.Maker != told.Maker || p.Undo == nil || p.Undo.What != "Chosen" {
		t.Errorf("%+v, %+v", p.Marks, p.Undo)
	}
	id := c.plan(PlanOrder{Piece: "trestle.yaml"})
	if id == usual {
		t.Error("it is the plan of before")
	}

	by := func(o plan.Options, w job.Options) []job.File {
		t.Helper()
		doc, err := piece.ParseFile(filepath.Join(c.dir, "trestle.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		q, found, err := doc.Resolve(nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := shop.ParseFile(filepath.Join(c.dir, "shop.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		o.Core = core.Options{Labels: true, Solids: true}
		o.Sheet.Marks = "trestle.marks.yaml"
		pl, err := plan.Make(t.Context(), c.s.kernel, q, s, o)
		if err != nil {
			t.Fatal(err)
		}
		pl.Findings = finding.Sorted(append(pl.Findings, found...))
		files, err := job.Files(t.Context(), c.s.kernel, pl, w)
		if err != nil {
			t.Fatal(err)
		}
		return files
	}
	same := func(id string, want []job.File) {
		t.Helper()
		var list []JobFile
		c.must("GET", "/api/plans/"+id+"/files", nil, &list)
		if len(list) != len(want) {
			t.Fatalf("%d files, want %d", len(list), len(want))
		}
		for i, w := range want {
			if _, got, _ := c.send("GET", "/api/plans/"+id+"/files/"+w.Name, nil, nil); list[i].Name != w.Name || got != string(w.Data) {
				t.Errorf("%s is another", w.Name)
			}
		}
	}
	monday := time.Date(2027, 1, 11, 0, 0, 0, 0, time.UTC)
	same(id, by(
		plan.Options{Fixture: fixture.Options{NoCoupons: true}, Schedule: schedule.Options{Start: monday}, Kit: kit.Options{Split: kit.Cores, Batches: []int{2, 7}}},
		job.Options{Maker: told.Maker, Notes: told.Notes, Licence: told.Licence, Book: book.Options{Paper: book.Letter, NoTemplates: true, Inch: true}},
	))
	var d job.Document
	c.must("GET", "/api/plans/"+id+"/plan.json", nil, &d)
	if d.Calendar == nil || !strings.HasPrefix(d.Calendar.Start, "2027-01-11") || d.Kit == nil || d.Kit.Split != "cores" || len(d.Kit.Prices) != 2 {
		t.Errorf("the calendar is %+v, the kit %+v", d.Calendar, d.Kit)
	}
	for _, f := range d.Fixtures {
		if f.Kind == string(fixture.Coupon) {
			t.Errorf("%s is made", f.ID)
		}
	}

	// The order's own, all but what it leaves to the marks.
	none, coupons := "", false
	own := c.plan(PlanOrder{Piece: "trestle.yaml", Start: &none, NoCoupons: &coupons, Send: "leaves", Book: &marks.Book{Maker: "Owl"}})
	same(own, by(plan.Options{Kit: kit.Options{Split: kit.Leaves, Batches: []int{2, 7}}}, job.Options{Maker: "Owl"}))
	if again := c.plan(PlanOrder{Piece: "trestle.yaml"}); again != id {
		t.Error("the same order is another plan")
	}
	// The marks are undone like everything else.
	c.must("POST", "/api/pieces/trestle.yaml/undo", ViewName{}, &p)
	if again := c.plan(PlanOrder{Piece: "trestle.yaml"}); again != usual {
		t.Error("after undo it is not the plan of before")
	}
	if _, err := os.Stat(filepath.Join(c.dir, "trestle.marks.yaml")); err == nil {
		t.Error("a marks file is left that undo should have taken away")
	}
}

// Choices that cannot be followed are refused before anything is planned or
// saved, with what to do.
func TestFaultyChoices(t *testing.T) {
	c := serveTrestle(t)
	for body, want := range map[string]string{
		`"start": "2027-02-29"`:                           "year, month and day",
		`"start": "tomorrow"`:                             "year, month and day",
		`"start": "11 January 2027"`:                      "errors",
		`"send": "everything"`:                            "errors",
		`"batches": [0]`:                                  "from 1 to 10000",
		`"batches": [10001]`:                              "from 1 to 10000",
		`"batches": [5, 5]`:                               "once",
		`"batches": [1.5]`:                                "errors",
		`"batches": [` + strings.Repeat("1, ", 20) + `1]`: "errors",
		`"noCoupons": "yes"`:                              "errors",
		`"book": {"paper": "a3"}`:                         "errors",
		`"book": {"maker": "a\nb"}`:                       "one line",
		`"book": {"notes": "` + strings.Repeat("é", 50001) + `"}`: "shorten",
		`"book": {"author": "a"}`:                                 "errors",
	} {
		status, q := c.do("POST", "/api/plans", json.RawMessage(`{"piece": "trestle.yaml", `+body+`}`), nil)
		if status != 422 || !strings.Contains(q.Remedy, want) {
			t.Errorf("%.60s: status %d, %+v", body, status, q)
		}
	}
	for body, want := range map[string]string{
		`"making": {"start": "2027-13-01"}`: "year, month and day",
		`"making": {"batches": [3, 3]}`:     "once",
		`"making": {"send": "all"}`:         "errors",
		`"book": {"licence": "a\tb"}`:       "one line",
	} {
		status, q := c.do("PUT", "/api/pieces/trestle.yaml/marks", json.RawMessage(`{"base": "", "what": "x", "marks": {"groundwork": 1, "reserved": [], "blanks": [], "photographs": [], `+body+`}}`), nil)
		if status != 422 || !strings.Contains(q.Remedy, want) {
			t.Errorf("%.60s: status %d, %+v", body, status, q)
		}
	}
	if _, err := os.Stat(filepath.Join(c.dir, "trestle.marks.yaml")); err == nil {
		t.Error("faulty marks were saved")
	}
}
