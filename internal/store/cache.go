// Package store keeps what Earshot derives from recordings, so that a second
// look is near instant. It owns every file Earshot keeps for itself and never
// writes near an original.
package store

// A Cache is a folder of derived data, bounded in size; the longest unused
// goes first. Everything in it can be made again.
type Cache struct {
	dir string
	max int64
}
