// Package curve measures which ratio each pulse gives: readings on both sides
// of the dead band, from both approaches, in an order that spreads drift and
// keeps the joint near the middle of its room.
//
// Place is pure and says where the readings go; Run takes them. Fitting a law
// to them is the next task, in package variator.
package curve

import (
	"math"
	"slices"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Result of the curve task.
type Result struct {
	Readings      []measure.Reading `json:"readings"`
	RatioLeast    float64           `json:"ratio_least"` // measured range
	RatioMost     float64           `json:"ratio_most"`
	Unreached     []units.Pulse     `json:"unreached_us"`     // pulses that the joint had no room to measure
	Repeatability units.Estimate    `json:"repeatability_us"` // of the tilt, standard deviation from visit to visit
}

// Place is one reading to be taken.
type Place struct {
	Pulse    units.Pulse
	Approach measure.Approach
}

// isOf reports whether a reading was taken at this place.
func (p Place) isOf(r measure.Reading) bool { return r.Pulse == p.Pulse && r.Approach == p.Approach }

// Span is one side of the curve: from the edge outward to the pulse limit.
type Span struct {
	Edge, Limit units.Pulse
}

// shares of the way from the edge to the limit at which readings are taken:
// closer near the edge, where onset and friction bend the curve, and at both
// ends, which fix a law's slope and curvature.
var shares = []float64{0, 0.05, 0.12, 0.25, 0.4, 0.55, 0.7, 0.85, 1}

// replicated are the shares that are read again, from inside and from outside:
// a third of the places, spread, for the lack-of-fit test.
var replicated = []float64{0.05, 0.4, 0.85}

// clearOfEdge is how far outside its edge the innermost reading lies, us: the
// edge itself is blurred by runout and repeatability, and right beside it the
// ratio comes up more steeply than any law says, since the contact is still
// partly on the ball's cap.
const clearOfEdge = 12.0

// Plan lists the readings of both sides in bench order. Sides alternate, so
// that the joint comes back what it went, and along each side the places jump
// to and fro, so that a drift does not look like a bend.
func Plan(above, below Span) []Place {
	a, b := onSide(above), onSide(below)
	var plan []Place
	for i := range a {
		plan = append(plan, a[i], b[i])
	}
	return plan
}

// onSide lists the readings of one side.
func onSide(s Span) []Place {
	at := func(share float64) units.Pulse {
		inner := float64(s.Edge) + math.Copysign(clearOfEdge, float64(s.Limit-s.Edge))
		return units.Pulse(inner + share*(float64(s.Limit)-inner)).Rounded()
	}
	var list []Place
	for _, share := range spreadOut(shares) {
		list = append(list, Place{at(share), measure.Outward})
	}
	for _, share := range replicated {
		list = append(list, Place{at(share), measure.Inward})
	}
	for _, share := range spreadOut(replicated) {
		list = append(list, Place{at(share), measure.Outward})
	}
	for _, share := range []float64{0.25, 0.7} {
		list = append(list, Place{at(share), measure.Inward})
	}
	return list
}

// spreadOut reorders so that neighbours in the list stand apart on the curve:
// every third, then the next ones.
func spreadOut(values []float64) []float64 {
	var out []float64
	for start := range 3 {
		for i := start; i < len(values); i += 3 {
			out = append(out, values[i])
		}
	}
	return out
}

// Guess is a rough ratio at a pulse, by straight lines through earlier quick
// readings, for planning travel only.
type Guess struct {
	pulses []float64
	ratios []float64
}

// NewGuess makes a guess from pulses and ratios in any order.
func NewGuess(points map[units.Pulse]float64) Guess {
	var g Guess
	for p := range points {
		g.pulses = append(g.pulses, float64(p))
	}
	slices.Sort(g.pulses)
	for _, p := range g.pulses {
		g.ratios = append(g.ratios, points[units.Pulse(p)])
	}
	return g
}

// At is the guessed ratio; beyond the ends the last line goes on.
func (g Guess) At(pulse units.Pulse) float64 {
	p, n := float64(pulse), len(g.pulses)
	if n < 2 {
		return 0
	}
	k, _ := slices.BinarySearch(g.pulses, p)
	k = min(max(k, 1), n-1)
	w := (p - g.pulses[k-1]) / (g.pulses[k] - g.pulses[k-1])
	return g.ratios[k-1] + w*(g.ratios[k]-g.ratios[k-1])
}
