package controller

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

func points(pairs ...int) (p []bench.TablePoint) {
	for i := 0; i < len(pairs); i += 2 {
		p = append(p, bench.TablePoint{RatioQ13: int32(pairs[i]), PulseTenths: uint16(pairs[i+1])})
	}
	return p
}

func TestInnerPoints(t *testing.T) {
	for name, c := range map[string]struct {
		points []bench.TablePoint
		back   int
	}{
		"two zeros":                  {points(-9, 1, 0, 2, 0, 3, 9, 4), 1},
		"none":                       {points(-9, 1, -5, 2, 6, 3, 9, 4), 1},
		"one zero within":            {points(-9, 1, 0, 2, 6, 3, 9, 4), 1},
		"two zeros at the start":     {points(0, 1, 0, 2, 9, 3), 0},
		"two zeros at the end":       {points(-9, 1, 0, 2, 0, 3), 1},
		"one zero at the start":      {points(0, 1, 9, 2), 0},
		"the last one is the only 0": {points(-9, 1, -8, 2, 0, 3), 1},
		"nothing but zeros":          {points(0, 1, 0, 2), 0},
	} {
		require.True(t, wire.CheckTable(c.points), name)
		table := newInverseTable(c.points)
		assert.Equal(t, c.back, table.back, name)
	}
}

func TestNeutralMustLieStrictlyInside(t *testing.T) {
	for _, table := range []inverseTable{
		newInverseTable(points(-8192, 100, 0, 200, 0, 300, 8192, 400)),
		newInverseTable(points(-8192, 400, 0, 300, 0, 200, 8192, 100)),
	} {
		assert.False(t, table.frees(200))
		assert.True(t, table.frees(201))
		assert.True(t, table.frees(299))
		assert.False(t, table.frees(300))
	}
}

// randomTable has 2 to 33 points with or without points at 0.
func randomTable(random *rand.Rand) ([]bench.TablePoint, uint16) {
	side := func() []int {
		n := 1 + random.IntN(15)
		ratios := make([]int, n)
		last := 0
		for i := range ratios {
			last += 1 + random.IntN(900)
			ratios[i] = last
		}
		return ratios
	}
	var ratios []int
	for _, r := range slices.Backward(side()) {
		ratios = append(ratios, -r)
	}
	back := len(ratios) - 1
	if random.IntN(2) == 0 {
		ratios = append(ratios, 0, 0)
		back = len(ratios) - 2
	}
	ratios = append(ratios, side()...)
	pulse, pulses := 8000, make([]int, len(ratios))
	for i := range pulses {
		pulse += 2 + random.IntN(300)
		pulses[i] = pulse
	}
	neutral := (pulses[back] + pulses[back+1]) / 2
	if random.IntN(2) == 0 {
		for i := range pulses {
			pulses[i] = 40000 - pulses[i]
		}
		neutral = 40000 - neutral
	}
	var table []bench.TablePoint
	for i := range ratios {
		table = append(table, bench.TablePoint{RatioQ13: int32(ratios[i]), PulseTenths: uint16(pulses[i])})
	}
	return table, uint16(neutral)
}

// What the inverse table promises, of tables of any kind: it passes through its
// points, goes one way, stays within its ends, and is never inside the dead band
// but at neutral.
func TestInverseTableKeepsItsPromises(t *testing.T) {
	const seed = 7
	random := rand.New(rand.NewPCG(seed, 2))
	for n := range 300 {
		points, neutral := randomTable(random)
		require.True(t, wire.CheckTable(points), "seed %d, table %d: %v", seed, n, points)
		table := newInverseTable(points)
		last := len(points) - 1
		sense := math.Copysign(1, float64(points[last].PulseTenths)-float64(points[0].PulseTenths))
		for _, p := range points {
			if p.RatioQ13 != 0 {
				assert.InDelta(t, p.PulseTenths, table.pulse(float64(p.RatioQ13)/ratioScale, neutral), 1e-6)
			}
		}
		assert.EqualValues(t, neutral, table.pulse(0, neutral))
		before := math.Inf(-1)
		from, to := float64(points[0].RatioQ13)-50, float64(points[last].RatioQ13)+50
		inner := [2]float64{float64(points[table.back].PulseTenths), float64(points[table.back+1].PulseTenths)}
		for q := from; q <= to; q += (to - from) / 997 {
			pulse := table.pulse(q/ratioScale, neutral)
			require.GreaterOrEqual(t, sense*pulse, before-1e-9, "seed %d, table %d, ratio %v/8192", seed, n, q)
			before = sense * pulse
			within := pulse > min(inner[0], inner[1])+1e-9 && pulse < max(inner[0], inner[1])-1e-9
			require.False(t, within && pulse != float64(neutral), "seed %d, table %d, ratio %v/8192", seed, n, q)
		}
		assert.EqualValues(t, points[0].PulseTenths, table.pulse(-100, neutral))
		assert.EqualValues(t, points[last].PulseTenths, table.pulse(100, neutral))
	}
}

func TestHalfOfTheInnerRatioDecides(t *testing.T) {
	table := newInverseTable(points(-8192, 100, -1000, 200, 600, 300, 8192, 400))
	for q, want := range map[float64]float64{
		299: 250, 301: 300, 599: 300, 600: 300, -499: 250, -501: 200, -999: 200, -1000: 200, 300: 300, -500: 200,
	} {
		assert.Equal(t, want, table.pulse(q/ratioScale, 250), "%v/8192", q)
	}
}
