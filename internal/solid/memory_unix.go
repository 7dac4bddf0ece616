//go:build unix

package solid

import (
	"syscall"

	"github.com/tetratelabs/wazero/experimental"
)

// linearMemory gives an instance its memory outside of Go's heap: addresses for
// as much as it may ever want are set aside at once, and the system backs them
// page by page as they are written. The memory grows without being copied, and
// the garbage collector neither waits for it nor lets garbage grow in proportion.
func linearMemory(start, most uint64) experimental.LinearMemory {
	b, err := syscall.Mmap(-1, 0, int(most), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	if err != nil { // addresses are rationed here: memory of Go's own
		return &heapMemory{make([]byte, 0, start)}
	}
	return &mappedMemory{b}
}

type mappedMemory struct{ all []byte }

func (m *mappedMemory) Reallocate(size uint64) []byte {
	if size > uint64(len(m.all)) {
		return nil
	}
	return m.all[:size]
}

func (m *mappedMemory) Free() {
	if m.all != nil {
		_ = syscall.Munmap(m.all)
		m.all = nil
	}
}
