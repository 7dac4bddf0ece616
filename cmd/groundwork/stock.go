package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"groundwork/internal/plan"
	"groundwork/internal/shop"
	"groundwork/internal/store"
)

// stockCommand is what the shop has, what is reserved of it, and what was used.
type stockCommand struct {
	List     stockList     `cmd:"" default:"withargs" help:"Tell what there is. This is what happens if you say nothing else."`
	Add      stockAdd      `cmd:"" help:"Take something in: a spool, sheets, an offcut, hardware, a consumable."`
	Count    stockCount    `cmd:"" help:"Put right what a count or a scale says otherwise."`
	Take     stockTake     `cmd:"" help:"Take something out for anything but a job."`
	Describe stockDescribe `cmd:"" help:"Say that a piece of veneer is otherwise: another size, a knot, a photograph."`
	Photo    stockPhoto    `cmd:"" help:"Write the photograph of a piece of veneer to a file; the list tells which have one."`
	Price    stockPrice    `cmd:"" help:"Say what something costs from now on."`
	Plan     stockPlan     `cmd:"" help:"Enter the job that a job folder was planned for."`
	Reserve  stockReserve  `cmd:"" help:"Lay aside all that a job takes, so that no other job counts on it."`
	Release  stockRelease  `cmd:"" help:"Let go what is reserved for a job; the job stays planned."`
	Print    stockPrint    `cmd:"" help:"Log what a print load really took."`
	SetAside stockSetAside `cmd:"" help:"Leave a logged load out of the calibration, with a reason."`
	Finish   stockFinish   `cmd:"" help:"End a job that was made: take out what it used, put back its offcuts."`
	Abandon  stockAbandon  `cmd:"" help:"End a job that will not be made, and let go what is reserved for it."`
	Jobs     stockJobs     `cmd:"" help:"Tell the jobs, or all there is to say of one."`
	History  stockHistory  `cmd:"" help:"Tell what was done to the stock, when and why."`
	Check    stockCheck    `cmd:"" help:"Look whether the file that the stock is kept in is sound."`
}

func (stockCommand) Help() string {
	return `From a box of spools to a finished piece:

  groundwork stock add spool abs 1kg --cost "22 EUR"
  groundwork plan stool.yaml --shop shop.yaml --out stool-1 --stock
  groundwork stock print stool-1 load-01 --took "3 h 20 min" --grams 212
  groundwork stock finish stool-1

Every change is kept with its time and its reason, and nothing that was entered is
overwritten: what was wrong is put right by a count, or by describing a piece anew.`
}

// storeFlag says where the stock is kept.
type storeFlag struct {
	Data string `help:"Folder that the stock is kept in. Without it the folder in GROUNDWORK_DATA, or else the usual place for data of yours." type:"path" placeholder:"DIR"`
}

func (f storeFlag) path() (string, error) {
	if f.Data != "" {
		return filepath.Join(f.Data, store.FileName), nil
	}
	return store.Path(os.Getenv)
}

// with does something with the store.
func (f storeFlag) with(ctx context.Context, do func(s *store.Store) error) error {
	path, err := f.path()
	if err != nil {
		return err
	}
	s, err := store.Open(ctx, path, time.Now)
	if err != nil {
		return err
	}
	return errors.Join(do(s), s.Close())
}

// stockFlag makes a plan go by the stock.
type stockFlag struct {
	Stock bool `help:"Go by your stock: cut from the offcuts there are before new sheets, enter the job under the name of its folder, and reserve what it takes."`
	storeFlag
}

func (f stockFlag) on() bool { return f.Stock || f.Data != "" }

// nameOf is what a job is called in the stock: as its folder.
func nameOf(folder string) string {
	if abs, err := filepath.Abs(folder); err == nil {
		folder = abs
	}
	return filepath.Base(folder)
}

// overlay is the shop with the pieces of veneer in stock that the job may use, if
// that is asked for; else the shop itself.
func (f stockFlag) overlay(ctx context.Context, out *output, s *shop.Shop, job string) (*shop.Shop, error) {
	if !f.on() {
		return s, nil
	}
	err := f.with(ctx, func(st *store.Store) error {
		if j, err := st.Job(ctx, job); err == nil && (j.State == "finished" || j.State == "abandoned") {
			return fmt.Errorf("a job %s is in the stock already, and is %s; give the job folder another name", job, j.State)
		} else if err != nil && !errors.Is(err, store.ErrUnknown) {
			return err
		}
		has, err := st.Stock(ctx, store.StockOptions{})
		if err != nil {
			return err
		}
		with, found := has.Overlay(s, job)
		showFindings(out, found)
		s = with
		return nil
	})
	return s, err
}

// reserve enters a plan as a job and reserves what it takes, if that is asked
// for. What is short is told, and then nothing is reserved.
func (f stockFlag) reserve(ctx context.Context, out *output, pl *plan.Plan, job string) error {
	if !f.on() {
		return nil
	}
	j := store.Job{
		ID: job, Piece: pl.Piece.Name,
		Loads: store.LoadsOf(pl.Printing, pl.FixturePrinting),
		Needs: store.Needs(pl.Bill, pl.Printing, pl.FixturePrinting, pl.Sheets),
		Left:  store.LeftOf(pl.Sheets),
	}
	if pl.Kit != nil {
		j.Revision = pl.Kit.Revision
	}
	return f.with(ctx, func(s *store.Store) error {
		if err := s.Plan(ctx, j, store.Note{}); err != nil {
			return err
		}
		if err := reserveJob(ctx, out, s, j, ""); err != nil && !errors.As(err, new(shortError)) { // the job folder is there all the same
			return err
		}
		return nil
	})
}

type stockCheck struct{ storeFlag }

func (stockCheck) Help() string {
	return "The file is read from end to end, and everything that was ever entered is added up again and held against what the stock says. A backup is checked in the same way when it is made and before it is put in place."
}

func (c *stockCheck) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		wrong, err := s.Check(ctx)
		if err != nil {
			return err
		}
		for _, w := range wrong {
			fmt.Fprintf(out.Out, "WRONG  %s\n", w)
		}
		if len(wrong) > 0 {
			return fmt.Errorf("%s is damaged; put a backup in its place with groundwork restore, which keeps what is there", s.Path())
		}
		fmt.Fprintf(out.Out, "%s is sound: it can be read to its end, and all that was entered adds up to what the stock says.\n", s.Path())
		return nil
	})
}

// shortError ends a command that could not reserve what a job takes.
type shortError struct{ job string }

func (e shortError) Error() string { return "nothing is reserved for " + e.job }

// Unwrap makes it one of those errors that say: the maker must do something first.
func (e shortError) Unwrap() error { return alterError{} }

// reserveJob reserves what a job takes and tells what came of it. It is a
// shortError if not all of it is there.
func reserveJob(ctx context.Context, out *output, s *store.Store, j store.Job, why string) error {
	if len(j.Needs) == 0 {
		fmt.Fprintf(out.Out, "%s takes nothing from stock.\n", j.ID)
		return nil
	}
	r, err := s.Reserve(ctx, j.ID, j.Needs, store.Note{Reason: why})
	if err != nil {
		return err
	}
	if len(r.Short) == 0 {
		fmt.Fprintf(out.Out, "Reserved for %s:\n", j.ID)
		return takenTable(ctx, out, s, r.Taken)
	}
	fmt.Fprintf(out.Out, "%s is entered, and nothing is reserved for it yet, for this is short:\n", j.ID)
	t := newTable(out)
	t.row("", "wanted", "free", "short")
	for i, x := range r.Short {
		if !x.OneLot {
			t.row(itemName(x.Item, x.Lot), amount(x.Amount, x.Unit), amount(x.Free, x.Unit), amount(x.Short(), x.Unit), holders(x.Holds, x.Unit))
			continue
		}
		// Loads of one filament in one line: how much more there must be on spools.
		if slices.ContainsFunc(r.Short[:i], func(y store.Shortage) bool { return y.OneLot && y.Item == x.Item }) {
			continue
		}
		var sum, most store.Amount
		var loads int
		for _, y := range r.Short[i:] {
			if y.OneLot && y.Item == x.Item {
				sum, most, loads = sum+y.Amount, max(most, y.Amount), loads+1
			}
		}
		t.row(itemName(x.Item, x.Lot), amount(sum, x.Unit), "", amount(sum, x.Unit), fmt.Sprintf("for %s, each from one spool, the largest %s", several(loads, "load"), amount(most, x.Unit)))
	}
	if err := t.end(); err != nil {
		return err
	}
	fmt.Fprintf(out.Out, "Get it, enter it with groundwork stock add, and then:  groundwork stock reserve %s\n", j.ID)
	return shortError{j.ID}
}

func holders(hs []store.Hold, unit string) string {
	var out []string
	for _, h := range hs {
		out = append(out, h.Job+" has "+amount(h.Amount, unit))
	}
	return strings.Join(out, ", ")
}

func takenTable(ctx context.Context, out *output, s *store.Store, taken []store.Taken) error {
	units, err := unitsOf(ctx, s)
	if err != nil {
		return err
	}
	t := newTable(out)
	for _, x := range taken {
		t.row(itemName(x.Lot.Item, x.Lot.Lot), amount(x.Amount, units.of(x.Lot.Item)))
	}
	return t.end()
}

// units are what items are measured in.
type units map[store.Item]string

func unitsOf(ctx context.Context, s *store.Store) (units, error) {
	has, err := s.Stock(ctx, store.StockOptions{Empty: true})
	if err != nil {
		return nil, err
	}
	u := units{}
	for _, it := range has.Items {
		u[it.Item] = it.Unit
	}
	return u, nil
}

// of is an item's unit, "" of a consumable that never was in stock.
func (u units) of(i store.Item) string {
	if i.Kind == store.Filament {
		return "g"
	}
	return u[i]
}

// amount writes an amount with its unit; of what is counted, the number alone.
func amount(a store.Amount, unit string) string {
	if unit == "piece" || unit == "" {
		return a.String()
	}
	return a.String() + " " + unit
}

// itemName is what people call an item or a lot of it.
func itemName(i store.Item, lot string) string {
	name := map[store.Kind]string{store.Filament: i.ID, store.Sheet: i.ID + " sheet", store.Offcut: i.ID + " offcut"}[i.Kind]
	if name == "" {
		name = i.ID
	}
	if lot == "" {
		return name
	}
	if i.Kind == store.Filament {
		name += " spool"
	}
	return name + " " + lot
}

// table writes lines in columns.
type table struct{ w *tabwriter.Writer }

func newTable(out *output) table { return table{tabwriter.NewWriter(out.Out, 0, 8, 3, ' ', 0)} }

func (t table) row(cells ...string) {
	for len(cells) > 1 && cells[len(cells)-1] == "" { // no blanks at the end of a line
		cells = cells[:len(cells)-1]
	}
	if len(cells) == 1 && cells[0] == "" {
		fmt.Fprintln(t.w)
		return
	}
	fmt.Fprintln(t.w, "  "+strings.Join(cells, "\t")) // Flush tells what went wrong
}

func (t table) end() error { return t.w.Flush() }

// jsonFlag asks for data instead of a table.
type jsonFlag struct {
	JSON bool `name:"json" help:"Write it as JSON, for other programs."`
}

// writeJSON writes a value for other programs.
func writeJSON(out *output, v any) error {
	b, err := json.MarshalIndent(v, "", " ")
	if err != nil {
		return err
	}
	_, err = out.Out.Write(append(b, '\n'))
	return err
}

// local is a time as the maker's clock shows it.
func local(t time.Time) string { return t.Local().Format("2006-01-02 15:04") }
