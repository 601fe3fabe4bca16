package study

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"trunnion/tuning/calibration"
)

// A season is seen in the calibration: the lift before and after it.
func TestWornIsSeen(t *testing.T) {
	before := sittings(t, "lift")
	for k, seed := range []uint64{1, 2} {
		after := calibrate(t, "worn", machine(t, "worn"), seed)
		for i, axis := range machine(t, "lift").Axes {
			new, worn := before[k].document.Axes[i], after.document.Axes[i]
			t.Logf("seed %d, %s: band %.1f, then %.1f us; hysteresis %.1f, then %.1f us; neutral %v, then %v; findings %d, then %d",
				seed, axis.Name, new.DeadBand.Width.Value, worn.DeadBand.Width.Value, hysteresis(new), hysteresis(worn),
				new.DeadBand.Neutral, worn.DeadBand.Neutral, len(new.Findings()), len(worn.Findings()))
			assert.Greater(t, worn.DeadBand.Width.Value, new.DeadBand.Width.Value+8, "balls worn at the pole")
		}
		left, right := 1, 2
		was, is := before[k].document.Axes, after.document.Axes
		// 0.48 degrees of play more are some 5 us at 0.1 degrees a us.
		assert.InDelta(t, 5, hysteresis(is[left])-hysteresis(was[left]), 3, "play in the left drum's linkage")
		assert.InDelta(t, 24, middle(is[right])-middle(was[right]), 3, "another servo on the right")
		assert.InDelta(t, 0, middle(is[0])-middle(was[0]), 3, "and none on the traverse")
	}
}

// middle of the four edges, us. The neutral itself is weighed by the edges'
// scatter and wanders with it.
func middle(a calibration.Axis) (mean float64) {
	for _, e := range a.DeadBand.Edges {
		mean += e.Pulse.Value / 4
	}
	return mean
}

// hysteresis is the mean of both sides', us.
func hysteresis(a calibration.Axis) float64 {
	return (a.DeadBand.HysteresisAbove.Value + a.DeadBand.HysteresisBelow.Value) / 2
}
