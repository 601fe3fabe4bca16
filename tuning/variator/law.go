package variator

import "math"

// LawName names a law in documents and options.
type LawName string

// The laws. Automatic lets the readings choose.
const (
	Automatic    LawName = ""
	Contact      LawName = "contact"
	ContactAngle LawName = "contact_angle"
	Disc         LawName = "disc"
	DiscArm      LawName = "disc_arm"
	FreeForm     LawName = "free_form"
)

// shape is what tells one law from another: how the ratio grows with the pulse beyond the onset. Every shape is
// proportional to its first parameter, the gain, whose sign says which way the output turns at higher pulses; the
// second is the asymmetry between the sides.
type shape interface {
	// name, words for a person, and the parameters in order.
	name() LawName
	words() string
	parameters() []string
	// bounds of the parameters, in order; a fit that ends at one is no fit.
	bounds() (lower, upper []float64)
	// value returns the size of the ratio at e > 0 us beyond the onset on a side (+1 or -1), carrying the sign of the
	// gain, and its derivative by e, and writes those by the parameters. NaN where the law does not reach.
	value(theta []float64, e, side float64, by []float64) (size, slope float64)
	// beyond is the inverse of value; false where no e gives that size.
	beyond(theta []float64, size, side float64) (e float64, ok bool)
	// trials are parameter sets with gain 1 and no asymmetry, one of which is a fair start for readings that reach
	// e us beyond the onset.
	trials(reach float64) [][]float64
}

// shapes lists the laws, the simpler ones first.
var shapes = []shape{disc{}, discArm{}, contact{}, contactAngle{}}

func shapeOf(name LawName) (shape, bool) {
	for _, s := range shapes {
		if s.name() == name {
			return s, true
		}
	}
	return nil, false
}

// The names of the parameters that all laws share, and of those that several do.
const (
	parGain       = "gain"
	parGainPerUs  = "gain_per_us"
	parAsymmetry  = "side_asymmetry"
	parRate       = "rate_rad_per_us"
	parAngleError = "contact_angle_error_rad"
	parCentre     = "centre_us"
	parOnset      = "onset_us"
	parHysteresis = "hysteresis_us"
)

// lawOf is a shape with the parameters that place it: centre, onset and, where fitted, hysteresis.
type lawOf struct {
	shape
	shapeCount int
	hysteresis bool
}

func newLaw(s shape, hysteresis bool) lawOf {
	return lawOf{shape: s, shapeCount: len(s.parameters()), hysteresis: hysteresis}
}

// names lists the parameters in the order of theta.
func (l lawOf) names() []string {
	names := append([]string{}, l.parameters()...)
	names = append(names, parCentre, parOnset)
	if l.hysteresis {
		names = append(names, parHysteresis)
	}
	return names
}

func (l lawOf) count() int {
	if l.hysteresis {
		return l.shapeCount + 3
	}
	return l.shapeCount + 2
}

func (l lawOf) centre(theta []float64) float64 { return theta[l.shapeCount] }
func (l lawOf) onset(theta []float64) float64  { return theta[l.shapeCount+1] }

// hysteresisOf is the shift between approaches, 0 where it was not fitted.
func (l lawOf) hysteresisOf(theta []float64) float64 {
	if l.hysteresis {
		return theta[l.shapeCount+2]
	}
	return 0
}

// place returns on which side a pulse lies and how far beyond the onset; e is negative inside the dead band.
func (l lawOf) place(theta []float64, pulse, way float64) (e, side float64) {
	x := pulse - l.centre(theta)
	side = 1
	if x < 0 {
		side = -1
	}
	return math.Abs(x) - l.onset(theta) - way*l.hysteresisOf(theta)/2, side
}

// ratio is the law at a pulse, reached from a way (+1 outward, -1 inward, 0 the middle of both), with its derivatives
// by theta and by the pulse. Inside the dead band all are zero.
func (l lawOf) ratio(theta []float64, pulse, way float64, by []float64) (ratio, slope float64) {
	e, side := l.place(theta, pulse, way)
	if e <= 0 {
		clear(by)
		return 0, 0
	}
	size, slope := l.value(theta, e, side, by)
	for j := range l.shapeCount {
		by[j] *= side
	}
	by[l.shapeCount] = -slope
	by[l.shapeCount+1] = -side * slope
	if l.hysteresis {
		by[l.shapeCount+2] = -side * slope * way / 2
	}
	return side * size, slope
}

// most is the largest asymmetry, angle error (rad) and so on that a machine could have and still be called by its law.
const (
	mostAsymmetry  = 0.9
	mostAngleError = 0.5
)

var unbounded = math.Inf(1)

// gainOf is the gain of a side and its derivatives by gain and asymmetry over the rest of the shape.
func gainOf(theta []float64, side float64) float64 { return theta[0] * (1 + side*theta[1]) }
