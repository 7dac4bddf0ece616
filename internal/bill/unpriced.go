package bill

import (
	"fmt"
	"slices"
	"strings"

	"groundwork/internal/finding"
	"groundwork/internal/shop"
)

// WithoutPrice are the items that the shop gives no price for, in the order of the
// bill: of the piece, or of its fixtures.
func (b *Bill) WithoutPrice(fixtures bool) (items []string) {
	for _, l := range b.Lines {
		if !l.Unpriced || (l.Section == Fixtures) != fixtures {
			continue
		}
		item := l.Item
		if l.Seconds > 0 {
			item = "hours by hand"
		}
		if !slices.Contains(items, item) {
			items = append(items, item)
		}
	}
	return items
}

// Lacks is what a sum of the piece, or of it with its fixtures, is without, in
// words; "" for nothing.
func (b *Bill) Lacks(fixtures bool) string {
	items := b.WithoutPrice(false)
	if fixtures {
		for _, it := range b.WithoutPrice(true) {
			if !slices.Contains(items, it) {
				items = append(items, it)
			}
		}
	}
	if items == nil {
		return ""
	}
	return "without what has " + NoPrice + ": " + strings.Join(items, "; ")
}

// unpriced tells the maker what no sum counts.
func (b *Bill) unpriced(s *shop.Shop) {
	why := b.Lacks(true)
	if why == "" {
		return
	}
	var remedies []string
	add := func(r string) {
		if !slices.Contains(remedies, r) {
			remedies = append(remedies, r)
		}
	}
	for _, l := range b.Lines {
		switch {
		case !l.Unpriced:
		case l.Seconds > 0:
			add("enter labour, money for an hour")
		case l.Section == Hardware && strings.HasSuffix(l.Item, " washer"):
			add("enter washer_price with the screws")
		case l.Section == Hardware && strings.HasPrefix(l.Item, "pin "):
			add("enter pins, each with its diameter and price")
		case l.Section == Fixtures && l.Unit == "piece":
			add("reckon boards for templates by hand: a shop file has no price of them")
		default:
			add("enter a price with " + l.Item)
		}
	}
	remedy := strings.Join(remedies, ", and ")
	b.Findings = append(b.Findings, finding.Finding{
		Severity: finding.Note, Stage: "bill", Code: "no-price", Subject: "piece",
		Message: fmt.Sprintf("The bill's sums are %s.", why),
		Remedy:  strings.ToUpper(remedy[:1]) + remedy[1:] + ".",
		Source:  "shop file", File: s.File,
	})
}
