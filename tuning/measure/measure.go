// Package measure turns traces of counts into readings: the ratio of an axis
// with its standard error, whether it was settled, whether it turned at all.
//
// Functions are pure. A ratio is found by regressing the output's angle on the
// shaft's angle, not on time, so that the motor's speed drops out; sines and
// cosines of one, two and three per shaft turn stand beside the slope, since a
// plain slope over whole turns does not cancel a ripple. Both angles are taken
// at the output's edges, where its count is exact; the shaft's angle there is
// interpolated between the shaft's own edges.
package measure

import (
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Sensor says which counter measures a shaft, and its counts a turn.
type Sensor struct {
	Counter int
	PerTurn float64
}

// Approach says from which side the tilt came to its pulse.
type Approach string

// Outward is away from the dead band, Inward towards it.
const (
	Outward Approach = "outward"
	Inward  Approach = "inward"
)

// Reading is one measured ratio.
type Reading struct {
	Pulse       units.Pulse    `json:"pulse_us"`
	Approach    Approach       `json:"approach"`
	From        units.Instant  `json:"from_us"`
	To          units.Instant  `json:"to_us"`
	Ratio       units.Estimate `json:"ratio"`
	Trend       units.Estimate `json:"trend"` // change of the ratio from start to end of the window
	Ripple      float64        `json:"ripple_turns"`
	ShaftRPM    float64        `json:"shaft_rpm"`
	ShaftTurns  float64        `json:"shaft_turns"`
	OutputTurns float64        `json:"output_turns"`
	Edges       int            `json:"edges"` // of the output, that the reading rests on
}

// settledSigmas is how many standard errors a trend within the window may have
// before the reading counts as still changing; trendShare is a trend too small
// to matter whatever its significance.
const (
	settledSigmas = 3.0
	trendShare    = 0.004
)

// Settled reports whether the ratio was steady over the window: its trend is
// within three standard errors of nought, or below 0.4 % of the ratio.
func (r Reading) Settled() bool {
	return math.Abs(r.Trend.Value) <= math.Max(settledSigmas*r.Trend.StdErr, trendShare*math.Abs(r.Ratio.Value))
}

// Take makes a reading of a trace during which the pulse was not changed. The
// pulse and approach are the caller's to fill in. A trace in which the shaft
// did not turn gives a ratio of nought with an infinite error.
func Take(trace bench.Trace, shaft, output Sensor) Reading {
	r := Reading{Ratio: units.Estimate{StdErr: math.Inf(1)}, Trend: units.Estimate{StdErr: math.Inf(1)}}
	if len(trace) < 2 {
		return r
	}
	r.From, r.To = trace[0].At, trace.Last().At
	r.ShaftTurns = float64(trace.Delta(shaft.Counter)) / shaft.PerTurn
	r.OutputTurns = float64(trace.Delta(output.Counter)) / output.PerTurn
	if s := trace.Seconds(); s > 0 {
		r.ShaftRPM = 60 * r.ShaftTurns / s
	}
	if math.Abs(r.ShaftTurns)*shaft.PerTurn < 2 {
		return r
	}
	points := pair(edges(trace, output), edges(trace, shaft))
	r.Edges = len(points)
	if len(points) < leastEdges {
		return few(r, output)
	}
	return regress(r, points, output)
}

// leastEdges is the fewest output edges worth a regression.
const leastEdges = 8

// few is the reading of an output that hardly turned: whole counts over the
// shaft's turns, with the error that rounding at both ends leaves.
func few(r Reading, output Sensor) Reading {
	r.Ratio.Value = r.OutputTurns / r.ShaftTurns
	r.Ratio.StdErr = math.Sqrt(1.0/6) / output.PerTurn / math.Abs(r.ShaftTurns)
	r.Trend = units.Estimate{StdErr: r.Ratio.StdErr * 2}
	return r
}

// Speed is the turning speed of a sensor's shaft over a trace, in turns a
// second, with its standard error from the whole counts at both ends.
func Speed(trace bench.Trace, s Sensor) units.Estimate {
	seconds := trace.Seconds()
	if seconds <= 0 {
		return units.Estimate{StdErr: math.Inf(1)}
	}
	return units.Estimate{
		Value:  float64(trace.Delta(s.Counter)) / s.PerTurn / seconds,
		StdErr: math.Sqrt(1.0/6) / s.PerTurn / seconds,
	}
}
