package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"

	"earshot/internal/media/ffmpeg"
)

// TestMain makes the test binary answer as `earshot` too, and as the child
// process of the embedded engine.
func TestMain(m *testing.M) {
	if handled, status := ffmpeg.ChildMain(os.Args); handled {
		os.Exit(status)
	}
	testscript.Main(tidy{m}, map[string]func(){
		"earshot": func() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) },
	})
}

// tidy removes what tests share when all have run.
type tidy struct{ m *testing.M }

// Run is testing.M's.
func (t tidy) Run() int {
	status := t.m.Run()
	for _, dir := range []string{keptDir, builtDir} {
		if dir != "" {
			os.RemoveAll(dir)
		}
	}
	return status
}

// TestScripts runs the whole program. Each script in testdata says what it is
// about in its first line.
func TestScripts(t *testing.T) {
	kept := t.TempDir()
	testscript.Run(t, testscript.Params{
		Dir:                 "testdata",
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			// One cache for all scripts: a compiled engine serves them all.
			env.Setenv("EARSHOT_CACHE", filepath.Join(kept, "cache"))
			env.Setenv("NO_COLOR", "1")
			bin, err := exec.LookPath("earshot")
			env.Setenv("BIN", filepath.Dir(bin)) // where earshot is and nothing else
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"status":  status,
			"onejson": oneJSON,
			"naughty": naughty,
			"record":  record,
		},
		Condition: func(cond string) (bool, error) {
			_, err := exec.LookPath(cond)
			return err == nil, nil
		},
	})
}
