package line

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

func TestKept(t *testing.T) {
	k, err := OpenKept(filepath.Join(t.TempDir(), "deep", "down"))
	if err != nil {
		t.Fatal(err)
	}
	a, b := strings.Repeat("a1", 32), strings.Repeat("b2", 32)
	if _, ok := k.get(a); ok {
		t.Error("there is a row in an empty folder")
	}
	row := []byte("{\"x\":\n1}")
	if err := k.put(a, row); err != nil {
		t.Fatal(err)
	}
	if got, ok := k.get(a); !ok || !bytes.Equal(got, row) {
		t.Errorf("%q, %v", got, ok)
	}
	for _, key := range []string{"", "../../etc/passwd", strings.Repeat("A", 64), strings.Repeat("a", 63)} {
		if _, ok := k.get(key); ok || k.put(key, row) == nil {
			t.Errorf("%q is taken for a key", key)
		}
	}
	data, err := os.ReadFile(k.name(a))
	if err != nil {
		t.Fatal(err)
	}
	// Damaged in any byte, cut short, or under another's name, it is not there.
	for i := range data {
		bad := bytes.Clone(data)
		bad[i] ^= 1
		if err := os.WriteFile(k.name(a), bad, 0o644); err != nil {
			t.Fatal(err)
		}
		if _, ok := k.get(a); ok {
			t.Errorf("with byte %d wrong it is taken for whole", i)
		}
		if err := os.WriteFile(k.name(a), data[:i], 0o644); err != nil {
			t.Fatal(err)
		}
		if _, ok := k.get(a); ok {
			t.Errorf("cut to %d bytes it is taken for whole", i)
		}
	}
	if err := os.MkdirAll(filepath.Dir(k.name(b)), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(k.name(b), data, 0o644); err != nil {
		t.Fatal(err)
	}
	if _, ok := k.get(b); ok {
		t.Error("a row under another's name is taken for its own")
	}
	var none *Kept
	if _, ok := none.get(a); ok || none.put(a, row) != nil {
		t.Error("no folder keeps nothing, without a word")
	}
}

func TestKeptByMany(t *testing.T) {
	dir := t.TempDir()
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			k, err := OpenKept(dir)
			if err != nil {
				t.Error(err)
				return
			}
			for i := range 50 {
				key := fmt.Sprintf("%064x", i)
				row := bytes.Repeat([]byte{byte(i)}, 5000)
				if err := k.put(key, row); err != nil {
					t.Error(err)
				}
				if got, ok := k.get(key); !ok || !bytes.Equal(got, row) {
					t.Errorf("row %d: %v", i, ok)
				}
			}
		})
	}
	all.Wait()
}

// The oldest go first, and what is not ours stays.
func TestKeptIsTrimmed(t *testing.T) {
	k, err := OpenKept(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	for i := range 10 {
		key := fmt.Sprintf("%064x", i)
		if err := k.put(key, []byte("row")); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(k.name(key), now, now.Add(-time.Duration(i)*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	foreign := filepath.Join(k.Dir(), "notes.txt")
	part := filepath.Join(k.Dir(), "."+strings.Repeat("0", 64)+".row-123")
	for _, name := range []string{foreign, part} {
		if err := os.WriteFile(name, nil, 0o644); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(name, now, now.Add(-1000*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	if err := k.trim(3); err != nil {
		t.Fatal(err)
	}
	for i := range 10 {
		if _, ok := k.get(fmt.Sprintf("%064x", i)); ok != (i < 3) {
			t.Errorf("row %d is there: %v", i, ok)
		}
	}
	if _, err := os.Stat(foreign); err != nil {
		t.Error("somebody else's file was taken away")
	}
	if _, err := os.Stat(part); err == nil {
		t.Error("a part left long ago is still there")
	}
}
