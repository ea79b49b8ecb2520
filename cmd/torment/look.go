package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"
)

// A picture of a folder: for every file below it, by its path from there, all
// that must not change.
type picture map[string]state

type state struct {
	size     int64
	mode     fs.FileMode
	modified time.Time
	sum      string // SHA-256
}

// look takes a picture of dir. A folder that is not there is empty.
func look(dir string) (picture, error) {
	p := picture{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		content, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(content)
		rel, err := filepath.Rel(dir, path)
		p[rel] = state{info.Size(), info.Mode(), info.ModTime(), hex.EncodeToString(sum[:])}
		return err
	})
	if os.IsNotExist(err) {
		err = nil
	}
	return p, err
}

// unchanged compares two pictures of the originals.
func (r *rig) unchanged(when string, before, after picture) {
	for name, b := range before {
		a, ok := after[name]
		if !ok {
			r.wrong("%s: the original %s is gone", when, name)
		} else if a != b {
			r.wrong("%s: the original %s was %v and is %v", when, name, b, a)
		}
	}
	for name := range after {
		if _, ok := before[name]; !ok {
			r.wrong("%s: %s stands beside the originals", when, name)
		}
	}
}

// marked lists the processes that carry a mark in their environment. It knows
// only Linux; elsewhere there are none.
func marked(mark string) []int {
	entries, _ := filepath.Glob("/proc/[0-9]*/environ")
	var pids []int
	for _, e := range entries {
		env, err := os.ReadFile(e)
		if err != nil || !bytes.Contains(env, []byte(mark+"\x00")) {
			continue
		}
		if pid, err := strconv.Atoi(strings.Split(e, "/")[2]); err == nil {
			pids = append(pids, pid)
		}
	}
	return pids
}

// gone waits until no process carries the mark, and returns how long that
// took; false when some still run after most.
func gone(mark string, most time.Duration) (time.Duration, bool) {
	begin := time.Now()
	for {
		if len(marked(mark)) == 0 {
			return time.Since(begin), true
		}
		if time.Since(begin) > most {
			return time.Since(begin), false
		}
		time.Sleep(20 * time.Millisecond)
	}
}
