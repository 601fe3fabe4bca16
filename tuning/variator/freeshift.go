package variator

import (
	"math"

	"gonum.org/v1/gonum/interp"
)

// freeShift is the hysteresis without a law, in us, and its standard error: at each inward place the ratio is compared
// with what the outward readings give there, and the difference divided by the slope. A place whose shift is far from
// the others' is passed over.
func freeShift(d *readingData) (shift, stdErr float64) {
	var shifts, errs []float64
	for k := range 2 {
		outward, inward := wayCurve(d, k, 1), wayCurve(d, k, -1)
		if outward == nil || inward == nil {
			continue
		}
		for _, p := range inward.side.places {
			size, slope, variance, ok := outward.at(p.out)
			if !ok {
				continue
			}
			_, own, _, _ := inward.at(p.out)
			// The mean of both slopes is that of the middle curve, so that the curvature drops out.
			if slope = (slope + own) / 2; slope > 0 {
				shifts = append(shifts, (p.size-size)/slope)
				errs = append(errs, math.Sqrt(variance+1/p.weight)/slope)
			}
		}
	}
	if len(shifts) < leastPerSide {
		return 0, 0
	}
	return robustMean(shifts, errs)
}

// waySide is one side's readings of one approach, with the cubic through them.
type waySide struct {
	side  *freeSide
	cubic interp.FritschButland
}

// wayCurve is nil where too few readings turn.
func wayCurve(d *readingData, side int, way float64) *waySide {
	var indices []int
	for i := range d.pulse {
		if d.way[i] == way {
			indices = append(indices, i)
		}
	}
	part := d.pick(indices)
	if part.checkSides() != nil {
		return nil
	}
	sides, ok := bothSides(part, 0, nil)
	if !ok {
		return nil
	}
	w := &waySide{side: sides[side]}
	var x, u []float64
	for _, p := range w.side.places {
		x, u = append(x, p.out), append(u, p.size)
	}
	if w.cubic.Fit(x, u) != nil {
		return nil
	}
	return w
}

// at is the size, slope and variance at a distance; false beyond the places.
func (w *waySide) at(out float64) (size, slope, variance float64, ok bool) {
	places := w.side.places
	if out < places[0].out || out > places[len(places)-1].out {
		return 0, 0, 0, false
	}
	i := 1
	for i < len(places)-1 && places[i].out < out {
		i++
	}
	a, b := places[i-1], places[i]
	t := (out - a.out) / (b.out - a.out)
	variance = (1-t)*(1-t)/a.weight + t*t/b.weight
	return w.cubic.Predict(out), w.cubic.PredictDerivative(out), variance, true
}

// robustMean is the weighted mean of values within four scatters of their median, and its standard error, widened
// where they scatter more than their errors say.
func robustMean(values, errs []float64) (mean, stdErr float64) {
	middle := median(append([]float64{}, values...))
	off := make([]float64, len(values))
	for i, v := range values {
		off[i] = math.Abs(v-middle) / errs[i]
	}
	limit := 4 * math.Max(1.4826*median(append([]float64{}, off...)), 1)
	var w, wv float64
	for i, v := range values {
		if off[i] <= limit {
			w += 1 / (errs[i] * errs[i])
			wv += v / (errs[i] * errs[i])
		}
	}
	mean = wv / w
	chi, n := 0.0, 0.0
	for i, v := range values {
		if off[i] <= limit {
			chi += (v - mean) * (v - mean) / (errs[i] * errs[i])
			n++
		}
	}
	return mean, math.Sqrt(math.Max(chi/math.Max(n-1, 1), 1) / w)
}
