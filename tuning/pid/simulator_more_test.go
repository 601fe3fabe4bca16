package pid

import (
	"encoding/json"
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// plain is a process under no control at all: a load step is then its own step response.
func plain(t *testing.T, p Process) *Response {
	t.Helper()
	s := Simulator{StepsPerDelay: 60, HorizonS: 400}
	r, err := s.Run(Tuning{}, p, LoadStep)
	require.NoError(t, err)
	require.Equal(t, Settled, r.Status)
	return r
}

func TestOpenStepOfSecondOrder(t *testing.T) {
	// Closed form: overshoot exp(-pi z/sqrt(1-z^2)), peak time pi/(wn sqrt(1-z^2)).
	for _, z := range []float64{0.2, 0.4, 0.5, 0.6, math.Sqrt2 / 2, 0.8} {
		const wn = 3.0
		m := plain(t, Rational{Num: []float64{wn * wn}, Den: []float64{wn * wn, 2 * z * wn, 1}}).StepMetrics()
		root := math.Sqrt(1 - z*z)
		near(t, 100*math.Exp(-math.Pi*z/root), m.OvershootPercent, 1e-6)
		near(t, math.Pi/(wn*root), m.PeakTimeS, 1e-6)
	}
}

func TestOpenStepsOfThePublishedControlLibrary(t *testing.T) {
	// python-control, timeresp_test.py (BSD-3, commit e60e5eb). Its times come from a coarse grid: for the first case a
	// fourth-order integration at 0.1 ms gives rise 1.2661, settling 8.9930 and peak at 4.2322, not 1.242, 9.110 and 4.282.
	m := plain(t, Rational{Num: []float64{1, -1}, Den: []float64{1, 1, 1}}).StepMetrics()
	require.InDelta(t, 1.2661, m.RiseS, 2e-4)
	require.InDelta(t, 8.9930, m.SettlingS, 2e-4)
	require.InDelta(t, 4.2322, m.PeakTimeS, 2e-4)
	near(t, 20.840, m.OvershootPercent, 2e-3)
	near(t, 28.0, m.UndershootPercent, 2e-3)
	m = plain(t, Rational{Num: []float64{5, 5, 1}, Den: []float64{2, 6.5, 5, 1.65, 1}}).StepMetrics()
	near(t, 3.8456, m.RiseS, 2e-2)
	near(t, 27.9762, m.SettlingS, 2e-2)
	near(t, 7.4915, m.OvershootPercent, 2e-2)
	near(t, 8.0530, m.PeakTimeS, 2e-2)
}

func TestResponseByTheMethodOfSteps(t *testing.T) {
	// Closed form for proportional control of an integrator with dead time L, set-point step, k = Kp Kv: the output is 0
	// up to L, k (t - L) up to 2 L, and k (t - L) - k^2 (t - 2 L)^2/2 up to 3 L.
	const kv, kp, l = 2.0, 0.6, 0.5
	const k = kv * kp
	var s Simulator
	r, err := s.Run(Tuning{Gains: ParallelPID{Kp: kp}, SetPointShare: 1}, Integrating{RateGain: kv, DeadTimeS: l}, SetPointStep)
	require.NoError(t, err)
	for i, y := range r.Output {
		at := float64(i) * r.StepS
		if at > 3*l {
			break
		}
		want := k*max(0, at-l) - k*k/2*max(0, at-2*l)*max(0, at-2*l)
		require.InDelta(t, want, y, 1e-12, "at %v s", at)
	}
	require.Equal(t, 1.0, r.Final)
}

func TestResponseConvergesWithItsSteps(t *testing.T) {
	l := referenceLoops(t)[5] // the liveliest, with the kick of a short filter
	run := func(steps int) StepMetrics {
		s := Simulator{StepsPerDelay: steps}
		r, err := s.Run(tuningOf(l, 1), processOf(l), SetPointStep)
		require.NoError(t, err)
		return r.StepMetrics()
	}
	fine := run(480)
	coarse := math.Abs(run(60).RiseS - fine.RiseS)
	finer := math.Abs(run(120).RiseS - fine.RiseS)
	t.Logf("error of the rise time: %.2e s, halved steps %.2e s", coarse, finer)
	require.Less(t, finer, max(coarse/8, 1e-12))
}

func TestAnErrorIsLeftWithoutIntegralAction(t *testing.T) {
	p := FirstOrder{Gain: 2, TimeConstantS: 1, DeadTimeS: 0.1}
	var s Simulator
	r, err := s.Run(Tuning{Gains: ParallelPID{Kp: 1}, SetPointShare: 1}, p, SetPointStep)
	require.NoError(t, err)
	near(t, 2.0/3, r.Final, 1e-12)
	near(t, r.Final, r.Output[len(r.Output)-1], 1e-5)
	r, err = s.Run(Tuning{Gains: ParallelPID{Kp: 1}}, p, LoadStep)
	require.NoError(t, err)
	near(t, 2.0/3, r.Output[len(r.Output)-1], 1e-5)
}

func TestDivergenceIsSeen(t *testing.T) {
	p := Integrating{RateGain: 1, DeadTimeS: 0.1}
	u, err := Ultimate(p)
	require.NoError(t, err)
	var s Simulator
	r, err := s.Run(Tuning{Gains: ParallelPID{Kp: 1.5 * u.Gain}, SetPointShare: 1}, p, SetPointStep)
	require.NoError(t, err)
	require.Equal(t, Diverged, r.Status)
	r, err = s.Run(Tuning{Gains: ParallelPID{Kp: u.Gain}, SetPointShare: 1}, p, SetPointStep)
	require.NoError(t, err)
	require.Equal(t, HorizonOver, r.Status, "at the edge it goes on for ever")
	require.True(t, math.IsNaN(r.StepMetrics().SettlingS))
}

func TestWhatCannotBeSimulated(t *testing.T) {
	var s Simulator
	var parameter *ParameterError
	_, err := s.Run(Tuning{Gains: ParallelPID{Kp: 1, Kd: 1}}, Integrating{RateGain: 1, DeadTimeS: 1}, SetPointStep)
	require.True(t, errors.As(err, &parameter), "derivative without filter")
	_, err = s.Run(Tuning{Gains: ParallelPID{Kp: -1}}, Integrating{RateGain: 1, DeadTimeS: 1}, SetPointStep)
	require.True(t, errors.As(err, &parameter))
	var model *ModelError
	_, err = s.Run(Tuning{Gains: ParallelPID{Kp: 1}}, Rational{Num: []float64{1, -1}, Den: []float64{1, 1}}, SetPointStep)
	require.True(t, errors.As(err, &model), "answers at once")
	_, err = MarginsOf(Transfer{Num: []float64{1, 1, 1}, Den: []float64{1, 1}})
	require.True(t, errors.As(err, &model), "improper")
	_, err = MarginsOf(Transfer{Den: []float64{1, 1}})
	require.True(t, errors.As(err, &model), "no loop")
}

func TestMarginsAndMetricsSurviveStorage(t *testing.T) {
	d, err := internalModel2003.Design(PI, FirstOrder{1, 0.3, 0.1}, RuleOptions{})
	require.NoError(t, err)
	m, err := LoopMargins(d.Tuning, FirstOrder{1, 0.3, 0})
	require.NoError(t, err)
	require.True(t, math.IsInf(m.GainMargin, 1))
	data, err := json.Marshal(m)
	require.NoError(t, err)
	require.Contains(t, string(data), `"gain_margin":null`)
	var back Margins
	require.NoError(t, json.Unmarshal(data, &back))
	require.True(t, math.IsInf(back.GainMargin, 1))
	require.Equal(t, m.Ms, back.Ms)
	require.Equal(t, m.PhaseMarginDeg, back.PhaseMarginDeg)

	step := StepMetrics{RiseS: 1, SettlingS: math.NaN(), IAE: 2}
	data, err = json.Marshal(step)
	require.NoError(t, err)
	var again StepMetrics
	require.NoError(t, json.Unmarshal(data, &again))
	require.True(t, math.IsNaN(again.SettlingS))
	require.Equal(t, step.IAE, again.IAE)
	data, err = json.Marshal(LoadMetrics{Peak: 3})
	require.NoError(t, err)
	var load LoadMetrics
	require.NoError(t, json.Unmarshal(data, &load))
	require.Equal(t, 3.0, load.Peak)
	data, err = json.Marshal(d)
	require.NoError(t, err)
	var design Design
	require.NoError(t, json.Unmarshal(data, &design))
	require.Equal(t, d, design)
}
