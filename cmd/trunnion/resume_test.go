package main

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/logbook"
	"trunnion/tuning/session"
)

// readingsOf counts the readings of each task in a record.
func readingsOf(t *testing.T, sittings []session.Sitting, kind session.Kind) int {
	t.Helper()
	n := 0
	for _, s := range sittings {
		for _, e := range s.Events {
			if e.Kind == kind {
				n++
			}
		}
	}
	return n
}

// A run is interrupted after some readings of each task in turn, gone on with,
// and interrupted again: no finished task is repeated, no finished reading is
// taken twice, and the whole record replays to the same calibration.
func TestRunGoesOnFromItsLastFinishedReading(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	o := options{demo: "trolley", seed: 3, rate: 100, out: dir}
	for _, task := range []session.Task{session.DeadBand, session.Curve, session.Step, session.Prove} {
		sitUntil(t, o, task, 7)
		o.resume = dir
	}
	o.pace = "max"
	out := runHeadless(o, io.Discard, os.Stderr)
	assert.Equal(t, exitDone, out)

	sittings, recovery, err := readRun(dir)
	require.NoError(t, err)
	assert.True(t, recovery.Clean())
	require.Len(t, sittings, 5)
	done := map[session.Task]int{}
	for _, s := range sittings {
		for _, e := range s.Events {
			if e.Kind == session.Kind(bench.Result) {
				done[taskOf(t, e)]++
			}
		}
	}
	for _, task := range session.Tasks() {
		assert.Equal(t, 1, done[task], "%s is finished once", task)
	}
	text, err := logbook.ReadFile(logbook.OSFS{}, filepath.ToSlash(filepath.Join(dir, "calibration.json")))
	require.NoError(t, err)
	d, err := calibration.Decode(text)
	require.NoError(t, err)
	assert.Len(t, d.Axes[0].Curve.Readings, 34, "each place of the plan is read once")
	assert.Len(t, d.Axes[0].Step.Taken, 16)
	assert.Len(t, d.Axes[0].Prove.Steps, 12)

	again, err := session.Replay(context.Background(), sittings, nil)
	require.NoError(t, err)
	encoded, err := again.Encode()
	require.NoError(t, err)
	assert.Equal(t, string(text), string(encoded))
	assert.Greater(t, readingsOf(t, sittings, session.Kind(bench.Reading)), 34)
}

// sitUntil runs flat out until so many readings of a task are in the record,
// then cuts the run as a signal would.
func sitUntil(t *testing.T, o options, task session.Task, count int) {
	t.Helper()
	o.pace = "max"
	ctx, cancel := context.WithCancelCause(context.Background())
	seen := 0
	s, err := sit(o, 1, listeners{event: func(e session.Event) {
		if e.Task == task && e.Kind == session.Kind(bench.Reading) {
			if seen++; seen == count {
				cancel(&session.Stopped{Why: "the test"})
			}
		}
	}})
	require.NoError(t, err)
	require.NoError(t, s.session.Arm(ctx))
	err = s.run(ctx)
	var stopped *session.Stopped
	require.ErrorAs(t, err, &stopped)
	require.NoError(t, s.close())
}

// A record of another rig file is refused: its results would not belong here.
func TestResumeRefusesAnotherRig(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "run")
	sitUntil(t, options{demo: "trolley", seed: 3, rate: 100, out: dir}, session.Check, 3)
	_, err := sit(options{demo: firstDay, seed: 3, rate: 100, resume: dir, pace: "max"}, 1, listeners{})
	var other *session.OtherRig
	require.ErrorAs(t, err, &other)

	// The refusal left the record as it was: the right rig goes on with it.
	assert.Equal(t, exitDone, runHeadless(options{demo: "trolley", seed: 3, rate: 100, resume: dir, pace: "max"}, io.Discard, os.Stderr))
	sittings, _, err := readRun(dir)
	require.NoError(t, err)
	assert.Len(t, sittings, 2)
	_, err = session.Replay(context.Background(), sittings, nil)
	assert.NoError(t, err)
}

func taskOf(t *testing.T, e session.RecordedEvent) session.Task {
	t.Helper()
	var event session.Event
	require.NoError(t, json.Unmarshal(e.Payload, &event))
	return event.Task
}
