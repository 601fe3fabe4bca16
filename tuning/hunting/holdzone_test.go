package hunting

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/pid"
)

// inventedQuestion is an invented axis of the common size: 1600 counts a turn at 6.6 turns a second, 30 ms of dead time,
// 40 ms of lag, a dead band, and lost motion before the sensor.
func inventedQuestion(t testing.TB, lost float64) Question {
	t.Helper()
	table, err := pid.NewTable([]pid.TablePoint{{Ratio: -1.1, PulseUs: 1000}, {Ratio: -0.01, PulseUs: 1485}, {Ratio: 0.01, PulseUs: 1538}, {Ratio: 1, PulseUs: 2000}}, 1510)
	require.NoError(t, err)
	m := Machine{RateGain: 1600 * 6.6, LagS: 0.04, DeadTimeS: 0.03, FrameS: 0.02, LostMotion: lost, Quantum: 1, PulseUs: 1}
	d, err := pid.OptimumWithin(pid.PI, pid.Integrating{RateGain: m.RateGain, LagS: m.LagS, DeadTimeS: m.DeadTimeS + pid.LoopDelay(0.01, 0.02)},
		pid.Bounds{Ms: 1.6, MostOvershootPercent: 5})
	require.NoError(t, err)
	law := pid.Law{Gains: d.Tuning.Gains, SetPointWeight: d.Tuning.SetPointShare, RatioLeast: -1, RatioMost: 0.95, PeriodS: 0.01}
	law.TrackingTimeS = pid.QuickTrackingTime(law.Gains, law.PeriodS)
	return Question{Law: law, Table: table, Machine: m}
}

func TestHoldZoneStopsHuntingOfLostMotion(t *testing.T) {
	for _, lost := range []float64{0, 20, 60, 200} {
		q := inventedQuestion(t, lost)
		c, err := HoldZone(q)
		require.NoError(t, err)
		t.Logf("lost motion %g: zone %.1f, reachable %.1f, worst error %.1f, predicted %+v: %s", lost, c.Zone, c.Reachable, c.WorstError, c.Predicted, c.Words)
		require.True(t, c.Stops)
		require.True(t, c.Integral)
		require.NoError(t, c.Law.Validate())
		require.LessOrEqual(t, c.WorstError, c.Release)
		if lost > 0 {
			require.NotEmpty(t, c.Predicted)
			require.True(t, c.Without.Hunting, "without a zone: %+v", c.Without)
		}
		// Starts that were not among the trials are stopped too.
		l := Loop{Law: c.Law, Table: q.Table, Machine: q.Machine}
		for i, size := range []float64{-3111, -777, -150, -33, 47, 401, 2222, 5555} {
			run, err := l.Run(Trial{SetPoint: size, DurationS: 25, FromPlay: math.Sin(float64(i))})
			require.NoError(t, err)
			n := len(run.Measured)
			require.True(t, run.Holding[n-1], "step %g with lost motion %g", size, lost)
			require.False(t, Assess(run.Measured[n/2:], run.PeriodS, 1).Hunting)
			require.LessOrEqual(t, math.Abs(run.Measured[n-1]-size), c.Release)
		}
	}
}

func TestHoldZoneSaysWhereTheToleranceCannotBeHad(t *testing.T) {
	q := inventedQuestion(t, 60)
	q.Tolerance = 0.5
	c, err := HoldZone(q)
	require.NoError(t, err)
	t.Log(c.Words)
	require.True(t, c.Stops)
	require.False(t, c.Meets)
	q.Tolerance = 10 * c.Zone
	c, err = HoldZone(q)
	require.NoError(t, err)
	require.True(t, c.Meets)
	require.True(t, c.Integral, "nothing is taken away where it is not needed")

	// An axis that creeps while it is let go cannot be held by letting go.
	q.Machine.DriftHeld = 4000
	c, err = HoldZone(q)
	require.NoError(t, err)
	t.Log(c.Words)
	require.False(t, c.Stops)
	require.False(t, c.Meets)
}

func TestHoldZoneRefusesNonsense(t *testing.T) {
	q := inventedQuestion(t, 60)
	q.Machine.RateGain = 0
	var number *NumberError
	_, err := HoldZone(q)
	require.True(t, errors.As(err, &number))
	q = inventedQuestion(t, 60)
	q.Table = nil
	_, err = HoldZone(q)
	require.True(t, errors.As(err, &number))
}

func BenchmarkHoldZone(b *testing.B) {
	q := inventedQuestion(b, 60)
	for b.Loop() {
		if _, err := HoldZone(q); err != nil {
			b.Fatal(err)
		}
	}
}
