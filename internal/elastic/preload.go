package elastic

// Preload gives a link another preload (tension at no stretch, N), for cases
// solved from now on; not with Contact. A screw that is done up until it pulls
// with P keeps P only if what it yields to is known, so one solution at a
// guess comes first. The system must not be in use, and LinkForce of results
// got before is no longer to be asked.
func (s *System) Preload(link int, tension float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.model.Links[link].Contact {
		s.model.Links[link].Preload = tension
	}
}
