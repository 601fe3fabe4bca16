package logbook_test

import (
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
	"trunnion/tuning/units"
)

// discard is a file system that keeps nothing, to see what the encoding alone costs.
type discard struct{ *logbooktest.Disk }

type nothing struct{}

func (nothing) Write(p []byte) (int, error) { return len(p), nil }
func (nothing) Truncate(int64) error        { return nil }
func (nothing) Sync() error                 { return nil }
func (nothing) Close() error                { return nil }

func (discard) Create(string) (logbook.File, error) { return nothing{}, nil }

func liftTrace(n, rate int) bench.Trace {
	lift := logbooktest.NewLift(rand.New(rand.NewPCG(81, 0)), rate)
	trace := make(bench.Trace, n)
	for i := range trace {
		trace[i] = lift.Next()
	}
	return trace
}

// A sample of three axes and four counters at 200 a second takes some 20 bytes.
func TestBytesASample(t *testing.T) {
	for _, c := range []struct {
		rate int
		most float64
	}{{200, 21}, {100, 23}, {20, 30}} {
		disk := logbooktest.NewDisk("runs")
		w := create(t, disk)
		trace := liftTrace(20_000, c.rate)
		for _, s := range trace {
			require.NoError(t, w.WriteSample(s))
		}
		perSample := float64(len(disk.Get(samplesFile))-20) / float64(len(trace))
		t.Logf("%.2f bytes a sample at %d a second", perSample, c.rate)
		require.Less(t, perSample, c.most)
	}
}

func BenchmarkWriteSampleEncoding(b *testing.B) {
	w, err := logbook.Create(discard{logbooktest.NewDisk("runs")}, runDir, liftHeader, wall)
	require.NoError(b, err)
	writeSamples(b, w)
}

func BenchmarkWriteSampleToDisk(b *testing.B) {
	w, err := logbook.Create(logbook.OSFS{}, filepath.Join(b.TempDir(), "run"), liftHeader, wall)
	require.NoError(b, err)
	writeSamples(b, w)
	b.StopTimer()
	require.NoError(b, w.Close(wall))
}

// writeSamples writes b.N samples at a pace that calls for a sync every 200 of them.
func writeSamples(b *testing.B, w *logbook.Writer) {
	trace := liftTrace(10_000, 200)
	span := trace[len(trace)-1].At - trace[0].At + 5000
	b.ReportAllocs()
	b.ResetTimer()
	for i := range b.N {
		s := trace[i%len(trace)]
		s.Sequence += uint64(i / len(trace) * len(trace))
		s.At += span * units.Instant(i/len(trace))
		if err := w.WriteSample(s); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDurableEventToDisk(b *testing.B) {
	w, err := logbook.Create(logbook.OSFS{}, filepath.Join(b.TempDir(), "run"), liftHeader, wall)
	require.NoError(b, err)
	trace := liftTrace(b.N, 200)
	b.ResetTimer()
	for i := range b.N {
		if err := w.WriteSample(trace[i]); err != nil {
			b.Fatal(err)
		}
		if _, err := w.Append("reading", wall, payload(i), true); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkOpen reads an hour of samples: 720,000.
func BenchmarkOpen(b *testing.B) {
	dir := hour(b)
	b.ResetTimer()
	for range b.N {
		record, _, err := logbook.Open(logbook.OSFS{}, dir)
		if err != nil {
			b.Fatal(err)
		}
		record.Close()
	}
	b.ReportMetric(720_000*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}

// BenchmarkTrace reads ten seconds out of the middle of the hour.
func BenchmarkTrace(b *testing.B) {
	record, _, err := logbook.Open(logbook.OSFS{}, hour(b))
	require.NoError(b, err)
	defer record.Close()
	b.ResetTimer()
	for range b.N {
		trace, err := record.Samples.ByPosition(400_000, 402_000)
		if err != nil || len(trace) != 2000 {
			b.Fatal(len(trace), err)
		}
	}
}

func hour(b *testing.B) string {
	b.Helper()
	dir := filepath.Join(b.TempDir(), "run")
	w, err := logbook.Create(logbook.OSFS{}, dir, liftHeader, wall)
	require.NoError(b, err)
	for _, s := range liftTrace(720_000, 200) {
		require.NoError(b, w.WriteSample(s))
	}
	require.NoError(b, w.Close(wall.Add(time.Hour)))
	return dir
}
