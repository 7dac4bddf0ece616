package guillotine

// Beside is what is left of a sheet when rectangles are cut out of it where they
// lie, by cuts from edge to edge with the kerf between: rectangles, none of which
// is in the way of another. The first cut is in the direction asked for, if one
// can be. There is nothing if they cannot be cut out.
func Beside(sheet Size, rects []Rect, kerf int64, first Direction) []Rect {
	if !Cuttable(sheet, rects, kerf) {
		return nil
	}
	var out []Rect
	cutOut(Rect{Size: sheet}, indexed(rects), nil, kerf, first, func(r Rect) { out = append(out, r) })
	return out
}
