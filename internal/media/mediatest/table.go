package mediatest

// table lists every kind of recording that is read, with the click at
// clickAt. AVI has no place for encoder delay, so every player plays
// compressed sound late by it: 576 + 529 samples for MP3 (LAME technical FAQ)
// and 256 for AC-3, half its transform (ATSC A/52, 7.9).
func table() []recording {
	// Matroska counts time in milliseconds, so a track may lie half of one off.
	const mkv48 = 25
	shift := []string{"-af", "asetpts=PTS+0.4/TB"}
	// Edits of MOV and MP4 count by the movie's clock, which is in milliseconds
	// unless asked for otherwise.
	exactly := []string{"-af", "asetpts=PTS+0.4/TB", "-movie_timescale", "48000"}
	picture := []string{"-vf", "setpts=PTS+0.2/TB"}
	hole := []string{"-af", "asetpts=if(gte(T\\,1)\\,PTS+0.4/TB\\,PTS)"}
	return []recording{
		{name: "wav 8k", ending: "wav", container: "wav", sound: "pcm_s16le", rate: 8000, ch: 1},
		{name: "wav 11k", ending: "wav", container: "wav", sound: "pcm_u8", rate: 11025, ch: 1},
		{name: "wav 44k stereo", ending: "wav", container: "wav", sound: "pcm_s16le", rate: 44100, ch: 2},
		{name: "wav 48k 24", ending: "wav", container: "wav", sound: "pcm_s24le", rate: 48000, ch: 1},
		{name: "wav 96k float", ending: "wav", container: "wav", sound: "pcm_f32le", rate: 96000, ch: 2},
		{name: "wav 192k 5.1", ending: "wav", container: "wav", sound: "pcm_s24le", rate: 192000, ch: 6},
		{name: "rf64", ending: "wav", container: "rf64", sound: "pcm_s24le", rate: 48000, ch: 1},
		{name: "aiff", ending: "aif", container: "aiff", sound: "pcm_s16be", rate: 48000, ch: 2},
		{name: "caf", ending: "caf", container: "caf", sound: "pcm_s16le", rate: 44100, ch: 1},
		{name: "caf alac", ending: "caf", container: "caf", sound: "alac", rate: 48000, ch: 1},
		{name: "flac", ending: "flac", container: "flac", sound: "flac", rate: 48000, ch: 1},
		{name: "flac 22k", ending: "flac", container: "flac", sound: "flac", rate: 22050, ch: 2},
		{name: "ogg vorbis", ending: "ogg", container: "ogg", sound: "vorbis", rate: 48000, ch: 2},
		{name: "ogg opus", ending: "opus", container: "ogg", sound: "opus", rate: 48000, ch: 1},
		{name: "mp3", ending: "mp3", container: "mp3", sound: "mp3", rate: 48000, ch: 1},
		{name: "mp3 44k", ending: "mp3", container: "mp3", sound: "mp3", rate: 44100, ch: 2},
		{name: "mp3 22k", ending: "mp3", container: "mp3", sound: "mp3", rate: 22050, ch: 1},
		{name: "mp3 no tag", ending: "mp3", container: "mp3", sound: "mp3", rate: 48000, ch: 1, args: []string{"-write_xing", "0"}},
		{name: "mp3 no tag 44k", ending: "mp3", container: "mp3", sound: "mp3", rate: 44100, ch: 2, args: []string{"-write_xing", "0"}},
		{name: "adts", ending: "aac", container: "aac", sound: "aac", rate: 48000, ch: 1},
		{name: "adts 44k", ending: "aac", container: "aac", sound: "aac", rate: 44100, ch: 2},
		{name: "m4a", ending: "m4a", container: "m4a", sound: "aac", rate: 48000, ch: 1},
		{name: "m4a 16k", ending: "m4a", container: "m4a", sound: "aac", rate: 16000, ch: 1},
		{name: "m4a alac", ending: "m4a", container: "m4a", sound: "alac", rate: 48000, ch: 2},
		{name: "mka aac", ending: "mka", container: "mkv", sound: "aac", rate: 48000, ch: 1, within: mkv48},
		{name: "mka aac 44k", ending: "mka", container: "mkv", sound: "aac", rate: 44100, ch: 1, within: mkv48},
		{name: "mka pcm", ending: "mka", container: "mkv", sound: "pcm_s16le", rate: 48000, ch: 1},
		{name: "mp4 aac", ending: "mp4", container: "mp4", picture: "h264", sound: "aac", rate: 48000, ch: 2},
		{name: "mp4 aac 44k", ending: "mp4", container: "mp4", picture: "h264", sound: "aac", rate: 44100, ch: 1},
		{name: "mp4 aac 5.1", ending: "mp4", container: "mp4", picture: "mpeg4", sound: "aac", rate: 48000, ch: 6},
		{name: "mp4 ac3", ending: "mp4", container: "mp4", picture: "h264", sound: "ac3", rate: 48000, ch: 2},
		{name: "mp4 mp3", ending: "mp4", container: "mp4", picture: "mpeg4", sound: "mp3", rate: 44100, ch: 2},
		{name: "mp4 opus", ending: "mp4", container: "mp4", picture: "h264", sound: "opus", rate: 48000, ch: 1},
		{name: "mov pcm", ending: "mov", container: "mov", picture: "h264", sound: "pcm_s16be", rate: 48000, ch: 2},
		{name: "mov pcm 24", ending: "mov", container: "mov", picture: "mjpeg", sound: "pcm_s24le", rate: 48000, ch: 4},
		{name: "mov aac", ending: "mov", container: "mov", picture: "h264", sound: "aac", rate: 44100, ch: 1},
		{name: "mov ac3", ending: "mov", container: "mov", picture: "h264", sound: "ac3", rate: 48000, ch: 2},
		{name: "mov mp3", ending: "mov", container: "mov", picture: "mpeg4", sound: "mp3", rate: 48000, ch: 2},
		{name: "3gp aac", ending: "3gp", container: "3gp", picture: "h263", sound: "aac", rate: 16000, ch: 1},
		{name: "mkv aac", ending: "mkv", container: "mkv", picture: "h264", sound: "aac", rate: 48000, ch: 2, within: mkv48},
		{name: "mkv pcm", ending: "mkv", container: "mkv", picture: "h264", sound: "pcm_s16le", rate: 48000, ch: 2, within: mkv48},
		{name: "mka opus", ending: "mka", container: "mkv", sound: "opus", rate: 48000, ch: 1, within: mkv48},
		{name: "mkv mp3", ending: "mkv", container: "mkv", picture: "h264", sound: "mp3", rate: 48000, ch: 2, within: mkv48},
		{name: "mkv flac", ending: "mkv", container: "mkv", picture: "h264", sound: "flac", rate: 48000, ch: 2, within: mkv48},
		{name: "avi pcm", ending: "avi", container: "avi", picture: "mjpeg", sound: "pcm_s16le", rate: 48000, ch: 2},
		{name: "avi pcm 11k", ending: "avi", container: "avi", picture: "mjpeg", sound: "pcm_u8", rate: 11025, ch: 1},
		{name: "avi mp3", ending: "avi", container: "avi", picture: "mpeg4", sound: "mp3", rate: 48000, ch: 2, late: 1105},
		{name: "avi ac3", ending: "avi", container: "avi", picture: "mpeg4", sound: "ac3", rate: 48000, ch: 2, late: 256},
		{name: "mts ac3", ending: "mts", container: "mpegts", picture: "h264", sound: "ac3", rate: 48000, ch: 2},
		{name: "mts aac", ending: "ts", container: "mpegts", picture: "h264", sound: "aac", rate: 48000, ch: 2},
		{name: "mts mp2", ending: "ts", container: "mpegts", picture: "mpeg2video", sound: "mp2", rate: 48000, ch: 2},
		{name: "mts 192", ending: "m2ts", container: "mpegts", picture: "h264", sound: "ac3", rate: 48000, ch: 6, args: []string{"-mpegts_m2ts_mode", "1"}},
		{name: "mpg mp2", ending: "mpg", container: "mpg", picture: "mpeg2video", sound: "mp2", rate: 44100, ch: 2},
		{name: "mpg ac3", ending: "mpg", container: "mpg", picture: "mpeg1video", sound: "ac3", rate: 48000, ch: 2},

		// Sound that starts later than the picture, and a hole inside. (AAC and
		// AC-3 are cut at whole packets, so they are not asked for a hole.)
		{name: "mp4 late", ending: "mp4", container: "mp4", picture: "h264", sound: "aac", rate: 48000, ch: 1, args: exactly, late: 19200, codecs: true},
		{name: "mov late", ending: "mov", container: "mov", picture: "h264", sound: "pcm_s16le", rate: 48000, ch: 1, args: exactly, late: 19200, codecs: true},
		{name: "mkv late", ending: "mkv", container: "mkv", picture: "h264", sound: "pcm_s16le", rate: 48000, ch: 1, args: shift, late: 19200, codecs: true},
		{name: "mts late", ending: "mts", container: "mpegts", picture: "h264", sound: "ac3", rate: 48000, ch: 1, args: shift, late: 19200, codecs: true},
		// Pictures that start later than the sound: MP4 has a time line of its
		// own, elsewhere the first picture is zero.
		{name: "mp4 picture late", ending: "mp4", container: "mp4", picture: "h264", sound: "aac", rate: 48000, ch: 1, args: picture, codecs: true},
		{name: "mov picture late", ending: "mov", container: "mov", picture: "mjpeg", sound: "pcm_s16le", rate: 48000, ch: 1, args: picture, codecs: true},
		{name: "mkv picture late", ending: "mkv", container: "mkv", picture: "h264", sound: "pcm_s16le", rate: 48000, ch: 1, args: picture, late: -9600, within: mkv48, codecs: true},
		{name: "mts picture late", ending: "mts", container: "mpegts", picture: "h264", sound: "ac3", rate: 48000, ch: 1, args: picture, late: -9600, codecs: true},
		{name: "mkv hole", ending: "mkv", container: "mkv", picture: "h264", sound: "pcm_s16le", rate: 48000, ch: 1, args: hole, late: 19200, within: mkv48, codecs: true},
	}
}
