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

// withTerms are the laws with each set of terms, hysteresis always among them.
func withTerms(each func(l lawOf, theta []float64)) {
	for _, c := range lawCases {
		for _, t := range []terms{{}, {curvature: true}, {friction: true}, {curvature: true, friction: true}} {
			t.hysteresis = true
			for _, drag := range []float64{0.03, -0.03} { // drag, and a jump
				last := len(c.theta) - 1
				theta := append([]float64{}, c.theta[:last]...)
				if t.curvature {
					theta = append(theta, 0.0002)
				}
				if t.friction {
					theta = append(theta, drag)
				} else if drag < 0 {
					continue
				}
				each(newLaw(c.shape, t), append(theta, c.theta[last]))
			}
		}
	}
}

func TestDerivativesOfLaws(t *testing.T) {
	withTerms(func(l lawOf, theta []float64) {
		require.Len(t, theta, l.count())
		require.Len(t, l.names(), l.count())
		by, spare := make([]float64, l.count()), make([]float64, l.count())
		for pulse := 1103.0; pulse < 1920; pulse += 17 {
			for _, way := range []float64{-1, 0, 1} {
				e, side := l.place(theta, pulse, way)
				edge, _ := l.outTo(theta, 0, side)
				if math.Abs(e) < 0.1 || math.Abs(e-edge) < 0.1 {
					continue // the derivative breaks off at the edge
				}
				_, slope := l.ratio(theta, pulse, way, by)
				ahead, _ := l.ratio(theta, pulse+1e-3, way, spare)
				behind, _ := l.ratio(theta, pulse-1e-3, way, spare)
				require.InDelta(t, (ahead-behind)/2e-3, slope, 1e-8, "%s: slope at %v us", l.key(), pulse)
				for j, name := range l.names() {
					h := 1e-6 * math.Max(math.Abs(theta[j]), 1e-3)
					moved := append([]float64{}, theta...)
					moved[j] += h
					up, _ := l.ratio(moved, pulse, way, spare)
					moved[j] -= 2 * h
					down, _ := l.ratio(moved, pulse, way, spare)
					size := math.Max(math.Abs(by[j]), 1e-3)
					require.InDelta(t, (up-down)/(2*h), by[j], 1e-6*size+1e-7, "%s: d/d%s at %v us, way %v", l.key(), name, pulse, way)
				}
			}
		}
	})
}

func TestInverseOfLaws(t *testing.T) {
	withTerms(func(l lawOf, theta []float64) {
		curve := &lawCurve{law: l, theta: theta, by: make([]float64, l.count())}
		for pulse := 1103.0; pulse < 1920; pulse += 7 {
			u, _ := curve.ratio(pulse, 0)
			if u == 0 {
				continue
			}
			back, ok := curve.pulseFor(u)
			require.True(t, ok)
			require.InDelta(t, pulse, back, 1e-9, "%s", l.key())
		}
		lower, upper, _ := curve.placeEdges()
		for k, edge := range []float64{lower, upper} {
			outward := []float64{-1, 1}[k]
			inside, _ := curve.ratio(edge-outward*1e-6, 0)
			outside, _ := curve.ratio(edge+outward*1e-6, 0)
			require.Zero(t, inside, "%s", l.key())
			require.NotZero(t, outside, "%s", l.key())
		}
	})
}

// The error of an edge is that of the pulse at which the fitted curve meets zero, whatever parameters bring it there.
func TestEdgesFollowTheParameters(t *testing.T) {
	withTerms(func(l lawOf, theta []float64) {
		n := l.count()
		for j := range n {
			covariance := make([][]float64, n)
			for i := range covariance {
				covariance[i] = make([]float64, n)
			}
			h := 1e-5 * math.Max(math.Abs(theta[j]), 1e-3)
			covariance[j][j] = 1
			curve := &lawCurve{law: l, theta: theta, covariance: covariance, by: make([]float64, n)}
			lower, upper, centre := curve.edges()
			moved := append([]float64{}, theta...)
			moved[j] += h
			curve.theta = moved
			low, high, middle := curve.placeEdges()
			at := func(got, was, stdErr float64) {
				require.InDelta(t, math.Abs(got-was)/h, stdErr, 1e-3*stdErr+1e-6, "%s by %s", l.key(), l.names()[j])
			}
			at(low, lower.Value, lower.StdErr)
			at(high, upper.Value, upper.StdErr)
			at(middle, centre.Value, centre.StdErr)
		}
	})
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
