package align

// Far marks a sound that comes from across the room, as a second camera's or
// that of a body mic on somebody else. Both recordings then hold reflections
// that the other lacks, on either side of the direct sound, so that the
// arrival of the largest lag says nothing: the highest place counts as it
// stands.
type Far struct{ Source }

// far tells whether a sound is marked.
func far(sound Source) bool {
	_, is := sound.(Far)
	return is
}
