// Package study judges a whole calibration by the truth. Its tests run the
// real session on the virtual rig, over many seeds, and compare what it says
// with what the machine itself says under an exhaustive scan: the edges of the
// dead band, the ratio curve, the claimed errors of both, where the joints went
// on the way, where the proving steps really ended, and how long it all took.
//
// It has no code of its own to call. The tests print their tables with
// "go test -v ./cmd/study"; TRUNNION_LONG=1 runs 20 seeds instead of a few.
// What they assert are bounds that a change for the worse would break, not the
// figures of the day.
package study
