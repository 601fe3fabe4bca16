package hunting

import (
	"fmt"
	"math"
)

// Element is a nonlinear part of a loop, by what it does to a sine of an amplitude: the first harmonic of what comes out
// over what went in.
type Element interface {
	// Describe is the describing function N at an amplitude above 0.
	Describe(amplitude float64) complex128
	// Least is the amplitude below which nothing comes out.
	Least() float64
	// Validate reports the first number that makes no sense.
	Validate() error
}

// DeadZone gives nothing within HalfWidth of nought and rises with Slope beyond.
type DeadZone struct{ HalfWidth, Slope float64 }

// Backlash is play driven by friction: what comes out follows what goes in at a distance of up to half the whole Gap.
type Backlash struct{ Gap float64 }

// Relay gives plus or minus Height and changes over where the input passes Hysteresis beyond nought.
type Relay struct{ Height, Hysteresis float64 }

// Saturation rises with Slope up to Limit of the input, and no further.
type Saturation struct{ Limit, Slope float64 }

// NumberError says that a number given to this package makes no sense.
type NumberError struct {
	Name   string
	Value  float64
	Reason string
}

func (e *NumberError) Error() string {
	return fmt.Sprintf("hunting: %s is %g: %s", e.Name, e.Value, e.Reason)
}

func positive(name string, v float64) error {
	if !(v > 0) || math.IsInf(v, 1) {
		return &NumberError{name, v, "it must be positive and finite"}
	}
	return nil
}

func notNegative(name string, v float64) error {
	if !(v >= 0) || math.IsInf(v, 1) {
		return &NumberError{name, v, "it must be nought or positive, and finite"}
	}
	return nil
}

func firstOf(errors ...error) error {
	for _, err := range errors {
		if err != nil {
			return err
		}
	}
	return nil
}

// clipped is the first harmonic of a unit saturation: 2/pi (asin x + x sqrt(1 - x^2)), and 1 or -1 beyond.
func clipped(x float64) float64 {
	if math.Abs(x) >= 1 {
		return math.Copysign(1, x)
	}
	return 2 / math.Pi * (math.Asin(x) + x*math.Sqrt(1-x*x))
}

// Describe implements Element.
func (d DeadZone) Describe(a float64) complex128 {
	if a <= d.HalfWidth {
		return 0
	}
	return complex(d.Slope*(1-clipped(d.HalfWidth/a)), 0)
}

// Least implements Element.
func (d DeadZone) Least() float64 { return d.HalfWidth }

// Validate implements Element.
func (d DeadZone) Validate() error {
	return firstOf(positive("half width of the dead zone", d.HalfWidth), positive("slope", d.Slope))
}

// Describe implements Element.
func (b Backlash) Describe(a float64) complex128 {
	q := b.Gap / a
	if q >= 2 {
		return 0
	}
	return complex((1+clipped(1-q))/2, -(2*q-q*q)/math.Pi)
}

// Least implements Element.
func (b Backlash) Least() float64 { return b.Gap / 2 }

// Validate implements Element.
func (b Backlash) Validate() error { return positive("gap", b.Gap) }

// Describe implements Element. Below its hysteresis a relay does not change over at all.
func (r Relay) Describe(a float64) complex128 {
	if a < r.Hysteresis {
		return 0
	}
	q := r.Hysteresis / a
	size := 4 * r.Height / (math.Pi * a)
	return complex(size*math.Sqrt(1-q*q), -size*q)
}

// Least implements Element.
func (r Relay) Least() float64 { return r.Hysteresis }

// Validate implements Element.
func (r Relay) Validate() error {
	return firstOf(positive("height of the relay", r.Height), notNegative("hysteresis", r.Hysteresis))
}

// Describe implements Element.
func (s Saturation) Describe(a float64) complex128 {
	return complex(s.Slope*clipped(s.Limit/a), 0)
}

// Least implements Element.
func (s Saturation) Least() float64 { return 0 }

// Validate implements Element.
func (s Saturation) Validate() error {
	return firstOf(positive("limit", s.Limit), positive("slope", s.Slope))
}
