package pid

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// example is a row of Skogestad 2003, table 4, by way of a secondary text; Ms, PM and GM are recomputed with the printed
// settings on an independent program, to the digits given. NaN: none.
type example struct {
	name       string
	num, den   []float64
	dead       float64
	kc, ti, td float64
	ms, pm, gm float64
}

func examples() []example {
	none := math.NaN()
	lag := func(t ...float64) []float64 {
		out := []float64{1}
		for _, v := range t {
			out = multiply(out, []float64{1, v})
		}
		return out
	}
	integral := func(p []float64) []float64 { return append([]float64{0}, p...) }
	twice := func(k float64, p []float64) []float64 { return multiply(p, []float64{k}) }
	return []example{
		{"E1 PI", lag(), lag(1, 0.2), 0, 5.5, 0.8, 0, 1.560, 46.5, none},
		{"E2 PI", lag(-0.3, 0.08), lag(2, 1, 0.4, 0.2, 0.05, 0.05, 0.05), 0, 0.85, 2.5, 0, 1.661, 57.8, 3.37},
		{"E2 PID", lag(-0.3, 0.08), lag(2, 1, 0.4, 0.2, 0.05, 0.05, 0.05), 0, 1.30, 2, 1.2, 1.725, 58.0, 2.89},
		{"E3 PI", twice(2, lag(15)), lag(20, 1, 0.1, 0.1), 0, 2.33, 1.05, 0, 1.549, 55.4, 5.76},
		{"E3 PID", twice(2, lag(15)), lag(20, 1, 0.1, 0.1), 0, 6.67, 0.4, 0.15, 1.498, 49.2, none}, // printed Ms 1.47 does not follow
		{"E4 PI", lag(), lag(1, 1, 1, 1), 0, 0.3, 1.5, 0, 1.463, 62.4, 4.94},
		{"E4 PID", lag(), lag(1, 1, 1, 1), 0, 0.5, 1.5, 1, 1.432, 62.5, 6.75},
		{"E5 PI", lag(), lag(1, 0.2, 0.04, 0.008), 0, 3.72, 1.1, 0, 1.593, 51.2, 6.69},
		{"E5 PID", lag(), lag(1, 0.2, 0.04, 0.008), 0, 17.9, 0.224, 0.22, 1.829, 38.6, 6.51}, // printed Ms 1.58 does not follow
		{"E6 PI", lag(0.17, 0.17), integral(lag(1, 1, 0.028)), 0, 0.296, 13.5, 0, 1.475, 48.8, 16.6},
		{"E6 PID", lag(0.17, 0.17), integral(lag(1, 1, 0.028)), 0, 1.40, 2.86, 1.33, 1.228, 52.4, none},
		{"E7 PI", lag(-2), lag(1, 1, 1), 0, 0.214, 1.5, 0, 1.659, 60.9, 2.84},
		{"E7 PID", lag(-2), lag(1, 1, 1), 0, 0.3, 1.5, 1, 1.852, 59.8, 2.32},
		{"E8 PI", lag(), integral(lag(1, 1)), 0, 0.33, 12, 0, 1.763, 40.4, 5.05},
		{"E8 PID", lag(), integral(lag(1, 1)), 0, 1.5, 4, 1.5, 1.793, 37.7, none},
		{"E9 PI", lag(), lag(1, 1), 1, 0.5, 1.5, 0, 1.614, 60.4, 3.28},
		{"E9 PID", lag(), lag(1, 1), 1, 0.5, 1, 1, 1.591, 61.4, 3.14},
		{"E10 PI", lag(), lag(20, 2), 1, 5.25, 16, 0, 1.716, 47.9, 3.98},
		{"E10 PID", lag(), lag(20, 2), 1, 10, 8, 2, 1.651, 52.5, 3.04},
		{"E11 PI", lag(-1), lag(6, 2, 2), 1, 0.7, 7, 0, 1.626, 59.6, 3.34},
		{"E11 PID", lag(-1), lag(6, 2, 2), 1, 1, 6, 3, 1.657, 60.1, 3.02},
		{"E12 PI", lag(6, 3), lag(10, 8, 1), 0.3, 7.41, 1, 0, 1.657, 51.7, 3.03},
		{"E13 PI", lag(2), lag(10, 0.5), 1, 2.88, 4.5, 0, 1.737, 79.4, 2.40},
		{"E14 PI", lag(-1), []float64{0, 1}, 0, 0.5, 8, 0, 2.000, 47.4, none},
		{"E15 PI", lag(-1), lag(1), 0, 0.5, 1, 0, 2.000, 60.0, none},
	}
}

func TestMarginsOfThePublishedExamples(t *testing.T) {
	for _, e := range examples() {
		t.Run(e.name, func(t *testing.T) {
			g, err := SeriesPID{e.kc, e.ti, e.td}.Parallel()
			require.NoError(t, err)
			m, err := LoopMargins(Tuning{Gains: g}, Rational{Num: e.num, Den: e.den, DeadTimeS: e.dead})
			require.NoError(t, err)
			require.True(t, m.Stable)
			require.InDelta(t, e.ms, m.Ms, 6e-4)
			require.InDelta(t, e.pm, m.PhaseMarginDeg, 0.06)
			if math.IsNaN(e.gm) {
				require.True(t, math.IsInf(m.GainMargin, 1) || math.IsInf(m.PhaseCrossover, 1), "%v at %v", m.GainMargin, m.PhaseCrossover)
			} else {
				require.InDelta(t, e.gm, m.GainMargin, e.gm*2e-3)
			}
		})
	}
}

func TestHalfRuleAndGainsOfThePublishedExamples(t *testing.T) {
	// Skogestad 2003, table 4: the reductions that follow from the rule, and the settings that follow from those.
	for _, c := range []struct {
		name  string
		chain Chain
		one   Process
		kc1   float64
		two   Process
		kc2   float64
	}{
		{"E1", Chain{Gain: 1, LagsS: []float64{0.2, 1}}, FirstOrder{1, 1.1, 0.1}, 5.5, nil, 0},
		{"E4", Chain{Gain: 1, LagsS: []float64{1, 1, 1, 1}}, FirstOrder{1, 1.5, 2.5}, 0.3, SecondOrder{1, 1.5, 1, 1.5}, 0.5},
		{"E5", Chain{Gain: 1, LagsS: []float64{1, 0.2, 0.04, 0.008}}, FirstOrder{1, 1.1, 0.148}, 3.72, SecondOrder{1, 1, 0.22, 0.028}, 17.9},
		{"E7", Chain{Gain: 1, LagsS: []float64{1, 1, 1}, InverseS: []float64{2}}, FirstOrder{1, 1.5, 3.5}, 0.214, SecondOrder{1, 1.5, 1, 2.5}, 0.3},
		{"E8", Chain{Gain: 1, Integrates: true, LagsS: []float64{1, 1}}, Integrating{1, 0, 1.5}, 0.33, Integrating{1, 1.5, 0.5}, 1.0}, // the PID is printed as 1.5
		{"E9", Chain{Gain: 1, LagsS: []float64{1, 1}, DeadTimeS: 1}, FirstOrder{1, 1.5, 1.5}, 0.5, SecondOrder{1, 1, 1, 1}, 0.5},
		{"E10", Chain{Gain: 1, LagsS: []float64{20, 2}, DeadTimeS: 1}, FirstOrder{1, 21, 2}, 5.25, SecondOrder{1, 20, 2, 1}, 10},
		{"E11", Chain{Gain: 1, LagsS: []float64{6, 2, 2}, InverseS: []float64{1}, DeadTimeS: 1}, FirstOrder{1, 7, 5}, 0.7, SecondOrder{1, 6, 3, 3}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			one, err := c.chain.OneLag()
			require.NoError(t, err)
			requireSame(t, c.one, one)
			d, err := internalModel2003.Design(PI, one, RuleOptions{})
			require.NoError(t, err)
			near(t, c.kc1, d.Tuning.Gains.Kp, 0.011)
			if c.two == nil {
				return
			}
			two, err := c.chain.TwoLags()
			require.NoError(t, err)
			requireSame(t, c.two, two)
			d, err = internalModel2003.Design(PID, two, RuleOptions{FilterShare: 1e9})
			require.NoError(t, err)
			s, err := d.Tuning.Gains.Series()
			require.NoError(t, err)
			near(t, c.kc2, s.Kc, 0.011)
		})
	}
}

func requireSame(t *testing.T, want, got Process) {
	t.Helper()
	a, b := want.Transfer(), got.Transfer()
	require.InDeltaSlice(t, a.Num, b.Num, 1e-12)
	require.InDeltaSlice(t, a.Den, b.Den, 1e-12)
	require.InDelta(t, a.DeadTimeS, b.DeadTimeS, 1e-12)
}

func TestUltimatePoints(t *testing.T) {
	// Closed forms: atan(wT) + wL = pi, Ku K = sqrt(1 + w^2 T^2); pi/(2 k' L) and 4 L; and the three without dead time.
	for _, c := range []struct {
		process      Process
		gain, period float64
		digits       float64
	}{
		{Rational{Num: []float64{1}, Den: []float64{1, 3, 3, 1}}, 8, 2 * math.Pi / math.Sqrt(3), 1e-12},
		{Rational{Num: []float64{1}, Den: []float64{1, 4, 6, 4, 1}}, 4, 2 * math.Pi, 1e-12},
		{Rational{Num: []float64{1}, Den: []float64{0, 1, 2, 1}}, 2, 2 * math.Pi, 1e-12},
		{Integrating{RateGain: 0.8, DeadTimeS: 0.15}, math.Pi / (2 * 0.8 * 0.15), 0.6, 1e-12},
		{FirstOrder{1, 1, 0.05}, 32.055546, 0.196105, 3e-6},
		{FirstOrder{1, 1, 0.1}, 16.350554, 0.385000, 3e-6},
		{FirstOrder{2, 1, 0.2}, 8.502425 / 2, 0.744152, 3e-6},
		{FirstOrder{1, 1, 0.25}, 6.934511, 0.915645, 3e-6},
		{FirstOrder{1, 1, 0.5}, 3.806883, 1.710551, 3e-6},
		{FirstOrder{1, 1, 1}, 2.261826, 3.097060, 3e-6},
		{FirstOrder{1, 1, 2}, 1.519803, 5.490064, 3e-6},
		{FirstOrder{1, 1, 5}, 1.132112, 11.838705, 3e-6},
	} {
		u, err := Ultimate(c.process)
		require.NoError(t, err)
		near(t, c.gain, u.Gain, c.digits)
		near(t, c.period, u.PeriodS, c.digits)
	}
	_, err := Ultimate(FirstOrder{Gain: 1, TimeConstantS: 1})
	var model *ModelError
	require.True(t, errors.As(err, &model), "one lag alone never hunts")
}

func TestRulesReachTheirPublishedSensitivity(t *testing.T) {
	// Ms of the rules, ideal form without filter, recomputed independently to three decimals.
	quick := RuleOptions{FilterShare: 1e12}
	ms := func(r Rule, k Kind, p Process) float64 {
		d, err := r.Design(k, p, quick)
		require.NoError(t, err)
		m, err := LoopMargins(d.Tuning, p)
		require.NoError(t, err)
		return m.Ms
	}
	ratios := []float64{0.1, 0.25, 0.5, 1, 2, 5}
	pi := []float64{1.317, 1.246, 1.212, 1.249, 1.372, 1.486}
	// The last one is closed form: without a filter |L| tends to K Kd/T = 0.29, and 1/(1 - 0.29) is approached, not met
	// (1.402 on a finite grid).
	full := []float64{1.406, 1.406, 1.404, 1.398, 1.387, 1 / (1 - 0.29)}
	for i, l := range ratios {
		p := FirstOrder{1, 1, l}
		require.InDelta(t, pi[i], ms(robust2004, PI, p), 6e-4)
		require.InDelta(t, full[i], ms(robust2004, PID, p), 6e-4)
	}
	integrating := Integrating{RateGain: 1, DeadTimeS: 1}
	require.InDelta(t, 1.410, ms(robust2004, PI, integrating), 6e-4)
	require.InDelta(t, 1.407, ms(robust2004, PID, integrating), 6e-4)
	for _, c := range []struct {
		p        Process
		pi, full float64
	}{
		{Rational{Num: []float64{1}, Den: []float64{1, 3, 3, 1}}, 4.93, 2.13},
		{Rational{Num: []float64{1}, Den: []float64{1, 4, 6, 4, 1}}, 2.82, 2.05},
		{Rational{Num: []float64{1}, Den: []float64{0, 1, 2, 1}}, 8.67, 2.31},
		{FirstOrder{1, 1, 1}, 2.05, 2.59},
		{integrating, 2.83, 2.29},
	} {
		require.InDelta(t, c.pi, ms(ultimate1942, PI, c.p), 6e-3)
		require.InDelta(t, c.full, ms(ultimate1942, PID, c.p), 6e-3)
	}
	// Skogestad and Grimholt 2012, tables 5.3 and 5.4: Kc, Ti and Ms of the improved rule, as printed.
	for _, c := range []struct {
		p          Process
		kc, ti, ms float64
	}{
		{FirstOrder{1, 0, 1}, 0.17, 0.33, 1.45},
		{FirstOrder{1, 1, 1}, 0.67, 1.33, 1.69},
		{FirstOrder{1, 8, 1}, 4.17, 8, 1.62},
	} {
		d, err := internalModel2012.Design(PI, c.p, RuleOptions{})
		require.NoError(t, err)
		g, err := d.Tuning.Gains.Ideal()
		require.NoError(t, err)
		require.InDelta(t, c.kc, g.Kc, 5.1e-3)
		require.InDelta(t, c.ti, g.Ti, 5.1e-3)
		// The printed Ms belongs to the printed, rounded gains: 1.45 for 0.17 and 0.33, 1.432 for 1/6 and 1/3.
		rounded, err := IdealPID{c.kc, c.ti, 0}.Parallel()
		require.NoError(t, err)
		m, err := LoopMargins(Tuning{Gains: rounded}, c.p)
		require.NoError(t, err)
		require.InDelta(t, c.ms, m.Ms, 7e-3)
	}
}

func TestRulesGiveTheReferenceGains(t *testing.T) {
	// The gains of the twelve loops were computed independently by these rules.
	byID := map[string]struct {
		rule Rule
		kind Kind
	}{
		"internal-model-pi": {internalModel2003, PI}, "internal-model-pid": {internalModel2012, PID},
		"amigo-pi": {robust2004, PI}, "amigo-pid": {robust2004, PID},
		"ultimate-pi": {ultimate1942, PI}, "ultimate-pid": {ultimate1942, PID},
	}
	for _, l := range referenceLoops(t) {
		c, known := byID[l.ID[3:]]
		require.True(t, known, l.ID)
		d, err := c.rule.Design(c.kind, processOf(l), RuleOptions{})
		require.NoError(t, err)
		near(t, l.Controller.Kp, d.Tuning.Gains.Kp, 1e-9, l.ID)
		near(t, l.Controller.Ki, d.Tuning.Gains.Ki, 1e-9, l.ID)
		near(t, l.Controller.Kd, d.Tuning.Gains.Kd, 1e-9, l.ID)
		near(t, l.Controller.Tf, d.Tuning.FilterTimeS, 1e-9, l.ID)
	}
}

func TestRuleTablesAtAHandCase(t *testing.T) {
	// K 2, T 1, L 0.5: a = 1, so Kc is the table's own number. Tables of 1942, 1952 and 1953 by way of secondary texts.
	p := FirstOrder{2, 1, 0.5}
	for _, c := range []struct {
		rule       Rule
		kind       Kind
		kc, ti, td float64
	}{
		{reactionCurve1942, PI, 0.9, 1.665, 0}, {reactionCurve1942, PID, 1.2, 1, 0.25},
		{quarterDecay1953, PI, 0.9 + 0.5/12, 0.5 * 31.5 / 19, 0}, {quarterDecay1953, PID, 4.0/3 + 0.125, 0.5 * 35 / 17, 4 * 0.5 / 12},
		{setPoint1952, PI, 0.35, 1.17, 0}, {setPoint1952, PID, 0.6, 1, 0.25},
		{setPointQuick1952, PI, 0.6, 1, 0}, {setPointQuick1952, PID, 0.95, 1.4, 0.235},
		{load1952, PI, 0.6, 2, 0}, {load1952, PID, 0.95, 1.2, 0.21},
		{loadQuick1952, PI, 0.7, 1.15, 0}, {loadQuick1952, PID, 1.2, 1, 0.21},
		{lambda1968, PI, 1 / (2 * 1.5), 1, 0},
	} {
		d, err := c.rule.Design(c.kind, p, RuleOptions{})
		require.NoError(t, err, c.rule.Name)
		g, err := d.Tuning.Gains.Ideal()
		require.NoError(t, err)
		near(t, c.kc, g.Kc, 1e-12, c.rule.Name)
		near(t, c.ti, g.Ti, 1e-12, c.rule.Name)
		near(t, c.td, g.Td, 1e-12, c.rule.Name)
	}
}

func TestEveryRuleIsStableOrSaysWhyNot(t *testing.T) {
	// An axis as expected: 3 turns a second, 60 ms of lag, 30 ms of dead time and what the controller adds.
	axis := Integrating{RateGain: 3, LagS: 0.06, DeadTimeS: 0.03}.Delayed(LoopDelay(0.01, 0.02))
	names := map[string]bool{}
	for _, r := range Rules() {
		require.False(t, names[r.Name], "two rules of one name")
		names[r.Name] = true
		require.NotEmpty(t, r.Source)
		require.NotEmpty(t, r.Aim)
		found, ok := RuleByName(r.Name)
		require.True(t, ok)
		require.Equal(t, r.Name, found.Name)
		for _, k := range []Kind{PI, PID} {
			d, err := r.Design(k, axis, RuleOptions{LeastFilterS: 0.01})
			if err != nil {
				var design *DesignError
				require.True(t, errors.As(err, &design), "%v", err)
				t.Log(err)
				continue
			}
			m, err := LoopMargins(d.Tuning, axis)
			require.NoError(t, err)
			require.NoError(t, d.Tuning.Validate())
			require.True(t, m.Stable, "%s %v", r.Name, k)
			t.Logf("%-50s %-3v Kp %.3f Ki %.3f Kd %.4f Ms %.2f", r.Name, k, d.Tuning.Gains.Kp, d.Tuning.Gains.Ki, d.Tuning.Gains.Kd, m.Ms)
		}
	}
	_, ok := RuleByName("nobody 1900")
	require.False(t, ok)
}
