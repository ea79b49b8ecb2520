package app
import "earshot/internal/shoot"
type Recording struct{ rec *recording }
type Laid struct { Clip, Sound *Recording; ClipTrack, SoundTrack int; Spans []shoot.Span }
