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

// most is the largest asymmetry, angle error (rad) and so on that a machine could have and still be called by its law.
const (
	mostAsymmetry  = 0.9
	mostAngleError = 0.5
)

var unbounded = math.Inf(1)

// gainOf is the gain of a side and its derivatives by gain and asymmetry over the rest of the shape.
func gainOf(theta []float64, side float64) float64 { return theta[0] * (1 + side*theta[1]) }

// isBall tells whether the gain is the quotient of the wheels that touch a ball.
func (l lawOf) isBall() bool { return l.name() == Contact || l.name() == ContactAngle }
