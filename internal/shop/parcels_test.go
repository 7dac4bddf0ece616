package shop

import (
	"strings"
	"testing"

	"groundwork/internal/geom"
	"groundwork/internal/given"
)

// usualParcels is what a shop gets that says nothing: the sources stand in the
// schema's descriptions.
var usualParcels = Parcels{
	LengthAndGirth: 2743, MaxMass: 31700, Board: 7, BoardMass: 900, Padding: 3, Cushion: 25,
	Packing: 1800, Failures: 0.05, SetUp: 7200, Margin: 0.3,
}

var everyParcels = Parcels{
	Longest: 1200, LengthAndGirth: 3000, MaxMass: 20000, Board: 4, BoardMass: 500, BoardPrice: 1.1, Padding: 2, Cushion: 30, SoftPrice: 0.02,
	Boxes:   []ParcelBox{{ID: "flat", Inside: geom.V3(600, 400, 120), Mass: 400, MaxMass: 15000, Price: 1.8}},
	Packing: 1200, Failures: 0.08, SetUp: 5400, Margin: 0.4,
}

func TestGenericLimits(t *testing.T) {
	if !usualParcels.Generic() || everyParcels.Generic() {
		t.Error("limits of one's own are told from generic ones wrongly")
	}
	// 108 in and 70 lb (0.45359237 kg each), rounded down.
	if in, lb := usualParcels.LengthAndGirth/25.4, usualParcels.MaxMass/453.59237; in > 108 || in < 107.9 || lb > 70 || lb < 69.8 {
		t.Errorf("%g in and %g lb", in, lb)
	}
}

func TestFaultsOfParcels(t *testing.T) {
	for _, tc := range []struct{ parcels, what string }{
		{"{longest: 5 mm}", "the longest edge of a parcel is 5 mm"},
		{"{max_mass: 20 mm}", "is given as a length"},
		{"{failures: 95 %}", "the share of failures is 0.95"},
		{"{carrier: x}", `the key "carrier" is not known`},
		{"{boxes: [{id: Big, inside: [200, 200, 200]}]}", `the id "Big"`},
		{"{boxes: [{id: a, inside: [200, 200, 200]}, {id: a, inside: [300, 200, 200]}]}", `there is a box "a" already`},
	} {
		_, err := Parse("parcels.yaml", []byte(small+"\nparcels: "+tc.parcels+"\n"))
		errs, ok := err.(given.Errors)
		if !ok || len(errs) != 1 || !strings.Contains(errs[0].Error(), tc.what) {
			t.Errorf("%s: %v", tc.parcels, err)
		}
	}
}
