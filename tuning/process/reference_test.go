package process

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/loops"
	"trunnion/tuning/units"
)

const (
	setStep    = 0.5  // s, when the step took effect in fixtures/loops/steps.json
	setSample  = 0.01 // s
	setPerTurn = 2400
)

func referenceSteps(t testing.TB) loops.StepTests {
	t.Helper()
	all, err := loops.Steps()
	require.NoError(t, err)
	return all
}

// fromRates is a set of rates as a step, in units of the true rise of 5.
func fromRates(set []float64) RateStep {
	st := RateStep{AtS: setStep, From: 10, To: 15}
	for i, v := range set {
		st.Samples = append(st.Samples, RateSample{float64(i+1) * setSample, v})
	}
	return st
}

// fromGates is a set of counts per gate as a step: the shaft turns once a second, so that rates are ratios.
func fromGates(set []float64) Step {
	st := Step{AtS: setStep, FromRatio: 10, ToRatio: 15, Samples: []Sample{{}}}
	sum := 0.0
	for i, v := range set {
		at := float64(i+1) * setSample
		sum += v
		st.Samples = append(st.Samples, Sample{at, at, sum})
	}
	return st
}

// fromRamp is a set of positions as a step from rest of an axis without lag.
func fromRamp(set []float64) Step {
	st := Step{AtS: setStep, FromRatio: 0, ToRatio: 0.08}
	for i, v := range set {
		at := float64(i+1) * setSample
		st.Samples = append(st.Samples, Sample{at, at, v})
	}
	return st
}

var rampSettings = Settings{CountsPerTurn: 1, QuantumCounts: 0.001, FromRest: true, NoLag: true}

func TestRatesAgreeWithAnIndependentSolver(t *testing.T) {
	// fixtures/loops/steps.json: SciPy least squares on the same readings and the same model.
	all := referenceSteps(t)
	for i, set := range all.Sets["rate"] {
		r, err := FitRates([]RateStep{fromRates(set)}, false)
		require.NoError(t, err)
		want := all.Fits["rate"][i]
		// Where a minimum lies in a kink, a sample at the dead time, neither solver ends exactly there.
		require.InDelta(t, want[0], 5*r.Gain.Value, 0.02*5*r.Gain.StdErr, "set %d", i)
		require.InDelta(t, want[1], r.DeadTime.Value, 0.02*r.DeadTime.StdErr)
		require.InDelta(t, want[2], r.Lag.Value, 0.02*r.Lag.StdErr)
		require.InDelta(t, want[3], r.Steps[0].InitialRatio.Value, 0.02*r.Steps[0].InitialRatio.StdErr)
	}
}

func TestRampsAgreeWithAnIndependentSolver(t *testing.T) {
	all := referenceSteps(t)
	for i, set := range all.Sets["ramp"] {
		s := rampSettings
		r, err := Fit([]Step{fromRamp(set)}, s)
		require.NoError(t, err)
		want := all.Fits["ramp"][i]
		require.InDelta(t, want[0], 0.08*r.Gain.Value, 1e-3*want[0], "set %d", i) // the noise may be split otherwise
		require.InDelta(t, want[1], r.DeadTime.Value, 0.1*r.DeadTime.StdErr)
	}
}

func TestCountsAgreeWithAnIndependentSolver(t *testing.T) {
	// The independent solver fits each gate's exact average with independent noise, which is our wander alone.
	all := referenceSteps(t)
	for i, set := range all.Sets["counts"] {
		r, err := Fit([]Step{fromGates(set)}, Settings{CountsPerTurn: setPerTurn})
		require.NoError(t, err)
		want := all.Fits["counts"][i]
		for _, c := range []struct {
			want, got float64
			e         units.Estimate
		}{{want[0], 5 * r.Gain.Value, units.Estimate{StdErr: 5 * r.Gain.StdErr}}, {want[1], r.DeadTime.Value, r.DeadTime}, {want[2], r.Lag.Value, r.Lag}} {
			require.InDelta(t, c.want, c.got, 0.25*c.e.StdErr, "set %d", i)
		}
		t.Logf("set %2d: L %v T %v noise %.3f wander %.2f", i, r.DeadTime, r.Lag, r.ReadingNoise, r.Wander)
	}
}
