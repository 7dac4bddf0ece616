package store

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// table is a table as it is exported: the columns that are not sums of others,
// rows by order.
type table struct {
	name    string
	columns []string
	order   string
	since   int64 // schema that it came with
}

// tables are those of an export, such that each points only at earlier ones.
var tables = []table{
	{"printer", []string{"id", "name", "retired"}, "id", 1},
	{"item", []string{"n", "kind", "id", "unit"}, "n", 1},
	{"lot", []string{"n", "item", "id"}, "n", 1},
	{"photo", []string{"sha256", "media"}, "sha256", 1},
	{"piece", []string{"lot", "form", "outline", "reserved", "photo", "cut_from"}, "lot", 1},
	{"job", []string{"id", "piece", "revision", "state"}, "id", 1},
	{"load", []string{"job", "id", "printer", "filament", "seconds", "grams"}, "job, id", 1},
	{"need", []string{"job", "line", "kind", "item", "lot", "amount", "unit", "one_lot", "purpose"}, "job, line", 2},
	{"leaving", []string{"job", "line", "veneer", "form", "outline", "reserved", "from_kind", "from_item", "from_lot"}, "job, line", 2},
	{"entry", []string{"n", "at", "kind", "job", "reason", "key", "moves"}, "n", 1},
	{"movement", []string{"entry", "line", "lot", "amount", "held"}, "entry, line", 1},
	{"price", []string{"entry", "item", "minor", "currency", "per"}, "entry", 1},
	{"run", []string{"entry", "load", "printer", "filament", "spool", "est_seconds", "est_grams", "seconds", "grams", "failed"}, "entry", 1},
	{"aside", []string{"entry", "run"}, "entry", 1},
}

// about is the file about.json of an export.
type about struct {
	Format string            `json:"format"`
	Schema int64             `json:"schema"`
	SHA256 map[string]string `json:"sha256"` // of every other file, by name; encoding/json writes them in order
}

const exportFormat = "groundwork store, version 1"

// Export writes all of the store to a new folder: every table as JSON lines,
// which Import reads, and as CSV for a spreadsheet; stock.csv as a list of what
// there is; the photographs as files. The same store gives the same bytes. The
// folder appears whole or not at all.
func (s *Store) Export(ctx context.Context, dir string) error {
	if err := s.export(ctx, dir); err != nil {
		return fmt.Errorf("exporting to %s: %w", dir, err)
	}
	return nil
}

func (s *Store) export(ctx context.Context, dir string) error {
	if _, err := os.Lstat(dir); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return err
	}
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return err
	}
	part, err := os.MkdirTemp(filepath.Dir(dir), ".export-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(part)
	a := about{Format: exportFormat, SHA256: map[string]string{}}
	put := func(name string, data []byte) error {
		sum := sha256.Sum256(data)
		a.SHA256[name] = hex.EncodeToString(sum[:])
		return os.WriteFile(filepath.Join(part, filepath.FromSlash(name)), data, 0o600)
	}
	if err := os.Mkdir(filepath.Join(part, "photos"), 0o700); err != nil {
		return err
	}
	err = s.read(ctx, func(tx *sql.Tx) (err error) {
		if a.Schema, err = version(ctx, tx); err != nil {
			return err
		}
		for _, t := range tables {
			lines, sheet, err := dump(ctx, tx, t)
			if err != nil {
				return fmt.Errorf("the table %s: %w", t.name, err)
			}
			if err := errors.Join(put(t.name+".jsonl", lines), put(t.name+".csv", sheet)); err != nil {
				return err
			}
		}
		rows, err := tx.QueryContext(ctx, "SELECT sha256, bytes FROM photo ORDER BY sha256")
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var name string
			var photo []byte
			if err := rows.Scan(&name, &photo); err != nil {
				return err
			}
			if err := put("photos/"+name, photo); err != nil {
				return err
			}
		}
		if err := rows.Err(); err != nil {
			return err
		}
		stock, err := stockOf(ctx, tx, StockOptions{})
		if err != nil {
			return err
		}
		return put("stock.csv", stock.csv())
	})
	if err != nil {
		return err
	}
	data, err := json.MarshalIndent(a, "", "  ")
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(part, "about.json"), append(data, '\n'), 0o600); err != nil {
		return err
	}
	if err := os.Rename(part, dir); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(dir))
}

func dump(ctx context.Context, tx *sql.Tx, t table) (lines, sheet []byte, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT "+strings.Join(t.columns, ", ")+" FROM "+t.name+" ORDER BY "+t.order)
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	var l, c bytes.Buffer
	w := csv.NewWriter(&c)
	if err := w.Write(t.columns); err != nil {
		return nil, nil, err
	}
	values := make([]any, len(t.columns))
	into := make([]any, len(t.columns))
	for i := range values {
		into[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return nil, nil, err
		}
		cells := make([]string, len(values))
		l.WriteByte('{')
		for i, v := range values {
			if i > 0 {
				l.WriteByte(',')
			}
			text, err := json.Marshal(v)
			if err != nil {
				return nil, nil, err
			}
			fmt.Fprintf(&l, "%q:%s", t.columns[i], text)
			switch v := v.(type) {
			case nil:
			case string:
				cells[i] = v
			case int64:
				cells[i] = strconv.FormatInt(v, 10)
			case float64:
				cells[i] = strconv.FormatFloat(v, 'g', -1, 64)
			default:
				return nil, nil, fmt.Errorf("a %T cannot be exported", v)
			}
		}
		l.WriteString("}\n")
		if err := w.Write(cells); err != nil {
			return nil, nil, err
		}
	}
	w.Flush()
	return l.Bytes(), c.Bytes(), errors.Join(rows.Err(), w.Error())
}

func (s *Stock) csv() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"kind", "item", "lot", "unit", "on_hand", "reserved", "free"}) // a buffer takes everything
	for _, it := range s.Items {
		for _, l := range it.Lots {
			w.Write([]string{string(it.Kind), it.ID, l.Lot, it.Unit, l.OnHand.String(), l.Held().String(), l.Free().String()})
		}
	}
	w.Flush()
	return b.Bytes()
}

// Import makes a new store at path from an export. Files that are not as they
// were exported are refused, and so is whatever the store's constraints do not
// take; then there is no store.
func Import(ctx context.Context, path, dir string, now func() time.Time) (Contents, error) {
	c, err := importStore(ctx, path, dir, now)
	if err != nil {
		return Contents{}, fmt.Errorf("importing %s: %w", dir, err)
	}
	return c, nil
}

func importStore(ctx context.Context, path, dir string, now func() time.Time) (c Contents, err error) {
	if path, err = filepath.Abs(path); err != nil {
		return c, err
	}
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fmt.Errorf("%s: %w", path, fs.ErrExist)
		}
		return c, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return c, err
	}
	data, err := os.ReadFile(filepath.Join(dir, "about.json"))
	if err != nil {
		return c, err
	}
	var a about
	if err := json.Unmarshal(data, &a); err != nil {
		return c, fmt.Errorf("about.json: %w", err)
	}
	want, err := Version()
	switch {
	case err != nil:
		return c, err
	case a.Format != exportFormat:
		return c, fmt.Errorf("%w: about.json says %q", ErrForeign, a.Format)
	case a.Schema > want:
		return c, fmt.Errorf("%w: its schema is %d, this program knows %d", ErrNewer, a.Schema, want)
	case a.Schema < 1:
		return c, fmt.Errorf("%w: about.json says that its schema is %d", ErrDamaged, a.Schema)
	}
	tmp, err := os.MkdirTemp(filepath.Dir(path), ".import-")
	if err != nil {
		return c, err
	}
	defer os.RemoveAll(tmp)
	part := filepath.Join(tmp, "part")
	s, err := Open(ctx, part, now)
	if err != nil {
		return c, err
	}
	defer s.Close()
	read := func(name string) ([]byte, error) {
		data, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
		if err != nil {
			return nil, err
		}
		if sum := sha256.Sum256(data); hex.EncodeToString(sum[:]) != a.SHA256[name] {
			return nil, fmt.Errorf("%s: %w: it is not as it was exported", name, ErrDamaged)
		}
		return data, nil
	}
	err = s.write(ctx, "writing the store", func(tx *sql.Tx) error {
		for _, t := range tables {
			if t.since > a.Schema {
				continue // an older program had no such table
			}
			data, err := read(t.name + ".jsonl")
			if err != nil {
				return err
			}
			if err := load(ctx, tx, t, data, func(name string) ([]byte, error) { return read("photos/" + name) }); err != nil {
				return fmt.Errorf("%s.jsonl: %w", t.name, err)
			}
		}
		return nil
	})
	if err != nil {
		return c, err
	}
	if _, err := s.Backup(ctx, filepath.Join(tmp, "whole")); err != nil { // checks it, too
		return c, err
	}
	if c, err = Verify(ctx, filepath.Join(tmp, "whole")); err != nil {
		return c, err
	}
	lock, err := takeLock(ctx, path, true, 0)
	if err != nil {
		return c, err
	}
	defer lock.Close()
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return c, fmt.Errorf("%s: %w", path, fs.ErrExist)
	}
	if err := removeLog(path, ""); err != nil {
		return c, err
	}
	if err := os.Rename(filepath.Join(tmp, "whole"), path); err != nil {
		return c, err
	}
	return c, syncFolder(filepath.Dir(path))
}

// load reads the JSON lines of a table into it.
func load(ctx context.Context, tx *sql.Tx, t table, data []byte, photo func(name string) ([]byte, error)) error {
	columns := t.columns
	if t.name == "photo" {
		columns = append(slices.Clone(columns), "bytes")
	}
	insert, err := tx.PrepareContext(ctx, "INSERT INTO "+t.name+" ("+strings.Join(columns, ", ")+") VALUES (?"+strings.Repeat(", ?", len(columns)-1)+")")
	if err != nil {
		return err
	}
	defer insert.Close()
	in := bufio.NewReader(bytes.NewReader(data))
	for n := 1; ; n++ {
		line, err := in.ReadBytes('\n')
		if errors.Is(err, io.EOF) && len(line) == 0 {
			return nil
		}
		if err != nil {
			return fmt.Errorf("line %d: %w: it does not end", n, ErrDamaged)
		}
		values, err := row(t, line)
		if err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
		switch t.name {
		case "photo":
			name, _ := values[0].(string)
			if raw, err := hex.DecodeString(name); err != nil || len(raw) != sha256.Size { // it becomes a file's name
				return fmt.Errorf("line %d: %q names no photograph", n, name)
			}
			b, err := photo(name)
			if err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
			if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != name {
				return fmt.Errorf("line %d: %w: the photograph is another", n, ErrDamaged)
			}
			values = append(values, b)
		case "piece":
			o, _ := values[2].(string)
			r, _ := values[3].(string)
			f, _ := values[1].(string)
			p, err := readPiece(f, o, r, sql.NullString{})
			if err == nil {
				_, err = p.checked()
			}
			if err != nil {
				return fmt.Errorf("line %d: %w", n, err)
			}
		}
		if _, err := insert.ExecContext(ctx, values...); err != nil {
			return fmt.Errorf("line %d: %w", n, err)
		}
	}
}

// row reads a JSON line of a table: an object with each of its columns, and
// nothing else.
func row(t table, line []byte) ([]any, error) {
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	var object map[string]any
	if err := d.Decode(&object); err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something stands behind the object")
	}
	out := make([]any, len(t.columns))
	for i, c := range t.columns {
		v, ok := object[c]
		if !ok {
			return nil, fmt.Errorf("the column %s is missing", c)
		}
		switch v := v.(type) {
		case nil:
		case string:
			out[i] = v
		case json.Number:
			if n, err := v.Int64(); err == nil {
				out[i] = n
			} else if f, err := v.Float64(); err == nil {
				out[i] = f
			} else {
				return nil, fmt.Errorf("the column %s: %w", c, err)
			}
		default:
			return nil, fmt.Errorf("the column %s holds neither text nor a number", c)
		}
	}
	if len(object) != len(t.columns) {
		return nil, fmt.Errorf("it has %d columns, not %d", len(object), len(t.columns))
	}
	return out, nil
}
