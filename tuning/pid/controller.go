package pid

import "math"

// Controller is the control law of the package comment in double precision: the reference that other implementations
// are compared with. It does not allocate and belongs to one goroutine.
type Controller struct {
	law   Law
	table *Table
	quiet int // N

	integral, derivative       float64
	lastMeasured, lastSetPoint float64
	origin                     float64
	quietFor                   int
	holding                    bool
}

// Output is what one period gave.
type Output struct {
	Ratio   float64 // u: limited, 0 while holding
	PulseUs float64 // the table's, before rounding to the servo's resolution
	Holding bool
	Limited bool // u differs from what the law would have had

	// The parts of the ratio before the limits; all but Integral are 0 while holding.
	Proportional, Integral, Derivative, FeedForward float64
}

// NewController returns a controller whose loop was closed at the given measured value.
func NewController(law Law, table *Table, measured float64) (*Controller, error) {
	if err := law.Validate(); err != nil {
		return nil, err
	}
	if table == nil {
		return nil, &TableError{0, "there is none, and the law needs one"}
	}
	c := &Controller{law: law, table: table, quiet: law.QuietPeriods()}
	c.Close(measured)
	return c, nil
}

// Close starts anew: the loop is closed at this measured value.
func (c *Controller) Close(measured float64) {
	c.integral, c.derivative = 0, 0
	c.lastMeasured, c.lastSetPoint, c.origin = measured, measured, measured
	c.quietFor, c.holding = 0, false
}

// Step is one period: measured value, set-point, and the set-point's rate in units a second.
func (c *Controller) Step(measured, setPoint, rate float64) Output {
	e := setPoint - measured
	c.differentiate(measured)
	atRest := setPoint == c.lastSetPoint && rate == 0
	c.decideHold(e, atRest)
	var out Output
	if c.holding {
		out = Output{PulseUs: c.table.Pulse(0), Holding: true, Integral: c.integral}
	} else {
		out = c.drive(e, setPoint, rate)
	}
	c.lastMeasured, c.lastSetPoint = measured, setPoint
	return out
}

// differentiate advances the filtered derivative of the measured value.
func (c *Controller) differentiate(measured float64) {
	l := &c.law
	if l.Gains.Kd == 0 {
		c.derivative = 0
		return
	}
	c.derivative = (l.FilterTimeS*c.derivative - l.Gains.Kd*(measured-c.lastMeasured)) / (l.FilterTimeS + l.PeriodS)
}

// decideHold enters or leaves the hold zone.
func (c *Controller) decideHold(e float64, atRest bool) {
	l := &c.law
	if l.HoldZone > 0 && atRest && math.Abs(e) <= l.HoldZone {
		c.quietFor = min(c.quietFor+1, c.quiet)
	} else {
		c.quietFor = 0
	}
	if c.holding && (!atRest || math.Abs(e) > l.HoldRelease) {
		c.holding = false
	}
	if !c.holding && l.HoldZone > 0 && c.quietFor >= c.quiet {
		c.holding = true
	}
}

// drive computes the ratio, limits it, and advances the integral.
func (c *Controller) drive(e, setPoint, rate float64) Output {
	l := &c.law
	out := Output{
		Proportional: l.Gains.Kp * (e - (1-l.SetPointWeight)*(setPoint-c.origin)),
		Integral:     c.integral,
		Derivative:   c.derivative,
		FeedForward:  l.FeedForward * rate,
	}
	wanted := out.Proportional + out.Integral + out.Derivative + out.FeedForward
	out.Ratio = min(max(wanted, l.RatioLeast), l.RatioMost)
	out.Limited = out.Ratio != wanted
	out.PulseUs = c.table.Pulse(out.Ratio)
	if l.Gains.Ki > 0 {
		c.integral += l.PeriodS * (l.Gains.Ki*e + (out.Ratio-wanted)/l.TrackingTimeS)
	}
	return out
}
