package curve

import (
	"math"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Repeatability is how well the tilt comes back to a pulse, in us, from places
// that were read more than once from the same side: their ratios differ by the
// servo's scatter times the slope of the curve, and by their own errors, which
// are taken out. The error is that of a standard deviation from so few
// differences. Without any place read twice it is 0 with an infinite error.
func Repeatability(readings []measure.Reading) units.Estimate {
	slopes := slopesOf(readings)
	groups := map[Place][]int{}
	for i, r := range readings {
		p := Place{r.Pulse, r.Approach}
		groups[p] = append(groups[p], i)
	}
	var sum, own, freedom float64
	for _, r := range readings { // in order, so that sums come out the same each time
		members := groups[Place{r.Pulse, r.Approach}]
		delete(groups, Place{r.Pulse, r.Approach})
		if len(members) < 2 {
			continue
		}
		mean := 0.0
		for _, i := range members {
			mean += readings[i].Ratio.Value / float64(len(members))
		}
		for _, i := range members {
			d := (readings[i].Ratio.Value - mean) / slopes[i]
			sum += d * d
			s := readings[i].Ratio.StdErr / slopes[i]
			own += s * s * float64(len(members)-1) / float64(len(members))
		}
		freedom += float64(len(members) - 1)
	}
	if freedom == 0 {
		return units.Estimate{StdErr: math.Inf(1)}
	}
	value := math.Sqrt(math.Max(0, sum-own) / freedom)
	return units.Estimate{Value: value, StdErr: math.Max(value, 0.05) / math.Sqrt(2*freedom)}
}

// Errors are the standard errors with which readings enter a fit: that of the
// ratio itself and that of the place, the repeatability times the slope, which
// counts do not show, since the tilt stands still during a reading.
func Errors(readings []measure.Reading, repeatability float64) []float64 {
	slopes := slopesOf(readings)
	errs := make([]float64, len(readings))
	for i, r := range readings {
		errs[i] = math.Hypot(r.Ratio.StdErr, slopes[i]*repeatability)
	}
	return errs
}

// slopesOf is the size of the curve's slope at each reading, ratio a us, by a
// straight line through the readings of the same side of the band nearest in
// pulse. Its own error hardly matters: it weighs, it does not place.
func slopesOf(readings []measure.Reading) []float64 {
	slopes := make([]float64, len(readings))
	for i, r := range readings {
		below, above := neighbour(readings, r, -1), neighbour(readings, r, 1)
		run := float64(above.Pulse - below.Pulse)
		if run == 0 {
			slopes[i] = leastSlope
			continue
		}
		slopes[i] = math.Max(leastSlope, math.Abs((above.Ratio.Value-below.Ratio.Value)/run))
	}
	return slopes
}

// leastSlope keeps a flat spot from claiming infinite repeatability: a thousandth
// of a turn for ten us is flatter than any variator outside its band.
const leastSlope = 1e-4

// neighbour is the reading nearest in pulse on one hand, of the same sign of
// ratio and approach where there is one; the reading itself where not.
func neighbour(readings []measure.Reading, of measure.Reading, hand float64) measure.Reading {
	best, nearest := of, math.Inf(1)
	for _, r := range readings {
		d := hand * float64(r.Pulse-of.Pulse)
		if d > 1 && d < nearest && r.Ratio.Value*of.Ratio.Value > 0 && r.Approach == of.Approach {
			best, nearest = r, d
		}
	}
	return best
}
