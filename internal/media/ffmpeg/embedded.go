package ffmpeg

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"earshot/internal/fault"
)

// endWithin is how long a cancelled job may take to end by itself before the
// engine's process is killed.
const endWithin = 500 * time.Millisecond

// embedded runs the module carried inside the program, in one child process
// that serves any number of jobs side by side. A child that dies takes its
// jobs with it; the next job starts another.
type embedded struct {
	dir string // for compiled code
	say func(string)

	mu   sync.Mutex
	link *link
	shut bool
}

func newEmbedded(opt Options) *embedded {
	return &embedded{dir: engineDir(opt.CacheDir), say: opt.Say}
}

func (e *embedded) name() string { return "embedded" }

// close ends the child, and with it all jobs.
func (e *embedded) close() error {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.shut = true
	if e.link != nil {
		e.link.kill()
		<-e.link.gone
	}
	return nil
}

func (e *embedded) run(ctx context.Context, j job) (result, error) {
	ws, err := absolute(j.words)
	if err != nil {
		return result{}, err
	}
	j.words = ws
	res, err := e.try(ctx, j)
	if j.again && errors.Is(err, ErrDied) && ctx.Err() == nil {
		res, err = e.try(ctx, j)
	}
	return res, err
}

// ready starts the child, which may have to compile the module first.
func (e *embedded) ready(ctx context.Context) error {
	_, err := e.child(ctx)
	return err
}

func (e *embedded) try(ctx context.Context, j job) (result, error) {
	l, err := e.child(ctx)
	if err != nil {
		return result{}, err
	}
	return l.run(ctx, j)
}

// child returns a link to a living child, started if need be.
func (e *embedded) child(ctx context.Context) (*link, error) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.shut {
		return nil, engineError(errors.New("the engine was closed"), "")
	}
	if e.link != nil && !e.link.dead() {
		return e.link, nil
	}
	if os.Getenv(childEnv) != "" {
		return nil, engineError(errors.New("this program was built without the call that lets it be its own engine"), "")
	}
	dir := e.dir
	if !compiled(dir) {
		var err error
		if dir, err = e.compile(ctx); err != nil {
			return nil, err
		}
	}
	l, err := startLink(ctx, dir)
	if err != nil && ctx.Err() == nil && dir != "" {
		// The compiled code may be broken in a way its sum does not show.
		os.Remove(filepath.Join(dir, "sum"))
		if dir, err = e.compile(ctx); err == nil {
			l, err = startLink(ctx, dir)
		}
	}
	if err != nil {
		return nil, err
	}
	e.link = l
	return l, nil
}

// compile fills the folder for compiled code and returns it, or "" when
// nothing can be kept there.
func (e *embedded) compile(ctx context.Context) (string, error) {
	e.say("preparing the built-in media engine; this takes some seconds and is done once")
	cmd, err := childCommand(ctx, "compile", e.dir)
	if err != nil {
		return "", err
	}
	var said tail
	cmd.Stderr = &said
	err = cmd.Run()
	if ctx.Err() != nil {
		return "", ctx.Err()
	}
	if err != nil || !compiled(e.dir) {
		why := lastLine(said.String())
		if why == "" && err != nil {
			why = err.Error()
		}
		e.say("the prepared media engine cannot be kept (" + why + "); it is prepared again at every start")
		return "", nil
	}
	return e.dir, nil
}

// childCommand is this program run as the engine's process. The parent's death
// closes the child's standard input, which ends it.
func childCommand(ctx context.Context, args ...string) (*exec.Cmd, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, engineError(err, "use a native ffmpeg instead (--engine native)")
	}
	cmd := exec.CommandContext(ctx, self, append([]string{childArg}, args...)...)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	cmd.WaitDelay = time.Second
	ownGroup(cmd)
	return cmd, nil
}

func engineError(err error, hint string) error {
	return &fault.Error{Kind: fault.Engine, Op: "start the built-in media engine", Err: err, Hint: hint}
}

// orderFor spells a job for the child: every path becomes a name of ours.
func orderFor(j job) (order, error) {
	o := order{Tool: j.tool}
	names := map[word]string{}
	o.Args = make([]string, len(j.words))
	for i, w := range j.words {
		o.Args[i] = w.text
		if w.use == plain {
			continue
		}
		name, ok := names[w]
		if !ok {
			name = fmt.Sprintf("%d%s", len(names), ending(w.text))
			names[w] = name
			o.Files = append(o.Files, orderFile{Name: name, Path: []byte(w.text), Write: w.use == writes})
		}
		o.Args[i] = "file:" + mount + "/" + name
	}
	return o, nil
}

// ending returns a path's ending when it is a plain one, since the engine goes
// by it where contents do not tell.
func ending(path string) string {
	e := strings.ToLower(filepath.Ext(path))
	if len(e) < 2 || len(e) > 6 {
		return ""
	}
	for _, r := range e[1:] {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') {
			return ""
		}
	}
	return e
}

// marshal never fails: an order is plain data.
func (o order) marshal() []byte {
	b, err := json.Marshal(o)
	if err != nil {
		panic(err)
	}
	return b
}
