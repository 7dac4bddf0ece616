package geom

// Within are the parts of a run of points that lie within all half-planes, cut
// off at their borders.
func Within(run []Vec2, edge []HalfPlane) [][]Vec2 {
	var out [][]Vec2
	var now []Vec2
	end := func() {
		if len(now) > 1 {
			out = append(out, now)
		}
		now = nil
	}
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		lo, hi := 0.0, 1.0
		for _, h := range edge {
			da, db := h.D-h.N.Dot(a), h.D-h.N.Dot(b)
			switch {
			case da < 0 && db < 0:
				hi = -1
			case da < 0:
				lo = max(lo, da/(da-db))
			case db < 0:
				hi = min(hi, da/(da-db))
			}
		}
		if lo >= hi {
			end()
			continue
		}
		if lo > 0 || now == nil {
			end()
			now = []Vec2{a.Lerp(b, lo)}
		}
		if hi < 1 {
			now = append(now, a.Lerp(b, hi))
			end()
			continue
		}
		now = append(now, b)
	}
	end()
	return out
}
