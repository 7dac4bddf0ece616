package api

import (
	"context"

	"github.com/danielgtaylor/huma/v2/sse"
)

type plans struct{}

type SceneRequest struct {
	PlanID
	Of   string `query:"of" enum:"geometry,whole,strength" default:"whole"`
	Case int    `query:"case" minimum:"0" doc:"Load case, from 0, in the order of plan.json; for strength"`
}

func (p *plans) order(context.Context, *struct{ Body PlanOrder }) (*answer[Ordered], error) {
	return nil, notYet()
}
func (p *plans) events(context.Context, *PlanID, sse.Sender) {}
func (p *plans) cancel(context.Context, *struct {
	PlanID
	View string `query:"view" maxLength:"100" doc:"Give it up for this view alone; others may still wait for it"`
}) (*struct{}, error) {
	return nil, notYet()
}
func (p *plans) geometry(context.Context, *PlanID) (*blob, error)    { return nil, notYet() }
func (p *plans) document(context.Context, *PlanID) (*blob, error)    { return nil, notYet() }
func (p *plans) scene(context.Context, *SceneRequest) (*blob, error) { return nil, notYet() }
func (p *plans) files(context.Context, *PlanID) (*answer[[]JobFile], error) {
	return nil, notYet()
}
func (p *plans) file(context.Context, *struct {
	PlanID
	Name string `path:"name" maxLength:"300"`
}) (*blob, error) {
	return nil, notYet()
}
func (p *plans) folder(context.Context, *PlanID) (*blob, error) { return nil, notYet() }
func (p *plans) clashes(context.Context, *struct {
	PlanID
	Body Moves
}) (*answer[Clashes], error) {
	return nil, notYet()
}
