package shop

import "slices"

// Veneer is the veneer with the given ID; false if the shop has none.
func (s *Shop) Veneer(id string) (Veneer, bool) {
	return find(s.Veneers, func(v Veneer) bool { return v.ID == id })
}

// Filament is the filament with the given ID; false if the shop has none.
func (s *Shop) Filament(id string) (Filament, bool) {
	return find(s.Filaments, func(f Filament) bool { return f.ID == id })
}

// Screw is the screw of the given thread, such as M6; false if the shop has
// none.
func (s *Shop) Screw(size string) (Screw, bool) {
	return find(s.Screws, func(w Screw) bool { return w.Size == size })
}

// Insert is the heat-set insert of the given thread, such as M6; false if the
// shop has none.
func (s *Shop) Insert(size string) (Insert, bool) {
	return find(s.Inserts, func(n Insert) bool { return n.Size == size })
}

func find[T any](list []T, match func(T) bool) (T, bool) {
	if i := slices.IndexFunc(list, match); i >= 0 {
		return list[i], true
	}
	var none T
	return none, false
}
