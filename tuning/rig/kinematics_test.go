package rig_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// sensor is an incremental sensor for rigs written out in tests.
func sensor(counter, countsPerTurn int) *rig.Sensor {
	return &rig.Sensor{Counter: counter, CountsPerTurn: countsPerTurn}
}

// drums is two outputs that lift by their sum and tip by their difference.
func drums() rig.Rig {
	return rig.Rig{
		Drive: rig.Drive{NominalRPM: 420, Sensor: *sensor(0, 400)},
		Axes:  []rig.Axis{{Name: "left drum", Sensor: sensor(1, 400)}, {Name: "right drum", Servo: 1, Sensor: sensor(2, 200)}},
		Joints: []rig.Joint{
			{Name: "lift", Unit: rig.Millimetres, PerTurn: []float64{0.5, 0.5}, Travel: rig.Bound{Least: -10, Most: 30}, FreeAtStart: 4},
			{Name: "tip", Unit: rig.Degrees, PerTurn: []float64{-0.5, 0.5}, Travel: rig.Bound{Least: -6, Most: 6}, FreeAtStart: 2},
		},
	}
}

// Sum and difference: lift = (a+b)/2, tip = (b-a)/2; a = lift-tip, b = lift+tip. Closed form.
func TestSumAndDifference(t *testing.T) {
	r := drums()
	assert.Equal(t, []float64{4, 1}, r.ToJoints([]float64{3, 5}))
	assert.InDeltaSlice(t, []float64{3, 5}, r.ToOutputs([]float64{4, 1}), 1e-12)

	counts := []units.Counts{800, 1200, 1000} // 2 turns of the shaft, 3 and 5 of the drums
	assert.Equal(t, 2.0, r.DriveTurns(counts))
	assert.Equal(t, []float64{3, 5}, r.OutputTurns(counts))
	assert.Equal(t, []float64{4, 1}, r.Positions(counts))
	assert.Equal(t, 0.0025, r.Resolution(0), "half a mm a turn, 200 counts a turn on the coarser drum")
}

func TestOutputsUndoJointsOnAnyRig(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		n := 1 + rng.IntN(bench.MaxAxes)
		r := rig.Rig{Axes: make([]rig.Axis, n), Joints: make([]rig.Joint, n)}
		for j := range r.Joints {
			unit := math.Pow(10, float64(rng.IntN(7)-3)) // units that differ by a million
			r.Joints[j].PerTurn = make([]float64, n)
			for i := range n {
				r.Joints[j].PerTurn[i] = unit * (rng.Float64() - 0.5)
			}
			r.Joints[j].PerTurn[j] += unit * float64(n) // keeps the matrix well away from singular
		}
		turns := make([]float64, n)
		for i := range turns {
			turns[i] = 100 * (rng.Float64() - 0.5)
		}
		assert.InDeltaSlice(t, turns, r.ToOutputs(r.ToJoints(turns)), 1e-9)
	}
}

func TestAxesWithoutASensorAreSolvedFromTheJoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	build := func(left, right bool, lift, tip *rig.Sensor) rig.Rig {
		r := drums()
		if !left {
			r.Axes[0].Sensor = nil
		}
		if !right {
			r.Axes[1].Sensor = &rig.Sensor{Counter: 2, Kind: bench.Mark, CountsPerTurn: 1} // sees no direction
		}
		r.Joints[0].Sensor, r.Joints[1].Sensor = lift, tip
		return r
	}
	onLift := &rig.Sensor{Counter: 3, Kind: bench.Absolute, CountsPerUnit: -1000}
	onTip := &rig.Sensor{Counter: 4, CountsPerUnit: 4096.0 / 360}
	for _, c := range []struct {
		name string
		rig  rig.Rig
	}{
		{"no drum, both joints", build(false, false, onLift, onTip)},
		{"right drum and lift", build(false, true, onLift, nil)},
		{"left drum and tip", build(true, false, nil, onTip)},
		{"all four", build(true, true, onLift, onTip)},
	} {
		r := c.rig
		for range 20 {
			turns := []float64{math.Round(20*rng.NormFloat64()*400) / 400, math.Round(20*rng.NormFloat64()*200) / 200}
			joints := r.ToJoints(turns)
			counts := []units.Counts{0, units.Counts(math.Round(turns[0] * 400)), units.Counts(math.Round(turns[1] * 200)),
				units.Counts(math.Round(-1000 * joints[0])), units.Counts(math.Round(4096.0 / 360 * joints[1]))}
			// Half a count of the tip's sensor is 0.044 deg, and that is 0.044 turns of each drum, or twice that where only
			// one drum is free to explain it.
			assert.InDeltaSlice(t, turns, r.OutputTurns(counts), 0.089, c.name)
			assert.InDeltaSlice(t, joints, r.Positions(counts), 0.0445, c.name)
		}
	}
}

func TestFeedback(t *testing.T) {
	r := full(t)
	got, ok := r.Feedback(0)
	require.True(t, ok)
	assert.Equal(t, 3, got.Counter)
	assert.InDelta(t, 109.2, got.CountsPerTurn, 1e-12, "-27.3 counts a mm times -4 mm a turn")
	got, ok = r.Feedback(2)
	require.True(t, ok)
	assert.Equal(t, rig.Feedback{Counter: 2, CountsPerTurn: 512}, got)

	shared := drums()
	shared.Axes[0].Sensor = nil
	shared.Joints[0].Sensor = &rig.Sensor{Counter: 3, CountsPerUnit: 10}
	_, ok = shared.Feedback(0)
	assert.False(t, ok, "the lift follows both drums")
}

func TestParseRefusesWhatTheSensorsCannotTell(t *testing.T) {
	text := string(testdata(t, "full.toml"))
	noRight := strings.Replace(text, "[axis.sensor]\ncounter = 2\nkind = \"incremental\"\ncounts_per_turn = 512\n", "", 1)
	require.NotEqual(t, text, noRight)
	_, err := rig.Parse("no right drum", []byte(noRight))
	require.Error(t, err)

	withTip := strings.Replace(noRight, "tolerance = 0.2\n", "tolerance = 0.2\n[joint.sensor]\ncounter = 2\nkind = \"absolute\"\ncounts_per_turn = 4096\n", 1)
	r, err := rig.Parse("the tip tells", []byte(withTip))
	require.NoError(t, err)
	assert.InDelta(t, 4096.0/360, r.Joints[2].Sensor.CountsPerUnit, 1e-12)
	turns := r.OutputTurns([]units.Counts{0, 400, 4096, 0}) // left one turn, the tip 360 degrees
	assert.InDeltaSlice(t, []float64{0, 1, 721}, turns, 1e-9, "0.5 (right - left) = 360")
}

func TestCountsOfASample(t *testing.T) {
	var s bench.Sample
	s.Counters[2].Count = -7
	counts := rig.CountsOf(s)
	assert.Len(t, counts, bench.MaxCounters)
	assert.EqualValues(t, -7, counts[2])
}

func TestWrongShapesPanic(t *testing.T) {
	r := drums()
	assert.Panics(t, func() { r.ToJoints([]float64{1}) })
	assert.Panics(t, func() { r.ToOutputs([]float64{1, 2, 3}) })
	assert.Panics(t, func() { r.OutputTurns([]units.Counts{1, 2}) })
	assert.Panics(t, func() { r.Room(0, []float64{0}, make([]rig.Bound, 2)) })
}
