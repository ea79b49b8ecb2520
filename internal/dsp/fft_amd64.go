package dsp

import "golang.org/x/sys/cpu"

// wide tells whether this processor works on two complex values at a time.
var wide = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// stepWide is halfFFT.step, for q quarters of runs of s values, s even.
//
//go:noescape
func stepWide(x, y, root *complex128, q, s int)

// firstWide is halfFFT.first, for q quarters, q even.
//
//go:noescape
func firstWide(x, y, root *complex128, q int)

// untangleWide makes the transform dst of 2m real values out of that of m complex
// ones, z, all but its ends: see halfFFT. Where mirror is all ones, it is given
// conjugates. m is a multiple of four.
//
//go:noescape
func untangleWide(dst, z, turn *complex128, m int, scale float64, mirror uint64)

// conjWide puts the conjugates of m values into dst, m a multiple of four.
//
//go:noescape
func conjWide(dst, z *complex128, m int)
