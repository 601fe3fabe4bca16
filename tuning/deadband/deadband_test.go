package deadband

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// Hamada, Mang, Hoff, Quality Engineering (2019), DOI
// 10.1080/08982112.2018.1551547, Table 1: 25 drops, x = log10 of the height.
// Published probit fit: mu 1.531691, sigma 0.073731988. The standard error is
// an independent recomputation to convergence (0.020813).
func TestThresholdAgreesWithAPublishedProbitFit(t *testing.T) {
	h := []float64{25.4, 28.5, 25.4, 28.5, 32.0, 35.9, 32.0, 35.9, 40.3, 35.9, 32.0, 28.5, 32.0, 28.5, 32.0, 28.5, 32.0, 35.9, 40.3, 35.9, 32.0, 35.9, 40.3, 35.9, 40.3}
	y := []int{0, 1, 0, 0, 0, 1, 0, 0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 1, 1, 0, 0, 1, 0, 1}
	var x []float64
	var yes []bool
	for i := range h {
		x = append(x, math.Log10(h[i]))
		yes = append(yes, y[i] == 1)
	}
	th, err := FitThreshold(x, yes)
	require.NoError(t, err)
	assert.InDelta(t, 1.5316906, th.Middle.Value, 2e-6)
	assert.InDelta(t, 0.07373181, th.Scatter, 2e-6)
	assert.InDelta(t, 0.020813, th.Middle.StdErr, 2e-5, "expected information stands close to the observed")
	assert.False(t, th.Separated)
}

func TestThresholdOfSeparatedTriesIsTheGap(t *testing.T) {
	th, err := FitThreshold([]float64{1, 2, 4, 5}, []bool{false, false, true, true})
	require.NoError(t, err)
	assert.Equal(t, units.Estimate{Value: 3, StdErr: 2 / math.Sqrt(12)}, th.Middle)
	assert.True(t, th.Separated)
	_, err = FitThreshold([]float64{1, 2}, []bool{true, true})
	assert.ErrorIs(t, err, ErrOneSided)
}

// A simulated search against a normal threshold of known place and scatter:
// the edge must be unbiased and its error must be what it claims, for servos
// that repeat well and badly. The error presumes little of the scatter, so that
// it is wide for a servo that repeats perfectly; it is too narrow for one that
// repeats worse than 2 us, which the bounds below say openly.
func TestSearchFindsTheEdgeAsWellAsItClaims(t *testing.T) {
	const runs, truth, wanted, seed = 300, 1528.4, 0.6, 7
	leastCover := map[float64]float64{0.2: 0.93, 0.5: 0.93, 1.2: 0.90, 2.5: 0.75}
	for scatter, least := range leastCover {
		rng := rand.New(rand.NewPCG(seed, uint64(scatter*10)))
		var bias, square, within, tries, claimed float64
		for range runs {
			s := newSearch(Above, measure.Outward, units.Pulse(truth+20*(rng.Float64()-0.5)))
			for !s.done(wanted) {
				s.record(float64(s.pulse()) > truth+scatter*rng.NormFloat64())
			}
			th, err := edgeThreshold(s.x, s.turned)
			require.NoError(t, err, "seed %d", seed)
			e := th.Middle.Value - truth
			bias += e / runs
			square += e * e / runs
			claimed += th.Middle.StdErr * th.Middle.StdErr / runs
			tries += float64(len(s.x)) / runs
			if math.Abs(e) < 1.96*th.Middle.StdErr {
				within += 1.0 / runs
			}
		}
		rms := math.Sqrt(square)
		t.Logf("scatter %.1f us, %d searches: bias %.3f ±%.3f us, rms %.3f us, claimed %.3f us, coverage of 95 %% intervals %.3f ±%.3f, %.1f tries an edge",
			scatter, runs, bias, rms/math.Sqrt(runs), rms, math.Sqrt(claimed), within, math.Sqrt(math.Max(0, within*(1-within))/runs), tries)
		assert.Less(t, math.Abs(bias), 0.2, "scatter %g", scatter)
		assert.Greater(t, within, least, "scatter %g", scatter)
		assert.Less(t, math.Sqrt(claimed), 3*rms, "scatter %g: an error three times too wide is no knowledge", scatter)
	}
}

func TestNeutralIsFarthestFromEveryEdge(t *testing.T) {
	edge := func(side Side, a measure.Approach, p, s float64) Edge {
		return Edge{Side: side, Approach: a, Pulse: units.Estimate{Value: p, StdErr: s}}
	}
	edges := []Edge{edge(Above, measure.Outward, 1530, 1), edge(Above, measure.Inward, 1526, 1), edge(Below, measure.Outward, 1480, 3), edge(Below, measure.Inward, 1486, 3)}
	p, safety := neutral(edges)
	// Between 1486 (error 3) and 1526 (error 1): 30 from the one, 10 from the other.
	assert.InDelta(t, 1516, float64(p), 0.1)
	assert.InDelta(t, 10, safety, 0.05)
}

func TestMovedNeedsMoreThanATremble(t *testing.T) {
	assert.False(t, moved(2, 2, 100))
	assert.True(t, moved(-3, 2, 100))
	assert.False(t, moved(13, 2, 2400), "0.0027 output turns a shaft turn is below the slowest that counts")
	assert.True(t, moved(15, 2, 2400))
}
