package wire_test

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/vectors"
	"trunnion/link/wire"
)

// stream is everything that the vectors have, good and bad, one after another.
func stream(t testing.TB) (all []byte) {
	cases, err := vectors.All()
	require.NoError(t, err)
	for _, c := range cases {
		all = append(all, c.Line...)
	}
	return all
}

func TestAnySplitGivesTheSame(t *testing.T) {
	all := stream(t)
	var whole wire.Decoder
	want := whole.Feed(all)
	require.NotZero(t, whole.Stats().Good)
	require.Equal(t, uint64(len(want)), whole.Stats().Good+whole.Stats().Malformed+whole.Stats().Dropped())

	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 1))
	for range 30 {
		var d wire.Decoder
		var got []wire.Result
		most := 1 + random.IntN(300)
		for rest := all; len(rest) > 0; {
			n := min(len(rest), random.IntN(most+1))
			got = append(got, d.Feed(rest[:n])...)
			rest = rest[n:]
		}
		require.Equal(t, want, got, "seed %d, pieces up to %d", seed, most)
		require.Equal(t, whole.Stats(), d.Stats())
	}
}

// After garbage of any kind, one delimiter brings the decoder back.
func TestBackInStepAfterGarbage(t *testing.T) {
	good, err := wire.Encode(nil, wire.Frame{Number: 7, Message: wire.Stop{}})
	require.NoError(t, err)
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 2))
	for range 2000 {
		garbage := make([]byte, random.IntN(600))
		for i := range garbage {
			garbage[i] = byte(random.Uint32())
		}
		var d wire.Decoder
		results := d.Feed(append(append(garbage, 0), good...))
		require.NotEmpty(t, results, "seed %d", seed)
		last := results[len(results)-1]
		require.NoError(t, last.Err, "seed %d", seed)
		require.Equal(t, wire.Frame{Number: 7, Message: wire.Stop{}}, last.Frame, "seed %d", seed)
	}
}

func TestFeedKeepsNothingAndChangesNothing(t *testing.T) {
	line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 1, PulseTenths: 15000}}}})
	require.NoError(t, err)
	kept := bytes.Clone(line)
	var d wire.Decoder
	first := d.Feed(line)
	require.Equal(t, kept, line)
	d.Feed(bytes.Repeat([]byte{0xaa}, 200)) // overwrites the decoder's own buffer
	require.Equal(t, "tilt number=1 axis=1 pulse=15000", first[0].Frame.String())
}

func TestResetDropsWhatIsHalfThere(t *testing.T) {
	line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: wire.Stop{}})
	require.NoError(t, err)
	var d wire.Decoder
	require.Empty(t, d.Feed(line[:3]))
	d.Reset()
	require.NoError(t, d.Feed(line)[0].Err)
}

func TestDecoderLearnsTheShapeFromAnIdentity(t *testing.T) {
	var identity, sample wire.Frame
	for _, f := range examples {
		switch f.Message.(type) {
		case wire.Identity:
			identity = f
		case wire.Sample:
			sample = f
		}
	}
	a, err := wire.Encode(nil, sample)
	require.NoError(t, err)
	b, err := wire.Encode(nil, identity)
	require.NoError(t, err)
	var d wire.Decoder
	require.Equal(t, wire.FaultShape, faultOf(d.Feed(a)[0].Err))
	require.NoError(t, d.Feed(b)[0].Err)
	require.Equal(t, sample, d.Feed(a)[0].Frame)
}

// A request sent twice is told from another by its checksum.
func TestSumTellsARepeat(t *testing.T) {
	on, err := wire.Encode(nil, wire.Frame{Number: 1, Message: wire.Drive{Direction: 1}})
	require.NoError(t, err)
	off, err := wire.Encode(nil, wire.Frame{Number: 1, Message: wire.Drive{}})
	require.NoError(t, err)
	var d wire.Decoder
	r := d.Feed(append(append(append([]byte{}, on...), on...), off...))
	require.Len(t, r, 3)
	require.Equal(t, r[0].Sum, r[1].Sum)
	require.NotEqual(t, r[0].Sum, r[2].Sum)
}

func TestEncodeDoesNotAllocateWhereThereIsRoom(t *testing.T) {
	room := make([]byte, 0, wire.MaxLine)
	var f wire.Frame
	for _, f = range examples {
		require.Zero(t, testing.AllocsPerRun(20, func() { _, _ = wire.Encode(room, f) }), "%v", f)
	}
	largest := 0
	for _, x := range docExamples(t) {
		largest = max(largest, len(x.line))
	}
	require.LessOrEqual(t, largest, wire.MaxLine)
}

func BenchmarkDecodeSamples(b *testing.B) {
	shape := wire.Shape{Counters: 4, Axes: 3}
	line, err := wire.Encode(nil, wire.Frame{Message: wire.Sample{Shape: shape}})
	require.NoError(b, err)
	var d wire.Decoder
	d.SetShape(shape)
	b.ReportAllocs()
	b.SetBytes(int64(len(line)))
	for b.Loop() {
		d.Feed(line)
	}
}
