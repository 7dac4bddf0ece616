package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2/sse"
)

// desk is where the maker's files are read and changed.
type desk struct{}

func notYet() error {
	return problem(http.StatusNotImplemented, "this is not made yet", "wait for a later version")
}

func (d *desk) folder(context.Context, *struct{}) (*answer[Folder], error) { return nil, notYet() }
func (d *desk) copyPiece(context.Context, *struct{ Body PieceCopy }) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) piece(context.Context, *PieceFile) (*answer[Piece], error) { return nil, notYet() }
func (d *desk) writePiece(context.Context, *struct {
	PieceFile
	Body PieceText
}) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) changePiece(context.Context, *struct {
	PieceFile
	Body Changes
}) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) writeMarks(context.Context, *struct {
	PieceFile
	Body MarksText
}) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) undo(context.Context, *struct {
	PieceFile
	Body ViewName
}) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) redo(context.Context, *struct {
	PieceFile
	Body ViewName
}) (*answer[Piece], error) {
	return nil, notYet()
}
func (d *desk) events(context.Context, *struct{}, sse.Sender)         {}
func (d *desk) upload(w http.ResponseWriter, r *http.Request)         { refuse(w, notYet().(*Problem)) }
func (d *desk) photograph(context.Context, *PieceFile) (*blob, error) { return nil, notYet() }
