package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
)

// Need is an amount of an item that a job takes.
type Need struct {
	Item
	Lot    string // a lot that it must be, as for a piece of veneer that was planned on; "" for any
	Amount Amount
	Unit   string // what the amount is measured in: g, piece, ml, m; "" as the item is
	OneLot bool   // it must all come from one lot, as the filament of a print load does
	For    string // what it is for: "load-03"
}

func (n Need) check() error {
	switch {
	case n.Amount <= 0 || !n.Amount.within():
		return fmt.Errorf("%s: an amount of %s cannot be reserved", n.Item, n.Amount)
	case n.Kind == Offcut && n.Lot == "":
		return fmt.Errorf("%s: say which piece", n.Item)
	}
	return nil
}

// Shortage is what a need lacks.
type Shortage struct {
	Need
	Free  Amount // what it could have had: of a need for one lot, the most that one holds
	Holds []Hold // what other jobs have reserved of the item or lot
}

// Short is how much is lacking.
func (s Shortage) Short() Amount { return s.Amount - s.Free }

// Reservation is what came of Reserve: either every need is met, or none is and
// Short says why.
type Reservation struct {
	Taken []Taken    // what was reserved of which lot, in the order of the lots
	Short []Shortage // of the needs as they were asked for
}

// Taken is an amount of a lot.
type Taken struct {
	Lot    Ref
	Amount Amount
}

// Reserve reserves all that a job needs, or nothing. What the job had reserved
// before is let go in the same step. Open spools with little left are used up
// first. The job must have been planned.
func (s *Store) Reserve(ctx context.Context, job string, needs []Need, why Note) (Reservation, error) {
	var out Reservation
	err := s.write(ctx, "reserving for "+job, func(tx *sql.Tx) error {
		out = Reservation{}
		done, err := s.repeated(ctx, tx, "reserve", why)
		if err != nil {
			return err
		}
		if done != 0 {
			moves, err := movesOf(ctx, tx, done)
			for _, m := range moves {
				if m.Held > 0 {
					out.Taken = append(out.Taken, Taken{m.Lot, m.Held})
				}
			}
			return err
		}
		if err := state(ctx, tx, job, "planned", "reserved"); err != nil {
			return err
		}
		if len(needs) == 0 {
			return errors.New("there is nothing to reserve")
		}
		for _, n := range needs {
			if err := n.check(); err != nil {
				return err
			}
		}
		stock, err := stockOf(ctx, tx, StockOptions{})
		if err != nil {
			return err
		}
		for _, n := range needs {
			if it, ok := stock.Of(n.Item); ok && n.Unit != "" && n.Unit != it.Unit {
				return fmt.Errorf("%s is wanted in %s, and in stock it is measured in %s", n.Item, n.Unit, it.Unit)
			}
		}
		taken, short := allocate(stock, job, needs)
		if len(short) > 0 {
			out.Short = short
			return nil
		}
		moves, err := letGo(ctx, tx, job)
		if err != nil {
			return err
		}
		for _, t := range taken {
			n, err := lotOf(ctx, tx, t.Lot)
			if err != nil {
				return err
			}
			moves = append(moves, move{lot: n, held: t.Amount})
		}
		if _, err := s.post(ctx, tx, "reserve", job, why, moves); err != nil {
			return err
		}
		out.Taken = taken
		return become(ctx, tx, job, "reserved")
	})
	return out, err
}

// Release lets go what a job has reserved.
func (s *Store) Release(ctx context.Context, job string, why Note) error {
	return s.end(ctx, "release", job, "planned", why)
}

// Abandon ends a job that will not be made, and lets go what it has reserved.
func (s *Store) Abandon(ctx context.Context, job string, why Note) error {
	return s.end(ctx, "abandon", job, "abandoned", why)
}

func (s *Store) end(ctx context.Context, kind, job, to string, why Note) error {
	return s.write(ctx, kind+" of "+job, func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, kind, why); err != nil || done != 0 {
			return err
		}
		from := []string{"reserved"}
		if to == "abandoned" {
			from = append(from, "planned")
		}
		if err := state(ctx, tx, job, from...); err != nil {
			return err
		}
		moves, err := letGo(ctx, tx, job)
		if err != nil {
			return err
		}
		if _, err := s.post(ctx, tx, kind, job, why, moves); err != nil {
			return err
		}
		return become(ctx, tx, job, to)
	})
}

// letGo are the movements that free what a job has reserved.
func letGo(ctx context.Context, tx *sql.Tx, job string) ([]move, error) {
	rows, err := tx.QueryContext(ctx, "SELECT lot, held FROM hold WHERE job = ? AND held > 0 ORDER BY lot", job)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []move
	for rows.Next() {
		var m move
		if err := rows.Scan(&m.lot, &m.held); err != nil {
			return nil, err
		}
		m.held = -m.held
		out = append(out, m)
	}
	return out, rows.Err()
}

// Actuals are what a job really took and left.
type Actuals struct {
	// Used are amounts that were taken from lots beside what Actual took. A lot that
	// was reserved and is not among them is taken as it was reserved, but a spool
	// whose runs were logged is taken as logged; one with the amount 0 was not used.
	Used []Taken
	// Left are pieces of veneer that go back to stock, each with the veneer that it
	// is of; Lot "" numbers it.
	Left []Left
}

// Left is a piece of veneer that a job left over.
type Left struct {
	Veneer string // ID as in the shop file
	Lot    string
	Piece  Piece
}

// Finish ends a job that was reserved: what it used is taken from stock, the
// rest of its reservation is let go, and what is left of its veneer comes back.
// It returns the lots that the pieces became.
func (s *Store) Finish(ctx context.Context, job string, a Actuals, why Note) ([]Ref, error) {
	var out []Ref
	err := s.write(ctx, "finishing "+job, func(tx *sql.Tx) error {
		out = nil
		done, err := s.repeated(ctx, tx, "finish", why)
		if err != nil {
			return err
		}
		if done != 0 {
			moves, err := movesOf(ctx, tx, done)
			for _, m := range moves {
				if m.Amount > 0 {
					out = append(out, m.Lot)
				}
			}
			return err
		}
		if err := state(ctx, tx, job, "reserved"); err != nil {
			return err
		}
		moves, err := letGo(ctx, tx, job)
		if err != nil {
			return err
		}
		for i := range moves {
			var logged bool
			if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM run r JOIN entry e ON e.n = r.entry WHERE r.spool = ? AND e.job = ?)", moves[i].lot, job).Scan(&logged); err != nil {
				return err
			}
			if !logged {
				moves[i].amount = moves[i].held
			}
		}
		seen := map[Ref]bool{}
		for _, u := range a.Used {
			n, err := lotOf(ctx, tx, u.Lot)
			switch {
			case err != nil:
				return err
			case u.Amount < 0:
				return fmt.Errorf("%s: %s cannot have been used", u.Lot, u.Amount)
			case seen[u.Lot]:
				return fmt.Errorf("%s is told twice", u.Lot)
			}
			seen[u.Lot] = true
			if k := slices.IndexFunc(moves, func(m move) bool { return m.lot == n }); k >= 0 {
				moves[k].amount = -u.Amount
			} else if u.Amount > 0 {
				moves = append(moves, move{lot: n, amount: -u.Amount})
			}
		}
		for _, l := range a.Left {
			n, ref, err := s.receive(ctx, tx, Receipt{Item: Item{Offcut, l.Veneer}, Lot: l.Lot, Piece: &l.Piece})
			if err != nil {
				return err
			}
			moves = append(moves, move{lot: n, amount: 1000})
			out = append(out, ref)
		}
		if _, err := s.post(ctx, tx, "finish", job, why, moves); err != nil {
			return err
		}
		return become(ctx, tx, job, "finished")
	})
	return out, err
}

// state is an error unless the job is in one of the states.
func state(ctx context.Context, tx *sql.Tx, job string, in ...string) error {
	var is string
	err := tx.QueryRowContext(ctx, "SELECT state FROM job WHERE id = ?", job).Scan(&is)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("job %s: %w", job, ErrUnknown)
	case err == nil && !slices.Contains(in, is):
		return fmt.Errorf("%w: it is %s", ErrState, is)
	}
	return err
}

func become(ctx context.Context, tx *sql.Tx, job, state string) error {
	_, err := tx.ExecContext(ctx, "UPDATE job SET state = ? WHERE id = ?", state, job)
	return err
}

// allocate finds lots for every need, or says what is short. What the job has
// reserved already counts as free.
func allocate(stock *Stock, job string, needs []Need) ([]Taken, []Shortage) {
	var items []Item // in the order of the needs
	for _, n := range needs {
		if !slices.Contains(items, n.Item) {
			items = append(items, n.Item)
		}
	}
	var taken []Taken
	var short []Shortage
	for _, it := range items {
		has, _ := stock.Of(it)
		free := make([]Amount, len(has.Lots))
		for k, l := range has.Lots {
			free[k] = l.For(job)
		}
		var own []Need
		for _, n := range needs {
			if n.Item == it {
				own = append(own, n)
			}
		}
		got, lacking := fromLots(has.Lots, free, own)
		for _, n := range lacking {
			for _, l := range has.Lots {
				if n.Lot != "" && n.Lot != l.Lot {
					continue
				}
				for _, h := range l.Holds {
					if h.Job != job {
						n.Holds = append(n.Holds, h)
					}
				}
			}
			short = append(short, n)
		}
		for k, l := range has.Lots {
			if got[k] > 0 {
				taken = append(taken, Taken{l.Ref, got[k]})
			}
		}
	}
	if len(short) > 0 {
		return nil, short
	}
	return taken, nil
}

// fromLots shares the needs for one item out over its lots: first those for a
// certain lot, then those that must come from one lot, the largest first, each
// from the fullest use of a lot; then the others from the emptiest on. It
// returns what is taken of each lot.
func fromLots(lots []Lot, free []Amount, needs []Need) ([]Amount, []Shortage) {
	got := make([]Amount, len(lots))
	take := func(k int, a Amount) { free[k] -= a; got[k] += a }
	order := make([]int, len(needs))
	for i := range order {
		order[i] = i
	}
	rank := func(n Need) int {
		switch {
		case n.Lot != "":
			return 0
		case n.OneLot:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(rank(needs[a]), rank(needs[b])), cmp.Compare(needs[b].Amount, needs[a].Amount))
	})
	lacks := make([]*Shortage, len(needs))
	var whole []int // needs for one lot
	for _, i := range order {
		if rank(needs[i]) != 0 {
			continue
		}
		k := slices.IndexFunc(lots, func(l Lot) bool { return l.Lot == needs[i].Lot })
		switch {
		case k < 0:
			lacks[i] = &Shortage{Need: needs[i]}
		case free[k] < needs[i].Amount:
			lacks[i] = &Shortage{Need: needs[i], Free: free[k]}
		default:
			take(k, needs[i].Amount)
		}
	}
	for _, i := range order {
		if rank(needs[i]) == 1 {
			whole = append(whole, i)
		}
	}
	amounts := make([]Amount, len(whole))
	for j, i := range whole {
		amounts[j] = needs[i].Amount
	}
	for j, k := range fit(free, amounts) {
		if k >= 0 {
			take(k, amounts[j])
			continue
		}
		var most Amount
		for _, f := range free {
			most = max(most, f)
		}
		// If it was put off so that others fit, it may look as if there were enough.
		lacks[whole[j]] = &Shortage{Need: needs[whole[j]], Free: min(most, amounts[j]-1)}
	}
	emptiest := make([]int, len(lots))
	for k := range emptiest {
		emptiest[k] = k
	}
	for _, i := range order {
		if rank(needs[i]) != 2 {
			continue
		}
		slices.SortStableFunc(emptiest, func(a, b int) int { return cmp.Compare(lots[a].OnHand, lots[b].OnHand) })
		rest := needs[i].Amount
		for _, k := range emptiest {
			a := min(rest, free[k])
			take(k, a)
			rest -= a
		}
		if rest > 0 {
			lacks[i] = &Shortage{Need: needs[i], Free: needs[i].Amount - rest}
		}
	}
	var short []Shortage
	for _, l := range lacks {
		if l != nil {
			short = append(short, *l)
		}
	}
	return got, short
}

// fit gives each amount, of which the largest comes first, a lot that has room
// for it, or -1. It takes for each the lot that is left with least (of two alike
// the one that had less), and goes
// back on that if a later one then fits nowhere, within a budget of steps; if
// none of that helps, it is the first try that counts.
func fit(free []Amount, amounts []Amount) []int {
	room := slices.Clone(free)
	at := make([]int, len(amounts))
	steps := 20_000
	var place func(j int, strict bool) bool
	place = func(j int, strict bool) bool {
		if j == len(amounts) {
			return true
		}
		if steps--; steps < 0 && strict {
			return false
		}
		var can []int
		for k, r := range room {
			if r >= amounts[j] {
				can = append(can, k)
			}
		}
		slices.SortStableFunc(can, func(a, b int) int { return cmp.Or(cmp.Compare(room[a], room[b]), cmp.Compare(free[a], free[b])) })
		for c, k := range can {
			if c > 0 && room[k] == room[can[c-1]] {
				continue // as good as the one before
			}
			at[j] = k
			room[k] -= amounts[j]
			if place(j+1, strict) {
				return true
			}
			room[k] += amounts[j]
		}
		if strict {
			return false
		}
		at[j] = -1
		return place(j+1, strict)
	}
	if place(0, true) {
		return at
	}
	place(0, false)
	return at
}
