package ffmpeg

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"sync"
)

// The talk between the program and its engine process: frames on the child's
// standard input and output, each
//
//	kind (1 byte) | job (4 bytes) | length (4 bytes) | payload
//
// with big-endian numbers. Job numbers are given by the parent. Neither side
// sends more than window bytes of a job's input or output before the other
// has said that it took them, so no side ever has to stop reading frames.
type frameKind byte

const (
	kHello  frameKind = 'h' // child: ready; payload: greeting
	kStart  frameKind = 's' // parent: start a job; payload: order as JSON
	kInput  frameKind = 'i' // parent: bytes for the job's stdin
	kEnd    frameKind = 'e' // parent: stdin is at its end
	kCancel frameKind = 'c' // parent: end the job soon
	kOutput frameKind = 'o' // child: bytes of the job's stdout
	kSaid   frameKind = 'a' // child: bytes of the job's stderr
	kTook   frameKind = 't' // both: so many bytes were taken; payload: 4 bytes
	kExit   frameKind = 'x' // child: the job ended; payload: exit status, 4 bytes
	kFail   frameKind = 'f' // child: the job could not be run to its end; payload: why
)

const (
	greeting   = "earshot media engine 1"
	window     = 1 << 20 // bytes of input or output under way for a job
	frameLimit = 1 << 20 // longest payload
	headSize   = 9
)

// A msg is one frame.
type msg struct {
	kind frameKind
	job  uint32
	data []byte
}

var errFrame = errors.New("the media engine's process talks nonsense")

// readMsg reads one frame. At a clean end it returns io.EOF.
func readMsg(r io.Reader) (msg, error) {
	var head [headSize]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return msg{}, err
	}
	m := msg{kind: frameKind(head[0]), job: binary.BigEndian.Uint32(head[1:])}
	switch m.kind {
	case kHello, kStart, kInput, kEnd, kCancel, kOutput, kSaid, kTook, kExit, kFail:
	default:
		return msg{}, errFrame
	}
	n := binary.BigEndian.Uint32(head[5:])
	if n > frameLimit || (n != 4 && (m.kind == kTook || m.kind == kExit)) {
		return msg{}, errFrame
	}
	m.data = make([]byte, n)
	if _, err := io.ReadFull(r, m.data); err != nil {
		return msg{}, fmt.Errorf("%w: %w", errFrame, err)
	}
	return m, nil
}

// count reads the payload of kTook and kExit.
func (m msg) count() int { return int(binary.BigEndian.Uint32(m.data)) }

// A frameWriter writes frames from several goroutines.
type frameWriter struct {
	mu  sync.Mutex
	w   io.Writer
	buf []byte
}

func (f *frameWriter) send(kind frameKind, job uint32, data []byte) error {
	if len(data) > frameLimit {
		return fmt.Errorf("frame of %d bytes is too long", len(data))
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	f.buf = append(f.buf[:0], byte(kind))
	f.buf = binary.BigEndian.AppendUint32(f.buf, job)
	f.buf = binary.BigEndian.AppendUint32(f.buf, uint32(len(data)))
	f.buf = append(f.buf, data...)
	_, err := f.w.Write(f.buf)
	return err
}

func (f *frameWriter) sendCount(kind frameKind, job uint32, n int) error {
	return f.send(kind, job, binary.BigEndian.AppendUint32(nil, uint32(n)))
}

// An order is the payload of kStart.
type order struct {
	Tool  string      `json:"tool"`
	Args  []string    `json:"args"`
	Files []orderFile `json:"files"`
}

// An orderFile is a file the job may open, under a name of ours: the engine
// sees nothing else of the machine.
type orderFile struct {
	Name  string `json:"name"`
	Path  []byte `json:"path"` // absolute; bytes, since a name need not be UTF-8
	Write bool   `json:"write"`
}

// A credit counts the bytes that may still be sent.
type credit struct {
	mu   sync.Mutex
	cond *sync.Cond
	left int
	shut bool
}

func newCredit() *credit {
	c := &credit{left: window}
	c.cond = sync.NewCond(&c.mu)
	return c
}

// take waits for up to want bytes of room; 0 means that it was shut.
func (c *credit) take(want int) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	for c.left == 0 && !c.shut {
		c.cond.Wait()
	}
	if c.shut {
		return 0
	}
	n := min(want, c.left)
	c.left -= n
	return n
}

func (c *credit) give(n int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.left = min(c.left+n, window)
	c.cond.Broadcast()
}

func (c *credit) shutDown() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.shut = true
	c.cond.Broadcast()
}
