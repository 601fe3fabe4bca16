package main

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/fixtures/rigs"
	"trunnion/link/client"
	"trunnion/link/virtual"
	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// The script of a first power-up: no neutral, no datum, the output's encoder
// the wrong way round, the dead band 40 us off. The tool must find its way,
// move nothing before it is armed and nothing past its guards, and say what it
// found.
func TestFirstPowerUp(t *testing.T) {
	plantRig, _, err := virtualRig(firstDay, 1)
	require.NoError(t, err)
	plant := plantRig.Plant()
	text, err := rigs.Text(firstDay)
	require.NoError(t, err)
	description, err := rig.Parse("firstday.toml", text)
	require.NoError(t, err)
	free := description.Joints[0].FreeAtStart

	var watch struct {
		armed                   bool
		task                    session.Task
		farthest, atStart       float64 // mm
		burstFrom, longestBurst float64 // output turns
		driveOn                 bool
	}
	watch.atStart = plant.JointPosition(0)
	var s *session.Session
	c, err := client.Dial(virtual.Dial(plantRig, virtual.FlatOut), client.Options{
		Synchronous: true, Fresh: true,
		OnSample: func(sample bench.Sample) {
			moved := math.Abs(plant.JointPosition(0) - watch.atStart)
			watch.farthest = math.Max(watch.farthest, moved)
			if !watch.armed {
				assert.Less(t, moved, 0.01, "nothing moves before it is armed")
				assert.False(t, sample.Has(bench.DriveOn))
			}
			if on := sample.Has(bench.DriveOn); on != watch.driveOn {
				watch.driveOn = on
				if on {
					watch.burstFrom = plant.OutputTurns(0)
				}
			}
			if !sample.Has(bench.NeutralKnown) {
				watch.longestBurst = math.Max(watch.longestBurst, math.Abs(plant.OutputTurns(0)-watch.burstFrom))
			}
		},
	})
	require.NoError(t, err)
	defer c.Close()
	var events []session.Event
	s, err = session.New(session.Config{Rig: description, Bench: c, Now: time.Now, Listen: func(e session.Event) { events = append(events, e) }})
	require.NoError(t, err)
	ctx := context.Background()

	assert.ErrorIs(t, s.RunTask(ctx, 0, session.Check), session.ErrNotArmed)
	watch.armed = true
	require.NoError(t, s.Arm(ctx))
	require.NoError(t, s.Run(ctx))

	// Bursts are cut at half a turn; the shaft runs on after that.
	assert.Less(t, watch.longestBurst, 0.75, "bursts of the cold search stay within their guard and the run-on")
	assert.Less(t, watch.farthest, free, "no datum is known: only what is free at the start is used")
	assert.Greater(t, watch.farthest, 0.2*free, "and it is used")
	_, err = c.Watch(ctx, bench.Until{Span: 4 * time.Second})
	require.NoError(t, err)
	assert.InDelta(t, 0, plant.ShaftSpeed(), 0.01, "all is at rest once the shaft has run down")

	a := s.Document().Axes[0]
	assert.Equal(t, -1, a.Check.CountsAbove, "longer pulses count down")
	names := map[finding.Name]bool{}
	for _, f := range a.Findings() {
		names[f.Name] = true
		assert.NotEmpty(t, f.Evidence)
		assert.NotEmpty(t, f.OneOf)
		assert.NotEmpty(t, f.ToTell)
	}
	assert.Equal(t, map[finding.Name]bool{finding.DirectionReversed: true}, names)
	assert.True(t, a.Prove.Passed, "the loop is sound whichever way the encoder counts")
	// The middle of the band by the physics' own scan is 1458.6 us.
	// Neutral is weighed by how surely each edge is known; the nearest is 25 us off.
	assert.InDelta(t, 1458.6, float64(a.DeadBand.Neutral), 6)
	told := false
	for _, e := range events {
		told = told || e.Kind == session.Kind(bench.Found)
	}
	assert.True(t, told, "the finding is an event as well")
}
