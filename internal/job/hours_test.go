package job

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"
)

// The calendar tells the hours that the shop file gives, day after day from a
// Monday on, and no hand is at work outside them.
func TestCalendarHours(t *testing.T) {
	_, p := planned(t, "heron-side-table")
	b, err := Encode(p, Names{})
	if err != nil {
		t.Fatal(err)
	}
	var d Document
	if err := json.NewDecoder(bytes.NewReader(b)).Decode(&d); err != nil {
		t.Fatal(err)
	}
	const day = 24 * 3600.0
	c := d.Calendar
	var want []HoursDoc
	for n := 0.0; n*day < c.EndS; n++ {
		for _, w := range p.Shop.Work.Hours.Of(time.Weekday((1 + int(n)) % 7)) {
			want = append(want, HoursDoc{n*day + w[0], n*day + w[1]})
		}
	}
	if len(want) == 0 || len(c.Hours) != len(want) {
		t.Fatalf("%d stretches of hours, want %d", len(c.Hours), len(want))
	}
	for i, w := range want {
		if c.Hours[i] != w {
			t.Errorf("hours %v, want %v", c.Hours[i], w)
		}
	}
	for _, a := range c.Activities {
		for at := a.StartS; at < a.StartS+a.HandS; at += 60 {
			open := false
			for _, h := range c.Hours {
				open = open || h.StartS <= at && at < h.EndS
			}
			if !open {
				t.Errorf("%s is done by hand at %.0f s, when nobody is at work", a.ID, at)
				break
			}
		}
	}
}
