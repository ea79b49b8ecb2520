package ffmpeg

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"slices"
)

// errMovie says that a movie is not of the shape that the engine writes.
var errMovie = errors.New("the movie's index is not as expected")

// setDelays gives the movie at path, whose index is its last box, a table of
// delays by which each picture is shown in its turn, and lets the movie begin
// with the first shown.
func setDelays(path string, turns []int) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	at, index, err := lastBox(f)
	if err != nil {
		return err
	}
	index, err = delayed(index, turns)
	if err != nil {
		return err
	}
	if _, err := f.WriteAt(index, at); err != nil {
		return err
	}
	if err := f.Truncate(at + int64(len(index))); err != nil {
		return err
	}
	return f.Close()
}

// maxIndex bounds a movie's index in bytes: hundreds of hours.
const maxIndex = 1 << 30

// lastBox reads the moov box that a file ends with.
func lastBox(f *os.File) (at int64, box []byte, err error) {
	info, err := f.Stat()
	if err != nil {
		return 0, nil, err
	}
	for at+8 <= info.Size() {
		kind, n, err := boxAt(f, at)
		switch {
		case err != nil:
			return 0, nil, err
		case n == 0:
			return 0, nil, errMovie
		case at+n < info.Size():
			at += n
			continue
		case at+n > info.Size() || kind != "moov" || n > maxIndex:
			return 0, nil, errMovie
		}
		box = make([]byte, n)
		_, err = f.ReadAt(box, at)
		return at, box, err
	}
	return 0, nil, errMovie
}

// newBox makes a box.
func newBox(kind string, body ...[]byte) []byte {
	all := bytes.Join(body, nil)
	return append(append(binary.BigEndian.AppendUint32(nil, uint32(8+len(all))), kind...), all...)
}

// rebuilt returns a box's body with every box in it replaced by what fn makes
// of it. Bytes that are no box are an error.
func rebuilt(body []byte, fn func(kind string, body []byte) ([]byte, error)) (out []byte, err error) {
	read := 0
	boxes(body, func(kind string, b []byte) bool {
		var made []byte
		made, err = fn(kind, b)
		out = append(out, made...)
		read += 8 + len(b)
		return err == nil
	})
	if err == nil && read != len(body) {
		err = errMovie
	}
	return out, err
}

// child returns the body of the first box along a path of kinds.
func child(body []byte, path ...string) []byte {
	for _, want := range path {
		var found []byte
		boxes(body, func(kind string, b []byte) bool {
			if kind == want {
				found = b
			}
			return found == nil
		})
		body = found
	}
	return body
}

// delayed returns a moov box with the delays of its first picture track set.
func delayed(moov []byte, turns []int) ([]byte, error) {
	done := false
	body, err := rebuilt(moov[8:], func(kind string, b []byte) ([]byte, error) {
		handler := child(b, "mdia", "hdlr")
		if kind != "trak" || done || len(handler) < 12 || string(handler[8:12]) != "vide" {
			return newBox(kind, b), nil
		}
		done = true
		return delayedTrack(b, turns)
	})
	if err == nil && !done {
		err = errMovie
	}
	return newBox("moov", body), err
}

func delayedTrack(trak []byte, turns []int) ([]byte, error) {
	when, err := decodingTimes(child(trak, "mdia", "minf", "stbl", "stts"), len(turns))
	if err != nil {
		return nil, err
	}
	lead := int64(0) // how much later all must be shown for none to be shown before it is decoded
	for i, turn := range turns {
		lead = max(lead, when[i]-when[turn])
	}
	delays := make([]int64, len(turns))
	for i, turn := range turns {
		delays[i] = when[turn] - when[i] + lead
	}
	edits, err := editsFrom(child(trak, "edts", "elst"), child(trak, "tkhd"), lead)
	if err != nil {
		return nil, err
	}
	body, err := rebuilt(trak, func(kind string, b []byte) ([]byte, error) {
		switch kind {
		case "edts":
			return nil, nil
		case "tkhd":
			return append(newBox(kind, b), edits...), nil
		case "mdia":
			return withTable(kind, b, delayTable(delays))
		}
		return newBox(kind, b), nil
	})
	return newBox("trak", body), err
}

// withTable returns a box of a track with the table of delays put in the place
// of the one there was.
func withTable(kind string, body, table []byte) ([]byte, error) {
	switch kind {
	case "ctts":
		return nil, nil
	case "mdia", "minf", "stbl":
		out, err := rebuilt(body, func(kind string, b []byte) ([]byte, error) { return withTable(kind, b, table) })
		if kind == "stbl" {
			out = append(out, table...)
		}
		return newBox(kind, out), err
	}
	return newBox(kind, body), nil
}

// decodingTimes reads a table of durations (stts) of n pictures and returns
// when each is decoded, in the track's units.
func decodingTimes(stts []byte, n int) ([]int64, error) {
	var when []int64
	now := int64(0)
	for at := 8; at+8 <= len(stts); at += 8 {
		count, step := int64(binary.BigEndian.Uint32(stts[at:])), int64(binary.BigEndian.Uint32(stts[at+4:]))
		if count > int64(n-len(when)) {
			return nil, fmt.Errorf("%w: it has more than %d pictures", errMovie, n)
		}
		for range count {
			when = append(when, now)
			now += step
		}
	}
	if len(when) != n || n == 0 {
		return nil, fmt.Errorf("%w: it has %d of %d pictures", errMovie, len(when), n)
	}
	return when, nil
}

// delayTable makes a ctts box: runs of equal delays.
func delayTable(delays []int64) []byte {
	var runs []byte
	count := uint32(0)
	for first := 0; first < len(delays); count++ {
		next := first + 1
		for next < len(delays) && delays[next] == delays[first] {
			next++
		}
		runs = binary.BigEndian.AppendUint32(runs, uint32(next-first))
		runs = binary.BigEndian.AppendUint32(runs, uint32(delays[first]))
		first = next
	}
	return newBox("ctts", make([]byte, 4), binary.BigEndian.AppendUint32(nil, count), runs)
}

// editsFrom returns an edts box that begins to show the track at lead, after
// the empty edit that elst may begin with. elst and tkhd are bodies of version
// 0 boxes; tkhd's length serves where there is no elst.
func editsFrom(elst, tkhd []byte, lead int64) ([]byte, error) {
	if lead > 1<<31-1 || len(tkhd) < 24 || tkhd[0] != 0 {
		return nil, errMovie
	}
	if elst == nil {
		elst = slices.Concat([]byte{0, 0, 0, 0, 0, 0, 0, 1}, tkhd[20:24], []byte{0, 0, 0, 0, 0, 1, 0, 0})
	}
	const entry = 12
	last := len(elst) - entry
	if elst[0] != 0 || last < 8 || (last-8)%entry != 0 || int32(binary.BigEndian.Uint32(elst[last+4:])) < 0 {
		return nil, errMovie
	}
	elst = bytes.Clone(elst)
	binary.BigEndian.PutUint32(elst[last+4:], binary.BigEndian.Uint32(elst[last+4:])+uint32(lead))
	return newBox("edts", newBox("elst", elst)), nil
}
