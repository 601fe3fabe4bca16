package variator

import "math"

// contact is the ball variator with contacts 90 degrees apart: gain, asymmetry, rate (rad/us).
type contact struct{}

func (contact) name() LawName        { return Contact }
func (contact) words() string        { return "contacts at 90 degrees" }
func (contact) parameters() []string { return []string{parGain, parAsymmetry, parRate} }

func (contact) bounds() (lower, upper []float64) {
	return []float64{-unbounded, -mostAsymmetry, 0}, []float64{unbounded, mostAsymmetry, unbounded}
}

func (contact) value(theta []float64, e, side float64, by []float64) (size, slope float64) {
	gain, rate := gainOf(theta, side), theta[2]
	tilt := rate * e
	if !(tilt >= 0 && tilt < math.Pi/2) {
		return math.NaN(), math.NaN()
	}
	tan := math.Tan(tilt)
	steep := gain * (1 + tan*tan)
	by[0] = (1 + side*theta[1]) * tan
	by[1] = side * theta[0] * tan
	by[2] = steep * e
	return gain * tan, steep * rate
}

func (contact) beyond(theta []float64, size, side float64) (e float64, ok bool) {
	tan := size / gainOf(theta, side)
	return math.Atan(tan) / theta[2], tan >= 0
}

// trials: the reach may be anything from a slight tilt, where the tangent is all but straight, to nearly the pole.
func (contact) trials(reach float64) [][]float64 {
	var list [][]float64
	for _, tilt := range []float64{0.15, 0.35, 0.55, 0.7, 0.85, 1, 1.1, 1.2, 1.3, 1.4} {
		list = append(list, []float64{1, 0, tilt / reach})
	}
	return list
}

// contactAngle is the ball variator whose contacts are off 90 degrees: gain, asymmetry, rate, angle error (rad).
type contactAngle struct{}

func (contactAngle) name() LawName { return ContactAngle }
func (contactAngle) words() string { return "contacts off 90 degrees" }
func (contactAngle) parameters() []string {
	return []string{parGain, parAsymmetry, parRate, parAngleError}
}

func (contactAngle) bounds() (lower, upper []float64) {
	return []float64{-unbounded, -mostAsymmetry, 0, -mostAngleError}, []float64{unbounded, mostAsymmetry, unbounded, mostAngleError}
}

func (contactAngle) value(theta []float64, e, side float64, by []float64) (size, slope float64) {
	gain, rate, off := gainOf(theta, side), theta[2], theta[3]
	tilt := rate * e
	fromPole := tilt - side*off
	if !(tilt >= 0 && tilt < math.Pi && math.Abs(fromPole) < math.Pi/2) {
		return math.NaN(), math.NaN()
	}
	sin, cos := math.Sin(tilt), math.Cos(fromPole)
	quotient := sin / cos
	steep := gain * math.Cos(off) / (cos * cos) // cos(off) = cos(tilt) cos(fromPole) + sin(tilt) sin(fromPole)
	by[0] = (1 + side*theta[1]) * quotient
	by[1] = side * theta[0] * quotient
	by[2] = steep * e
	by[3] = -gain * quotient * side * math.Sin(fromPole) / cos
	return gain * quotient, steep * rate
}

// beyond: sin t = q cos(t - s off) gives tan t = q cos off / (1 - q sin(s off)).
func (contactAngle) beyond(theta []float64, size, side float64) (e float64, ok bool) {
	off := theta[3]
	q := size / gainOf(theta, side)
	tilt := math.Atan2(q*math.Cos(off), 1-q*math.Sin(side*off))
	return tilt / theta[2], q >= 0
}

func (contactAngle) trials(reach float64) [][]float64 {
	var list [][]float64
	for _, t := range (contact{}).trials(reach) {
		list = append(list, append(t, 0))
	}
	return list
}
