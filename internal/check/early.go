package check

import "groundwork/internal/finding"

// Early is what Run finds in the joints and the layout of the veneer alone, to
// be told before cores are made. It needs Piece, Layout, Joints and Shop; Run
// finds the same again.
func Early(in Inputs) []finding.Finding {
	r := &Result{}
	r.growth(in)
	r.fingers(in)
	return r.Findings
}
