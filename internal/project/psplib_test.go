package project

import (
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// Instances of our own in the published format, of as many jobs as the j30 set
// has and of its hardest kind.
func TestReadsWhatIsWritten(t *testing.T) {
	for _, c := range []struct {
		name string
		seed uint64
		jobs int
	}{{"drawn1.sm", 1, 30}, {"drawn2.sm", 2, 30}, {"drawn3.sm", 3, 12}} {
		p := drawn(c.seed, c.jobs)
		name := filepath.Join("testdata", c.name)
		if os.Getenv("GOLDEN") == "update" {
			if err := os.WriteFile(name, []byte(written(p)), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		got, err := ReadPSPLIB(f)
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		if written(got) != written(p) {
			t.Errorf("%s is not what it was made from", name)
		}
		s := solve(t, got, Options{Schedules: 3000})
		t.Logf("%s: makespan %d, bound %d, %d schedules", name, s.Makespan, s.LowerBound, s.Evaluated)
	}
}

func TestRefusesOtherFiles(t *testing.T) {
	good := written(drawn(3, 4))
	if _, err := ReadPSPLIB(strings.NewReader(strings.ReplaceAll(good, "\n", "\r\n"))); err != nil {
		t.Errorf("with carriage returns: %v", err)
	}
	for _, c := range []struct{ name, old, new, want string }{
		{"empty", good, "", "line 1 "},
		{"half", good[len(good)/2:], "", "line 20 "}, {"all but the last line", good[len(good)-94:], "   12   12   12   12\n", "unexpected EOF"},
		{"two projects", "projects                      :  1", "projects                      :  2", "2 projects"},
		{"another number of jobs", "):  6\n", "):  7\n", "does not agree"},
		{"too many jobs", "):  6\n", "):  99999999\n", "99999999 jobs"},
		{"a sign", "):  6\n", "):  +6\n", "no number"},
		{"resources used up", ":  0   N", ":  1   N", "do not renew"},
		{"more resources than columns", ":  4   R", ":  5   R", "jobnr"},
		{"a job twice", "\n   2        1", "\n   1        1", "successors of job 2"},
		{"two modes", "\n   2        1", "\n   2        2", "successors of job 2"},
		{"a fraction", "\n  2      1     ", "\n  2      1   1.", "no number"},
		{"an earlier successor", written(Project{Activities: []Activity{{}, {}, {}}}), "", ""},
		{"no availability", "   12   12   12   12", "   12   12   12", "availabilities"},
		{"more after the end", good, good + "more\n", "after the end"},
	} {
		bad := strings.Replace(good, c.old, c.new, 1)
		if c.name == "an earlier successor" {
			bad = written(Project{Activities: []Activity{{}, {After: after(2)}, {}}})
			c.want = "successor 2 of job 3"
		}
		if bad == good {
			t.Errorf("%s: nothing was changed", c.name)
		}
		p, err := ReadPSPLIB(strings.NewReader(bad))
		if err == nil || !strings.Contains(err.Error(), c.want) || !reflect.DeepEqual(p, Project{}) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// What is read can be scheduled or refused for what it asks, and is read again
// the same once written.
func FuzzReadPSPLIB(f *testing.F) {
	f.Add(written(drawn(1, 5)))
	f.Add(written(Project{Activities: make([]Activity, 2)}))
	f.Add("***********\n")
	f.Fuzz(func(t *testing.T, in string) {
		p, err := ReadPSPLIB(strings.NewReader(in))
		if err != nil {
			return
		}
		q, err := ReadPSPLIB(strings.NewReader(written(p)))
		if err != nil || written(q) != written(p) {
			t.Fatalf("not read again: %v", err)
		}
		if len(p.Activities) > 60 {
			return
		}
		s, err := Solve(t.Context(), p, Options{Schedules: 20})
		if err == nil {
			if v := Verify(p, s); len(v) > 0 {
				t.Fatal(v)
			}
		}
	})
}
