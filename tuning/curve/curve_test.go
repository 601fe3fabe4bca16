package curve

import (
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
