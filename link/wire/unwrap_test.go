package wire_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

func TestUnwrap32FollowsARandomWalk(t *testing.T) {
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 3))
	truth := int64(random.Uint32())
	var u wire.Unwrap32
	for range 20000 {
		require.Equal(t, truth, u.Near(uint32(truth)), "seed %d", seed)
		truth += random.Int64N(1<<32-1) - (1<<31 - 1) // less than 2^31 either way
	}
}

func TestUnwrap16CountsOn(t *testing.T) {
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 4))
	truth := uint64(random.Uint32() & 0xffff)
	var u wire.Unwrap16
	for range 20000 {
		require.Equal(t, truth, u.Next(uint16(truth)), "seed %d", seed)
		truth += random.Uint64N(1 << 16)
	}
}

// Stamps of acks may lie behind or before those of samples; the clock wraps.
func TestInstantsAcrossTheWrap(t *testing.T) {
	var u wire.Unwrapper
	require.EqualValues(t, 4294967000, u.Instant(4294967000))
	require.EqualValues(t, 4294967296+700, u.Instant(700), "after the wrap")
	require.EqualValues(t, 4294967100, u.Instant(4294967100), "an older one, from before the wrap")
	require.EqualValues(t, 4294967296+800, u.Instant(800), "and the clock did not go back")
	require.EqualValues(t, 4294967296+800+2147483647, u.Instant(800+2147483647))
}

func sampleOf(micros uint32, count int32, edge wire.Age) wire.Sample {
	m := wire.Sample{TimeMicros: micros, Shape: wire.Shape{Counters: 1, Axes: 1}}
	m.Counters[0] = wire.SampleCounter{Count: count, Edge: edge}
	m.Axes[0].Since = wire.AgeUnknown
	return m
}

func TestCountsAndDatum(t *testing.T) {
	var u wire.Unwrapper
	count := func(c int32) units.Counts { return u.Sample(0, sampleOf(1, c, 0)).Counters[0].Count }
	require.EqualValues(t, -7, count(-7), "the first count is taken as it is")
	require.EqualValues(t, 2000000000, count(2000000000))
	require.EqualValues(t, 2147483648, count(-2147483648), "past the end of 32 bits")
	require.EqualValues(t, 2147483647, count(2147483647), "and back")
	require.EqualValues(t, 2147483648, count(-2147483648))
	u.Datum(0, -5)
	require.EqualValues(t, -5, count(-5), "a datum is no travel")
	u.Datum(99, 0) // no such counter: nothing happens
}

func TestInstantsOfEdges(t *testing.T) {
	var u wire.Unwrapper
	edge := func(micros uint32, a wire.Age) units.Instant {
		return u.Sample(0, sampleOf(micros, 0, a)).Counters[0].LastEdge
	}
	require.EqualValues(t, 990, edge(1000, 10))
	require.EqualValues(t, 0, edge(1000, wire.AgeUnknown))
	require.EqualValues(t, -1, edge(1000, 1000), "0 stands for unknown and is kept for that")
	require.EqualValues(t, -1000, edge(1000, 2000))
}

// What a controller samples comes back, across wraps of everything.
func TestSamplesComeBack(t *testing.T) {
	shape := wire.Shape{Counters: 3, Axes: 2}
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 5))
	var u wire.Unwrapper
	s := bench.Sample{Sequence: 65000, At: 1<<32 - 3000000}
	s.Counters[0].Count = 1<<31 - 500
	for range 2000 {
		s.Sequence++
		s.At += units.Instant(random.IntN(20000))
		s.State = bench.State(random.IntN(4))
		s.Cause = bench.Cause(random.IntN(8))
		s.Flags = bench.Flags(random.IntN(256))
		for i := range shape.Counters {
			s.Counters[i].Count += units.Counts(random.IntN(100) - 10)
			s.Counters[i].LastEdge = s.At - units.Instant(random.IntN(32768))
		}
		for i := range shape.Axes {
			s.Axes[i] = bench.Axis{Pulse: units.PulseFromTenths(uint16(random.IntN(32768))), Closed: random.IntN(2) == 0}
		}
		number, m := wire.SampleFrom(s, shape)
		line, err := wire.Encode(nil, wire.Frame{Number: number, Message: m})
		require.NoError(t, err)
		var d wire.Decoder
		d.SetShape(shape)
		f := d.Feed(line)[0].Frame
		require.Equal(t, s, u.Sample(f.Number, f.Message.(wire.Sample)), "seed %d", seed)
	}
	require.Greater(t, s.At, units.Instant(1<<32), "the clock wrapped")
	require.Greater(t, s.Counters[0].Count, units.Counts(1<<31), "a count wrapped")
	require.Greater(t, s.Sequence, uint64(65536), "the sequence wrapped")
}
