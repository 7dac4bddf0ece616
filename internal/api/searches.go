package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2/sse"
)

type searches struct{}

func (q *searches) begin(context.Context, *struct {
	planID
	Body Improve
}) (*answer[Ordered], error) {
	return nil, notYet()
}
func (q *searches) events(context.Context, *planID, sse.Sender)      {}
func (q *searches) stop(context.Context, *planID) (*struct{}, error) { return nil, notYet() }
