package api

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"groundwork/internal/finding"
	"groundwork/internal/geom"
	"groundwork/internal/shop"
	"groundwork/internal/store"
	"groundwork/internal/unit"
)

// stockTime is how long a request may wait for other programs that write to the
// stock, or have it alone.
const stockTime = 20 * time.Second

// endedJobs is how many of the jobs that have ended are told with the stock.
const endedJobs = 20

// stock answers what is asked of the shop's store.
type stock struct {
	path  func() (string, error)
	plans *plans
	news  *journal

	// The store is open only while requests use it, so that a backup can be put in
	// its place under a page that is left open. Requests that overlap share it: its
	// writers then queue before one connection.
	mu    sync.Mutex
	users int
	open  *store.Store
}

// with does something with the store, and makes it if it is not there.
func (s *stock) with(ctx context.Context, do func(context.Context, *store.Store) error) error {
	ctx, cancel := context.WithTimeout(ctx, stockTime)
	defer cancel()
	st, err := s.enter(ctx)
	if err != nil {
		return stockRefusal(err)
	}
	err = do(ctx, st)
	if closing := s.leave(); err == nil && closing != nil {
		err = closing
	}
	if err != nil {
		return stockRefusal(err)
	}
	return nil
}

// look is with for what only reads; it does nothing where no stock was ever
// entered, for looking makes no file.
func (s *stock) look(ctx context.Context, do func(context.Context, *store.Store) error) error {
	path, err := s.where()
	if err != nil {
		return err
	}
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return s.with(ctx, do)
}

func (s *stock) where() (string, error) {
	const remedy = "start the program with serve --data DIR to say where the stock is kept"
	if s.path == nil {
		return "", problem(http.StatusServiceUnavailable, "it was not said where the stock is kept", remedy)
	}
	path, err := s.path()
	if err != nil {
		return "", problem(http.StatusServiceUnavailable, err.Error(), remedy)
	}
	return path, nil
}

func (s *stock) enter(ctx context.Context) (*store.Store, error) {
	path, err := s.where()
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open == nil {
		if s.open, err = store.Open(ctx, path, time.Now); err != nil {
			return nil, err
		}
	}
	s.users++
	return s.open, nil
}

func (s *stock) leave() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.users--; s.users > 0 {
		return nil
	}
	was := s.open
	s.open = nil
	return was.Close()
}

// changed tells every window that the stock is another.
func (s *stock) changed(view string) { s.news.add(StockEvent{View: view}) }

// stockRefusal is an error of the store as a problem.
func stockRefusal(err error) error {
	var p *Problem
	var lack *store.Lack
	var place *fs.PathError
	var number syscall.Errno
	var coded interface{ Code() int } // of SQLite
	switch {
	case errors.As(err, &p):
		return p
	case errors.As(err, &lack):
		return problem(http.StatusConflict, err.Error(), "weigh or count it, and put that right first")
	case errors.Is(err, store.ErrUnknown):
		return problem(http.StatusNotFound, err.Error(), "look at the stock as it is: it may have been entered under another name")
	case errors.Is(err, store.ErrState):
		return problem(http.StatusConflict, err.Error(), "look at the job as it is: it may have been changed in another window, or at the command line")
	case errors.Is(err, store.ErrKey):
		return problem(http.StatusConflict, err.Error(), "reload the page, and do it again")
	case errors.Is(err, store.ErrInUse), errors.Is(err, context.DeadlineExceeded):
		return problem(http.StatusServiceUnavailable, "another program has the stock to itself; nothing was changed", "wait until it is done, and do it again")
	case errors.Is(err, store.ErrNewer):
		return problem(http.StatusServiceUnavailable, err.Error(), "start the newest version of this program")
	case errors.Is(err, store.ErrForeign), errors.Is(err, store.ErrDamaged):
		return problem(http.StatusServiceUnavailable, err.Error(), "put a backup in its place with groundwork restore; what is there is kept")
	case errors.As(err, &place), errors.As(err, &number), errors.As(err, &coded):
		return problem(http.StatusInternalServerError, err.Error(), "see whether the folder of the stock can be written to and its disk has room; nothing was changed")
	}
	return problem(http.StatusUnprocessableEntity, err.Error(), "change what was entered, and send it again")
}

func (s *stock) tell(ctx context.Context, in *struct {
	Empty bool `query:"empty" doc:"Tell what is used up too"`
}) (*answer[Stock], error) {
	out := Stock{Items: []StockItem{}, Uncovered: []StockHolders{}, Jobs: []StockJobEntry{}, Printers: []string{}, Worth: []string{}}
	err := s.look(ctx, func(ctx context.Context, st *store.Store) error {
		has, err := st.Stock(ctx, store.StockOptions{Empty: in.Empty})
		if err != nil {
			return err
		}
		jobs, err := st.Jobs(ctx)
		if err != nil {
			return err
		}
		out.fill(has, jobs)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &answer[Stock]{out}, nil
}

// enter carries out one entry of the maker's: something comes in, is counted, or
// is priced.
func (s *stock) entry(ctx context.Context, in *struct{ Body StockEntry }) (*answer[StockEntered], error) {
	e := in.Body
	item := store.Item{Kind: store.Kind(e.Kind), ID: e.Item}
	out := StockEntered{Item: e.Item, Kind: e.Kind}
	err := s.with(ctx, func(ctx context.Context, st *store.Store) (err error) {
		unit, err := unitOf(ctx, st, item, e.Unit)
		if err != nil {
			return err
		}
		note := store.Note{Reason: e.Reason, Key: e.Key}
		switch e.Do {
		case "add":
			out.Lot, err = add(ctx, st, e, item, unit, note)
		case "count":
			out.Lot = e.Lot
			if strings.TrimSpace(e.Reason) == "" {
				return problem(http.StatusUnprocessableEntity, "a count that puts something right wants a reason", "say why it is not what was thought, as in weighed")
			}
			var a store.Amount
			if a, err = store.ParseAmount(e.Amount, unit); err == nil {
				err = st.Count(ctx, store.Ref{Item: item, Lot: e.Lot}, a, note)
			}
		case "price":
			var p store.Price
			if p, err = store.ParsePrice(e.Price, unit); err == nil {
				err = st.SetPrice(ctx, item, p, note)
			}
		}
		if err != nil {
			return err
		}
		has, err := st.Stock(ctx, store.StockOptions{})
		if err != nil {
			return err
		}
		if it, ok := has.Of(item); ok {
			out.There, out.Unit = it.OnHand.Units(), it.Unit
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	s.changed(e.View)
	return &answer[StockEntered]{out}, nil
}

// unitOf is what an item is or will be measured in.
func unitOf(ctx context.Context, st *store.Store, item store.Item, asked string) (string, error) {
	switch item.Kind {
	case store.Filament:
		return "g", nil
	case store.Sheet, store.Offcut, store.Hardware:
		return "piece", nil
	}
	has, err := st.Stock(ctx, store.StockOptions{Empty: true})
	if err != nil {
		return "", err
	}
	if it, ok := has.Of(item); ok {
		return it.Unit, nil
	}
	if asked == "" {
		return "", problem(http.StatusUnprocessableEntity, quoted(item.ID)+" is new in the stock, and it is not said what it is measured in", "choose g, ml, m or pieces, as in the shop file")
	}
	return asked, nil
}

func add(ctx context.Context, st *store.Store, e StockEntry, item store.Item, unit string, note store.Note) (lot string, err error) {
	r := store.Receipt{Item: item, Lot: e.Lot, Note: note}
	if item.Kind == store.Consumable {
		r.Unit = unit
	}
	text := e.Amount
	if item.Kind == store.Offcut {
		text = "1"
		p := store.Piece{Form: store.Leftover}
		if e.Form != "" {
			p.Form = store.Form(e.Form)
		}
		for _, q := range e.Outline {
			p.Outline = append(p.Outline, geom.V2(q[0], q[1]))
		}
		for _, a := range e.Reserved {
			p.Reserved = append(p.Reserved, shop.Reserved{At: geom.V2(a.At[0], a.At[1]), Size: geom.V2(a.Size[0], a.Size[1])})
		}
		r.Piece = &p
	} else if len(e.Outline) > 0 || len(e.Reserved) > 0 {
		return "", problem(http.StatusUnprocessableEntity, "only a piece of veneer has an outline", "take it in as an offcut")
	}
	if r.Amount, err = store.ParseAmount(text, unit); err != nil {
		return "", err
	}
	if e.Cost != "" {
		m, err := store.ParseMoney(e.Cost)
		if err != nil {
			return "", err
		}
		r.Price = &store.Price{Money: m, For: r.Amount}
	}
	ref, err := st.Add(ctx, r)
	return ref.Lot, err
}

// reserve enters a plan as a job and reserves what it takes; what is short is
// told, and then the job is entered and nothing is reserved.
func (s *stock) reserve(ctx context.Context, in *struct {
	PlanID
	Body StockReserve
}) (*answer[StockReserved], error) {
	_, m, err := s.plans.whole(in.ID)
	if err != nil {
		return nil, err
	}
	pl, ask := m.Plan, in.Body
	if err := checkJobName(ask.Job); err != nil {
		return nil, err
	}
	if slices.ContainsFunc(pl.Findings, func(f finding.Finding) bool { return f.Severity == finding.Stop }) {
		return nil, problem(http.StatusConflict, "this plan cannot be made as it is, so that nothing is laid aside for it", "put right what it stops at first")
	}
	fixtures := pl.FixturePrinting
	if ask.WithoutFixtures {
		fixtures = nil
	}
	j := store.Job{
		ID: ask.Job, Piece: pl.Piece.Name,
		Loads: store.LoadsOf(pl.Printing, fixtures), Needs: store.Needs(pl.Bill, pl.Printing, fixtures, pl.Sheets), Left: store.LeftOf(pl.Sheets),
	}
	if pl.Kit != nil {
		j.Revision = pl.Kit.Revision
	}
	return s.layAside(ctx, ask.StockDo, j, true)
}

// reserveJob reserves for a job that was entered before.
func (s *stock) reserveJob(ctx context.Context, in *struct {
	StockJobName
	Body StockDo
}) (*answer[StockReserved], error) {
	return s.layAside(ctx, in.Body, store.Job{ID: in.Job}, false)
}

// layAside reserves for a job; fresh enters it first.
func (s *stock) layAside(ctx context.Context, ask StockDo, j store.Job, fresh bool) (*answer[StockReserved], error) {
	out := StockReserved{Taken: []StockTaken{}, Short: []StockShort{}}
	err := s.with(ctx, func(ctx context.Context, st *store.Store) error {
		if fresh {
			if was, err := st.Job(ctx, j.ID); err == nil && was.Piece != j.Piece && (was.State == "planned" || was.State == "reserved") {
				return problem(http.StatusConflict, fmt.Sprintf("there is a job %s already, of the piece %s", quoted(j.ID), quoted(was.Piece)), "choose another name")
			} else if err != nil && !errors.Is(err, store.ErrUnknown) {
				return err
			}
			if err := st.Plan(ctx, j, store.Note{Reason: ask.Reason, Key: ask.Key + " plan"}); err != nil {
				return ended(ctx, st, j.ID, err)
			}
		} else {
			was, err := theJob(ctx, st, j.ID)
			if err != nil {
				return err
			}
			j = was
		}
		has, err := st.Stock(ctx, store.StockOptions{Empty: true})
		if err != nil {
			return err
		}
		if len(j.Needs) > 0 {
			r, err := st.Reserve(ctx, j.ID, j.Needs, store.Note{Reason: ask.Reason, Key: ask.Key})
			if err != nil {
				return ended(ctx, st, j.ID, err)
			}
			for _, t := range r.Taken {
				out.Taken = append(out.Taken, takenOf(t, has))
			}
			for _, x := range r.Short {
				out.Short = append(out.Short, shortOf(x))
			}
		}
		now, err := theJob(ctx, st, j.ID)
		if err != nil {
			return err
		}
		out.Job = jobOf(now, has)
		return nil
	})
	if err != nil {
		return nil, err
	}
	s.changed(ask.View)
	return &answer[StockReserved]{out}, nil
}

// checkJobName holds a job's name to what can be a folder's and can stand in an
// address.
func checkJobName(name string) error {
	if name == "." || name == ".." || strings.ContainsAny(name, `/\`) || strings.TrimSpace(name) != name || name == "" || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return problem(http.StatusUnprocessableEntity, quoted(name)+" cannot be the name of a job", "use letters, digits and hyphens, as in stool-1")
	}
	return nil
}

// ended explains the error of a call that came too late, or too early.
func ended(ctx context.Context, st *store.Store, job string, err error) error {
	if !errors.Is(err, store.ErrState) {
		return err
	}
	j, lookErr := st.Job(ctx, job)
	if lookErr != nil {
		return err
	}
	switch j.State {
	case "finished":
		return problem(http.StatusConflict, j.ID+" is finished already", "to make the piece once more, lay aside for it under another name")
	case "abandoned":
		return problem(http.StatusConflict, j.ID+" was given up", "to make it after all, lay aside for it under another name")
	case "planned":
		return problem(http.StatusConflict, "nothing is laid aside for "+j.ID, "lay aside what it takes first")
	}
	return err
}

// theJob is a job by its name.
func theJob(ctx context.Context, st *store.Store, name string) (store.Job, error) {
	j, err := st.Job(ctx, name)
	if errors.Is(err, store.ErrUnknown) {
		return j, noJob(name)
	}
	return j, err
}

func noJob(name string) error {
	return problem(http.StatusNotFound, "there is no job "+quoted(name), "look at the list of jobs in the stock")
}

// job tells all of one job.
func (s *stock) job(ctx context.Context, in *StockJobName) (*answer[StockJob], error) {
	var out *StockJob
	err := s.look(ctx, func(ctx context.Context, st *store.Store) error {
		j, err := theJob(ctx, st, in.Job)
		if err != nil {
			return err
		}
		has, err := st.Stock(ctx, store.StockOptions{Empty: true})
		if err == nil {
			told := jobOf(j, has)
			out = &told
		}
		return err
	})
	if err == nil && out == nil {
		err = noJob(in.Job)
	}
	if err != nil {
		return nil, err
	}
	return &answer[StockJob]{*out}, nil
}

// deed carries out something to a job and answers with the job as it is then.
func (s *stock) deed(ctx context.Context, name, view string, do func(context.Context, *store.Store, store.Job) error) (StockJob, error) {
	var out StockJob
	err := s.with(ctx, func(ctx context.Context, st *store.Store) error {
		j, err := theJob(ctx, st, name)
		if err != nil {
			return err
		}
		if err := do(ctx, st, j); err != nil {
			return ended(ctx, st, name, err)
		}
		has, err := st.Stock(ctx, store.StockOptions{Empty: true})
		if err != nil {
			return err
		}
		if j, err = theJob(ctx, st, name); err != nil {
			return err
		}
		out = jobOf(j, has)
		return nil
	})
	if err == nil {
		s.changed(view)
	}
	return out, err
}

// print logs what a load really took.
func (s *stock) print(ctx context.Context, in *struct {
	StockJobName
	Body StockPrint
}) (*answer[StockJob], error) {
	e := in.Body
	took, q, err := unit.Parse(e.Took)
	if err != nil || q != unit.Time {
		return nil, problem(http.StatusUnprocessableEntity, quoted(e.Took)+" is no time", "write how long with its unit, as in 3 h 20 min")
	}
	grams, err := store.ParseAmount(e.Grams, "g")
	if err != nil {
		return nil, problem(http.StatusUnprocessableEntity, err.Error(), "write what it took with its unit, as in 212 g")
	}
	out, err := s.deed(ctx, in.Job, e.View, func(ctx context.Context, st *store.Store, j store.Job) error {
		i := slices.IndexFunc(j.Loads, func(l store.Load) bool { return l.ID == e.Load })
		if i < 0 {
			return problem(http.StatusNotFound, fmt.Sprintf("%s has no load %s", j.ID, quoted(e.Load)), "look at the job's loads: the piece may have been planned anew")
		}
		if e.Printer != "" && e.NewPrinter {
			if err := st.SetPrinter(ctx, e.Printer, "", false); err != nil {
				return err
			}
		}
		why := e.Load // the history tells it
		if e.Failed {
			why += " failed"
		}
		if e.Reason != "" {
			why += ": " + e.Reason
		}
		return st.Actual(ctx, store.Actual{Job: j.ID, Load: e.Load, Seconds: took, Grams: grams.Units(), Printer: e.Printer, Spool: e.Spool, Failed: e.Failed}, store.Note{Reason: why, Key: e.Key})
	})
	if err != nil {
		return nil, err
	}
	return &answer[StockJob]{out}, nil
}

// finish ends a job that was made.
func (s *stock) finish(ctx context.Context, in *struct {
	StockJobName
	Body StockFinish
}) (*answer[StockFinished], error) {
	e := in.Body
	out := StockFinished{Back: []StockBack{}, AsPlanned: []StockTaken{}}
	var err error
	out.Job, err = s.deed(ctx, in.Job, e.View, func(ctx context.Context, st *store.Store, j store.Job) error {
		a := store.Actuals{Left: j.Left, Used: j.Unlogged()}
		if e.NoOffcuts {
			a.Left = nil
		}
		back, err := st.Finish(ctx, j.ID, a, store.Note{Reason: e.Reason, Key: e.Key})
		if err != nil {
			return err
		}
		for i, r := range back {
			b := StockBack{Item: r.ID, Lot: r.Lot}
			if i < len(j.Left) {
				b.Piece = pieceOf(&j.Left[i].Piece)
			}
			out.Back = append(out.Back, b)
		}
		for _, u := range a.Used {
			if u.Amount > 0 {
				out.AsPlanned = append(out.AsPlanned, StockTaken{string(u.Lot.Kind), u.Lot.ID, u.Lot.Lot, u.Amount.Units(), "g"})
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return &answer[StockFinished]{out}, nil
}

// abandon ends a job that will not be made.
func (s *stock) abandon(ctx context.Context, in *struct {
	StockJobName
	Body StockDo
}) (*answer[StockJob], error) {
	return s.end(ctx, in.Job, in.Body, (*store.Store).Abandon)
}

// release lets go what is reserved for a job, which stays planned.
func (s *stock) release(ctx context.Context, in *struct {
	StockJobName
	Body StockDo
}) (*answer[StockJob], error) {
	return s.end(ctx, in.Job, in.Body, (*store.Store).Release)
}

func (s *stock) end(ctx context.Context, job string, e StockDo, do func(*store.Store, context.Context, string, store.Note) error) (*answer[StockJob], error) {
	out, err := s.deed(ctx, job, e.View, func(ctx context.Context, st *store.Store, j store.Job) error {
		return do(st, ctx, j.ID, store.Note{Reason: e.Reason, Key: e.Key})
	})
	if err != nil {
		return nil, err
	}
	return &answer[StockJob]{out}, nil
}

// calibration tells what the log says of the estimates.
func (s *stock) calibration(ctx context.Context, _ *struct{}) (*answer[[]StockCalibration], error) {
	out := []StockCalibration{}
	err := s.look(ctx, func(ctx context.Context, st *store.Store) error {
		all, err := st.Calibration(ctx)
		for _, c := range all {
			out = append(out, StockCalibration{c.Printer, c.Filament, fitOf(c.Time), fitOf(c.Grams)})
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return &answer[[]StockCalibration]{out}, nil
}

// snapshot is the stock as a plan for a job goes by it.
func (s *stock) snapshot(ctx context.Context, job string) (*store.Stock, error) {
	has := &store.Stock{}
	err := s.look(ctx, func(ctx context.Context, st *store.Store) error {
		if job != "" {
			if j, err := st.Job(ctx, job); err == nil && (j.State == "finished" || j.State == "abandoned") {
				return problem(http.StatusConflict, fmt.Sprintf("a job %s is in the stock already, and is %s", quoted(job), j.State), "choose another name for the job")
			} else if err != nil && !errors.Is(err, store.ErrUnknown) {
				return err
			}
		}
		now, err := st.Stock(ctx, store.StockOptions{})
		if err == nil {
			has = now
		}
		return err
	})
	return has, err
}
