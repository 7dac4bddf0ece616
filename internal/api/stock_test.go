package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/job"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/store"
)

// stocked is a server with a stock of its own, in a folder that is not made yet.
func stocked(t *testing.T) (c *served, file string) {
	t.Helper()
	c = serveTrestle(t)
	file = filepath.Join(t.TempDir(), "data", store.FileName)
	c.s.stock.path = func() (string, error) { return file, nil }
	return c, file
}

// keys are those of a client.
func keys() func() StockDo {
	n := 0
	return func() StockDo { n++; return StockDo{Key: fmt.Sprintf("test-key-%d", n)} }
}

func (c *served) stock() (out Stock) {
	c.t.Helper()
	c.must("GET", "/api/stock", nil, &out)
	return out
}

// of is what there is of an item; zero if it is not told.
func (s Stock) of(kind, item string) StockItem {
	for _, it := range s.Items {
		if it.Kind == kind && it.Item == item {
			return it
		}
	}
	return StockItem{}
}

// other works on the stock as another program would, such as the command line.
func other(t *testing.T, file string, do func(s *store.Store)) {
	t.Helper()
	s, err := store.Open(t.Context(), file, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	do(s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// fill takes in all that a job takes but pieces of veneer: each load's filament on
// a spool of its own.
func (c *served) fill(j StockJob, do func() StockDo) {
	c.t.Helper()
	for _, n := range j.Needs {
		if n.Kind != "offcut" {
			c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: n.Kind, Item: n.Item, Unit: n.Unit, Amount: fmt.Sprintf("%g", n.Amount)}, nil)
		}
	}
}

// Looking makes no file; the first thing that comes in does.
func TestStockEmpty(t *testing.T) {
	c, file := stocked(t)
	if s := c.stock(); len(s.Items) != 0 || s.Items == nil || s.Jobs == nil {
		t.Errorf("it tells %+v", s)
	}
	var cal []StockCalibration
	c.must("GET", "/api/stock/calibration", nil, &cal)
	if status, _ := c.do("GET", "/api/stock/jobs/stool-1", nil, nil); status != 404 {
		t.Errorf("a job of nowhere: status %d", status)
	}
	c.plan(PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-1"})
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("looking made a file: %v", err)
	}
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: keys()(), Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg"}, nil)
	if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
}

func TestStockEntries(t *testing.T) {
	c, file := stocked(t)
	do := keys()
	events := c.listen("/api/events")
	var got StockEntered
	spool := StockEntry{StockDo: do(), Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg", Cost: "22 EUR"}
	spool.View = "a"
	c.must("POST", "/api/stock/entries", spool, &got)
	if got != (StockEntered{"filament", "abs", "1", 1000, "g"}) {
		t.Errorf("a spool came in as %+v", got)
	}
	if e := until(t, events, "stock"); !strings.Contains(e.data, `"a"`) {
		t.Errorf("windows are told %s", e.data)
	}
	// The answer was lost, and it is sent again: nothing is done twice.
	var again StockEntered
	c.must("POST", "/api/stock/entries", spool, &again)
	if again != got {
		t.Errorf("sent again: %+v", again)
	}
	// The key of one deed is not good for another.
	if status, p := c.do("POST", "/api/stock/entries", StockEntry{StockDo: spool.StockDo, Do: "count", Kind: "filament", Item: "abs", Lot: "1", Amount: "3 g"}, nil); status != 422 {
		t.Errorf("a count without a reason: %d %s", status, p.Detail)
	}
	twice := spool.StockDo
	twice.Reason = "weighed"
	if status, p := c.do("POST", "/api/stock/entries", StockEntry{StockDo: twice, Do: "count", Kind: "filament", Item: "abs", Lot: "1", Amount: "3 g"}, nil); status != 409 {
		t.Errorf("a key used twice: %d %s", status, p.Detail)
	}
	// A piece with a slanted side and a knot.
	c.must("POST", "/api/stock/entries", StockEntry{
		StockDo: do(), Do: "add", Kind: "offcut", Item: "walnut", Outline: [][2]float64{{0, 0}, {300, 0}, {300, 200}, {0, 480}}, Reserved: []StockArea{{[2]float64{20, 30}, [2]float64{40, 60}}},
	}, &got)
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "consumable", Item: "seam-glue", Unit: "ml", Amount: "0.25 l"}, nil)
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "price", Kind: "consumable", Item: "seam-glue", Price: "9 EUR for 1 l"}, nil)
	count := StockEntry{StockDo: do(), Do: "count", Kind: "filament", Item: "abs", Lot: "1", Amount: "640 g"}
	count.Reason = "weighed"
	c.must("POST", "/api/stock/entries", count, nil)
	s := c.stock()
	if it := s.of("filament", "abs"); it.There != 640 || len(it.Lots) != 1 || it.Price != "22.00 EUR for 1 kg" {
		t.Errorf("abs: %+v", it)
	}
	if it := s.of("offcut", "walnut"); got.Lot != "1" || len(it.Lots) != 1 || it.Lots[0].Piece == nil || len(it.Lots[0].Piece.Outline) != 4 || len(it.Lots[0].Piece.Reserved) != 1 || it.Lots[0].Piece.Size != [2]float64{300, 480} {
		t.Errorf("the piece came back as %+v", it)
	}
	if it := s.of("consumable", "seam-glue"); it.There != 250 || it.Unit != "ml" || it.Price != "9.00 EUR for 1 l" {
		t.Errorf("glue: %+v", it)
	}
	// 640/1000 of 22, and 250/1000 of 9, reckoned by hand.
	if len(s.Worth) != 1 || s.Worth[0] != "16.33 EUR" || s.Unpriced != 1 {
		t.Errorf("worth %v, without %d", s.Worth, s.Unpriced)
	}
	// The command line sees the same, and the page what it does.
	other(t, file, func(st *store.Store) {
		if _, err := st.Add(t.Context(), store.Receipt{Item: store.Item{Kind: store.Filament, ID: "abs"}, Amount: store.Of(500)}); err != nil {
			t.Error(err)
		}
		wrong, err := st.Check(t.Context())
		if err != nil || len(wrong) > 0 {
			t.Errorf("the ledger: %v %v", wrong, err)
		}
	})
	if it := c.stock().of("filament", "abs"); it.There != 1140 {
		t.Errorf("the page sees %g g of what the command line brought", it.There)
	}
	for name, e := range map[string]StockEntry{
		"no amount":          {Do: "add", Kind: "filament", Item: "abs", Amount: "much"},
		"half a screw":       {Do: "add", Kind: "hardware", Item: "M6 x 40 cap screw", Amount: "1.5"},
		"less than nothing":  {Do: "add", Kind: "filament", Item: "abs", Amount: "-3 g"},
		"a name with a bell": {Do: "add", Kind: "hardware", Item: "screw\a", Amount: "1"},
		"a way out":          {Do: "add", Kind: "filament", Item: "abs", Lot: "../../x", Amount: "1 kg"},
		"no outline":         {Do: "add", Kind: "offcut", Item: "walnut"},
		"crossed outline":    {Do: "add", Kind: "offcut", Item: "walnut", Outline: [][2]float64{{0, 0}, {10, 10}, {10, 0}, {0, 10}}},
		"outline of screws":  {Do: "add", Kind: "hardware", Item: "x", Amount: "1", Outline: [][2]float64{{0, 0}, {10, 0}, {10, 10}}},
		"no currency":        {Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg", Cost: "22"},
		"new, no unit":       {Do: "add", Kind: "consumable", Item: "filler", Amount: "3"},
		"no kind":            {Do: "add", Kind: "boat", Item: "x", Amount: "1"},
		"no deed":            {Do: "steal", Kind: "filament", Item: "abs", Amount: "1 kg"},
		"short key":          {StockDo: StockDo{Key: "k"}, Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg"},
		"price of nothing":   {Do: "price", Kind: "filament", Item: "abs", Price: "3 EUR for 0"},
	} {
		if e.Key == "" {
			e.StockDo = do()
		}
		if status, p := c.do("POST", "/api/stock/entries", e, nil); status != 422 {
			t.Errorf("%s: status %d: %s", name, status, p.Detail)
		}
	}
	if status, p := c.do("POST", "/api/stock/entries", StockEntry{StockDo: StockDo{Key: "count-of-none", Reason: "x"}, Do: "count", Kind: "filament", Item: "pla", Lot: "7", Amount: "1 g"}, nil); status != 404 {
		t.Errorf("a count of what never was: %d %s", status, p.Detail)
	}
	// Without the token nothing is entered.
	if status, _, _ := c.send("POST", "/api/stock/entries", strings.NewReader(`{}`), map[string]string{"Content-Type": "application/json"}); status != 403 {
		t.Errorf("without the token: status %d", status)
	}
	if now := c.stock(); len(now.Items) != 3 {
		t.Errorf("what was refused left %+v", now.Items)
	}
}

// From a plan to the box and back: what is short is told, all of it is laid
// aside, loads are logged, the offcuts come back, and the next plan is cut from
// them.
func TestStockJob(t *testing.T) {
	c, _ := stocked(t)
	do := keys()
	id := c.plan(PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-1"})
	var r StockReserved
	c.must("POST", "/api/plans/"+id+"/reserve", StockReserve{StockDo: do(), Job: "trestle-1"}, &r)
	if len(r.Taken) != 0 || len(r.Short) != len(r.Job.Needs) || len(r.Short) == 0 || r.Job.State != "planned" {
		t.Fatalf("with nothing in stock: %d taken, %d short of %d, %s", len(r.Taken), len(r.Short), len(r.Job.Needs), r.Job.State)
	}
	if len(r.Job.Plan) == 0 || len(r.Job.Leaves) == 0 {
		t.Fatalf("it has %d loads and leaves %d pieces", len(r.Job.Plan), len(r.Job.Leaves))
	}
	const at = "/api/stock/jobs/trestle-1"
	if status, p := c.do("POST", at+"/finish", StockFinish{StockDo: do()}, nil); status != 409 || !strings.Contains(p.Detail, "nothing is laid aside") {
		t.Errorf("finished before it was begun: %d %s", status, p.Detail)
	}
	c.fill(r.Job, do)
	c.must("POST", at+"/reserve", do(), &r)
	if len(r.Short) != 0 || len(r.Taken) == 0 || r.Job.State != "reserved" {
		t.Fatalf("still short: %+v", r.Short)
	}
	s := c.stock()
	if it := s.of("sheet", "walnut"); it.Reserved != it.There || it.Lots[0].Holds[0].Job != "trestle-1" {
		t.Errorf("sheets: %+v", it)
	}
	// A load is logged once though it is sent twice.
	load := r.Job.Plan[0]
	spool := ""
	for _, x := range r.Taken {
		if x.Kind == "filament" && x.Item == load.Filament {
			spool = x.Lot
		}
	}
	was := s.of("filament", load.Filament).There
	print := StockPrint{StockDo: do(), Load: load.Load, Took: "3 h 20 min", Grams: "1.5 g", Spool: spool}
	var j StockJob
	for range 2 {
		c.must("POST", at+"/print", print, &j)
	}
	if len(j.Runs) != 1 || j.Runs[0].Seconds != 12000 || j.Runs[0].Grams != 1.5 || j.Logged != 1 {
		t.Errorf("logged: %+v", j.Runs)
	}
	if now := c.stock().of("filament", load.Filament).There; now != was-1.5 {
		t.Errorf("%g g are there, before %g", now, was)
	}
	for name, e := range map[string]struct {
		e      StockPrint
		status int
	}{
		"no time":       {StockPrint{Load: load.Load, Took: "long", Grams: "3 g"}, 422},
		"a length":      {StockPrint{Load: load.Load, Took: "3 mm", Grams: "3 g"}, 422},
		"no grams":      {StockPrint{Load: load.Load, Took: "3 h", Grams: "some"}, 422},
		"no such load":  {StockPrint{Load: "load-99", Took: "3 h", Grams: "3 g"}, 404},
		"no such spool": {StockPrint{Load: load.Load, Took: "3 h", Grams: "3 g", Spool: "99"}, 404},
		"no printer":    {StockPrint{Load: load.Load, Took: "3 h", Grams: "3 g", Printer: "wren"}, 404},
		"more than all": {StockPrint{Load: load.Load, Took: "3 h", Grams: "90 kg", Spool: spool}, 409},
	} {
		e.e.StockDo = do()
		if status, p := c.do("POST", at+"/print", e.e, nil); status != e.status {
			t.Errorf("%s: status %d: %s", name, status, p.Detail)
		}
	}
	finish := StockFinish{StockDo: do()}
	var f, twice StockFinished
	c.must("POST", at+"/finish", finish, &f)
	c.must("POST", at+"/finish", finish, &twice)
	if f.Job.State != "finished" || len(f.Back) != len(r.Job.Leaves) || f.Back[0].Lot != "1" || f.Back[0].Piece == nil {
		t.Errorf("finished: %+v", f)
	}
	if fmt.Sprint(twice.Back[0].Lot, len(twice.Back)) != fmt.Sprint(f.Back[0].Lot, len(f.Back)) {
		t.Errorf("finished twice: %+v", twice.Back)
	}
	s = c.stock()
	if it := s.of("offcut", "walnut"); len(it.Lots) != len(f.Back) || it.Lots[0].Piece.From != "walnut sheet" {
		t.Errorf("back in stock: %+v", it)
	}
	if it := s.of("sheet", "walnut"); it.There != 0 || it.Reserved != 0 {
		t.Errorf("sheets that were cut: %+v", it)
	}
	for path, in := range map[string]any{"/print": StockPrint{StockDo: do(), Load: load.Load, Took: "1 h", Grams: "1 g"}} { // still may be logged
		c.must("POST", at+path, in, nil)
	}
	for _, path := range []string{"/finish", "/abandon", "/release", "/reserve"} {
		if status, p := c.do("POST", at+path, do(), nil); status != 409 || !strings.Contains(p.Detail, "finished already") {
			t.Errorf("%s of what is finished: %d %s", path, status, p.Detail)
		}
	}
	if status, p := c.do("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-1"}, nil); status != 409 {
		t.Errorf("planned again under its name: %d %s", status, p.Detail)
	}

	// The next is cut from what the first left, and that is another plan than one
	// that does not go by the stock.
	var a, b Ordered
	c.must("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-2"}, &a)
	c.must("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml"}, &b)
	if a.ID == b.ID {
		t.Error("with the stock and without it is one plan")
	}
	id = c.plan(PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-2"})
	c.must("POST", "/api/plans/"+id+"/reserve", StockReserve{StockDo: do(), Job: "trestle-2"}, &r)
	piece := false
	for _, n := range r.Job.Needs {
		piece = piece || n.Kind == "offcut"
	}
	if !piece {
		t.Errorf("it takes no offcut: %+v", r.Job.Needs)
	}
	c.must("POST", "/api/stock/jobs/trestle-2/abandon", do(), &j)
	if j.State != "abandoned" {
		t.Errorf("given up it is %s", j.State)
	}
	var cal []StockCalibration
	c.must("GET", "/api/stock/calibration", nil, &cal)
	if len(cal) != 1 || cal[0].Time.Runs != 2 || cal[0].Time.Claimed {
		t.Errorf("two runs say %+v", cal)
	}
}

// A plan that goes by the stock has the bytes of one that the command line makes
// of the same stock.
func TestStockPlan(t *testing.T) {
	c, file := stocked(t)
	do := keys()
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "offcut", Item: "walnut", Outline: [][2]float64{{0, 0}, {420, 0}, {420, 600}, {0, 600}}}, nil)
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "offcut", Item: "birch", Outline: [][2]float64{{0, 0}, {420, 0}, {420, 600}}}, nil)
	var o Ordered
	order := PlanOrder{Piece: "trestle.yaml", Stock: true, Job: "trestle-1"}
	c.must("POST", "/api/plans", order, &o)
	if len(o.Findings) != 1 || o.Findings[0].Code != "stock-unknown-veneer" {
		t.Errorf("of a veneer that the shop has not: %+v", o.Findings)
	}
	id := c.plan(order)
	_, text, _ := c.send("GET", "/api/plans/"+id+"/plan.json", nil, nil)

	doc, err := piece.ParseFile(filepath.Join(c.dir, "trestle.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, found, err := doc.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.ParseFile(filepath.Join(c.dir, "shop.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	other(t, file, func(st *store.Store) {
		has, err := st.Stock(t.Context(), store.StockOptions{})
		if err != nil {
			t.Fatal(err)
		}
		s, _ = has.Overlay(s, "trestle-1")
	})
	pl, err := plan.Make(t.Context(), c.s.kernel, p, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	pl.Findings = finding.Sorted(append(pl.Findings, found...))
	want, err := job.Encode(pl, job.Names{})
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(want, []byte(text)) {
		t.Error("it is another plan")
	}
	if pl.Sheets.Sheets[0].Kept != "1" {
		t.Errorf("it is not cut from the offcut: %+v", pl.Sheets.Sheets[0])
	}
	// The order of another window with the same stock is the same plan; when the
	// stock is another, it is another.
	order.View = "other"
	var same, after Ordered
	c.must("POST", "/api/plans", order, &same)
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "offcut", Item: "walnut", Outline: [][2]float64{{0, 0}, {400, 0}, {400, 500}, {0, 500}}}, nil)
	c.must("POST", "/api/plans", order, &after)
	if same.ID != id || after.ID == id {
		t.Errorf("plans %s, %s, %s", id, same.ID, after.ID)
	}
}

// Of two windows that lay aside the last of something at once, one has it; and
// nothing that many enter at once is lost.
func TestStockTogether(t *testing.T) {
	c, file := stocked(t)
	do := keys()
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "offcut", Item: "walnut", Outline: [][2]float64{{0, 0}, {420, 0}, {420, 600}, {0, 600}}}, nil)
	plans := map[string]string{}
	for _, name := range []string{"a", "b"} {
		plans[name] = c.plan(PlanOrder{Piece: "trestle.yaml", View: name, Stock: true, Job: name})
	}
	var r StockReserved
	c.must("POST", "/api/plans/"+plans["a"]+"/reserve", StockReserve{StockDo: do(), Job: "c"}, &r)
	for range 2 { // enough for both but for the offcut
		c.fill(r.Job, do)
	}
	c.must("POST", "/api/stock/jobs/c/abandon", do(), nil)
	var all sync.WaitGroup
	got := map[string]*StockReserved{"a": {}, "b": {}}
	for name, out := range got {
		ask := StockReserve{StockDo: do(), Job: name}
		all.Go(func() { c.must("POST", "/api/plans/"+plans[name]+"/reserve", ask, out) })
	}
	const many = 12
	for i := range many {
		e := StockEntry{StockDo: StockDo{Key: fmt.Sprintf("together-%d", i/2)}, Do: "add", Kind: "hardware", Item: "dowel", Amount: "1"} // each sent twice at once
		all.Go(func() { c.must("POST", "/api/stock/entries", e, nil) })
		all.Go(func() { c.must("GET", "/api/stock", nil, &Stock{}) })
	}
	all.Wait()
	first, second := got["a"], got["b"]
	if len(first.Short) > 0 {
		first, second = second, first
	}
	if len(first.Short) != 0 || len(first.Taken) == 0 || len(second.Taken) != 0 || len(second.Short) != 1 || second.Short[0].Kind != "offcut" || second.Short[0].Holds[0].Job != first.Job.Job {
		t.Errorf("one has %+v, the other %+v", first, second)
	}
	if n := c.stock().of("hardware", "dowel").There; n != many/2 {
		t.Errorf("%g dowels, want %d", n, many/2)
	}
	other(t, file, func(st *store.Store) {
		if wrong, err := st.Check(t.Context()); err != nil || len(wrong) > 0 {
			t.Errorf("the ledger: %v %v", wrong, err)
		}
	})
}

// Names of jobs are names, whatever is in them.
func TestStockHostile(t *testing.T) {
	c, file := stocked(t)
	do := keys()
	id := c.plan(PlanOrder{Piece: "trestle.yaml"})
	for _, name := range []string{"..", ".", "a/b", `a\b`, " a", "a\nb", "\x00", strings.Repeat("x", 101), ""} {
		if status, p := c.do("POST", "/api/plans/"+id+"/reserve", StockReserve{StockDo: do(), Job: name}, nil); status != 422 {
			t.Errorf("%q: status %d: %s", name, status, p.Detail)
		}
	}
	for _, name := range []string{"Tisch für Wren; DROP TABLE job; --", "a%2fb", "<img src=x onerror=alert(1)>", "'\"`", "日本", "a?b#c"} {
		var r StockReserved
		c.must("POST", "/api/plans/"+id+"/reserve", StockReserve{StockDo: do(), Job: name}, &r)
		var j StockJob
		c.must("GET", "/api/stock/jobs/"+url.PathEscape(name), nil, &j)
		if r.Job.Job != name || j.Job != name {
			t.Errorf("%q became %q and %q", name, r.Job.Job, j.Job)
		}
		c.must("POST", "/api/stock/jobs/"+url.PathEscape(name)+"/abandon", do(), nil)
	}
	// The command line takes names that hold slashes.
	other(t, file, func(st *store.Store) {
		if err := st.Plan(t.Context(), store.Job{ID: "a/../b", Piece: "x"}, store.Note{}); err != nil {
			t.Fatal(err)
		}
	})
	var j StockJob
	c.must("GET", "/api/stock/jobs/a%2F..%2Fb", nil, &j)
	if j.Job != "a/../b" {
		t.Errorf("it is %q", j.Job)
	}
	// Another piece's job is not taken over.
	other(t, file, func(st *store.Store) {
		if err := st.Plan(t.Context(), store.Job{ID: "stool-1", Piece: "stool"}, store.Note{}); err != nil {
			t.Fatal(err)
		}
	})
	if status, p := c.do("POST", "/api/plans/"+id+"/reserve", StockReserve{StockDo: do(), Job: "stool-1"}, nil); status != 409 {
		t.Errorf("the job of another piece: %d %s", status, p.Detail)
	}
}

// A stock that cannot be opened is told, and nothing in it is changed.
func TestStockRefused(t *testing.T) {
	c, file := stocked(t)
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Dir(file), store.FileName, []byte("this is no database, but somebody's letter"))
	status, p := c.do("GET", "/api/stock", nil, nil)
	if status != 503 || p.Remedy == "" {
		t.Errorf("status %d: %s", status, p.Detail)
	}
	if data, _ := os.ReadFile(file); string(data) != "this is no database, but somebody's letter" {
		t.Error("the letter was written over")
	}
	c.s.stock.path = nil
	if status, _ := c.do("GET", "/api/stock", nil, nil); status != 503 {
		t.Errorf("without a place: status %d", status)
	}
	c.s.stock.path = func() (string, error) { return filepath.Join(c.dir, "shop.yaml", store.FileName), nil } // a file is no folder
	if status, p := c.do("POST", "/api/stock/entries", StockEntry{StockDo: keys()(), Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg"}, nil); status != 500 {
		t.Errorf("in a file: status %d: %s", status, p.Detail)
	}
	// A backup can be put in its place while the server runs: it holds nothing open.
	c.s.stock.path = func() (string, error) { return file, nil }
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	do := keys()
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg"}, nil)
	backup := filepath.Join(t.TempDir(), "backup.db")
	other(t, file, func(st *store.Store) {
		if _, err := st.Backup(t.Context(), backup); err != nil {
			t.Fatal(err)
		}
	})
	c.must("POST", "/api/stock/entries", StockEntry{StockDo: do(), Do: "add", Kind: "filament", Item: "abs", Amount: "1 kg"}, nil)
	if _, err := store.Restore(t.Context(), file, backup, time.Now); err != nil {
		t.Fatal(err)
	}
	if n := c.stock().of("filament", "abs").There; n != 1000 {
		t.Errorf("after the backup was put back there are %g g", n)
	}
}

// Whatever is sent, the answer is a problem or the stock, and the ledger is whole.
func FuzzStockEntry(f *testing.F) {
	f.Add(`{"key": "12345678", "do": "add", "kind": "filament", "item": "abs", "amount": "1 kg"}`)
	f.Add(`{"key": "12345679", "do": "count", "kind": "filament", "item": "abs", "lot": "1", "amount": "0", "reason": "gone"}`)
	f.Add(`{"key": "1234567a", "do": "add", "kind": "offcut", "item": "w", "outline": [[0,0],[1e300,0],[0,1e300]]}`)
	dir := f.TempDir()
	s := &stock{path: func() (string, error) { return filepath.Join(dir, store.FileName), nil }, news: newJournal(10)}
	f.Fuzz(func(t *testing.T, text string) {
		var e StockEntry
		if json.Unmarshal([]byte(text), &e) != nil {
			return
		}
		_, err := s.entry(t.Context(), &struct{ Body StockEntry }{e})
		if p, ok := err.(*Problem); err != nil && (!ok || p.Status >= 500) {
			t.Errorf("%v", err)
		}
	})
}
