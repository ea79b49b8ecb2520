package ffmpeg

import (
	"bytes"
	"encoding/binary"
	"errors"
	"testing"
)

// Pictures of 40 ms stored I P b b get the delays of ISO/IEC 14496-12, 8.6.1.3:
// decoded at 0 40 80 120, shown at 40 160 80 120 and begun with at 40.
func TestDelayTable(t *testing.T) {
	moov := movieOf(t, "vide", 4, 40)
	got, err := delayed(moov, []int{0, 3, 1, 2})
	if err != nil {
		t.Fatal(err)
	}
	trak := child(got[8:], "trak")
	want := []uint32{0, 3, 1, 40, 1, 120, 2, 0}
	table := child(trak, "mdia", "minf", "stbl", "ctts")
	for i, w := range want {
		if v := binary.BigEndian.Uint32(table[4*i:]); v != w {
			t.Errorf("ctts word %d is %d, want %d", i, v, w)
		}
	}
	if len(table) != 4*len(want) {
		t.Errorf("ctts of %d bytes, want %d", len(table), 4*len(want))
	}
	edit := child(trak, "edts", "elst")
	if at := binary.BigEndian.Uint32(edit[12:]); at != 40 {
		t.Errorf("shown from %d on, want 40", at)
	}
	if n := binary.BigEndian.Uint32(got); int(n) != len(got) {
		t.Errorf("the box says %d bytes and has %d", n, len(got))
	}
}

// movieOf makes a moov box with one track of n pictures of so many units.
func movieOf(t testing.TB, handler string, n, step uint32) []byte {
	t.Helper()
	numbers := func(v ...uint32) (b []byte) {
		for _, x := range v {
			b = binary.BigEndian.AppendUint32(b, x)
		}
		return b
	}
	stbl := newBox("stbl", newBox("stsd", numbers(0, 0)), newBox("stts", numbers(0, 1, n, step)))
	hdlr := newBox("hdlr", numbers(0, 0), []byte(handler), make([]byte, 13))
	trak := newBox("trak", newBox("tkhd", numbers(3, 0, 0, 1, 0, n*step, 0)),
		newBox("mdia", hdlr, newBox("minf", stbl)))
	return newBox("moov", newBox("mvhd", make([]byte, 100)), trak)
}

func TestDelayTableRefuses(t *testing.T) {
	for name, moov := range map[string][]byte{
		"no pictures": movieOf(t, "soun", 4, 40),
		"too few":     movieOf(t, "vide", 3, 40),
		"too many":    movieOf(t, "vide", 5, 40),
		"empty":       newBox("moov"),
	} {
		if _, err := delayed(moov, []int{0, 3, 1, 2}); !errors.Is(err, errMovie) {
			t.Errorf("%s: %v, want an error of the movie's shape", name, err)
		}
	}
}

func FuzzDelayTable(f *testing.F) {
	whole := movieOf(f, "vide", 4, 40)
	f.Add(whole)
	f.Add(whole[:len(whole)-9])
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) < 8 {
			return
		}
		turns := []int{0, 3, 1, 2}
		out, err := delayed(b, turns)
		if err == nil && !bytes.Contains(out, []byte("ctts")) {
			t.Error("no table was written")
		}
	})
}
