package ffmpeg

import (
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"strings"

	"codeberg.org/gruf/go-ffmpreg/wasm"
	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/experimental"

	"earshot/internal/media/ffmpeg/module"
)

// The compiled module is kept in a folder of its own below the cache folder:
//
//	engine-<module's sum>-<compiler's version>/lock    held while compiling
//	engine-<…>/sum                                     names and checksums of the files below code/
//	engine-<…>/code/…                                  the compiler's own cache
//
// A folder whose sum is missing or wrong counts as broken and is made anew.

func engineDir(cacheDir string) string {
	return filepath.Join(cacheDir, "engine-"+module.SHA256[:12]+"-"+compilerVersion())
}

// compilerVersion is the version of wazero, whose compiled code another version
// cannot use; "dev" where the program does not say.
func compilerVersion() string {
	info, ok := debug.ReadBuildInfo()
	if ok {
		for _, d := range info.Deps {
			if d.Path == "github.com/tetratelabs/wazero" && d.Version != "" {
				return d.Version
			}
		}
	}
	return "dev"
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// codeSum describes every file below dir/code.
func codeSum(dir string) (string, error) {
	var b strings.Builder
	root := filepath.Join(dir, "code")
	err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		f, err := os.Open(p)
		if err != nil {
			return err
		}
		defer f.Close()
		h := crc32.New(castagnoli)
		n, err := io.Copy(h, f)
		rel, _ := filepath.Rel(root, p)
		fmt.Fprintf(&b, "%s %d %08x\n", filepath.ToSlash(rel), n, h.Sum32())
		return err
	})
	return b.String(), err
}

// compiled reports whether dir holds sound compiled code for this machine.
func compiled(dir string) bool {
	want, err := os.ReadFile(filepath.Join(dir, "sum"))
	if err != nil || !strings.Contains(string(want), runtime.GOARCH+"-"+runtime.GOOS) {
		return false
	}
	have, err := codeSum(dir)
	return err == nil && have == string(want)
}

// compile fills dir with compiled code unless another process just did. It is
// run in a process of its own, because it needs 500 MB for a few seconds.
func compile(ctx context.Context, dir string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	unlock, err := lock(filepath.Join(dir, "lock"))
	if err != nil {
		return err
	}
	defer unlock()
	if compiled(dir) {
		return nil
	}
	if err := errors.Join(remove(filepath.Join(dir, "sum")), os.RemoveAll(filepath.Join(dir, "code"))); err != nil {
		return err
	}
	rt, _, err := load(ctx, dir)
	if err != nil {
		return err
	}
	rt.Close(ctx)
	sum, err := codeSum(dir)
	if err != nil {
		return err
	}
	tmp := filepath.Join(dir, "sum.new")
	if err := os.WriteFile(tmp, []byte(sum), 0o600); err != nil {
		return err
	}
	return os.Rename(tmp, filepath.Join(dir, "sum"))
}

func remove(path string) error {
	if err := os.Remove(path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// load makes the module ready to run, from dir when it holds compiled code and
// by compiling otherwise. An empty dir keeps nothing.
func load(ctx context.Context, dir string) (wazero.Runtime, wazero.CompiledModule, error) {
	cfg := wazero.NewRuntimeConfig()
	if dir != "" {
		cache, err := wazero.NewCompilationCacheWithDir(filepath.Join(dir, "code"))
		if err != nil {
			return nil, nil, err
		}
		cfg = cfg.WithCompilationCache(cache)
	}
	ctx = experimental.WithCompilationWorkers(ctx, runtime.NumCPU())
	rt, err := wasm.NewRuntime(ctx, cfg)
	if err != nil {
		return nil, nil, err
	}
	code, err := module.Bytes()
	if err != nil {
		return nil, nil, err
	}
	mod, err := rt.CompileModule(ctx, code)
	if err != nil {
		rt.Close(ctx)
		return nil, nil, fmt.Errorf("compile the media engine: %w", err)
	}
	return rt, mod, nil
}
