package process

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"trunnion/tuning/lsq"
)

// slewStep is an invented step of 300 us at 1500 us/s along an invented curve.
func slewStep() (Step, Settings) {
	st := Step{AtS: 0.2, FromRatio: 0.2, ToRatio: 0.9, FromPulseUs: 1550, ToPulseUs: 1850}
	return st, Settings{CountsPerTurn: 2400, SlewUsPerS: 1500, Curve: func(p float64) float64 { return math.Tan((p - 1500) * 0.0021) }}
}

func TestPathReachesItsEnd(t *testing.T) {
	for _, known := range []bool{true, false} {
		st, s := slewStep()
		if !known {
			s.Curve = nil
		}
		way := newPath(st, s)
		require.Zero(t, way.at(0.2, 0, 0).rise)
		require.InDelta(t, 0.7, way.at(0.4, 0, 0).rise, 1e-12, "300 us at 1500 us/s take 0.2 s")
		require.InDelta(t, 0.7, way.at(9, 0.1, 0.05).rise, 1e-9)
	}
}

func TestPathFollowsTheCurve(t *testing.T) {
	st, s := slewStep()
	way := newPath(st, s)
	from, to := s.Curve(st.FromPulseUs), s.Curve(st.ToPulseUs)
	for x := 0.05; x < 1; x += 0.05 {
		want := 0.7 * (s.Curve(1550+300*x) - from) / (to - from)
		require.InDelta(t, want, way.at(0.2+0.2*x, 0, 0).rise, 0.7*0.002)
	}
}

func TestAnswersSolveTheirEquation(t *testing.T) {
	// The definition: T d(rise)/dt + rise = wanted, the integral's slope is the rise, and derivatives agree with differences.
	rapid.Check(t, func(t *rapid.T) {
		st, s := slewStep()
		if rapid.Bool().Draw(t, "at once") {
			s.SlewUsPerS = 0
		}
		way := newPath(st, s)
		lag := rapid.Float64Range(0.005, 0.5).Draw(t, "lag")
		dead := rapid.Float64Range(0, 0.2).Draw(t, "dead")
		at := rapid.Float64Range(0.1, 2).Draw(t, "t")
		const h = 1e-6
		for _, node := range append([]float64{0}, way.nodes...) {
			if math.Abs(at-dead-way.atS-node) < 1e-4 {
				t.Skip("on a kink")
			}
		}
		a, up, down := way.at(at, dead, lag), way.at(at+h, dead, lag), way.at(at-h, dead, lag)
		require.InDelta(t, way.at(at, dead, 0).rise, lag*(up.rise-down.rise)/(2*h)+a.rise, 1e-5)
		require.InDelta(t, a.rise, (up.integral-down.integral)/(2*h), 1e-6)
		require.InDelta(t, a.slope, (up.rise-down.rise)/(2*h), 1e-4)
		more, less := way.at(at, dead, lag+h), way.at(at, dead, lag-h)
		require.InDelta(t, a.riseByLag, (more.rise-less.rise)/(2*h), 1e-3)
		require.InDelta(t, a.integByLag, (more.integral-less.integral)/(2*h), 1e-5)
		later, sooner := way.at(at, dead+h, lag), way.at(at, dead-h, lag)
		require.InDelta(t, -a.rise, (later.integral-sooner.integral)/(2*h), 1e-6)
	})
}

func TestLagOfNoughtIsTheLimit(t *testing.T) {
	for _, answer := range []func(x, lag float64) lagged{jumpAnswer, rampAnswer} {
		none, tiny := answer(0.3, 0), answer(0.3, 1e-6)
		require.InDelta(t, none.rise, tiny.rise, 2e-6)
		require.InDelta(t, none.integral, tiny.integral, 2e-6)
		require.InDelta(t, none.integByLag, tiny.integByLag, 1e-5)
	}
}

func TestJacobianOfTheFit(t *testing.T) {
	steps, s := invented(1, inventedAxis())
	records := make([]*record, len(steps))
	for i, st := range steps {
		records[i] = newRecord(st, s)
		records[i].whiten(3)
	}
	for _, free := range [][]int{freeParameters(false), freeParameters(true)} {
		at := [parameters]float64{0.97, 0.0413, 0.0571}
		problem, params := newProblem(records, at, free)
		d := lsq.CheckJacobian(problem, params)
		t.Logf("%+v", d)
		require.Less(t, d.Relative, 1e-5)
	}
}
