// Package task is long work other than a line's that a command may leave to
// others: a nest from one seed, a check of a piece with how it bears its loads.
//
// As a line's variants are, each is a function of bytes: the arguments hold all
// that the result depends on, down to the build of the program, so that any
// machine with the same build may do it, and what was done once can be shown
// again. A result is believed no further than it can be verified by who gets it.
package task

import (
	"bytes"
	"encoding/json"
	"fmt"

	"groundwork/internal/line"
)

// read reads the arguments of a task of this build.
func read(kind string, data []byte, into any, program *string) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("%s: reading a task: %w", kind, err)
	}
	if err := line.Ours(*program); err != nil {
		return fmt.Errorf("%s: %w", kind, err)
	}
	return nil
}
