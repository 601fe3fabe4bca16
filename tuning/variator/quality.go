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
}

// leaveOneOut of a linearised fit: a residual grows by 1/(1-h) when its reading is left out, h being its leverage.
func (c *candidate) leaveOneOut() LeaveOneOut {
	var out LeaveOneOut
	squares, shares := 0.0, 0.0
	for k, i := range c.kept {
		sigma := c.data.sigma[i]
		h := math.Min(c.leverage(i), 0.99)
		e := c.result.Residuals[k] / (1 - h) // over sigma
		out.add(e*sigma, c.data.pulse[i])
		squares += e * sigma * e * sigma
		shares += e * e
	}
	n := float64(len(c.kept))
	out.Typical, out.TypicalShare = math.Sqrt(squares/n), math.Sqrt(shares/n)
	return out
}

// add notes one error.
func (o *LeaveOneOut) add(e, pulse float64) {
	if math.Abs(e) > o.Worst {
		o.Worst, o.WorstPulseUs = math.Abs(e), pulse
	}
}
