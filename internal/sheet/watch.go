package sheet

// Better is a layout that a search has come upon, better than all before it.
type Better struct {
	Density  float64 // area of the patterns over that of the blanks, 0 to 1
	Consumed float64 // sheets less the offcuts worth keeping, mm²
	Blanks   int
}

// Watch is told how a search gets on. It decides nothing: Options that differ
// only in it make the same Result.
type Watch struct {
	// Better, if not nil, is called with the first layout, of all veneers, and then
	// with every one that is better than the one told before: less is left out,
	// matched sets are whole, or less veneer is spoilt. It is not called from two
	// goroutines at a time.
	Better func(Better)
}
