package api

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"os"
	"runtime/debug"
	"strconv"
	"strings"
)

// tokenHeader carries the token of this run of the program.
const tokenHeader = "X-Groundwork-Token"

// guard lets in only what comes from our own page.
//
// A page of another origin cannot send the token, for it can read nothing of
// ours; a name that another points at this machine (DNS rebinding) is not among
// the hosts.
type guard struct {
	token string          // of this run, for every method that changes something
	hosts map[string]bool // as browsers send them: with the port, unless it is 80
}

// newGuard is a guard for a server that listens on an address.
func newGuard(at net.Addr) *guard {
	g := &guard{token: rand.Text(), hosts: map[string]bool{}}
	for _, name := range names(at) {
		_, port, _ := net.SplitHostPort(at.String())
		g.hosts[net.JoinHostPort(name, port)] = true
		if port == "80" {
			g.hosts[strings.TrimSuffix(net.JoinHostPort(name, port), ":80")] = true
		}
	}
	return g
}

// names are the names by which a listener can be reached: always this machine's
// own, for a listener on all addresses theirs too.
func names(at net.Addr) []string {
	out := []string{"localhost", "127.0.0.1", "::1"}
	ap, err := netip.ParseAddrPort(at.String())
	if err != nil || ap.Addr().IsLoopback() {
		return out
	}
	if !ap.Addr().IsUnspecified() {
		return append(out, ap.Addr().WithZone("").String())
	}
	if h, err := os.Hostname(); err == nil {
		out = append(out, strings.ToLower(h))
	}
	addrs, _ := net.InterfaceAddrs() // without them it is reached by the other names alone
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil {
			out = append(out, p.Addr().WithZone("").String())
		}
	}
	return out
}

// policy is what our page may load and do (Content Security Policy level 3).
// Scripts and styles come from us alone; blob: is where the page makes its own
// pictures and downloads.
const policy = "default-src 'self'; img-src 'self' blob: data:; connect-src 'self' blob:; style-src 'self'; style-src-attr 'unsafe-inline'; " +
	"object-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// around is a handler that is asked only what the guard lets in, and whose
// answers no other origin may use.
func (g *guard) around(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Cache-Control", "no-store") // what can be kept says so itself
		if p := g.refuses(r); p != nil {
			refuse(w, p)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// refuses is why a request is not let in, nil if it is.
func (g *guard) refuses(r *http.Request) *Problem {
	const open = "open the page at the address that the program printed when it started"
	if !g.hosts[strings.ToLower(r.Host)] {
		return problem(http.StatusForbidden, "the request is for "+quoted(r.Host)+", and this program does not listen under that name", open)
	}
	if o := r.Header.Get("Origin"); o != "" && o != "http://"+r.Host {
		return problem(http.StatusForbidden, "the request comes from a page of "+quoted(o)+", not from this program's own", open)
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		// A link to the page may stand anywhere, but nothing of ours is for use by other pages.
		if r.Header.Get("Sec-Fetch-Mode") != "navigate" || r.Method != http.MethodGet {
			return problem(http.StatusForbidden, "the request comes from a page of another origin", open)
		}
	}
	if r.Method == http.MethodGet || r.Method == http.MethodHead {
		return nil
	}
	if subtle.ConstantTimeCompare([]byte(r.Header.Get(tokenHeader)), []byte(g.token)) != 1 {
		return problem(http.StatusForbidden, "the request does not carry the token of this run of the program", "reload the page: the program was perhaps started again")
	}
	return nil
}

// quoted is a text of a stranger's, short and without surprises.
func quoted(s string) string { return strconv.QuoteToASCII(s[:min(len(s), 100)]) }

// sound answers a fault of the program's own as a problem and keeps serving.
func sound(log func(string, ...any), next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n := &noted{ResponseWriter: w}
		defer func() {
			fault := recover()
			switch {
			case fault == nil:
				return
			case fault == http.ErrAbortHandler || r.Context().Err() != nil: // the client is gone
				panic(http.ErrAbortHandler)
			}
			log("%s %s broke off: %v\n%s", r.Method, r.URL.Path, fault, debug.Stack())
			if n.begun { // half an answer must not look whole
				panic(http.ErrAbortHandler)
			}
			refuse(w, problem(http.StatusInternalServerError, "the program met a fault of its own; your files are as they were saved", "try again; if it comes again, send us what the program printed"))
		}()
		next.ServeHTTP(n, r)
	})
}

// noted is an answer of which is known whether it has begun.
type noted struct {
	http.ResponseWriter
	begun bool
}

func (n *noted) WriteHeader(status int) {
	n.begun = true
	n.ResponseWriter.WriteHeader(status)
}

func (n *noted) Write(b []byte) (int, error) {
	n.begun = true
	return n.ResponseWriter.Write(b)
}

// Unwrap is for http.ResponseController.
func (n *noted) Unwrap() http.ResponseWriter { return n.ResponseWriter }

// fewer is a handler with so many streams at a time: one more is refused, so
// that streams never take all connections.
func fewer(streams int, next http.Handler) http.Handler {
	room := make(chan struct{}, streams)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if strings.HasSuffix(r.URL.Path, "/events") {
			select {
			case room <- struct{}{}:
				defer func() { <-room }()
			default:
				refuse(w, problem(http.StatusServiceUnavailable, fmt.Sprintf("%d streams of events are open already", streams), "close windows that you do not need"))
				return
			}
		}
		next.ServeHTTP(w, r)
	})
}
