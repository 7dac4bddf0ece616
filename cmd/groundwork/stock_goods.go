package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/store"
)

type stockList struct {
	Empty bool `help:"Tell what is used up too."`
	jsonFlag
	storeFlag
}

func (c *stockList) Run(ctx context.Context, out *output) error {
	return c.with(ctx, func(s *store.Store) error {
		has, err := s.Stock(ctx, store.StockOptions{Empty: c.Empty})
		if err != nil {
			return err
		}
		if c.JSON {
			return writeJSON(out, stockOf(has))
		}
		return showStock(out, has, c.Empty)
	})
}

// stockDoc is the stock for other programs: amounts in the item's unit, mm.
type stockDoc struct {
	Items []itemDoc `json:"items"`
	Worth []string  `json:"worth"` // "312.40 EUR", by currency
}

type itemDoc struct {
	Kind     string   `json:"kind"`
	Item     string   `json:"item"`
	Unit     string   `json:"unit"`
	OnHand   float64  `json:"on_hand"`
	Reserved float64  `json:"reserved"`
	Free     float64  `json:"free"`
	Price    *string  `json:"price"` // "22.00 EUR for 1000"; null where none is known
	Lots     []lotDoc `json:"lots"`
}

type lotDoc struct {
	Lot      string       `json:"lot"`
	OnHand   float64      `json:"on_hand"`
	Holds    []holdDoc    `json:"holds"`
	Form     string       `json:"form,omitempty"`
	Outline  [][2]float64 `json:"outline_mm,omitempty"`  // X across the grain, Y along it
	Reserved [][4]float64 `json:"reserved_mm,omitempty"` // x, y, width, length of knots and the like
	Photo    string       `json:"photo,omitempty"`       // SHA-256 of its photograph, which groundwork stock photo writes
}

type holdDoc struct {
	Job    string  `json:"job"`
	Amount float64 `json:"amount"`
}

func stockOf(has *store.Stock) stockDoc {
	d := stockDoc{Items: []itemDoc{}, Worth: []string{}}
	for _, it := range has.Items {
		doc := itemDoc{string(it.Kind), it.ID, it.Unit, it.OnHand.Units(), it.Held.Units(), it.Free().Units(), nil, []lotDoc{}}
		if it.Price != nil {
			p := it.Price.Money.String() + " for " + it.Price.For.String()
			doc.Price = &p
		}
		for _, l := range it.Lots {
			lot := lotDoc{Lot: l.Lot, OnHand: l.OnHand.Units(), Holds: []holdDoc{}}
			for _, h := range l.Holds {
				lot.Holds = append(lot.Holds, holdDoc{h.Job, h.Amount.Units()})
			}
			if l.Piece != nil {
				lot.Form, lot.Photo = string(l.Piece.Form), l.Piece.PhotoName
				for _, q := range l.Piece.Outline {
					lot.Outline = append(lot.Outline, [2]float64{q.X, q.Y})
				}
				for _, r := range l.Piece.Reserved {
					lot.Reserved = append(lot.Reserved, [4]float64{r.At.X, r.At.Y, r.Size.X, r.Size.Y})
				}
			}
			doc.Lots = append(doc.Lots, lot)
		}
		d.Items = append(d.Items, doc)
	}
	worth, _ := has.Value()
	for _, m := range worth {
		d.Worth = append(d.Worth, m.String())
	}
	return d
}

// titles are the headings of the list.
var titles = map[store.Kind]string{
	store.Filament: "Filament", store.Sheet: "Sheets of veneer", store.Offcut: "Offcuts of veneer", store.Hardware: "Hardware", store.Consumable: "Consumables",
}

func showStock(out *output, has *store.Stock, empty bool) error {
	t := newTable(out)
	any := false
	for _, kind := range store.Kinds {
		headed := false
		for _, it := range has.Items {
			if it.Kind != kind || len(it.Lots) == 0 && !empty {
				continue
			}
			if !headed {
				if any {
					t.row("")
				}
				fmt.Fprintf(t.w, "%s\tthere\treserved\tfree\tfor\tprice\n", titles[kind])
				headed, any = true, true
			}
			price := ""
			if it.Price != nil {
				price = priceText(*it.Price, it.Unit)
			}
			bin := kind != store.Filament && kind != store.Offcut
			jobs := ""
			if bin && len(it.Lots) == 1 {
				jobs = jobsOf(it.Lots[0].Holds)
			}
			t.row(it.ID, amount(it.OnHand, it.Unit), heldText(it.Held, it.Unit), amount(it.Free(), it.Unit), jobs, price)
			for _, l := range it.Lots {
				switch {
				case kind == store.Filament:
					t.row("  spool "+l.Lot, amount(l.OnHand, it.Unit), heldText(l.Held(), it.Unit), amount(l.Free(), it.Unit), jobsOf(l.Holds))
				case l.Piece != nil:
					t.row("  no. "+l.Lot+": "+sizeText(l.Piece), "", "", "", jobsOf(l.Holds))
				}
			}
		}
	}
	if err := t.end(); err != nil {
		return err
	}
	if !any {
		fmt.Fprintln(out.Out, "There is nothing in stock yet. Begin with:  groundwork stock add spool abs 1kg")
		return nil
	}
	for _, l := range has.Uncovered() {
		fmt.Fprintf(out.Out, "\nWARNING  %s: more is reserved than is there, by %s. Get more, or release one of the jobs.\n", itemName(l.Item, l.Lot), jobsOf(l.Holds))
	}
	if worth, unpriced := has.Value(); len(worth) > 0 {
		var sums []string
		for _, m := range worth {
			sums = append(sums, m.String())
		}
		fmt.Fprintf(out.Out, "\nWorth %s at the last prices", strings.Join(sums, " and "))
		if unpriced > 0 {
			fmt.Fprintf(out.Out, ", without %d of which no price is known", unpriced)
		}
		fmt.Fprintln(out.Out, ".")
	}
	return nil
}

// heldText is what is reserved, nothing for nothing.
func heldText(a store.Amount, unit string) string {
	if a == 0 {
		return ""
	}
	return amount(a, unit)
}

func jobsOf(hs []store.Hold) string {
	var out []string
	for _, h := range hs {
		out = append(out, h.Job)
	}
	return strings.Join(out, ", ")
}

func priceText(p store.Price, unit string) string {
	if p.For == store.Pieces(1) && unit == "piece" {
		return p.Money.String()
	}
	return p.Money.String() + " for " + amount(p.For, unit)
}

// whyFlag is a reason in the maker's words.
type whyFlag struct {
	Why string `help:"Why, in your words; it is kept with the change." placeholder:"TEXT"`
}

func (f whyFlag) note() store.Note { return store.Note{Reason: f.Why} }

// receiptFlags are what is said of everything that comes in.
type receiptFlags struct {
	Cost string `help:"What all of it cost together, with the currency, as in \"22 EUR\". From then on that is its price." placeholder:"MONEY"`
	whyFlag
	storeFlag
}

// price is the cost as a price for the amount; nil if it was not told.
func (f receiptFlags) price(a store.Amount) (*store.Price, error) {
	if f.Cost == "" {
		return nil, nil
	}
	m, err := store.ParseMoney(f.Cost)
	if err != nil {
		return nil, fmt.Errorf("--cost: %w", err)
	}
	return &store.Price{Money: m, For: a}, nil
}

type stockAdd struct {
	Spool      addSpool      `cmd:"" help:"A spool of filament."`
	Sheet      addSheet      `cmd:"" help:"Whole sheets of a veneer that are all alike."`
	Offcut     addOffcut     `cmd:"" help:"A piece of veneer with its shape; a whole sheet too, if it has knots to be told."`
	Hardware   addHardware   `cmd:"" help:"Screws, inserts, dowels: what is counted."`
	Consumable addConsumable `cmd:"" help:"Glue, filler, finish: what is used up."`
}

type addSpool struct {
	Filament string `arg:"" help:"The filament's id in the shop file, as abs."`
	Amount   string `arg:"" optional:"" default:"1 kg" help:"What is on it, without the spool itself, as 750g; 1 kg if you say nothing."`
	Spool    string `help:"What is written on the spool. Without it the spool gets the next number: write that on it." placeholder:"NAME"`
	receiptFlags
}

func (c *addSpool) Run(ctx context.Context, out *output) error {
	return c.takeIn(ctx, out, c.Amount, "g", store.Receipt{Item: store.Item{Kind: store.Filament, ID: c.Filament}, Lot: c.Spool})
}

type addSheet struct {
	Veneer string `arg:"" help:"The veneer's id in the shop file, as walnut."`
	Number string `arg:"" optional:"" default:"1" help:"How many sheets; 1 if you say nothing."`
	receiptFlags
}

func (c *addSheet) Run(ctx context.Context, out *output) error {
	return c.takeIn(ctx, out, c.Number, "piece", store.Receipt{Item: store.Item{Kind: store.Sheet, ID: c.Veneer}})
}

type addHardware struct {
	Item   string `arg:"" help:"What it is called on the bill, as \"M6 x 40 cap screw\"."`
	Number string `arg:"" help:"How many, as 100."`
	receiptFlags
}

func (c *addHardware) Run(ctx context.Context, out *output) error {
	return c.takeIn(ctx, out, c.Number, "piece", store.Receipt{Item: store.Item{Kind: store.Hardware, ID: c.Item}})
}

type addConsumable struct {
	Item   string `arg:"" help:"Its id in the shop file, as seam-glue."`
	Amount string `arg:"" help:"How much, as 250ml, 500g, 20m or 5 pieces. What it is measured by must be as in the shop file."`
	receiptFlags
}

func (c *addConsumable) Run(ctx context.Context, out *output) error {
	item := store.Item{Kind: store.Consumable, ID: c.Item}
	u, err := c.unitOf(ctx, item)
	if err != nil {
		return err
	}
	if u == "" {
		if u = unitIn(c.Amount); u == "" {
			return fmt.Errorf("%s is new: say what it is measured by, as in 250ml, 500g, 20m or \"5 pieces\"", c.Item)
		}
	}
	return c.takeIn(ctx, out, c.Amount, u, store.Receipt{Item: item, Unit: u})
}

// unitOf is what an item is measured in, "" if it was never in stock.
func (f storeFlag) unitOf(ctx context.Context, i store.Item) (u string, err error) {
	err = f.with(ctx, func(s *store.Store) error {
		all, err := unitsOf(ctx, s)
		u = all.of(i)
		return err
	})
	return u, err
}

// unitIn is the store's unit that an amount is written in, "" if there is none.
func unitIn(text string) string {
	for _, u := range []string{"ml", "g", "m", "piece"} {
		// With a unit it is read in that unit alone; a number alone in all of them.
		if _, err := store.ParseAmount(text, u); err == nil && strings.Trim(text, "0123456789.,/ +-eE") != "" {
			return u
		}
	}
	return ""
}

// takeIn adds something and tells what there is of it now.
func (f receiptFlags) takeIn(ctx context.Context, out *output, text, unitOf string, r store.Receipt) error {
	a, err := store.ParseAmount(text, unitOf)
	if err != nil {
		return err
	}
	r.Amount, r.Note = a, f.note()
	if r.Price, err = f.price(a); err != nil {
		return err
	}
	return f.with(ctx, func(s *store.Store) error {
		ref, err := s.Add(ctx, r)
		if err != nil {
			return err
		}
		has, err := s.Stock(ctx, store.StockOptions{})
		if err != nil {
			return err
		}
		it, _ := has.Of(ref.Item)
		switch {
		case r.Item.Kind == store.Filament && r.Lot == "":
			fmt.Fprintf(out.Out, "Added %s with %s. Write %s on it.\n", itemName(ref.Item, ref.Lot), amount(a, unitOf), ref.Lot)
		case r.Item.Kind == store.Offcut && r.Lot == "":
			fmt.Fprintf(out.Out, "Added %s. Write %s on it.\n", itemName(ref.Item, ref.Lot), ref.Lot)
		default:
			fmt.Fprintf(out.Out, "Added %s: %s.\n", itemName(ref.Item, ref.Lot), amount(a, unitOf))
		}
		fmt.Fprintf(out.Out, "Now there is %s: %s.\n", itemName(ref.Item, ""), amount(it.OnHand, it.Unit))
		return nil
	})
}

type stockCount struct {
	Spool      countLot        `cmd:"" help:"Weigh a spool; take off what the empty spool weighs."`
	Offcut     countGone       `cmd:"" help:"An offcut is gone: used up, split, given away."`
	Sheet      countSheet      `cmd:"" help:"Count the sheets of a veneer."`
	Hardware   countHardware   `cmd:"" help:"Count screws, inserts, dowels."`
	Consumable countConsumable `cmd:"" help:"Measure glue, filler, finish."`
}

// countFlags are the reason, which must be given, and where the stock is kept.
type countFlags struct {
	Why string `help:"Why it is not what was thought, in your words, as \"weighed\"." required:"" placeholder:"TEXT"`
	storeFlag
}

type countLot struct {
	Filament string `arg:"" help:"The filament's id."`
	Spool    string `arg:"" help:"What is written on the spool, as 3."`
	Amount   string `arg:"" help:"What is on it now, as 640g."`
	countFlags
}

func (c *countLot) Run(ctx context.Context, out *output) error {
	return c.set(ctx, out, store.Ref{Item: store.Item{Kind: store.Filament, ID: c.Filament}, Lot: c.Spool}, c.Amount)
}

type countGone struct {
	pieceFlags
	countFlags
}

func (c *countGone) Run(ctx context.Context, out *output) error {
	return c.set(ctx, out, c.ref(), "0")
}

// countBin counts what is kept together.
type countBin struct {
	Amount string `arg:"" help:"What there is now, as 88 or 120ml."`
	countFlags
}

func (c *countBin) count(ctx context.Context, out *output, kind store.Kind, id string) error {
	return c.set(ctx, out, store.Ref{Item: store.Item{Kind: kind, ID: id}}, c.Amount)
}

type countSheet struct {
	Veneer string `arg:"" help:"The veneer's id."`
	countBin
}

func (c *countSheet) Run(ctx context.Context, out *output) error {
	return c.count(ctx, out, store.Sheet, c.Veneer)
}

type countHardware struct {
	Item string `arg:"" help:"What it is called on the bill."`
	countBin
}

func (c *countHardware) Run(ctx context.Context, out *output) error {
	return c.count(ctx, out, store.Hardware, c.Item)
}

type countConsumable struct {
	Item string `arg:"" help:"Its id in the shop file."`
	countBin
}

func (c *countConsumable) Run(ctx context.Context, out *output) error {
	return c.count(ctx, out, store.Consumable, c.Item)
}

// set sets a lot to what was counted and tells by how much that changed it.
func (f countFlags) set(ctx context.Context, out *output, lot store.Ref, text string) error {
	return f.with(ctx, func(s *store.Store) error {
		l, unit, err := theLot(ctx, s, lot)
		if err != nil {
			return err
		}
		a, err := store.ParseAmount(text, unit)
		if err != nil {
			return err
		}
		if err := s.Count(ctx, lot, a, store.Note{Reason: f.Why}); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s: %s instead of %s.\n", itemName(lot.Item, lot.Lot), amount(a, unit), amount(l.OnHand, unit))
		warnShort(out, l, a, unit)
		return nil
	})
}

type stockTake struct {
	Spool      takeSpool      `cmd:"" help:"Filament off a spool."`
	Sheet      takeSheet      `cmd:"" help:"Whole sheets of a veneer."`
	Hardware   takeHardware   `cmd:"" help:"Screws, inserts, dowels."`
	Consumable takeConsumable `cmd:"" help:"Glue, filler, finish."`
}

func (stockTake) Help() string {
	return "For what goes to something else than a job: four screws for the shop door, a sheet that is sold. You say how much you take, and need not count what is left. What a job takes is taken out by groundwork stock finish; a piece of veneer that is gone, by groundwork stock count offcut."
}

// takeAmount is how much is taken, and what for.
type takeAmount struct {
	Amount string `arg:"" help:"How much you take, as 4, 50g or 30ml."`
	Why    string `help:"What it is for, in your words, as \"the shop door\"." required:"" placeholder:"TEXT"`
	storeFlag
}

type takeSpool struct {
	Filament string `arg:"" help:"The filament's id."`
	Spool    string `arg:"" help:"What is written on the spool, as 3."`
	takeAmount
}

func (c *takeSpool) Run(ctx context.Context, out *output) error {
	return c.take(ctx, out, store.Ref{Item: store.Item{Kind: store.Filament, ID: c.Filament}, Lot: c.Spool})
}

type takeSheet struct {
	Veneer string `arg:"" help:"The veneer's id."`
	takeAmount
}

func (c *takeSheet) Run(ctx context.Context, out *output) error {
	return c.take(ctx, out, store.Ref{Item: store.Item{Kind: store.Sheet, ID: c.Veneer}})
}

type takeHardware struct {
	Item string `arg:"" help:"What it is called on the bill."`
	takeAmount
}

func (c *takeHardware) Run(ctx context.Context, out *output) error {
	return c.take(ctx, out, store.Ref{Item: store.Item{Kind: store.Hardware, ID: c.Item}})
}

type takeConsumable struct {
	Item string `arg:"" help:"Its id in the shop file."`
	takeAmount
}

func (c *takeConsumable) Run(ctx context.Context, out *output) error {
	return c.take(ctx, out, store.Ref{Item: store.Item{Kind: store.Consumable, ID: c.Item}})
}

// take takes something out of a lot and tells what is left in it.
func (c takeAmount) take(ctx context.Context, out *output, lot store.Ref) error {
	return c.with(ctx, func(s *store.Store) error {
		l, unit, err := theLot(ctx, s, lot)
		if err != nil {
			return err
		}
		a, err := store.ParseAmount(c.Amount, unit)
		if err != nil {
			return err
		}
		if a <= 0 {
			return fmt.Errorf("%s of %s cannot be taken out", c.Amount, itemName(lot.Item, lot.Lot))
		}
		err = s.Adjust(ctx, lot, -a, store.Note{Reason: c.Why})
		if lack := (*store.Lack)(nil); errors.As(err, &lack) {
			return fmt.Errorf("of %s there is only %s; if that is wrong, say what there is with groundwork stock count", itemName(lot.Item, lot.Lot), amount(lack.OnHand, unit))
		} else if err != nil {
			return err
		}
		left := l.OnHand - a
		fmt.Fprintf(out.Out, "Took %s of %s; %s left.\n", amount(a, unit), itemName(lot.Item, lot.Lot), amount(left, unit))
		warnShort(out, l, left, unit)
		return nil
	})
}

// theLot is a lot that was entered, with what it is measured in.
func theLot(ctx context.Context, s *store.Store, ref store.Ref) (store.Lot, string, error) {
	has, err := s.Stock(ctx, store.StockOptions{Empty: true})
	if err != nil {
		return store.Lot{}, "", err
	}
	it, _ := has.Of(ref.Item)
	k := slices.IndexFunc(it.Lots, func(l store.Lot) bool { return l.Lot == ref.Lot })
	if k < 0 {
		return store.Lot{}, "", fmt.Errorf("there never was %s in the stock; enter it with groundwork stock add", itemName(ref.Item, ref.Lot))
	}
	return it.Lots[k], it.Unit, nil
}

// warnShort tells that less is left of a lot than is reserved of it.
func warnShort(out *output, l store.Lot, left store.Amount, unit string) {
	if held := l.Held(); held > left {
		fmt.Fprintf(out.Out, "WARNING  %s is reserved: %s. Get more, or release the job.\n", amount(held, unit), holders(l.Holds, unit))
	}
}

type stockPrice struct {
	Kind  string `arg:"" enum:"spool,sheet,offcut,hardware,consumable" help:"What it is: spool, sheet, offcut, hardware or consumable."`
	Item  string `arg:"" help:"Its id in the shop file, or what it is called on the bill."`
	Price string `arg:"" help:"What it costs, as \"22 EUR for 1 kg\", \"4.50 EUR for 100\" or \"90 EUR\" for one."`
	whyFlag
	storeFlag
}

func (c *stockPrice) Run(ctx context.Context, out *output) error {
	kind := store.Kind(c.Kind)
	if c.Kind == "spool" {
		kind = store.Filament
	}
	item := store.Item{Kind: kind, ID: c.Item}
	return c.with(ctx, func(s *store.Store) error {
		has, err := s.Stock(ctx, store.StockOptions{})
		if err != nil {
			return err
		}
		it, ok := has.Of(item)
		if !ok {
			return fmt.Errorf("there never was %s in the stock; enter it with groundwork stock add, and its price with --cost", itemName(item, ""))
		}
		p, err := store.ParsePrice(c.Price, it.Unit)
		if err != nil {
			return err
		}
		why := itemName(item, "") + " at " + priceText(p, it.Unit) // what the history tells of it
		if c.Why != "" {
			why += ": " + c.Why
		}
		if err := s.SetPrice(ctx, item, p, store.Note{Reason: why}); err != nil {
			return err
		}
		fmt.Fprintf(out.Out, "%s costs %s from now on.\n", itemName(item, ""), priceText(p, it.Unit))
		return nil
	})
}
