package deadband

import (
	"math"
)

// Bounds of the scatter believed possible, in us: the wire carries tenths of a
// microsecond, and a servo that repeats worse than 4 us is a finding of its own
// (data sheets of five small servos give dead zones of 3 to 8 us, that is at
// most some 2 us of standard deviation).
const (
	leastScatter = 0.1
	mostScatter  = 4.0
)

// edgeThreshold is FitThreshold with an error that holds for the dozen tries
// that an edge is given. There the likelihood is far from normal, and where the
// tries separate it has no curvature at all, so that both the usual error and
// the gap over root twelve claim far too much (measured: one interval in three
// covers). The error here is the root mean square distance of the middle from
// the reported one, over the likelihood with every place alike beforehand and
// every scatter between leastScatter and mostScatter alike on a log scale.
func edgeThreshold(x []float64, yes []bool) (Threshold, error) {
	th, err := FitThreshold(x, yes)
	if err != nil {
		return th, err
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range x {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	const scatters, places = 12, 96
	low, high = low-2*mostScatter, high+2*mostScatter
	// Most of the weight lies near the fitted middle: a window there serves
	// where the tries span much more.
	low, high = math.Max(low, th.Middle.Value-4*mostScatter), math.Min(high, th.Middle.Value+4*mostScatter)

	best := math.Inf(-1)
	var logs [scatters][places]float64
	scatterAt := func(k int) float64 {
		return leastScatter * math.Pow(mostScatter/leastScatter, (float64(k)+0.5)/scatters)
	}
	placeAt := func(j int) float64 { return low + (high-low)*(float64(j)+0.5)/places }
	for k := range scatters {
		for j := range places {
			logs[k][j] = logLikelihood(x, yes, placeAt(j), scatterAt(k))
			best = math.Max(best, logs[k][j])
		}
	}
	var weight, square, logScatter float64
	for k := range scatters {
		for j := range places {
			w := math.Exp(logs[k][j] - best)
			d := placeAt(j) - th.Middle.Value
			weight += w
			square += w * d * d
			logScatter += w * math.Log(scatterAt(k))
		}
	}
	th.Middle.StdErr = math.Max(math.Sqrt(square/weight), leastScatter/math.Sqrt(12))
	th.Scatter = math.Exp(logScatter / weight)
	return th, nil
}

// logLikelihood of a normal threshold.
func logLikelihood(x []float64, yes []bool, middle, scatter float64) float64 {
	sum := 0.0
	for i := range x {
		z := (x[i] - middle) / scatter
		if !yes[i] {
			z = -z
		}
		sum += math.Log(math.Max(0.5*math.Erfc(-z/math.Sqrt2), 1e-12))
	}
	return sum
}
