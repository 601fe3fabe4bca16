package session

import (
	"fmt"
	"math"

	"trunnion/tuning/calibration"
	"trunnion/tuning/check"
	"trunnion/tuning/curve"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/proving"
	"trunnion/tuning/step"
	"trunnion/tuning/units"
)

// The summaries below are what the person reads of a result, in one line.

func summariseCheck(r check.Result) string {
	direction := "longer pulses count up"
	if r.CountsAbove < 0 {
		direction = "longer pulses count down"
	}
	return fmt.Sprintf("shaft %v rpm; dead band about %v to %v; pulses %v to %v; %s", r.ShaftSpeed, r.RoughBelow, r.RoughAbove, r.PulseLeast, r.PulseMost, direction)
}

func summariseDeadBand(r deadband.Result) string {
	text := ""
	for _, e := range r.Edges {
		text += fmt.Sprintf("%s %s %v; ", e.Side, e.Approach, e.Pulse)
	}
	return fmt.Sprintf("edges in us: %sneutral %v, safe by %.0f standard deviations", text, r.Neutral, r.Safety)
}

func summariseCurve(r curve.Result) string {
	return fmt.Sprintf("%d readings, ratio %+.3f to %+.3f", len(r.Readings), r.RatioLeast, r.RatioMost)
}

func summariseFit(f calibration.Fit) string {
	return fmt.Sprintf("law %s, error %.2f %% of full scale; table of %d points good to %.2f us; %s",
		f.Model.Law, f.FitError, len(f.Table.Points), f.Table.WorstErrorUs, f.Model.Verdict)
}

func summariseStep(r step.Result) string {
	return fmt.Sprintf("dead time %v ms, lag %v ms, gain %v of the curve's", milli(r.DeadTimeS), milli(r.LagS), r.Gain)
}

func milli(e units.Estimate) units.Estimate {
	return units.Estimate{Value: 1000 * e.Value, StdErr: 1000 * e.StdErr}
}

func (s *Session) summariseGains(axis int) func(gains.Result) string {
	return func(r gains.Result) string {
		unit, perCount, _ := s.joint(axis)
		k := 1 / math.Abs(perCount) // counts a unit of joint
		return fmt.Sprintf("%s of %s: Kp %.4g, Ki %.4g, Kd %.4g (ratio per %s); Ms %.2f, gain margin %.1f, phase margin %.0f deg, delay margin %.0f ms; hold zone %.3f %s",
			r.Kind, r.Rule, r.Law.Gains.Kp*k, r.Law.Gains.Ki*k, r.Law.Gains.Kd*k, unit, r.Margins.Ms, r.Margins.GainMargin, r.Margins.PhaseMarginDeg,
			1000*r.Margins.DelayMarginS, r.HoldZone/k, unit)
	}
}

func summariseProve(r proving.Result) string {
	verdict := "within"
	if !r.Passed {
		verdict = "not within"
	}
	return fmt.Sprintf("settled error %.3f %s mean, %.3f at worst over %d steps, %s the %.3f asked for", r.SettledError.Value, r.Unit, r.WorstError, len(r.Steps), verdict, r.Tolerance)
}

// fitFindings says where the curve needs a look: a law that the readings refute
// matters only where it foretells them worse than was asked for.
func fitFindings(f calibration.Fit, accuracy float64) []finding.Finding {
	if !f.Model.Refuted || f.FitError <= accuracy {
		return []finding.Finding{}
	}
	return []finding.Finding{{
		Name: finding.PoorFit, Weight: finding.Look,
		Evidence: f.Model.Verdict,
		OneOf:    []string{"contact loss in part of the ball's turn", "slip at the larger ratios", "the linkage bends or plays", "a variator of another form than the rig file says"},
		ToTell:   "look at the readings farthest from the curve: all on one side of it, or scattered?",
		Cure:     "scattered: more pressure at the contacts, clean wheels; all on one side: the free-form curve serves as it is",
	}}
}
