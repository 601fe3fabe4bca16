package overview

import (
	"fmt"

	"trunnion/tui/feed"
	"trunnion/tuning/session"
)

// known is what a result says, in one sentence.
func known(a *feed.Axis, task session.Task) string {
	switch r := &a.Result; task {
	case session.Check:
		way := "up"
		if r.Check.CountsAbove < 0 {
			way = "down"
		}
		return fmt.Sprintf("shaft %v rpm; turns below %.0f and above %.0f us; %.0f to %.0f us may be used; longer pulses count %s",
			r.Check.ShaftSpeed, float64(r.Check.RoughBelow), float64(r.Check.RoughAbove), float64(r.Check.PulseLeast), float64(r.Check.PulseMost), way)
	case session.DeadBand:
		return fmt.Sprintf("%v us wide; neutral %v, %.0f standard deviations from turning; hysteresis %v above, %v below",
			r.DeadBand.Width, r.DeadBand.Neutral, r.DeadBand.Safety, r.DeadBand.HysteresisAbove, r.DeadBand.HysteresisBelow)
	case session.Curve:
		text := fmt.Sprintf("%d readings, ratio %+.3f to %+.3f", len(r.Curve.Readings), r.Curve.RatioLeast, r.Curve.RatioMost)
		if n := len(r.Curve.Unreached); n > 0 {
			text += fmt.Sprintf("; the joint had no room for %d more", n)
		}
		return text
	case session.Fit:
		return fmt.Sprintf("%s, off by %.2f %% of full scale; inverse table of %d points good to %.2f us",
			lawWords(r.Fit.Model.Law), r.Fit.FitError, len(r.Fit.Table.Points), r.Fit.Table.WorstErrorUs)
	case session.Step:
		return fmt.Sprintf("dead time %v ms, lag %v ms, gain %v of the curve's", scaled(r.Step.DeadTimeS, 1000), scaled(r.Step.LagS, 1000), r.Step.Gain)
	case session.Gains:
		m := r.Gains.Margins
		return fmt.Sprintf("%s, Ms %.2f: gain margin %.1f, phase margin %.0f deg, delay margin %.0f ms; hold zone %.0f counts",
			r.Gains.Kind, m.Ms, m.GainMargin, m.PhaseMarginDeg, 1000*m.DelayMarginS, r.Gains.HoldZone)
	case session.Prove:
		verdict := "within"
		if !r.Prove.Passed {
			verdict = "not within"
		}
		return fmt.Sprintf("settled error %v %s, %.3f at worst over %d steps: %s the %.3g asked for",
			r.Prove.SettledError, r.Prove.Unit, r.Prove.WorstError, len(r.Prove.Steps), verdict, r.Prove.Tolerance)
	}
	return ""
}
