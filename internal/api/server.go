// Package api serves the page in the browser: the maker's folder, plans as they
// are made, and searches for tighter layouts, over HTTP on this machine.
package api

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"sync"
	"time"

	"groundwork/internal/folder"
	"groundwork/internal/solid"
)

// Limits of ordinary requests and connections; uploads have their own.
const (
	maxRequest  = 4 << 20          // bytes of a body
	requestTime = 10 * time.Second // for a body to come in
	headerTime  = 5 * time.Second
	maxHeader   = 32 << 10 // bytes
	answerTime  = 5 * time.Minute
	idleTime    = 2 * time.Minute
	maxConns    = 256
	maxStreams  = 64
	endTime     = 2 * time.Second // for requests to end when the program does
)

// Options set up a Server.
type Options struct {
	Folder string                        // the maker's
	Page   fs.FS                         // the built page; without an index.html it is said that it is not built
	Stock  func() (string, error)        // the file of the shop's stock; there is none where nil
	Long   Long                          // how long tasks are done; where nil at once, within the program
	Log    func(format string, a ...any) // of the program's own faults; nothing where nil
}

// Server is the program as the page sees it.
type Server struct {
	ctx      context.Context // ends with the server
	end      context.CancelFunc
	o        Options
	dir      *folder.Folder
	kernel   *solid.Kernel
	desk     *desk
	plans    *plans
	searches *searches
	stock    *stock
}

// New opens the folder and starts the kernel. The caller closes the Server.
func New(o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = func(string, ...any) {}
	}
	if o.Long == nil {
		o.Long = here
	}
	dir, err := folder.Open(o.Folder, time.Now)
	if err != nil {
		return nil, err
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		dir.Close()
		return nil, err
	}
	s := &Server{o: o, dir: dir, kernel: k}
	s.ctx, s.end = context.WithCancel(context.Background())
	s.desk = newDesk(s.ctx, dir, k)
	s.plans = newPlans(s.ctx, k, s.desk, o.Long, o.Log)
	s.stock = &stock{path: o.Stock, plans: s.plans, news: s.desk.news}
	s.plans.stock = s.stock
	s.searches = newSearches(s.ctx, k, s.plans, o.Log)
	return s, nil
}

// Close ends everything that is in the making and lets the folder go. It
// returns an error if a stage of a plan does not end in time; the kernel then
// stays open, since it is at work.
func (s *Server) Close() error {
	s.end()
	ended := make(chan struct{})
	go func() {
		s.plans.bench.wait()
		s.searches.wait()
		close(ended)
	}()
	select {
	case <-ended:
		return errors.Join(s.kernel.Close(), s.dir.Close())
	case <-time.After(endTime):
		return errors.Join(errors.New("a plan is still in the making"), s.dir.Close())
	}
}

// Handler serves the page and its interface to whoever reaches it at an
// address.
func (s *Server) Handler(at net.Addr) http.Handler {
	mux := http.NewServeMux()
	s.routes(mux)
	g := newGuard(at)
	mux.Handle("/", page(s.o.Page, g.token))
	return sound(s.o.Log, g.around(fewer(maxStreams, mux)))
}

// Serve answers on a listener until ctx ends. It returns nil then.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	h := &http.Server{
		Handler:           s.Handler(l.Addr()),
		ReadHeaderTimeout: headerTime, ReadTimeout: requestTime, WriteTimeout: answerTime, IdleTimeout: idleTime,
		MaxHeaderBytes: maxHeader,
		// Streams end with the program, not only with their clients.
		BaseContext: func(net.Listener) context.Context { return s.ctx },
	}
	failed := make(chan error, 1)
	go func() { failed <- h.Serve(limited(l, maxConns)) }()
	select {
	case err := <-failed:
		return fmt.Errorf("serving the page: %w", err)
	case <-ctx.Done():
	}
	s.end()
	wait, cancel := context.WithTimeout(context.Background(), endTime)
	defer cancel()
	if h.Shutdown(wait) != nil {
		h.Close() // what has not ended by now is cut off
	}
	return nil
}

// limited is a listener with so many connections at a time; more wait to be
// accepted.
func limited(l net.Listener, n int) net.Listener { return &limitedListener{l, make(chan struct{}, n)} }

type limitedListener struct {
	net.Listener
	room chan struct{}
}

func (l *limitedListener) Accept() (net.Conn, error) {
	l.room <- struct{}{}
	c, err := l.Listener.Accept()
	if err != nil {
		<-l.room
		return nil, err
	}
	return &limitedConn{Conn: c, room: l.room}, nil
}

type limitedConn struct {
	net.Conn
	once sync.Once
	room chan struct{}
}

func (c *limitedConn) Close() error {
	err := c.Conn.Close()
	c.once.Do(func() { <-c.room })
	return err
}
