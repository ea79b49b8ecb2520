package app

import (
	"fmt"

	"earshot/internal/fault"
)

// guarded runs f, which works on the file subject beside others. A mistake of
// ours that a strange file brings to light fails that file, not the whole run.
func guarded(subject string, f func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &fault.Error{Kind: fault.Internal, Op: "work on", Subject: subject, Err: fmt.Errorf("a mistake in earshot: %v", p),
				Hint: "please report it; the other recordings are not affected, and originals are never written to"}
		}
	}()
	return f()
}
