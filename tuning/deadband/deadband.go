// Package deadband finds where the output begins and ceases to turn.
//
// Every edge depends on the side and on the approach, so there are four:
// outward from rest (breakaway) and inward from turning (dropout), above and
// below neutral. Each is searched by tries that answer yes or no, placed by an
// up-down rule whose step halves on each reversal; the edge is the
// maximum-likelihood one of a normal threshold (probit), or the middle of the
// gap where the tries separate perfectly. Its error comes from the whole
// likelihood, not from its curvature at the top, and the scatter of the
// threshold is its repeatability.
//
// Run is the procedure; Analyse is pure and serves a live run and a replay
// alike.
package deadband

import (
	"fmt"
	"math"

	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Side of the dead band, by pulse.
type Side string

// Above is the side of longer pulses, Below that of shorter ones.
const (
	Above Side = "above"
	Below Side = "below"
)

// sign is +1 above and -1 below.
func (s Side) sign() float64 {
	if s == Below {
		return -1
	}
	return 1
}

// Try is one yes-or-no reading.
type Try struct {
	Side       Side             `json:"side"`
	Approach   measure.Approach `json:"approach"`
	Pulse      units.Pulse      `json:"pulse_us"`
	Turned     bool             `json:"turned"`
	Counts     units.Counts     `json:"counts"`
	ShaftTurns float64          `json:"shaft_turns"`
	From       units.Instant    `json:"from_us"`
	To         units.Instant    `json:"to_us"`
}

func (t Try) String() string {
	word := "still"
	if t.Turned {
		word = "turned"
	}
	return fmt.Sprintf("%s, %s %v: %s, %d counts in %.1f shaft turns", t.Side, t.Approach, t.Pulse, word, t.Counts, t.ShaftTurns)
}

// Edge is one of the four edges.
type Edge struct {
	Side     Side             `json:"side"`
	Approach measure.Approach `json:"approach"`
	Pulse    units.Estimate   `json:"pulse_us"`
	Scatter  float64          `json:"scatter_us"` // standard deviation of the threshold from try to try, of all edges together
	Tries    int              `json:"tries"`
}

// Prediction is the standard deviation with which the edge will be met next
// time: its own error and its repeatability.
func (e Edge) Prediction() float64 { return math.Hypot(e.Pulse.StdErr, e.Scatter) }

// Result of a dead-band search.
type Result struct {
	Edges           []Edge            `json:"edges"` // above outward, above inward, below outward, below inward
	HysteresisAbove units.Estimate    `json:"hysteresis_above_us"`
	HysteresisBelow units.Estimate    `json:"hysteresis_below_us"`
	Width           units.Estimate    `json:"width_us"`   // between the two breakaway edges
	Neutral         units.Pulse       `json:"neutral_us"` // farthest from every edge
	Safety          float64           `json:"safety"`     // of the neutral, in prediction standard deviations
	Findings        []finding.Finding `json:"findings"`
}

// Edge returns the edge of a side and approach.
func (r Result) Edge(side Side, approach measure.Approach) (Edge, bool) {
	for _, e := range r.Edges {
		if e.Side == side && e.Approach == approach {
			return e, true
		}
	}
	return Edge{}, false
}

// leastSafety is how far, in prediction standard deviations, neutral must lie
// from every edge: at 4 the chance that the output turns at neutral is about
// 3 in 100 000 a visit for a normal threshold.
const leastSafety = 4.0

// Analyse turns tries into edges, hysteresis and neutral. It returns an error
// when an edge has no tries of both kinds, so that it is not bracketed.
func Analyse(tries []Try) (Result, error) {
	r := Result{Findings: []finding.Finding{}}
	for _, side := range []Side{Above, Below} {
		for _, approach := range []measure.Approach{measure.Outward, measure.Inward} {
			e, err := edgeOf(tries, side, approach)
			if err != nil {
				return r, err
			}
			r.Edges = append(r.Edges, e)
		}
	}
	r.pool()
	r.HysteresisAbove = difference(r.Edges[0].Pulse, r.Edges[1].Pulse)
	r.HysteresisBelow = difference(r.Edges[3].Pulse, r.Edges[2].Pulse)
	r.Width = difference(r.Edges[0].Pulse, r.Edges[2].Pulse)
	r.Neutral, r.Safety = neutral(r.Edges)
	if r.Safety < leastSafety {
		r.Findings = append(r.Findings, bandEaten(r))
	}
	return r, nil
}

// pool gives all edges the same scatter, the root mean square of theirs: it is
// one servo that repeats so well, and a dozen tries say little about it.
func (r *Result) pool() {
	var square, tries float64
	for _, e := range r.Edges {
		square += float64(e.Tries) * e.Scatter * e.Scatter
		tries += float64(e.Tries)
	}
	for i := range r.Edges {
		r.Edges[i].Scatter = math.Sqrt(square / tries)
	}
}

// edgeOf fits one edge from its own tries.
func edgeOf(tries []Try, side Side, approach measure.Approach) (Edge, error) {
	var x []float64
	var turned []bool
	for _, t := range tries {
		if t.Side == side && t.Approach == approach {
			x = append(x, side.sign()*float64(t.Pulse))
			turned = append(turned, t.Turned)
		}
	}
	th, err := edgeThreshold(x, turned)
	if err != nil {
		return Edge{}, fmt.Errorf("edge %s, %s: %w", side, approach, err)
	}
	th.Middle.Value *= side.sign()
	return Edge{Side: side, Approach: approach, Pulse: th.Middle, Scatter: th.Scatter, Tries: len(x)}, nil
}

func difference(a, b units.Estimate) units.Estimate {
	return units.Estimate{Value: a.Value - b.Value, StdErr: math.Hypot(a.StdErr, b.StdErr)}
}

// neutral is the pulse whose smallest distance from an edge, in prediction
// standard deviations, is greatest. That distance is the least of straight
// lines, so that its top is found by golden section.
func neutral(edges []Edge) (units.Pulse, float64) {
	safety := func(p float64) float64 {
		least := math.Inf(1)
		for _, e := range edges {
			least = math.Min(least, e.Side.sign()*(e.Pulse.Value-p)/math.Max(e.Prediction(), 1e-9))
		}
		return least
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, e := range edges {
		low, high = math.Min(low, e.Pulse.Value), math.Max(high, e.Pulse.Value)
	}
	const golden = 0.6180339887498949
	for range 80 {
		a, b := high-golden*(high-low), low+golden*(high-low)
		if safety(a) < safety(b) {
			low = a
		} else {
			high = b
		}
	}
	p := units.Pulse((low + high) / 2).Rounded()
	return p, safety(float64(p))
}

func bandEaten(r Result) finding.Finding {
	return finding.Finding{
		Name: finding.BandEaten, Weight: finding.Look,
		Evidence: fmt.Sprintf("the best neutral, %v, lies only %.1f standard deviations of an edge from turning; the band is %.1f us wide",
			r.Neutral, r.Safety, r.Width.Value),
		Size: &r.Width, SizeUnit: "us",
		OneOf:  []string{"play in the linkage between servo and trunnion", "the servo does not repeat its place", "ball and wheels too far or too near, so that the band is narrow"},
		ToTell: "hold the tilt frame at neutral and rock it gently: does it move before the servo resists?",
		Cure:   "take the play out of the linkage first; then search the band again",
	}
}
