package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/calibration"
	"trunnion/tuning/session"
)

var update = flag.Bool("update", false, "rewrite what today's code makes of the recorded run")

// recordedRun is a run of the small demo rig, kept for ever: it freezes record,
// events and calls, and today's analysis must make of it what it made before.
var recordedRun = filepath.Join("..", "..", "fixtures", "runs", "trolley")

// elsewhere is the tolerance across architectures, relative to a number or to
// its standard error, whichever is wider: compilers may fuse a multiplication
// and an addition, and an iteration then ends a last digit apart.
const elsewhere = 1e-6

func TestRecordedRunGivesTheSameResults(t *testing.T) {
	recorded, recovery, err := readRun(recordedRun)
	require.NoError(t, err)
	require.NoError(t, recovery.Err(recordedRun))
	document, err := session.Replay(context.Background(), recorded, nil)
	require.NoError(t, err)
	got, err := document.Encode()
	require.NoError(t, err)
	file := filepath.Join(recordedRun, "calibration.json")
	if *update {
		require.NoError(t, os.WriteFile(file, got, 0o644))
	}
	want, err := os.ReadFile(file)
	require.NoError(t, err)
	if runtime.GOARCH == "amd64" {
		assert.True(t, bytes.Equal(want, got), "the replay differs; if that is meant, say why in the commit and rewrite with -update")
		return
	}
	var a, b any
	require.NoError(t, json.Unmarshal(want, &a))
	require.NoError(t, json.Unmarshal(got, &b))
	sameWithin(t, "", a, b)
}

// sameWithin compares two JSON values, numbers within the tolerance.
func sameWithin(t *testing.T, where string, want, got any) {
	t.Helper()
	switch w := want.(type) {
	case map[string]any:
		g, ok := got.(map[string]any)
		require.True(t, ok, where)
		require.Len(t, g, len(w), where)
		for k := range w {
			sameWithin(t, where+"/"+k, w[k], g[k])
		}
	case []any:
		g, ok := got.([]any)
		require.True(t, ok, where)
		require.Len(t, g, len(w), where)
		for i := range w {
			sameWithin(t, where, w[i], g[i])
		}
	case float64:
		g, ok := got.(float64)
		require.True(t, ok, where)
		assert.LessOrEqual(t, math.Abs(w-g), elsewhere*math.Max(1, math.Abs(w)), where)
	default:
		assert.Equal(t, want, got, where)
	}
}

// The calibration of the recorded run is read by the schema's own test; here it
// is read back as what it is.
func TestRecordedCalibrationIsReadable(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(recordedRun, "calibration.json"))
	require.NoError(t, err)
	d, err := calibration.Decode(text)
	require.NoError(t, err)
	require.Len(t, d.Axes, 1)
	assert.NotNil(t, d.Axes[0].Prove)
}

// A replay of another procedure must not pass for one: a record whose calls
// were tampered with is refused.
func TestReplayRefusesATamperedRun(t *testing.T) {
	recorded, _, err := readRun(recordedRun)
	require.NoError(t, err)
	events := recorded[0].Events
	for i, e := range events {
		if e.Kind == session.Called && bytes.Contains(e.Payload, []byte(`"tilt"`)) {
			events[i].Payload = bytes.Replace(e.Payload, []byte(`"Pulse":1`), []byte(`"Pulse":2`), 1)
			break
		}
	}
	_, err = session.Replay(context.Background(), recorded, nil)
	assert.Error(t, err)

	recorded, _, err = readRun(recordedRun)
	require.NoError(t, err)
	recorded[0].Samples = append(recorded[0].Samples[:5000:5000], recorded[0].Samples[5001:]...)
	_, err = session.Replay(context.Background(), recorded, nil)
	assert.Error(t, err, "a sample is missing")
}
