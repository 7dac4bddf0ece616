package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Kind is the kind of an item.
type Kind string

const (
	Filament   Kind = "filament"   // ID as in the shop file, in g; a lot is a spool
	Sheet      Kind = "sheet"      // whole sheets of a veneer that are all alike, counted; ID as in the shop file
	Offcut     Kind = "offcut"     // pieces of a veneer, each a lot by itself; ID as in the shop file
	Hardware   Kind = "hardware"   // counted; ID as on the bill: "M6 x 40 cap screw"
	Consumable Kind = "consumable" // ID as in the shop file, in ml, g, m or pieces
)

// Kinds are all kinds, in the order in which stock is told.
var Kinds = []Kind{Filament, Sheet, Offcut, Hardware, Consumable}

// Item is a sort of thing.
type Item struct {
	Kind Kind
	ID   string
}

func (i Item) String() string { return string(i.Kind) + " " + i.ID }

// Ref names a lot: a spool, a piece of veneer, or the bin (Lot "") of what is
// counted without being told apart.
type Ref struct {
	Item
	Lot string // unique for the item: "3", as written on the spool
}

func (r Ref) String() string {
	if r.Lot == "" {
		return r.Item.String()
	}
	return r.Item.String() + " no. " + r.Lot
}

// Note goes with every change.
type Note struct {
	Reason string // in the maker's words; Adjust and Count need one
	// Key, if not empty, names this change among all others: a call with a key that
	// an earlier one had does nothing and returns what that did.
	Key string
}

// Receipt is something that comes into the shop.
type Receipt struct {
	Item   Item
	Lot    string // "" numbers a spool or a piece; what is counted goes to the bin
	Amount Amount
	Unit   string // of a consumable that is new: g, ml, m or piece
	Price  *Price // what it cost, from now on the item's price; nil says nothing
	Piece  *Piece // shape of an offcut
	Note   Note
}

// Add takes stock in and returns the lot it went to.
func (s *Store) Add(ctx context.Context, r Receipt) (Ref, error) {
	var out Ref
	err := s.write(ctx, "adding "+r.Item.String(), func(tx *sql.Tx) error {
		done, err := s.repeated(ctx, tx, "add", r.Note)
		if err != nil {
			return err
		}
		if done != 0 {
			moves, err := movesOf(ctx, tx, done)
			if err == nil && len(moves) > 0 {
				out = moves[0].Lot
			}
			return err
		}
		if r.Amount <= 0 {
			return fmt.Errorf("an amount of %s cannot be added", r.Amount)
		}
		lot, ref, err := s.receive(ctx, tx, r)
		if err != nil {
			return err
		}
		e, err := s.post(ctx, tx, "add", "", r.Note, []move{{lot: lot, amount: r.Amount}})
		if err != nil {
			return err
		}
		out = ref
		if r.Price != nil {
			return s.price(ctx, tx, e, r.Item, *r.Price)
		}
		return nil
	})
	return out, err
}

// receive finds or makes the item and the lot of a receipt.
func (s *Store) receive(ctx context.Context, tx *sql.Tx, r Receipt) (int64, Ref, error) {
	item, err := s.item(ctx, tx, r.Item, r.Unit)
	if err != nil {
		return 0, Ref{}, err
	}
	ref := Ref{r.Item, r.Lot}
	apart := r.Item.Kind == Filament || r.Item.Kind == Offcut
	switch {
	case r.Item.Kind == Offcut && r.Piece == nil:
		return 0, ref, errors.New("a piece of veneer needs its outline")
	case r.Item.Kind != Offcut && r.Piece != nil:
		return 0, ref, errors.New("only a piece of veneer has an outline")
	case !apart && r.Lot != "":
		return 0, ref, fmt.Errorf("%s is counted together, not by lots", r.Item)
	case apart && r.Lot == "":
		// Numbers are not used again: what is written on a spool stays true.
		var n int64
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM lot WHERE item = ?", item).Scan(&n); err != nil {
			return 0, ref, err
		}
		for taken := true; taken; {
			n++
			ref.Lot = strconv.FormatInt(n, 10)
			if err := tx.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM lot WHERE item = ? AND id = ?)", item, ref.Lot).Scan(&taken); err != nil {
				return 0, ref, err
			}
		}
	}
	if apart {
		if err := checkLot(ref.Lot); err != nil {
			return 0, ref, err
		}
	}
	n, err := lotOf(ctx, tx, ref)
	switch {
	case err == nil && r.Item.Kind == Offcut:
		return 0, ref, fmt.Errorf("%s is there already", ref)
	case err == nil:
		return n, ref, nil
	case !errors.Is(err, ErrUnknown):
		return 0, ref, err
	}
	n, err = insert(ctx, tx, "INSERT INTO lot (item, id) VALUES (?, ?)", item, ref.Lot)
	if err == nil && r.Piece != nil {
		err = describe(ctx, tx, n, *r.Piece)
	}
	return n, ref, err
}

// checkLot holds a lot's ID to what a shop file takes for an offcut's.
func checkLot(id string) error {
	if id == "" || len(id) > 60 || strings.Trim(id, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
		return fmt.Errorf("%q does not name a lot; use lower-case letters, digits and hyphens", id)
	}
	return nil
}

// item finds an item or makes it.
func (s *Store) item(ctx context.Context, tx *sql.Tx, i Item, unit string) (int64, error) {
	fixed := map[Kind]string{Filament: "g", Sheet: "piece", Offcut: "piece", Hardware: "piece"}
	if u, ok := fixed[i.Kind]; ok {
		if unit != "" && unit != u {
			return 0, fmt.Errorf("%s is measured in %s, not in %s", i, u, unit)
		}
		unit = u
	} else if i.Kind != Consumable {
		return 0, fmt.Errorf("there is no kind %q", i.Kind)
	}
	var n int64
	var has string
	err := tx.QueryRowContext(ctx, "SELECT n, unit FROM item WHERE kind = ? AND id = ?", i.Kind, i.ID).Scan(&n, &has)
	switch {
	case err == nil && unit != "" && has != unit:
		return 0, fmt.Errorf("%s is measured in %s, not in %s", i, has, unit)
	case err == nil:
		return n, nil
	case !errors.Is(err, sql.ErrNoRows):
		return 0, err
	case !isText(i.ID, 200):
		return 0, fmt.Errorf("%q does not name an item", i.ID)
	case unit != "g" && unit != "ml" && unit != "m" && unit != "piece":
		return 0, fmt.Errorf("%s is new: say whether it is measured in g, ml, m or piece", i)
	}
	return insert(ctx, tx, "INSERT INTO item (kind, id, unit) VALUES (?, ?, ?)", i.Kind, i.ID, unit)
}

// isText reports whether s can be a name: some characters, none that controls.
func isText(s string, longest int) bool {
	if s == "" || len(s) > longest || !utf8.ValidString(s) || strings.TrimSpace(s) != s {
		return false
	}
	return !strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f })
}

// Adjust adds delta, which may be negative, to a lot. It is a Lack if the lot
// would hold less than nothing. What it takes from jobs that had reserved it is
// seen in Stock.Uncovered.
func (s *Store) Adjust(ctx context.Context, lot Ref, delta Amount, why Note) error {
	return s.change(ctx, "adjust", lot, why, func(onHand Amount) Amount { return delta })
}

// Count sets a lot to what was counted or weighed.
func (s *Store) Count(ctx context.Context, lot Ref, counted Amount, why Note) error {
	if counted < 0 {
		return fmt.Errorf("counting %s: there cannot be %s of it", lot, counted)
	}
	return s.change(ctx, "count", lot, why, func(onHand Amount) Amount { return counted - onHand })
}

func (s *Store) change(ctx context.Context, kind string, lot Ref, why Note, delta func(onHand Amount) Amount) error {
	return s.write(ctx, kind+"ing "+lot.String(), func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, kind, why); err != nil || done != 0 {
			return err
		}
		if why.Reason == "" {
			return errors.New("a reason is wanted")
		}
		n, err := lotOf(ctx, tx, lot)
		if err != nil {
			return err
		}
		var onHand Amount
		if err := tx.QueryRowContext(ctx, "SELECT on_hand FROM lot WHERE n = ?", n).Scan(&onHand); err != nil {
			return err
		}
		d := delta(onHand)
		if d == 0 && kind == "adjust" {
			return errors.New("an adjustment of nothing")
		}
		_, err = s.post(ctx, tx, kind, "", why, []move{{lot: n, amount: d}})
		return err
	})
}

// Describe replaces the shape, reserved areas and photograph of a piece of
// veneer. Without a Photo, the photograph that it has stays.
func (s *Store) Describe(ctx context.Context, lot Ref, p Piece, why Note) error {
	return s.write(ctx, "describing "+lot.String(), func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, "describe", why); err != nil || done != 0 {
			return err
		}
		n, err := lotOf(ctx, tx, lot)
		if err != nil {
			return err
		}
		if lot.Kind != Offcut {
			return errors.New("only a piece of veneer has an outline")
		}
		if err := describe(ctx, tx, n, p); err != nil {
			return err
		}
		if why.Reason == "" {
			why.Reason = lot.String()
		}
		_, err = s.post(ctx, tx, "describe", "", why, nil)
		return err
	})
}

// SetPrice sets what an item that is in the store costs from now on.
func (s *Store) SetPrice(ctx context.Context, i Item, p Price, why Note) error {
	return s.write(ctx, "pricing "+i.String(), func(tx *sql.Tx) error {
		if done, err := s.repeated(ctx, tx, "price", why); err != nil || done != 0 {
			return err
		}
		e, err := s.post(ctx, tx, "price", "", why, nil)
		if err != nil {
			return err
		}
		return s.price(ctx, tx, e, i, p)
	})
}

func (s *Store) price(ctx context.Context, tx *sql.Tx, entry int64, i Item, p Price) error {
	if err := p.check(); err != nil {
		return err
	}
	var n int64
	err := tx.QueryRowContext(ctx, "SELECT n FROM item WHERE kind = ? AND id = ?", i.Kind, i.ID).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", i, ErrUnknown)
	} else if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "INSERT INTO price (entry, item, minor, currency, per) VALUES (?, ?, ?, ?, ?)", entry, n, p.Money.Minor, p.Money.Currency, p.For)
	return err
}

// move is a movement to be written.
type move struct {
	lot          int64
	amount, held Amount
}

// post writes an entry with its movements.
func (s *Store) post(ctx context.Context, tx *sql.Tx, kind, job string, why Note, moves []move) (int64, error) {
	if len(why.Reason) > 1000 || len(why.Key) > 200 {
		return 0, errors.New("the reason or the key is too long")
	}
	n, err := insert(ctx, tx, "INSERT INTO entry (at, kind, job, reason, key, moves) VALUES (?, ?, ?, ?, ?, ?)",
		s.stamp(), kind, null(job), why.Reason, null(why.Key), len(moves))
	if err != nil {
		return 0, err
	}
	for i, m := range moves {
		// The constraints would refuse these too, with less to say.
		var ref Ref
		var onHand Amount
		var unit string
		if err := tx.QueryRowContext(ctx, "SELECT i.kind, i.id, i.unit, l.id, l.on_hand FROM lot l JOIN item i ON i.n = l.item WHERE l.n = ?", m.lot).
			Scan(&ref.Kind, &ref.ID, &unit, &ref.Lot, &onHand); err != nil {
			return 0, err
		}
		switch {
		case !m.amount.within() || !m.held.within() || onHand+m.amount > MaxAmount:
			return 0, fmt.Errorf("%s: the amount is too large", ref)
		case unit == "piece" && (!m.amount.whole() || !m.held.whole()):
			return 0, fmt.Errorf("%s: pieces are counted whole, not as %s", ref, m.amount)
		case onHand+m.amount < 0:
			return 0, &Lack{Lot: ref, OnHand: onHand, Taken: -m.amount}
		case ref.Kind == Offcut && onHand+m.amount > 1000:
			return 0, fmt.Errorf("%s: a piece of veneer is there once", ref)
		}
		if _, err := tx.ExecContext(ctx, "INSERT INTO movement (entry, line, lot, amount, held) VALUES (?, ?, ?, ?, ?)", n, i+1, m.lot, m.amount, m.held); err != nil {
			return 0, fmt.Errorf("%s: %w", ref, err)
		}
	}
	return n, nil
}

// repeated is the entry that was written with the key of a note, 0 for none.
func (s *Store) repeated(ctx context.Context, tx *sql.Tx, kind string, why Note) (int64, error) {
	if why.Key == "" {
		return 0, nil
	}
	var n int64
	var has string
	err := tx.QueryRowContext(ctx, "SELECT n, kind FROM entry WHERE key = ?", why.Key).Scan(&n, &has)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return 0, nil
	case err != nil:
		return 0, err
	case has != kind:
		return 0, fmt.Errorf("the key %q: %w (%s)", why.Key, ErrKey, has)
	}
	return n, nil
}

// Entry is an entry of the ledger.
type Entry struct {
	N      int64
	At     time.Time
	What   string // add, adjust, count, describe, price, plan, reserve, release, print, set-aside, finish, abandon
	Job    string
	Reason string
	Key    string
	Moves  []Move
}

// Move is what an entry did to a lot.
type Move struct {
	Lot    Ref
	Amount Amount // came to it
	Held   Amount // was reserved of it for the entry's job
}

// Ledger tells the entries after the one numbered after, oldest first, at most
// limit of them, those of one lot if lot is not nil.
func (s *Store) Ledger(ctx context.Context, lot *Ref, after int64, limit int) ([]Entry, error) {
	var out []Entry
	err := s.read(ctx, func(tx *sql.Tx) error {
		out = nil
		n := int64(-1)
		if lot != nil {
			var err error
			if n, err = lotOf(ctx, tx, *lot); err != nil {
				return err
			}
		}
		rows, err := tx.QueryContext(ctx, `SELECT e.n, e.at, e.kind, coalesce(e.job, ''), e.reason, coalesce(e.key, '') FROM entry e
			WHERE e.n > ?1 AND (?2 < 0 OR e.n IN (SELECT entry FROM movement WHERE lot = ?2)) ORDER BY e.n LIMIT ?3`, after, n, limit)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var e Entry
			var at string
			if err := rows.Scan(&e.N, &at, &e.What, &e.Job, &e.Reason, &e.Key); err != nil {
				return err
			}
			if e.At, err = parseStamp(at); err != nil {
				return err
			}
			out = append(out, e)
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if len(out) == 0 {
			return nil
		}
		at := map[int64]int{}
		for i, e := range out {
			at[e.N] = i
		}
		moves, err := tx.QueryContext(ctx, `SELECT m.entry, i.kind, i.id, l.id, m.amount, m.held FROM movement m JOIN lot l ON l.n = m.lot JOIN item i ON i.n = l.item
			WHERE m.entry BETWEEN ? AND ? ORDER BY m.entry, m.line`, out[0].N, out[len(out)-1].N)
		if err != nil {
			return err
		}
		defer moves.Close()
		for moves.Next() {
			var entry int64
			var m Move
			if err := moves.Scan(&entry, &m.Lot.Kind, &m.Lot.ID, &m.Lot.Lot, &m.Amount, &m.Held); err != nil {
				return err
			}
			if i, ok := at[entry]; ok {
				out[i].Moves = append(out[i].Moves, m)
			}
		}
		if err := moves.Err(); err != nil {
			return err
		}
		return nil
	})
	return out, err
}

func movesOf(ctx context.Context, tx *sql.Tx, entry int64) ([]Move, error) {
	rows, err := tx.QueryContext(ctx, `SELECT i.kind, i.id, l.id, m.amount, m.held FROM movement m JOIN lot l ON l.n = m.lot JOIN item i ON i.n = l.item
		WHERE m.entry = ? ORDER BY m.line`, entry)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []Move
	for rows.Next() {
		var m Move
		if err := rows.Scan(&m.Lot.Kind, &m.Lot.ID, &m.Lot.Lot, &m.Amount, &m.Held); err != nil {
			return nil, err
		}
		out = append(out, m)
	}
	return out, rows.Err()
}

func lotOf(ctx context.Context, tx *sql.Tx, r Ref) (int64, error) {
	var n int64
	err := tx.QueryRowContext(ctx, "SELECT l.n FROM lot l JOIN item i ON i.n = l.item WHERE i.kind = ? AND i.id = ? AND l.id = ?", r.Kind, r.ID, r.Lot).Scan(&n)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, fmt.Errorf("%s: %w", r, ErrUnknown)
	}
	return n, err
}

func insert(ctx context.Context, tx *sql.Tx, query string, args ...any) (int64, error) {
	res, err := tx.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.LastInsertId()
}

func null(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// maxPhoto bounds a photograph, bytes: the store is backed up as a whole.
const maxPhoto = 16 << 20

// keepPhoto keeps a photograph by its content and returns its name.
func keepPhoto(ctx context.Context, tx *sql.Tx, photo []byte) (string, error) {
	media := http.DetectContentType(photo)
	switch {
	case len(photo) > maxPhoto:
		return "", fmt.Errorf("the photograph has %d MB, more than %d", len(photo)>>20, maxPhoto>>20)
	case media != "image/jpeg" && media != "image/png" && media != "image/webp":
		return "", fmt.Errorf("the photograph is no JPEG, PNG or WebP but %s", media)
	}
	sum := sha256.Sum256(photo)
	name := hex.EncodeToString(sum[:])
	_, err := tx.ExecContext(ctx, "INSERT INTO photo (sha256, media, bytes) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", name, media, photo)
	return name, err
}

// Photo is a photograph with its media type; name is Piece.PhotoName.
func (s *Store) Photo(ctx context.Context, name string) (photo []byte, media string, err error) {
	err = s.read(ctx, func(tx *sql.Tx) error {
		err := tx.QueryRowContext(ctx, "SELECT bytes, media FROM photo WHERE sha256 = ?", name).Scan(&photo, &media)
		if errors.Is(err, sql.ErrNoRows) {
			return fmt.Errorf("photograph %s: %w", name, ErrUnknown)
		}
		return err
	})
	return photo, media, err
}
