package solid

// heapMemory is an instance's memory in Go's heap, copied when it outgrows its place.
type heapMemory struct{ b []byte }

func (m *heapMemory) Reallocate(size uint64) []byte {
	if size > uint64(cap(m.b)) {
		grown := make([]byte, size)
		copy(grown, m.b)
		m.b = grown
	}
	m.b = m.b[:size]
	return m.b
}

func (m *heapMemory) Free() { m.b = nil }
