package api

import (
	"context"
	"fmt"
	"net/http"
	"runtime/debug"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"

	"groundwork/internal/sheet"
	"groundwork/internal/solid"
)

// searches are the searches for tighter layouts.
type searches struct {
	ctx    context.Context // of the program
	kernel *solid.Kernel
	plans  *plans
	log    func(string, ...any)
	work   sync.WaitGroup

	mu   sync.Mutex
	n    int
	list []*search // oldest first
}

// search is one search. It ends when its time is over or it is stopped, with
// the best layout so far.
type search struct {
	id, view string
	news     *journal
	audience audience
	stopped  atomic.Bool
	over     bool // under the lock of searches
}

const (
	searchesAtOnce = 2
	searchesKept   = 20
	searchGrace    = 15 * time.Second
)

func newSearches(ctx context.Context, k *solid.Kernel, p *plans, log func(string, ...any)) *searches {
	return &searches{ctx: ctx, kernel: k, plans: p, log: log}
}

func (q *searches) begin(_ context.Context, in *struct {
	PlanID
	Body Improve
}) (*answer[Ordered], error) {
	_, m, err := q.plans.whole(in.ID)
	if err != nil {
		return nil, err
	}
	s, err := q.enlist(in.Body.View)
	if err != nil {
		return nil, err
	}
	q.work.Go(func() { q.run(s, m, time.Duration(in.Body.Seconds*float64(time.Second))) })
	return &answer[Ordered]{Ordered{ID: s.id}}, nil
}

// enlist makes room for a search. A view's earlier one is stopped.
func (q *searches) enlist(view string) (*search, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	busy := 0
	for _, s := range q.list {
		switch {
		case s.over:
		case view != "" && s.view == view:
			s.stopped.Store(true)
		default:
			busy++
		}
	}
	if busy >= searchesAtOnce {
		return nil, problem(http.StatusServiceUnavailable, fmt.Sprintf("%d searches are under way already", busy), "stop one of them, or wait until it ends")
	}
	q.n++
	s := &search{id: fmt.Sprintf("search-%d", q.n), view: view, news: newJournal(1000)}
	s.audience = audience{grace: searchGrace, gone: func() { s.stopped.Store(true) }}
	q.list = append(q.list, s)
	if len(q.list) > searchesKept {
		if i := slices.IndexFunc(q.list, func(s *search) bool { return s.over }); i >= 0 {
			q.list = slices.Delete(q.list, i, i+1)
		}
	}
	return s, nil
}

// run searches. What it begins with is the plan's own layout's problem: the
// same patterns, sheets and marks.
func (q *searches) run(s *search, m *made, lasts time.Duration) {
	defer func() {
		if r := recover(); r != nil { // a fault in one search must not end the rest
			q.log("a search broke off: %v\n%s", r, debug.Stack())
			s.news.end(FailedEvent{fmt.Sprintf("the program met a fault of its own and broke the search off (%v); your layout is as it was", r), []Fault{}})
		}
		q.mu.Lock()
		s.over = true
		q.mu.Unlock()
	}()
	start := time.Now()
	o := m.Sheet
	o.Spent = func() float64 {
		if s.stopped.Load() {
			return 1
		}
		return float64(time.Since(start)) / float64(lasts)
	}
	o.Watch.Better = func(b sheet.Better) {
		s.news.add(BetterEvent{Seconds: time.Since(start).Seconds(), Density: b.Density, ConsumedMM2: b.Consumed})
	}
	r, err := sheet.Plan(q.ctx, q.kernel, m.Plan.Patterns, m.Plan.Shop, o)
	if err != nil {
		s.news.end(failure(err))
		return
	}
	s.news.end(FoundEvent{listed(m.Marks.Keeping(r, m.Plan.Patterns))})
}

func (q *searches) find(id string) (*search, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, s := range q.list {
		if s.id == id {
			return s, nil
		}
	}
	return nil, problem(http.StatusNotFound, "there is no search "+quoted(id)+", or it is no longer kept", "begin it again")
}

// has is an error for a search that is not known.
func (q *searches) has(id string) error {
	_, err := q.find(id)
	return err
}

func (q *searches) events(ctx context.Context, in *struct {
	SearchID
	Since
}, send sse.Sender) {
	s, err := q.find(in.ID)
	if err != nil { // dropped in this moment
		send.Data(failure(err))
		return
	}
	defer s.audience.enter()()
	follow(ctx, s.news, in.LastEventID, nil, send)
}

func (q *searches) stop(_ context.Context, in *SearchID) (*struct{}, error) {
	s, err := q.find(in.ID)
	if err != nil {
		return nil, err
	}
	s.stopped.Store(true)
	return nil, nil
}

// wait returns when no search is under way.
func (q *searches) wait() { q.work.Wait() }
