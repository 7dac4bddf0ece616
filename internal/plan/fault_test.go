package plan

import (
	"context"
	"errors"
	"strings"
	"testing"

	"groundwork/internal/sheet"
	"groundwork/internal/solid"
)

// TestAPanicIsAnErrorOfThePlan: a stage that panics, or a watcher, ends the plan
// and not the program; planning again with the same cache works.
func TestAPanicIsAnErrorOfThePlan(t *testing.T) {
	k, err := solid.New(solid.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer k.Close()
	p, s := given(t, box)
	cache := NewMemory(64 << 20)
	broken := func() float64 { panic("spring broken") }
	for name, o := range map[string]Options{
		"a stage":   {Sheet: sheet.Options{Spent: broken}, Cache: cache},
		"a watcher": {Ready: func(string, *Plan) { broken() }, Cache: cache},
	} {
		_, err := Make(context.Background(), k, p, s, o)
		var fault *Fault
		if !errors.As(err, &fault) {
			t.Errorf("%s: got error %v, want a *Fault", name, err)
			continue
		}
		if !strings.Contains(err.Error(), "spring broken") || !strings.Contains(fault.Stack(), "fault_test.go") {
			t.Errorf("%s: it does not tell what broke and where: %v\n%s", name, err, fault.Stack())
		}
	}
	if _, err := Make(context.Background(), k, p, s, Options{Cache: cache}); err != nil {
		t.Errorf("planning again: %v", err)
	}
}
