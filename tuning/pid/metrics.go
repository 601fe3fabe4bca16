package pid

import "math"

// StepMetrics describes the answer to a unit step of the set-point. Times run from the step, so they hold the dead time.
type StepMetrics struct {
	RiseS             float64 // first crossing of 90 % less first crossing of 10 % of the final value
	OvershootPercent  float64 // of the final value; 0 where there is none
	UndershootPercent float64 // how far it first goes the wrong way, of the final value
	PeakTimeS         float64 // NaN without overshoot
	SettlingS         float64 // last time at which it is 2 % from the final value
	IAE               float64 // integral of |error|, unit x s
	IE                float64 // integral of the error
	ControlPeak       float64 // greatest |ratio|, per unit of step
	ControlTravel     float64 // sum of all changes of the ratio, with the jump at the step
}

// LoadMetrics describes the answer to a load of 1 in the unit of ratio.
type LoadMetrics struct {
	Peak          float64 // greatest |error|
	PeakTimeS     float64
	IAE           float64 // integral of |error|, unit x s
	IE            float64 // integral of set-point less output
	ControlTravel float64
}

const settlingBand = 0.02

// StepMetrics measures the response to a set-point step. Values that the response does not reach are NaN; where it has
// not settled, so is the settling time. Crossings and peaks are found within the steps, not on the grid.
func (r *Response) StepMetrics() StepMetrics {
	final := r.Final
	m := StepMetrics{PeakTimeS: math.NaN(), SettlingS: math.NaN()}
	t10, t90 := r.firstCrossing(0.1*final), r.firstCrossing(0.9*final)
	m.RiseS = t90 - t10
	if v, t := r.extreme(1); v > final {
		m.OvershootPercent, m.PeakTimeS = 100*(v-final)/final, t
	}
	if v, _ := r.extreme(-1); v < 0 {
		m.UndershootPercent = -100 * v / final
	}
	if r.Status == Settled {
		m.SettlingS = r.lastOutside(final, settlingBand*math.Abs(final))
	}
	target := 1.0 // error is counted from the set-point
	m.IAE, m.IE = r.errorIntegrals(target)
	m.ControlPeak, m.ControlTravel = r.controlEffort()
	return m
}

// LoadMetrics measures the response to a load step.
func (r *Response) LoadMetrics() LoadMetrics {
	var m LoadMetrics
	high, at := r.extreme(1)
	low, atLow := r.extreme(-1)
	m.Peak, m.PeakTimeS = high, at
	if -low > high {
		m.Peak, m.PeakTimeS = -low, atLow
	}
	m.IAE, m.IE = r.errorIntegrals(0)
	_, m.ControlTravel = r.controlEffort()
	return m
}

// value is the quintic within a step at share x of it.
func (e *ends) value(x float64) float64 {
	c3, c4, c5 := e.high()
	return e.v0 + x*(e.d0+x*(e.s0/2+x*(c3+x*(c4+x*c5))))
}

// slope is its derivative by x.
func (e *ends) slope(x float64) float64 {
	c3, c4, c5 := e.high()
	return e.d0 + x*(e.s0+x*(3*c3+x*(4*c4+x*5*c5)))
}

// high are the coefficients of x^3 to x^5.
func (e *ends) high() (c3, c4, c5 float64) {
	rise := e.v1 - e.v0
	c3 = 10*rise - 6*e.d0 - 4*e.d1 - 1.5*e.s0 + 0.5*e.s1
	c4 = -15*rise + 8*e.d0 + 7*e.d1 + 1.5*e.s0 - e.s1
	c5 = 6*rise - 3*e.d0 - 3*e.d1 - 0.5*e.s0 + 0.5*e.s1
	return c3, c4, c5
}

// firstCrossing is when the output first reaches a level, NaN if never.
func (r *Response) firstCrossing(level float64) float64 {
	for k := range r.y {
		e := &r.y[k]
		if (e.v0 < level) == (e.v1 < level) {
			continue
		}
		x, _ := bracketedRoot(func(x float64) float64 { return e.value(x) - level }, 0, 1)
		return (float64(k) + x) * r.StepS
	}
	return math.NaN()
}

// lastOutside is the last time at which the output is band away from the final value.
func (r *Response) lastOutside(final, band float64) float64 {
	for k := len(r.y) - 1; k >= 0; k-- {
		e := &r.y[k]
		if math.Abs(e.v0-final) < band && !r.bulges(e, final, band) {
			continue
		}
		level := final + math.Copysign(band, e.v0-final)
		a := 0.0
		if math.Abs(e.v0-final) < band {
			a = peakWithin(e)
			level = final + math.Copysign(band, e.value(a)-final)
		}
		x, _ := bracketedRoot(func(x float64) float64 { return e.value(x) - level }, a, 1)
		return (float64(k) + x) * r.StepS
	}
	return 0
}

// bulges tells whether the output leaves the band within a step whose ends lie inside.
func (r *Response) bulges(e *ends, final, band float64) bool {
	return e.d0*e.d1 < 0 && math.Abs(e.value(peakWithin(e))-final) > band
}

// peakWithin is the share of a step at which its slope is nought.
func peakWithin(e *ends) float64 {
	x, _ := bracketedRoot(e.slope, 0, 1)
	return x
}

// extreme is the greatest (sign 1) or least (sign -1) output and its time.
func (r *Response) extreme(sign float64) (value, t float64) {
	best := 0
	value = r.Output[0]
	for k, v := range r.Output {
		if sign*v > sign*value {
			best, value = k, v
		}
	}
	t = float64(best) * r.StepS
	for k := max(0, best-1); k <= min(best, len(r.y)-1); k++ {
		e := &r.y[k]
		if e.d0*e.d1 >= 0 {
			continue
		}
		x := peakWithin(e)
		if v := e.value(x); sign*v >= sign*value {
			value, t = v, (float64(k)+x)*r.StepS
		}
	}
	return value, t
}

// errorIntegrals are the integrals of |target - y| and of target - y over the response.
func (r *Response) errorIntegrals(target float64) (absolute, signed float64) {
	for k := range r.y {
		e := &r.y[k]
		whole := target - e.integral(1)
		signed += whole
		a, b := target-e.v0, target-e.v1
		if a*b >= 0 {
			absolute += math.Abs(whole)
			continue
		}
		x, _ := bracketedRoot(func(x float64) float64 { return e.value(x) - target }, 0, 1)
		first := target*x - e.integral(x)
		absolute += math.Abs(first) + math.Abs(whole-first)
	}
	return absolute * r.StepS, signed * r.StepS
}

// integral of the output from the start of a step to share x of it.
func (e *ends) integral(x float64) float64 {
	c3, c4, c5 := e.high()
	return x * (e.v0 + x*(e.d0/2+x*(e.s0/6+x*(c3/4+x*(c4/5+x*c5/6)))))
}

// controlEffort is the greatest |ratio| and the sum of its changes, turns within a step included.
func (r *Response) controlEffort() (peak, travel float64) {
	last := 0.0
	to := func(u float64) {
		peak = max(peak, math.Abs(u))
		travel += math.Abs(u - last)
		last = u
	}
	for k := range r.u {
		e := &r.u[k]
		to(e.v0)
		if e.d0*e.d1 < 0 {
			to(e.value(peakWithin(e)))
		}
		to(e.v1)
	}
	return peak, travel
}
