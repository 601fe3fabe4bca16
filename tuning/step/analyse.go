package step

import (
	"fmt"
	"math"

	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/process"
	"trunnion/tuning/units"
)

// Result of the step task.
type Result struct {
	DeadTimeS units.Estimate    `json:"dead_time_s"` // from the servo frame that carried the new pulse
	LagS      units.Estimate    `json:"lag_s"`
	Gain      units.Estimate    `json:"gain"` // 1 where the ratio curve is right
	Process   process.Result    `json:"process"`
	Taken     []Taken           `json:"taken"`
	Findings  []finding.Finding `json:"findings"`
}

// harmonics of the shaft that are taken out of a step's counts as runout: a
// step watches some seven shaft turns, enough to tell one a turn apart.
const harmonics = 1

// Analyse fits all steps together.
func Analyse(taken []Taken, curve Curve, shaft, output measure.Sensor) (Result, error) {
	steps := make([]process.Step, len(taken))
	for i, t := range taken {
		steps[i] = process.Step{
			AtS: t.At.Seconds(), FromRatio: t.FromRatio, ToRatio: t.ToRatio,
			FromPulseUs: float64(t.FromPulse), ToPulseUs: float64(t.ToPulse),
		}
		angles := measure.Angles(t.Trace, shaft)
		for k, s := range t.Trace {
			steps[i].Samples = append(steps[i].Samples, process.Sample{
				TimeS:      s.At.Seconds(),
				ShaftTurns: angles[k],
				Counts:     float64(s.Counters[output.Counter].Count),
			})
		}
	}
	fitted, err := process.Fit(steps, process.Settings{CountsPerTurn: output.PerTurn, Harmonics: harmonics})
	if err != nil {
		return Result{}, err
	}
	r := Result{DeadTimeS: fitted.DeadTime, LagS: fitted.Lag, Gain: fitted.Gain, Process: fitted, Taken: taken, Findings: []finding.Finding{}}
	if apart := spread(fitted); !fitted.OneModel.Holds && apart > tooFarApart {
		r.Findings = append(r.Findings, notLinear(fitted, apart))
	}
	return r, nil
}

// tooFarApart is the share of the answering time by which single steps may
// scatter before it needs a look. A test can always tell real steps from one
// linear model; what matters is whether gains designed for their mean suit them
// all, and a third more dead time is what a loop with Ms 1.6 bears easily.
const tooFarApart = 0.33

// spread is the standard deviation of the steps' own dead time and lag over
// their mean.
func spread(r process.Result) float64 {
	var sum, square, n float64
	for _, s := range r.Steps {
		if s.Alone == nil {
			continue
		}
		v := s.Alone.DeadTime.Value + s.Alone.Lag.Value
		sum += v
		square += v * v
		n++
	}
	if n < 2 || sum == 0 {
		return 0
	}
	mean := sum / n
	return math.Sqrt(math.Max(0, square/n-mean*mean)*n/(n-1)) / math.Abs(mean)
}

func notLinear(r process.Result, apart float64) finding.Finding {
	size := units.Estimate{Value: 100 * apart, StdErr: 100 * apart / math.Sqrt(2*math.Max(1, float64(len(r.Steps)-1)))}
	return finding.Finding{
		Name: finding.NotLinear, Weight: finding.Look,
		Evidence: fmt.Sprintf("the steps' answering times differ by %.0f %% of their mean; %s", size.Value, r.OneModel.Words),
		Size:     &size, SizeUnit: "percent",
		OneOf:  []string{"the servo is slow, so that large steps take longer", "the servo sticks or hunts about its place", "the ball slips after a change of tilt"},
		ToTell: "watch the tilt frame while a large step is made: does it move in one go?",
		Cure:   "a stiffer servo supply; oil at the pivot; more contact pressure",
	}
}
