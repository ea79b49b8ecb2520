package store

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"os"

	"earshot/internal/fault"
)

// An Identity names a recording's content without reading all of it: a digest
// of its size, its time of change, and 64 KiB each of its head, middle and
// tail. Two files that differ only elsewhere, with the same size and time, get
// the same Identity; cameras do not write such files, and nothing but derived
// data hangs on it.
type Identity string

const identityPart = 64 << 10

// Identify computes the Identity of the file at path.
func Identify(path string) (Identity, error) { return identify(path, true) }

// Fingerprint is an Identity that leaves the time of change out, so that a
// copy has its original's.
func Fingerprint(path string) (Identity, error) { return identify(path, false) }

func identify(path string, times bool) (Identity, error) {
	f, info, err := openFile(path)
	if err != nil {
		return "", unreadable(path, err)
	}
	defer f.Close()
	h := sha256.New()
	var head [16]byte
	binary.LittleEndian.PutUint64(head[:8], uint64(info.Size()))
	if times {
		binary.LittleEndian.PutUint64(head[8:], uint64(info.ModTime().UnixNano()))
	}
	h.Write(head[:])
	size := info.Size()
	for _, at := range []int64{0, max(0, size/2-identityPart/2), max(0, size-identityPart)} {
		if _, err := io.Copy(h, io.NewSectionReader(f, at, identityPart)); err != nil {
			return "", unreadable(path, err)
		}
	}
	return Identity(hex.EncodeToString(h.Sum(nil)[:16])), nil
}

// Digest is the SHA-256 of the whole file in hex.
func Digest(path string) (string, error) {
	f, _, err := openFile(path)
	if err != nil {
		return "", unreadable(path, err)
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", unreadable(path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// openFile opens a plain file: opening a pipe would wait for somebody to write
// into it.
func openFile(path string) (*os.File, os.FileInfo, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, nil, err
	case info.IsDir():
		return nil, nil, errors.New("it is a folder, not a recording")
	case !info.Mode().IsRegular():
		return nil, nil, errors.New("it is no ordinary file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, err
	}
	if info, err = f.Stat(); err != nil {
		f.Close()
		return nil, nil, err
	}
	return f, info, nil
}

func unreadable(path string, err error) error {
	return &fault.Error{Kind: fault.Unreadable, Op: "read", Subject: path, Err: fault.Cause(err),
		Hint: "check that the card or disk is still there and that you may read the file"}
}
