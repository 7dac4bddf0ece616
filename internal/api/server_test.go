package api

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"groundwork/examples"
)

// testPage stands for the built page.
var testPage = fstest.MapFS{
	"index.html":       {Data: []byte(`<!doctype html><meta name="groundwork-token" content="" /><script type="module" src="/assets/a.js"></script>`)},
	"assets/a.js":      {Data: []byte("export {}")},
	"assets/.hidden/x": {Data: []byte("x")},
}

// served is a server on a listener of its own, with a client that acts as the
// page does.
type served struct {
	t     *testing.T
	s     *Server
	dir   string
	at    string // 127.0.0.1:port
	token string
	stop  func() error // ends it, once
}

// serve serves a folder. With no name it makes one with the library's table and
// its shop.
func serve(t *testing.T, dir string) *served {
	t.Helper()
	if dir == "" {
		dir = t.TempDir()
		for _, name := range []string{"heron-side-table.yaml", "shop.yaml"} {
			put(t, dir, name, example(t, name))
		}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Options{Folder: dir, Page: testPage, Log: t.Logf})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	failed := make(chan error, 1)
	go func() { failed <- s.Serve(ctx, l) }()
	c := &served{t: t, s: s, dir: dir, at: l.Addr().String()}
	c.stop = sync.OnceValue(func() error {
		cancel()
		if err := <-failed; err != nil {
			return err
		}
		return s.Close()
	})
	t.Cleanup(func() {
		if err := c.stop(); err != nil {
			t.Error(err)
		}
	})
	_, page, _ := c.send("GET", "/", nil, nil)
	_, after, ok := strings.Cut(page, `name="groundwork-token" content="`)
	c.token, _, _ = strings.Cut(after, `"`)
	if !ok || len(c.token) < 20 {
		t.Fatalf("the page has no token: %s", page)
	}
	return c
}

func put(t *testing.T, dir, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
		t.Fatal(err)
	}
}

func example(t *testing.T, name string) []byte {
	t.Helper()
	data, err := examples.Files.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// send sends a request as it is: no token, no headers of its own. A path is not
// cleaned.
func (c *served) send(method, path string, body io.Reader, header map[string]string) (status int, text string, h http.Header) {
	c.t.Helper()
	r, err := http.NewRequest(method, "http://"+c.at+"/", body)
	if err != nil {
		c.t.Fatal(err)
	}
	r.URL.Opaque = path
	for k, v := range header {
		if k == "Host" {
			r.Host = v
		} else {
			r.Header.Set(k, v)
		}
	}
	res, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		c.t.Fatalf("%s %s: %v", method, path, err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		c.t.Fatalf("%s %s: %v", method, path, err)
	}
	return res.StatusCode, string(b), res.Header
}

// do sends JSON as the page does, and reads the answer into out.
func (c *served) do(method, path string, in, out any) (status int, p Problem) {
	c.t.Helper()
	var body io.Reader
	h := map[string]string{"X-Groundwork-Token": c.token, "Origin": "http://" + c.at, "Sec-Fetch-Site": "same-origin"}
	if in != nil {
		b, err := json.Marshal(in)
		if err != nil {
			c.t.Fatal(err)
		}
		body, h["Content-Type"] = bytes.NewReader(b), "application/json"
	}
	status, text, header := c.send(method, path, body, h)
	switch {
	case status >= 400:
		if ct := header.Get("Content-Type"); ct != "application/problem+json" {
			c.t.Errorf("%s %s: status %d with %s: %s", method, path, status, ct, text)
		}
		if err := json.Unmarshal([]byte(text), &p); err != nil || p.Status != status || p.Title == "" || p.Detail == "" || p.Remedy == "" {
			c.t.Errorf("%s %s: the problem is %s", method, path, text)
		}
	case out != nil:
		if err := json.Unmarshal([]byte(text), out); err != nil {
			c.t.Fatalf("%s %s: %v in %.300s", method, path, err, text)
		}
	}
	return status, p
}

// must is do for what must go well.
func (c *served) must(method, path string, in, out any) {
	c.t.Helper()
	if status, p := c.do(method, path, in, out); status >= 300 {
		c.t.Fatalf("%s %s: status %d: %s", method, path, status, p.Detail)
	}
}

func (c *served) piece(file string) (p Piece) {
	c.t.Helper()
	c.must("GET", "/api/pieces/"+file, nil, &p)
	return p
}

// event is one event of a stream.
type event struct{ id, name, data string }

// listen follows a stream of events until it ends, or the test does.
func (c *served) listen(path string) <-chan event {
	c.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	c.t.Cleanup(cancel)
	r, err := http.NewRequestWithContext(ctx, "GET", "http://"+c.at+path, nil)
	if err != nil {
		c.t.Fatal(err)
	}
	res, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		c.t.Fatal(err)
	}
	if ct := res.Header.Get("Content-Type"); res.StatusCode != 200 || ct != "text/event-stream" {
		c.t.Fatalf("%s: status %d, %s", path, res.StatusCode, ct)
	}
	out := make(chan event, 1000)
	go func() {
		defer close(out)
		defer res.Body.Close()
		var e event
		for s := bufio.NewScanner(res.Body); s.Scan(); {
			switch k, v, _ := strings.Cut(s.Text(), ": "); k {
			case "id":
				e.id = v
			case "event":
				e.name = v
			case "data":
				e.data = v
			case "":
				if e.name != "ping" {
					out <- e
				}
				e = event{}
			}
		}
	}()
	return out
}

// next is the next event of a stream, "over" at its end.
func next(t *testing.T, events <-chan event) event {
	t.Helper()
	select {
	case e, ok := <-events:
		if !ok {
			return event{name: "over"}
		}
		return e
	case <-time.After(10 * time.Minute):
		t.Fatal("no event came")
		return event{}
	}
}

// until skips events up to one of a name, and returns it.
func until(t *testing.T, events <-chan event, name string) event {
	t.Helper()
	var seen []string
	for {
		e := next(t, events)
		if e.name == name {
			return e
		}
		seen = append(seen, e.name+e.data)
		if e.name == "over" {
			t.Fatalf("no %s among %v", name, seen)
		}
	}
}

// plan orders a plan and waits until it is made.
func (c *served) plan(o PlanOrder) string {
	c.t.Helper()
	var out Ordered
	c.must("POST", "/api/plans", o, &out)
	until(c.t, c.listen("/api/plans/"+out.ID+"/events"), "done")
	return out.ID
}

func TestGuard(t *testing.T) {
	c := serve(t, "")
	_, port, _ := net.SplitHostPort(c.at)
	ours := "http://" + c.at
	for _, k := range []struct {
		name, method, path string
		header             map[string]string
		want               int
	}{
		{"our page", "GET", "/api/folder", nil, 200},
		{"by name", "GET", "/api/folder", map[string]string{"Host": "localhost:" + port}, 200},
		{"by name, in capitals", "GET", "/api/folder", map[string]string{"Host": "LOCALHOST:" + port}, 200},
		{"by IPv6", "GET", "/api/folder", map[string]string{"Host": "[::1]:" + port}, 200},
		{"a name pointed at us (DNS rebinding)", "GET", "/api/folder", map[string]string{"Host": "evil.example:" + port}, 403},
		{"a name pointed at us, for the page with the token", "GET", "/", map[string]string{"Host": "evil.example:" + port}, 403},
		{"a name pointed at us, for a photograph", "GET", "/photographs/a.jpg", map[string]string{"Host": "evil.example"}, 403},
		{"a name that begins as ours", "GET", "/api/folder", map[string]string{"Host": "localhost.evil.example:" + port}, 403},
		{"a name that ends as ours", "GET", "/api/folder", map[string]string{"Host": "evil.localhost:" + port}, 403},
		{"another port", "GET", "/api/folder", map[string]string{"Host": "127.0.0.1:1"}, 403},
		{"no port", "GET", "/api/folder", map[string]string{"Host": "127.0.0.1"}, 403},
		{"read by another origin", "GET", "/api/folder", map[string]string{"Origin": "http://evil.example"}, 403},
		{"read by a page without an origin", "GET", "/api/folder", map[string]string{"Origin": "null"}, 403},
		{"events for another origin", "GET", "/api/events", map[string]string{"Origin": "http://evil.example"}, 403},
		{"another port's page", "GET", "/api/folder", map[string]string{"Origin": "http://127.0.0.1:1"}, 403},
		{"our name, another scheme", "GET", "/api/folder", map[string]string{"Origin": "https://" + c.at}, 403},
		{"a picture in another page", "GET", "/photographs/a.jpg", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		{"a script in another page", "GET", "/api/folder", map[string]string{"Sec-Fetch-Site": "same-site", "Sec-Fetch-Mode": "no-cors"}, 403},
		{"a link in another page", "GET", "/", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate"}, 200},
		{"a form in another page", "POST", "/api/plans", map[string]string{"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", tokenHeader: "T"}, 403},
		{"written by another origin", "POST", "/api/plans", map[string]string{"Origin": "http://evil.example", tokenHeader: "T"}, 403},
		{"no token", "POST", "/api/plans", map[string]string{"Origin": ours}, 403},
		{"a wrong token", "POST", "/api/plans", map[string]string{"Origin": ours, tokenHeader: "AAAAAAAAAAAAAAAAAAAAAAAAAA"}, 403},
		{"part of the token", "POST", "/api/plans", map[string]string{"Origin": ours, tokenHeader: c.token[:5]}, 403},
		{"no token to delete", "DELETE", "/api/plans/x", nil, 403},
		{"no token to upload", "POST", "/api/uploads/solid/a.stl", nil, 403},
		{"no token for a method that there is not", "PATCH", "/api/folder", nil, 403},
		{"the token", "POST", "/api/plans", map[string]string{"Origin": ours, tokenHeader: "T", "Content-Type": "application/json"}, 422},
		{"the token, from no page", "DELETE", "/api/plans/x", map[string]string{tokenHeader: "T"}, 404},
	} {
		t.Run(k.name, func(t *testing.T) {
			h := map[string]string{}
			for key, v := range k.header {
				if v == "T" {
					v = c.token
				}
				h[key] = v
			}
			var body io.Reader
			if k.method == "POST" {
				body = strings.NewReader("{}")
			}
			status, text, header := c.send(k.method, k.path, body, h)
			if status != k.want {
				t.Errorf("status %d, want %d: %s", status, k.want, text)
			}
			if status == 403 && (header.Get("Content-Type") != "application/problem+json" || !strings.Contains(text, `"remedy"`) || strings.Contains(text, c.token)) {
				t.Errorf("it is refused with %s", text)
			}
			for _, name := range []string{"Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy", "Cross-Origin-Resource-Policy"} {
				if header.Get(name) == "" {
					t.Errorf("no %s", name)
				}
			}
			if header.Get("Access-Control-Allow-Origin") != "" {
				t.Error("it is opened to other origins")
			}
		})
	}
}

func TestHosts(t *testing.T) {
	for at, want := range map[string][]string{
		"127.0.0.1:7000":  {"127.0.0.1:7000", "localhost:7000", "[::1]:7000"},
		"[::1]:7000":      {"127.0.0.1:7000", "localhost:7000", "[::1]:7000"},
		"127.0.0.1:80":    {"127.0.0.1:80", "localhost", "[::1]"},
		"192.0.2.7:7000":  {"192.0.2.7:7000", "localhost:7000"},
		"[2001:db8::1]:1": {"[2001:db8::1]:1"},
		"0.0.0.0:7000":    {"127.0.0.1:7000"},
		"[::]:7000":       {"127.0.0.1:7000"},
	} {
		a, err := net.ResolveTCPAddr("tcp", at)
		if err != nil {
			t.Fatal(err)
		}
		g := newGuard(a)
		for _, w := range want {
			if !g.hosts[w] {
				t.Errorf("on %s %s is not let in: %v", at, w, g.hosts)
			}
		}
		for _, w := range []string{"0.0.0.0:7000", "", ":7000", "example.org:7000", "192.0.2.8:7000"} {
			if g.hosts[w] && !strings.HasPrefix(at, "0.0.0.0") && !strings.HasPrefix(at, "[::]") || w == "example.org:7000" && g.hosts[w] {
				t.Errorf("on %s %q is let in", at, w)
			}
		}
		if other := newGuard(a); other.token == g.token || len(g.token) < 26 { // 26 letters of 5 bits: 130 bits
			t.Errorf("the token %q is no secret", g.token)
		}
	}
}

// No name leads out of the folder, the job or the page, however it is written.
func TestPathsStayInside(t *testing.T) {
	outer := t.TempDir()
	put(t, outer, "secret.yaml", []byte("groundwork: 1\nmembers: secret\n"))
	put(t, outer, "secret.jpg", []byte("secret"))
	dir := filepath.Join(outer, "maker")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	put(t, dir, "heron-side-table.yaml", example(t, "heron-side-table.yaml"))
	for _, name := range []string{"secret.yaml", "secret.jpg"} {
		if err := os.Symlink(filepath.Join(outer, name), filepath.Join(dir, "link-"+name)); err != nil {
			t.Fatal(err)
		}
	}
	put(t, dir, ".hidden.yaml", []byte("groundwork: 1\nmembers: secret\n"))
	c := serve(t, dir)
	names := []string{
		"../secret", "..%2fsecret", "%2e%2e%2fsecret", "%2e%2e/secret", "..%5csecret", "..\\secret", "%252e%252e%252fsecret", "..%252fsecret",
		"%2fetc%2fpasswd", filepath.ToSlash(filepath.Join(outer, "secret")), strings.ReplaceAll(filepath.Join(outer, "secret"), "/", "%2f"),
		"C:%5csecret", "%00secret", "secret%00", "....//secret", "%c0%ae%c0%ae%2fsecret", "./../secret", "link-secret", ".hidden", ".", "..", "%2e%2e",
	}
	for _, n := range names {
		for _, path := range []string{"/api/pieces/" + n + ".yaml", "/photographs/" + n + ".jpg", "/" + n, "/assets/" + n} {
			status, text, _ := c.send("GET", path, nil, nil)
			for hops := 0; status == 301 || status == 307; hops++ { // the path cleaned
				if hops > 0 {
					t.Fatalf("%s is sent round", path)
				}
				status = 404
			}
			if status < 400 || status >= 500 || strings.Contains(text, "members: secret") {
				t.Errorf("GET %s: status %d: %.200s", path, status, text)
			}
		}
		for _, k := range []struct{ method, path, body string }{
			{"PUT", "/api/pieces/" + n + ".yaml", `{"text": "x", "base": "0"}`},
			{"POST", "/api/uploads/photograph/" + n + ".jpg", "x"},
			{"POST", "/api/uploads/solid/" + n + ".stl", "x"},
		} {
			status, text, _ := c.send(k.method, k.path, strings.NewReader(k.body), map[string]string{tokenHeader: c.token, "Content-Type": "application/json"})
			if status >= 200 && status < 300 || status >= 500 {
				t.Errorf("%s %s: status %d: %.200s", k.method, k.path, status, text)
			}
		}
		if status, _ := c.do("POST", "/api/pieces", PieceCopy{From: "heron-side-table", File: n + ".yaml"}, nil); status < 400 || status >= 500 {
			t.Errorf("a copy to %s: status %d", n, status)
		}
		if status, _ := c.do("POST", "/api/pieces", PieceCopy{From: n + ".yaml", File: "new.yaml"}, nil); status < 400 || status >= 500 {
			t.Errorf("a copy from %s: status %d", n, status)
		}
	}
	if b, err := os.ReadFile(filepath.Join(outer, "secret.yaml")); err != nil || !strings.Contains(string(b), "secret") {
		t.Errorf("a file outside was touched: %v", err)
	}
	entries, _ := os.ReadDir(outer)
	if len(entries) != 3 {
		t.Errorf("outside there is %v", entries)
	}
	var f Folder
	c.must("GET", "/api/folder", nil, &f)
	if len(f.Pieces) != 1 || len(f.Solids) != 0 {
		t.Errorf("the folder has %+v", f)
	}
}

func TestPage(t *testing.T) {
	c := serve(t, "")
	for path, want := range map[string]int{
		"/": 200, "/index.html": 200, "/assets/a.js": 200, "/assets/": 404, "/assets": 404, "/nothing": 404, "/api/nothing": 404,
		"/api/openapi.json": 200, "/docs": 404, "/api/docs": 404, "/schemas/Piece.json": 404,
	} {
		status, text, h := c.send("GET", path, nil, nil)
		if status != want {
			t.Errorf("%s: status %d, want %d: %.200s", path, status, want, text)
		}
		if status == 404 && h.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %s", path, text)
		}
	}
	_, text, _ := c.send("GET", "/api/openapi.json", nil, nil)
	if strings.Contains(text, c.token) || !strings.Contains(text, "/api/pieces/{file}") {
		t.Errorf("the description is %.200s", text)
	}
	none := page(fstest.MapFS{".keep": {}}, "TOKEN")
	w := &recorder{h: http.Header{}}
	r, _ := http.NewRequest("GET", "/", nil)
	none.ServeHTTP(w, r)
	if !strings.Contains(w.String(), "make ui") || !strings.Contains(w.String(), `content="TOKEN"`) {
		t.Errorf("a page that is not built is %s", w)
	}
}

type recorder struct {
	bytes.Buffer
	h http.Header
}

func (r *recorder) Header() http.Header { return r.h }
func (r *recorder) WriteHeader(int)     {}

// A client that sends its head or its body too slowly is cut off, and does not
// keep others from being served.
func TestSlowSenders(t *testing.T) {
	t.Parallel() // it waits most of its time
	c := serve(t, "")
	start := time.Now()
	var conns []net.Conn
	for range 100 {
		k, err := net.Dial("tcp", c.at)
		if err != nil {
			t.Fatal(err)
		}
		defer k.Close()
		fmt.Fprintf(k, "GET /api/folder HTTP/1.1\r\nHost: %s\r\nX-Slow: ", c.at)
		conns = append(conns, k)
	}
	body, err := net.Dial("tcp", c.at)
	if err != nil {
		t.Fatal(err)
	}
	defer body.Close()
	fmt.Fprintf(body, "PUT /api/pieces/heron-side-table.yaml HTTP/1.1\r\nHost: %s\r\n%s: %s\r\nContent-Type: application/json\r\nContent-Length: 1000\r\n\r\n{", c.at, tokenHeader, c.token)
	c.piece("heron-side-table.yaml")
	for _, k := range append(conns, body) {
		k.SetReadDeadline(start.Add(30 * time.Second))
		if _, err := io.ReadAll(k); err != nil {
			t.Fatalf("a slow client is still served: %v", err)
		}
	}
	big, _ := http.NewRequest("GET", "http://"+c.at+"/", nil)
	big.Header.Set("X-Big", strings.Repeat("x", 100<<10))
	res, err := http.DefaultTransport.RoundTrip(big)
	if err != nil || res.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("a head of 100 kB: %v, %v", res, err)
	} else {
		res.Body.Close()
	}
}

// Streams are limited, so that they cannot take all connections, and end with
// the program within its time.
func TestManyStreams(t *testing.T) {
	c := serve(t, "")
	var streams []<-chan event
	for range maxStreams {
		streams = append(streams, c.listen("/api/events"))
	}
	if status, text, _ := c.send("GET", "/api/events", nil, nil); status != http.StatusServiceUnavailable {
		t.Errorf("one more stream: status %d: %s", status, text)
	}
	c.piece("heron-side-table.yaml")
	start := time.Now()
	if err := c.stop(); err != nil {
		t.Error(err)
	}
	for _, s := range streams {
		until(t, s, "over")
	}
	t.Logf("ended in %v", time.Since(start))
}
