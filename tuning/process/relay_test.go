package process

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/pid"
)

// Recomputed independently; without hysteresis the closed form is that of Wang, Hang and Zou 1997.
func TestRelayCyclesOfTheTable(t *testing.T) {
	for _, c := range []struct{ dead, amplitude, period, ku, trueKu, gainError, periodError float64 }{
		{0.1, 0.095163, 0.381806, 13.37962, 16.35055, -18.17, -0.83},
		{0.25, 0.221199, 0.899667, 5.75608, 6.93451, -16.99, -1.75},
		{0.5, 0.393469, 1.663593, 3.23593, 3.80688, -15.00, -2.75},
		{1, 0.632121, 2.979760, 2.01424, 2.26183, -10.95, -3.79},
		{2, 0.864665, 5.246163, 1.47252, 1.51980, -3.11, -4.44},
		{5, 0.993262, 11.379545, 1.28188, 1.13211, 13.23, -3.88},
	} {
		p := pid.FirstOrder{Gain: 1, TimeConstantS: 1, DeadTimeS: c.dead}
		cycle, err := RelayOnFirstOrder(p, 1, 0)
		require.NoError(t, err)
		require.InDelta(t, c.amplitude, cycle.Amplitude, 6e-7)
		require.InDelta(t, c.period, cycle.PeriodS, 6e-7)
		u, err := UltimateByFirstHarmonic(cycle, 1, 0)
		require.NoError(t, err)
		require.InDelta(t, c.ku, u.Gain, 6e-6)
		exact, err := pid.Ultimate(p)
		require.NoError(t, err)
		require.InDelta(t, c.trueKu, exact.Gain, 6e-6)
		require.InDelta(t, c.gainError, 100*(u.Gain/exact.Gain-1), 6e-3)
		require.InDelta(t, c.periodError, 100*(u.PeriodS/exact.PeriodS-1), 6e-3)
	}
	// integrating: amplitude k' d L, period 4 L, and an ultimate gain 18.94 % low
	p := pid.Integrating{RateGain: 0.8, DeadTimeS: 0.15}
	cycle, err := RelayOnIntegrating(p, 0.6, 0)
	require.NoError(t, err)
	require.InDelta(t, 0.8*0.6*0.15, cycle.Amplitude, 1e-15)
	require.InDelta(t, 0.6, cycle.PeriodS, 1e-15)
	u, err := UltimateByFirstHarmonic(cycle, 0.6, 0)
	require.NoError(t, err)
	exact, err := pid.Ultimate(p)
	require.NoError(t, err)
	require.InDelta(t, -18.94, 100*(u.Gain/exact.Gain-1), 6e-3)
	require.InDelta(t, exact.PeriodS, u.PeriodS, 1e-12)
}

// The definition: a relay played through in small steps.
func TestRelayCyclesAgreeWithASimulation(t *testing.T) {
	const dt = 2e-5
	play := func(advance func(y, u float64) float64, deadS, height, hysteresis float64) RelayCycle {
		wait := make([]float64, int(math.Round(deadS/dt)))
		y, u, most := 0.0, height, 0.0
		last, period := 0.0, 0.0
		for k := 0; float64(k)*dt < 12; k++ {
			slot := &wait[k%len(wait)]
			arriving := *slot
			*slot = u
			y = advance(y, arriving)
			switch {
			case u > 0 && y > hysteresis:
				u = -height
			case u < 0 && y < -hysteresis:
				u = height
				period, last = float64(k)*dt-last, float64(k)*dt
			}
			if float64(k)*dt > 6 {
				most = max(most, y)
			}
		}
		return RelayCycle{most, period}
	}
	for _, hysteresis := range []float64{0, 0.1} {
		first := pid.FirstOrder{Gain: 2, TimeConstantS: 0.35, DeadTimeS: 0.12}
		decay := math.Exp(-dt / first.TimeConstantS)
		seen := play(func(y, u float64) float64 { return first.Gain*u + (y-first.Gain*u)*decay }, first.DeadTimeS, 0.5, hysteresis)
		want, err := RelayOnFirstOrder(first, 0.5, hysteresis)
		require.NoError(t, err)
		require.InDelta(t, seen.Amplitude, want.Amplitude, 3e-4)
		require.InDelta(t, seen.PeriodS, want.PeriodS, 3e-4)
		back, err := FirstOrderFromRelay(want, 2, 0.5, hysteresis)
		require.NoError(t, err)
		require.InDelta(t, first.TimeConstantS, back.TimeConstantS, 1e-12)
		require.InDelta(t, first.DeadTimeS, back.DeadTimeS, 1e-12)

		integrating := pid.Integrating{RateGain: 0.8, DeadTimeS: 0.15}
		seen = play(func(y, u float64) float64 { return y + integrating.RateGain*u*dt }, integrating.DeadTimeS, 0.5, hysteresis)
		want, err = RelayOnIntegrating(integrating, 0.5, hysteresis)
		require.NoError(t, err)
		require.InDelta(t, seen.Amplitude, want.Amplitude, 3e-4)
		require.InDelta(t, seen.PeriodS, want.PeriodS, 3e-4)
		turned, err := IntegratingFromRelay(want, 0.5, hysteresis)
		require.NoError(t, err)
		require.InDelta(t, integrating.RateGain, turned.RateGain, 1e-12)
		require.InDelta(t, integrating.DeadTimeS, turned.DeadTimeS, 1e-12)
	}
}

func TestRelayRefusesWhatNeverChangesOver(t *testing.T) {
	var input *InputError
	_, err := RelayOnFirstOrder(pid.FirstOrder{Gain: 1, TimeConstantS: 1, DeadTimeS: 1}, 1, 1.5)
	require.True(t, errors.As(err, &input))
	_, err = RelayOnIntegrating(pid.Integrating{RateGain: 1, LagS: 1, DeadTimeS: 1}, 1, 0)
	require.True(t, errors.As(err, &input))
	_, err = FirstOrderFromRelay(RelayCycle{2, 1}, 1, 1, 0)
	require.True(t, errors.As(err, &input))
	_, err = IntegratingFromRelay(RelayCycle{0.1, 1}, 1, 0.2)
	require.True(t, errors.As(err, &input))
}
