package shop

import (
	"strings"
	"testing"
	"time"

	"groundwork/internal/given"
)

var usualDay = []Span{{28800, 43200}, {46800, 61200}}

// usualWork is what a shop gets that says nothing: the sources stand in the
// document's descriptions.
var usualWork = Work{
	Persons: 1, Hours: Hours{Monday: usualDay, Tuesday: usualDay, Wednesday: usualDay, Thursday: usualDay, Friday: usualDay},
	NightPrinting: true, Clamps: 12,
	GlueHold: 7200, GlueCure: 86400, FillerDry: 7200, SealerDry: 14400, Acclimatise: 172800,
	BondFirst: 1200, BondWork: 86400, BondFull: 259200, Recoat: 14400, Handle: 43200, Cure: 604800, Retighten: 86400,
}

var everyWork = Work{
	Persons: 2,
	Hours: Hours{
		Monday: []Span{{27000, 43200}, {46800, 62100}}, Tuesday: []Span{{32400, 36000}}, Wednesday: []Span{{32400, 36000}},
		Thursday: []Span{{32400, 36000}}, Friday: []Span{{32400, 36000}}, Saturday: []Span{{0, 86400}}, Sunday: []Span{{64800, 72000}},
	},
	Holidays: []Date{"2026-12-25", "2027-01-01"}, Clamps: 8,
	GlueHold: 1800, GlueCure: 86400, FillerDry: 10800, SealerDry: 18000, Acclimatise: 86400,
	BondFirst: 3600, BondWork: 43200, BondFull: 172800, Recoat: 10800, Handle: 28800, Cure: 2592000, Retighten: 172800,
}

func TestFaultsOfWork(t *testing.T) {
	for _, tc := range []struct{ work, what, remedy string }{
		{"{persons: ‸0}", "the number of persons is 0", "make it more than 0"},
		{"{persons: ‸1.5}", "the number of persons is 1.5", "make it whole"},
		{"{hours: ‸{}}", "nobody ever works", "take the key hours out"},
		{"{hours: {monday: [‸'8:00']}}", `"8:00" tells no hours`, `"8:00-12:00"`},
		{"{hours: {monday: [‸'8:0-12:00']}}", `tells no hours`, `"8:00-12:00"`},
		{"{hours: {monday: [‸'8:00-24:30']}}", `tells no hours`, "0:00 to 24:00"},
		{"{hours: {monday: [‸'-3-12']}}", `tells no hours`, `"8:00-12:00"`},
		{"{hours: {monday: [‸'17:00-8:00']}}", "too short", "the earlier time first"},
		{"{hours: {monday: ['8:00-12:00', ‸'11:00-13:00']}}", "begin before those before them end", "in order"},
		{"{hours: {‸mondays: [8:00-12:00]}}", `the key "mondays" is not known`, `did you mean "monday"?`},
		{"{holidays: [‸2026-02-30]}", "is no day of the calendar", "2027-01-01"},
		{"{holidays: [2026-12-25, ‸2026-12-25]}", "there is a holiday", "the other stands in line"},
		{"{clamps: ‸1}", "the number of clamps is 1", "between 2 and 1000"},
		{"{cure: ‸90 d}", "the cure of finish is 7.776e+06 s", "between 0 and"},
		{"{recoat: ‸3 mm}", "is given as a length", "4 min"},
	} {
		text := small + "\nwork: " + tc.work + "\n"
		at := strings.Index(text, "‸")
		line := 1 + strings.Count(text[:at], "\n")
		column := at - strings.LastIndex(text[:at], "\n")
		_, err := Parse("work.yaml", []byte(strings.Replace(text, "‸", "", 1)))
		errs, ok := err.(given.Errors)
		if !ok || len(errs) != 1 {
			t.Errorf("%s: %v", tc.work, err)
			continue
		}
		if e := errs[0]; e.Line != line || e.Column != column || !strings.Contains(e.Error(), tc.what) || !strings.Contains(e.Error(), tc.remedy) {
			t.Errorf("%s: %v, want line %d, column %d", tc.work, e, line, column)
		}
	}
}

func TestHoursOfDays(t *testing.T) {
	for day, n := range map[time.Weekday]int{time.Sunday: 0, time.Monday: 2, time.Friday: 2, time.Saturday: 0} {
		if got := len(usualWork.Hours.Of(day)); got != n {
			t.Errorf("%v: %d spans, want %d", day, got, n)
		}
	}
}
