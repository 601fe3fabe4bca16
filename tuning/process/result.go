package process

import (
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// Result is how an axis answers. Standard errors are of one standard deviation.
type Result struct {
	// Gain is what the axis makes of a change of the wanted ratio: 1 where the ratio curve is right.
	Gain     units.Estimate `json:"gain"`
	DeadTime units.Estimate `json:"dead_time_s"`
	Lag      units.Estimate `json:"lag_s"`
	// Response is dead time and lag together: better known than either, since they trade against each other.
	Response               units.Estimate `json:"dead_time_plus_lag_s"`
	DeadTimeLagCorrelation float64        `json:"dead_time_lag_correlation"`

	Steps    []StepResult `json:"steps"`
	OneModel OneModel     `json:"one_model"`

	// ReadingNoise is the noise found on each reading, in counts (or the rates' unit); Quantisation what the step of the
	// counts alone makes; Ripple what is left of it. Wander is the random walk, in counts per root second.
	ReadingNoise float64 `json:"reading_noise_counts"`
	Quantisation float64 `json:"quantisation_counts"`
	Ripple       float64 `json:"ripple_counts"`
	Wander       float64 `json:"wander_counts_per_root_second"`
	// Autocorrelation is what is left of it between neighbouring residuals, after whitening; near 0 where the model is
	// right.
	Autocorrelation  float64 `json:"residual_autocorrelation"`
	DegreesOfFreedom int     `json:"degrees_of_freedom"`

	correlation [parameters][parameters]float64 // of gain, dead time and lag; nought where the result was read from a record
}

// StepResult is what one step says.
type StepResult struct {
	FromRatio    float64        `json:"from_ratio"`
	ToRatio      float64        `json:"to_ratio"`
	Outward      bool           `json:"outward"` // away from the dead band
	InitialRatio units.Estimate `json:"initial_ratio"`
	ResidualRms  float64        `json:"residual_rms_counts"`
	Alone        *Alone         `json:"alone,omitempty"` // the step fitted by itself; absent where it does not suffice
}

// Alone is the fit of one step by itself.
type Alone struct {
	Gain     units.Estimate `json:"gain"`
	DeadTime units.Estimate `json:"dead_time_s"`
	Lag      units.Estimate `json:"lag_s"`
}

// Position is the axis as the position loop sees it: ratio in, position out. unitsPerTurn is how many of the position's
// units an output turn makes; dead time and lag below 0 count as 0. What the controller adds (pid.LoopDelay) is not in it.
func (r Result) Position(shaftTurnsPerSecond, unitsPerTurn float64) pid.Integrating {
	return pid.Integrating{
		RateGain:  r.Gain.Value * shaftTurnsPerSecond * unitsPerTurn,
		LagS:      max(0, r.Lag.Value),
		DeadTimeS: max(0, r.DeadTime.Value),
	}
}

// Speed is the axis as a speed loop sees it: ratio in, speed out.
func (r Result) Speed(shaftTurnsPerSecond, unitsPerTurn float64) pid.FirstOrder {
	return pid.FirstOrder{
		Gain:          r.Gain.Value * shaftTurnsPerSecond * unitsPerTurn,
		TimeConstantS: max(0, r.Lag.Value),
		DeadTimeS:     max(0, r.DeadTime.Value),
	}
}
