package curve

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

func TestPlanCoversBothSidesAndRepeatsAThird(t *testing.T) {
	above, below := Span{Edge: 1530, Limit: 1930}, Span{Edge: 1480, Limit: 1080}
	plan := Plan(above, below)
	seen := map[units.Pulse]int{}
	inward := 0
	for i, p := range plan {
		seen[p.Pulse]++
		if p.Approach == measure.Inward {
			inward++
		}
		onAbove := p.Pulse > 1500
		assert.Equal(t, i%2 == 0, onAbove, "sides alternate")
		if onAbove {
			assert.True(t, p.Pulse >= 1536 && p.Pulse <= 1930, p.Pulse)
		} else {
			assert.True(t, p.Pulse <= 1474 && p.Pulse >= 1080, p.Pulse)
		}
	}
	repeated := 0
	for _, n := range seen {
		if n > 1 {
			repeated++
		}
	}
	assert.GreaterOrEqual(t, float64(repeated)/float64(len(seen)), 0.3)
	assert.Equal(t, 10, inward)
	assert.Contains(t, seen, units.Pulse(1930))
	assert.Contains(t, seen, units.Pulse(1080))
}

func TestGuessFollowsItsPointsAndGoesOnBeyond(t *testing.T) {
	g := NewGuess(map[units.Pulse]float64{1600: 0.2, 1500: 0, 1700: 0.5, 1400: -0.2})
	assert.InDelta(t, 0.1, g.At(1550), 1e-12)
	assert.InDelta(t, 0.35, g.At(1650), 1e-12)
	assert.InDelta(t, 0.8, g.At(1800), 1e-12)
	assert.InDelta(t, -0.3, g.At(1350), 1e-12)
}

// Invented readings on a curve of known slope, their places scattered by a
// servo that repeats to 1 us: the estimate must find it, within its own error.
func TestRepeatabilityIsFoundFromPlacesReadTwice(t *testing.T) {
	const runs, truth, seed = 400, 1.0, 5
	rng := rand.New(rand.NewPCG(seed, 1))
	plan := Plan(Span{Edge: 1530, Limit: 1930}, Span{Edge: 1480, Limit: 1080})
	var sum, square, claimed float64
	for range runs {
		var readings []measure.Reading
		for _, p := range plan {
			at := float64(p.Pulse) + truth*rng.NormFloat64() - 1505
			ratio := math.Tan(at*1.75e-3) + 2e-4*rng.NormFloat64()
			readings = append(readings, measure.Reading{Pulse: p.Pulse, Approach: p.Approach, Ratio: units.Estimate{Value: ratio, StdErr: 2e-4}})
		}
		e := Repeatability(readings)
		sum += e.Value
		square += (e.Value - truth) * (e.Value - truth)
		claimed += e.StdErr * e.StdErr
	}
	mean, rms := sum/runs, math.Sqrt(square/runs)
	t.Logf("%d sweeps, seed %d: mean %.3f, rms error %.3f ±%.3f, claimed %.3f", runs, seed, mean, rms, rms/math.Sqrt(2*runs), math.Sqrt(claimed/runs))
	assert.InDelta(t, truth, mean, 0.1)
	assert.InEpsilon(t, rms, math.Sqrt(claimed/runs), 0.3)
}
