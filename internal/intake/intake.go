// Package intake makes a piece file of solids that were drawn elsewhere: it
// reads and mends them, finds out what each member is, which are alike and
// where they touch, and writes down what it found for the maker to edit.
package intake
