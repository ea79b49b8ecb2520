//go:build race

package app

// racing tells that the race detector runs, ten times as slow: tests that
// differ in numbers alone then run one of each kind.
const racing = true
