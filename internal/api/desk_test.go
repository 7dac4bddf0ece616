package api

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"groundwork/internal/folder"
	"groundwork/internal/marks"
)

const table = "heron-side-table.yaml"

func TestPieceIsTold(t *testing.T) {
	c := serve(t, "")
	var f Folder
	c.must("GET", "/api/folder", nil, &f)
	if f.Path != c.dir || len(f.Pieces) != 1 || f.Pieces[0] != (PieceEntry{table, "heron-side-table", "Heron side table", "table", ""}) || len(f.Shops) != 1 || len(f.Library) != 4 || f.Photographs == nil || f.Solids == nil {
		t.Errorf("the folder is %+v", f)
	}
	p := c.piece(table)
	if p.Text != string(example(t, table)) || p.Version == "" || p.Shop != "shop.yaml" || p.ShopVersion == "" || p.MarksVersion != "" || len(p.Faults) != 0 || p.Undo != nil || p.Redo != nil {
		t.Errorf("the piece is %+v", p)
	}
	if len(p.Parameters) == 0 || p.Parameters[0] != (Parameter{Name: "height", Label: "Height", Kind: "length", Value: 540, Min: 420, Max: 700, Step: 5, Written: "540 mm", Pointer: "/parameters/height/value"}) {
		t.Errorf("its parameters are %+v", p.Parameters)
	}
	fixed, angles := 0, 0
	for _, q := range p.Parameters {
		if q.Fixed {
			fixed++
		}
		if q.Kind == "angle" {
			angles++
			if q.Value < 1 { // degrees, not radians
				t.Errorf("%s is %g", q.Name, q.Value)
			}
		}
	}
	if fixed == 0 {
		t.Error("no parameter is an expression")
	}
	if status, _ := c.do("GET", "/api/pieces/none.yaml", nil, nil); status != 404 {
		t.Errorf("a piece that is not there: status %d", status)
	}
}

func TestCopyPiece(t *testing.T) {
	c := serve(t, t.TempDir())
	var p Piece
	c.must("POST", "/api/pieces", PieceCopy{"otter-stool", "my-stool.yaml"}, &p)
	if p.File != "my-stool.yaml" || p.Shop != "shop.yaml" || len(p.Faults) != 0 || !strings.Contains(p.Text, "\nname: my-stool\n") {
		t.Errorf("the copy is %.300s with %q, %v", p.Text, p.Shop, p.Faults)
	}
	put(t, c.dir, "shop.yaml", []byte(strings.Replace(p.ShopText, "groundwork: 1", "# mine\ngroundwork: 1", 1)))
	c.must("POST", "/api/pieces", PieceCopy{"my-stool.yaml", "second.yaml"}, &p)
	if !strings.Contains(p.Text, "\nname: second\n") || !strings.Contains(p.ShopText, "# mine") {
		t.Errorf("the copy of the copy is %.300s", p.Text)
	}
	for _, k := range []struct {
		from, file string
		want       int
	}{
		{"otter-stool", "my-stool.yaml", 409}, {"no-such", "x.yaml", 404}, {"no-such.yaml", "x.yaml", 404}, {"shop", "x.yaml", 404},
		{"otter-stool", "x", 422}, {"otter-stool", "X Y.yaml", 422}, {"otter-stool", ".yaml", 422}, {"otter-stool", "x.marks.yaml", 422}, {"otter-stool", "x.stl", 422},
	} {
		if status, _ := c.do("POST", "/api/pieces", PieceCopy{k.from, k.file}, nil); status != k.want {
			t.Errorf("%s to %s: status %d, want %d", k.from, k.file, status, k.want)
		}
	}
	if b, _ := os.ReadFile(filepath.Join(c.dir, "my-stool.yaml")); !strings.Contains(string(b), "name: my-stool") {
		t.Error("a piece was written over")
	}
}

// Two windows on one piece: the first to save wins, the second is told what is
// there now, and each hears of the other.
func TestTwoWindows(t *testing.T) {
	c := serve(t, "")
	events := c.listen("/api/events")
	seen := c.piece(table)
	text := strings.Replace(seen.Text, "540 mm", "560 mm", 1)
	var first Piece
	c.must("PUT", "/api/pieces/"+table, PieceText{text, seen.Version, "one"}, &first)
	if e := until(t, events, "change"); e.data != `{"file":"`+table+`","version":"`+first.Version+`","view":"one"}` || e.id == "" {
		t.Errorf("the event is %+v", e)
	}
	for name, send := range map[string]func() (int, Problem){
		"text": func() (int, Problem) {
			return c.do("PUT", "/api/pieces/"+table, PieceText{seen.Text + "# two\n", seen.Version, "two"}, nil)
		},
		"a value": func() (int, Problem) {
			return c.do("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{{"piece", "/parameters/height/value", "700 mm"}}, Base: seen.Version, View: "two"}, nil)
		},
	} {
		status, p := send()
		if status != 409 || p.Current == nil || p.Current.Text != text || p.Current.Version != first.Version {
			t.Errorf("%s based on the old one: status %d, %+v", name, status, p)
		}
	}
	// An outside program saves it.
	time.Sleep(10 * time.Millisecond)
	put(t, c.dir, table, []byte(text+"# outside\n"))
	if e := until(t, events, "change"); !strings.HasSuffix(e.data, `"view":""}`) {
		t.Errorf("the event is %+v", e)
	}
	if now := c.piece(table); !strings.HasSuffix(now.Text, "# outside\n") || now.Undo == nil {
		t.Errorf("the piece is %+v", now)
	}
	// A window that was cut off is sent what it missed.
	c.must("PUT", "/api/pieces/"+table, PieceText{text, c.piece(table).Version, "one"}, nil)
	until(t, events, "change")
}

func TestChanges(t *testing.T) {
	c := serve(t, "")
	p := c.piece(table)
	var q Piece
	c.must("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{{"piece", "/parameters/height/value", "600 mm"}}, Base: p.Version, View: "v"}, &q)
	if q.Text != strings.Replace(p.Text, "540 mm", "600 mm", 1) || q.Parameters[0].Value != 600 {
		t.Errorf("the text is %s", q.Text)
	}
	if q.Undo == nil || q.Undo.What != "Height: 540 mm to 600 mm" || q.Redo != nil || time.Since(q.Undo.When) > time.Minute {
		t.Errorf("undo is %+v", q.Undo)
	}
	// One pull at a slider is one step.
	for _, v := range []string{"605 mm", "610 mm", "615 mm"} {
		c.must("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{{"piece", "/parameters/height/value", v}}, Base: q.Version, What: "Height: 600 mm to " + v, View: "v", Gather: "pull 1"}, &q)
	}
	c.must("POST", "/api/pieces/"+table+"/undo", ViewName{"v"}, &q)
	if q.Parameters[0].Value != 600 || q.Redo == nil || q.Redo.What != "Height: 600 mm to 615 mm" {
		t.Errorf("after undo the height is %g, redo %+v", q.Parameters[0].Value, q.Redo)
	}
	c.must("POST", "/api/pieces/"+table+"/undo", ViewName{"v"}, &q)
	if q.Text != p.Text || q.Undo != nil {
		t.Error("undone, it is not as it was")
	}
	if status, _ := c.do("POST", "/api/pieces/"+table+"/undo", ViewName{"v"}, nil); status != 409 {
		t.Errorf("nothing to undo: status %d", status)
	}
	c.must("POST", "/api/pieces/"+table+"/redo", ViewName{"v"}, &q)
	if q.Parameters[0].Value != 600 {
		t.Errorf("done again, the height is %g", q.Parameters[0].Value)
	}
	// Several documents at once, as one step.
	shop := q.ShopText
	c.must("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{
		{"piece", "/parameters/height/value", "620 mm"}, {"shop", "/name", "My own shop"},
	}, Base: q.Version, What: "Both"}, &q)
	if q.Parameters[0].Value != 620 || !strings.Contains(q.ShopText, "My own shop") || q.Undo.What != "Both" {
		t.Errorf("%g, %s", q.Parameters[0].Value, q.Undo.What)
	}
	c.must("POST", "/api/pieces/"+table+"/undo", ViewName{}, &q)
	if q.Parameters[0].Value != 600 || q.ShopText != shop {
		t.Error("undo left one of two files changed")
	}
	for _, k := range []struct {
		change Change
		base   string
		want   int
	}{
		{Change{"piece", "/parameters/none/value", "1 mm"}, q.Version, 422},
		{Change{"piece", "parameters", "1 mm"}, q.Version, 422},
		{Change{"piece", "/members", "1 mm"}, q.Version, 422},
		{Change{"nothing", "/name", "x"}, q.Version, 422},
		{Change{"piece", "/parameters/height/value", "1 mm"}, p.Version, 409},
	} {
		if status, _ := c.do("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{k.change}, Base: k.base}, nil); status != k.want {
			t.Errorf("%+v: status %d, want %d", k.change, status, k.want)
		}
	}
	if now := c.piece(table); now.Text != q.Text {
		t.Error("what was refused changed the piece")
	}
}

// Text with faults is saved, and they are told by line; a plan of it fails with
// the same faults; undo takes it back.
func TestFaults(t *testing.T) {
	c := serve(t, "")
	p := c.piece(table)
	var q Piece
	c.must("PUT", "/api/pieces/"+table, PieceText{Text: "groundwork: 1\nname: x\nuse: tabel\nmembers:\n  top: {board: {}}\n", Base: p.Version}, &q)
	if len(q.Faults) < 2 || q.Faults[0].File != table || q.Faults[0].Line != 1 && q.Faults[0].Line != 3 || q.Parameters == nil {
		t.Fatalf("the faults are %+v", q.Faults)
	}
	for _, f := range q.Faults {
		if f.Line < 1 || f.Message == "" || strings.Contains(f.Message, c.dir) {
			t.Errorf("a fault is %+v", f)
		}
	}
	var o Ordered
	c.must("POST", "/api/plans", PlanOrder{Piece: table}, &o)
	e := until(t, c.listen("/api/plans/"+o.ID+"/events"), "failed")
	if !strings.Contains(e.data, `"line":3`) || !strings.Contains(e.data, table+" has faults") {
		t.Errorf("the plan failed with %s", e.data)
	}
	if status, _ := c.do("GET", "/api/plans/"+o.ID+"/plan.json", nil, nil); status != 409 {
		t.Errorf("the plan of a faulty piece: status %d", status)
	}
	if status, problem := c.do("POST", "/api/pieces/"+table+"/changes", Changes{Changes: []Change{{"piece", "/name", "y"}}, Base: q.Version}, nil); status != 200 && len(problem.Faults) == 0 {
		t.Errorf("a change of a faulty text: status %d, %+v", status, problem)
	}
	c.must("PUT", "/api/pieces/"+table, PieceText{Text: "}{ \x00 not yaml", Base: c.piece(table).Version}, &q)
	if len(q.Faults) == 0 || q.Text != "}{ \x00 not yaml" {
		t.Errorf("what is no YAML is %+v", q)
	}
	var f Folder
	c.must("GET", "/api/folder", nil, &f)
	for range 3 {
		if q.Undo == nil {
			break
		}
		c.must("POST", "/api/pieces/"+table+"/undo", ViewName{}, &q)
	}
	if q.Text != p.Text || len(q.Faults) != 0 {
		t.Errorf("undone, it is not as it was: %+v", q.Faults)
	}
	// A shop with faults is told too.
	put(t, c.dir, "shop.yaml", []byte(strings.Replace(q.ShopText, "printers:", "printers: 7\nprintres:", 1)))
	if q = c.piece(table); len(q.Faults) == 0 || q.Faults[0].File != "shop.yaml" || q.Faults[0].Line < 1 {
		t.Errorf("the faults of the shop are %+v", q.Faults)
	}
}

func TestMarksAreKept(t *testing.T) {
	c := serve(t, "")
	m := marks.File{Groundwork: 1, Reserved: []marks.Reserved{{Sheet: "walnut-1", At: [2]float64{10, 20}, Size: [2]float64{30, 40}, What: "knot"}},
		Blanks: []marks.Blank{}, Photographs: []marks.Photograph{}}
	var p Piece
	c.must("PUT", "/api/pieces/"+table+"/marks", MarksText{Marks: m, What: "Knot marked", View: "v"}, &p)
	if len(p.Marks.Reserved) != 1 || p.MarksVersion == "" || p.Undo == nil || p.Undo.What != "Knot marked" {
		t.Errorf("the piece is %+v", p)
	}
	if b, err := os.ReadFile(filepath.Join(c.dir, folder.MarksFor(table))); err != nil || !strings.Contains(string(b), "knot") {
		t.Errorf("the file is %s, %v", b, err)
	}
	if status, q := c.do("PUT", "/api/pieces/"+table+"/marks", MarksText{Marks: m, Base: ""}, nil); status != 409 || q.Current == nil {
		t.Errorf("marks based on none: status %d", status)
	}
	m.Reserved[0].Size[0] = -5
	if status, q := c.do("PUT", "/api/pieces/"+table+"/marks", MarksText{Marks: m, Base: p.MarksVersion}, nil); status != 422 || len(q.Faults) == 0 {
		t.Errorf("an area less than nothing: status %d, %+v", status, q)
	}
	c.must("POST", "/api/pieces/"+table+"/undo", ViewName{}, &p)
	if len(p.Marks.Reserved) != 0 || p.Marks.Reserved == nil {
		t.Errorf("undone, the marks are %+v", p.Marks)
	}
	put(t, c.dir, folder.MarksFor(table), []byte("groundwork: 1\nreserved: 5\n"))
	if p = c.piece(table); len(p.Faults) == 0 || p.Faults[0].File != folder.MarksFor(table) || p.Faults[0].Line != 2 {
		t.Errorf("the faults are %+v", p.Faults)
	}
}

func TestBadRequests(t *testing.T) {
	c := serve(t, "")
	for _, k := range []struct {
		method, path, body, kind string
		want                     int
	}{
		{"PUT", "/api/pieces/" + table, `{"text": "x"}`, "application/json", 422},
		{"PUT", "/api/pieces/" + table, `{"text": "x", "base": ""}`, "application/json", 422},
		{"PUT", "/api/pieces/" + table, `{"text": 5, "base": "x"}`, "application/json", 422},
		{"PUT", "/api/pieces/" + table, `{"text": "x", "base": "x", "more": 1}`, "application/json", 422},
		{"PUT", "/api/pieces/" + table, `{`, "application/json", 400},
		{"PUT", "/api/pieces/" + table, ``, "application/json", 400},
		{"PUT", "/api/pieces/" + table, `text`, "text/plain", 415},
		{"PUT", "/api/pieces/" + table, `{"text": "` + strings.Repeat("x", 5<<20) + `"}`, "application/json", 413},
		{"POST", "/api/plans", `{"piece": "none.yaml"}`, "application/json", 404},
		{"POST", "/api/plans", `{"piece": "` + table + `", "remedies": true}`, "application/json", 422},
		{"POST", "/api/plans", `{"piece": "` + table + `", "set": {"height": 5}}`, "application/json", 422},
		{"GET", "/api/plans/none/plan.json", "", "", 404},
		{"GET", "/api/plans/none/scene.glb?of=all", "", "", 422},
		{"GET", "/api/plans/none/files/%2e%2e%2fplan.json", "", "", 404},
		{"POST", "/api/plans/none/improve", `{"seconds": -1}`, "application/json", 422},
		{"POST", "/api/plans/none/improve", `{"seconds": 1e9}`, "application/json", 422},
		{"POST", "/api/searches/none/stop", "", "", 404},
		{"PATCH", "/api/folder", "", "", 405},
	} {
		h := map[string]string{tokenHeader: c.token}
		if k.kind != "" {
			h["Content-Type"] = k.kind
		}
		status, text, header := c.send(k.method, k.path, strings.NewReader(k.body), h)
		if status != k.want || header.Get("Content-Type") != "application/problem+json" || !strings.Contains(text, `"remedy":"`) || strings.Contains(text, `"remedy":""`) {
			t.Errorf("%s %s %.60s: status %d, want %d: %.300s", k.method, k.path, k.body, status, k.want, text)
		}
	}
	if c.piece(table).Text != string(example(t, table)) {
		t.Error("what was refused changed the piece")
	}
}

// A solid in a folder below, changed by another program, makes another plan of
// a piece whose own file is as it was.
func TestSolidsAreLookedAt(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "parts"), 0o755); err != nil {
		t.Fatal(err)
	}
	text := "groundwork: 1\nname: brought\nuse: other\nsizes: finished\nmembers:\n  top: {solid: {file: ./parts/top.stl, unit: mm}}\n"
	put(t, dir, "brought.yaml", []byte(text))
	put(t, dir, "outside.yaml", []byte(strings.Replace(text, "./parts/top.stl", "../top.stl", 1)))
	put(t, dir, "shop.yaml", example(t, "shop.yaml"))
	put(t, filepath.Dir(dir), "top.stl", stl(300, 200, 19))
	put(t, filepath.Join(dir, "parts"), "top.stl", stl(300, 200, 19))
	c := serve(t, dir)
	if p := c.piece("brought.yaml"); len(p.Faults) != 0 {
		t.Fatalf("the faults are %+v", p.Faults)
	}
	if p := c.piece("outside.yaml"); len(p.Faults) == 0 || !strings.Contains(p.Faults[0].Message+p.Faults[0].Remedy, "outside the folder") {
		t.Errorf("a file outside the folder: %+v", p.Faults)
	}
	one := c.plan(PlanOrder{Piece: "brought.yaml"})
	if again := c.plan(PlanOrder{Piece: "brought.yaml"}); again != one {
		t.Error("nothing was changed, but it is another plan")
	}
	put(t, filepath.Join(dir, "parts"), "top.stl", stl(300, 200, 22))
	if now := c.plan(PlanOrder{Piece: "brought.yaml"}); now == one {
		t.Error("its solid is another, but it is the same plan")
	}
	if err := syscall.Mkfifo(filepath.Join(dir, "parts", "pipe.stl"), 0o644); err != nil {
		t.Fatal(err)
	}
	put(t, dir, "piped.yaml", []byte(strings.Replace(text, "top.stl", "pipe.stl", 1)))
	if p := c.piece("piped.yaml"); len(p.Faults) == 0 { // and it is told at once
		t.Error("a pipe was read")
	}
	put(t, filepath.Join(dir, "parts"), "top.stl", []byte("solid"))
	if p := c.piece("brought.yaml"); len(p.Faults) == 0 || p.Faults[0].Line != 6 {
		t.Errorf("a damaged solid: %+v", p.Faults)
	}
}
