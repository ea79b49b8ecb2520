package ffmpeg

import (
	"context"
	"errors"

	"earshot/internal/fault"
)

type embedded struct{}

func newEmbedded(Options) *embedded { return &embedded{} }

func (*embedded) name() string { return "embedded" }
func (*embedded) close() error { return nil }
func (*embedded) run(context.Context, job) (result, error) {
	return result{}, &fault.Error{Kind: fault.Engine, Op: "start the media engine", Err: errors.New("not built in")}
}
