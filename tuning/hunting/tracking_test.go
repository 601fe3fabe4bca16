package hunting

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/pid"
)

// Large steps of invented axes under our own gains, with the ratio limited: a tracking time of a tenth of the integral
// time settles sooner and runs past less than the usual choice, on average and in nearly every case.
func TestQuickTrackingTimeArrivesSooner(t *testing.T) {
	const rate, h = 10000.0, 0.01
	table := straight(t)
	choices := []struct {
		name string
		of   func(g pid.ParallelPID) float64
	}{
		{"period", func(pid.ParallelPID) float64 { return h }},
		{"Ti/10, quick", func(g pid.ParallelPID) float64 { return pid.QuickTrackingTime(g, h) }},
		{"Ti/4", func(g pid.ParallelPID) float64 { return g.Kp / g.Ki / 4 }},
		{"usual", func(g pid.ParallelPID) float64 { return pid.TrackingTime(g, h) }},
		{"Ti", func(g pid.ParallelPID) float64 { return g.Kp / g.Ki }},
	}
	n := len(choices)
	settled, past, sooner, runs := make([]float64, n), make([]float64, n), make([]int, n), 0
	for _, axis := range [][2]float64{{.02, .01}, {.03, .04}, {.05, .03}, {.08, .08}, {.03, .08}} {
		p := pid.Integrating{RateGain: rate, DeadTimeS: axis[0] + pid.LoopDelay(h, 0.02), LagS: axis[1]}
		for _, kind := range []pid.Kind{pid.PI, pid.PID} {
			for _, ms := range []float64{1.4, 1.7} {
				d, err := pid.OptimumWithin(kind, p, pid.Bounds{Ms: ms, LeastFilterS: h, MostOvershootPercent: 5})
				require.NoError(t, err)
				for _, seconds := range []float64{0.3, 1, 4} { // of travel at full ratio
					runs++
					var times []float64
					for i, c := range choices {
						law := pid.Law{Gains: d.Tuning.Gains, FilterTimeS: d.Tuning.FilterTimeS, SetPointWeight: d.Tuning.SetPointShare,
							RatioLeast: -1, RatioMost: 1, TrackingTimeS: c.of(d.Tuning.Gains), PeriodS: h}
						l := Loop{Law: law, Table: table, Machine: Machine{RateGain: rate, DeadTimeS: axis[0], LagS: axis[1], FrameS: 0.02}}
						target := seconds * rate
						run, err := l.Run(Trial{SetPoint: target, DurationS: seconds + 12})
						require.NoError(t, err)
						late, over := 0.0, 0.0
						for k, y := range run.Measured {
							over = max(over, y-target)
							if math.Abs(y-target) > 60 { // 6 ms of full travel
								late = float64(k)*h - seconds
							}
						}
						settled[i], past[i] = settled[i]+late, max(past[i], over)
						times = append(times, late)
					}
					for i := range times {
						if times[1] <= times[i]+0.05 {
							sooner[i]++
						}
					}
				}
			}
		}
	}
	for i, c := range choices {
		t.Logf("%-14s settles %.3f s after the least travel time on average, runs past by %5.0f counts at most; quick is no later in %d of %d", c.name, settled[i]/float64(runs), past[i], sooner[i], runs)
	}
	require.Less(t, settled[1], 0.95*settled[3])
	require.Less(t, past[1], 0.6*past[3])
	require.Less(t, settled[1], 0.9*settled[4])
}
