package variator

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// LackOfFit asks whether a law misses the readings by more than their scatter.
type LackOfFit struct {
	// Basis is "replicates": F is the misfit over the scatter of readings repeated at one pulse and approach; or
	// "claimed_errors", where too few are repeated: F is chi-square per degree of freedom against the readings' own
	// standard errors, and DegreesScatter is 0.
	Basis          string  `json:"basis"`
	F              float64 `json:"f"`
	DegreesMisfit  int     `json:"degrees_misfit"`
	DegreesScatter int     `json:"degrees_scatter"`
	PValue         float64 `json:"p_value"` // chance of such an F if the law is right
}

const (
	basisReplicates = "replicates"
	basisClaimed    = "claimed_errors"
)

// leastScatterDegrees is the fewest degrees of freedom among replicates on which an F test is worth making.
const leastScatterDegrees = 4

// lackOfFit tests a fit with the given sum of squares and number of parameters.
func lackOfFit(d *readingData, parameters int, sumSquares float64) *LackOfFit {
	scatter, groups, degrees := d.pureScatter()
	misfit := groups - parameters
	if degrees >= leastScatterDegrees && misfit >= 1 && scatter > 0 {
		f := math.Max(sumSquares-scatter, 0) / float64(misfit) / (scatter / float64(degrees))
		return &LackOfFit{Basis: basisReplicates, F: f, DegreesMisfit: misfit, DegreesScatter: degrees,
			PValue: distuv.F{D1: float64(misfit), D2: float64(degrees)}.Survival(f)}
	}
	free := d.len() - parameters
	if free < 1 {
		return nil
	}
	return &LackOfFit{Basis: basisClaimed, F: sumSquares / float64(free), DegreesMisfit: free,
		PValue: distuv.ChiSquared{K: float64(free)}.Survival(sumSquares)}
}

// pureScatter is the sum of squares of readings repeated at one pulse (to a tenth of a microsecond) and approach about
// their weighted means, the number of different places, and the degrees of freedom of the scatter.
func (d *readingData) pureScatter() (sumSquares float64, groups, degrees int) {
	type key struct {
		tenths int64
		way    float64
	}
	type moments struct{ w, wu, wuu float64 }
	place := map[key]int{}
	var sums []moments // in order of appearance, so that the sum does not depend on the map's order
	for i, p := range d.pulse {
		k := key{int64(math.Round(10 * p)), d.way[i]}
		at, known := place[k]
		if !known {
			at = len(sums)
			place[k] = at
			sums = append(sums, moments{})
		}
		w := 1 / (d.sigma[i] * d.sigma[i])
		m := &sums[at]
		// West's updating form: a difference of large sums would lose the scatter.
		step := d.ratio[i] - m.wu
		m.w += w
		m.wu += step * w / m.w
		m.wuu += w * step * (d.ratio[i] - m.wu)
	}
	for _, m := range sums {
		sumSquares += m.wuu
	}
	return sumSquares, len(sums), d.len() - len(sums)
}

// LeaveOneOut is how well the curve foretells a reading that it was not fitted to.
type LeaveOneOut struct {
	Typical      float64 `json:"typical_ratio"`     // root mean square error, in ratio
	Worst        float64 `json:"worst_ratio"`       // largest error, in ratio
	WorstPulseUs float64 `json:"worst_pulse_us"`    // and where
	TypicalShare float64 `json:"typical_in_sigmas"` // root mean square error over the readings' claimed errors
	// The same for the inverse, in us: how far the pulse for the ratio that was read would lie from the pulse that gave it.
	TypicalUs    float64 `json:"typical_us,omitempty"`
	WorstUs      float64 `json:"worst_us,omitempty"`
	WorstUsRatio float64 `json:"worst_us_ratio,omitempty"` // the ratio where
}

// leaveOneOut of a linearised fit: a residual grows by 1/(1-h) when its reading is left out, h being its leverage.
func (c *candidate) leaveOneOut() LeaveOneOut {
	var sum leftOut
	for k, i := range c.kept {
		sigma, pulse := c.data.sigma[i], c.data.pulse[i]
		h := math.Min(c.leverage(i), 0.99)
		_, slope := c.law.ratio(c.result.Params, pulse, c.data.way[i], c.by)
		sum.add(c.result.Residuals[k]/(1-h)*sigma, sigma, slope, pulse, c.data.ratio[i])
	}
	return sum.done()
}

// leftOut gathers errors of left-out readings.
type leftOut struct {
	out                      LeaveOneOut
	squares, shares, count   float64
	pulseSquares, pulseCount float64
}

// add notes an error in ratio. Where the curve stands still no pulse follows from it.
func (s *leftOut) add(e, sigma, slope, pulse, ratio float64) {
	s.squares += e * e
	s.shares += e * e / (sigma * sigma)
	s.count++
	if math.Abs(e) > s.out.Worst {
		s.out.Worst, s.out.WorstPulseUs = math.Abs(e), pulse
	}
	if slope == 0 {
		return
	}
	us := e / slope
	s.pulseSquares += us * us
	s.pulseCount++
	if math.Abs(us) > s.out.WorstUs {
		s.out.WorstUs, s.out.WorstUsRatio = math.Abs(us), ratio
	}
}

func (s *leftOut) done() LeaveOneOut {
	if s.count > 0 {
		s.out.Typical, s.out.TypicalShare = math.Sqrt(s.squares/s.count), math.Sqrt(s.shares/s.count)
	}
	if s.pulseCount > 0 {
		s.out.TypicalUs = math.Sqrt(s.pulseSquares / s.pulseCount)
	}
	return s.out
}
