package rig_test

import (
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
	"trunnion/fixtures/rigs"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

func fixture(t *testing.T, name string) rig.Rig {
	t.Helper()
	text, err := rigs.Text(name)
	require.NoError(t, err)
	r, err := rig.Parse(name+".toml", text)
	require.NoError(t, err)
	return r
}

func TestEveryFixtureIsAccepted(t *testing.T) {
	require.Subset(t, rigs.Names(), []string{"firstday", "lift", "trolley"})
	for _, name := range rigs.Names() {
		r := fixture(t, name)
		assert.Empty(t, r.Notes(), name)
		for i := range r.Axes {
			edges := r.Drive.NominalRPM.PerSecond() * float64(r.Axes[i].LargestRatio()) * float64(r.Axes[i].Sensor.CountsPerTurn)
			assert.Less(t, edges, 15000.0, "%s, %s: what the reference controller is good for", name, r.Axes[i].Name)
		}
	}
}

// machine is what a maker could know of the machine that the virtual rig plays.
type machine struct {
	Drive struct {
		NoLoadRPM float64 `toml:"no_load_rpm"`
	}
	Axes   []struct{ Name string }
	Joints []struct {
		Name, Unit    string
		PerOutputTurn []float64 `toml:"per_output_turn"`
		Low, High     float64
	}
	Counters []struct {
		Kind, On      string
		Of            int
		CountsPerTurn int `toml:"counts_per_turn"`
	}
}

// A drawing is near the machine but need not be it: what is wired and named must agree, gearing to 3 %, and the travel
// must lie inside what the machine has.
func TestFixturesDescribeTheMachinesOfTheirNames(t *testing.T) {
	for _, name := range rigs.Names() {
		text, err := machines.Text(name)
		require.NoError(t, err)
		var m machine
		require.NoError(t, toml.Unmarshal(text, &m))
		r := fixture(t, name)

		assert.InEpsilon(t, m.Drive.NoLoadRPM, float64(r.Drive.NominalRPM), 0.06, name)
		require.Len(t, r.Axes, len(m.Axes), name)
		require.Len(t, r.Joints, len(m.Joints), name)
		require.Equal(t, r.Counters(), len(m.Counters), name)
		assertSensor(t, m, r.Drive.Sensor, "shaft", 0)
		for i, a := range r.Axes {
			assert.Equal(t, m.Axes[i].Name, a.Name)
			assert.Equal(t, i, a.Servo)
			assertSensor(t, m, *a.Sensor, "output", i)
		}
		for j, joint := range r.Joints {
			has := m.Joints[j]
			assert.Equal(t, has.Name, joint.Name)
			assert.Equal(t, has.Unit, string(joint.Unit))
			assert.InDeltaSlice(t, has.PerOutputTurn, joint.PerTurn, 0.03*widest(has.PerOutputTurn), "%s, %s", name, joint.Name)
			assert.GreaterOrEqual(t, joint.Travel.Least, has.Low)
			assert.LessOrEqual(t, joint.Travel.Most, has.High)
		}
	}
}

func assertSensor(t *testing.T, m machine, s rig.Sensor, on string, of int) {
	t.Helper()
	has := m.Counters[s.Counter]
	assert.Equal(t, on, has.On)
	assert.Equal(t, of, has.Of)
	assert.Equal(t, has.Kind, s.Kind.String())
	assert.Equal(t, has.CountsPerTurn, s.CountsPerTurn)
}

func widest(row []float64) float64 {
	most := 0.0
	for _, v := range row {
		most = max(most, v, -v)
	}
	return most
}

// The bar of the scenery lift: both drums up alike lift it level; one up and one down tip it in place.
func TestLiftGoesStraightAndLevel(t *testing.T) {
	r := fixture(t, "lift")
	up := r.ToJoints([]float64{0, 10, 10})
	assert.Zero(t, up[0])
	assert.Positive(t, up[1])
	assert.InDelta(t, 0, up[2], 1e-9)
	turned := r.ToOutputs([]float64{0, 0, 1})
	assert.InDelta(t, 0, turned[1]+turned[2], 1e-9)

	low, high := r.Room(1, make([]float64, 3), r.Bounds(r.Standing(make([]units.Counts, r.Counters()))))
	assert.InDelta(t, float64(high), -float64(low), 1e-9)
	assert.Less(t, float64(high)*r.Joints[2].PerTurn[2], r.Joints[2].FreeAtStart+1e-9, "the tip bounds a drum alone")
}
