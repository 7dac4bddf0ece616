package joint

import (
	"cmp"
	"slices"

	"groundwork/internal/geom"
)

// boxTree finds boxes that overlap in O(log n + hits): a binary tree of
// bounding boxes, halved at the median of the widest spread of centres.
type boxTree struct {
	box         geom.Box3
	items       []int // in a leaf
	left, right *boxTree
}

func newBoxTree(boxes []geom.Box3) *boxTree {
	items := make([]int, len(boxes))
	for i := range items {
		items[i] = i
	}
	return plant(boxes, items)
}

func plant(boxes []geom.Box3, items []int) *boxTree {
	t := &boxTree{box: geom.EmptyBox3()}
	centres := geom.EmptyBox3()
	for _, i := range items {
		t.box = t.box.Union(boxes[i])
		centres = centres.Add(boxes[i].Center())
	}
	const leaf = 4
	if len(items) <= leaf {
		t.items = items
		return t
	}
	spread := centres.Size()
	along := func(i int) float64 { return boxes[i].Center().X }
	switch {
	case spread.Z >= spread.X && spread.Z >= spread.Y:
		along = func(i int) float64 { return boxes[i].Center().Z }
	case spread.Y >= spread.X:
		along = func(i int) float64 { return boxes[i].Center().Y }
	}
	slices.SortFunc(items, func(a, b int) int { return cmp.Or(cmp.Compare(along(a), along(b)), cmp.Compare(a, b)) })
	half := len(items) / 2
	t.left, t.right = plant(boxes, items[:half:half]), plant(boxes, items[half:])
	return t
}

// find lists the boxes that overlap b, in rising order.
func (t *boxTree) find(boxes []geom.Box3, b geom.Box3) []int {
	var out []int
	var walk func(*boxTree)
	walk = func(t *boxTree) {
		if t == nil || !t.box.Overlaps(b) {
			return
		}
		for _, i := range t.items {
			if boxes[i].Overlaps(b) {
				out = append(out, i)
			}
		}
		walk(t.left)
		walk(t.right)
	}
	walk(t)
	slices.Sort(out)
	return out
}

// pairs lists the pairs i < j of boxes that come within gap of each other, in order.
func (t *boxTree) pairs(boxes []geom.Box3, gap float64) [][2]int {
	var out [][2]int
	for i, b := range boxes {
		for _, j := range t.find(boxes, b.Grow(gap)) {
			if j > i {
				out = append(out, [2]int{i, j})
			}
		}
	}
	return out
}
