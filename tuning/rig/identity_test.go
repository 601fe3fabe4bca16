package rig_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// suits is a controller that the full description suits.
func suits() bench.Identity {
	return bench.Identity{
		Axes: 3, PulseLeast: 500, PulseMost: 2500, Selector: true,
		Counters: []bench.CounterIdentity{
			{Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: 1000},
			{Kind: bench.Incremental, CountsPerTurn: 400, MostEdgeRate: 15000},
			{Kind: bench.Incremental, CountsPerTurn: 512, MostEdgeRate: 15000},
			{Kind: bench.Absolute, CountsPerTurn: 0, MostEdgeRate: 0}, // says neither
		},
	}
}

func TestCheckAcceptsTheControllerThatFits(t *testing.T) {
	assert.NoError(t, rig.Check(full(t), suits()))
}

func TestCheckNamesEveryDisagreement(t *testing.T) {
	r := full(t)
	for name, c := range map[string]struct {
		change func(*bench.Identity)
		keys   []string
	}{
		"fewer axes":             {func(id *bench.Identity) { id.Axes = 2 }, []string{"axis.servo"}},
		"fewer counters":         {func(id *bench.Identity) { id.Counters = id.Counters[:2] }, []string{"axis.sensor.counter", "joint.sensor.counter"}},
		"another kind":           {func(id *bench.Identity) { id.Counters[0].Kind = bench.Incremental }, []string{"drive.sensor.kind"}},
		"other counts":           {func(id *bench.Identity) { id.Counters[2].CountsPerTurn = 2048 }, []string{"axis.sensor.counts_per_turn"}},
		"other counts, joint":    {func(id *bench.Identity) { id.Counters[3].CountsPerTurn = 1024 }, []string{"joint.sensor.counts_per_turn"}},
		"pulses too short":       {func(id *bench.Identity) { id.PulseLeast = 1050 }, []string{"axis.pulse.least_us"}},
		"pulses too long":        {func(id *bench.Identity) { id.PulseMost = 1950 }, []string{"axis.pulse.most_us"}},
		"no selector":            {func(id *bench.Identity) { id.Selector = false }, []string{"drive.selector"}},
		"slow at the drive":      {func(id *bench.Identity) { id.Counters[0].MostEdgeRate = 6 }, []string{"drive.sensor.counts_per_turn"}},
		"slow at the left drum":  {func(id *bench.Identity) { id.Counters[1].MostEdgeRate = 5500 }, []string{"axis.sensor.counts_per_turn"}},
		"just fast enough there": {func(id *bench.Identity) { id.Counters[1].MostEdgeRate = 5600 }, nil},
		"slow at the trolley":    {func(id *bench.Identity) { id.Counters[3].MostEdgeRate = 1000 }, []string{"joint.sensor.counts_per_turn"}},
		"everything at once": {func(id *bench.Identity) { *id = bench.Identity{} },
			[]string{"drive.selector", "drive.sensor.counter", "axis.servo", "axis.pulse.most_us", "axis.servo", "axis.pulse.most_us", "axis.sensor.counter",
				"axis.servo", "axis.pulse.most_us", "axis.sensor.counter", "joint.sensor.counter"}},
	} {
		id := suits()
		c.change(&id)
		assert.Equal(t, c.keys, keysOf(t, rig.Check(r, id)), name)
	}

	plain := full(t)
	plain.Drive.Selector, plain.Drive.Reversible = false, true
	assert.Equal(t, []string{"drive.reversible", "drive.selector"}, keysOf(t, rig.Check(plain, suits())))
}

func keysOf(t *testing.T, err error) []string {
	if err == nil {
		return nil
	}
	var all *rig.Errors
	require.True(t, errors.As(err, &all))
	var keys []string
	for _, e := range all.All {
		assert.NotEmpty(t, e.What)
		assert.NotEmpty(t, e.Remedy)
		keys = append(keys, e.Key)
	}
	return keys
}

func TestLargestRatio(t *testing.T) {
	wheels := rig.Variator{Contacts: rig.Ball, DriveWheelMM: 30, OutputWheelMM: 20, WheelTolerancePercent: 1}
	pulse := rig.Pulse{Least: 1200, Middle: 1500, Most: 1700}
	short := wheels
	short.DegreesPerMicrosecond = 0.1
	disc := wheels
	disc.Contacts = rig.WheelOnDisc
	for name, c := range map[string]struct {
		variator rig.Variator
		want     float64 // closed form
	}{
		"ball, to usable tilt":          {wheels, 1.5 * math.Sqrt(3)},
		"ball, 300 us of 0.1 deg and 5": {short, 1.5 * math.Tan(35*math.Pi/180)},
		"ball, nothing known":           {rig.Variator{Contacts: rig.Ball}, math.Sqrt(3)},
		"disc, to the rim":              {disc, 1.5},
		"disc, nothing known":           {rig.Variator{Contacts: rig.WheelOnDisc}, 2},
		"unknown":                       {rig.Variator{Contacts: rig.Unknown, DriveWheelMM: 30, OutputWheelMM: 20}, 2},
	} {
		a := rig.Axis{Pulse: pulse, Variator: c.variator}
		assert.InDelta(t, c.want, float64(a.LargestRatio()), 1e-12, name)
	}
}

// JCGM 100:2008, 4.3.7: a half-width a spread evenly has the standard uncertainty a/sqrt(3); a quotient of two such adds
// their relative squares (5.1.6).
func TestWheelQuotient(t *testing.T) {
	k, known := rig.Variator{DriveWheelMM: 30, OutputWheelMM: 20, WheelTolerancePercent: 1}.WheelQuotient()
	require.True(t, known)
	assert.Equal(t, 1.5, k.Value)
	assert.InDelta(t, 1.5*math.Hypot(0.01/math.Sqrt(3), 0.01/math.Sqrt(3)), k.StdErr, 1e-12)
	_, known = rig.Variator{}.WheelQuotient()
	assert.False(t, known)
}

func TestNotes(t *testing.T) {
	keys := func(r rig.Rig) []string {
		var got []string
		for _, n := range r.Notes() {
			assert.NotEmpty(t, n.What)
			assert.NotEmpty(t, n.Remedy)
			got = append(got, n.Key)
		}
		return got
	}
	r := full(t)
	assert.Equal(t, []string{"axis.worm"}, keys(r), "the bar hangs on the right drum, which has no worm")

	r.Axes[2].Worm = true
	assert.Empty(t, keys(r))

	r.Axes[1].Sensor.CountsPerTurn = 4250 // 420/60 x 2 x 4250 = 59500 edges a second
	assert.Empty(t, keys(r))
	r.Axes[1].Sensor.CountsPerTurn = 4300 // 60200
	assert.Equal(t, []string{"axis.sensor.counts_per_turn"}, keys(r))

	r = full(t)
	r.Axes[2].Worm = true
	r.Joints[1].Tolerance = 0.006 // 2.5 mm a turn over 400 counts is 0.00625 mm
	assert.Equal(t, []string{"joint.tolerance"}, keys(r))

	r = drums()
	r.Axes[0].Sensor, r.Joints[0].Sensor = nil, &rig.Sensor{Counter: 3, CountsPerUnit: 1000}
	r.Joints[0].Tolerance, r.Joints[1].Tolerance = 1, 1
	assert.Equal(t, []string{"axis.sensor"}, keys(r))
}

func TestPulseLimits(t *testing.T) {
	assert.Equal(t, bench.PulseLimits{Least: 1000, Most: units.Pulse(2000.5), SlewPerSec: 3000}, full(t).Axes[0].Pulse.Limits())
}
