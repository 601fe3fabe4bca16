package rig_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

func TestBoundsBeforeAndAfterTheDatum(t *testing.T) {
	r := drums()
	start := []units.Counts{0, 1200, 1000} // lift reads 4, tip 1
	zeros := r.Standing(start)
	assert.Equal(t, []rig.Zero{{At: 4}, {At: 1}}, zeros)
	assert.Equal(t, []rig.Bound{{0, 8}, {-1, 3}}, r.Bounds(zeros), "what is free at the start, either way")

	zeros[0] = r.DatumFrom(0, start, 12) // measured: the bar hangs 12 mm above its datum
	assert.Equal(t, rig.Zero{At: -8, Datum: true}, zeros[0])
	assert.Equal(t, []rig.Bound{{-18, 22}, {-1, 3}}, r.Bounds(zeros))
	assert.Equal(t, []float64{12, 0}, r.FromZero(zeros, start))

	r.Joints[1].Endless = true
	assert.Equal(t, rig.Bound{Least: math.Inf(-1), Most: math.Inf(1)}, r.Bounds(zeros)[1])
}

// By hand: from lift 4, tip 1 within [0, 8] and [-1, 3], a turn of the left drum adds 0.5 to the lift and takes 0.5 off
// the tip. Forward the tip comes to -1 after 4 turns, before the lift to 8 after 8; backward it comes to 3 after 4.
func TestRoomByHand(t *testing.T) {
	r := drums()
	bounds := []rig.Bound{{0, 8}, {-1, 3}}
	low, high := r.Room(0, []float64{4, 1}, bounds)
	assert.EqualValues(t, -4, low)
	assert.EqualValues(t, 4, high)

	low, high = r.Room(0, []float64{9, 1}, bounds) // the lift is beyond its travel: only the way back is open
	assert.EqualValues(t, -4, low)
	assert.Zero(t, high)

	low, high = r.Room(0, []float64{9, 4}, bounds) // and the tip too: neither way helps both
	assert.Zero(t, low)
	assert.Zero(t, high)

	r.Joints[0].PerTurn, r.Joints[1].PerTurn = []float64{-2, 0}, []float64{0, 1}
	low, high = r.Room(0, []float64{1, 100}, bounds) // the tip is another axis's affair
	assert.EqualValues(t, -3.5, low)
	assert.EqualValues(t, 0.5, high)

	endless := []rig.Bound{{math.Inf(-1), math.Inf(1)}, {0, 1}}
	low, high = r.Room(0, []float64{1, 0}, endless)
	assert.True(t, math.IsInf(float64(low), -1) && math.IsInf(float64(high), 1))
}

// What Room promises, on any place inside: every joint stays within its bounds to the end of the room, and one of them
// leaves a little beyond it.
func TestRoomEndsWhereTheFirstJointLeaves(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	r := drums()
	for range 500 {
		for j := range r.Joints {
			for i := range r.Joints[j].PerTurn {
				r.Joints[j].PerTurn[i] = rng.NormFloat64()
			}
		}
		bounds := []rig.Bound{{-1 - rng.Float64(), 1 + rng.Float64()}, {-1 - rng.Float64(), 1 + rng.Float64()}}
		at := []float64{2*rng.Float64() - 1, 2*rng.Float64() - 1}
		axis := rng.IntN(2)
		low, high := r.Room(axis, at, bounds)
		inside := func(turns float64) bool {
			for j := range at {
				if !bounds[j].Contains(at[j] + turns*r.Joints[j].PerTurn[axis]) {
					return false
				}
			}
			return true
		}
		require.LessOrEqual(t, low, units.Turns(0))
		require.GreaterOrEqual(t, high, units.Turns(0))
		assert.True(t, inside(float64(low)*(1-1e-9)) && inside(float64(high)*(1-1e-9)))
		assert.False(t, inside(float64(low)*(1+1e-9)) || inside(float64(high)*(1+1e-9)))
	}
}

// The controller sees only counts; what it refuses must be what leaves the bounds, and nothing else.
func TestTravelLimitsAgreeWithBounds(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	r := full(t)
	start := []units.Counts{12, 400, -700, 5000}
	zeros := r.Standing(start)
	zeros[0] = r.DatumFrom(0, start, 20)
	bounds := r.Bounds(zeros)
	limits := r.TravelLimits(bounds)
	require.Len(t, limits, 2, "the tip is endless here")
	for _, l := range limits {
		require.Len(t, l.Weights, r.Counters())
		most := 0.0
		for _, w := range l.Weights {
			most = max(most, math.Abs(w))
		}
		assert.InDelta(t, 1, most, 1e-12)
		assertCarried(t, l, 0)
	}
	out := 0
	for range 2000 {
		counts := make([]units.Counts, r.Counters())
		for c := range counts {
			counts[c] = start[c] + units.Counts(20000*(rng.Float64()-0.5))
		}
		position := r.Positions(counts)
		for k, l := range limits {
			within := bounds[k].Contains(position[k])
			assert.Equal(t, within, contains(l, counts), "joint %d at %v", k, position[k])
			if !within {
				out++
			}
		}
	}
	assert.Greater(t, out, 100, "the places tried must reach beyond the bounds")
}

// Controllers carry weights in 1/256, up to 128: what they carry must be the joint, wherever its counters stand.
func TestWeightsOfTravelLimitsCanBeCarried(t *testing.T) {
	r := drums()
	for _, c := range []struct {
		left, right int
		largest     float64
		worst       float64 // of the form, of the joint's whole way
	}{
		{1600, 1600, 1, 0},
		{400, 512, 1, 0},   // 200 steps to 256
		{400, 500, 100, 0}, // 80 to 100
		{400, 2400, 100, 2e-5},
		{977, 1021, 100, 2e-5},
	} {
		r.Axes[0].Sensor, r.Axes[1].Sensor = sensor(1, c.left), sensor(2, c.right)
		for _, l := range r.TravelLimits([]rig.Bound{{-10, 30}, {-6, 6}}) {
			assert.InDelta(t, c.largest, max(math.Abs(l.Weights[1]), math.Abs(l.Weights[2])), 1e-9, "%v", c)
			assertCarried(t, l, c.worst)
		}
	}
}

func assertCarried(t *testing.T, l bench.TravelLimit, worst float64) {
	t.Helper()
	most := 0.0
	for _, w := range l.Weights {
		most = max(most, math.Abs(w))
	}
	for _, w := range l.Weights {
		assert.Less(t, math.Abs(w), 128.0)
		assert.InDelta(t, w, math.Round(w*256)/256, worst*most+1e-9)
	}
}

func contains(l bench.TravelLimit, counts []units.Counts) bool {
	sum := 0.0
	for c, w := range l.Weights {
		sum += w * float64(counts[c])
	}
	return sum >= l.Least && sum <= l.Most
}
