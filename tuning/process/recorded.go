package process

import (
	"fmt"
	"math"
	"slices"

	"trunnion/tuning/lsq"
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// Model is the form of process that is fitted to recorded data.
type Model int

// The forms of models.
const (
	OneLag  Model = iota // gain, dead time, one lag
	TwoLags              // a second lag
	Ramping              // rate gain, dead time, one lag: it integrates
)

func (m Model) String() string {
	return [...]string{"one lag", "two lags", "integrating, one lag"}[m]
}

// Recorded is any record of what went in and what came out, as it comes from a file: times rising, the input held from
// each to the next.
type Recorded struct {
	TimeS, Input, Output []float64
}

// RecordedOptions say how to fit a record.
type RecordedOptions struct {
	Model Model
	// MostDeadTimeS is the longest dead time looked for; 0 is a tenth of the record.
	MostDeadTimeS float64
	// Drift fits a steady drift of the output, in an integrating model the input at which it stands.
	Drift bool
}

// RecordedResult is a fit to a record. Standard errors hold what correlation is left in the residuals.
type RecordedResult struct {
	Model    string         `json:"model"`
	Gain     units.Estimate `json:"gain"` // static, or the rate gain of an integrating model
	DeadTime units.Estimate `json:"dead_time_s"`
	Lag      units.Estimate `json:"lag_s"`
	Second   units.Estimate `json:"second_lag_s"` // 0 but for two lags
	// FitPercent is one minus the simulated model's r.m.s. error over that of the output's mean: 100 is perfect. The
	// simulation sees no output but the start that was fitted.
	FitPercent       float64 `json:"fit_percent"`
	ResidualRms      float64 `json:"residual_rms"`
	Autocorrelation  float64 `json:"residual_autocorrelation"` // between neighbours; near 1 says that the model lacks something
	DegreesOfFreedom int     `json:"degrees_of_freedom"`
	// Determined is false where the record does not tell the numbers apart; the standard errors are then +Inf.
	Determined bool      `json:"determined"`
	Simulated  []float64 `json:"-"`
}

// Process is the fitted process for a design.
func (r RecordedResult) Process() pid.Process {
	switch r.Model {
	case Ramping.String():
		return pid.Integrating{RateGain: r.Gain.Value, DeadTimeS: r.DeadTime.Value, LagS: r.Lag.Value}
	case TwoLags.String():
		return pid.SecondOrder{Gain: r.Gain.Value, TimeConstantS: r.Lag.Value, SecondS: r.Second.Value, DeadTimeS: r.DeadTime.Value}
	}
	return pid.FirstOrder{Gain: r.Gain.Value, TimeConstantS: r.Lag.Value, DeadTimeS: r.DeadTime.Value}
}

// FitRecorded fits a model to a record by least squares of the simulated output (output error). Gain, offset, start and
// drift are linear and projected out; dead time and lags are searched for on a grid and refined from the best few of it,
// since the sum of squares has a kink wherever the dead time passes a sample.
func FitRecorded(r Recorded, o RecordedOptions) (RecordedResult, error) {
	if err := r.validate(); err != nil {
		return RecordedResult{}, err
	}
	if o.Model != OneLag && o.Model != TwoLags && o.Model != Ramping {
		return RecordedResult{}, &InputError{-1, "the model must be one lag, two lags or integrating"}
	}
	f := newRecordedFit(r, o)
	best, least := []float64(nil), math.Inf(1)
	for _, start := range f.openings() {
		result, err := lsq.Fit(f.problem(), start, f.options())
		if err != nil {
			return RecordedResult{}, err
		}
		if result.ChiSquare < least {
			best, least = slices.Clone(result.Params), result.ChiSquare
		}
	}
	return f.report(best), nil
}

const leastRecorded = 20

func (r Recorded) validate() error {
	n := len(r.TimeS)
	if n < leastRecorded || len(r.Input) != n || len(r.Output) != n {
		return &InputError{-1, fmt.Sprintf("the record has %d times, %d inputs and %d outputs; all three need the same number, at least %d", n, len(r.Input), len(r.Output), leastRecorded)}
	}
	moves := false
	for i := range n {
		if v := r.TimeS[i] + r.Input[i] + r.Output[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			return &InputError{-1, fmt.Sprintf("row %d of the record is not finite", i)}
		}
		if i > 0 && !(r.TimeS[i] > r.TimeS[i-1]) {
			return &InputError{-1, fmt.Sprintf("row %d of the record is not later than the one before it", i)}
		}
		moves = moves || r.Input[i] != r.Input[0]
	}
	if !moves {
		return &InputError{-1, "the input never changes, so nothing can be learned from the record"}
	}
	return nil
}
