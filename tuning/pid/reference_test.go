package pid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/loops"
)

// referenceLoops are the twelve loops of fixtures/loops: independent computation with exact dead time.
func referenceLoops(t testing.TB) []loops.Loop {
	t.Helper()
	all, err := loops.Loops()
	require.NoError(t, err)
	require.Len(t, all, 12)
	return all
}

func processOf(l loops.Loop) Process {
	if l.Process.Kind == "integrating" {
		return Integrating{RateGain: l.Process.RateGain, DeadTimeS: l.Process.DeadTime}
	}
	return FirstOrder{Gain: l.Process.Gain, TimeConstantS: l.Process.TimeConstant, DeadTimeS: l.Process.DeadTime}
}

func tuningOf(l loops.Loop, kick float64) Tuning {
	c := l.Controller
	return Tuning{Gains: ParallelPID{Kp: c.Kp, Ki: c.Ki, Kd: c.Kd}, FilterTimeS: c.Tf, SetPointShare: 1, KickShare: kick}
}

// near requires equality to a relative tolerance; for a wanted nought it is absolute.
func near(t require.TestingT, want, got, relative float64, what ...any) {
	if h, helps := t.(interface{ Helper() }); helps {
		h.Helper()
	}
	tolerance := relative * math.Abs(want)
	if want == 0 {
		tolerance = relative
	}
	require.InDelta(t, want, got, tolerance, what...)
}
