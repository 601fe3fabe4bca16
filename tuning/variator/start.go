package variator

import (
	"cmp"
	"math"
	"slices"
)

// starts are parameters to fit from, by the readings alone, one of which is fair. Medians all along: up to a third of
// wild readings must not spoil them.
func (l lawOf) starts(d *readingData) [][]float64 {
	centre, onset, reach := d.extent()
	var list [][]float64
	for _, trial := range l.trials(reach * 1.01) {
		theta := append(slices.Clone(trial), centre, onset)
		theta = append(theta, make([]float64, l.terms.count())...)
		if l.scaleGains(d, theta) {
			list = append(list, theta)
		}
	}
	return list
}

// extent is a guess at centre and onset, and how far beyond the onset the readings reach, all in us.
func (d *readingData) extent() (centre, onset, reach float64) {
	lower, upper := onsetGuess(d)
	centre, onset = (lower+upper)/2, math.Max((upper-lower)/2, 0)
	for _, p := range d.pulse {
		reach = math.Max(reach, math.Abs(p-centre)-onset)
	}
	return centre, onset, reach
}

func (d *readingData) reach() float64 {
	_, _, reach := d.extent()
	return reach
}

// direction is +1 where higher pulses turn the output forward, -1 where they turn it backward.
func (d *readingData) direction() float64 {
	var forward, backward []float64
	for i, p := range d.pulse {
		switch {
		case d.ratio[i] > turningSigmas*d.sigma[i]:
			forward = append(forward, p)
		case d.ratio[i] < -turningSigmas*d.sigma[i]:
			backward = append(backward, p)
		}
	}
	if median(forward) < median(backward) {
		return -1
	}
	return 1
}

// onsetGuess returns the pulses where the curve leaves zero on either side, drawn from the slowest readings that
// surely turn, by the median of the straight lines through their pairs.
func onsetGuess(d *readingData) (lower, upper float64) {
	direction := d.direction()
	edge := func(side float64) float64 {
		type point struct{ p, u float64 }
		var turning []point
		for i, p := range d.pulse {
			if u := direction * side * d.ratio[i]; u > turningSigmas*d.sigma[i] {
				turning = append(turning, point{p, u})
			}
		}
		slices.SortFunc(turning, func(a, b point) int { return cmp.Compare(side*a.p, side*b.p) })
		turning = turning[:min(len(turning), max(leastPerSide, len(turning)/3))]
		var meets []float64
		for i, a := range turning {
			for _, b := range turning[i+1:] {
				if slope := (b.u - a.u) / (b.p - a.p); slope*side > 0 {
					meets = append(meets, a.p-a.u/slope)
				}
			}
		}
		if len(meets) == 0 {
			return turning[0].p
		}
		return median(meets)
	}
	lower, upper = edge(-1), edge(1)
	if lower > upper {
		lower, upper = (lower+upper)/2, (lower+upper)/2
	}
	return lower, upper
}

// scaleGains sets gain and asymmetry so that on each side the weighted absolute residuals are least, the rest of
// theta standing. False where the trial does not reach the readings.
func (l lawOf) scaleGains(d *readingData, theta []float64) bool {
	var gain [2]float64
	by := make([]float64, l.count())
	for k, side := range []float64{-1, 1} {
		var quotients, weights []float64
		for i, p := range d.pulse {
			unit, _ := l.ratio(theta, p, d.way[i], by)
			if math.IsNaN(unit) {
				return false
			}
			if unit*side > 0 {
				quotients = append(quotients, d.ratio[i]/unit)
				weights = append(weights, math.Abs(unit)/d.sigma[i])
			}
		}
		if len(quotients) == 0 {
			return false
		}
		gain[k] = weightedMedian(quotients, weights)
	}
	theta[0] = (gain[0] + gain[1]) / 2
	theta[1] = (gain[1] - gain[0]) / (gain[1] + gain[0])
	return gain[0]*gain[1] > 0
}

// median of v, which it may reorder; NaN if empty.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// weightedMedian is the value at which half of the weight lies on either side.
func weightedMedian(values, weights []float64) float64 {
	order := make([]int, len(values))
	total := 0.0
	for i, w := range weights {
		order[i] = i
		total += w
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(values[a], values[b]) })
	sum := 0.0
	for _, i := range order {
		if sum += weights[i]; sum >= total/2 {
			return values[i]
		}
	}
	return values[order[len(order)-1]]
}
