package logbook_test

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

const runDir = "runs/one"

// wall is an invented evening in the theatre's workshop.
var wall = time.Date(2026, time.March, 1, 19, 30, 0, 250_000_000, time.FixedZone("", 3600))

var liftHeader = logbook.Header{
	Software: "trunnion test", RigHash: "invented-0001",
	Counters: logbooktest.LiftCounters, Axes: logbooktest.LiftAxes,
}

func seeded(t testing.TB, seed uint64) *rand.Rand {
	t.Helper()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("seed %d", seed)
		}
	})
	return rand.New(rand.NewPCG(seed, 0))
}

// numbered is seeded for one case of many: it says which case it was that failed.
func numbered(t testing.TB, n int) *rand.Rand {
	t.Helper()
	lastNumber.Store(int64(n))
	if n == 0 {
		t.Cleanup(func() {
			if t.Failed() {
				t.Logf("case and seed %d", lastNumber.Load())
			}
		})
	}
	return rand.New(rand.NewPCG(uint64(n), 0))
}

var lastNumber atomic.Int64

func create(t testing.TB, disk logbook.FS) *logbook.Writer {
	t.Helper()
	w, err := logbook.Create(disk, runDir, liftHeader, wall)
	require.NoError(t, err)
	return w
}

// open opens a record that must open, and closes it after the test.
func open(t testing.TB, disk logbook.FS) (*logbook.Record, logbook.Recovery) {
	t.Helper()
	record, recovery, err := logbook.Open(disk, runDir)
	require.NoError(t, err)
	t.Cleanup(func() { record.Close() })
	return record, recovery
}

func payload(n int) json.RawMessage { return json.RawMessage(fmt.Sprintf(`{"n":%d}`, n)) }

// all reads every sample of a record.
func all(t testing.TB, record *logbook.Record) bench.Trace {
	t.Helper()
	trace, err := record.Samples.ByPosition(0, record.Samples.Reach())
	require.NoError(t, err)
	return trace
}

// writeLift writes n samples of the lift and returns them.
func writeLift(t testing.TB, w *logbook.Writer, lift *logbooktest.Lift, n int) bench.Trace {
	t.Helper()
	trace := make(bench.Trace, n)
	for i := range trace {
		trace[i] = lift.Next()
		require.NoError(t, w.WriteSample(trace[i]))
	}
	return trace
}
