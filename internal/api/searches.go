package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2/sse"
)

type searches struct{}

func (q *searches) begin(context.Context, *struct {
	PlanID
	Body Improve
}) (*answer[Ordered], error) {
	return nil, notYet()
}
func (q *searches) events(context.Context, *PlanID, sse.Sender)      {}
func (q *searches) stop(context.Context, *PlanID) (*struct{}, error) { return nil, notYet() }
