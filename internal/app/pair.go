package app

import (
	"context"

	"earshot/internal/shoot"
)

// PairOptions asks which sound belongs to which clip, and where.
type PairOptions struct {
	Paths    []string       // files and folders, as the person gave them
	Fresh    bool           // measure anew, leave the cache unread
	Progress func(Progress) // may be nil
}

// PairResult is a measured shoot.
type PairResult struct {
	Document shoot.Document
	Notes    []string // what was passed over or mended, in words
}

// Pair measures the recordings under opt.Paths. A recording that cannot be
// read is reported in the document, not as an error.
func (a *App) Pair(ctx context.Context, opt PairOptions) (*PairResult, error) {
	panic("being written")
}
