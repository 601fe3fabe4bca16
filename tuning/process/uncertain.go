package process

import (
	"math"

	"trunnion/tuning/pid"
)

// Uncertain is the axis as the position loop sees it, with what the fit leaves open: as Position, delayed by what the
// controller adds, and with the covariance of rate gain, dead time and lag. Where the result was read from a record,
// which keeps the correlation of dead time and lag only, the gain counts as independent of both.
func (r Result) Uncertain(shaftTurnsPerSecond, unitsPerTurn, loopDelayS float64) pid.Uncertain {
	p := r.Position(shaftTurnsPerSecond, unitsPerTurn)
	u := pid.Uncertain{Integrates: true, Gain: p.RateGain, DeadTimeS: p.DeadTimeS + loopDelayS, LagS: p.LagS}
	sigma := [parameters]float64{r.Gain.StdErr, r.DeadTime.StdErr, r.Lag.StdErr}
	correlation := r.correlation
	if correlation == [parameters][parameters]float64{} {
		correlation = [parameters][parameters]float64{{1, 0, 0}, {0, 1, r.DeadTimeLagCorrelation}, {0, r.DeadTimeLagCorrelation, 1}}
	}
	scale := [parameters]float64{shaftTurnsPerSecond * unitsPerTurn, 1, 1}
	for a := range parameters {
		for b := range parameters {
			u.Covariance[a][b] = correlation[a][b] * sigma[a] * scale[a] * sigma[b] * scale[b]
		}
	}
	return u
}

// correlations are those of a solution's parameters; of one that was not fitted there is none.
func (s *solution) correlations() (out [parameters][parameters]float64) {
	c := &s.covariance
	for _, a := range s.free {
		for _, b := range s.free {
			out[a][b] = c[a][b] / math.Sqrt(c[a][a]*c[b][b])
		}
	}
	return out
}
