// Package check is the first task at the bench: does the axis move at all,
// which way, how fast does the shaft turn, where roughly is the dead band, and
// how far may the servo go.
//
// It is written for the first power-up, when no neutral, no direction and no
// zero is known: the band is found by short bursts of drive under a count
// guard, and only then does the drive run on. Run is the procedure; the
// decisions are pure functions.
package check

import (
	"fmt"
	"math"

	"trunnion/tuning/finding"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// Result of a check.
type Result struct {
	ShaftSpeed  units.Estimate    `json:"shaft_rpm"`
	StillPulse  units.Pulse       `json:"still_pulse_us"` // the first pulse found that holds the output still
	RoughAbove  units.Pulse       `json:"rough_above_us"` // first pulse above that turned, to a step of the jog
	RoughBelow  units.Pulse       `json:"rough_below_us"`
	Neutral     units.Pulse       `json:"neutral_us"`   // rough, between the two
	CountsAbove int               `json:"counts_above"` // +1 or -1: how the counter goes on the side of longer pulses
	PulseLeast  units.Pulse       `json:"pulse_least_us"`
	PulseMost   units.Pulse       `json:"pulse_most_us"`
	WhyLeast    string            `json:"why_least"` // what ended the jog downward
	WhyMost     string            `json:"why_most"`
	Jog         []Jog             `json:"jog"`
	Bursts      []Burst           `json:"bursts"`
	Known       moves.Known       `json:"known"`
	Findings    []finding.Finding `json:"findings"`
}

// Jog is one quick look at the ratio while the pulse limits are felt out.
type Jog struct {
	Pulse units.Pulse    `json:"pulse_us"`
	Ratio units.Estimate `json:"ratio"`
}

// Burst is one short run of the drive under guard.
type Burst struct {
	Pulse       units.Pulse `json:"pulse_us"`
	OutputTurns float64     `json:"output_turns"`
	ShaftTurns  float64     `json:"shaft_turns"`
	Guarded     bool        `json:"guarded"` // the guard ended it
}

// ratio of the burst; the whole run from rest to rest counts on both sides, so
// that spinning up and running down cancel.
func (b Burst) ratio() float64 { return b.OutputTurns / b.ShaftTurns }

// still reports whether the output stood: less than leastRatio of the shaft's
// turns, or less than three counts.
func (b Burst) still(perTurn float64) bool {
	return math.Abs(b.OutputTurns) < math.Max(3/perTurn, leastRatio*math.Abs(b.ShaftTurns))
}

func (b Burst) String() string {
	s := fmt.Sprintf("burst at %v: output %+.3f turns in %.1f shaft turns", b.Pulse, b.OutputTurns, b.ShaftTurns)
	if b.Guarded {
		s += ", cut by the guard"
	}
	return s
}

// leastRatio is the slowest turning that counts as turning.
const leastRatio = 0.003

// nextBurst places the next burst of the hunt for a pulse at which the output
// stands still, from the bursts so far, none of which stood still. The ratio
// rises or falls with the pulse all along, so that two bursts tell which way is
// less, and two of opposite sign hold the band between them. It reports false
// when the way leads out of the limits.
func nextBurst(bursts []Burst, least, most units.Pulse) (units.Pulse, bool) {
	const step = 25 // us; narrower than any dead band worth having
	last := bursts[len(bursts)-1]
	if len(bursts) == 1 {
		return last.Pulse + step, last.Pulse+step <= most
	}
	if a, b, ok := bracket(bursts); ok {
		if middle := ((a + b) / 2).Rounded(); b-a > 2 {
			return middle, true
		}
		return 0, false // it turns both ways with no still pulse between
	}
	best, other := bursts[0], bursts[1]
	for _, b := range bursts {
		if math.Abs(b.ratio()) < math.Abs(best.ratio()) {
			best = b
		}
	}
	for _, b := range bursts {
		if b.Pulse != best.Pulse {
			other = b
		}
	}
	next := best.Pulse + step
	if best.Pulse < other.Pulse {
		next = best.Pulse - step
	}
	return next, next >= least && next <= most
}

// bracket is the closest pair of pulses that turn the output in opposite
// directions.
func bracket(bursts []Burst) (low, high units.Pulse, ok bool) {
	gap := units.Pulse(math.Inf(1))
	for _, a := range bursts {
		for _, b := range bursts {
			if a.Pulse < b.Pulse && a.ratio()*b.ratio() < 0 && b.Pulse-a.Pulse < gap {
				low, high, gap, ok = a.Pulse, b.Pulse, b.Pulse-a.Pulse, true
			}
		}
	}
	return low, high, ok
}

// stalled reports whether the ratio has ceased to grow with the pulse: over the
// last step its slope is less than a quarter of the mean slope before, and the
// step is long enough for its reading to tell. A servo at its stop looks like
// that.
func stalled(side []Jog) bool {
	n := len(side)
	if n < 4 {
		return false
	}
	slope := func(a, b Jog) float64 {
		return (math.Abs(b.Ratio.Value) - math.Abs(a.Ratio.Value)) / math.Abs(float64(b.Pulse-a.Pulse))
	}
	last, before := slope(side[n-2], side[n-1]), slope(side[0], side[n-2])
	noise := math.Hypot(side[n-1].Ratio.StdErr, side[n-2].Ratio.StdErr) / math.Abs(float64(side[n-1].Pulse-side[n-2].Pulse))
	return before > 0 && last < before/4 && noise < before/4
}
