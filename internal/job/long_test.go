//go:build long

package job

import "testing"

// With every hole closed most shells of the models become members.
func TestFurnitureModelsClosed(t *testing.T) {
	for i := range furniture {
		through(t, i, 1e4)
	}
}
