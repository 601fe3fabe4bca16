package variator

import (
	"fmt"
	"math"
	"sort"

	"trunnion/tuning/lsq"
	"trunnion/tuning/units"
)

// Knot is a point of a free-form curve. Between two knots the curve is the cubic with these ratios and slopes; between
// the two edge knots, which have ratio 0, it is zero.
type Knot struct {
	Pulse  units.Pulse `json:"pulse_us"`
	Ratio  float64     `json:"ratio"`
	Slope  float64     `json:"slope_per_us"`   // on the turning side
	StdErr float64     `json:"standard_error"` // of Ratio; for an edge knot, of the slope times the edge's error
}

// The parameters of a free-form curve.
const (
	parLowerEdge = "lower_edge_us"
	parUpperEdge = "upper_edge_us"
)

// checkKnots reports knots that make no monotone curve.
func (m *Model) checkKnots() error {
	names := []string{parLowerEdge, parUpperEdge, parHysteresis}
	if len(m.Parameters) != 2 && len(m.Parameters) != 3 {
		return &ModelError{"parameters", "a free-form curve has its two edges, and hysteresis where fitted"}
	}
	for j, p := range m.Parameters {
		if p.Name != names[j] {
			return &ModelError{"parameters", fmt.Sprintf("%q where %q belongs", p.Name, names[j])}
		}
	}
	if len(m.Knots) < 4 {
		return &ModelError{"knots", "fewer than four"}
	}
	zeros := 0
	direction := math.Copysign(1, m.Knots[len(m.Knots)-1].Ratio-m.Knots[0].Ratio)
	for i, k := range m.Knots {
		if k.Ratio == 0 {
			zeros++
		}
		if i == 0 {
			continue
		}
		before := m.Knots[i-1]
		if !(k.Pulse >= before.Pulse) || direction*(k.Ratio-before.Ratio) < 0 {
			return &ModelError{"knots", fmt.Sprintf("knot %d does not rise as the others do", i)}
		}
	}
	if zeros != 2 {
		return &ModelError{"knots", fmt.Sprintf("%d lie at ratio 0, where the two edges belong", zeros)}
	}
	return nil
}

// freeCurve is a free-form curve.
type freeCurve struct {
	knots      []Knot
	lowerEdge  int // index of the knot; the next one is the upper edge
	shift      float64
	between    float64 // interpolation error
	parameters []Parameter
	covariance [][]float64
}

func newFreeCurve(m *Model) *freeCurve {
	c := &freeCurve{knots: m.Knots, between: m.InterpolationError, parameters: m.Parameters, covariance: m.Covariance}
	for c.lowerEdge+1 < len(c.knots) && c.knots[c.lowerEdge].Ratio != 0 {
		c.lowerEdge++
	}
	if len(m.Parameters) == 3 {
		c.shift = m.Parameters[2].Value
	}
	return c
}

func (c *freeCurve) ratio(pulse, way float64) (ratio, slope float64) {
	lower, upper := float64(c.knots[c.lowerEdge].Pulse), float64(c.knots[c.lowerEdge+1].Pulse)
	if side := sideOf(pulse, lower, upper); side != 0 {
		pulse -= side * way * c.shift / 2
	}
	if pulse >= lower && pulse <= upper {
		return 0, 0
	}
	i := c.segment(pulse)
	return hermite(c.knots[i], c.knots[i+1], pulse)
}

// sideOf is -1 below the dead band, +1 above it, 0 inside.
func sideOf(pulse, lower, upper float64) float64 {
	switch {
	case pulse < lower:
		return -1
	case pulse > upper:
		return 1
	}
	return 0
}

// segment is the knot before a pulse, the outermost segments serving what lies beyond.
func (c *freeCurve) segment(pulse float64) int {
	i := sort.Search(len(c.knots), func(i int) bool { return float64(c.knots[i].Pulse) > pulse }) - 1
	return max(0, min(i, len(c.knots)-2))
}

// hermite is the cubic between two knots, and a straight line beyond them.
func hermite(a, b Knot, pulse float64) (ratio, slope float64) {
	h := float64(b.Pulse - a.Pulse)
	t := (pulse - float64(a.Pulse)) / h
	switch {
	case t < 0:
		return a.Ratio + a.Slope*h*t, a.Slope
	case t > 1:
		return b.Ratio + b.Slope*h*(t-1), b.Slope
	}
	rise := b.Ratio - a.Ratio
	c2 := 3*rise - h*(2*a.Slope+b.Slope)
	c3 := -2*rise + h*(a.Slope+b.Slope)
	return a.Ratio + t*(a.Slope*h+t*(c2+t*c3)), (a.Slope*h + t*(2*c2+t*3*c3)) / h
}

// stdErr joins the knots' errors by a line in variance and adds what the curve may be off between them, which is
// nothing at a knot and most in the middle.
func (c *freeCurve) stdErr(pulse float64) float64 {
	i := c.segment(pulse)
	a, b := c.knots[i], c.knots[i+1]
	t := math.Max(0, math.Min(1, (pulse-float64(a.Pulse))/float64(b.Pulse-a.Pulse)))
	off := 4 * t * (1 - t) * c.between
	return math.Sqrt(a.StdErr*a.StdErr*(1-t) + b.StdErr*b.StdErr*t + off*off)
}

func (c *freeCurve) edges() (lower, upper, centre units.Estimate) {
	half := make([]float64, len(c.parameters))
	half[0], half[1] = 0.5, 0.5
	lower = units.Estimate{Value: c.parameters[0].Value, StdErr: c.parameters[0].StdErr}
	upper = units.Estimate{Value: c.parameters[1].Value, StdErr: c.parameters[1].StdErr}
	return lower, upper, units.Estimate{Value: (lower.Value + upper.Value) / 2, StdErr: lsq.QuadraticStdErr(c.covariance, half)}
}

// pulseFor finds the segment and then the root of its cubic by Newton's method, halving where a step would leave the
// bracket; the curve's being monotone keeps the root in it.
func (c *freeCurve) pulseFor(ratio float64) (float64, bool) {
	direction := math.Copysign(1, c.knots[len(c.knots)-1].Ratio-c.knots[0].Ratio)
	want := direction * ratio
	if want < direction*c.knots[0].Ratio || want > direction*c.knots[len(c.knots)-1].Ratio {
		return 0, false
	}
	i := sort.Search(len(c.knots), func(i int) bool { return direction*c.knots[i].Ratio >= want })
	i = max(i, 1)
	a, b := c.knots[i-1], c.knots[i]
	low, high := float64(a.Pulse), float64(b.Pulse)
	pulse := (low + high) / 2
	for range 60 {
		u, slope := hermite(a, b, pulse)
		off := direction*u - want
		if off < 0 {
			low = pulse
		} else {
			high = pulse
		}
		next := pulse - off/(direction*slope)
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-pulse) < 1e-10 {
			return next, true
		}
		pulse = next
	}
	return pulse, true
}

func (c *freeCurve) hysteresis() float64 { return c.shift }
func (c *freeCurve) freedoms() int       { return len(c.knots) }
