package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"
	"unicode"

	"groundwork/internal/line"
	"groundwork/internal/plan"
	"groundwork/internal/solid"
	"groundwork/internal/task"
	"groundwork/internal/work"
)

// databaseFlag says where long work is shared.
type databaseFlag struct {
	Database string `help:"Share the work with others: postgres://USER@HOST/NAME for several machines, or a file for several programs on this one. Anyone who can write to it can set this machine to work. Better keep the password out of it, in ~/.pgpass or PGPASSWORD." env:"GROUNDWORK_DATABASE" placeholder:"WHERE"`
}

// finishing is how long a worker that is told to stop works on at what it has
// begun.
const finishing = 20 * time.Second

// lease is how long a worker is waited for that is not heard of; 0 is work's own.
// Tests make it short.
var lease time.Duration

// queue opens the queue of this build of the program, one of this process's own if
// none is named. finish is how long it works on when it is told to stop. told may
// be nil.
func (f databaseFlag) queue(ctx context.Context, out *output, finish time.Duration, told func(work.Event)) (*work.Queue, error) {
	program, err := line.Program()
	if err != nil {
		return nil, err
	}
	if f.Database == "" { // opened at once, so that who ends the work hears of the work
		ctx = context.WithoutCancel(ctx)
	}
	return work.Open(ctx, f.Database, work.Options{
		Program: program, Finish: finish, Lease: lease, Withdraw: true, Told: told,
		Log: slog.New(slog.NewTextHandler(out.Err, &slog.HandlerOptions{Level: slog.LevelWarn})),
	})
}

// handlers are what a worker can do.
func handlers(k *solid.Kernel) map[string]work.Handler {
	kept := plan.NewMemory(lineMemory) // stages of a piece serve its lines and its checks
	return map[string]work.Handler{
		line.TaskKind:  line.Worker{Kernel: k, Cache: kept}.Do,
		task.NestKind:  task.Searcher{}.Do,
		task.CheckKind: task.Checker{Kernel: func() (*solid.Kernel, error) { return k, nil }, Cache: kept}.Do,
	}
}

// words say what a task is, by its kind.
var words = map[string]func(args []byte) string{line.TaskKind: line.Words, task.NestKind: task.NestWords, task.CheckKind: task.CheckWords}

// called is what a task is called on the screen: "nest of shirts, seed 3". Who
// can write to the database has written it, so only what can be printed is shown.
func called(kind, key string, args []byte) string {
	const most = 80
	if say := words[kind]; say != nil {
		if text := strings.Join(strings.FieldsFunc(say(args), func(r rune) bool { return !unicode.IsPrint(r) }), " "); text != "" {
			return fmt.Sprintf("%s of %.*s", kind, most, text)
		}
	}
	return fmt.Sprintf("%s %.12s", kind, key)
}

// shared does tasks with everybody who works from the queue, this process among
// them. It is a line.Runner.
type shared struct {
	queue    *work.Queue
	handlers map[string]work.Handler
	beside   int // how many tasks this process does at a time; 0 leaves them to others
}

func (s shared) Run(ctx context.Context, kind string, tasks []line.Task, done func(i int, result []byte, err error)) error {
	all := make([]work.Task, len(tasks))
	for i, t := range tasks {
		all[i] = work.Task(t)
	}
	if s.beside == 0 {
		return s.queue.Run(ctx, kind, all, done)
	}
	// Who is told to stop stops working first: what is given back then is withdrawn.
	asking, leave := context.WithCancelCause(context.WithoutCancel(ctx))
	defer leave(nil)
	working, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() {
		err := s.queue.Work(working, map[string]work.Handler{kind: s.handlers[kind]}, s.beside)
		if err != nil || ctx.Err() != nil {
			leave(err) // nobody else may come
		}
		ended <- err
	}()
	err := s.queue.Run(asking, kind, all, done)
	stop()
	if fault := <-ended; fault != nil && err != nil {
		return fault
	}
	return err
}

// one does a single task.
func (s shared) one(ctx context.Context, kind string, t line.Task) ([]byte, error) {
	var (
		result []byte
		fault  error
	)
	err := s.Run(ctx, kind, []line.Task{t}, func(_ int, r []byte, err error) { result, fault = r, err })
	if err == nil {
		err = fault
	}
	return result, err
}

// lonely tells who is watching that there is nobody to wait for.
func lonely(out *output) func(work.Event) {
	return func(e work.Event) {
		if e.What == work.Alone {
			fmt.Fprintf(out.Err, "%d tasks wait, and no worker of this build of groundwork is there: start one with groundwork worker --database\n", e.Waiting)
		}
	}
}

type workerCommand struct {
	databaseFlag
	Jobs int `help:"How many tasks are worked at at a time; 2 if you say nothing. More need more memory, and are seldom quicker." default:"2" placeholder:"N"`
}

func (workerCommand) Help() string {
	return "Works for every maker who asks for long work on the same database, such as groundwork line, nest or check --strength with --database, until you press Ctrl-C. Then it finishes what it has begun, for 20 seconds at the most, and gives back the rest; the second Ctrl-C ends it at once. What a worker had that is gone without a word is taken up by others about half a minute later.\n\nIt works for the same build of groundwork only: others may come to other results.\n\nFor example:  groundwork worker --database postgres://maker@workshop/groundwork"
}

func (c *workerCommand) Run(ctx context.Context, out *output) error {
	if c.Database == "" {
		return errors.New("say where the work is: --database postgres://USER@HOST/NAME, or the file that other programs here work from")
	}
	if c.Jobs < 1 {
		return fmt.Errorf("--jobs %d: a worker works at one task at least", c.Jobs)
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM) // as service managers send
	defer stop()
	k, err := solid.New(solid.Options{})
	if err != nil {
		return err
	}
	defer k.Close()
	t := &teller{out: out.Err}
	q, err := c.queue(ctx, out, finishing, t.tell)
	if err != nil {
		return err
	}
	defer q.Close()
	_, others, err := q.Waiting(ctx)
	if err != nil {
		return err
	}
	t.say("working from %s, %d at a time; stop with Ctrl-C", q.Name(), c.Jobs)
	if others > 0 {
		t.say("%d tasks there are for other builds of groundwork and are left alone", others)
	}
	defer context.AfterFunc(ctx, func() { t.say("stopping: finishing what is begun, for %.0f s at the most", finishing.Seconds()) })()
	if err := q.Work(ctx, handlers(k), c.Jobs); err != nil {
		return err
	}
	t.say("stopped; %d finished", t.finished)
	return nil
}

// teller says what a worker does, a line each.
type teller struct {
	mu       sync.Mutex
	out      io.Writer
	finished int
}

func (t *teller) say(format string, a ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	fmt.Fprintf(t.out, time.Now().Format("15:04:05")+"  "+format+"\n", a...)
}

func (t *teller) tell(e work.Event) {
	what := called(e.Kind, e.Key, e.Args)
	switch e.What {
	case work.Taken:
		t.say("takes %s", what)
	case work.Finished:
		t.mu.Lock()
		t.finished++
		t.mu.Unlock()
		t.say("finished %s after %.1f s", what, e.Elapsed.Seconds())
	case work.GivenBack:
		t.say("gave back %s after %.1f s", what, e.Elapsed.Seconds())
	case work.Failed:
		next := "gave up"
		if e.Again {
			next = "will try again"
		}
		t.say("%s %s after %.1f s: %v", next, what, e.Elapsed.Seconds(), e.Err)
	case work.Freed:
		t.say("%s can be had again: the worker %s is gone", what, e.Worker)
	}
}
