package align

// A Source gives the samples of one recording: mono, at dsp.ProxyRate, from
// the recording's zero.
type Source interface {
	// Len returns the number of samples.
	Len() int
	// ReadAt fills dst with the samples from index at on. Outside the
	// recording there is silence; at may be negative.
	ReadAt(dst []float32, at int) error
}

// Samples is a Source held in memory.
type Samples []float32

// Len returns the number of samples.
func (s Samples) Len() int { return len(s) }

// ReadAt fills dst from index at on, silence outside.
func (s Samples) ReadAt(dst []float32, at int) error {
	clear(dst)
	if at >= len(s) || at+len(dst) <= 0 {
		return nil
	}
	if at < 0 {
		dst, at = dst[-at:], 0
	}
	copy(dst, s[at:])
	return nil
}
