package positioning

import (
	"fmt"
	"math"

	"trunnion/tuning/units"
)

// Target is a commanded position with the positions reached, in the order of the runs.
type Target struct {
	Commanded float64   `json:"commanded_units"`
	Up        []float64 `json:"reached_from_below_units"`
	Down      []float64 `json:"reached_from_above_units"`
}

// OneWay is what a target shows from one side. Deviations are reached less commanded.
type OneWay struct {
	Runs          int            `json:"runs"`
	Mean          units.Estimate `json:"mean_deviation_units"`
	Deviation     units.Estimate `json:"standard_deviation_units"` // s, with n - 1
	Repeatability units.Estimate `json:"repeatability_units"`      // 4 s
}

// AtTarget is what one target shows.
type AtTarget struct {
	Commanded     float64        `json:"commanded_units"`
	Up            OneWay         `json:"from_below"`
	Down          OneWay         `json:"from_above"`
	Reversal      units.Estimate `json:"reversal_units"`                // B_i, from below less from above
	Mean          units.Estimate `json:"mean_both_ways_units"`          // of the two means
	Repeatability units.Estimate `json:"repeatability_both_ways_units"` // R_i
}

// Axis are the results over all targets in one direction.
type Axis struct {
	Repeatability units.Estimate `json:"repeatability_units"`    // R: the greatest of the targets
	Systematic    units.Estimate `json:"systematic_error_units"` // E: range of the means
	Accuracy      units.Estimate `json:"accuracy_units"`         // A: from the least mean - 2 s to the greatest mean + 2 s
}

// Result is the evaluation.
type Result struct {
	Targets      []AtTarget     `json:"targets"`
	Up           Axis           `json:"from_below"`
	Down         Axis           `json:"from_above"`
	Both         Axis           `json:"both_ways"`
	Reversal     units.Estimate `json:"reversal_units"`      // B: greatest |B_i|
	MeanReversal units.Estimate `json:"mean_reversal_units"` // mean of the B_i with their signs
	MeanRange    units.Estimate `json:"mean_bidirectional_range_units"`
	// WorstTarget is the index of the target with the greatest repeatability both ways, where to look first.
	WorstTarget int `json:"worst_target"`
}

// ReadingsError says which readings cannot be evaluated.
type ReadingsError struct {
	Target int // from 0; -1 where it is all of them
	Reason string
}

func (e *ReadingsError) Error() string {
	if e.Target < 0 {
		return "positioning: " + e.Reason
	}
	return fmt.Sprintf("positioning: target %d: %s", e.Target+1, e.Reason)
}

const leastRuns = 2

// Evaluate computes all results. Each target needs at least two readings from either side; the standard asks for five.
func Evaluate(targets []Target) (Result, error) {
	if len(targets) < 2 {
		return Result{}, &ReadingsError{-1, "it needs two targets or more"}
	}
	r := Result{}
	for i, t := range targets {
		if err := t.validate(); err != nil {
			return Result{}, &ReadingsError{i, err.Error()}
		}
		r.Targets = append(r.Targets, t.evaluate())
	}
	r.reversal()
	up, down := r.limits(func(a AtTarget) []OneWay { return []OneWay{a.Up} }), r.limits(func(a AtTarget) []OneWay { return []OneWay{a.Down} })
	both := r.limits(func(a AtTarget) []OneWay { return []OneWay{a.Up, a.Down} })
	r.Up, r.Down, r.Both = up.axis(), down.axis(), both.axis()
	r.Up.Repeatability, _ = r.greatest(func(a AtTarget) units.Estimate { return a.Up.Repeatability })
	r.Down.Repeatability, _ = r.greatest(func(a AtTarget) units.Estimate { return a.Down.Repeatability })
	r.Both.Repeatability, r.WorstTarget = r.greatest(func(a AtTarget) units.Estimate { return a.Repeatability })
	return r, nil
}

// badReading is a target's own reason.
type badReading string

func (e badReading) Error() string { return string(e) }

func (t Target) validate() error {
	for _, list := range [][]float64{{t.Commanded}, t.Up, t.Down} {
		for _, v := range list {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return badReading("a position is not finite")
			}
		}
	}
	if len(t.Up) < leastRuns || len(t.Down) < leastRuns {
		return badReading(fmt.Sprintf("it has %d readings from below and %d from above; at least %d each are needed", len(t.Up), len(t.Down), leastRuns))
	}
	return nil
}

func (t Target) evaluate() AtTarget {
	a := AtTarget{Commanded: t.Commanded, Up: oneWay(t.Up, t.Commanded), Down: oneWay(t.Down, t.Commanded)}
	meanError := math.Hypot(a.Up.Mean.StdErr, a.Down.Mean.StdErr)
	a.Reversal = units.Estimate{Value: a.Up.Mean.Value - a.Down.Mean.Value, StdErr: meanError}
	a.Mean = units.Estimate{Value: (a.Up.Mean.Value + a.Down.Mean.Value) / 2, StdErr: meanError / 2}
	a.Repeatability = units.Estimate{
		Value:  2*a.Up.Deviation.Value + 2*a.Down.Deviation.Value + math.Abs(a.Reversal.Value),
		StdErr: math.Sqrt(4*square(a.Up.Deviation.StdErr) + 4*square(a.Down.Deviation.StdErr) + square(meanError)),
	}
	for _, one := range []OneWay{a.Up, a.Down} {
		if one.Repeatability.Value > a.Repeatability.Value {
			a.Repeatability = one.Repeatability
		}
	}
	return a
}

func square(x float64) float64 { return x * x }

func oneWay(reached []float64, commanded float64) OneWay {
	n := float64(len(reached))
	mean := 0.0
	for _, v := range reached {
		mean += (v - commanded) / n
	}
	squares := 0.0
	for _, v := range reached {
		squares += square(v - commanded - mean)
	}
	s := math.Sqrt(squares / (n - 1))
	wide := s / math.Sqrt(2*(n-1))
	return OneWay{
		Runs: len(reached), Mean: units.Estimate{Value: mean, StdErr: s / math.Sqrt(n)},
		Deviation:     units.Estimate{Value: s, StdErr: wide},
		Repeatability: units.Estimate{Value: 4 * s, StdErr: 4 * wide},
	}
}

// reversal fills in B, its mean, and the range of the means both ways.
func (r *Result) reversal() {
	m := float64(len(r.Targets))
	var sum, squares float64
	low, high := r.Targets[0].Mean, r.Targets[0].Mean
	for _, a := range r.Targets {
		if math.Abs(a.Reversal.Value) > r.Reversal.Value {
			r.Reversal = units.Estimate{Value: math.Abs(a.Reversal.Value), StdErr: a.Reversal.StdErr}
		}
		sum += a.Reversal.Value / m
		squares += square(a.Reversal.StdErr)
		if a.Mean.Value < low.Value {
			low = a.Mean
		}
		if a.Mean.Value > high.Value {
			high = a.Mean
		}
	}
	r.MeanReversal = units.Estimate{Value: sum, StdErr: math.Sqrt(squares) / m}
	r.MeanRange = difference(high, low)
}

// difference is a less b, b being of other readings.
func difference(a, b units.Estimate) units.Estimate {
	return units.Estimate{Value: a.Value - b.Value, StdErr: math.Hypot(a.StdErr, b.StdErr)}
}

func (r *Result) greatest(of func(AtTarget) units.Estimate) (most units.Estimate, at int) {
	for i, a := range r.Targets {
		if v := of(a); i == 0 || v.Value > most.Value {
			most, at = v, i
		}
	}
	return most, at
}

// limits are the extremes of means, and of means with two standard deviations added or taken off.
type limits struct{ lowMean, highMean, low, high units.Estimate }

func (r *Result) limits(of func(AtTarget) []OneWay) limits {
	var l limits
	first := true
	for _, a := range r.Targets {
		for _, one := range of(a) {
			wide := math.Sqrt(square(one.Mean.StdErr) + 4*square(one.Deviation.StdErr))
			low := units.Estimate{Value: one.Mean.Value - 2*one.Deviation.Value, StdErr: wide}
			high := units.Estimate{Value: one.Mean.Value + 2*one.Deviation.Value, StdErr: wide}
			if first || one.Mean.Value < l.lowMean.Value {
				l.lowMean = one.Mean
			}
			if first || one.Mean.Value > l.highMean.Value {
				l.highMean = one.Mean
			}
			if first || low.Value < l.low.Value {
				l.low = low
			}
			if first || high.Value > l.high.Value {
				l.high = high
			}
			first = false
		}
	}
	return l
}

func (l limits) axis() Axis {
	return Axis{Systematic: difference(l.highMean, l.lowMean), Accuracy: difference(l.high, l.low)}
}
