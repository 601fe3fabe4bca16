package hunting

import (
	"errors"
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/pid"
)

// Tables recomputed from the Fourier integrals of Gelb and Vander Velde 1968, to six digits.
func TestDescribingFunctionsOfThePublishedForms(t *testing.T) {
	for _, c := range []struct{ a, zone, re, im, size, deg float64 }{
		{1.1, 0.032451, 0.045242, -0.105226, 0.114540, -66.73},
		{1.25, 0.104088, 0.142378, -0.203718, 0.248541, -55.05},
		{1.5, 0.219102, 0.291791, -0.282942, 0.406446, -44.12},
		{2, 0.391002, 0.5, -1 / math.Pi, 0.592724, -32.48},
		{3, 0.583583, 0.708209, -0.282942, 0.762637, -21.78},
		{5, 0.747060, 0.857622, -0.203718, 0.881485, -13.36},
		{10, 0.872889, 0.947956, -0.114592, 0.954857, -6.89},
		{100, 0.987268, 0.998307, -0.012605, 0.998387, -0.72},
	} {
		require.InDelta(t, c.zone, real(DeadZone{1, 1}.Describe(c.a)), 6e-7)
		require.InDelta(t, 3*c.zone, real(DeadZone{2, 3}.Describe(2*c.a)), 3e-6)
		n := Backlash{2}.Describe(c.a)
		require.InDelta(t, c.re, real(n), 6e-7)
		require.InDelta(t, c.im, imag(n), 6e-7)
		require.InDelta(t, c.size, cmplx.Abs(n), 6e-7)
		require.InDelta(t, c.deg, cmplx.Phase(n)*180/math.Pi, 6e-3)
	}
	require.Zero(t, DeadZone{1, 1}.Describe(0.9))
	require.Zero(t, Backlash{2}.Describe(0.9))
}

// The definition: the first Fourier coefficient of what the element makes of a sine, with the element played through in
// small steps until it repeats.
func TestDescribingFunctionsAreFirstHarmonics(t *testing.T) {
	play := func(gap float64) func(float64) float64 {
		out := 0.0
		return func(x float64) float64 {
			out = min(max(out, x-gap/2), x+gap/2)
			return out
		}
	}
	relay := func(d, eps float64) func(float64) float64 {
		out := d
		return func(x float64) float64 {
			if x > eps {
				out = d
			} else if x < -eps {
				out = -d
			}
			return out
		}
	}
	for _, c := range []struct {
		e     Element
		fresh func() func(float64) float64
	}{
		{DeadZone{0.7, 2}, func() func(float64) float64 {
			return func(x float64) float64 { return 2 * (x - min(max(x, -0.7), 0.7)) }
		}},
		{Saturation{0.8, 3}, func() func(float64) float64 {
			return func(x float64) float64 { return 3 * min(max(x, -0.8), 0.8) }
		}},
		{Backlash{1.1}, func() func(float64) float64 { return play(1.1) }},
		{Relay{2, 0.4}, func() func(float64) float64 { return relay(2, 0.4) }},
	} {
		for _, a := range []float64{0.75, 1, 1.7, 6} {
			f := c.fresh()
			const n = 200_000
			var sum complex128
			for k := range 2 * n {
				s, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / n)
				y := f(a * s)
				if k >= n {
					sum += complex(y*s, y*cos) * 2 / n
				}
			}
			got := c.e.Describe(a)
			require.InDelta(t, real(sum)/a, real(got), 2e-4, "%+v at %g", c.e, a)
			require.InDelta(t, imag(sum)/a, imag(got), 2e-4, "%+v at %g", c.e, a)
		}
	}
}

// pi is the loop of a PI controller on k' = 1, L = 1.
func pi(kc, ti float64) pid.Transfer {
	g, _ := pid.IdealPID{Kc: kc, Ti: ti}.Parallel()
	return pid.Tuning{Gains: g}.Transfer().Times(pid.Integrating{RateGain: 1, DeadTimeS: 1}.Transfer())
}

// Recomputed independently: harmonic balance of the two PI loops with backlash on the output, to the digits given.
func TestBacklashBalance(t *testing.T) {
	for _, c := range []struct{ kc, ti, a, w float64 }{{0.5, 8, 1.41523, 0.20954}, {0.35, 13.4, 1.31587, 0.12179}} {
		found, err := LimitCycles(pi(c.kc, c.ti), Backlash{2})
		require.NoError(t, err)
		var stable []Cycle
		for _, f := range found {
			residual := 1 + pi(c.kc, c.ti).At(f.Frequency)*Backlash{2}.Describe(f.Amplitude)
			require.Less(t, cmplx.Abs(residual), 1e-9, "the balance itself")
			if f.Stable {
				stable = append(stable, f)
			}
		}
		t.Logf("%+v: %+v", c, found)
		require.Len(t, stable, 1)
		require.InDelta(t, c.a, stable[0].Amplitude, 6e-6)
		require.InDelta(t, c.w, stable[0].Frequency, 6e-6)
	}
}

func TestLoopsWithoutACycle(t *testing.T) {
	// Recomputed independently: PI with Ti = T on a first-order process with T/L = 8, and proportional control of
	// 1/(s(s+1)), meet -1/N of backlash nowhere. A dead zone in a loop of gain margin above 1 has no cycle.
	g, err := pid.IdealPID{Kc: 4, Ti: 8}.Parallel()
	require.NoError(t, err)
	first := pid.Tuning{Gains: g}.Transfer().Times(pid.FirstOrder{Gain: 1, TimeConstantS: 8, DeadTimeS: 1}.Transfer())
	for _, l := range []pid.Transfer{first, {Num: []float64{1}, Den: []float64{0, 1, 1}}} {
		found, err := LimitCycles(l, Backlash{0.3})
		require.NoError(t, err)
		require.Empty(t, found)
	}
	found, err := LimitCycles(pi(0.5, 8), DeadZone{1, 1})
	require.NoError(t, err)
	require.Empty(t, found)
	var number *NumberError
	_, err = LimitCycles(first, Backlash{})
	require.True(t, errors.As(err, &number))
}

func TestRelayAndSaturationBalance(t *testing.T) {
	// Closed form: a relay on k'e^{-Ls}/s has 4d/(pi A) = Ku = pi/(2 k' L) and the period 4 L.
	process := pid.Integrating{RateGain: 0.8, DeadTimeS: 0.15}.Transfer()
	found, err := LimitCycles(process, Relay{Height: 0.6})
	require.NoError(t, err)
	stable := found[len(found)-1]
	require.True(t, stable.Stable)
	require.InDelta(t, 0.6, stable.PeriodS, 1e-9)
	require.InDelta(t, 4*0.6/math.Pi*2*0.8*0.15/math.Pi, stable.Amplitude, 1e-9)
	// With hysteresis, without dead time: a relay on 1/(s(s+1)) balances where arg = -180 + asin(eps/A).
	lag := pid.Transfer{Num: []float64{1}, Den: []float64{0, 1, 1}}
	found, err = LimitCycles(lag, Relay{1, 0.2})
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.True(t, found[0].Stable)
	residual := 1 + lag.At(found[0].Frequency)*Relay{1, 0.2}.Describe(found[0].Amplitude)
	require.Less(t, cmplx.Abs(residual), 1e-9)
	// A loop with twice the gain that it bears, saturated: N falls with amplitude, so the cycle is stable.
	found, err = LimitCycles(pid.Transfer{Num: []float64{16}, Den: []float64{1, 3, 3, 1}}, Saturation{1, 1})
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.InDelta(t, math.Sqrt(3), found[0].Frequency, 1e-9)
	require.InDelta(t, 0.5, real(Saturation{1, 1}.Describe(found[0].Amplitude)), 1e-9)
	require.True(t, found[0].Stable)
	// The same with a dead zone: below its cycle the loop rests, above it grows.
	found, err = LimitCycles(pid.Transfer{Num: []float64{16}, Den: []float64{1, 3, 3, 1}}, DeadZone{1, 1})
	require.NoError(t, err)
	require.Len(t, found, 1)
	require.False(t, found[0].Stable)
}
