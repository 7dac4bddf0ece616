package api

import (
	"context"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2/sse"
)

// journal is a list of events that any number of listeners read, each at its
// own pace. Writing never waits for a reader. Events are numbered from 1.
type journal struct {
	keep int // how many of the last events are kept

	mu     sync.Mutex
	gone   int // events no longer kept
	events []any
	over   bool
	more   chan struct{} // closed when there is more to read
}

func newJournal(keep int) *journal { return &journal{keep: keep, more: make(chan struct{})} }

// add notes an event. After the end it does nothing.
func (j *journal) add(e any) { j.write(e, false) }

// end notes the last event.
func (j *journal) end(e any) { j.write(e, true) }

func (j *journal) write(e any, last bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.over {
		return
	}
	j.over = last
	j.events = append(j.events, e)
	if n := len(j.events) - j.keep; n > 0 {
		clear(j.events[:n]) // nothing holds on to what is not kept
		j.events = j.events[n:]
		j.gone += n
	}
	close(j.more)
	j.more = make(chan struct{})
}

// entries are the events after number n that are kept, the number of the first
// of them, whether others before it are lost, whether the last of them is the
// journal's last, and what is closed when there is more.
func (j *journal) entries(n int) (events []any, first int, lost, over bool, more <-chan struct{}) {
	j.mu.Lock()
	defer j.mu.Unlock()
	last := j.gone + len(j.events)
	if n > last { // of another run of the program
		n, lost = last, true
	}
	from := max(n, j.gone)
	return append([]any(nil), j.events[from-j.gone:]...), from + 1, lost || n < j.gone, j.over, j.more
}

// last is the number of the last event.
func (j *journal) last() int {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.gone + len(j.events)
}

// beat is how often a quiet stream sends a ping.
const beat = 10 * time.Second

// follow sends the events after number n to a client until the journal ends,
// the client goes, or does not take what it is sent within sse.WriteTimeout.
// missed, unless nil, tells a client that events are lost to it.
func follow(ctx context.Context, j *journal, n int, missed any, send sse.Sender) {
	quiet := time.NewTicker(beat)
	defer quiet.Stop()
	if send.Data(PingEvent{}) != nil { // the headers go out, and the client knows that it is heard
		return
	}
	for {
		events, first, lost, over, more := j.entries(n)
		if lost && missed != nil && send.Data(missed) != nil {
			return
		}
		for i, e := range events {
			if send(sse.Message{ID: first + i, Data: e}) != nil {
				return
			}
		}
		n = first + len(events) - 1
		if over {
			return
		}
		if len(events) > 0 {
			quiet.Reset(beat)
		}
		select {
		case <-ctx.Done():
			return
		case <-more:
		case <-quiet.C:
			if send.Data(PingEvent{}) != nil {
				return
			}
		}
	}
}

// audience counts who listens. When the last has been gone for a while, gone
// is called.
type audience struct {
	grace time.Duration
	gone  func()

	mu   sync.Mutex
	ears int
}

// enter counts a listener, until leave is called.
func (a *audience) enter() (leave func()) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.ears++
	return func() {
		a.mu.Lock()
		defer a.mu.Unlock()
		if a.ears--; a.ears > 0 {
			return
		}
		time.AfterFunc(a.grace, func() {
			a.mu.Lock()
			empty := a.ears == 0
			a.mu.Unlock()
			if empty {
				a.gone()
			}
		})
	}
}
