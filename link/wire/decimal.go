package wire

import (
	"math"
	"strconv"
	"strings"
)

// Exponents that a Decimal may have. Within them every value is a normal number
// of single precision, which small controllers compute in.
const (
	LeastExponent = -30
	MostExponent  = 20
)

// Decimal is a number as Mantissa times ten to the Exponent.
type Decimal struct {
	Mantissa int32
	Exponent int8
}

func (d Decimal) fits() bool { return d.Exponent >= LeastExponent && d.Exponent <= MostExponent }

// Float returns the float64 nearest to d.
func (d Decimal) Float() float64 {
	// Powers of ten to 22 and mantissas of 32 bits are exact, so that one
	// multiplication or division rounds once; below that the parser does it.
	switch e := int(d.Exponent); {
	case e >= 0 && e <= 22:
		return float64(d.Mantissa) * math.Pow10(e)
	case e < 0 && e >= -22:
		return float64(d.Mantissa) / math.Pow10(-e)
	default:
		v, _ := strconv.ParseFloat(strconv.Itoa(int(d.Mantissa))+"e"+strconv.Itoa(e), 64)
		return v
	}
}

// DecimalFrom returns v to nine significant digits, or to fewer where the least
// exponent asks for it, without noughts at the end of the mantissa. It reports
// false for what does not fit: not finite, too large, or below 1e-30 and not 0.
func DecimalFrom(v float64) (Decimal, bool) {
	if v == 0 {
		return Decimal{}, true
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || math.Abs(v) < 1e-30 {
		return Decimal{}, false
	}
	digits := min(9, int(math.Floor(math.Log10(math.Abs(v))))-LeastExponent+1)
	written := strconv.FormatFloat(v, 'e', max(1, digits)-1, 64) // such as -1.23456789e-05
	number, power, _ := strings.Cut(written, "e")
	whole, fraction, _ := strings.Cut(number, ".")
	fraction = strings.TrimRight(fraction, "0")
	mantissa, _ := strconv.ParseInt(whole+fraction, 10, 32)
	exponent, _ := strconv.Atoi(power)
	exponent -= len(fraction)
	for exponent > MostExponent && mantissa > -1e8 && mantissa < 1e8 {
		mantissa, exponent = mantissa*10, exponent-1
	}
	if exponent < LeastExponent || exponent > MostExponent {
		return Decimal{}, false
	}
	return Decimal{Mantissa: int32(mantissa), Exponent: int8(exponent)}, true
}
