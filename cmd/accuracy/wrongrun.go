package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"

	"earshot/internal/scene"
)

// closestCalls is how many of them are listed.
const closestCalls = 10

// measureWrong makes -wrong heaps of each kind and tells how often the verdict
// lied.
func (o *order) measureWrong(ctx context.Context) error {
	r, err := newRig()
	if err != nil {
		return err
	}
	r.heard = append(r.rooms, boxes()...)
	var kinds []scene.Likeness
	for _, k := range scene.Likenesses() {
		if o.only.MatchString(k.String()) {
			kinds = append(kinds, k)
		}
	}
	all, err := r.wrongPairs(ctx, o.seed, o.wrong, kinds, func(kind scene.Likeness, n int) {
		fmt.Fprintf(os.Stderr, "heap %d of %s\n", n, kind)
	})
	if err != nil {
		return err
	}
	var wrong, reliable bytes.Buffer
	w := io.MultiWriter(os.Stdout, &wrong)
	wrongTable(w, all, kinds)
	fmt.Fprintln(w)
	closest(w, all, closestCalls)
	fmt.Println()
	reliability(io.MultiWriter(os.Stdout, &reliable), all)
	if o.list != "" {
		if err := writeList(o.list, all); err != nil {
			return err
		}
	}
	if o.docs == "" {
		return nil
	}
	return writeParts(o.docs, map[string]string{"wrong": wrong.String(), "reliability": reliable.String()})
}

func writeList(path string, all []meeting) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	listing(f, all)
	return f.Close()
}
