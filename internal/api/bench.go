package api

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"groundwork/internal/job"
	"groundwork/internal/marks"
	"groundwork/internal/plan"
	"groundwork/internal/sheet"
)

// Why a plan is given up.
var (
	errSuperseded = errors.New("a newer plan of the same window took its place")
	errCancelled  = errors.New("it was cancelled")
	errAbandoned  = errors.New("nobody listens any more")
)

// benchOptions set up a bench. The zero value has the usual figures.
type benchOptions struct {
	AtOnce int                           // plans in the making; 2
	Unmade int                           // plans in the making or waiting; 32
	Keep   int                           // plans kept when made, and of those given up what was known of them; 8
	Grace  time.Duration                 // for which an unfinished plan goes on without a listener; 15 s
	Log    func(format string, a ...any) // of panics; nothing where nil
}

// bench is where plans are made in the background, a few at once. Equal orders
// share one plan, a view's order takes the place of its earlier one, and made
// plans are kept until newer ones take their room.
type bench struct {
	o     benchOptions
	run   string // of the IDs of this run of the program
	slots chan struct{}
	work  sync.WaitGroup

	mu     sync.Mutex
	count  int
	tasks  map[string]*task // by ID
	byKey  map[string]*task // in the making or made
	byView map[string]*task // in the making
	made   []*task          // least recently used first
	unmade []*task          // given up or failed, oldest first: they are small, and say why
}

// made is a plan, or what is known of it while it is made, and what it was made
// with.
type made struct {
	Plan   *plan.Plan
	Sheet  sheet.Options // how cut sheets are laid out and drawn
	Marks  marks.File
	Folder job.Options // how its job folder is written
}

// order asks for a plan.
type order struct {
	Key  string // equal keys are equal plans
	View string // "" for an order that no other takes the place of
	// Make works the plan out. What it tells is sent to whoever listens.
	Make func(context.Context, *task) (*made, error)
}

// task is one plan: ordered, in the making, or made.
type task struct {
	id, key  string
	news     *journal
	audience audience
	give     context.CancelCauseFunc // gives it up

	// Under the bench's lock.
	views map[string]bool // that wait for it
	over  bool
	sofar *made // what is known while it is made, and of the last that were given up
	made  *made // when made

	job *jobFolder

	mu    sync.Mutex
	stage StageEvent // begun last
}

func newBench(o benchOptions) *bench {
	o.AtOnce, o.Unmade, o.Keep, o.Grace = cmp.Or(o.AtOnce, 2), cmp.Or(o.Unmade, 32), cmp.Or(o.Keep, 8), cmp.Or(o.Grace, 15*time.Second)
	if o.Log == nil {
		o.Log = func(string, ...any) {}
	}
	return &bench{
		o: o, run: strings.ToLower(rand.Text()[:10]), slots: make(chan struct{}, o.AtOnce),
		tasks: map[string]*task{}, byKey: map[string]*task{}, byView: map[string]*task{},
	}
}

// begin orders a plan, or joins an equal one. ctx is that of the program, not
// of the request: the plan outlives it.
func (b *bench) begin(ctx context.Context, o order) (*task, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	t := b.byKey[o.Key]
	if before := b.byView[o.View]; before != nil && before != t {
		b.leave(before, o.View, errSuperseded)
	}
	if t == nil {
		if len(b.tasks)-len(b.made)-len(b.unmade) >= b.o.Unmade {
			return nil, problem(http.StatusServiceUnavailable, fmt.Sprintf("%d plans are in the making or waiting already", b.o.Unmade),
				"wait until some are done, or close windows that you do not need")
		}
		ctx, give := context.WithCancelCause(ctx)
		b.count++
		t = &task{id: fmt.Sprintf("%s-%d", b.run, b.count), key: o.Key, news: newJournal(1000), give: give, views: map[string]bool{}, job: newJobFolder()}
		t.audience = audience{grace: b.o.Grace, gone: func() { b.abandon(t) }}
		b.tasks[t.id], b.byKey[t.key] = t, t
		b.work.Go(func() { b.make(ctx, t, o) })
	}
	if t.over {
		b.used(t)
		return t, nil
	}
	t.views[o.View] = true
	if o.View != "" {
		b.byView[o.View] = t
	}
	return t, nil
}

// make waits for a free slot and makes the plan.
func (b *bench) make(ctx context.Context, t *task, o order) {
	defer t.give(nil)
	select {
	case <-ctx.Done():
		b.finish(t, nil, context.Cause(ctx))
		return
	case b.slots <- struct{}{}:
	}
	defer func() { <-b.slots }()
	defer func() { // a fault in one plan must not end the others, nor what was saved
		if r := recover(); r != nil {
			b.o.Log("a plan broke off: %v\n%s", r, debug.Stack())
			b.finish(t, nil, fmt.Errorf("the program met a fault of its own and broke the plan off (%v); your files are as they were", r))
		}
	}()
	m, err := o.Make(ctx, t)
	if fault := (*plan.Fault)(nil); errors.As(err, &fault) {
		b.o.Log("a plan broke off: %v\n%s", err, fault.Stack())
	}
	if cause := context.Cause(ctx); err != nil && cause != nil {
		err = cause
	}
	b.finish(t, m, err)
}

// tellStage notes that a stage begins.
func (t *task) tellStage(stage string, done, total int) {
	t.mu.Lock()
	t.stage = StageEvent{Stage: stage, Done: done, Total: total}
	e := t.stage
	t.mu.Unlock()
	t.news.add(e)
}

// tellPart notes how a stage that takes long comes along.
func (t *task) tellPart(stage, part string) {
	t.mu.Lock()
	e := t.stage
	t.mu.Unlock()
	e.Stage, e.Part = stage, part // others may have begun beside it
	t.news.add(e)
}

// tellGeometry notes what is known so far.
func (b *bench) tellGeometry(t *task, sofar *made) {
	b.mu.Lock()
	if !t.over {
		t.sofar = sofar
	}
	b.mu.Unlock()
	t.news.add(GeometryEvent{})
}

// finish notes how a task ended.
func (b *bench) finish(t *task, m *made, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.ended(t, m, err)
}

// ended is finish with the lock held. A task that is given up has ended at
// once, so that its listeners need not wait until its stage heeds it; what
// comes of it later is dropped.
func (b *bench) ended(t *task, m *made, err error) {
	if t.over {
		return
	}
	t.over = true
	for v := range t.views {
		if b.byView[v] == t {
			delete(b.byView, v)
		}
	}
	if err == nil {
		t.made, t.sofar = m, nil
		b.made = append(b.made, t)
		if len(b.made) > b.o.Keep {
			old := b.made[0]
			b.made = slices.Delete(b.made, 0, 1)
			delete(b.tasks, old.id)
			delete(b.byKey, old.key)
		}
		t.news.end(DoneEvent{})
		return
	}
	delete(b.byKey, t.key)
	const remembered = 100
	b.unmade = append(b.unmade, t)
	if len(b.unmade) > remembered {
		delete(b.tasks, b.unmade[0].id)
		b.unmade = slices.Delete(b.unmade, 0, 1)
	}
	// A window may be about to fetch what it was just told of. Of plans of long ago
	// only why they ended is remembered.
	if old := len(b.unmade) - 1 - b.o.Keep; old >= 0 {
		b.unmade[old].sofar = nil
	}
	switch {
	case errors.Is(err, errSuperseded):
		t.news.end(SupersededEvent{})
	case errors.Is(err, errCancelled), errors.Is(err, errAbandoned):
		t.news.end(CancelledEvent{})
	case errors.Is(err, context.Canceled):
		t.news.end(FailedEvent{"the program is being ended", []Fault{}})
	default:
		t.news.end(failure(err))
	}
}

// leave takes a view off a task, and gives the task up if it was the last.
// The lock is held.
func (b *bench) leave(t *task, view string, why error) {
	delete(t.views, view)
	if b.byView[view] == t {
		delete(b.byView, view)
	}
	if len(t.views) == 0 {
		b.giveUp(t, why)
	}
}

// giveUp ends a task. The lock is held.
func (b *bench) giveUp(t *task, why error) {
	t.give(why)
	b.ended(t, nil, why)
}

// used notes that a made plan was looked at. The lock is held.
func (b *bench) used(t *task) {
	if i := slices.Index(b.made, t); i >= 0 {
		b.made = append(slices.Delete(b.made, i, i+1), t)
	}
}

// find is the task of an ID.
func (b *bench) find(id string) (*task, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if t := b.tasks[id]; t != nil {
		b.used(t)
		return t, nil
	}
	var n int
	if run, number, ok := strings.Cut(id, "-"); ok && run != b.run || ok && scan(number, &n) && n >= 1 && n <= b.count {
		return nil, problem(http.StatusGone, fmt.Sprintf("plan %s is no longer kept", id), "order the plan again")
	}
	return nil, problem(http.StatusNotFound, fmt.Sprintf("there is no plan %q", id), "order a plan first")
}

func scan(text string, n *int) bool { _, err := fmt.Sscanf(text, "%d", n); return err == nil }

// cancel gives a task up for one view, or for all where view is "".
func (b *bench) cancel(t *task, view string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case t.over:
	case view == "":
		b.giveUp(t, errCancelled)
	case t.views[view]:
		b.leave(t, view, errCancelled)
	}
}

// abandon gives a task up that nobody listens to any more.
func (b *bench) abandon(t *task) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !t.over {
		b.giveUp(t, errAbandoned)
	}
}

// known is what is known of a task: the plan or what there is of it, nil if
// nothing is; and whether it has ended, well or not.
func (b *bench) known(t *task) (sofar, whole *made, over bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if t.made != nil {
		return t.made, t.made, true
	}
	return t.sofar, nil, t.over
}

// wait returns when nothing is in the making, for the kernel to be closed.
func (b *bench) wait() { b.work.Wait() }
