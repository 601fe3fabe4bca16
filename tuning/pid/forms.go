package pid

import "math"

// ParallelPID is the form C(s) = Kp + Ki/s + Kd s. It is the form that controllers are given. The units are those of
// the measured value: ratio per unit, and so on; the unit is the count on the wire, the joint's in a calibration.
type ParallelPID struct {
	Kp float64 `json:"kp_ratio_per_unit"`
	Ki float64 `json:"ki_ratio_per_unit_second"`
	Kd float64 `json:"kd_ratio_second_per_unit"`
}

// IdealPID is the form C(s) = Kc (1 + 1/(Ti s) + Td s). Ti = +Inf means no integral action.
type IdealPID struct{ Kc, Ti, Td float64 }

// SeriesPID is the form C(s) = Kc (1 + 1/(Ti s)) (1 + Td s). Ti = +Inf means no integral action.
type SeriesPID struct{ Kc, Ti, Td float64 }

const (
	parallelForm = "parallel"
	idealForm    = "ideal"
	seriesForm   = "series"
)

// Scaled returns the gains for a measured value in another unit: unitsPerNew is how many of the present unit make one
// new unit. Going from millimetres to counts of 0.02 mm it is 0.02.
func (g ParallelPID) Scaled(unitsPerNew float64) ParallelPID {
	return ParallelPID{g.Kp * unitsPerNew, g.Ki * unitsPerNew, g.Kd * unitsPerNew}
}

// Ideal returns the same gains in the ideal form. A controller without proportional action has none.
func (g ParallelPID) Ideal() (IdealPID, error) {
	if g.Kp == 0 {
		return IdealPID{}, &FormError{parallelForm, idealForm, "it has no proportional gain, which all others are quotients of"}
	}
	return IdealPID{Kc: g.Kp, Ti: quotient(g.Kp, g.Ki), Td: g.Kd / g.Kp}, nil
}

// Series returns the same gains in the series form, whose two zeros are real: there is none if Ti < 4 Td in the ideal form.
func (g ParallelPID) Series() (SeriesPID, error) {
	ideal, err := g.Ideal()
	if err != nil {
		return SeriesPID{}, &FormError{parallelForm, seriesForm, "it has no proportional gain, which all others are quotients of"}
	}
	return ideal.Series()
}

// Parallel returns the same gains in the parallel form. Ti must not be 0.
func (g IdealPID) Parallel() (ParallelPID, error) {
	if g.Ti == 0 {
		return ParallelPID{}, &FormError{idealForm, parallelForm, "an integral time of 0 is an infinite integral gain"}
	}
	return ParallelPID{Kp: g.Kc, Ki: g.Kc / g.Ti, Kd: g.Kc * g.Td}, nil
}

// Series returns the same gains in the series form. It exists only where Ti >= 4 Td.
func (g IdealPID) Series() (SeriesPID, error) {
	switch {
	case g.Ti == 0:
		return SeriesPID{}, &FormError{idealForm, seriesForm, "an integral time of 0 is an infinite integral gain"}
	case math.IsInf(g.Ti, 1):
		return SeriesPID(g), nil
	}
	inner := 1 - 4*g.Td/g.Ti
	if inner < 0 {
		return SeriesPID{}, &FormError{idealForm, seriesForm, "the integral time is less than four derivative times, so the zeros are complex"}
	}
	half := (1 + math.Sqrt(inner)) / 2
	return SeriesPID{Kc: g.Kc * half, Ti: g.Ti * half, Td: g.Td / half}, nil
}

// Ideal returns the same gains in the ideal form: with f = 1 + Td/Ti the factors are f, f and 1/f. Ti must not be 0.
func (g SeriesPID) Ideal() (IdealPID, error) {
	if g.Ti == 0 {
		return IdealPID{}, &FormError{seriesForm, idealForm, "an integral time of 0 is an infinite integral gain"}
	}
	f := 1 + g.Td/g.Ti
	if f == 0 {
		return IdealPID{}, &FormError{seriesForm, idealForm, "the two times cancel"}
	}
	return IdealPID{Kc: g.Kc * f, Ti: g.Ti * f, Td: g.Td / f}, nil
}

// Parallel returns the same gains in the parallel form. Ti must not be 0.
func (g SeriesPID) Parallel() (ParallelPID, error) {
	ideal, err := g.Ideal()
	if err != nil {
		return ParallelPID{}, &FormError{seriesForm, parallelForm, "an integral time of 0 is an infinite integral gain"}
	}
	return ideal.Parallel()
}

// Filtered returns the parallel gains that equal Kc (1 + 1/(Ti s)) (1 + Td s)/(1 + Tf s) exactly, together with the
// derivative filter Tf of the form Kp + Ki/s + Kd s/(Tf s + 1). A filter on the whole series form is not the same as one
// on the derivative alone, so the gains differ from those of Parallel. It fails where that would need Kd < 0.
func (g SeriesPID) Filtered(tf float64) (ParallelPID, error) {
	if g.Ti == 0 {
		return ParallelPID{}, &FormError{seriesForm, parallelForm, "an integral time of 0 is an infinite integral gain"}
	}
	ki := g.Kc / g.Ti
	kp := g.Kc + ki*(g.Td-tf)
	kd := g.Kc*g.Td - kp*tf
	if kd < 0 && g.Td > 0 || tf < 0 {
		return ParallelPID{}, &FormError{seriesForm, parallelForm, "the filter time is too long for the derivative time"}
	}
	return ParallelPID{Kp: kp, Ki: ki, Kd: kd}, nil
}

// quotient is a/b, and +Inf where b is nought.
func quotient(a, b float64) float64 {
	if b == 0 {
		return math.Inf(1)
	}
	return a / b
}
