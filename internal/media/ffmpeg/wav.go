package ffmpeg

import "earshot/internal/media"

func mendWAV(string, *media.Info)            {}
func wavOptions(media.Info, string) []string { return nil }
