//go:build unix

package ffmpeg

import (
	"context"
	"syscall"

	"github.com/tetratelabs/wazero/experimental"
)

// withOwnMemory makes the instances started under ctx live outside Go's heap:
// addresses for the most they may grow to are set aside, pages come as they are
// touched, and all go back when the instance ends. On the heap, growth means a
// copy beside the old one, and both stay until they are collected.
func withOwnMemory(ctx context.Context) context.Context {
	return experimental.WithMemoryAllocator(ctx, experimental.MemoryAllocatorFunc(
		func(_, most uint64) experimental.LinearMemory {
			all, err := syscall.Mmap(-1, 0, int(most), syscall.PROT_NONE, syscall.MAP_PRIVATE|syscall.MAP_ANON)
			if err != nil { // a system that counts addresses as memory
				return &heapMemory{}
			}
			return &mappedMemory{all: all}
		}))
}

// mappedMemory is one instance's memory.
type mappedMemory struct {
	all  []byte
	open uint64 // bytes of it that may be used
}

func (m *mappedMemory) Reallocate(size uint64) []byte {
	if size > uint64(len(m.all)) {
		return nil
	}
	if size > m.open {
		if syscall.Mprotect(m.all[:size], syscall.PROT_READ|syscall.PROT_WRITE) != nil {
			return nil
		}
		m.open = size
	}
	return m.all[:size]
}

func (m *mappedMemory) Free() {
	if m.all != nil {
		_ = syscall.Munmap(m.all)
		m.all = nil
	}
}

// heapMemory is the same on Go's heap.
type heapMemory struct{ all []byte }

func (m *heapMemory) Reallocate(size uint64) []byte {
	if size > uint64(cap(m.all)) {
		m.all = append(make([]byte, 0, size), m.all...)
	}
	m.all = m.all[:size]
	return m.all
}

func (m *heapMemory) Free() { m.all = nil }
