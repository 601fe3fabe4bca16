// Package proving shows that an axis goes where it is sent: closed-loop steps
// of several sizes, both ways, each beside its prediction.
//
// It measures by the axis's own sensor, so that it proves the control, not the
// machine. Transition duration and overshoot follow IEEE Std 181 (10 and 90 %
// of the step; from memory); settling is counted from the step, as is usual in
// control, to the last entry into the band. Run is the procedure, Analyse is
// pure.
package proving

import (
	"fmt"
	"math"

	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/units"
)

// Result of the prove task.
type Result struct {
	Unit         string            `json:"unit"` // of the joint
	Steps        []Step            `json:"steps"`
	SettledError units.Estimate    `json:"settled_error"`       // mean size over the steps, in Unit
	WorstError   float64           `json:"worst_settled_error"` // in Unit
	Tolerance    float64           `json:"tolerance"`           // asked for, in Unit
	Passed       bool              `json:"passed"`
	Findings     []finding.Finding `json:"findings"`
}

// Step is one closed-loop step, measured and predicted. Lengths are in the
// joint's unit.
type Step struct {
	From      float64       `json:"from"`
	To        float64       `json:"to"`
	At        units.Instant `json:"at_us"`
	Measured  Metrics       `json:"measured"`
	Predicted Metrics       `json:"predicted"`
	Apart     float64       `json:"rms_apart"` // root mean square of measured less predicted
}

// Metrics of one step.
type Metrics struct {
	Rise      float64 `json:"rise_s"`
	Overshoot float64 `json:"overshoot_percent"`
	Settling  float64 `json:"settling_s"` // into the band; the whole watch if it never stayed
	Settled   bool    `json:"settled"`
	Error     float64 `json:"settled_error"` // signed, mean over the last part
}

// lastPart of a watch over which the settled error is averaged.
const lastPart = 0.15

// Measure takes the metrics of a path from 0 to size (which may be negative).
// Times are in seconds from the step and rise; band and size are in the path's
// unit.
func Measure(path []gains.Point, size, band float64) Metrics {
	if len(path) == 0 || size == 0 {
		return Metrics{}
	}
	var m Metrics
	end := path[len(path)-1].Seconds
	t10, t90, peak, outside := math.NaN(), math.NaN(), 0.0, 0.0
	sum, n := 0.0, 0.0
	for i, p := range path {
		share := p.Counts / size
		if math.IsNaN(t10) && share >= 0.1 {
			t10 = crossing(path, i, 0.1*size)
		}
		if math.IsNaN(t90) && share >= 0.9 {
			t90 = crossing(path, i, 0.9*size)
		}
		peak = math.Max(peak, share)
		if math.Abs(p.Counts-size) > band {
			outside = p.Seconds
		}
		if p.Seconds >= (1-lastPart)*end {
			sum += p.Counts - size
			n++
		}
	}
	if !math.IsNaN(t90) {
		m.Rise = t90 - t10
	}
	m.Overshoot = math.Max(0, 100*(peak-1))
	m.Error = sum / n
	m.Settling, m.Settled = outside, outside < (1-lastPart)*end
	return m
}

// crossing is the time at which the path crossed a level just before point i.
func crossing(path []gains.Point, i int, level float64) float64 {
	if i == 0 {
		return path[0].Seconds
	}
	a, b := path[i-1], path[i]
	if b.Counts == a.Counts {
		return b.Seconds
	}
	return a.Seconds + (level-a.Counts)/(b.Counts-a.Counts)*(b.Seconds-a.Seconds)
}

// apart is the root mean square difference of two paths, the second read at
// the first's times by straight lines.
func apart(measured, predicted []gains.Point) float64 {
	sum, n, k := 0.0, 0.0, 0
	for _, p := range measured {
		for k+1 < len(predicted) && predicted[k+1].Seconds < p.Seconds {
			k++
		}
		if k+1 >= len(predicted) {
			break
		}
		a, b := predicted[k], predicted[k+1]
		w := (p.Seconds - a.Seconds) / (b.Seconds - a.Seconds)
		d := p.Counts - (a.Counts + w*(b.Counts-a.Counts))
		sum += d * d
		n++
	}
	if n == 0 {
		return 0
	}
	return math.Sqrt(sum / n)
}

// conclude fills in what the steps together say.
func (r *Result) conclude() {
	var sum, square float64
	for _, s := range r.Steps {
		e := math.Abs(s.Measured.Error)
		sum += e
		square += e * e
		r.WorstError = math.Max(r.WorstError, e)
	}
	n := float64(len(r.Steps))
	mean := sum / n
	r.SettledError = units.Estimate{Value: mean, StdErr: math.Sqrt(math.Max(0, square/n-mean*mean) / math.Max(1, n-1))}
	r.Passed = r.WorstError <= r.Tolerance
	for _, s := range r.Steps {
		if !s.Measured.Settled {
			r.Passed = false
			r.Findings = append(r.Findings, notSettled(r.Unit, s))
			break
		}
	}
	if r.Passed || len(r.Findings) > 0 {
		return
	}
	r.Findings = append(r.Findings, offTarget(*r))
}

func notSettled(unit string, s Step) finding.Finding {
	return finding.Finding{
		Name: finding.NotSettled, Weight: finding.Look,
		Evidence: fmt.Sprintf("sent from %.2f to %.2f %s the joint was not at rest within the band after %.1f s; error %.3f %s", s.From, s.To, unit, s.Measured.Settling, s.Measured.Error, unit),
		OneOf:    []string{"the axis hunts: lost motion larger than the hold zone", "creep or slip of the variator under load", "dead band moved since the curve was measured"},
		ToTell:   "watch the joint at rest: does it go to and fro, or stand off the mark?",
		Cure:     "to and fro: take up the lost motion or widen the tolerance; standing off: measure the dead band and curve again",
	}
}

func offTarget(r Result) finding.Finding {
	return finding.Finding{
		Name: finding.NotSettled, Weight: finding.Look,
		Evidence: fmt.Sprintf("the worst settled error is %.3f %s and %.3f was asked for", r.WorstError, r.Unit, r.Tolerance),
		OneOf:    []string{"the slowest ratio of the axis is too fast for so fine a place", "lost motion", "the tolerance is finer than the sensor"},
		ToTell:   "compare the error with what the gains task called reachable",
		Cure:     "a larger tolerance, a slower drive shaft, or more reduction behind the output",
	}
}
