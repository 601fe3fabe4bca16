package positioning

import "math"

// Travel is what a plan is made for.
type Travel struct {
	From, To float64 // ends of the travel that may be used, in units
	// UnitsPerMetre tells a sliding axis's unit (1000 for mm); 0 means a turning axis in degrees.
	UnitsPerMetre float64
	// PeriodUnits is the travel of one turn of the worm or screw; with it the targets stand at different places of the
	// turn, so that its error shows. 0 is unknown.
	PeriodUnits float64
}

// Move is one stop of the sequence.
type Move struct {
	Target    int     `json:"target"` // index; -1 for a turning point beyond the targets, where nothing is read
	Commanded float64 `json:"commanded_units"`
	Up        bool    `json:"from_below"`
	Run       int     `json:"run"` // from 1
}

const (
	// Runs is how many runs each way the standard asks for.
	Runs       = 5
	leastOnWay = 5
	perMetre   = 5
	edgeShare  = 0.06 // of the travel, left at either end for the turn
	aside      = 0.3  // of the spacing: how far a target may stand from an even place
	golden     = 0.6180339887498949
)

// Plan returns the targets: five at least and five a metre on a sliding axis, three, five or eight on one that turns by
// up to 90, 180 or more degrees. They are not evenly spaced: an even spacing could meet the same place of each turn of
// the worm and miss its error. The offsets follow the golden section, so that they are spread and always the same.
func Plan(t Travel) ([]float64, error) {
	span := t.To - t.From
	if !(span > 0) || math.IsInf(span, 1) || !(t.UnitsPerMetre >= 0) || !(t.PeriodUnits >= 0) {
		return nil, &ReadingsError{-1, "the travel must rise from its first to its last end, and scale and period be nought or positive"}
	}
	n := targets(t, span)
	low := t.From + edgeShare*span
	spacing := span * (1 - 2*edgeShare) / float64(n)
	out := make([]float64, n)
	for i := range out {
		phase := math.Mod(float64(i+1)*golden, 1) // 0 to 1
		even := low + (float64(i)+0.5)*spacing
		at := even + aside*spacing*(2*phase-1)
		if p := t.PeriodUnits; p > 0 && p < spacing*aside {
			at = (math.Round(at/p-phase) + phase) * p
		}
		out[i] = at
	}
	return out, nil
}

// targets is how many there are.
func targets(t Travel, span float64) int {
	if t.UnitsPerMetre > 0 {
		return max(leastOnWay, int(math.Ceil(perMetre*span/t.UnitsPerMetre)))
	}
	switch {
	case span <= 90:
		return 3
	case span <= 180:
		return 5
	}
	return 8
}

// Sequence visits the targets upward and then downward, so many runs, with turning points beyond the first and the last
// of them in the travel left for it, so that every target is approached from its own side throughout.
func Sequence(t Travel, targets []float64, runs int) []Move {
	if len(targets) == 0 {
		return nil
	}
	below, above := (t.From+targets[0])/2, (t.To+targets[len(targets)-1])/2
	var out []Move
	for run := 1; run <= runs; run++ {
		out = append(out, Move{Target: -1, Commanded: below, Run: run})
		for i, at := range targets {
			out = append(out, Move{i, at, true, run})
		}
		out = append(out, Move{Target: -1, Commanded: above, Up: true, Run: run})
		for i := len(targets) - 1; i >= 0; i-- {
			out = append(out, Move{i, targets[i], false, run})
		}
	}
	return out
}
