package main

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"groundwork/examples"
	"groundwork/internal/digest"
	"groundwork/internal/job"
	"groundwork/internal/piece"
	"groundwork/internal/plan"
	"groundwork/internal/printing"
	"groundwork/internal/sheet"
	"groundwork/internal/shop"
	"groundwork/internal/solid"
	"groundwork/internal/store"
)

// shopCommands are the commands that the shop's store has.
type shopCommands struct {
	Stock     stockCommand     `cmd:""`
	Measure   measureCommand   `cmd:""`
	Calibrate calibrateCommand `cmd:""`
	Backup    backupCommand    `cmd:""`
	Restore   restoreCommand   `cmd:""`
	Export    exportCommand    `cmd:""`
}

// shopRun carries out one of them.
func shopRun(ctx context.Context, out *output, args ...string) error {
	parser, err := kong.New(&shopCommands{}, kong.Name("groundwork"), kong.BindTo(ctx, (*context.Context)(nil)), kong.Bind(out), kong.Exit(func(int) {}))
	if err != nil {
		return err
	}
	k, err := parser.Parse(args)
	if err != nil {
		return err
	}
	return k.Run()
}

// says is what a command writes, with its error at the end.
func says(t *testing.T, args ...string) string {
	t.Helper()
	f, err := os.CreateTemp(t.TempDir(), "out")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	err = shopRun(t.Context(), &output{f, f}, args...)
	if _, seek := f.Seek(0, io.SeekStart); seek != nil {
		t.Fatal(seek)
	}
	b, read := io.ReadAll(f)
	if read != nil {
		t.Fatal(read)
	}
	if err != nil {
		return string(b) + "error: " + err.Error() + "\n"
	}
	return string(b)
}

// shopDir is a folder with a shop file and a store of its own.
func shopDir(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	t.Chdir(dir)
	t.Setenv("GROUNDWORK_DATA", filepath.Join(dir, "data"))
	write(t, dir, "shop.yaml", shopText(t))
	return dir
}

// moments are what differs from run to run.
var moments = regexp.MustCompile(`\d{4}-\d\d-\d\d \d\d:\d\d|\d{4}-\d\d-\d\dT[0-9:]{8}Z|before-\d{8}T\d{6}Z(-\d+)?|restore-\d+`)

// transcript carries out a session, a command a line with | between its words,
// and compares all of it with testdata/NAME.txt. Times and the folder are left
// out of it.
func transcript(t *testing.T, dir, name, session string) {
	t.Helper()
	var b strings.Builder
	for line := range strings.Lines(session) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		fmt.Fprintf(&b, "$ groundwork %s\n", strings.ReplaceAll(line, "|", " "))
		b.WriteString(says(t, strings.Split(line, "|")...) + "\n")
	}
	got := strings.ReplaceAll(b.String(), dir, "DIR")
	got = moments.ReplaceAllString(got, "TIME")
	golden := filepath.Join(source(t), "testdata", name+".txt")
	if os.Getenv("GOLDEN") == "update" {
		if err := os.MkdirAll(filepath.Dir(golden), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatalf("%v (GOLDEN=update writes it)", err)
	}
	if got != string(want) {
		t.Errorf("the session reads otherwise than %s:\n%s", golden, firstDifference(string(want), got))
	}
}

// here is the folder of this package's source: tests change theirs.
var here = sync.OnceValues(os.Getwd)

func init() { here() }

func source(t *testing.T) string {
	t.Helper()
	dir, err := here()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

func firstDifference(want, got string) string {
	w, g := strings.Split(want, "\n"), strings.Split(got, "\n")
	for i := range w {
		if i >= len(g) || w[i] != g[i] {
			return fmt.Sprintf("line %d\n want %q\n got  %q", i+1, w[i], append(g, "")[min(i, len(g))])
		}
	}
	return fmt.Sprintf("line %d is more: %q", len(w)+1, g[len(w)])
}

// stoolJob is a job folder of a stool that takes a sheet, two loads and one of
// fixtures, four screws and some glue, and leaves an offcut with a knot.
func stoolJob(t *testing.T, dir, name string, minutes float64) {
	t.Helper()
	plate := func(id, filament string, hours, grams float64) map[string]any {
		// The log had its say: it takes a tenth longer than was worked out.
		return map[string]any{"id": id, "printer": "small-bed", "filament": filament, "mass_g": grams, "seconds": 3600 * hours * 1.1, "reckoned_s": 3600*hours + 60*minutes, "reckoned_g": grams / 1.05}
	}
	doc := map[string]any{
		"schema_version": job.Version, "piece": map[string]any{"name": "stool"}, "kit": map[string]any{"revision": "7F3A-12BC"},
		"plates":        []any{plate("load-01", "abs", 3, 210), plate("load-02", "abs", 5, 341.6)},
		"fixture_loads": []any{plate("fixtures load-01", "pla", 1, 40)},
		"sheets": []any{map[string]any{
			"id": "walnut-1", "veneer": "walnut", "width_mm": 610, "length_mm": 2440,
			"reserved": []any{map[string]any{"min": []float64{500, 1000}, "max": []float64{540, 1060}}},
			"offcuts":  []any{map[string]any{"min": []float64{300, 900}, "max": []float64{600, 2400}}},
		}},
		"bill": []any{
			map[string]any{"section": "hardware", "item": "M6 x 40 cap screw", "quantity": 4, "unit": "piece"},
			map[string]any{"section": "hardware", "item": "printed dowel 5 x 24", "quantity": 8, "unit": "piece"},
			map[string]any{"section": "consumable", "item": "seam-glue", "quantity": 12.34, "unit": "ml"},
			map[string]any{"section": "labour", "item": "gluing", "quantity": 2, "unit": "h"},
		},
	}
	data, err := json.Marshal(doc)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.MkdirAll(filepath.Join(dir, name), 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, name), "plan.json", string(data))
}

// From an empty shop to a finished stool and back from a backup.
func TestStockSession(t *testing.T) {
	dir := shopDir(t)
	stoolJob(t, dir, "stool-1", 0)
	stoolJob(t, dir, "stool-2", 0)
	transcript(t, dir, "stock", `
stock
stock|add|spool|abs|1kg|--cost|22 EUR
stock|add|spool|abs|400g
stock|add|spool|abs
stock|plan|stool-1
stock|add|spool|pla|--spool|by-the-window
stock|add|sheet|walnut|2|--cost|180 EUR
stock|add|offcut|walnut|300x480|--reserve|40x60 at 120,300|--reserve|10x10 at 0,0
stock|add|offcut|walnut|--outline|0,0 300,0 300,200 0,480
stock|add|hardware|M6 x 40 cap screw|100|--cost|12 EUR
stock|add|consumable|seam-glue|12.3
stock|add|consumable|seam-glue|12.3ml
stock|reserve|stool-1
stock|add|consumable|seam-glue|250 ml|--cost|9.80 EUR
stock|reserve|stool-1
stock|plan|stool-2|--without-fixtures
stock
stock|jobs
stock|count|spool|abs|2|100 g|--why|weighed
stock|count|spool|abs|2|400 g|--why|weighed with the empty spool
stock|count|offcut|walnut|2|--why|it split
stock|price|spool|abs|21.50 EUR for 1 kg
stock|print|stool-1|1|--took|3 h 31 min|--grams|212
stock|print|stool-1|2|--took|20 min|--grams|15|--spool|1|--failed|--why|it came off the bed
stock|print|stool-1|load-02|--took|5 h 50 min|--grams|350|--spool|1
stock|jobs|stool-1
stock|finish|stool-1
stock|list
stock|finish|stool-1
stock|release|stool-2
stock|jobs|stool-2
stock|finish|stool-2
stock|abandon|stool-2|--why|the customer moved
stock|reserve|stool-2
stock|jobs
stock|jobs|--all
stock|history|--last|9
stock|history|--job|stool-2
backup|backup.db
backup|backup.db
export|tables
stock|count|hardware|M6 x 40 cap screw|0|--why|dropped
restore|backup.db
restore|tables
restore|elsewhere.db
stock|list|--json
stock|jobs|stool-1|--json
stock|history|--last|2|--json
`)
	path, err := storeFlag{}.path()
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), path, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if wrong, err := s.Check(t.Context()); err != nil || len(wrong) > 0 {
		t.Errorf("%v %v", err, wrong)
	}
	// What is logged is held against what was worked out, not against what the log made of it.
	j, err := s.Job(t.Context(), "stool-1")
	if err != nil || len(j.Runs) != 3 || j.Runs[0].EstimatedSeconds != 3*3600 || j.Runs[0].EstimatedGrams != 200 || j.Revision != "7F3A-12BC" {
		t.Errorf("%v %+v", err, j)
	}
}

// What cannot be is refused with words, and nothing is changed.
func TestStockRefuses(t *testing.T) {
	dir := shopDir(t)
	stoolJob(t, dir, "stool-1", 0)
	write(t, dir, "notes.txt", "no photograph")
	if err := os.Mkdir(filepath.Join(dir, "empty"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir(filepath.Join(dir, "old"), 0o755); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "old"), "plan.json", `{"schema_version": 0}`)
	transcript(t, dir, "refused", `
stock|add|spool|abs|much
stock|add|spool|abs|-1
stock|add|spool|abs|1kg|--cost|22
stock|add|spool|abs|1kg|--spool|No 3!
stock|add|sheet|walnut|1.5
stock|add|offcut|walnut
stock|add|offcut|walnut|300
stock|add|offcut|walnut|300x480|--reserve|somewhere
stock|add|offcut|walnut|--outline|0,0 300,0
stock|add|offcut|walnut|--outline|0,0 300,300 300,0 0,300
stock|add|offcut|walnut|300x480|--photo|notes.txt
stock|add|consumable|tape|5
stock|count|spool|abs|1|640g|--why|weighed
stock|count|spool|abs|1|640g
stock|price|spool|abs|22 EUR for 1kg
stock|plan|empty
stock|plan|old
stock|reserve|stool-1
stock|plan|stool-1|--no-reserve
stock|reserve|stool-2
stock|finish|stool-1
stock|print|stool-1|load-09|--took|3 h|--grams|100
stock|print|stool-1|1|--took|3|--grams|100
stock|print|stool-1|1|--took|3 h|--grams|100|--spool|7
stock|print|stool-1|1|--took|3 h|--grams|100|--printer|large
stock|print|stool-1|1|--took|3 h|--grams|100|--printer|large|--new-printer
stock|set-aside|77|--why|nothing
stock|history
stock|list
calibrate
calibrate|--write
calibrate|--since|yesterday
measure|none.yaml|--shop|shop.yaml
restore|none.db
restore|notes.txt
restore|empty
`)
}

// Pieces of veneer are described anew and photographed; what goes to no job is
// taken out.
func TestPiecesSession(t *testing.T) {
	dir := shopDir(t)
	stoolJob(t, dir, "stool-1", 0)
	var photo bytes.Buffer
	if err := png.Encode(&photo, image.NewGray(image.Rect(0, 0, 8, 8))); err != nil {
		t.Fatal(err)
	}
	write(t, dir, "walnut.png", photo.String())
	transcript(t, dir, "pieces", `
stock|add|offcut|walnut|300x480|--photo|walnut.png
stock|add|offcut|walnut|12 in x 20 in|--reserve|40x60 at 120,300
stock|describe|walnut|1|--reserve|10x10 at 0,0|--why|a knot under the dust
stock|describe|walnut|1|--reserve|30x5 at 50,70
stock|describe|walnut|2|290x500
stock|describe|walnut|2|290x500|--forget|--reserve|40x60 at 110,300
stock|describe|walnut|2|--outline|0,0 290,0 290,200 0,480|--forget|--as|blank
stock|photo|walnut|2
stock|describe|walnut|2|--photo|walnut.png
stock|list
stock|list|--json
stock|history
stock|photo|walnut|1
stock|photo|walnut|1
stock|photo|walnut|2|--out|again.png
stock|describe|walnut|1
stock|describe|walnut|1|300x480|--outline|0,0 290,0 290,200
stock|describe|walnut|1|--forget|--reserve|somewhere
stock|describe|walnut|3|300x480
stock|describe|ash|1|300x480
stock|photo|walnut|3
stock|count|offcut|walnut|2|--why|burnt
stock|describe|walnut|2|300x480
stock|add|hardware|M6 x 40 cap screw|6
stock|add|spool|abs
stock|add|spool|pla
stock|add|sheet|walnut|3
stock|add|consumable|seam-glue|250 ml
stock|plan|stool-1
stock|take|hardware|M6 x 40 cap screw|1|--why|the shop door
stock|take|hardware|M6 x 40 cap screw|2|--why|the shop door
stock|take|hardware|M6 x 40 cap screw|4|--why|the shop door
stock|take|hardware|M6 x 40 cap screw|0|--why|the shop door
stock|take|hardware|M5 screw|1|--why|the shop door
stock|take|hardware|M6 x 40 cap screw|1
stock|take|spool|abs|1|50g|--why|a hook
stock|take|spool|abs|7|50g|--why|a hook
stock|take|sheet|walnut|1|--why|sold
stock|take|consumable|seam-glue|30ml|--why|a chair
stock|history|--last|6
stock|check
`)
	for _, name := range []string{"walnut-1.png", "again.png"} {
		if b, err := os.ReadFile(name); err != nil || !bytes.Equal(b, photo.Bytes()) {
			t.Errorf("%s: %d bytes, %v", name, len(b), err)
		}
	}
}

// A piece that a job has reserved can be described, and its plan must be made
// again.
func TestDescribeReserved(t *testing.T) {
	shopDir(t)
	says(t, "stock", "add", "offcut", "walnut", "300x480")
	path, err := storeFlag{}.path()
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), path, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	j := store.Job{ID: "tray", Piece: "tray", Needs: []store.Need{{Item: store.Item{Kind: store.Offcut, ID: "walnut"}, Lot: "1", Amount: store.Pieces(1), Unit: "piece"}}}
	if err := s.Plan(t.Context(), j, store.Note{}); err != nil {
		t.Fatal(err)
	}
	if r, err := s.Reserve(t.Context(), j.ID, j.Needs, store.Note{}); err != nil || len(r.Short) > 0 {
		t.Fatal(r, err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if got, want := says(t, "stock", "describe", "walnut", "1", "--as", "blank"), "walnut offcut 1: 300 x 480 mm; it was 300 x 480 mm.\n"; got != want {
		t.Errorf("it says %q, not %q", got, want)
	}
	if got, want := says(t, "stock", "describe", "walnut", "1", "200x480"), "walnut offcut 1: 200 x 480 mm; it was 300 x 480 mm.\nWARNING  It is reserved for tray, which was planned with what it was: plan that again.\n"; got != want {
		t.Errorf("it says %q, not %q", got, want)
	}
}

// A stock that does not add up, and one whose file was written over, are told.
func TestStockCheck(t *testing.T) {
	for _, c := range []struct {
		name, want string
		harm       func(path string) error
	}{
		{"a sum", "WRONG  not so that what a lot holds is the sum of its movements: hardware M6 x 40 cap screw", func(path string) error {
			db, err := sql.Open("sqlite", path)
			if err != nil {
				return err
			}
			_, err = db.Exec("UPDATE lot SET on_hand = on_hand + 1000")
			return errors.Join(err, db.Close())
		}},
		{"the file", "malformed", func(path string) error {
			info, err := os.Stat(path)
			if err != nil {
				return err
			}
			f, err := os.OpenFile(path, os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			_, err = f.WriteAt(bytes.Repeat([]byte{0xA5}, int(info.Size())-4096), 4096) // all but SQLite's first page
			return errors.Join(err, f.Close())
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			shopDir(t)
			says(t, "stock", "add", "hardware", "M6 x 40 cap screw", "6")
			path, err := storeFlag{}.path()
			if err != nil {
				t.Fatal(err)
			}
			if got := says(t, "stock", "check"); got != path+" is sound: it can be read to its end, and all that was entered adds up to what the stock says.\n" {
				t.Errorf("before, it says %q", got)
			}
			if err := c.harm(path); err != nil {
				t.Fatal(err)
			}
			if got := says(t, "stock", "check"); !strings.Contains(got, c.want) || !strings.Contains(got, "error: ") {
				t.Errorf("it says %q", got)
			}
		})
	}
}

// What the printers really took goes into the shop file, and into the next plan.
func TestCalibrateSession(t *testing.T) {
	dir := shopDir(t)
	var session strings.Builder
	session.WriteString("stock|add|spool|abs|5kg\n")
	for i, minutes := range []float64{0, 30, 60, 150} {
		name := fmt.Sprintf("stool-%d", i+1)
		stoolJob(t, dir, name, minutes)
		fmt.Fprintf(&session, "stock|plan|%s|--no-reserve\n", name)
		for k, hours := range []float64{3, 5} { // 1.08 times and five minutes, and a little beside
			took := (hours*60+minutes)*(1.08+0.01*float64((i+k)%3-1)) + 5
			fmt.Fprintf(&session, "stock|print|%s|%d|--took|%.0f min|--grams|%.1f|--spool|1\n", name, k+1, took, 215+130*float64(k)+float64(i))
		}
		if i == 0 {
			session.WriteString("calibrate\ncalibrate|--shop|shop.yaml|--write\n")
		}
	}
	session.WriteString(`
stock|print|stool-4|1|--took|11 h|--grams|216|--spool|1|--why|the lid was open
calibrate
stock|set-aside|14|--why|the lid was open
calibrate
calibrate|--json
calibrate|--since|2999-01-01
calibrate|--shop|shop.yaml
calibrate|--shop|shop.yaml|--write
calibrate|--shop|shop.yaml|--write
`)
	transcript(t, dir, "calibrate", session.String())
	text, err := os.ReadFile("shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := shop.Parse("shop.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	l := s.Printers[0].Logged("abs")
	if l.Time.Runs != 8 || l.Time.Times < 1.05 || l.Time.Times > 1.11 || l.Time.Spread > 0.05 || !l.Grams.Known() {
		t.Errorf("%+v", l)
	}
	// Every line that was there is there, and one more.
	before := strings.Split(shopText(t), "\n")
	after := strings.Split(string(text), "\n")
	if len(after) != len(before)+1 {
		t.Errorf("%d lines, not %d", len(after), len(before)+1)
	}
	for _, line := range before {
		if !slices.Contains(after, line) {
			t.Errorf("lost: %q", line)
		}
	}
}

func TestMeasureSession(t *testing.T) {
	dir := shopDir(t)
	const form = `groundwork: 1
kerfs:
  - {laser: laser-bed, strips: 10, drawn: 100 mm, measured: %s}
`
	s, err := shop.Parse("shop.yaml", []byte(shopText(t)))
	if err != nil {
		t.Fatal(err)
	}
	write(t, dir, "coupons.yaml", fmt.Sprintf(strings.Replace(form, "laser-bed", s.Lasers[0].ID, 1), "98.2 mm"))
	write(t, dir, "wrong.yaml", fmt.Sprintf(strings.Replace(form, "laser-bed", s.Lasers[0].ID, 1), "9.82 mm"))
	transcript(t, dir, "measure", `
measure|wrong.yaml|--shop|shop.yaml
measure|coupons.yaml|--shop|shop.yaml|--dry
measure|coupons.yaml|--shop|shop.yaml
measure|coupons.yaml|--shop|shop.yaml
`)
	after, err := shop.ParseFile("shop.yaml")
	if err != nil || after.Lasers[0].Kerf != 0.18 {
		t.Errorf("%v, kerf %g", err, after.Lasers[0].Kerf)
	}
}

// kept keeps results of stages.
type kept struct {
	mu  sync.Mutex
	has map[digest.Sum]any
}

func (c *kept) Get(_ context.Context, key digest.Sum, work func() (any, error)) (any, error) {
	c.mu.Lock()
	v, ok := c.has[key]
	c.mu.Unlock()
	if ok {
		return v, nil
	}
	v, err := work()
	if err == nil {
		c.mu.Lock()
		c.has[key] = v
		c.mu.Unlock()
	}
	return v, err
}

// A side table is planned and made, and planned again: the second is cut from
// what the first left before a sheet is touched, and less is bought for it. A
// trestle needs no sheet at all.
func TestOffcutsFirst(t *testing.T) {
	shopDir(t)
	f := stockFlag{Stock: true}
	out := func() *output {
		null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { null.Close() })
		return &output{null, null}
	}()
	heron, err := examples.Files.ReadFile("heron-side-table.yaml")
	if err != nil {
		t.Fatal(err)
	}
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	cache := &kept{has: map[digest.Sum]any{}}
	plans := func(f stockFlag, text []byte, name string) *plan.Plan {
		t.Helper()
		d, err := piece.Parse(name, text)
		if err != nil {
			t.Fatal(err)
		}
		p, _, err := d.Resolve(nil)
		if err != nil {
			t.Fatal(err)
		}
		s, err := shop.ParseFile("shop.yaml")
		if err != nil {
			t.Fatal(err)
		}
		if s, err = f.overlay(t.Context(), out, s, name); err != nil {
			t.Fatal(err)
		}
		pl, err := plan.Make(t.Context(), k, p, s, plan.Options{Cache: cache, Printing: printing.Options{Lines: -1}, Sheet: sheet.Options{Iterations: 4}})
		if err != nil {
			t.Fatal(err)
		}
		if err := f.reserve(t.Context(), out, pl, name); err != nil {
			t.Fatal(err)
		}
		return pl
	}
	stockUp := func(pl *plan.Plan) { // all that the plan takes, each load on a spool of its own
		t.Helper()
		err := f.with(t.Context(), func(s *store.Store) error {
			for _, n := range store.Needs(pl.Bill, pl.Printing, pl.FixturePrinting, pl.Sheets) {
				if n.Kind == store.Offcut {
					continue
				}
				if _, err := s.Add(t.Context(), store.Receipt{Item: n.Item, Amount: n.Amount, Unit: n.Unit}); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	bought := func(pl *plan.Plan) (sheets int, area float64) {
		for _, s := range pl.Sheets.Sheets {
			if s.Kept == "" {
				sheets++
				area += s.Size.X * s.Size.Y
				for _, o := range s.Offcuts {
					area -= o.Size().X * o.Size().Y
				}
			}
		}
		return sheets, area
	}
	state := func(job string) store.Job {
		t.Helper()
		var j store.Job
		if err := f.with(t.Context(), func(s *store.Store) (err error) { j, err = s.Job(t.Context(), job); return err }); err != nil {
			t.Fatal(err)
		}
		return j
	}

	first := plans(f, heron, "heron-1")
	if j := state("heron-1"); j.State != "planned" || len(j.Left) == 0 {
		t.Fatalf("with nothing in stock it is %s, and leaves %d pieces", j.State, len(j.Left))
	}
	stockUp(first)
	says(t, "stock", "reserve", "heron-1")
	says(t, "stock", "finish", "heron-1")
	if j := state("heron-1"); j.State != "finished" {
		t.Fatalf("it is %s", j.State)
	}

	// What it left is enough for a trestle, though its pieces are smaller than the bed.
	without, with := plans(stockFlag{}, []byte(trestle), "trestle-0"), plans(f, []byte(trestle), "trestle-1")
	n, _ := bought(without)
	m, _ := bought(with)
	if n != 1 || m != 0 {
		t.Errorf("%d sheets are bought for a trestle with the stock, and %d without", m, n)
	}

	second := plans(f, heron, "heron-2")
	if k := second.Sheets.Sheets[0].Kept; k == "" {
		t.Errorf("the second is cut from a new sheet first")
	}
	_, a := bought(first)
	_, b := bought(second)
	if !(b < a-0.15e6) { // the first leaves 0.29 m²
		t.Errorf("the second takes %.0f mm² of new sheets, the first %.0f", b, a)
	}
	if len(second.Sheets.Placements) != len(first.Sheets.Placements) {
		t.Error("something is not laid")
	}
	used := 0
	stockUp(second)
	says(t, "stock", "reserve", "heron-2")
	for _, h := range state("heron-2").Holds {
		if h.Lot.Kind == store.Offcut {
			used++
		}
	}
	if used == 0 {
		t.Error("no offcut is reserved for the second")
	}

	// Its offcut is nobody else's.
	for _, s := range plans(f, []byte(trestle), "trestle-1").Sheets.Sheets {
		if s.Kept == second.Sheets.Sheets[0].Kept {
			t.Errorf("the trestle is cut from offcut %s, which is reserved", s.Kept)
		}
	}
}

// What loads took goes through the shop file into the next plan's loads, bill and
// interval; and what is logged of those is again held against what was worked
// out, so that calibrating again finds the same.
func TestPlansGoByTheLog(t *testing.T) {
	shopDir(t)
	f := stockFlag{Stock: true}
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	out := &output{null, null}
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	cache := &kept{has: map[digest.Sum]any{}}
	d, err := piece.Parse("trestle.yaml", []byte(trestle))
	if err != nil {
		t.Fatal(err)
	}
	p, _, err := d.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	makes := func(name string) *plan.Plan {
		t.Helper()
		s, err := shop.ParseFile("shop.yaml")
		if err != nil {
			t.Fatal(err)
		}
		pl, err := plan.Make(t.Context(), k, p, s, plan.Options{Cache: cache, Printing: printing.Options{Lines: -1}, Sheet: sheet.Options{Iterations: 4}})
		if err != nil {
			t.Fatal(err)
		}
		if err := f.reserve(t.Context(), out, pl, name); err != nil {
			t.Fatal(err)
		}
		return pl
	}
	logs := func(name string, pl *plan.Plan) {
		t.Helper()
		for i, times := range []float64{1.19, 1.2, 1.21} { // each load three times over: 1.2 times what is worked out
			for n, l := range pl.Printing.Loads {
				got := says(t, "stock", "print", name, l.ID, "--took", fmt.Sprintf("%.3f s", times*l.Reckoned.Seconds), "--grams", fmt.Sprintf("%.3f", 1.1*l.Reckoned.Grams))
				if strings.Contains(got, "error") {
					t.Fatalf("%d, %d: %s", i, n, got)
				}
			}
		}
	}
	first := makes("trestle-1")
	logs("trestle-1", first)
	if got := says(t, "calibrate", "--shop", "shop.yaml", "--write"); !strings.Contains(got, "Written") {
		t.Fatal(got)
	}
	second := makes("trestle-2")
	for i, l := range second.Printing.Loads {
		was := first.Printing.Loads[i]
		if l.Reckoned != was.Reckoned {
			t.Errorf("%s was worked out otherwise: %+v, %+v", l.ID, l.Reckoned, was.Reckoned)
		}
		if r := l.Seconds / was.Seconds; r < 1.199 || r > 1.201 {
			t.Errorf("%s takes %g times as long", l.ID, r)
		}
		if r := l.Grams / was.Grams; r < 1.099 || r > 1.101 {
			t.Errorf("%s takes %g times the filament", l.ID, r)
		}
		if off, before := l.High/l.Seconds-1, was.High/was.Seconds-1; off <= 0 || off > 0.06 || before < 0.2 {
			t.Errorf("%s: within %g, before %g", l.ID, off, before)
		}
	}
	// The bill goes by it, its fixtures in other filaments do not.
	if !(second.Bill.PrintHigh-second.Bill.PrintLow < first.Bill.PrintHigh-first.Bill.PrintLow) || !(second.Bill.PrintSeconds > 1.1*first.Bill.PrintSeconds) {
		t.Errorf("on the bill %.0f s (%.0f to %.0f), before %.0f s (%.0f to %.0f)", second.Bill.PrintSeconds, second.Bill.PrintLow, second.Bill.PrintHigh,
			first.Bill.PrintSeconds, first.Bill.PrintLow, first.Bill.PrintHigh)
	}
	logs("trestle-2", second)
	logged := func() shop.Logged {
		t.Helper()
		s, err := shop.ParseFile("shop.yaml")
		if err != nil {
			t.Fatal(err)
		}
		return s.Printers[0].Logged(first.Printing.Loads[0].Filament)
	}
	before := logged()
	says(t, "calibrate", "--shop", "shop.yaml", "--write")
	if after := logged(); after.Time.Times != before.Time.Times || after.Grams.Times != before.Grams.Times || after.Time.Runs != 2*before.Time.Runs {
		t.Errorf("%+v, before %+v", after, before)
	}
}

// childArgs makes this test binary carry out shop commands, one a line with | between
// the words, when it is started by TestStockTogether.
const childArgs = "GROUNDWORK_TEST_STOCK"

func TestStockChild(t *testing.T) {
	for line := range strings.Lines(os.Getenv(childArgs)) {
		if got := says(t, strings.Split(strings.TrimSpace(line), "|")...); strings.Contains(got, "error:") {
			t.Fatal(got)
		}
	}
}

// Programs that work on one stock at the same time wait for one another, and
// lose nothing.
func TestStockTogether(t *testing.T) {
	dir := shopDir(t)
	stoolJob(t, dir, "stool-1", 0)
	says(t, "stock", "add", "spool", "abs", "5 kg")
	says(t, "stock", "plan", "stool-1", "--no-reserve")
	const programs, each = 3, 8
	var all sync.WaitGroup
	for p := range programs {
		var lines []string
		for i := range each {
			lines = append(lines, "stock|add|hardware|M6 x 40 cap screw|3", "stock|print|stool-1|1|--took|3 h|--grams|10|--spool|1", "stock|list|--json")
			if i%4 == 0 {
				lines = append(lines, fmt.Sprintf("backup|backup-%d-%d.db", p, i))
			}
		}
		cmd := exec.Command(os.Args[0], "-test.run=^TestStockChild$")
		cmd.Env = append(os.Environ(), childArgs+"="+strings.Join(lines, "\n"))
		all.Go(func() {
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("%v: %s", err, out)
			}
		})
	}
	all.Wait()
	err := storeFlag{}.with(t.Context(), func(s *store.Store) error {
		has, err := s.Stock(t.Context(), store.StockOptions{})
		if err != nil {
			return err
		}
		spool, _ := has.Of(store.Item{Kind: store.Filament, ID: "abs"})
		screws, _ := has.Of(store.Item{Kind: store.Hardware, ID: "M6 x 40 cap screw"})
		runs, err := s.Runs(t.Context())
		if spool.OnHand != store.Of(5000-10*programs*each) || screws.OnHand != store.Pieces(3*programs*each) || len(runs) != programs*each {
			t.Errorf("%s g, %s screws, %d runs", spool.OnHand, screws.OnHand, len(runs))
		}
		wrong, check := s.Check(t.Context())
		for _, w := range wrong {
			t.Error(w)
		}
		if err != nil {
			return err
		}
		return check
	})
	if err != nil {
		t.Error(err)
	}
}

// Whatever is read is a shape with finite sides.
func FuzzSizes(f *testing.F) {
	for _, s := range []string{"300x480", "12 in x 20 in", "40x60 at 120,300", "0,0 300,0 300,200 0,480", "x", "1e400x2", "-1x2", "3 gx4", "1/3×2"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if v, err := parseSize(text); err == nil && !(v.X > 0 && v.Y > 0 && v.X <= 1e12 && v.Y <= 1e12) {
			t.Errorf("%q: %v", text, v)
		}
		if r, err := parseArea(text); err == nil && !(r.Size.X > 0 && r.Size.Y > 0 && r.At.X*r.At.X >= 0) {
			t.Errorf("%q: %+v", text, r)
		}
		if p, err := parseOutline(text); err == nil {
			for _, q := range p {
				if !(q.X*q.X >= 0 && q.Y*q.Y >= 0) {
					t.Errorf("%q: %v", text, q)
				}
			}
		}
	})
}

// A plan that is none is refused, never more.
func FuzzParseJob(f *testing.F) {
	f.Add([]byte(`{"schema_version": 1}`))
	f.Add([]byte(`{"schema_version": 1, "plates": [{"id": "load-01", "seconds": 3}], "sheets": [{"offcuts": [{"min": [1], "max": []}]}]}`))
	f.Add([]byte(`{"plates": [{}], "plates": [{}, {}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		for _, bare := range []bool{false, true} {
			if j, err := parseJob(data, bare); err == nil && len(j.Loads) > len(data) {
				t.Errorf("%d loads", len(j.Loads))
			}
		}
	})
}
