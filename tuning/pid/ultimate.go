package pid

import "math"

// UltimatePoint is where a process under proportional control begins to hunt: at that gain, with that period.
type UltimatePoint struct {
	Gain    float64
	PeriodS float64
}

// Ultimate returns the ultimate point of a process: the phase crossing that the least gain brings to the edge.
func Ultimate(p Process) (UltimatePoint, error) {
	if err := p.Validate(); err != nil {
		return UltimatePoint{}, err
	}
	m, err := MarginsOf(p.Transfer())
	if err != nil {
		return UltimatePoint{}, err
	}
	best := UltimatePoint{Gain: math.Inf(1)}
	for _, c := range m.PhaseCrossings {
		if c.GainMargin < best.Gain && c.Frequency > 0 {
			best = UltimatePoint{c.GainMargin, 2 * math.Pi / c.Frequency}
		}
	}
	if math.IsInf(best.Gain, 1) {
		return UltimatePoint{}, &ModelError{"proportional control of this model never hunts, whatever the gain"}
	}
	return best, nil
}
