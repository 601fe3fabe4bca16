package variator

import (
	"fmt"
	"math"

	"trunnion/tuning/lsq"
	"trunnion/tuning/units"
)

// curve is what a Model is asked through, whatever kind it is.
type curve interface {
	// ratio at a pulse reached from a way, and its slope per us.
	ratio(pulse, way float64) (ratio, slope float64)
	// stdErr of the ratio at a pulse, the middle way; meaningless inside the dead band.
	stdErr(pulse float64) float64
	// edges where the curve leaves zero, at lower and higher pulses, and the middle between them.
	edges() (lower, upper, centre units.Estimate)
	// pulseFor a ratio that is not zero; false beyond the curve's reach.
	pulseFor(ratio float64) (float64, bool)
	// hysteresis between the approaches, in us.
	hysteresis() float64
	// freedoms is how many numbers the curve was free to choose.
	freedoms() int
}

func (m *Model) curve() curve {
	if m.Law == FreeForm {
		return newFreeCurve(m)
	}
	s, known := shapeOf(m.Law)
	if !known {
		panic(fmt.Sprintf("variator: model of unknown law %q; Check it first", m.Law))
	}
	law, ok := lawNamed(s, namesOf(m.Parameters))
	if !ok {
		panic(fmt.Sprintf("variator: model of law %q with parameters %q; Check it first", m.Law, namesOf(m.Parameters)))
	}
	c := &lawCurve{law: law, theta: valuesOf(m.Parameters), covariance: m.Covariance, by: make([]float64, len(m.Parameters))}
	if r := m.Rival; r != nil {
		s, _ := shapeOf(r.Law)
		law, ok := lawNamed(s, namesOf(r.Parameters))
		if !ok {
			panic(fmt.Sprintf("variator: rival law %q with parameters %q; Check the model first", r.Law, namesOf(r.Parameters)))
		}
		c.rival = &lawCurve{law: law, theta: valuesOf(r.Parameters), by: make([]float64, len(r.Parameters))}
	}
	return c
}

// lawCurve is a law with its parameters.
type lawCurve struct {
	law        lawOf
	theta      []float64
	covariance [][]float64
	by         []float64
	rival      *lawCurve // nil where there is none
}

func (c *lawCurve) ratio(pulse, way float64) (ratio, slope float64) {
	return c.law.ratio(c.theta, pulse, way, c.by)
}

// stdErr is that of the parameters, and how far the rival law lies off: which of the two is right is not known.
func (c *lawCurve) stdErr(pulse float64) float64 {
	u, _ := c.law.ratio(c.theta, pulse, 0, c.by)
	own := lsq.QuadraticStdErr(c.covariance, c.by)
	if c.rival == nil {
		return own
	}
	v, _ := c.rival.ratio(pulse, 0)
	if math.IsNaN(v) { // beyond the rival's reach
		return own
	}
	return math.Hypot(own, u-v)
}

// edges: where the curve is zero its pulse moves with a parameter by minus the one derivative over the other.
func (c *lawCurve) edges() (lower, upper, centre units.Estimate) {
	var gradient [2][]float64
	var at [2]float64
	at[0], at[1], _ = c.placeEdges()
	for k, side := range []float64{-1, 1} {
		e, _ := c.law.outTo(c.theta, 0, side)
		_, slope := c.law.turning(c.theta, e, side, 0, c.by)
		gradient[k] = make([]float64, len(c.by))
		for j, d := range c.by {
			gradient[k][j] = -d / slope
		}
		if e == 0 { // at a jump the curve breaks off at the onset, whatever its height
			clear(gradient[k])
			gradient[k][c.law.shapeCount], gradient[k][c.law.shapeCount+1] = 1, side
		}
	}
	middle := make([]float64, len(c.by))
	for j := range middle {
		middle[j] = (gradient[0][j] + gradient[1][j]) / 2
	}
	var off [3]float64
	if c.rival != nil {
		l, u, m := c.rival.placeEdges()
		off = [3]float64{l - at[0], u - at[1], m - (at[0]+at[1])/2}
	}
	estimate := func(v float64, g []float64, off float64) units.Estimate {
		return units.Estimate{Value: v, StdErr: math.Hypot(lsq.QuadraticStdErr(c.covariance, g), off)}
	}
	return estimate(at[0], gradient[0], off[0]), estimate(at[1], gradient[1], off[1]), estimate((at[0]+at[1])/2, middle, off[2])
}

// placeEdges is edges without errors.
func (c *lawCurve) placeEdges() (lower, upper, middle float64) {
	at := func(side float64) float64 {
		e, _ := c.law.outTo(c.theta, 0, side)
		return c.law.centre(c.theta) + side*(c.law.onset(c.theta)+e)
	}
	lower, upper = at(-1), at(1)
	return lower, upper, (lower + upper) / 2
}

func (c *lawCurve) pulseFor(ratio float64) (float64, bool) {
	side := 1.0
	if ratio*c.theta[0] < 0 {
		side = -1
	}
	e, ok := c.law.outTo(c.theta, side*ratio, side)
	return c.law.centre(c.theta) + side*(c.law.onset(c.theta)+e), ok && !math.IsNaN(e)
}

func (c *lawCurve) hysteresis() float64 { return c.law.hysteresisOf(c.theta) }
func (c *lawCurve) freedoms() int       { return c.law.count() }
