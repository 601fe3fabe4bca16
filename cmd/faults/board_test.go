package faults

import (
	"testing"
	"time"

	"trunnion/tuning/bench"
)

// boards are faults of the controller.
func boards() []cell {
	return []cell{{
		fault: "board restarts", strike: strikeBy(func(b *bed) { b.rig.Restart() }),
		driveWithin: 1, pulseWithin: 1, // it has no pulse any more
		state: bench.Safe, code: 1, verdicts: []string{"sound"},
		told: []string{"restarted"},
	}, {
		// Its outputs stay as they were: only a watchdog of its own or the hard
		// switch ends that. What counts is that the person is told at once,
		// and that nothing goes on when it wakes.
		fault: "board hangs, and wakes after the program has ended",
		strike: func(t testing.TB, b *bed, c *child) int64 {
			b.do(func() { b.rig.Freeze(true) })
			c.wait(t, 8*time.Second)
			return b.do(func() { b.rig.Freeze(false) })
		},
		driveWithin: 3, pulseWithin: 23,
		state: bench.Stopped, cause: bench.CauseSilence, code: 1, verdicts: []string{"sound"},
		told: []string{"no answer to", "hard switch"},
	}, {
		fault: "stop input opens", strike: strikeBy(func(b *bed) { b.rig.OpenStopInput(true) }),
		driveWithin: 3, pulseWithin: 23,
		state: bench.Stopped, cause: bench.CauseInput, code: 1, verdicts: []string{"sound"},
		told: []string{"stop input"},
	}}
}
