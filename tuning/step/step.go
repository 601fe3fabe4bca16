// Package step finds how fast an axis answers: the tilt is sent from one pulse
// to another while the output turns, and dead time, lag and gain are fitted to
// the counts themselves, with the measured angle of the shaft as input.
//
// Both pulses of a step lie clear of the dead band and on the same side, so
// that the axis is near enough linear between them. Steps of several sizes,
// both ways and on both sides, are fitted together. Plan is pure; Run is the
// procedure; Analyse is pure.
package step

import (
	"trunnion/tuning/units"
)

// Curve is what the steps need of the fitted ratio curve.
type Curve interface {
	// Ratio is the ratio at a pulse, turning outward.
	Ratio(units.Pulse) float64
	// Inverse is the pulse that gives a ratio.
	Inverse(ratio float64) units.Pulse
}

// Planned is one step to be made.
type Planned struct {
	FromRatio, ToRatio float64
}

// isOf reports whether a step was made as planned here.
func (p Planned) isOf(t Taken) bool { return t.FromRatio == p.FromRatio && t.ToRatio == p.ToRatio }

// shares of the greatest ratio used from which and to which steps go: large and
// small, outward and inward.
var shares = [][2]float64{{0.2, 0.7}, {0.7, 0.2}, {0.35, 0.55}, {0.55, 0.35}}

// mostRatio bounds the steps: beyond it they only cost travel.
const mostRatio = 0.8

// Plan lists the steps for a measured range of ratios (least negative, most
// positive), sides in turn so that the joint comes back what it went.
func Plan(least, most float64) []Planned {
	up, down := min(most, mostRatio), max(least, -mostRatio)
	var plan []Planned
	for range repeats {
		for _, s := range shares {
			plan = append(plan, Planned{s[0] * up, s[1] * up}, Planned{s[0] * down, s[1] * down})
		}
	}
	return plan
}

// repeats of every step, for the error and for the test of one linear model.
const repeats = 2
