package logbook_test

import (
	"encoding/binary"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
	"trunnion/tuning/units"
)

// The plain reader below is written from the package comment alone, as a stranger would, and shares no code with the
// package. If the two disagree, one of them or the comment is wrong.

// plainSamples reads samples.bin and stops with a panic at anything unexpected.
func plainSamples(file []byte) (samples bench.Trace) {
	if string(file[:8]) != "TRUNSMPL" || binary.LittleEndian.Uint16(file[8:]) != 1 {
		panic("header")
	}
	counters, axes := int(file[10]), int(file[11])
	headerSum := file[16:20]
	if plainCRC(file[:16]) != binary.LittleEndian.Uint32(headerSum) {
		panic("header checksum")
	}
	var now bench.Sample
	var atStep int64
	var countSteps [8]int64
	for off := 20; off < len(file); {
		rest := file[off:]
		var length int
		covered := append([]byte{}, headerSum...)
		if rest[0] == 0xff {
			now = bench.Sample{}
			length = plainFull(&now, rest, counters, axes)
			atStep, countSteps = 0, [8]int64{}
		} else {
			length = 1 + int(rest[0])
			covered = append(covered, file[off-4:off]...)
			plainDifference(&now, rest[1:length], counters, axes, &atStep, &countSteps)
		}
		covered = append(covered, rest[:length]...)
		if plainCRC(covered) != binary.LittleEndian.Uint32(rest[length:]) {
			panic("record checksum")
		}
		samples = append(samples, now)
		off += length + 4
	}
	return samples
}

func plainFull(s *bench.Sample, b []byte, counters, axes int) int {
	at := 0
	number := func(bytes int) (v uint64) {
		for i := range bytes {
			v |= uint64(b[at+i]) << (8 * i)
		}
		at += bytes
		return v
	}
	if number(4) != 0x504d53ff {
		panic("marker")
	}
	number(8) // position
	number(4) // connection
	s.Sequence = number(8)
	s.At = units.Instant(number(8))
	s.State, s.Cause, s.Flags = bench.State(number(1)), bench.Cause(number(1)), bench.Flags(number(1))
	closed := number(1)
	for i := range counters {
		s.Counters[i].Count = units.Counts(number(8))
		s.Counters[i].LastEdge = units.Instant(number(8))
	}
	for i := range axes {
		s.Axes[i].Closed = closed&(1<<i) != 0
		s.Axes[i].Pulse = units.Pulse(float64(number(2)) / 10)
		s.Axes[i].Since = units.Instant(number(8))
	}
	return at
}

func plainDifference(s *bench.Sample, b []byte, counters, axes int, atStep *int64, countSteps *[8]int64) {
	one := func() byte {
		v := b[0]
		b = b[1:]
		return v
	}
	u := func() (v uint64) {
		for shift := 0; ; shift += 7 {
			c := one()
			v |= uint64(c&0x7f) << shift
			if c < 0x80 {
				return v
			}
		}
	}
	signed := func() int64 {
		v := u()
		if v%2 == 1 {
			return -int64(v/2) - 1
		}
		return int64(v / 2)
	}
	has := one()
	*atStep += signed()
	s.At += units.Instant(*atStep)
	if has&1 != 0 {
		s.Sequence += uint64(signed())
	} else {
		s.Sequence++
	}
	if has&2 != 0 {
		s.State, s.Cause, s.Flags = bench.State(one()), bench.Cause(one()), bench.Flags(one())
	}
	if has&4 != 0 {
		closed := one()
		for i := range axes {
			s.Axes[i].Closed = closed&(1<<i) != 0
		}
	}
	var hows uint64
	for i := 0; i*4 < counters; i++ {
		hows |= uint64(one()) << (8 * i)
	}
	for i := range counters {
		how := hows >> (2 * i) & 3
		if how == 0 {
			countSteps[i] = 0
			continue
		}
		countSteps[i] += signed()
		s.Counters[i].Count += units.Counts(countSteps[i])
		switch how {
		case 1:
			s.Counters[i].LastEdge = s.At - units.Instant(u())
		case 2:
			s.Counters[i].LastEdge = 0
		case 3:
			s.Counters[i].LastEdge = s.At - units.Instant(signed())
		}
	}
	if has&8 != 0 {
		which := one()
		for i := range axes {
			if which&(1<<i) != 0 {
				tenths := int64(s.Axes[i].Pulse*10+0.5) + signed()
				s.Axes[i].Pulse = units.Pulse(float64(tenths) / 10)
				s.Axes[i].Since = s.At - units.Instant(signed())
			}
		}
	}
	if len(b) != 0 {
		panic("left over")
	}
}

// plainCRC is CRC-32C bit by bit.
func plainCRC(data []byte) uint32 {
	crc := ^uint32(0)
	for _, c := range data {
		crc ^= uint32(c)
		for range 8 {
			crc = crc>>1 ^ 0x82f63b78*(crc&1) // 1EDC6F41 with its bits reflected
		}
	}
	return ^crc
}

func TestPlainReaderAgrees(t *testing.T) {
	require.EqualValues(t, 0xe3069283, plainCRC([]byte("123456789")))
	frozen, err := os.ReadFile(goldenPath("plain/samples.bin"))
	require.NoError(t, err)
	samples := plainSamples(frozen)
	require.Len(t, samples, 61)
	for n := range 60 {
		require.Equal(t, goldenSample(n), samples[n])
	}

	rng := seeded(t, 71)
	for _, c := range []struct {
		counters, axes int
		next           func(*rand.Rand) func() bench.Sample
	}{
		{4, 3, func(rng *rand.Rand) func() bench.Sample { return logbooktest.NewLift(rng, 200).Next }},
		{8, 6, func(rng *rand.Rand) func() bench.Sample {
			return func() bench.Sample { return logbooktest.Hostile(rng, 8, 6) }
		}},
		{1, 0, func(rng *rand.Rand) func() bench.Sample {
			return func() bench.Sample { return logbooktest.Hostile(rng, 1, 0) }
		}},
	} {
		disk := logbooktest.NewDisk("runs")
		w, err := logbook.Create(disk, runDir, logbook.Header{Counters: c.counters, Axes: c.axes}, wall)
		require.NoError(t, err)
		var want bench.Trace
		next := c.next(rng)
		for range 1000 {
			s := next()
			want = append(want, s)
			require.NoError(t, w.WriteSample(s))
		}
		require.Equal(t, want, plainSamples(disk.Get(samplesFile)))
	}
}

// The lines of events.txt are as the package comment draws them.
func TestLinesAreAsDrawn(t *testing.T) {
	frozen, err := os.ReadFile(goldenPath("resumed/events.txt"))
	require.NoError(t, err)
	shape := regexp.MustCompile(`^([0-9]{8}) ([0-9a-f]{8}) (\{"kind":.*"wall":.*"samples":[0-9]+,("durable":true,)?"payload":.*\})$`)
	text, ended := strings.CutSuffix(string(frozen), "\n")
	require.True(t, ended)
	for i, line := range strings.Split(text, "\n") {
		parts := shape.FindStringSubmatch(line)
		require.NotNil(t, parts, line)
		n, err := strconv.Atoi(parts[1])
		require.NoError(t, err)
		require.Equal(t, i+1, n)
		sum, err := strconv.ParseUint(parts[2], 16, 32)
		require.NoError(t, err)
		require.EqualValues(t, plainCRC([]byte(parts[1]+" "+parts[3])), sum)
	}
	// samples.bin names its owner.
	samples, err := os.ReadFile(goldenPath("resumed/samples.bin"))
	require.NoError(t, err)
	require.Equal(t, text[9:17], strconv.FormatUint(uint64(binary.LittleEndian.Uint32(samples[12:])), 16))
	require.Equal(t, crc32.Checksum(samples[:16], crc32.MakeTable(crc32.Castagnoli)), binary.LittleEndian.Uint32(samples[16:]))
}
