package logbook_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
	"trunnion/tuning/units"
)

// The records under testdata/golden are frozen: every later version reads them, and writes these bytes as long as it
// writes format 1. What is in them is invented. -write-golden makes those that are not there yet, and no others.
var writeGolden = flag.Bool("write-golden", false, "write golden records that do not exist yet")

// goldenSums pins the frozen bytes.
var goldenSums = map[string]string{
	"plain/events.txt":         "8cfe6de556bcce751fa5a9b55f3f1f369ef4060a04472150bcf3f35f25369d7e",
	"plain/samples.bin":        "3dfb4029075ecb1d08e987df7de8081837aede1c96761e494096f8abd33d8c23",
	"resumed/events.txt":       "5a6dea516bdffed82e6e38f986d19c915fbff3759170ce7c126cade33b48edcf",
	"resumed/samples.bin":      "9c11843a55d45c91df5fbcebc6eed6e682fd151138afb9f147bb9c55e2819eb3",
	"resumed/events-tail-759":  "9c18ab582711a29ec1f242e494ca5cc5a0e3fbd0ac5ece2ee1064a4b4e61188e",
	"resumed/samples-tail-703": "9c18ab582711a29ec1f242e494ca5cc5a0e3fbd0ac5ece2ee1064a4b4e61188e",
}

// goldenSample is sample n of an invented scenery lift, made of whole numbers only, so that every machine has the same.
// All kinds of differences occur.
func goldenSample(n int) bench.Sample {
	at := units.Instant(1_000_000 + 50_000*n + 3*(n%5))
	s := bench.Sample{
		Sequence: uint64(500 + n + n/17), At: at, // every seventeenth is lost on the line
		State: bench.Armed, Flags: bench.NeutralKnown,
	}
	if n > 6 {
		s.State, s.Flags = bench.Moving, bench.NeutralKnown|bench.DriveOn
	}
	if n > 50 {
		s.State, s.Cause, s.Flags = bench.Stopped, bench.CauseTravel, bench.NeutralKnown|bench.BeyondTravel
	}
	s.Counters[0] = bench.Counter{Count: units.Counts(150 * max(0, n-6)), LastEdge: at - units.Instant(n*37%333)}
	s.Counters[1] = bench.Counter{Count: units.Counts(-7 * n * n), LastEdge: at - units.Instant(n*911%20_000)}
	s.Counters[2] = bench.Counter{Count: units.Counts(n / 10), LastEdge: 0}
	s.Counters[3] = bench.Counter{Count: -1 << 40, LastEdge: 900_000 - 7}
	if n%23 == 0 {
		s.Counters[3].LastEdge = at + 2 // a clock that is a little off
	}
	s.Axes[0] = bench.Axis{Pulse: units.PulseFromTenths(uint16(15_284 + 250*(n/8))), Since: 1_000_000 + units.Instant(400_000*(n/8))}
	s.Axes[1] = bench.Axis{Pulse: units.PulseFromTenths(15_000), Since: 0, Closed: n > 30}
	return s
}

// writePlain is a run with every kind of event and record in it.
func writePlain(t *testing.T, disk *logbooktest.Disk) {
	t.Helper()
	w := create(t, disk)
	for n := range 60 {
		require.NoError(t, w.WriteSample(goldenSample(n)))
		if n%20 == 9 {
			text := `{"axis":"left drum","ratio":{"value":0.25,"standard_error":0.001},"words":"µs <>&"}`
			_, err := w.Append("reading", wall.Add(time.Duration(n)*50*time.Millisecond), json.RawMessage(text), n > 20)
			require.NoError(t, err)
		}
	}
	w.BeginConnection()
	require.NoError(t, w.WriteSample(goldenSample(3)))
	require.NoError(t, w.Close(wall.Add(time.Hour)))
}

// writeResumed goes on with a run whose ends are torn.
func writeResumed(t *testing.T, disk *logbooktest.Disk) *logbooktest.Disk {
	t.Helper()
	w := create(t, disk)
	for n := range 30 {
		require.NoError(t, w.WriteSample(goldenSample(n)))
	}
	for n := range 5 {
		_, err := w.Append("note", wall.UTC(), payload(n), n%2 == 0)
		require.NoError(t, err)
	}
	after := disk.Kill()
	tear(t, after)
	w, _, err := logbook.Resume(after, runDir, "trunnion test", wall.Add(time.Minute))
	require.NoError(t, err)
	for n := range 8 {
		require.NoError(t, w.WriteSample(goldenSample(n)))
	}
	require.NoError(t, w.Close(wall.Add(time.Hour)))
	return after
}

func goldenRuns(t *testing.T) map[string]*logbooktest.Disk {
	t.Helper()
	plain, resumed := logbooktest.NewDisk("runs"), logbooktest.NewDisk("runs")
	writePlain(t, plain)
	return map[string]*logbooktest.Disk{"plain": plain, "resumed": writeResumed(t, resumed)}
}

func goldenPath(name string) string {
	return filepath.Join("testdata", "golden", filepath.FromSlash(name))
}

// Today's code writes what the first version wrote.
func TestGoldenIsWrittenAsEver(t *testing.T) {
	runs := goldenRuns(t)
	for name, sum := range goldenSums {
		folder, file := filepath.Split(filepath.FromSlash(name))
		got := runs[filepath.Clean(folder)].Get(runDir + "/" + file)
		require.NotEmpty(t, got, name)
		if _, err := os.Stat(goldenPath(name)); *writeGolden && os.IsNotExist(err) {
			require.NoError(t, os.MkdirAll(filepath.Dir(goldenPath(name)), 0o755))
			require.NoError(t, os.WriteFile(goldenPath(name), got, 0o644))
			continue
		}
		frozen, err := os.ReadFile(goldenPath(name))
		require.NoError(t, err)
		digest := sha256.Sum256(frozen)
		require.Equal(t, sum, hex.EncodeToString(digest[:]), "%s is frozen", name)
		require.Equal(t, frozen, got, name)
	}
}

// Today's code reads it as it was meant.
func TestGoldenIsReadAsEver(t *testing.T) {
	record, recovery, err := logbook.Open(logbook.OSFS{}, goldenPath("plain"))
	require.NoError(t, err)
	defer record.Close()
	require.True(t, recovery.Clean(), recovery.String())
	require.Equal(t, liftHeader, record.Header)
	require.Len(t, record.Events, 5)
	require.Equal(t, "reading", record.Events[2].Kind)
	require.True(t, record.Events[2].Durable)
	require.EqualValues(t, 30, record.Events[2].Samples)
	require.True(t, wall.Add(29*50*time.Millisecond).Equal(record.Events[2].Wall))
	require.JSONEq(t, `{"axis":"left drum","ratio":{"value":0.25,"standard_error":0.001},"words":"µs <>&"}`,
		string(record.Events[2].Payload))
	trace := all(t, record)
	require.Len(t, trace, 61)
	for n := range 60 {
		require.Equal(t, goldenSample(n), trace[n])
	}
	require.Equal(t, goldenSample(3), trace[60])
	require.Len(t, record.Samples.Connections(), 2)

	resumed, recovery, err := logbook.Open(logbook.OSFS{}, goldenPath("resumed"))
	require.NoError(t, err)
	defer resumed.Close()
	require.True(t, recovery.Clean(), recovery.String())
	require.Equal(t, "resumed", resumed.Events[6].Kind)
	require.Len(t, all(t, resumed), 38)
	require.Equal(t, goldenSample(0), all(t, resumed)[30])
	require.Len(t, logbook.Verify(logbook.OSFS{}, goldenPath("resumed")).SetAside, 2)
}
