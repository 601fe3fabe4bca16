package pid

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/loops"
)

// The reference is good to 1e-6 or better in all these figures.
const responseTolerance = 1e-4

func TestResponsesOfTheTwelveLoops(t *testing.T) {
	var s Simulator
	for _, l := range referenceLoops(t) {
		for kick, want := range map[float64]loops.Response{1: l.WithKick, 0: l.NoKick} {
			r, err := s.Run(tuningOf(l, kick), processOf(l), SetPointStep)
			require.NoError(t, err)
			require.Equal(t, Settled, r.Status, l.ID)
			m := r.StepMetrics()
			near(t, want.Rise, m.RiseS, responseTolerance, l.ID, "rise")
			near(t, want.Overshoot, m.OvershootPercent, responseTolerance, l.ID, "overshoot")
			near(t, want.Settling, m.SettlingS, responseTolerance, l.ID, "settling")
			near(t, want.PeakTime, m.PeakTimeS, responseTolerance, l.ID, "time of peak")
			near(t, want.IAE, m.IAE, responseTolerance, l.ID, "IAE")
			near(t, want.IE, m.IE, responseTolerance, l.ID, "IE")
			near(t, want.ControlTravel, m.ControlTravel, responseTolerance, l.ID, "control travel")
			near(t, max(want.ControlMost, -want.ControlLeast), m.ControlPeak, responseTolerance, l.ID, "control peak")
		}
		r, err := s.Run(tuningOf(l, 1), processOf(l), LoadStep)
		require.NoError(t, err)
		require.Equal(t, Settled, r.Status, l.ID)
		m := r.LoadMetrics()
		near(t, l.Load.Peak, m.Peak, responseTolerance, l.ID, "load peak")
		near(t, l.Load.PeakTime, m.PeakTimeS, responseTolerance, l.ID, "time of load peak")
		near(t, l.Load.IAE, m.IAE, responseTolerance, l.ID, "load IAE")
		near(t, l.Load.IE, m.IE, responseTolerance, l.ID, "load IE")
	}
}

func BenchmarkLoop(b *testing.B) {
	for _, l := range referenceLoops(b) {
		b.Run(l.ID, func(b *testing.B) {
			var s Simulator
			tuning, process := tuningOf(l, 0), processOf(l)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := LoopMargins(tuning, process); err != nil {
					b.Fatal(err)
				}
				for _, e := range []Event{SetPointStep, LoadStep} {
					r, err := s.Run(tuning, process, e)
					if err != nil {
						b.Fatal(err)
					}
					if e == SetPointStep {
						r.StepMetrics()
					} else {
						r.LoadMetrics()
					}
				}
			}
		})
	}
}
