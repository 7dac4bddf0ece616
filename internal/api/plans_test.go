package api

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"groundwork/internal/core"
	"groundwork/internal/finding"
	"groundwork/internal/job"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/specimen"
)

// serveTrestle serves a folder with the trestle and the library's shop.
func serveTrestle(t *testing.T) *served {
	t.Helper()
	dir := t.TempDir()
	put(t, dir, "trestle.yaml", []byte(specimen.Trestle))
	put(t, dir, "shop.yaml", example(t, "shop.yaml"))
	return serve(t, dir)
}

// A job folder that is fetched from the page is that of a plan made by itself:
// file by file, and in the zip.
func TestJobFolder(t *testing.T) {
	c := serveTrestle(t)
	id := c.plan(PlanOrder{Piece: "trestle.yaml", Set: map[string]string{"wide": "260 mm"}})
	doc, err := piece.ParseFile(filepath.Join(c.dir, "trestle.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	p, found, err := doc.Resolve(map[string]string{"wide": "260 mm"})
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.ParseFile(filepath.Join(c.dir, "shop.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	pl, err := plan.Make(t.Context(), c.s.kernel, p, s, plan.Options{Core: core.Options{Labels: true, Solids: true}})
	if err != nil {
		t.Fatal(err)
	}
	pl.Findings = finding.Sorted(append(pl.Findings, found...))
	want, err := job.Files(t.Context(), c.s.kernel, pl, job.Options{})
	if err != nil {
		t.Fatal(err)
	}
	// A file that is asked for alone is made alone.
	alone := map[string]string{}
	for _, w := range want {
		_, alone[w.Name], _ = c.send("GET", "/api/plans/"+id+"/files/"+w.Name, nil, nil)
	}
	made, err := c.s.plans.bench.find(id)
	if err != nil {
		t.Fatal(err)
	}
	if files, _, _ := made.job.have(""); files != nil {
		t.Errorf("all %d files were made, and only single ones asked for", len(files))
	}
	var list []JobFile
	c.must("GET", "/api/plans/"+id+"/files", nil, &list)
	_, text, h := c.send("GET", "/api/plans/"+id+"/job.zip", nil, nil)
	_, again, _ := c.send("GET", "/api/plans/"+id+"/job.zip", nil, nil)
	if text != again || h.Get("Content-Disposition") != "attachment; filename=test-trestle-job.zip" || h.Get("Content-Type") != "application/zip" {
		t.Errorf("the zip is not twice the same, or its head is %v", h)
	}
	z, err := zip.NewReader(strings.NewReader(text), int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != len(want) || len(z.File) != len(want) {
		t.Fatalf("%d files in the list, %d in the zip, want %d", len(list), len(z.File), len(want))
	}
	for i, w := range want {
		r, err := z.File[i].Open()
		if err != nil {
			t.Fatal(err)
		}
		zipped, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		_, single, head := c.send("GET", "/api/plans/"+id+"/files/"+w.Name, nil, nil)
		if list[i] != (JobFile{w.Name, len(w.Data)}) || z.File[i].Name != w.Name || !bytes.Equal(zipped, w.Data) || single != string(w.Data) || alone[w.Name] != string(w.Data) {
			t.Errorf("%s is another: %+v", w.Name, list[i])
		}
		if head.Get("Content-Disposition") == "" || strings.HasPrefix(head.Get("Content-Type"), "text/html") {
			t.Errorf("%s: %v", w.Name, head)
		}
	}
	_, text, _ = c.send("GET", "/api/plans/"+id+"/plan.json", nil, nil)
	if text != string(want[len(want)-1].Data) {
		t.Error("plan.json is another")
	}
	for _, bad := range []string{"../plan.json", "%2e%2e%2fplan.json", "core", "core/", "nothing", "core%2fcards.txt%00"} {
		if status, _, _ := c.send("GET", "/api/plans/"+id+"/files/"+bad, nil, nil); status != 404 && status != 307 && status != 301 {
			t.Errorf("%s: status %d", bad, status)
		}
	}
}

// What is known of a plan early can be had before it is made, and is told again
// to who comes late.
func TestPlanEvents(t *testing.T) {
	c := serveTrestle(t)
	var o, same Ordered
	c.must("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml", View: "a"}, &o)
	c.must("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml", View: "b"}, &same)
	if o.ID != same.ID {
		t.Error("equal orders are two plans")
	}
	events := c.listen("/api/plans/" + o.ID + "/events")
	if e := next(t, events); e.name != "stage" || e.id != "1" || !strings.Contains(e.data, `"total":`) {
		t.Errorf("it begins with %+v", e)
	}
	until(t, events, "geometry")
	var early, whole job.Document
	c.must("GET", "/api/plans/"+o.ID+"/geometry", nil, &early)
	until(t, events, "done")
	until(t, events, "over")
	c.must("GET", "/api/plans/"+o.ID+"/plan.json", nil, &whole)
	if len(early.Members) != 3 || len(early.Patterns) == 0 || len(early.Joints) != len(whole.Joints) || early.Segments == nil || len(whole.Segments) == 0 {
		t.Errorf("early there are %d members, %d patterns, %d segments", len(early.Members), len(early.Patterns), len(early.Segments))
	}
	var names []string
	for e := range c.listen("/api/plans/" + o.ID + "/events") {
		names = append(names, e.name)
	}
	if names[0] != "stage" || !slices.Contains(names, "geometry") || names[len(names)-1] != "done" {
		t.Errorf("who comes late is told %v", names)
	}
	for _, of := range []string{"geometry", "whole", "fixtures"} {
		_, b, h := c.send("GET", "/api/plans/"+o.ID+"/scene.glb?of="+of, nil, nil)
		// Header of a GLB file: magic, version, length (glTF 2.0 section 4.4.2).
		if len(b) < 12 || b[:4] != "glTF" || binary.LittleEndian.Uint32([]byte(b[4:])) != 2 || int(binary.LittleEndian.Uint32([]byte(b[8:]))) != len(b) || h.Get("Content-Type") != "model/gltf-binary" || !strings.Contains(h.Get("Cache-Control"), "immutable") {
			t.Errorf("the scene of=%s has %d bytes, %v", of, len(b), h)
		}
	}
	if status, _ := c.do("GET", "/api/plans/"+o.ID+"/scene.glb?of=strength", nil, nil); status != 409 {
		t.Errorf("strength that was not asked for: status %d", status)
	}
	if _, _, h := c.send("GET", "/api/plans/"+o.ID+"/geometry", nil, nil); h.Get("Cache-Control") != "no-store" || h.Get("Content-Disposition") != "" {
		t.Errorf("what is known so far: %v", h)
	}
	for path, want := range map[string]int{"/api/plans/none/events": 404, "/api/plans/earlierrun-1/events": 410, "/api/searches/none/events": 404} {
		if status, _ := c.do("GET", path, nil, nil); status != want {
			t.Errorf("%s: status %d, want %d", path, status, want)
		}
	}
	// A value outside its range is a fault of the order, not of the file.
	c.must("POST", "/api/plans", PlanOrder{Piece: "trestle.yaml", Set: map[string]string{"wide": "9 m"}}, &o)
	if e := until(t, c.listen("/api/plans/"+o.ID+"/events"), "failed"); !strings.Contains(e.data, "with wide = 9 m") {
		t.Errorf("it failed with %s", e.data)
	}
}

func TestPlanWithStrength(t *testing.T) {
	c := serveTrestle(t)
	id := c.plan(PlanOrder{Piece: "trestle.yaml", Strength: true})
	var parts []string
	for e := range c.listen("/api/plans/" + id + "/events") {
		var s StageEvent
		if e.name == "stage" && json.Unmarshal([]byte(e.data), &s) == nil && s.Part != "" {
			if s.Stage != "strength" {
				t.Errorf("a part of %+v", s)
			}
			parts = append(parts, s.Part)
		}
	}
	var d job.Document
	c.must("GET", "/api/plans/"+id+"/plan.json", nil, &d)
	if d.Strength == nil || len(d.Strength.Cases) == 0 {
		t.Fatal("no strength in the plan")
	}
	if status, b, _ := c.send("GET", "/api/plans/"+id+"/files/strength.csv", nil, nil); status != 200 || !strings.Contains(b, ",") {
		t.Errorf("strength.csv: status %d, %.80q", status, b)
	}
	n := len(d.Strength.Cases)
	if len(parts) != 2*(n+1) || parts[n] != fmt.Sprintf("load cases: %d of %d", n, n) || !strings.HasPrefix(parts[n+1], "load cases again on larger bricks: 0 of") {
		t.Errorf("%d cases were told as %q", n, parts)
	}
	if _, b, _ := c.send("GET", "/api/plans/"+id+"/scene.glb?of=strength&case=0", nil, nil); !strings.HasPrefix(b, "glTF") || !strings.Contains(b, "_STRESS") {
		t.Errorf("the picture is %.80q", b)
	}
	if status, _ := c.do("GET", fmt.Sprintf("/api/plans/%s/scene.glb?of=strength&case=%d", id, len(d.Strength.Cases)), nil, nil); status != 404 {
		t.Errorf("a case that there is not: status %d", status)
	}
}

// A slider under a finger: of many orders of one view the last is made, and the
// others free their place soon.
func TestSupersededPlans(t *testing.T) {
	c := serve(t, "")
	var o Ordered
	var before []<-chan event
	for i := range 12 {
		c.must("POST", "/api/plans", PlanOrder{Piece: table, View: "a", Set: map[string]string{"height": fmt.Sprintf("%d mm", 500+5*i)}}, &o)
		before = append(before, c.listen("/api/plans/"+o.ID+"/events"))
		time.Sleep(100 * time.Millisecond)
	}
	last := before[len(before)-1]
	for _, events := range before[:len(before)-1] {
		until(t, events, "superseded")
		until(t, events, "over")
	}
	until(t, last, "stage")
	start := time.Now()
	status, _ := c.do("DELETE", "/api/plans/"+o.ID, nil, nil)
	until(t, last, "cancelled")
	told := time.Since(start)
	c.s.plans.bench.wait()
	t.Logf("cancelled: told after %v, its place free after %v", told, time.Since(start))
	if status != 204 {
		t.Errorf("cancelling: status %d", status)
	}
	if status, _ := c.do("GET", "/api/plans/"+o.ID+"/plan.json", nil, nil); status != 409 {
		t.Errorf("a plan that was given up: status %d", status)
	}
}

func TestClashesAndSearch(t *testing.T) {
	c := serveTrestle(t)
	id := c.plan(PlanOrder{Piece: "trestle.yaml"})
	var d job.Document
	c.must("GET", "/api/plans/"+id+"/plan.json", nil, &d)
	var a, b job.PatternDoc // two patterns of one blank
	for i, p := range d.Patterns {
		for _, q := range d.Patterns[:i] {
			if p.Panel == q.Panel && p.Panel != "" {
				a, b = p, q
			}
		}
	}
	if a.ID == "" {
		t.Fatal("no two patterns lie on one blank")
	}
	var out Clashes
	c.must("POST", "/api/plans/"+id+"/clashes", Moves{[]Move{{a.ID, a.Panel, a.X, a.Y, a.Rotation}}}, &out)
	if len(out.Clashes) != 0 {
		t.Errorf("where it lies it clashes: %+v", out)
	}
	c.must("POST", "/api/plans/"+id+"/clashes", Moves{[]Move{{a.ID, a.Panel, b.X, b.Y, b.Rotation}}}, &out)
	if !slices.ContainsFunc(out.Clashes, func(k Clash) bool { return slices.Contains(k.Patterns, b.ID) && k.Message != "" }) {
		t.Errorf("on another it clashes with %+v", out)
	}
	if status, _ := c.do("POST", "/api/plans/"+id+"/clashes", Moves{[]Move{{"none", a.Panel, 0, 0, 0}}}, nil); status != 422 {
		t.Errorf("a pattern that there is not: status %d", status)
	}

	var s, next Ordered
	c.must("POST", "/api/plans/"+id+"/improve", Improve{Seconds: 3600, View: "v"}, &s)
	events := c.listen("/api/searches/" + s.ID + "/events")
	if e := until(t, events, "better"); !strings.Contains(e.data, `"density":0.`) || !strings.Contains(e.data, `"consumedMm2":`) {
		t.Errorf("better is %s", e.data)
	}
	start := time.Now()
	c.must("POST", "/api/searches/"+s.ID+"/stop", nil, nil)
	done := until(t, events, "done")
	t.Logf("stopped after %v", time.Since(start))
	var found FoundEvent
	if err := json.Unmarshal([]byte(done.data), &found); err != nil || len(found.Marks.Blanks) == 0 {
		t.Fatalf("found %s, %v", done.data, err)
	}
	// What was found can be kept, and the next plan follows it.
	var p Piece
	c.must("PUT", "/api/pieces/trestle.yaml/marks", MarksText{Marks: found.Marks, What: "Layout kept"}, &p)
	kept := c.plan(PlanOrder{Piece: "trestle.yaml"})
	if kept == id {
		t.Error("with marks it is the same plan")
	}
	var k job.Document
	c.must("GET", "/api/plans/"+kept+"/plan.json", nil, &k)
	laid := map[string][2]float64{}
	for _, b := range found.Marks.Blanks {
		for _, q := range b.Patterns {
			laid[q.Pattern] = q.At
		}
	}
	for _, q := range k.Patterns {
		if at, ok := laid[q.ID]; !ok || at[0]-q.X > 1e-3 || q.X-at[0] > 1e-3 || at[1]-q.Y > 1e-3 || q.Y-at[1] > 1e-3 {
			t.Errorf("%s lies at %g, %g; kept at %v", q.ID, q.X, q.Y, at)
		}
	}
	// A view's next search stops its earlier one.
	c.must("POST", "/api/plans/"+id+"/improve", Improve{Seconds: 3600, View: "v"}, &s)
	first := c.listen("/api/searches/" + s.ID + "/events")
	c.must("POST", "/api/plans/"+id+"/improve", Improve{Seconds: 0.2, View: "v"}, &next)
	until(t, first, "done")
	until(t, c.listen("/api/searches/"+next.ID+"/events"), "done")
}

// Plans change no file, and a page that closes leaves what it saved.
func TestPlansLeaveFilesAlone(t *testing.T) {
	c := serveTrestle(t)
	c.plan(PlanOrder{Piece: "trestle.yaml", Set: map[string]string{"wide": "300 mm"}})
	b, err := os.ReadFile(filepath.Join(c.dir, "trestle.yaml"))
	if err != nil || string(b) != specimen.Trestle {
		t.Errorf("%s, %v", b, err)
	}
}
