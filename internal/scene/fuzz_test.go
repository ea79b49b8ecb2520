package scene

import (
	"math"
	"os"
	"testing"
)

// FuzzDecodeWAV reads anything: samples within full scale, or an error.
func FuzzDecodeWAV(f *testing.F) {
	good, err := os.ReadFile("testdata/speech/talk-2.wav")
	if err != nil {
		f.Fatal(err)
	}
	room, err := os.ReadFile("testdata/rir/kitchen.wav")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good[:2000])
	f.Add(room[:2000])
	f.Add([]byte("RIFF\x00\x00\x00\x00WAVEdata\x00\x00\x00\x00"))
	f.Add([]byte("RIFF\x00\x00\x00\x00WAVEfmt \x10\x00\x00\x00\x11\x00\x01\x00\x80\x3e\x00\x00\x00\x00\x00\x00\x05\x00\x04\x00data\x05\x00\x00\x00\xff\x7f\xff\x00\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		samples, rate, err := decodeWAV(b)
		if err != nil {
			return
		}
		if rate <= 0 || math.IsNaN(rate) {
			t.Errorf("rate %g", rate)
		}
		if len(samples) > 2*len(b) {
			t.Errorf("%d samples out of %d bytes", len(samples), len(b))
		}
		for i, v := range samples {
			if !(v >= -1 && v <= 1) {
				t.Fatalf("sample %d is %g", i, v)
			}
		}
	})
}
