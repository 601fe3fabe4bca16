package logbook_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
	"trunnion/tuning/units"
)

// numberedSample is a sample with what the tests of traces sort by.
type numberedSample struct {
	connection int
	bench.Sample
}

// threeConnections is a record whose connections have the same numbers and times again.
func threeConnections(t *testing.T, disk *logbooktest.Disk, rng *rand.Rand) []numberedSample {
	t.Helper()
	w := create(t, disk)
	lift := logbooktest.NewLift(rng, 50)
	var samples []numberedSample
	for c := 1; c <= 3; c++ {
		for _, s := range writeLift(t, w, lift, 170+10*c) {
			samples = append(samples, numberedSample{c, s})
		}
		_, err := w.Append("connection ends", wall, nil, true)
		require.NoError(t, err)
		lift.Reconnect()
		w.BeginConnection()
	}
	require.NoError(t, w.Close(wall))
	return samples
}

// pick is the plain way to a trace.
func pick(samples []numberedSample, in func(position int, s numberedSample) bool) (trace bench.Trace) {
	for i, s := range samples {
		if in(i, s) {
			trace = append(trace, s.Sample)
		}
	}
	return trace
}

// Every way to ask for a trace gives what going through all samples gives.
func TestTracesAgreeWithThePlainWay(t *testing.T) {
	rng := seeded(t, 51)
	disk := logbooktest.NewDisk("runs")
	samples := threeConnections(t, disk, rng)
	record, _ := open(t, disk)
	for range 500 {
		connection := rng.IntN(5) // 0 and 4 are none
		from, to := rng.IntN(620), rng.IntN(620)
		trace, err := record.Samples.ByPosition(uint64(from), uint64(to))
		require.NoError(t, err)
		require.Equal(t, pick(samples, func(i int, _ numberedSample) bool { return i >= from && i < to }), trace)

		first, last := rng.Uint64N(320), rng.Uint64N(320)
		trace, err = record.Samples.BySequence(connection, first, last)
		require.NoError(t, err)
		require.Equal(t, pick(samples, func(_ int, s numberedSample) bool {
			return s.connection == connection && s.Sequence >= first && s.Sequence <= last
		}), trace)

		earliest, latest := units.Instant(rng.Int64N(7e6)), units.Instant(rng.Int64N(7e6))
		if rng.IntN(2) == 0 {
			earliest = samples[rng.IntN(len(samples))].At
		}
		trace, err = record.Samples.ByInstant(connection, earliest, latest)
		require.NoError(t, err)
		require.Equal(t, pick(samples, func(_ int, s numberedSample) bool {
			return s.connection == connection && s.At >= earliest && s.At <= latest
		}), trace)
	}
	trace, err := record.Samples.BySequence(2, 0, math.MaxUint64)
	require.NoError(t, err)
	require.Len(t, trace, 190)
}

// Between two events lie the samples that were recorded between them.
func TestTraceBetweenEvents(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	samples := threeConnections(t, disk, seeded(t, 52))
	record, _ := open(t, disk)
	a, b := record.Events[1], record.Events[2]
	trace, err := record.Samples.ByPosition(a.Samples, b.Samples)
	require.NoError(t, err)
	require.Equal(t, pick(samples, func(_ int, s numberedSample) bool { return s.connection == 2 }), trace)
}

// A trace over damage says so if samples of it may be lost, and only then.
func TestTracesOverDamage(t *testing.T) {
	rng := seeded(t, 53)
	disk := logbooktest.NewDisk("runs")
	samples := threeConnections(t, disk, rng)
	whole := disk.Get(samplesFile)
	for range 50 {
		damaged := logbooktest.NewDisk("runs", runDir)
		damaged.Put(eventsFile, disk.Get(eventsFile))
		data := slices.Clone(whole)
		data[20+rng.IntN(len(data)-20)] ^= 1
		damaged.Put(samplesFile, data)
		record, recovery := open(t, damaged)
		require.NotZero(t, len(recovery.Corrupt)+int(recovery.SamplesTail.Bytes))
		lost := lostPositions(record, len(samples))
		for range 20 {
			from := rng.IntN(len(samples))
			for rng.IntN(2) == 0 && from > 0 && lost[from] == lost[from-1] {
				from-- // to the edge of what is lost
			}
			to := from + 1 + rng.IntN(len(samples)-from)
			trace, err := record.Samples.ByPosition(uint64(from), uint64(to))
			checkTrace(t, trace, err, samples, lost, func(i int, _ numberedSample) bool { return i >= from && i < to })

			s, e := samples[from], samples[to-1]
			if s.connection != e.connection {
				continue
			}
			trace, err = record.Samples.BySequence(s.connection, s.Sequence, e.Sequence)
			in := func(i int, _ numberedSample) bool { return i >= from && i < to }
			checkTrace(t, trace, err, samples, lost, in)
			trace, err = record.Samples.ByInstant(s.connection, s.At, e.At)
			if len(trace) != to-from {
				require.Error(t, err)
			}
		}
	}
}

// lostPositions asks for every sample by itself.
func lostPositions(record *logbook.Record, n int) map[int]bool {
	lost := map[int]bool{}
	for i := range n {
		if one, _ := record.Samples.ByPosition(uint64(i), uint64(i+1)); len(one) == 0 {
			lost[i] = true
		}
	}
	return lost
}

func checkTrace(t *testing.T, trace bench.Trace, err error, samples []numberedSample, lost map[int]bool, in func(int, numberedSample) bool) {
	t.Helper()
	lacks := false
	want := pick(samples, func(i int, s numberedSample) bool {
		lacks = lacks || in(i, s) && lost[i]
		return in(i, s) && !lost[i]
	})
	require.True(t, slices.Equal(want, trace))
	var gap *logbook.GapError
	require.Equal(t, lacks, errors.As(err, &gap), "%v", err)
}

func TestTracesMayBeReadAtOnce(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	samples := threeConnections(t, disk, seeded(t, 54))
	record, _ := open(t, disk)
	var group sync.WaitGroup
	lengths := make([]int, 8)
	for i := range lengths {
		group.Go(func() {
			trace, _ := record.Samples.ByPosition(uint64(i), uint64(len(samples)))
			lengths[i] = len(trace) + i
		})
	}
	group.Wait()
	for _, n := range lengths {
		require.Equal(t, len(samples), n)
	}
}
