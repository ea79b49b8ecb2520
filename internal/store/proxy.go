package store

import (
	"encoding/binary"
	"errors"
	"hash/crc32"
	"io"
	"math"
	"os"
	"slices"
	"sync"

	"earshot/internal/dsp"
)

// A proxy file holds a recording's sound for measuring: mono samples in blocks
// of proxyBlock, each a little-endian float32 scale, as many int16 and a
// checksum; a sample is its int16 times the scale. Quiet recordings keep 15 bits
// this way. The last block is padded; the number of samples is kept with the
// recording. With a checksum to each block, a minute of many hours is read and
// known to be sound without reading the rest.
const (
	proxyBlock = 1024
	proxyBytes = 4 + 2*proxyBlock + sumBytes
)

// blockSum is the checksum of block b, which holds content, of the proxy whose
// newSum is begun.
func blockSum(begun uint32, b int, content []byte) uint32 {
	var at [8]byte
	binary.LittleEndian.PutUint64(at[:], uint64(b))
	return crc32.Update(crc32.Update(begun, castagnoli, at[:]), castagnoli, content)
}

// A ProxyWriter writes a proxy file. Close or Discard must be called.
type ProxyWriter struct {
	aside  *aside
	begun  uint32 // see blockSum
	blocks int
	hold   []float32
	out    []byte
	n      int
	err    error
}

// CreateProxy begins a proxy under id and name.
func (c *Cache) CreateProxy(id Identity, name string) (*ProxyWriter, error) {
	a, err := c.create(id, name)
	if err != nil {
		return nil, err
	}
	return &ProxyWriter{aside: a, begun: newSum(id, name).Sum32(), hold: make([]float32, 0, proxyBlock)}, nil
}

// Write takes the next samples.
func (w *ProxyWriter) Write(samples []float32) error {
	w.n += len(samples)
	for len(samples) > 0 && w.err == nil {
		n := min(proxyBlock-len(w.hold), len(samples))
		w.hold = append(w.hold, samples[:n]...)
		samples = samples[n:]
		if len(w.hold) == proxyBlock {
			w.block()
		}
	}
	return w.err
}

// loudest bounds samples: 120 dB over full scale can only be damage. A block
// whose peak is under faintest, 600 dB down, counts as silence.
const (
	loudest  = 1e6
	faintest = 1e-30
)

func (w *ProxyWriter) block() {
	const sign = 1 << 31
	most := math.Float32bits(loudest)
	var top uint32 // the greatest magnitude; its bits compare as the number does
	for i, v := range w.hold {
		m := math.Float32bits(v) &^ sign
		if m > most { // not a number is more, too
			v = min(max(v, -loudest), loudest)
			if v != v {
				v = 0
			}
			w.hold[i], m = v, math.Float32bits(v)&^sign
		}
		top = max(top, m)
	}
	var scale, steps float32
	if peak := math.Float32frombits(top); peak > faintest {
		scale, steps = peak/32767, 32767/peak
	}
	at := len(w.out)
	w.out = slices.Grow(w.out, proxyBytes)[:at+proxyBytes]
	block := w.out[at:]
	binary.LittleEndian.PutUint32(block, math.Float32bits(scale))
	out := block[4:]
	clear(out)
	for i, v := range w.hold {
		half := math.Float32frombits(math.Float32bits(v)&sign | math.Float32bits(0.5))
		binary.LittleEndian.PutUint16(out[2*i:], uint16(int16(v*steps+half)))
	}
	content := block[:proxyBytes-sumBytes]
	binary.LittleEndian.PutUint32(block[len(content):], blockSum(w.begun, w.blocks, content))
	w.blocks++
	w.hold = w.hold[:0]
	if len(w.out) >= 64*proxyBytes {
		w.flush()
	}
}

func (w *ProxyWriter) flush() {
	if w.err == nil {
		if _, err := w.aside.tmp.Write(w.out); err != nil {
			w.err = w.aside.cache.unwritable(err)
		}
	}
	w.out = w.out[:0]
}

// Close finishes the file and returns the number of samples in it.
func (w *ProxyWriter) Close() (int, error) {
	if len(w.hold) > 0 {
		w.block()
	}
	w.flush()
	if w.err != nil {
		w.Discard()
		return 0, w.err
	}
	return w.n, w.aside.keep()
}

// Discard drops what was written.
func (w *ProxyWriter) Discard() { w.aside.discard() }

// A Proxy reads a proxy file at random. It is safe for concurrent use.
type Proxy struct {
	f     *os.File
	begun uint32 // see blockSum
	n     int
}

// OpenProxy opens the proxy of n samples under id and name. ErrDamaged is in the
// error where there is none of that size.
func (c *Cache) OpenProxy(id Identity, name string, n int) (*Proxy, error) {
	f, _, err := c.openSized(id, name, proxySize(n))
	if err != nil {
		return nil, err
	}
	return &Proxy{f, newSum(id, name).Sum32(), n}, nil
}

// proxySize is the size in bytes of a proxy file of n samples.
func proxySize(n int) int64 { return int64((n+proxyBlock-1)/proxyBlock) * proxyBytes }

// HasProxy tells whether a proxy of n samples stands under id and name, going
// by its size.
func (c *Cache) HasProxy(id Identity, name string, n int) bool {
	return n >= 0 && c.has(id, name, proxySize(n))
}

// Len returns the number of samples.
func (p *Proxy) Len() int { return p.n }

// Close closes the file.
func (p *Proxy) Close() error { return p.f.Close() }

// raws are buffers for what ReadAt reads.
var raws = sync.Pool{New: func() any { return new([]byte) }}

// ReadAt fills dst with the samples from index at on; outside the recording
// there is silence. ErrDamaged is in the error where what stands there is not
// what was written.
func (p *Proxy) ReadAt(dst []float32, at int) error {
	clear(dst)
	lo, hi := max(at, 0), min(at+len(dst), p.n)
	if lo >= hi {
		return nil
	}
	first, last := lo/proxyBlock, (hi-1)/proxyBlock
	held := raws.Get().(*[]byte)
	defer raws.Put(held)
	*held = slices.Grow((*held)[:0], (last-first+1)*proxyBytes)
	raw := (*held)[:(last-first+1)*proxyBytes]
	if _, err := p.f.ReadAt(raw, int64(first)*proxyBytes); err != nil && !errors.Is(err, io.EOF) {
		return unreadable(p.f.Name(), err)
	}
	for b := first; b <= last; b++ {
		block := raw[(b-first)*proxyBytes:][:proxyBytes]
		content := block[:proxyBytes-sumBytes]
		if binary.LittleEndian.Uint32(block[len(content):]) != blockSum(p.begun, b, content) {
			return damaged(p.f.Name())
		}
		scale := math.Float32frombits(binary.LittleEndian.Uint32(content))
		from, to := max(lo, b*proxyBlock), min(hi, (b+1)*proxyBlock)
		out := dst[from-at : to-at]
		dsp.Scaled(out, content[4+2*(from-b*proxyBlock):], scale)
	}
	return nil
}
