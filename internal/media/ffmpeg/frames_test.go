package ffmpeg

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"testing/iotest"
)

func TestFramesRoundTrip(t *testing.T) {
	var b bytes.Buffer
	w := &frameWriter{w: &b}
	sent := []msg{{kHello, 0, []byte(greeting)}, {kInput, 7, bytes.Repeat([]byte{1}, frameLimit)}, {kEnd, 7, nil}, {kOutput, 1 << 31, []byte("x")}}
	for _, m := range sent {
		if err := w.send(m.kind, m.job, m.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.sendCount(kExit, 7, 255); err != nil {
		t.Fatal(err)
	}
	if err := w.send(kInput, 1, make([]byte, frameLimit+1)); err == nil {
		t.Error("a frame that is too long was sent")
	}
	r := iotest.HalfReader(&b)
	for _, want := range sent {
		got, err := readMsg(r)
		if err != nil || got.kind != want.kind || got.job != want.job || !bytes.Equal(got.data, want.data) {
			t.Errorf("got %c of job %d with %d bytes, %v; want %c of %d with %d", got.kind, got.job, len(got.data), err, want.kind, want.job, len(want.data))
		}
	}
	if m, err := readMsg(r); err != nil || m.count() != 255 {
		t.Errorf("got exit status %d, %v", m.count(), err)
	}
	if _, err := readMsg(r); err != io.EOF {
		t.Errorf("at the end: got %v, want io.EOF", err)
	}
}

// FuzzReadMsg also stands for a child that writes something else altogether,
// such as a test program that does not call ChildMain.
func FuzzReadMsg(f *testing.F) {
	var b bytes.Buffer
	w := &frameWriter{w: &b}
	_ = w.send(kOutput, 3, []byte("abc"))
	_ = w.sendCount(kTook, 3, 3)
	f.Add(b.Bytes())
	f.Add([]byte("=== RUN   TestSomething\nPASS\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r := bytes.NewReader(data)
		for {
			m, err := readMsg(r)
			if err != nil {
				if r.Len() > 0 && !errors.Is(err, errFrame) {
					t.Errorf("error %v with %d bytes left", err, r.Len())
				}
				return
			}
			if m.kind == kTook || m.kind == kExit {
				m.count()
			}
		}
	})
}
