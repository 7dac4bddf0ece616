package api

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"slices"
	"strings"

	"groundwork/internal/folder"
	"groundwork/internal/shop"
)

// writeShop saves the text of a shop as one step of its history. A file that is
// no shop is left alone.
func (d *desk) writeShop(_ context.Context, in *struct {
	ShopFile
	Body ShopText
}) (*answer[Shop], error) {
	name := in.File
	files, err := d.dir.List()
	if err != nil {
		return nil, d.refusal(err)
	}
	i := slices.IndexFunc(files, func(f folder.File) bool { return f.Name == name })
	switch {
	case i >= 0 && files[i].Kind != folder.Shop && files[i].Kind != folder.Other, strings.HasSuffix(name, ".marks.yaml"):
		return nil, problem(http.StatusConflict, quoted(name)+" is no shop file", "look at the list of the folder's shops")
	case i < 0 && in.Body.Base == "":
	case i < 0:
		return nil, d.refusal(fs.ErrNotExist)
	case in.Body.Base == "":
		return nil, problem(http.StatusUnprocessableEntity, "the request does not say which version was edited", "reload the page")
	}
	_, err = d.dir.Write(name, []byte(in.Body.Text), folder.Version(in.Body.Base), folder.Why{What: "Text of " + name, Who: in.Body.View})
	if err != nil && !errors.Is(err, folder.ErrStale) {
		return nil, d.refusalOf(name, err)
	}
	s, readErr := d.dir.Read(name)
	if readErr != nil {
		return nil, d.refusalOf(name, readErr)
	}
	out := Shop{File: name, Text: string(s.Data), Version: string(s.Version), Faults: []Fault{}}
	if _, faulty := shop.Parse(d.where(name), s.Data); faulty != nil {
		out.Faults = d.faults(faulty, name)
	}
	if err != nil {
		q := changedMeanwhile(name)
		q.CurrentShop = &out
		return nil, q
	}
	return &answer[Shop]{out}, nil
}
