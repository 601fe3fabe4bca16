package variator

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// lawCases are parameters for each law, with hysteresis, for readings within 450 us of the centre.
var lawCases = []struct {
	shape shape
	theta []float64
}{
	{disc{}, []float64{0.0031, 0.03, 1507, 9, 3}},
	{disc{}, []float64{-0.0031, -0.05, 1480, 0.5, -2}},
	{discArm{}, []float64{1.4, 0.03, 0.0021, 1507, 9, 3}},
	{discArm{}, []float64{-1.4, 0.03, 0.0021, 1507, 9, 3}},
	{contact{}, []float64{1.287, 0.035, 0.00175, 1507.3, 9.4, 4}},
	{contact{}, []float64{-1.1, -0.02, 0.0021, 1530, 20, -3}},
	{contactAngle{}, []float64{1.287, 0.035, 0.00175, 0.06, 1507.3, 9.4, 4}},
	{contactAngle{}, []float64{-1.287, 0.035, 0.00175, -0.06, 1507.3, 9.4, 4}},
}

func TestDerivativesOfLaws(t *testing.T) {
	for _, c := range lawCases {
		l := newLaw(c.shape, terms{hysteresis: true})
		require.Len(t, c.theta, l.count())
		require.Len(t, l.names(), l.count())
		by, spare := make([]float64, l.count()), make([]float64, l.count())
		for pulse := 1103.0; pulse < 1920; pulse += 17 {
			for _, way := range []float64{-1, 0, 1} {
				if e, _ := l.place(c.theta, pulse, way); math.Abs(e) < 0.1 {
					continue // the derivative breaks off at the edge
				}
				_, slope := l.ratio(c.theta, pulse, way, by)
				ahead, _ := l.ratio(c.theta, pulse+1e-3, way, spare)
				behind, _ := l.ratio(c.theta, pulse-1e-3, way, spare)
				require.InDelta(t, (ahead-behind)/2e-3, slope, 1e-8, "%s: slope at %v us", c.shape.name(), pulse)
				for j, name := range l.names() {
					h := 1e-6 * math.Max(math.Abs(c.theta[j]), 1e-3)
					moved := append([]float64{}, c.theta...)
					moved[j] += h
					up, _ := l.ratio(moved, pulse, way, spare)
					moved[j] -= 2 * h
					down, _ := l.ratio(moved, pulse, way, spare)
					size := math.Max(math.Abs(by[j]), 1e-3)
					require.InDelta(t, (up-down)/(2*h), by[j], 1e-6*size+1e-7, "%s: d/d%s at %v us, way %v", c.shape.name(), name, pulse, way)
				}
			}
		}
	}
}

func TestInverseOfLaws(t *testing.T) {
	for _, c := range lawCases {
		l := newLaw(c.shape, terms{hysteresis: true})
		curve := &lawCurve{law: l, theta: c.theta, by: make([]float64, l.count())}
		for pulse := 1103.0; pulse < 1920; pulse += 7 {
			u, _ := curve.ratio(pulse, 0)
			if u == 0 {
				continue
			}
			back, ok := curve.pulseFor(u)
			require.True(t, ok)
			require.InDelta(t, pulse, back, 1e-9, "%s", c.shape.name())
		}
	}
}

// Geometry with 90 degree contacts: the ratio is the tangent of the tilt (exact table), whatever the code's form.
func TestContactLawIsTheTangent(t *testing.T) {
	for degrees, tan := range map[float64]float64{5: 0.08749, 20: 0.36397, 45: 1, 60: 1.73205} {
		e := degrees * math.Pi / 180 / 0.002
		size, _ := contact{}.value([]float64{1, 0, 0.002}, e, 1, make([]float64, 3))
		require.InDelta(t, tan, size, 5e-6, "%v degrees", degrees)
		off, _ := contactAngle{}.value([]float64{1, 0, 0.002, 0}, e, -1, make([]float64, 4))
		require.InDelta(t, size, off, 1e-12, "no angle error: the same law")
	}
}
