// Package app holds the use cases, one file each, named as the commands:
// pair, marry, prove, demo, doctor. Faces fill an options struct, whose zero
// value is the default, and print the result. Beside them stands what is seen
// and heard of recordings: look, peaks, mirror, listen, loudness.
package app

import (
	"earshot/internal/media"
	"earshot/internal/store"
)

// An App carries what every use case needs.
type App struct {
	Engine media.Engine
	Cache  *store.Cache

	turns turns // for what is made once and asked for by many

	cost int // tests: every shoot is gone about as one of this cost is; 0: as what it costs
}

// Progress is told what is being done. Done and Total are seconds of sound or
// bytes, the same unit within a step; Total 0 means unknown. It may be called
// from several goroutines, never at once.
type Progress struct {
	Step  string // "reading", "pairing", "lining up", "marrying", "proving"
	File  string // may be empty
	Done  float64
	Total float64
	Part  float64 // of File, 0 to 1, while reading
}
