package ffmpeg

import (
	"bytes"
	"crypto/sha256"
	"strings"
	"testing"
)

func sumOf(t testing.TB, codec string, parts ...string) string {
	t.Helper()
	h := sha256.New()
	u := &units{sum: h, drop: normal[codec].drop}
	for _, p := range parts {
		if err := u.take([]byte(p)); err != nil {
			t.Fatal(err)
		}
	}
	u.flush()
	return string(h.Sum(nil))
}

// The unit types are those of Rec. ITU-T H.264, table 7-1: 65h is a slice of
// an IDR picture, 41h another slice, 67h and 68h parameter sets, 09h a
// delimiter.
func TestUnits(t *testing.T) {
	plain := sumOf(t, "h264", "\x00\x00\x01\x65abc\x00\x00\x01\x41def")
	for name, same := range map[string]string{
		"long start codes":     "\x00\x00\x00\x01\x65abc\x00\x00\x00\x01\x41def",
		"sets and a delimiter": "\x00\x00\x00\x01\x09\xf0\x00\x00\x00\x01\x67xx\x00\x00\x01\x68y\x00\x00\x01\x65abc\x00\x00\x01\x41def",
		"zeros after a unit":   "\x00\x00\x01\x65abc\x00\x00\x00\x00\x00\x01\x41def\x00\x00",
	} {
		if sumOf(t, "h264", same) != plain {
			t.Errorf("%s change the sum", name)
		}
		if sumOf(t, "h264", strings.Split(same, "")...) != plain {
			t.Errorf("%s change the sum when they come byte by byte", name)
		}
	}
	for name, other := range map[string]string{
		"a changed byte":     "\x00\x00\x01\x65abx\x00\x00\x01\x41def",
		"a lost unit":        "\x00\x00\x01\x65abc",
		"a zero inside":      "\x00\x00\x01\x65a\x00bc\x00\x00\x01\x41def",
		"units joined":       "\x00\x00\x01\x65abc\x41def",
		"units in new order": "\x00\x00\x01\x41def\x00\x00\x01\x65abc",
		"a further message":  "\x00\x00\x01\x06m\x00\x00\x01\x65abc\x00\x00\x01\x41def",
	} {
		if sumOf(t, "h264", other) == plain {
			t.Errorf("%s does not change the sum", name)
		}
	}
	if sumOf(t, "mpeg4", "\x00\x00\x00\x01a") == sumOf(t, "mpeg4", "\x00\x00\x01a") {
		t.Error("other codecs must be hashed as they are")
	}
}

func FuzzUnits(f *testing.F) {
	f.Add([]byte("\x00\x00\x01\x65abc\x00\x00\x01\x41def"), 3)
	f.Fuzz(func(t *testing.T, b []byte, at int) {
		if at < 0 || at > len(b) {
			return
		}
		whole := sumOf(t, "hevc", string(b))
		if sumOf(t, "hevc", string(b[:at]), string(b[at:])) != whole {
			t.Error("the sum depends on where the stream is cut")
		}
		if !bytes.HasSuffix(b, []byte{0}) && sumOf(t, "hevc", string(b)+"\x00\x00\x01") != whole {
			t.Error("an empty unit at the end changes the sum")
		}
	})
}
