package variator

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Ratio is the fitted ratio at a pulse, in the middle between the approaches.
func (m *Model) Ratio(pulse units.Pulse) units.Ratio {
	u, _ := m.curve().ratio(float64(pulse), 0)
	return units.Ratio(u)
}

// RatioFrom is the fitted ratio at a pulse reached by the given approach.
func (m *Model) RatioFrom(pulse units.Pulse, approach measure.Approach) units.Ratio {
	way := map[measure.Approach]float64{measure.Outward: 1, measure.Inward: -1}[approach]
	u, _ := m.curve().ratio(float64(pulse), way)
	return units.Ratio(u)
}

// Slope is the change of ratio per microsecond at a pulse.
func (m *Model) Slope(pulse units.Pulse) float64 {
	_, slope := m.curve().ratio(float64(pulse), 0)
	return slope
}

// Edges are the pulses at which the curve leaves zero, at lower and at higher pulses, and the middle of the two, each
// in us with its standard error.
func (m *Model) Edges() (lower, upper, centre units.Estimate) { return m.curve().edges() }

// RatioRange is the span of ratios that the curve reaches within the pulses of the readings.
func (m *Model) RatioRange() (least, most units.Ratio) {
	from, to := m.PulseLeast, m.PulseMost
	if n := len(m.Knots); n > 0 { // half a hysteresis inside the outermost readings
		from, to = max(from, m.Knots[0].Pulse), min(to, m.Knots[n-1].Pulse)
	}
	a, b := m.Ratio(from), m.Ratio(to)
	return min(a, b), max(a, b)
}

// Band is the uncertainty of the curve at one pulse.
type Band struct {
	Pulse units.Pulse
	Ratio units.Ratio
	Level float64
	// Low and High hold the ratio at this one pulse with the given probability.
	Low, High units.Ratio
	// SimultaneousLow and SimultaneousHigh hold the whole curve at once with at least that probability; Method says
	// how they were made: "Scheffe", or for a free-form curve "Sidak" over its knots.
	SimultaneousLow, SimultaneousHigh units.Ratio
	Method                            string
}

// RatioBand is the band at a pulse for a level such as 0.95. Beside the dead band it takes in that the edge itself is
// uncertain, so it may leave zero inside the band. Hysteresis is not in it: it is the band of the middle curve.
func (m *Model) RatioBand(pulse units.Pulse, level float64) Band {
	return m.RatioBands([]units.Pulse{pulse}, level)[0]
}

// RatioBands are the bands at many pulses, for a chart.
func (m *Model) RatioBands(pulses []units.Pulse, level float64) []Band {
	c := m.curve()
	point, whole := m.pointwise(level), m.simultaneous(c, level)
	bands := make([]Band, len(pulses))
	for i, pulse := range pulses {
		u, _ := c.ratio(float64(pulse), 0)
		bands[i] = Band{Pulse: pulse, Ratio: units.Ratio(u), Level: level, Method: m.method()}
		bands[i].Low, bands[i].High = limits(c, float64(pulse), point)
		bands[i].SimultaneousLow, bands[i].SimultaneousHigh = limits(c, float64(pulse), whole)
	}
	return bands
}

// pointwise is the factor on a standard error: Student's, since the scale comes from the residuals; the normal one
// where the claimed errors were taken as right.
func (m *Model) pointwise(level float64) float64 {
	p := (1 + level) / 2
	if m.DegreesOfFreedom == 0 {
		return distuv.UnitNormal.Quantile(p)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(m.DegreesOfFreedom)}.Quantile(p)
}

// simultaneous is the factor for the whole curve: Scheffé's sqrt(k F) for k parameters, or the pointwise one at the
// level that k independent knots need (Šidák).
func (m *Model) simultaneous(c curve, level float64) float64 {
	k := float64(c.freedoms())
	if m.Law == FreeForm {
		return m.pointwise(math.Pow(level, 1/k))
	}
	return math.Sqrt(k * distuv.F{D1: k, D2: float64(m.DegreesOfFreedom)}.Quantile(level))
}

// limits are the ratio's at a pulse, factor standard errors away. Where the onset decides, the edge is moved by its own
// error instead, because the derivative breaks off there.
func limits(c curve, pulse, factor float64) (low, high units.Ratio) {
	u, _ := c.ratio(pulse, 0)
	lo, hi := u, u
	if u != 0 {
		half := factor * c.stdErr(pulse)
		lo, hi = u-half, u+half
		if lo*hi < 0 { // the curve may touch zero, not cross it
			if u > 0 {
				lo = 0
			} else {
				hi = 0
			}
		}
	} else {
		lower, upper, _ := c.edges()
		a, _ := c.ratio(pulse-factor*lower.StdErr, 0)
		b, _ := c.ratio(pulse+factor*upper.StdErr, 0)
		lo, hi = math.Min(math.Min(a, b), 0), math.Max(math.Max(a, b), 0)
	}
	return units.Ratio(lo), units.Ratio(hi)
}

// InversePulse is the pulse for a ratio.
type InversePulse struct {
	Pulse units.Pulse `json:"pulse_us"`
	// StdErr is the standard error of Pulse from the fit, in us.
	StdErr float64 `json:"standard_error_us"`
	// HalfHysteresis is half the shift between the approaches, in us: without knowing the approach the right pulse lies
	// up to this far on either side.
	HalfHysteresis float64 `json:"half_hysteresis_us"`
}

// RangeError reports a ratio that the curve does not reach within the pulses of the readings.
type RangeError struct {
	Ratio, Least, Most units.Ratio
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("variator: ratio %.4f is beyond the readings, which reach from %.4f to %.4f; ask for less or take readings further out",
		e.Ratio, e.Least, e.Most)
}

// Inverse is the pulse that gives a ratio. It jumps the dead band: zero is its middle, and the least ratio other than
// zero already lies beyond an edge. The error is a *RangeError.
func (m *Model) Inverse(ratio units.Ratio) (InversePulse, error) {
	c := m.curve()
	inverse := InversePulse{HalfHysteresis: math.Abs(c.hysteresis()) / 2}
	if ratio == 0 {
		_, _, centre := c.edges()
		inverse.Pulse, inverse.StdErr = units.Pulse(centre.Value), centre.StdErr
		return inverse, nil
	}
	pulse, ok := c.pulseFor(float64(ratio))
	if !ok || pulse < float64(m.PulseLeast)-reachUs || pulse > float64(m.PulseMost)+reachUs {
		least, most := m.RatioRange()
		return InversePulse{}, &RangeError{Ratio: ratio, Least: least, Most: most}
	}
	_, slope := c.ratio(pulse, 0)
	inverse.Pulse = units.Pulse(pulse)
	inverse.StdErr = c.stdErr(pulse) / math.Abs(slope)
	return inverse, nil
}

// reachUs lets the ratio at the outermost reading itself be asked for in spite of rounding.
const reachUs = 1e-6

// InverseBand holds the pulse for a ratio with the given probability: Student's limits of the fit, widened by half the
// hysteresis on either side, since the approach is not known beforehand.
func (m *Model) InverseBand(ratio units.Ratio, level float64) (low, high units.Pulse, err error) {
	bands, err := m.InverseBands([]units.Ratio{ratio}, level)
	if err != nil {
		return 0, 0, err
	}
	return bands[0].Low, bands[0].High, nil
}

// PulseBand is the uncertainty of the inverse curve at one ratio. Both bands take in half the hysteresis on either side.
type PulseBand struct {
	Ratio units.Ratio
	Pulse units.Pulse
	Level float64
	// Low and High hold the pulse for this one ratio with the given probability.
	Low, High units.Pulse
	// SimultaneousLow and SimultaneousHigh hold the whole inverse curve at once with at least that probability; Method says
	// how they were made, as in Band.
	SimultaneousLow, SimultaneousHigh units.Pulse
	Method                            string
}

// InverseBands are the bands of the inverse at many ratios, for a chart. The error is a *RangeError.
func (m *Model) InverseBands(ratios []units.Ratio, level float64) ([]PulseBand, error) {
	c := m.curve()
	point, whole := m.pointwise(level), m.simultaneous(c, level)
	bands := make([]PulseBand, len(ratios))
	for i, ratio := range ratios {
		inverse, err := m.Inverse(ratio)
		if err != nil {
			return nil, err
		}
		half := func(factor float64) units.Pulse {
			return units.Pulse(factor*inverse.StdErr + inverse.HalfHysteresis)
		}
		bands[i] = PulseBand{
			Ratio: ratio, Pulse: inverse.Pulse, Level: level, Method: m.method(),
			Low: inverse.Pulse - half(point), High: inverse.Pulse + half(point),
			SimultaneousLow: inverse.Pulse - half(whole), SimultaneousHigh: inverse.Pulse + half(whole),
		}
	}
	return bands, nil
}

// method names how a simultaneous band is made.
func (m *Model) method() string {
	if m.Law == FreeForm {
		return "Sidak"
	}
	return "Scheffe"
}
