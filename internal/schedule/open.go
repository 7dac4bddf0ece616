package schedule

import "math"

// Open are the hours in which somebody is at work, s, from the midnight before
// the first day to the one after the last: from when to when, earliest first.
// Hours that follow one another without a break are one stretch.
func (r *Result) Open() [][2]float64 {
	end := math.Ceil(r.End/day) * day
	var out [][2]float64
	for _, w := range r.open {
		if from, to := float64(w.From), min(float64(w.To), end); from < to {
			out = append(out, [2]float64{from, to})
		}
	}
	return out
}
