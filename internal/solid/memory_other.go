//go:build !unix

package solid

import "github.com/tetratelabs/wazero/experimental"

func linearMemory(start, _ uint64) experimental.LinearMemory {
	return &heapMemory{make([]byte, 0, start)}
}
