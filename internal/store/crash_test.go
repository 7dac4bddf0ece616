package store

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"groundwork/internal/geom"
)

func init() {
	children["busy"] = busyChild
	children["clients"] = clientsChild
	children["open"] = openChild
	children["restore"] = restoreChild
}

// child starts the test binary as one of the children.
func child(t testing.TB, what, path string, more ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), append(more, "STORE_TEST_CHILD="+what, "STORE_TEST_PATH="+path)...)
	cmd.Stderr = os.Stderr
	return cmd
}

func die(err error) {
	if err != nil {
		fmt.Println("failed:", err)
		os.Exit(1)
	}
}

// deed is the n-th thing that a busy child does. It follows from its number, so
// that who reads the ledger knows what an entry has to say.
type deed struct{ client, n int }

func (d deed) key() string { return fmt.Sprintf("%d.%d", d.client, d.n) }

func deedOf(key string) (d deed, err error) {
	c, n, _ := strings.Cut(key, ".")
	if d.client, err = strconv.Atoi(c); err == nil {
		d.n, err = strconv.Atoi(n)
	}
	return d, err
}

func (d deed) job() string { return fmt.Sprintf("job-%d-%d", d.client, d.n/6) }

func (d deed) grams() Amount { return Amount(10_000 + d.n%7*1001) }

func (d deed) needs() []Need {
	return []Need{{Item: abs, Amount: d.grams()}, {Item: screws, Amount: Pieces(2)}, {Item: walnut, Amount: Pieces(1)}}
}

// do does it, and reports whether there was anything to do.
func (d deed) do(ctx context.Context, s *Store) error {
	why := Note{Reason: "busy", Key: d.key()}
	switch d.n % 6 {
	case 0:
		for _, r := range []Receipt{
			{Item: screws, Amount: Pieces(2)}, {Item: walnut, Amount: Pieces(1)}, {Item: abs, Lot: "stock", Amount: Of(20)},
		} {
			if r.Item == abs { // the last has the key
				r.Note = why
			}
			if _, err := s.Add(ctx, r); err != nil {
				return err
			}
		}
		return nil
	case 1:
		return s.Plan(ctx, Job{ID: d.job(), Piece: "stool", Loads: []Load{{"load-01", "small-bed", "abs", 3600, d.grams().Units()}}}, why)
	case 2:
		r, err := s.Reserve(ctx, d.job(), d.needs(), why)
		if err == nil && len(r.Short) > 0 {
			return fmt.Errorf("short: %+v", r.Short)
		}
		return err
	case 3:
		return s.Actual(ctx, Actual{Job: d.job(), Load: "load-01", Seconds: 3500, Grams: 1}, why)
	case 4:
		_, err := s.Finish(ctx, d.job(), Actuals{Left: []Left{{Veneer: "walnut", Piece: Piece{
			Form: Leftover, Outline: Rectangle(geom.V2(60, 400)), Photo: jpeg(d.key() + strings.Repeat("x", 9000)),
		}}}}, why)
		return err
	}
	return s.Adjust(ctx, Ref{abs, "stock"}, -1, why)
}

// holds is what is wrong with the entry that it wrote.
func (d deed) holds(e Entry) error {
	want := map[string]Amount{}
	got := map[string]Amount{}
	for _, m := range e.Moves {
		got[m.Lot.Item.String()] += m.Amount
		got["held "+m.Lot.Item.String()] += m.Held
	}
	switch d.n % 6 {
	case 0:
		want[abs.String()] = Of(20)
	case 2, 4:
		for _, n := range d.needs() {
			want["held "+n.Item.String()] = n.Amount
		}
		if d.n%6 == 4 {
			for _, n := range (deed{d.client, d.n - 2}).needs() {
				want[n.Item.String()], want["held "+n.Item.String()] = -n.Amount, -n.Amount
			}
			want[pieces.String()] = 1000
		}
	case 5:
		want[abs.String()] = -1
	}
	for k, v := range got {
		if v != want[k] {
			return fmt.Errorf("%s %s: %s is %s, not %s", d.key(), e.What, k, v, want[k])
		}
		delete(want, k)
	}
	for k, v := range want {
		return fmt.Errorf("%s %s: %s should be %s", d.key(), e.What, k, v)
	}
	return nil
}

// busyChild does one deed after the other, from where the client before it was
// killed, and tells each when it is acknowledged.
func busyChild() {
	client, err := strconv.Atoi(os.Getenv("STORE_TEST_CLIENT"))
	die(err)
	ctx := context.Background()
	s, err := Open(ctx, os.Getenv("STORE_TEST_PATH"), time.Now)
	die(err)
	from, err := strconv.Atoi(os.Getenv("STORE_TEST_FROM"))
	die(err)
	for n := from; ; n++ {
		d := deed{client, n}
		die(d.do(ctx, s)) // the first of them may have been done: its key tells
		if _, err := fmt.Println(d.key()); err != nil {
			os.Exit(1)
		}
	}
}

// kills is how many children TestKilled kills; long_test.go sets it to 1,000.
var kills = 100

// A program that is killed (SIGKILL) at any moment has lost nothing that it
// acknowledged and left nothing half written. Four at a time write to one store,
// each is killed at a moment of its own, and others go on where they were.
func TestKilled(t *testing.T) {
	const clients = 4
	path := filepath.Join(t.TempDir(), FileName)
	rng := rand.New(rand.NewPCG(1, 2))
	next := make([]int, clients) // deed that is not acknowledged
	acked := map[string]bool{}
	killed, written := 0, int64(0)
	for round := 0; killed < kills; round++ {
		var wait sync.WaitGroup
		var mu sync.Mutex
		for c := range clients {
			// Some are killed while they open the store, which takes about 20 ms.
			after, early := time.Duration(rng.Int64N(int64(30*time.Millisecond))), rng.IntN(5) == 0
			wait.Go(func() {
				cmd := child(t, "busy", path, fmt.Sprint("STORE_TEST_CLIENT=", c), fmt.Sprint("STORE_TEST_FROM=", next[c]))
				out, err := cmd.StdoutPipe()
				if err != nil {
					t.Error(err)
					return
				}
				if err := cmd.Start(); err != nil {
					t.Error(err)
					return
				}
				kill := func() { time.AfterFunc(after, func() { cmd.Process.Kill() }) }
				if early {
					kill()
				}
				in := bufio.NewScanner(out)
				for first := true; in.Scan(); first = false {
					d, err := deedOf(in.Text())
					if err != nil {
						t.Errorf("a child says %q", in.Text())
						break
					}
					mu.Lock()
					acked[d.key()] = true
					mu.Unlock()
					next[c] = d.n + 1
					if first && !early {
						kill()
					}
				}
				cmd.Process.Kill()
				if err := cmd.Wait(); err == nil || cmd.ProcessState.ExitCode() >= 0 {
					t.Errorf("a child ended by itself: %v", err)
				}
			})
		}
		wait.Wait()
		killed += clients
		if t.Failed() {
			t.FailNow()
		}
		written = verifyDeeds(t, path, acked)
		if t.Failed() {
			t.Fatalf("after %d kills", killed)
		}
	}
	t.Logf("%d killed, %d deeds acknowledged, %d written", killed, len(acked), written)
	if len(acked) < kills {
		t.Errorf("only %d deeds were acknowledged: the test has tested little", len(acked))
	}
}

// verifyDeeds checks the store, that all that was acknowledged is there, and
// that what is there is whole. It returns how many deeds were written.
func verifyDeeds(t *testing.T, path string, acked map[string]bool) int64 {
	t.Helper()
	s, err := Open(t.Context(), path, noon)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	sound(t, s)
	entries := must[[]Entry](t)(s.Ledger(t.Context(), nil, 0, 1_000_000))
	there := map[string]bool{}
	for _, e := range entries {
		if e.Key == "" {
			continue
		}
		there[e.Key] = true
		d, err := deedOf(e.Key)
		if err == nil {
			err = d.holds(e)
		}
		if err != nil {
			t.Error(err)
		}
	}
	for k := range acked {
		if !there[k] {
			t.Errorf("%s was acknowledged and is not there", k)
		}
	}
	// Stock is what the ledger comes to, added up here.
	sums := map[Ref][2]Amount{}
	for _, e := range entries {
		for _, m := range e.Moves {
			s := sums[m.Lot]
			sums[m.Lot] = [2]Amount{s[0] + m.Amount, s[1] + m.Held}
		}
	}
	for _, it := range must[*Stock](t)(s.Stock(t.Context(), StockOptions{Empty: true})).Items {
		for _, l := range it.Lots {
			if got := [2]Amount{l.OnHand, l.Held()}; got != sums[l.Ref] {
				t.Errorf("%s: stock says %v, the ledger %v", l.Ref, got, sums[l.Ref])
			}
		}
	}
	return int64(len(there))
}

// Killed while it makes the store, a program leaves none or a whole one.
func TestKilledOpening(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	versions := map[int64]int{}
	for range 20 {
		path := filepath.Join(t.TempDir(), FileName)
		cmd := child(t, "open", path)
		out, err := cmd.StdoutPipe()
		ok(t, err)
		ok(t, cmd.Start())
		bufio.NewReader(out).ReadString('\n') // it is about to open
		time.Sleep(time.Duration(rng.Int64N(int64(40 * time.Millisecond))))
		cmd.Process.Kill()
		cmd.Wait()
		left := int64(-1)
		if _, err := os.Stat(path); err == nil {
			left = 0
			if now, err := isCurrent(t.Context(), path); err != nil {
				t.Fatal(err)
			} else if now {
				left = 1
			}
		}
		versions[left]++
		s := opened(t, path)
		add(t, s, abs, Of(1))
		sound(t, s)
		ok(t, s.Close())
	}
	t.Logf("no file %d, no schema %d, whole %d", versions[-1], versions[0], versions[1])
}

func openChild() {
	fmt.Println("opening")
	s, err := Open(context.Background(), os.Getenv("STORE_TEST_PATH"), time.Now)
	die(err)
	fmt.Println("open")
	time.Sleep(time.Minute)
	s.Close()
}

const (
	processes  = 5
	goroutines = 10
	each       = 12 // deeds of a client
)

// clientsChild is ten clients, each with a store of its own that is open at once.
func clientsChild() {
	base, err := strconv.Atoi(os.Getenv("STORE_TEST_CLIENT"))
	die(err)
	var wait sync.WaitGroup
	for c := range goroutines {
		wait.Go(func() {
			ctx := context.Background()
			s, err := Open(ctx, os.Getenv("STORE_TEST_PATH"), time.Now)
			die(err)
			defer s.Close()
			for n := range each {
				die(deed{base + c, n}.do(ctx, s))
			}
			// All take from one bin what was counted for all of them.
			for n := range each {
				die(s.Adjust(ctx, Ref{Item{Hardware, "dowel 6 x 30"}, ""}, -1000, Note{Reason: "took one", Key: fmt.Sprintf("%d.%d", base+c, 6000+6*n)}))
				_, err := s.Stock(ctx, StockOptions{})
				die(err)
			}
		})
	}
	wait.Wait()
	fmt.Println("done")
}

// Fifty clients in five processes lose none of one another's updates, and none
// is told that the database is locked. All begin with no store at all.
func TestManyClients(t *testing.T) {
	path := filepath.Join(t.TempDir(), FileName)
	dowels := Item{Hardware, "dowel 6 x 30"}
	s := opened(t, path)
	bin := add(t, s, dowels, Pieces(processes*goroutines*each+7))
	var wait sync.WaitGroup
	for p := range processes {
		wait.Go(func() {
			out, err := child(t, "clients", path, fmt.Sprint("STORE_TEST_CLIENT=", 100*p)).Output()
			if err != nil || string(out) != "done\n" {
				t.Errorf("%v: %s", err, out)
			}
		})
	}
	wait.Wait()
	if got := onHand(t, s, bin); got != Pieces(7) {
		t.Errorf("%s dowels, not 7", got)
	}
	acked := map[string]bool{}
	for p := range processes {
		for c := range goroutines {
			for n := range each {
				acked[deed{100*p + c, n}.key()] = true
			}
		}
	}
	entries := must[[]Entry](t)(s.Ledger(t.Context(), nil, 0, 1_000_000))
	keys := map[string]bool{}
	for _, e := range entries {
		if d, err := deedOf(e.Key); err == nil && d.n < each {
			keys[e.Key] = true
			if err := d.holds(e); err != nil {
				t.Error(err)
			}
		}
	}
	if len(keys) != len(acked) {
		t.Errorf("%d deeds of %d", len(keys), len(acked))
	}
	sound(t, s)
}

// Two processes make the store at once.
func TestTwoOpenNothing(t *testing.T) {
	for range 5 {
		path := filepath.Join(t.TempDir(), FileName)
		var wait sync.WaitGroup
		for range 2 {
			wait.Go(func() {
				cmd := child(t, "open", path)
				out, err := cmd.StdoutPipe()
				if err == nil {
					err = cmd.Start()
				}
				if err != nil {
					t.Error(err)
					return
				}
				in := bufio.NewScanner(out)
				said := ""
				for said != "open" && in.Scan() {
					said = in.Text()
				}
				if said != "open" {
					t.Errorf("a child says %q", said)
				}
				cmd.Process.Kill()
				cmd.Wait()
			})
		}
		wait.Wait()
		sound(t, opened(t, path))
	}
}

// A power cut may tear the log that SQLite writes, at any byte. The store is
// then as it was after some number of acknowledged changes, never between two.
func TestTornLog(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	s := opened(t, path)
	ctx := t.Context()
	_, err := s.writing.ExecContext(ctx, "PRAGMA wal_autocheckpoint(0)")
	ok(t, err)
	for n := range 30 {
		ok(t, deed{0, n}.do(ctx, s))
	}
	base, err := os.ReadFile(path)
	ok(t, err)
	log, err := os.ReadFile(path + "-wal")
	ok(t, err)
	rng := rand.New(rand.NewPCG(5, 6))
	seen := map[int64]bool{}
	for range 60 {
		cut := rng.IntN(len(log) + 1)
		torn := append([]byte{}, log[:cut]...)
		if cut > 0 && rng.IntN(2) == 0 { // sectors that were not written, too
			at := rng.IntN(cut)
			for i := at; i < min(cut, at+512); i++ {
				torn[i] = 0
			}
		}
		p := filepath.Join(t.TempDir(), FileName)
		ok(t, errors.Join(os.WriteFile(p, base, 0o600), os.WriteFile(p+"-wal", torn, 0o600)))
		r, err := Open(ctx, p, noon)
		if err != nil {
			t.Fatalf("torn at %d: %v", cut, err)
		}
		sound(t, r)
		entries := must[[]Entry](t)(r.Ledger(ctx, nil, 0, 1000))
		// Keyed deeds 0, 1, 2, ... without a gap.
		next := 0
		for _, e := range entries {
			if e.Key == "" {
				continue
			}
			if e.Key != (deed{0, next}).key() {
				t.Errorf("torn at %d: %s where deed %d was due", cut, e.Key, next)
			}
			if err := (deed{0, next}).holds(e); err != nil {
				t.Error(err)
			}
			next++
		}
		seen[int64(next)] = true
		ok(t, r.Close())
	}
	if len(seen) < 10 {
		t.Errorf("only %d different states came of it: the test has tested little", len(seen))
	}
}

// A disk that is full is an error, and nothing else.
func TestDiskFull(t *testing.T) {
	s := fresh(t)
	ctx := t.Context()
	for n := range 12 {
		ok(t, deed{0, n}.do(ctx, s))
	}
	before := must[[]Entry](t)(s.Ledger(ctx, nil, 0, 1000))
	var pages int
	ok(t, s.writing.QueryRowContext(ctx, "PRAGMA page_count").Scan(&pages))
	_, err := s.writing.ExecContext(ctx, fmt.Sprintf("PRAGMA max_page_count(%d)", pages+3))
	ok(t, err)
	left := Receipt{Item: pieces, Amount: 1000, Piece: &Piece{Form: Leftover, Outline: Rectangle(geom.V2(60, 400)), Photo: jpeg(strings.Repeat("y", 100_000))}}
	if _, err := s.Add(ctx, left); err == nil || !strings.Contains(err.Error(), "full") {
		t.Errorf("%v", err)
	}
	if after := must[[]Entry](t)(s.Ledger(ctx, nil, 0, 1000)); len(after) != len(before) {
		t.Errorf("%d entries, %d before", len(after), len(before))
	}
	sound(t, s)
	_, err = s.writing.ExecContext(ctx, "PRAGMA max_page_count(4294967294)")
	ok(t, err)
	must[Ref](t)(s.Add(ctx, left))
	sound(t, s)
}

func restoreChild() {
	path := os.Getenv("STORE_TEST_PATH")
	fmt.Println("restoring")
	for n := 0; ; n++ { // the one and the other in turn
		_, err := Restore(context.Background(), path, os.Getenv([]string{"STORE_TEST_A", "STORE_TEST_B"}[n%2]), time.Now)
		die(err)
		_, err = fmt.Println(n)
		die(err)
	}
}

// Killed while it restores, a program leaves the store of before or the backup.
func TestKilledRestoring(t *testing.T) {
	dir := t.TempDir()
	backups := make([]string, 2)
	for i, grams := range []float64{111, 222} {
		s := fresh(t)
		add(t, s, abs, Of(grams))
		backups[i] = filepath.Join(dir, fmt.Sprint("backup-", i))
		must[Contents](t)(s.Backup(t.Context(), backups[i]))
	}
	path := filepath.Join(dir, FileName)
	s := opened(t, path)
	add(t, s, abs, Of(222))
	ok(t, s.Close())
	rng := rand.New(rand.NewPCG(7, 8))
	got := map[string]int{}
	for n := range 20 {
		cmd := child(t, "restore", path, "STORE_TEST_A="+backups[n%2], "STORE_TEST_B="+backups[1-n%2])
		out, err := cmd.StdoutPipe()
		ok(t, err)
		ok(t, cmd.Start())
		in := bufio.NewReader(out)
		in.ReadString('\n')
		time.Sleep(time.Duration(rng.Int64N(int64(120 * time.Millisecond))))
		cmd.Process.Kill()
		cmd.Wait()
		s, err := Open(t.Context(), path, noon)
		if err != nil {
			t.Fatal(err)
		}
		sound(t, s)
		amount := onHand(t, s, Ref{abs, "1"})
		if amount != Of(111) && amount != Of(222) {
			t.Errorf("%s g", amount)
		}
		got[amount.String()]++
		ok(t, s.Close())
	}
	t.Logf("%v", got)
	if len(got) < 2 {
		t.Errorf("always %v: the test has tested little", got)
	}
}
