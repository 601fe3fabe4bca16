package rig

import (
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Zero is the place of a joint from which its travel is measured, in the terms of Positions.
type Zero struct {
	At    float64 `json:"at"`    // what Positions gives for the joint there
	Datum bool    `json:"datum"` // it is the joint's datum; otherwise only where it stood when nothing was known
}

// Standing gives every joint a zero where it stands now, as at power-up: no datum is known.
func (r Rig) Standing(counts []units.Counts) []Zero {
	zeros := make([]Zero, len(r.Joints))
	for j, position := range r.Positions(counts) {
		zeros[j].At = position
	}
	return zeros
}

// DatumFrom gives a joint's datum when the joint now stands so far from it, in its unit, as read off the machine: 0
// where it was brought to the datum itself.
func (r Rig) DatumFrom(joint int, counts []units.Counts, standsAt float64) Zero {
	return Zero{At: r.Positions(counts)[joint] - standsAt, Datum: true}
}

// FromZero gives every joint's position from its zero, in its unit.
func (r Rig) FromZero(zeros []Zero, counts []units.Counts) []float64 {
	r.mustHave(len(zeros), len(r.Joints), "zeros")
	positions := r.Positions(counts)
	for j := range positions {
		positions[j] -= zeros[j].At
	}
	return positions
}

// Bounds gives where every joint may go, in the terms of Positions: its travel where the datum is known, else what is
// free at the start either way from its zero. An endless joint has infinite bounds.
func (r Rig) Bounds(zeros []Zero) []Bound {
	r.mustHave(len(zeros), len(r.Joints), "zeros")
	bounds := make([]Bound, len(r.Joints))
	for j, joint := range r.Joints {
		within := Bound{-joint.FreeAtStart, joint.FreeAtStart}
		switch {
		case joint.Endless:
			within = Bound{math.Inf(-1), math.Inf(1)}
		case zeros[j].Datum:
			within = joint.Travel
		}
		bounds[j] = Bound{within.Least + zeros[j].At, within.Most + zeros[j].At}
	}
	return bounds
}

// Room tells how far this output alone may turn before any joint leaves its bounds, all other outputs standing: low is
// at most 0, high at least 0, infinite where nothing bounds it. Positions and bounds have one entry a joint and are
// counted from one place, as from Positions and Bounds. Where a joint is outside already, the way farther out is shut
// and the way back open.
func (r Rig) Room(axis int, positions []float64, bounds []Bound) (low, high units.Turns) {
	r.mustHave(len(positions), len(r.Joints), "positions")
	r.mustHave(len(bounds), len(r.Joints), "bounds")
	down, up := math.Inf(-1), math.Inf(1)
	for j, joint := range r.Joints {
		perTurn := joint.PerTurn[axis]
		if perTurn == 0 {
			continue
		}
		one := (bounds[j].Least - positions[j]) / perTurn
		other := (bounds[j].Most - positions[j]) / perTurn
		down, up = max(down, min(one, other)), min(up, max(one, other))
	}
	return units.Turns(min(down, 0)), units.Turns(max(up, 0))
}

// TravelLimits gives the bounds of every joint as the controller takes them: weights over the counters, and bounds on
// the weighted counts. Endless joints have none. bounds are in the terms of Positions, as from Bounds.
func (r Rig) TravelLimits(bounds []Bound) []bench.TravelLimit {
	r.mustHave(len(bounds), len(r.Joints), "bounds")
	var limits []bench.TravelLimit
	for j, form := range r.jointForms() {
		if math.IsInf(bounds[j].Least, 0) && math.IsInf(bounds[j].Most, 0) {
			continue
		}
		scale := weightScale(form)
		limits = append(limits, bench.TravelLimit{
			Weights: scaled(form, scale),
			Least:   bounds[j].Least * scale,
			Most:    bounds[j].Most * scale,
		})
	}
	return limits
}

// Controllers take weights in steps of 1/256 up to 128. With the largest weight at 1 the limit is in counts and most
// rigs' weights fall on steps; others are brought to 100, where rounding to a step is at most 2 in a hundred thousand
// of the largest weight.
const (
	weightSteps   = 256
	largestWeight = 100
)

// weightScale is what a form is multiplied by to become the weights of a limit.
func weightScale(form []float64) float64 {
	toOne := 1 / largest(form)
	for _, w := range form {
		if steps := w * toOne * weightSteps; math.Abs(steps-math.Round(steps)) > 1e-6 {
			return largestWeight * toOne
		}
	}
	return toOne
}
