package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"
)

// asProgram makes this test binary act as the program, so that tests can end it
// as harshly as they like.
const asProgram = "GROUNDWORK_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
	}
	os.Exit(m.Run())
}

// program is groundwork serve in a process of its own.
type program struct {
	t     *testing.T
	cmd   *exec.Cmd
	at    string // http://127.0.0.1:port
	token string
}

func startServe(t *testing.T, dir string, flags ...string) *program {
	t.Helper()
	p := &program{t: t, cmd: exec.Command(os.Args[0], append([]string{"serve", dir, "--data", filepath.Join(filepath.Dir(dir), "data")}, flags...)...)}
	p.cmd.Env = append(os.Environ(), asProgram+"=1")
	p.cmd.Stderr = os.Stderr
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.cmd.Process.Kill() })
	line, err := bufio.NewReader(out).ReadString('\n')
	at, ok := strings.CutPrefix(strings.TrimSpace(line), "Open ")
	if err != nil || !ok || !strings.HasPrefix(at, "http://127.0.0.1:") {
		t.Fatalf("it says %q, %v", line, err)
	}
	p.at = at
	_, page := p.do("GET", "/", "")
	_, after, _ := strings.Cut(page, `name="groundwork-token" content="`)
	p.token, _, _ = strings.Cut(after, `"`)
	return p
}

func (p *program) do(method, path, body string) (status int, text string) {
	p.t.Helper()
	r, err := http.NewRequest(method, p.at+path, strings.NewReader(body))
	if err != nil {
		p.t.Fatal(err)
	}
	r.Header.Set("X-Groundwork-Token", p.token)
	r.Header.Set("Content-Type", "application/json")
	res, err := http.DefaultClient.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return res.StatusCode, string(b)
}

// plan orders a plan and returns its ID.
func (p *program) plan(order string) string {
	p.t.Helper()
	status, text := p.do("POST", "/api/plans", order)
	var out struct{ ID string }
	if err := json.Unmarshal([]byte(text), &out); err != nil || status != 200 {
		p.t.Fatalf("status %d: %s", status, text)
	}
	return out.ID
}

type told struct {
	Text, Version string
	Undo, Redo    *struct{ What string }
}

func (p *program) piece(method, path, body string) (out told) {
	p.t.Helper()
	status, text := p.do(method, "/api/pieces/trestle.yaml"+path, body)
	if err := json.Unmarshal([]byte(text), &out); err != nil || status != 200 {
		p.t.Fatalf("%s %s: status %d: %s", method, path, status, text)
	}
	return out
}

// The job of the page is the command line's, byte for byte.
func TestServeGivesTheCommandLinesJob(t *testing.T) {
	dir := t.TempDir()
	piece, shop := write(t, dir, "trestle.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	write(t, dir, "trestle.marks.yaml", "groundwork: 1\nreserved:\n  - {sheet: walnut-1, at: [0, 0], size: [100 mm, 100 mm], what: knot}\n")
	p := startServe(t, dir)
	for _, k := range []struct{ order, flags string }{
		{`{"piece": "trestle.yaml"}`, ""},
		{`{"piece": "trestle.yaml", "set": {"wide": "300 mm"}, "faceDown": true, "kerf": true}`, "--set wide=300mm --face-down --kerf"},
	} {
		job := filepath.Join(t.TempDir(), "job")
		if status, _, stderr := invoke(t, append([]string{"plan", piece, "--shop", shop, "--out", job}, strings.Fields(k.flags)...)...); status != planned {
			t.Fatalf("status %d: %s", status, stderr)
		}
		id := p.plan(k.order)
		p.do("GET", "/api/plans/"+id+"/events", "") // until it is made
		status, text := p.do("GET", "/api/plans/"+id+"/job.zip", "")
		z, err := zip.NewReader(strings.NewReader(text), int64(len(text)))
		if err != nil {
			t.Fatalf("status %d: %v", status, err)
		}
		var names []string
		for _, f := range z.File {
			r, err := f.Open()
			if err != nil {
				t.Fatal(err)
			}
			got, err := io.ReadAll(r)
			if err != nil {
				t.Fatal(err)
			}
			want, err := os.ReadFile(filepath.Join(job, filepath.FromSlash(f.Name)))
			if err != nil || !bytes.Equal(got, want) {
				t.Errorf("%s is another: %v", f.Name, err)
			}
			names = append(names, f.Name)
		}
		err = filepath.WalkDir(job, func(name string, e os.DirEntry, err error) error {
			rel, _ := filepath.Rel(job, name)
			if err == nil && !e.IsDir() && !slices.Contains(names, filepath.ToSlash(rel)) {
				t.Errorf("%s is not in the zip", rel)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
	}
}

// Killed at any moment, it loses nothing that was saved, and undo goes on.
func TestServeKilled(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "trestle.yaml", trestle)
	write(t, dir, "shop.yaml", shopText(t))
	var last told
	for round := range 4 {
		p := startServe(t, dir)
		if now := p.piece("GET", "", ""); round > 0 && (now.Text != last.Text || now.Undo == nil || now.Undo.What != last.Undo.What) {
			t.Fatalf("round %d: it is no longer as it was saved: %+v", round, now)
		} else {
			last = now
		}
		value := fmt.Sprintf("%d mm", 250+10*round)
		last = p.piece("POST", "/changes", fmt.Sprintf(`{"changes": [{"document": "piece", "pointer": "/parameters/wide/value", "value": %q}], "base": %q}`, value, last.Version))
		p.plan(`{"piece": "trestle.yaml", "strength": true}`)
		time.Sleep(time.Duration(round) * 150 * time.Millisecond) // in the middle of it
		if err := p.cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		p.cmd.Wait()
	}
	p := startServe(t, dir)
	for range 4 {
		last = p.piece("POST", "/undo", `{}`)
	}
	if last.Text != trestle || last.Undo != nil {
		t.Errorf("undone, it is not as it was at first: %+v", last)
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 3 { // and the history
		t.Errorf("the folder holds %v", left)
	}
}

// Interrupted in the middle of a plan, with a page listening, it ends soon.
func TestServeInterrupted(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, "trestle.yaml", trestle)
	write(t, dir, "shop.yaml", shopText(t))
	p := startServe(t, dir)
	id := p.plan(`{"piece": "trestle.yaml", "strength": true}`)
	var streams []*http.Response
	for _, path := range []string{"/api/events", "/api/plans/" + id + "/events"} {
		res, err := http.Get(p.at + path)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		streams = append(streams, res)
	}
	time.Sleep(300 * time.Millisecond)
	start := time.Now()
	if err := p.cmd.Process.Signal(syscall.SIGINT); err != nil {
		t.Fatal(err)
	}
	for _, s := range streams {
		io.Copy(io.Discard, s.Body) // until it is closed
	}
	err := p.cmd.Wait()
	t.Logf("ended after %v: %v", time.Since(start), err)
	if p.cmd.ProcessState.ExitCode() != interrupted {
		t.Errorf("status %v", err)
	}
}

func TestServeRefuses(t *testing.T) {
	file := write(t, t.TempDir(), "a.yaml", trestle)
	for _, k := range []struct {
		args []string
		say  string
	}{
		{[]string{"serve", filepath.Join(filepath.Dir(file), "none")}, "make the folder first"},
		{[]string{"serve", file}, "not a folder"},
		{[]string{"serve", filepath.Dir(file), "--listen", "nowhere"}, "no address"},
		{[]string{"serve", filepath.Dir(file), "--port", "70000"}, "0 to 65535"},
		{[]string{"serve", filepath.Dir(file), "--listen", "192.0.2.1"}, "--port"}, // of RFC 5737: no machine's own
	} {
		status, _, stderr := invoke(t, k.args...)
		if status != badInput || !strings.Contains(stderr, k.say) {
			t.Errorf("%v: status %d: %s", k.args, status, stderr)
		}
	}
	status, stdout, _ := invoke(t, "serve", "--openapi")
	if status != planned || !json.Valid([]byte(stdout)) {
		t.Errorf("the description: status %d, %.100s", status, stdout)
	}
}

// The strength of the page's plans goes through a queue: what a server was killed
// over is worked out by another, or by the next one, which then finds it; and the
// job is the command line's.
func servesFromQueue(t *testing.T, database string) {
	root := t.TempDir()
	dir := filepath.Join(root, "pieces")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	piece, shop := write(t, dir, "trestle.yaml", trestle), write(t, dir, "shop.yaml", shopText(t))
	var flags []string
	if database != "" {
		flags = []string{"--database", database, "--beside", "0"}
	}
	const order = `{"piece": "trestle.yaml", "strength": true, "remedies": true}`
	p := startServe(t, dir, flags...)
	id := p.plan(order)
	if database != "" { // nobody works yet
		q := queueAt(t, database)
		ctx := limited(t)
		for waiting := 0; waiting == 0; time.Sleep(50 * time.Millisecond) {
			var err error
			if waiting, _, err = q.Waiting(ctx); err != nil {
				t.Fatal(err)
			}
		}
	} else {
		p.heard(id, "load cases: 1 of")
	}
	if err := p.cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	p.cmd.Wait()
	var said said
	if database != "" {
		startWorker(t, database, &said)
		said.await(t, "finished check of test-trestle") // which nobody waits for
	}
	p = startServe(t, dir, flags...)
	id = p.plan(order)
	if _, told := p.do("GET", "/api/plans/"+id+"/events", ""); database != "" == strings.Contains(told, "load cases") {
		t.Errorf("it is told\n%s", told)
	}
	_, got := p.do("GET", "/api/plans/"+id+"/files/strength.csv", "")
	_, plan := p.do("GET", "/api/plans/"+id+"/plan.json", "")
	if status, picture := p.do("GET", "/api/plans/"+id+"/scene.glb?of=strength&case=0", ""); status != 200 || !strings.HasPrefix(picture, "glTF") {
		t.Errorf("status %d, %.80q", status, picture)
	}
	p.cmd.Process.Kill()
	p.cmd.Wait()
	job := filepath.Join(root, "job")
	if status, _, stderr := invoke(t, "plan", piece, "--shop", shop, "--out", job, "--strength"); status != planned {
		t.Fatalf("status %d: %s", status, stderr)
	}
	if want := filesOf(t, job); got != string(want["strength.csv"]) || plan != string(want["plan.json"]) {
		t.Error("the job is another")
	}
	// What is there is found by the next one.
	p = startServe(t, dir, flags...)
	id = p.plan(order)
	if _, told := p.do("GET", "/api/plans/"+id+"/events", ""); strings.Contains(told, "load cases") || !strings.Contains(told, "event: done") {
		t.Errorf("it is told\n%s", told)
	}
	if n := strings.Count(said.text.String(), "takes check"); database != "" && n != 1 {
		t.Errorf("it was done %d times:\n%s", n, &said)
	}
}

// limited is a time that nothing here takes.
func limited(t *testing.T) context.Context {
	ctx, stop := context.WithTimeout(t.Context(), 2*time.Minute)
	t.Cleanup(stop)
	return ctx
}

// heard waits until the events of a plan say something.
func (p *program) heard(id, say string) {
	p.t.Helper()
	res, err := http.Get(p.at + "/api/plans/" + id + "/events")
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	for lines := bufio.NewScanner(res.Body); lines.Scan(); {
		if strings.Contains(lines.Text(), say) {
			return
		}
	}
	p.t.Fatalf("the events of the plan ended without %q", say)
}

func TestServeKilledOverStrength(t *testing.T) {
	t.Setenv(testLease, hasty)
	servesFromQueue(t, "")
}

func TestServeThroughAFile(t *testing.T) {
	t.Setenv(testLease, hasty)
	servesFromQueue(t, filepath.Join(t.TempDir(), "work.db"))
}

// A strength that is given up leaves nothing behind that the next would do first.
func TestServeGivesUpStrength(t *testing.T) {
	root := t.TempDir()
	dir := filepath.Join(root, "pieces")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "trestle.yaml", trestle)
	write(t, dir, "shop.yaml", shopText(t))
	p := startServe(t, dir)
	id := p.plan(`{"piece": "trestle.yaml", "strength": true, "view": "a"}`)
	p.heard(id, "load cases: 1 of")
	db, err := sql.Open("sqlite", "file:"+filepath.Join(root, "data", "work.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	left := func() (n int) {
		if err := db.QueryRow("SELECT count(*) FROM river_job WHERE state NOT IN ('completed', 'cancelled', 'discarded')").Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	if left() != 1 {
		t.Fatal("it is not in the queue")
	}
	p.do("DELETE", "/api/plans/"+id, "")
	for end := time.Now().Add(20 * time.Second); left() > 0; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d tasks are left", left())
		}
	}
}
