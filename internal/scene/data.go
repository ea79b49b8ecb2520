package scene

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"sort"
)

// DataVariable names the environment variable that points to another folder
// of scene data: speech/*.wav and rir/*.wav, mono, 16-bit PCM or IMA ADPCM.
const DataVariable = "EARSHOT_SCENE_DATA"

// DataDir returns the folder with recorded speech and measured rooms: the one
// DataVariable names, otherwise testdata of this package, looked for from the
// working directory upwards. It is there for tests and for work on the
// program; the program itself does not need it.
func DataDir() (string, error) {
	if dir := os.Getenv(DataVariable); dir != "" {
		return dir, nil
	}
	dir, err := os.Getwd()
	for err == nil {
		found := filepath.Join(dir, "internal", "scene", "testdata")
		if _, miss := os.Stat(filepath.Join(found, "speech")); miss == nil {
			return found, nil
		}
		up := filepath.Dir(dir)
		if up == dir {
			break
		}
		dir = up
	}
	return "", badData("internal/scene/testdata", errors.New("no such folder here or above"))
}

// Rooms reads every measured response in DataDir, by name.
func Rooms() ([]*Response, error) {
	paths, err := dataFiles("rir")
	if err != nil {
		return nil, err
	}
	var out []*Response
	for _, path := range paths {
		r, err := LoadResponse(path)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// Phrases reads all recorded speech in DataDir, cut at its pauses into phrases
// of one to six seconds, each brought to SpeechLevel.
func Phrases() ([]*Excerpt, error) {
	paths, err := dataFiles("speech")
	if err != nil {
		return nil, err
	}
	var out []*Excerpt
	for _, path := range paths {
		raw, err := os.ReadFile(path)
		if err != nil {
			return nil, badData(path, err)
		}
		samples, rate, err := decodeWAV(raw)
		if err != nil {
			return nil, badData(path, err)
		}
		out = append(out, cut(&Excerpt{Name: baseName(path), Rate: rate, Samples: samples})...)
	}
	return out, nil
}

// dataFiles lists the WAV files of one kind, sorted.
func dataFiles(kind string) ([]string, error) {
	dir, err := DataDir()
	if err != nil {
		return nil, err
	}
	paths, err := filepath.Glob(filepath.Join(dir, kind, "*.wav"))
	if err != nil || len(paths) == 0 {
		return nil, badData(filepath.Join(dir, kind), errors.New("no WAV files in it"))
	}
	sort.Strings(paths)
	return paths, nil
}

// frameLength is the step in which speech and pauses are told apart, seconds.
const frameLength = 0.02

// cut splits whole at its pauses (200 ms or more, 25 dB under its loud
// frames) into phrases of one to six seconds with soft edges.
func cut(whole *Excerpt) []*Excerpt {
	loud := frameLevels(whole)
	limit := speechLimit(loud)
	const pause = int(0.2 / frameLength)
	shortest, longest := int(1/frameLength), int(6/frameLength)
	var out []*Excerpt
	begin, quiet := -1, 0
	for i, v := range append(loud, make([]float64, pause)...) {
		switch {
		case v > limit && begin < 0:
			begin, quiet = i, 0
		case v > limit:
			quiet = 0
		case begin >= 0:
			quiet++
		}
		if begin < 0 {
			continue
		}
		end := i + 1 - quiet
		if quiet >= pause && end-begin < shortest/2 {
			begin = -1
		} else if quiet >= pause && end-begin >= shortest || i-begin >= longest {
			out = append(out, phrase(whole, begin, end))
			begin = -1
		}
	}
	return out
}

// phrase copies frames from..to with a little air and soft edges, at
// SpeechLevel.
func phrase(whole *Excerpt, from, to int) *Excerpt {
	frame := int(frameLength * whole.Rate)
	samples := append([]float32(nil), whole.Samples[max(0, from-2)*frame:min(len(whole.Samples), (to+3)*frame)]...)
	edge := min(frame, len(samples)/2)
	for i := range edge {
		w := float32(0.5 - 0.5*math.Cos(math.Pi*float64(i)/float64(edge)))
		samples[i] *= w
		samples[len(samples)-1-i] *= w
	}
	e := &Excerpt{Name: whole.Name, Rate: whole.Rate, Samples: samples}
	e.levelTo(SpeechLevel)
	return e
}

// levelTo scales e so that its speech, pauses left out, has the given RMS.
func (e *Excerpt) levelTo(want float64) {
	loud := frameLevels(e)
	limit := speechLimit(loud)
	sum, n := 1e-20, 1
	for _, v := range loud {
		if v > limit {
			sum, n = sum+v*v, n+1
		}
	}
	gain := float32(want / math.Sqrt(sum/float64(n)))
	for i := range e.Samples {
		e.Samples[i] *= gain
	}
}

// frameLevels returns the RMS of successive frames.
func frameLevels(e *Excerpt) []float64 {
	frame := int(frameLength * e.Rate)
	out := make([]float64, len(e.Samples)/frame)
	for i := range out {
		out[i] = rms(e.Samples[i*frame : (i+1)*frame])
	}
	return out
}

// speechLimit is 25 dB under the frames' 95th percentile.
func speechLimit(loud []float64) float64 {
	if len(loud) == 0 {
		return 0
	}
	sorted := append([]float64(nil), loud...)
	sort.Float64s(sorted)
	return sorted[len(sorted)*95/100] * decibel(-25)
}
