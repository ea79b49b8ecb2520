package ffmpeg

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"earshot/internal/fault"
	"earshot/internal/media"
)

// holds lists the codecs that a container can carry as they are.
var holds = map[string]struct{ picture, sound, other []string }{
	"mov": {
		picture: []string{"h264", "hevc", "mpeg4", "mpeg2video", "mpeg1video", "mjpeg", "prores", "dnxhd", "dvvideo", "png", "h263", "cfhd", "rawvideo", "qtrle", "svq3", "svq1", "cinepak", "vp9", "av1"},
		sound: []string{"aac", "mp3", "mp2", "ac3", "eac3", "alac", "pcm_s16le", "pcm_s16be", "pcm_s24le", "pcm_s24be", "pcm_s32le", "pcm_s32be",
			"pcm_f32le", "pcm_f32be", "pcm_f64le", "pcm_f64be", "pcm_mulaw", "pcm_alaw", "pcm_s8", "pcm_u8", "adpcm_ima_qt", "amr_nb", "amr_wb"},
		other: []string{"gpmd", "mov_text", "eia_608"},
	},
	"mp4": {
		picture: []string{"h264", "hevc", "mpeg4", "mpeg2video", "mpeg1video", "mjpeg", "png", "vp9", "av1"},
		sound:   []string{"aac", "mp3", "mp2", "ac3", "eac3", "alac", "opus"},
		other:   []string{"gpmd", "mov_text"},
	},
}

// Kept turns a plan into ffmpeg's arguments for one finished clip, and says in
// words what of the clip cannot be kept, or not unchanged.
//
// The clip's container time stamps are kept but for one shift that puts its
// zero at 0, where the good sound starts too, so nothing is re-timed. What
// starts before zero is cut by an edit list and what starts after it is
// delayed by an empty edit. Edits count in the movie's time scale, which is set
// to the rate of the camera's sound so that they place it to half a sample.
func Kept(plan media.Plan) (args []string, notes []string) {
	ws, notes := renderWords(plan)
	return spell(ws, func(p string) string { return p }), notes
}

func renderWords(plan media.Plan) ([]word, []string) {
	r := &renderer{plan: plan, info: plan.Info}
	ws := words("-hide_banner", "-nostdin", "-v", "error", "-y", "-copyts")
	if z := r.info.Zero; z != 0 {
		ws = append(ws, words("-itsoffset", strconv.FormatFloat(-z, 'f', 6, 64))...)
	}
	if !untimed(r.info) {
		// Programme streams time only some of their pictures; the others follow
		// from the order of decoding.
		ws = append(ws, words("-fflags", "+genpts")...)
	}
	ws = append(ws, input(plan.Clip)...)
	s := plan.Sound
	// With the usual eight packets under way the engine waits for the clip and the
	// sound by turns, a hundredth of a second each time.
	ws = append(ws, words("-thread_queue_size", "64", "-f", "f32le", "-ar", strconv.Itoa(s.Rate), "-ac", strconv.Itoa(s.Channels), "-i", "pipe:0")...)
	r.add("-c", "copy", "-copyinkf", "-copypriorss", "1", "-map_metadata", "0", "-map_chapters", "0")
	r.pictures()
	r.goodSound()
	r.scratch()
	r.others()
	r.timecode()
	r.tags()
	r.add("-movie_timescale", strconv.Itoa(r.timescale()), "-f", plan.Container)
	ws = append(ws, r.maps...)
	ws = append(ws, r.opts...)
	return append(ws, word{plan.Out, writes}), r.notes
}

// renderer gathers the output side of a plan.
type renderer struct {
	plan       media.Plan
	info       media.Info
	maps, opts []word
	notes      []string
}

func (r *renderer) add(texts ...string)     { r.opts = append(r.opts, words(texts...)...) }
func (r *renderer) take(stream string)      { r.maps = append(r.maps, words("-map", stream)...) }
func (r *renderer) note(f string, a ...any) { r.notes = append(r.notes, fmt.Sprintf(f, a...)) }

func (r *renderer) pictures() {
	for i, p := range r.info.Pictures {
		r.take(fmt.Sprintf("0:%d", p.Stream))
		if p.Codec == "hevc" {
			r.add(fmt.Sprintf("-tag:v:%d", i), "hvc1")
		}
	}
}

func (r *renderer) goodSound() {
	s := r.plan.Sound
	r.take("1:0")
	r.add("-c:a:0", s.Codec, "-disposition:a:0", "default")
	if s.Codec == "aac" {
		r.add("-b:a:0", strconv.Itoa(bitrate(s.Bitrate, s.Channels)))
	} else {
		// The engine keeps a line of its index for every packet until the end.
		r.add("-filter:a:0", fmt.Sprintf("asetnsamples=n=%d:p=0", s.Rate/5))
	}
	name := s.Title
	if name == "" {
		name = "Good sound"
	}
	r.name(0, name)
}

// bitrate returns want, or 128 kb/s for each channel up to five.
func bitrate(want, channels int) int {
	if want > 0 {
		return want
	}
	return 128000 * min(max(channels, 1), 5)
}

func (r *renderer) name(track int, title string) {
	key := fmt.Sprintf("-metadata:s:a:%d", track)
	r.add(key, "title="+title, key, "handler_name="+title)
}

// scratch adds the camera's own sound after the good sound, not enabled.
func (r *renderer) scratch() {
	if !r.plan.Scratch {
		return
	}
	for i, s := range r.info.Sounds {
		track := i + 1
		r.take(fmt.Sprintf("0:%d", s.Stream))
		r.add(fmt.Sprintf("-disposition:a:%d", track), "0")
		name := "Scratch"
		if len(r.info.Sounds) > 1 {
			name = fmt.Sprintf("Scratch %d", track)
		}
		r.name(track, name)
		if r.copied(s.Codec) {
			continue
		}
		r.add(fmt.Sprintf("-filter:a:%d", track), "aresample=async=1:min_comp=0.00001:min_hard_comp=0.1:first_pts=0")
		codec := r.scratchCodec(s)
		r.add(fmt.Sprintf("-c:a:%d", track), codec)
		if codec == "aac" {
			r.add(fmt.Sprintf("-b:a:%d", track), strconv.Itoa(bitrate(0, s.Channels)))
		}
		if codec == s.Codec {
			continue // the same samples
		}
		r.note("scratch track %d: %s cannot be held by %s and becomes %s", track, s.Codec, r.plan.Container, codec)
	}
}

// copied reports whether a scratch track's packets are taken as they are. PCM
// has no packets of its own that could hold a hole in mov, so from elsewhere
// it is written anew, holes filled, sample for sample.
func (r *renderer) copied(codec string) bool {
	movie := slices.Contains(movies, r.info.Container)
	return slices.Contains(holds[r.plan.Container].sound, codec) && (movie || !strings.HasPrefix(codec, "pcm_"))
}

// scratchCodec picks what a scratch track that is not copied becomes.
func (r *renderer) scratchCodec(s media.Sound) string {
	switch {
	case slices.Contains(holds[r.plan.Container].sound, s.Codec):
		return s.Codec
	case r.plan.Container == "mp4":
		return "aac"
	case s.Bits > 16:
		return "pcm_s24le"
	}
	return "pcm_s16le"
}

// others adds data and subtitles that the container can hold.
func (r *renderer) others() {
	for _, o := range r.info.Others {
		switch {
		case o.Kind == "timecode":
			if r.info.Timecode == "" {
				r.note("timecode track %d cannot be read and is not kept", o.Stream)
			}
		case slices.Contains(holds[r.plan.Container].other, o.Codec):
			r.take(fmt.Sprintf("0:%d", o.Stream))
		case o.Codec == "mebx":
			r.note("timed metadata track %d (mebx) cannot be kept in %s", o.Stream, r.plan.Container)
		case o.Kind == "still":
			r.note("still picture %d (%s) cannot be kept in %s", o.Stream, o.Codec, r.plan.Container)
		default:
			r.note("%s track %d (%s) cannot be kept in %s", o.Kind, o.Stream, o.Codec, r.plan.Container)
		}
	}
}

// timecode keeps the start timecode, which counts pictures and so needs a
// steady rate.
func (r *renderer) timecode() {
	tc := r.info.Timecode
	if tc == "" {
		return
	}
	if len(r.info.Pictures) == 0 || r.info.Pictures[0].Rate.Den == 0 {
		r.add("-write_tmcd", "0")
		r.note("timecode %s cannot be kept: the picture has no steady rate", tc)
		return
	}
	r.add("-metadata:s:v:0", "timecode="+tc)
}

// appleKey begins the names of QuickTime's own metadata.
const appleKey = "com.apple.quicktime."

// plainTags are the tags that mov and mp4 keep without the free-form table.
var plainTags = map[string][]string{
	"mov": {"location", "make", "model", "date", "title", "artist", "comment", "copyright", "encoder", "genre", "album", "album_artist", "composer", "description", "performer", "keywords"},
	"mp4": {"location", "date", "title", "artist", "comment", "copyright", "encoder", "genre", "album", "album_artist", "composer", "description", "synopsis", "keywords"},
}

// tags keeps the container's tags. A table of free-form keys is written only
// where the clip has QuickTime's own, since it takes the place of the classic
// atoms for place, maker and model in mov.
func (r *renderer) tags() {
	free := false
	for k := range r.info.Tags {
		free = free || len(k) > len(appleKey) && k[:len(appleKey)] == appleKey
	}
	if free {
		r.add("-movflags", "use_metadata_tags")
		for _, k := range []string{"major_brand", "minor_version", "compatible_brands"} {
			r.add("-metadata", k+"=")
		}
	} else {
		r.lostTags()
	}
	r.opts = append(r.opts, tagWords(r.plan.Tags)...)
}

func (r *renderer) lostTags() {
	for _, k := range sortedKeys(r.info.Tags) {
		switch base, _, _ := cutLanguage(k); {
		case slices.Contains([]string{"major_brand", "minor_version", "compatible_brands", "creation_time", "timecode", "encoder"}, base):
		case slices.Contains(plainTags[r.plan.Container], base):
		default:
			r.note("tag %q cannot be kept in %s", k, r.plan.Container)
		}
	}
}

// cutLanguage splits "location-eng" into "location" and "eng".
func cutLanguage(key string) (base, language string, ok bool) {
	if n := len(key); n > 4 && key[n-4] == '-' {
		return key[:n-4], key[n-3:], true
	}
	return key, "", false
}

// timescale is the movie's clock: the camera's sound rate, where kept.
func (r *renderer) timescale() int {
	if r.plan.Scratch && len(r.info.Sounds) > 0 {
		return r.info.Sounds[0].Rate
	}
	return r.plan.Sound.Rate
}

// Limits says what of the clip the finished one cannot hold.
func (e *Engine) Limits(plan media.Plan) []string {
	_, notes := renderWords(plan)
	return notes
}

// Render writes one finished clip.
func (e *Engine) Render(ctx context.Context, plan media.Plan, sound io.Reader) error {
	const op = "write clip"
	if err := checkInput(op, plan.Clip); err != nil {
		return err
	}
	if err := checkPlan(op, plan); err != nil {
		return err
	}
	ws, _ := renderWords(plan)
	if err := e.write(ctx, op, plan.Clip, plan.Out, job{tool: "ffmpeg", words: ws, stdin: sound}); err != nil {
		return err
	}
	if !untimed(plan.Info) {
		return nil
	}
	err := e.retime(ctx, op, plan.Clip, plan.Out, plan.Info.Pictures[0])
	if err != nil {
		os.Remove(plan.Out)
	}
	return err
}

func checkPlan(op string, plan media.Plan) error {
	bad := func(kind fault.Kind, hint, f string, a ...any) error {
		return &fault.Error{Kind: kind, Op: op, Subject: plan.Out, Err: fmt.Errorf(f, a...), Hint: hint}
	}
	h, ok := holds[plan.Container]
	switch {
	case !ok:
		return bad(fault.Usage, "choose mov or mp4", "container %q is not one that can be written", plan.Container)
	case !plan.Info.HasPicture():
		return &fault.Error{Kind: fault.Unreadable, Op: op, Subject: plan.Clip, Err: errors.New("it holds no moving pictures")}
	case plan.Sound.Rate <= 0 || plan.Sound.Channels <= 0:
		return bad(fault.Internal, "", "the sound has no rate or no channels")
	case plan.Sound.Codec != "pcm_s24le" && plan.Sound.Codec != "aac":
		return bad(fault.Usage, "choose pcm_s24le or aac", "sound codec %q is not one that can be written", plan.Sound.Codec)
	case plan.Container == "mp4" && plan.Sound.Codec != "aac":
		return bad(fault.Usage, "use the default container, mov, or aac sound", "mp4 cannot hold %s", plan.Sound.Codec)
	}
	for _, p := range plan.Info.Pictures {
		if !slices.Contains(h.picture, p.Codec) {
			hint := "use the default container, mov"
			if plan.Container == "mov" {
				hint = "convert the clip with another program first"
			}
			return bad(fault.Usage, hint, "%s cannot hold %s pictures", plan.Container, p.Codec)
		}
	}
	return nil
}
