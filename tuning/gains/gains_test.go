package gains

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// invented is an invented axis of the common size.
func invented() Settings {
	return Settings{
		DeadTime: units.Estimate{Value: 0.03, StdErr: 0.001}, Lag: units.Estimate{Value: 0.04, StdErr: 0.001},
		ShaftSpeed: 6.6, PerTurn: 1600, Frame: 0.02, Goal: 1.6, Tolerance: 130,
		RatioLeast: -1.1, RatioMost: 1.0, Slowest: 0.01,
	}
}

var inventedTable = []bench.TablePoint{{RatioQ13: -9830, PulseTenths: 10000}, {RatioQ13: -1, PulseTenths: 14850}, {RatioQ13: 1, PulseTenths: 15380}, {RatioQ13: 9830, PulseTenths: 20000}}

// The definition, not the digits: at the chosen gains the sensitivity peak of
// the exact loop is what was asked for, and a search over closed-loop times
// finds none quicker that keeps to it.
func TestDesignKeepsToTheSensitivityPeakAskedFor(t *testing.T) {
	for _, goal := range []float64{1.4, 1.6, 2.0} {
		s := invented()
		s.Goal = goal
		r, err := Design(s)
		require.NoError(t, err)
		tuning := pid.Tuning{Gains: r.Law.Gains, FilterTimeS: r.Law.FilterTimeS, SetPointShare: r.Law.SetPointWeight}
		m, err := pid.LoopMargins(tuning, r.Plant.process())
		require.NoError(t, err)
		assert.InDelta(t, goal, m.Ms, 0.001, "the quickest gains lie on the bound")
		assert.Equal(t, r.Margins.Ms, m.Ms)
		assert.True(t, m.Stable)
		peak := 0.0
		for w := 0.01; w < 200; w *= 1.001 {
			loop := tuning.Transfer().Times(r.Plant.process().Transfer()).At(w)
			peak = math.Max(peak, 1/cabs(1+loop))
		}
		assert.InDelta(t, goal, peak, 0.002, "a plain frequency sweep agrees")
	}
}

func cabs(c complex128) float64 { return math.Hypot(real(c), imag(c)) }

// The dead time in the loop is that of the axis, a whole servo frame and half a
// control period.
func TestLoopCarriesFrameAndPeriod(t *testing.T) {
	r, err := Design(invented())
	require.NoError(t, err)
	assert.InDelta(t, 0.03+0.02+0.005, r.Plant.LoopS, 1e-12)
	assert.Equal(t, 0.010, r.Law.PeriodS)
}

// The prediction runs the whole law: it must end inside the hold zone, and
// never ask for more than the bounds.
func TestPredictedStepEndsInsideTheHoldZone(t *testing.T) {
	r, err := Design(invented())
	require.NoError(t, err)
	for _, size := range []float64{-9000, -700, 700, 9000} {
		path, err := Predict(r, inventedTable, 1510, 0.02, size, 6)
		require.NoError(t, err)
		last := path[len(path)-1].Counts
		assert.InDelta(t, size, last, r.Law.HoldRelease, "step of %g counts", size)
		fastest := 0.0
		for i := 1; i < len(path); i++ {
			fastest = math.Max(fastest, math.Abs(path[i].Counts-path[i-1].Counts)/(path[i].Seconds-path[i-1].Seconds))
		}
		assert.LessOrEqual(t, fastest, 1.1*1600*6.6*1.001)
	}
}

func TestDesignSaysWhenTheGoalCannotBeHad(t *testing.T) {
	s := invented()
	s.Goal = 1.001
	_, err := Design(s)
	assert.Error(t, err)
}
