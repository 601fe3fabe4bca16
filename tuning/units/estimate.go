package units

import (
	"math"
	"strconv"
)

// Estimate is a number with its standard error, both in the unit that the name
// of the field holding it states. The standard error is one standard
// deviation, never a half-width of an interval.
type Estimate struct {
	Value  float64 `json:"value"`
	StdErr float64 `json:"standard_error"`
}

// Sigmas returns how many standard errors e lies from v; +Inf if the error is
// nought and they differ.
func (e Estimate) Sigmas(v float64) float64 {
	d := math.Abs(e.Value - v)
	if d == 0 {
		return 0
	}
	return d / e.StdErr
}

// String writes value and error with as many decimals as give the error two
// digits when its leading digit is a 1 and one digit otherwise: "1528.4 ±0.6".
func (e Estimate) String() string {
	d := Decimals(e.StdErr)
	return strconv.FormatFloat(e.Value, 'f', d, 64) + " ±" + strconv.FormatFloat(e.StdErr, 'f', d, 64)
}

// Decimals is the number of decimals at which an error of this size is written,
// from 0 to 6.
func Decimals(stdErr float64) int {
	if !(stdErr > 0) || math.IsInf(stdErr, 0) {
		return 1
	}
	lead := math.Floor(math.Log10(stdErr))
	d := -int(lead)
	if stdErr/math.Pow(10, lead) < 1.95 {
		d++
	}
	return max(0, min(6, d))
}
