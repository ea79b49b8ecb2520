//go:build !unix

package ffmpeg

import "context"

// withOwnMemory leaves the instances' memory to Go's heap.
func withOwnMemory(ctx context.Context) context.Context { return ctx }
