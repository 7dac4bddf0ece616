package job

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"groundwork/internal/plan"
)

// TestAPlanInTheMakingCanBeDescribed: what is known of a plan is told as the whole
// plan tells it, and what is not known is an empty list.
func TestAPlanInTheMakingCanBeDescribed(t *testing.T) {
	_, whole := planned(t, "heron-side-table")
	sofar := &plan.Plan{
		Piece: whole.Piece, Shop: whole.Shop, Joints: whole.Joints, Layout: whole.Layout, Patterns: whole.Patterns, Findings: whole.Findings,
	}
	text, err := Encode(sofar, Names{})
	if err != nil {
		t.Fatal(err)
	}
	instance, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if err := compiled(t).Validate(instance); err != nil {
		t.Errorf("it does not follow the schema: %v", err)
	}
	want, got := Describe(whole, Names{}), Describe(sofar, Names{})
	if diff := cmp.Diff(want.Members, got.Members, cmpopts.IgnoreFields(MemberDoc{}, "PrintedAs", "VolumeMM3", "SolidMM3")); diff != "" {
		t.Errorf("members (-whole +so far):\n%s", diff)
	}
	if diff := cmp.Diff(want.Joints, got.Joints); diff != "" {
		t.Errorf("joints (-whole +so far):\n%s", diff)
	}
	if diff := cmp.Diff(want.Patterns, got.Patterns, cmpopts.IgnoreFields(PatternDoc{}, "Panel", "X", "Y", "Rotation")); diff != "" {
		t.Errorf("patterns (-whole +so far):\n%s", diff)
	}
	if len(got.Segments)+len(got.Plates)+len(got.Panels)+len(got.Bill) > 0 {
		t.Errorf("it tells of segments, loads, blanks or a bill that nobody has worked out: %+v", got.Totals)
	}
}
