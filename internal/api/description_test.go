package api

import (
	"encoding/json"
	"testing"
)

// Every operation of the interface says what it answers, and nothing in its
// description points elsewhere.
func TestDescription(t *testing.T) {
	b, err := Description()
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]struct {
			OperationID string         `json:"operationId"`
			Responses   map[string]any `json:"responses"`
		}
	}
	if err := json.Unmarshal(b, &doc); err != nil {
		t.Fatal(err)
	}
	n := 0
	for path, ops := range doc.Paths {
		for method, op := range ops {
			n++
			if op.OperationID == "" || len(op.Responses) == 0 {
				t.Errorf("%s %s: %+v", method, path, op)
			}
		}
	}
	if n != 35 {
		t.Errorf("%d operations, want 35", n)
	}
}
