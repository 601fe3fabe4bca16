package variator

import (
	"math"
	"slices"
)

// The names of the parameters that all laws share, and of those that several do.
const (
	parGain       = "gain"
	parGainPerUs  = "gain_per_us"
	parAsymmetry  = "side_asymmetry"
	parRate       = "rate_rad_per_us"
	parAngleError = "contact_angle_error_rad"
	parCentre     = "centre_us"
	parOnset      = "onset_us"
	parCurvature  = "linkage_curvature_per_us"
	parFriction   = "friction_offset_ratio"
	parHysteresis = "hysteresis_us"
)

// terms are what may be added to any shape.
type terms struct {
	curvature  bool // of the linkage between servo and tilt: the rate grows towards one side and falls towards the other
	friction   bool // a ratio that drag takes away on both sides; negative, a jump with which the output leaves rest
	hysteresis bool // of the tilt, where both approaches were read
}

func (t terms) count() int {
	n := 0
	for _, there := range []bool{t.curvature, t.friction, t.hysteresis} {
		if there {
			n++
		}
	}
	return n
}

// lawOf is a shape with the parameters that place it, centre and onset, and its terms.
type lawOf struct {
	shape
	terms
	shapeCount                            int
	curvatureAt, frictionAt, hysteresisAt int // in theta; meaningless for a term that is not there
}

func newLaw(s shape, t terms) lawOf {
	l := lawOf{shape: s, terms: t, shapeCount: len(s.parameters())}
	l.curvatureAt = l.shapeCount + 2
	l.frictionAt, l.hysteresisAt = l.curvatureAt, l.curvatureAt
	if t.curvature {
		l.frictionAt++
		l.hysteresisAt++
	}
	if t.friction {
		l.hysteresisAt++
	}
	return l
}

// lawNamed is the law whose parameters have these names.
func lawNamed(s shape, names []string) (lawOf, bool) {
	has := func(name string) bool { return slices.Contains(names, name) }
	l := newLaw(s, terms{has(parCurvature), has(parFriction), has(parHysteresis)})
	return l, slices.Equal(l.names(), names)
}

// names lists the parameters in the order of theta.
func (l lawOf) names() []string {
	names := append(slices.Clone(l.parameters()), parCentre, parOnset)
	return append(names, l.extras()...)
}

// added are the names of the terms without the hysteresis, which the readings' approaches bring with them.
func (l lawOf) added() []string {
	t := l.terms
	t.hysteresis = false
	return lawOf{terms: t}.extras()
}

// extras are the names of the terms.
func (l lawOf) extras() []string {
	var names []string
	if l.terms.curvature {
		names = append(names, parCurvature)
	}
	if l.terms.friction {
		names = append(names, parFriction)
	}
	if l.terms.hysteresis {
		names = append(names, parHysteresis)
	}
	return names
}

func (l lawOf) count() int { return l.shapeCount + 2 + l.terms.count() }

func (l lawOf) centre(theta []float64) float64 { return theta[l.shapeCount] }
func (l lawOf) onset(theta []float64) float64  { return theta[l.shapeCount+1] }

func (l lawOf) curvatureOf(theta []float64) float64 {
	if l.terms.curvature {
		return theta[l.curvatureAt]
	}
	return 0
}

// drag is the friction offset with the sign of the gain, 0 where it was not fitted.
func (l lawOf) drag(theta []float64) float64 {
	if l.terms.friction {
		return math.Copysign(1, theta[0]) * theta[l.frictionAt]
	}
	return 0
}

// hysteresisOf is the shift between approaches, 0 where it was not fitted.
func (l lawOf) hysteresisOf(theta []float64) float64 {
	if l.terms.hysteresis {
		return theta[l.hysteresisAt]
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
	ratio, slope = l.turning(theta, e, side, way, by)
	if l.terms.friction && side*ratio*theta[0] < 0 { // drag holds it
		clear(by)
		return 0, 0
	}
	return ratio, slope
}

// turning is the law e us beyond the onset, e not negative, as if drag could turn the output backward.
func (l lawOf) turning(theta []float64, e, side, way float64, by []float64) (ratio, slope float64) {
	bend := side * l.curvatureOf(theta) * e
	if !(2*bend > -1) {
		return math.NaN(), math.NaN() // the linkage would turn back
	}
	size, slope := l.value(theta, e*(1+bend), side, by)
	for j := range l.shapeCount {
		by[j] *= side
	}
	if l.terms.curvature {
		by[l.curvatureAt] = slope * e * e
	}
	slope *= 1 + 2*bend
	by[l.shapeCount] = -slope
	by[l.shapeCount+1] = -side * slope
	if l.terms.friction {
		by[l.frictionAt] = -side * math.Copysign(1, theta[0])
	}
	if l.terms.hysteresis {
		by[l.hysteresisAt] = -side * slope * way / 2
	}
	return side * (size - l.drag(theta)), slope
}

// outTo is the distance beyond the onset that gives a ratio of this size (carrying the sign of the gain) on a side;
// false where none does. A size within the jump of a negative friction offset is had at the edge, as nearly as can be.
func (l lawOf) outTo(theta []float64, size, side float64) (e float64, ok bool) {
	drag := l.drag(theta)
	if size*theta[0] >= 0 && (size+drag)*theta[0] < 0 {
		return 0, true
	}
	straight, ok := l.beyond(theta, size+drag, side)
	if !ok {
		return 0, false
	}
	root := 1 + 4*side*l.curvatureOf(theta)*straight // of e + side curvature e^2 = straight
	if !(root > 0) {
		return 0, false
	}
	return 2 * straight / (1 + math.Sqrt(root)), true
}
