package pid

import (
	"math"
	"math/cmplx"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// times multiplies polynomials given as ascending coefficients.
func times(p ...[]float64) []float64 {
	out := []float64{1}
	for _, q := range p {
		out = multiply(out, q)
	}
	return out
}

func TestMarginsOfThePublishedControlLibrary(t *testing.T) {
	// python-control, tests margin_test.py (BSD-3, commit e60e5eb). Its printed figures were found on a grid: exact roots
	// differ from them by up to the tolerances here (67.5981 deg, not 67.6058; 1/16, not 0.0626). It prints one gain
	// margin; where that is below 1 it is our GainReduction.
	inf := math.Inf(1)
	cases := []struct {
		name                     string
		loop                     Transfer
		gm, reduction            float64
		pm, least, phaseAt, gain float64 // least |1+L|; 0: not given; NaN: none
		digits                   float64
	}{
		{"1/(s^3+2s^2+3s+4)", Transfer{Num: []float64{1}, Den: []float64{4, 3, 2, 1}}, 2, 0, inf, 0.4170, 1.7321, math.NaN(), 1e-4},
		{"two resonances", Transfer{Num: times([]float64{8.75}, []float64{1, 0.4, 4}),
			Den: times([]float64{1, 100}, []float64{1, 0.22, 1}, []float64{1, 0.008, 0.01})}, 2.2716, 0, 97.5941, 0.5591, 10.0053, 0.0850, 6e-4},
		{"right-half-plane zero", Transfer{Num: []float64{0.1, -0.01}, Den: []float64{2, 3, 1}}, 300, 0, inf, 0.9917, 5.6569, math.NaN(), 1e-4},
		{"2/(s+1)^3", Transfer{Num: []float64{2}, Den: []float64{1, 3, 3, 1}}, 4, 0, 67.6058, 0, 1.7322, 0.7663, 2e-4},
		{"(s+0.1)/(s^2(s+1))", Transfer{Num: []float64{0.1, 1}, Den: []float64{0, 0, 1, 1}}, inf, 0, 44.4594, 0, math.NaN(), 0.7907, 1e-4},
		{"(s+0.1)^2/(s^3(s+1))", Transfer{Num: []float64{0.01, 0.2, 1}, Den: []float64{0, 0, 0, 1, 1}}, inf, 0.0626, 37.1748, 0, math.NaN(), 0.7951, 2e-3},
		{"200/(s^3+21s^2+20s)", Transfer{Num: []float64{200}, Den: []float64{0, 20, 21, 1}}, 2.1, 0, 0, 0, 4.47213595, 0, 1e-8},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			m, err := MarginsOf(c.loop)
			require.NoError(t, err)
			require.True(t, m.Stable)
			compare := func(want, got float64) {
				t.Helper()
				switch {
				case math.IsInf(want, 1):
					require.True(t, math.IsInf(got, 1), "%v", got)
				case math.IsNaN(want):
					require.True(t, math.IsNaN(got), "%v", got)
				case want != 0:
					near(t, want, got, c.digits)
				}
			}
			compare(c.gm, m.GainMargin)
			compare(c.reduction, m.GainReduction)
			compare(c.pm, m.PhaseMarginDeg)
			compare(c.phaseAt, m.PhaseCrossover)
			compare(c.gain, m.GainCrossover)
			if c.least != 0 {
				compare(c.least, 1/m.Ms)
			}
		})
	}
	m, err := MarginsOf(cases[5].loop)
	require.NoError(t, err)
	near(t, 0.1119, m.GainReductionFrequency, 2e-3)
	near(t, 1.0/16, m.GainReduction, 1e-12) // closed form: L(0.1j/sqrt 0.8) = -16
}

func TestMarginsOfTheRuleOf2003(t *testing.T) {
	// Skogestad and Grimholt 2012, table 5.2 (closed-loop time equal to dead time), to the digits recomputed here by
	// hand where they are closed forms: the gain margin of the first column is pi, its phase margin 90 deg less 0.5 rad.
	first := FirstOrder{Gain: 1, TimeConstantS: 8, DeadTimeS: 1}
	integrating := Integrating{RateGain: 1, DeadTimeS: 1}
	for _, c := range []struct {
		process                         Process
		gm, pm, ms, mt, delay, w180, wc float64
		digits                          float64
	}{
		{first, math.Pi, 90 - 90/math.Pi, 1.5905, 1, math.Pi - 1, math.Pi / 2, 0.5, 1e-4},
		{integrating, 2.9629, 46.86, 1.7035, 1.2994, 1.59, 1.4869, 0.5145, 3e-4},
	} {
		d, err := internalModel2003.Design(PI, c.process, RuleOptions{})
		require.NoError(t, err)
		m, err := LoopMargins(d.Tuning, c.process)
		require.NoError(t, err)
		near(t, c.gm, m.GainMargin, c.digits)
		near(t, c.pm, m.PhaseMarginDeg, c.digits)
		near(t, c.ms, m.Ms, c.digits)
		near(t, c.mt, m.Mt, c.digits)
		near(t, c.delay, m.DelayMarginS, 2e-3)
		near(t, c.w180, m.PhaseCrossover, c.digits)
		near(t, c.wc, m.GainCrossover, c.digits)
	}
	// Double integrator, PID, tc = L, so Kc = 1/16 and Ti = Td = 8: Ms 1.9588 (recomputed; recalled as 1.96).
	loop := Transfer{Num: times([]float64{1.0 / 128}, []float64{1, 8}, []float64{1, 8}), Den: []float64{0, 0, 0, 1}, DeadTimeS: 1}
	m, err := MarginsOf(loop)
	require.NoError(t, err)
	near(t, 1.9588, m.Ms, 1e-4)
}

func TestDefinitionsHoldOnAnyLoop(t *testing.T) {
	// What the words mean: at a phase crossing L is real and negative and GM its inverse; raising the gain by GM, or the
	// dead time by the delay margin, puts L on -1; nowhere on a dense grid is 1/|1+L| above Ms.
	rapid.Check(t, func(t *rapid.T) {
		loop, m := anyLoop(t)
		for _, c := range m.PhaseCrossings {
			l := loop.At(c.Frequency)
			require.InDelta(t, 0, imag(l), 1e-7*cmplx.Abs(l)*(1+c.Frequency*loop.DeadTimeS))
			near(t, -1/real(l), c.GainMargin, 1e-9)
		}
		for _, c := range m.GainCrossings {
			near(t, 1, cmplx.Abs(loop.At(c.Frequency)), 1e-9)
			late := loop
			late.DeadTimeS += c.DelayMarginS
			require.InDelta(t, 0, cmplx.Abs(late.At(c.Frequency)+1), 1e-6)
		}
		worst := 0.0
		for w := 1e-3; w < 1e4; w *= 1.003 {
			worst = max(worst, 1/cmplx.Abs(1+loop.At(w)))
		}
		require.LessOrEqual(t, worst, m.Ms*(1+1e-9))
	})
}

// anyLoop draws a tuning on a process, with its margins.
func anyLoop(t *rapid.T) (Transfer, Margins) {
	draw := func(name string, low, high float64) float64 {
		return math.Exp(rapid.Float64Range(math.Log(low), math.Log(high)).Draw(t, name))
	}
	dead := draw("L", 0.01, 1)
	var p Process
	switch rapid.IntRange(0, 2).Draw(t, "process") {
	case 0:
		p = FirstOrder{Gain: 1, TimeConstantS: draw("T", 0.01, 5), DeadTimeS: dead}
	case 1:
		p = Integrating{RateGain: 1, LagS: draw("T", 0.01, 2), DeadTimeS: dead}
	default:
		p = SecondOrder{Gain: 1, TimeConstantS: 5, SecondS: draw("T2", 0.01, 5), DeadTimeS: dead}
	}
	c := Tuning{Gains: ParallelPID{draw("Kp", 0.01, 20), draw("Ki", 0.01, 20), draw("Kd", 0.001, 1)}, FilterTimeS: draw("Tf", 0.002, 0.1)}
	m, err := LoopMargins(c, p)
	require.NoError(t, err)
	return c.Transfer().Times(p.Transfer()), m
}

func TestStabilityAgreesWithTheMargins(t *testing.T) {
	// A loop with gain margin GM is stable just below and unstable just above; the same for the delay margin.
	for _, l := range referenceLoops(t) {
		loop := tuningOf(l, 1).Transfer().Times(processOf(l).Transfer())
		m, err := MarginsOf(loop)
		require.NoError(t, err)
		for _, share := range []float64{0.999, 1.001} {
			louder, err := MarginsOf(loop.Scaled(m.GainMargin * share))
			require.NoError(t, err)
			require.Equal(t, share < 1, louder.Stable, "%s gain x %v", l.ID, share)
			late := loop
			late.DeadTimeS += m.DelayMarginS * share
			later, err := MarginsOf(late)
			require.NoError(t, err)
			require.Equal(t, share < 1, later.Stable, "%s later x %v", l.ID, share)
			if share > 1 {
				require.Zero(t, later.DelayMarginS)
			}
		}
	}
}

func TestStabilityAgainstKnownPoles(t *testing.T) {
	// Closed form: den + num is (s - p1)...(s - pn) with poles drawn on either side of the axis.
	rapid.Check(t, func(t *rapid.T) {
		poles := rapid.SliceOfN(rapid.Float64Range(-3, 3), 2, 5).Draw(t, "poles")
		closed := []float64{1}
		stable := true
		for _, p := range poles {
			if math.Abs(p) < 0.05 {
				t.Skip("too near the axis to call")
			}
			closed = multiply(closed, []float64{-p, 1})
			stable = stable && p < 0
		}
		num := rapid.SliceOfN(rapid.Float64Range(-2, 2), 1, len(closed)-1).Draw(t, "num")
		if trim(num) == nil || math.Abs(num[0]) < 1e-3 || math.Abs(num[len(num)-1]) < 1e-3 {
			t.Skip("no numerator to speak of")
		}
		m, err := MarginsOf(Transfer{Num: num, Den: add(closed, num, -1)})
		require.NoError(t, err)
		require.Equal(t, stable, m.Stable)
	})
}
