package store

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"groundwork/internal/finding"
	"groundwork/internal/shop"
)

// Stock is what there was at one moment.
type Stock struct {
	At       time.Time
	Items    []Stocked // by kind, then by ID
	Printers []Printer // by ID
}

// Stocked is what there is of an item.
type Stocked struct {
	Item
	Unit   string // g, piece, ml, m
	OnHand Amount
	Held   Amount // reserved for jobs
	Price  *Price // the last one; nil if none is known
	Lots   []Lot  // in the order in which they came; empty ones only on request
}

// Lot is one spool, one piece of veneer, or a bin.
type Lot struct {
	Ref
	OnHand Amount
	Holds  []Hold // by job
	Piece  *Piece // of an offcut
}

// Hold is what is reserved of a lot for a job.
type Hold struct {
	Job    string
	Amount Amount
}

// Held is all that is reserved of the lot.
func (l Lot) Held() Amount {
	var sum Amount
	for _, h := range l.Holds {
		sum += h.Amount
	}
	return sum
}

// Free is what may be reserved of the lot.
func (l Lot) Free() Amount { return max(0, l.OnHand-l.Held()) }

// For is what a job may plan with: what is free and what is reserved for it.
func (l Lot) For(job string) Amount {
	free := l.OnHand
	for _, h := range l.Holds {
		if h.Job != job || job == "" {
			free -= h.Amount
		}
	}
	return max(0, free)
}

// Free is what may be reserved of the item.
func (s Stocked) Free() Amount {
	var sum Amount
	for _, l := range s.Lots {
		sum += l.Free()
	}
	return sum
}

// Printer is a printer with what it has done.
type Printer struct {
	ID, Name string
	Retired  bool
	Runs     int
	Seconds  float64 // of all runs
	Grams    float64
}

// StockOptions say what Stock tells. The zero value tells what there is.
type StockOptions struct {
	Empty bool // lots of which nothing is left too
}

// Stock tells what there is.
func (s *Store) Stock(ctx context.Context, o StockOptions) (*Stock, error) {
	var out *Stock
	err := s.read(ctx, func(tx *sql.Tx) (err error) {
		out, err = stockOf(ctx, tx, o)
		return err
	})
	if err != nil {
		return nil, err
	}
	out.At = s.now().UTC()
	return out, nil
}

func stockOf(ctx context.Context, tx *sql.Tx, o StockOptions) (*Stock, error) {
	out := &Stock{}
	items := map[int64]int{}
	rows, err := tx.QueryContext(ctx, `SELECT i.n, i.kind, i.id, i.unit, p.minor, p.currency, p.per FROM item i
		LEFT JOIN price p ON p.entry = (SELECT max(entry) FROM price WHERE item = i.n)`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var ns []int64
	for rows.Next() {
		var it Stocked
		var n int64
		var minor, per sql.NullInt64
		var currency sql.NullString
		if err := rows.Scan(&n, &it.Kind, &it.ID, &it.Unit, &minor, &currency, &per); err != nil {
			return nil, err
		}
		if minor.Valid {
			it.Price = &Price{Money{minor.Int64, currency.String}, Amount(per.Int64)}
		}
		ns = append(ns, n)
		items[n] = len(out.Items)
		out.Items = append(out.Items, it)
	}
	if err := rows.Err(); err != nil {
		return nil, err
	}
	holds := map[int64][]Hold{}
	hs, err := tx.QueryContext(ctx, "SELECT lot, job, held FROM hold WHERE held > 0 ORDER BY lot, job")
	if err != nil {
		return nil, err
	}
	defer hs.Close()
	for hs.Next() {
		var lot int64
		var h Hold
		if err := hs.Scan(&lot, &h.Job, &h.Amount); err != nil {
			return nil, err
		}
		holds[lot] = append(holds[lot], h)
	}
	if err := hs.Err(); err != nil {
		return nil, err
	}
	ls, err := tx.QueryContext(ctx, `SELECT l.n, l.item, l.id, l.on_hand, l.held, p.form, p.outline, p.reserved, p.photo, fi.kind, fi.id, f.id
		FROM lot l LEFT JOIN piece p ON p.lot = l.n LEFT JOIN lot f ON f.n = p.cut_from LEFT JOIN item fi ON fi.n = f.item
		WHERE ? OR l.on_hand > 0 OR l.held > 0 ORDER BY l.n`, o.Empty)
	if err != nil {
		return nil, err
	}
	defer ls.Close()
	for ls.Next() {
		var n, item int64
		var l Lot
		var held Amount
		var form, outline, reserved, photo, fromKind, fromID, fromLot sql.NullString
		if err := ls.Scan(&n, &item, &l.Lot, &l.OnHand, &held, &form, &outline, &reserved, &photo, &fromKind, &fromID, &fromLot); err != nil {
			return nil, err
		}
		it := &out.Items[items[item]]
		l.Item, l.Holds = it.Item, holds[n]
		it.OnHand += l.OnHand
		it.Held += held
		if form.Valid {
			if l.Piece, err = readPiece(form.String, outline.String, reserved.String, photo); err != nil {
				return nil, err
			}
			if fromKind.Valid {
				l.Piece.CutFrom = &Ref{Item{Kind(fromKind.String), fromID.String}, fromLot.String}
			}
		}
		it.Lots = append(it.Lots, l)
	}
	if err := ls.Err(); err != nil {
		return nil, err
	}
	slices.SortFunc(out.Items, func(a, b Stocked) int {
		return cmp.Or(cmp.Compare(slices.Index(Kinds, a.Kind), slices.Index(Kinds, b.Kind)), cmp.Compare(a.ID, b.ID))
	})
	ps, err := tx.QueryContext(ctx, `SELECT p.id, p.name, p.retired, count(r.entry), total(r.seconds), total(r.grams)
		FROM printer p LEFT JOIN run r ON r.printer = p.id GROUP BY p.id ORDER BY p.id`)
	if err != nil {
		return nil, err
	}
	defer ps.Close()
	for ps.Next() {
		var p Printer
		if err := ps.Scan(&p.ID, &p.Name, &p.Retired, &p.Runs, &p.Seconds, &p.Grams); err != nil {
			return nil, err
		}
		out.Printers = append(out.Printers, p)
	}
	return out, ps.Err()
}

// Of is what there is of an item; false if it was never in the store.
func (s *Stock) Of(i Item) (Stocked, bool) {
	k := slices.IndexFunc(s.Items, func(x Stocked) bool { return x.Item == i })
	if k < 0 {
		return Stocked{}, false
	}
	return s.Items[k], true
}

// Value is what the stock is worth at the last prices, by currency; items
// without a price are counted in Unpriced.
func (s *Stock) Value() (worth []Money, unpriced int) {
	sums := map[string]int64{}
	var currencies []string
	for _, it := range s.Items {
		switch {
		case it.OnHand == 0:
		case it.Price == nil:
			unpriced++
		default:
			m := it.Price.Of(it.OnHand)
			if _, ok := sums[m.Currency]; !ok {
				currencies = append(currencies, m.Currency)
			}
			sums[m.Currency] += m.Minor
		}
	}
	slices.Sort(currencies)
	for _, c := range currencies {
		worth = append(worth, Money{sums[c], c})
	}
	return worth, unpriced
}

// Uncovered are lots of which more is reserved than is there, because a count or
// an adjustment found less, with the jobs that count on it.
func (s *Stock) Uncovered() []Lot {
	var out []Lot
	for _, it := range s.Items {
		for _, l := range it.Lots {
			if l.Held() > l.OnHand {
				out = append(out, l)
			}
		}
	}
	return out
}

// Overlay is the shop with the pieces of veneer in stock that a job may use
// ("" for one that has nothing reserved), so that planning cuts from them first:
// plan with it instead of the shop. The shop itself is not changed. Whole sheets
// that are all alike are not told, for planning takes as many as it needs; what
// there is of them is for Reserve.
//
// Findings tell what could not be handed on.
func (s *Stock) Overlay(sh *shop.Shop, job string) (*shop.Shop, []finding.Finding) {
	out := *sh
	out.Veneers = slices.Clone(sh.Veneers)
	var found []finding.Finding
	tell := func(sev finding.Severity, code string, ref Ref, message, remedy string) {
		found = append(found, finding.Finding{
			Severity: sev, Stage: "store", Code: code, Subject: ref.ID + "-" + ref.Lot, Message: message, Remedy: remedy, Source: "the shop's stock", File: sh.File,
		})
	}
	for _, it := range s.Items {
		if it.Kind != Offcut {
			continue
		}
		at := slices.IndexFunc(out.Veneers, func(v shop.Veneer) bool { return v.ID == it.ID })
		first := true
		for _, l := range it.Lots {
			if l.Piece == nil || l.For(job) == 0 {
				continue
			}
			if at < 0 {
				tell(finding.Note, "stock-unknown-veneer", l.Ref, fmt.Sprintf("A piece of %s is in stock, but the shop file has no such veneer.", it.ID), "add the veneer to the shop file, or take the piece out of stock")
				continue
			}
			v := &out.Veneers[at]
			if first { // what the shop had must not change
				v.Offcuts, first = slices.Clone(v.Offcuts), false
			}
			cut, usable := l.Piece.Offcut(l.Lot)
			if !usable {
				tell(finding.Note, "stock-not-usable", l.Ref, fmt.Sprintf("Of piece %s of %s no rectangle is sound.", l.Lot, it.ID), "take it out of stock, or enter its outline anew")
				continue
			}
			if k := slices.IndexFunc(v.Offcuts, func(o shop.Offcut) bool { return o.ID == l.Lot }); k >= 0 {
				tell(finding.Warning, "stock-twice", l.Ref, fmt.Sprintf("The shop file and the stock both have a piece %s of %s; that of the stock is taken.", l.Lot, it.ID), "take it out of the shop file")
				v.Offcuts[k] = cut
				continue
			}
			v.Offcuts = append(v.Offcuts, cut)
		}
	}
	return &out, found
}
