package variator

import "math"

// disc is a wheel on a disc, moved across it in proportion to the pulse: gain per us, asymmetry.
type disc struct{}

func (disc) name() LawName        { return Disc }
func (disc) words() string        { return "wheel on a disc" }
func (disc) parameters() []string { return []string{parGainPerUs, parAsymmetry} }

func (disc) bounds() (lower, upper []float64) {
	return []float64{-unbounded, -mostAsymmetry}, []float64{unbounded, mostAsymmetry}
}

func (disc) value(theta []float64, e, side float64, by []float64) (size, slope float64) {
	gain := gainOf(theta, side)
	by[0] = (1 + side*theta[1]) * e
	by[1] = side * theta[0] * e
	return gain * e, gain
}

func (disc) beyond(theta []float64, size, side float64) (e float64, ok bool) {
	e = size / gainOf(theta, side)
	return e, e >= 0
}

func (disc) trials(float64) [][]float64 { return [][]float64{{1, 0}} }

// discArm is a wheel on a disc, moved by a servo arm: gain (arm length over wheel radius), asymmetry, rate (rad/us).
type discArm struct{}

func (discArm) name() LawName        { return DiscArm }
func (discArm) words() string        { return "wheel on a disc, moved by an arm" }
func (discArm) parameters() []string { return []string{parGain, parAsymmetry, parRate} }

func (discArm) bounds() (lower, upper []float64) {
	return []float64{-unbounded, -mostAsymmetry, 0}, []float64{unbounded, mostAsymmetry, unbounded}
}

func (discArm) value(theta []float64, e, side float64, by []float64) (size, slope float64) {
	gain, rate := gainOf(theta, side), theta[2]
	swing := rate * e
	if !(swing >= 0 && swing < math.Pi/2) {
		return math.NaN(), math.NaN()
	}
	sin, cos := math.Sincos(swing)
	by[0] = (1 + side*theta[1]) * sin
	by[1] = side * theta[0] * sin
	by[2] = gain * cos * e
	return gain * sin, gain * cos * rate
}

func (discArm) beyond(theta []float64, size, side float64) (e float64, ok bool) {
	sin := size / gainOf(theta, side)
	return math.Asin(math.Min(sin, 1)) / theta[2], sin >= 0 && sin <= 1
}

func (discArm) trials(reach float64) [][]float64 {
	var list [][]float64
	for _, swing := range []float64{0.15, 0.4, 0.6, 0.8, 1, 1.2, 1.4} {
		list = append(list, []float64{1, 0, swing / reach})
	}
	return list
}
