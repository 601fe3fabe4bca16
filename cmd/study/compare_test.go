package study

import (
	"math"

	"trunnion/tuning/measure"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

// compare adds the errors of an axis's edges, readings and middle curve; those of
// ratios in % of full scale.
func (s *sitting) compare(i int, r truth, edges, readings, curve *deviations) {
	axis := s.document.Axes[i]
	for _, e := range axis.DeadBand.Edges {
		at, _ := r.edge(e.Side, e.Approach, s.drift(i, session.DeadBand))
		edges.add(outward(e.Side)*(e.Pulse.Value-at), e.Pulse.StdErr)
	}
	percent := s.percent(i)
	drift := s.drift(i, session.Curve)
	for _, reading := range axis.Curve.Readings {
		if at, ok := r.at(float64(reading.Pulse)-drift, reading.Approach); ok {
			readings.add((reading.Ratio.Value-at)/percent*sign(at), reading.Ratio.StdErr/percent)
		}
	}
	model := axis.Fit.Model
	for _, p := range r.turning(float64(model.PulseLeast), float64(model.PulseMost), drift) {
		pulse, mean := units.Pulse(p.PulseMicros), (p.Outward+p.Inward)/2
		band := model.RatioBand(pulse, 0.95)
		curve.add((float64(model.Ratio(pulse))-mean)/percent*sign(mean), float64(band.High-band.Low)/2/1.96/percent)
	}
}

// percent is a hundredth of the largest ratio that was measured.
func (s *sitting) percent(i int) float64 {
	c := s.document.Axes[i].Curve
	return math.Max(-c.RatioLeast, c.RatioMost) / 100
}

// compareApproaches adds the errors of the curve of either approach. The band
// is that of the middle curve; the model claims none for the approaches.
func (s *sitting) compareApproaches(i int, r truth, out, in *deviations) {
	model, percent := s.document.Axes[i].Fit.Model, s.percent(i)
	for _, p := range r.turning(float64(model.PulseLeast), float64(model.PulseMost), s.drift(i, session.Curve)) {
		pulse := units.Pulse(p.PulseMicros)
		band := model.RatioBand(pulse, 0.95)
		claimed := float64(band.High-band.Low) / 2 / 1.96 / percent
		out.add((float64(model.RatioFrom(pulse, measure.Outward))-p.Outward)/percent*sign(p.Outward), claimed)
		in.add((float64(model.RatioFrom(pulse, measure.Inward))-p.Inward)/percent*sign(p.Inward), claimed)
	}
}

// wholeInside reports whether the true middle curve lies inside the
// simultaneous band of 95 % all along.
func (s *sitting) wholeInside(i int, r truth) bool {
	model := s.document.Axes[i].Fit.Model
	for _, p := range r.turning(float64(model.PulseLeast), float64(model.PulseMost), s.drift(i, session.Curve)) {
		mean := (p.Outward + p.Inward) / 2
		band := model.RatioBand(units.Pulse(p.PulseMicros), 0.95)
		if mean < float64(band.SimultaneousLow) || mean > float64(band.SimultaneousHigh) {
			return false
		}
	}
	return true
}
