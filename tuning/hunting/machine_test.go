package hunting

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/pid"
)

// straight is a table without a dead band to speak of.
func straight(t testing.TB) *pid.Table {
	t.Helper()
	table, err := pid.NewTable([]pid.TablePoint{{Ratio: -1, PulseUs: 1000}, {Ratio: 0, PulseUs: 1500 - 1e-9}, {Ratio: 0, PulseUs: 1500 + 1e-9}, {Ratio: 1, PulseUs: 2000}}, 1500)
	require.NoError(t, err)
	return table
}

func integratorLaw(kc, ti, period float64) pid.Law {
	g, _ := pid.IdealPID{Kc: kc, Ti: ti}.Parallel()
	return pid.Law{Gains: g, SetPointWeight: 1, RatioLeast: -1e3, RatioMost: 1e3, TrackingTimeS: 1, PeriodS: period}
}

// Recomputed independently (steps of 0.5 ms): k' = 1, L = 1 with backlash on the output under two published PI rules
// hunts by 1.324 and 1.213 times half the gap on the driven side, once in 33.24 and 64.24 s.
func TestSimulatedLimitCyclesOfBacklash(t *testing.T) {
	for _, c := range []struct{ kc, ti, amplitude, period float64 }{{0.5, 8, 1.324, 33.24}, {0.35, 13.4, 1.213, 64.24}} {
		law := integratorLaw(c.kc, c.ti, 0.002)
		wide, err := pid.NewTable([]pid.TablePoint{{Ratio: -1e3, PulseUs: 1000}, {Ratio: 0, PulseUs: 1500 - 1e-9}, {Ratio: 0, PulseUs: 1500 + 1e-9}, {Ratio: 1e3, PulseUs: 2000}}, 1500)
		require.NoError(t, err)
		l := Loop{Law: law, Table: wide, Machine: Machine{RateGain: 1, DeadTimeS: 1, LostMotion: 2}}
		run, err := l.Run(Trial{SetPoint: 3, DurationS: 20 * c.period, StepS: 0.002})
		require.NoError(t, err)
		v := Assess(run.Driven, run.PeriodS, 0)
		t.Logf("%+v: %+v", c, v)
		require.True(t, v.Hunting)
		require.InDelta(t, c.amplitude, v.Amplitude, 0.003)
		require.InDelta(t, c.period, v.PeriodS, 0.05)
		measured := Assess(run.Measured, run.PeriodS, 0)
		require.InDelta(t, v.Amplitude-1, measured.Amplitude, 1e-3, "the sensor sees half the gap less")

		// A hold zone as wide as what the sensor sees of the cycle stops it.
		l.Law.HoldZone, l.Law.HoldRelease, l.Law.HoldDelayS = 0.4, 1.2, 1
		run, err = l.Run(Trial{SetPoint: 3, DurationS: 20 * c.period, StepS: 0.002})
		require.NoError(t, err)
		require.False(t, Assess(run.Measured, run.PeriodS, 0).Hunting)
		require.True(t, run.Holding[len(run.Holding)-1])
	}
}

// Without anything nonlinear the simulation must be the linear loop's exact response.
func TestLinearRunAgreesWithTheExactResponse(t *testing.T) {
	law := integratorLaw(0.5, 8, 0.002)
	wide, err := pid.NewTable([]pid.TablePoint{{Ratio: -1e3, PulseUs: 1000}, {Ratio: 0, PulseUs: 1500 - 1e-9}, {Ratio: 0, PulseUs: 1500 + 1e-9}, {Ratio: 1e3, PulseUs: 2000}}, 1500)
	require.NoError(t, err)
	l := Loop{Law: law, Table: wide, Machine: Machine{RateGain: 1, LagS: 0.5, DeadTimeS: 1}}
	run, err := l.Run(Trial{SetPoint: 1, DurationS: 40, StepS: 0.002})
	require.NoError(t, err)
	var sim pid.Simulator
	r, err := sim.Run(pid.Tuning{Gains: law.Gains, SetPointShare: 1}, pid.Integrating{RateGain: 1, LagS: 0.5, DeadTimeS: 1 + law.PeriodS/2}, pid.SetPointStep)
	require.NoError(t, err)
	worst := 0.0
	for k, y := range r.Output {
		if i := int(math.Round(float64(k) * r.StepS / run.PeriodS)); i < len(run.Measured) {
			worst = max(worst, math.Abs(y-run.Measured[i]))
		}
	}
	require.Less(t, worst, 3e-3)
}

// A saturated loop with twice the gain that it bears hunts as the first harmonic says; a third-order loop filters so well
// that the two agree closely. Here the saturation is the law's own bounds of the ratio.
func TestSaturatedLoopHuntsAsPredicted(t *testing.T) {
	const k, dead = 1.0, 1.0
	gain := math.Pi / 2 / (k * dead) * 1.3
	process := pid.Integrating{RateGain: k, DeadTimeS: dead}
	predicted, err := LimitCycles(process.Transfer(), Saturation{Limit: 1 / gain, Slope: gain})
	require.NoError(t, err)
	require.Len(t, predicted, 1)
	law := pid.Law{Gains: pid.ParallelPID{Kp: gain}, SetPointWeight: 1, RatioLeast: -1, RatioMost: 1, PeriodS: 0.002}
	l := Loop{Law: law, Table: straight(t), Machine: Machine{RateGain: k, DeadTimeS: dead}}
	run, err := l.Run(Trial{SetPoint: 1, DurationS: 80, StepS: 0.002})
	require.NoError(t, err)
	v := Assess(run.Measured, run.PeriodS, 0)
	require.True(t, v.Hunting)
	require.InDelta(t, predicted[0].PeriodS, v.PeriodS, 0.01*v.PeriodS)
	require.InDelta(t, predicted[0].Amplitude, v.Amplitude, 0.05*v.Amplitude)
}

func TestAssessTellsTheKinds(t *testing.T) {
	wave := func(n int, f func(x float64) float64) []float64 {
		y := make([]float64, n)
		for k := range y {
			y[k] = f(float64(k) * 0.01)
		}
		return y
	}
	v := Assess(wave(4000, func(x float64) float64 { return 5 + 2*math.Sin(2*math.Pi*x/1.7) }), 0.01, 1)
	require.Equal(t, "hunting", v.Kind)
	require.InDelta(t, 2, v.Amplitude, 1e-3)
	require.InDelta(t, 1.7, v.PeriodS, 1e-3)
	require.Equal(t, "dying", Assess(wave(4000, func(x float64) float64 { return 50 * math.Exp(-x/12) * math.Sin(2*math.Pi*x/1.7) }), 0.01, 1).Kind)
	require.Equal(t, "quiet", Assess(wave(4000, func(x float64) float64 { return 0.9 * math.Sin(x) }), 0.01, 1).Kind)
	require.Equal(t, "unclear", Assess(wave(1000, func(x float64) float64 { return 5 * math.Sin(2*math.Pi*x/8) }), 0.01, 1).Kind)
	require.Equal(t, "unclear", Assess(nil, 0.01, 1).Kind)
}
