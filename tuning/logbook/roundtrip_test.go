package logbook_test

import (
	"encoding/json"
	"hash/crc32"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
	"trunnion/tuning/units"
)

// The checksum is the published one. Source: RFC 3720, section B.4, the CRC of 32 bytes of noughts, of ones, and of
// 0 to 31, from memory; and the usual check value over the digits 1 to 9.
func TestChecksumIsCRC32C(t *testing.T) {
	rising := make([]byte, 32)
	for i := range rising {
		rising[i] = byte(i)
	}
	for _, c := range []struct {
		in   string
		want uint32
	}{
		{strings.Repeat("\x00", 32), 0x8a9136aa},
		{strings.Repeat("\xff", 32), 0x62a8ab43},
		{string(rising), 0x46dd794e},
		{"123456789", 0xe3069283},
	} {
		require.Equal(t, c.want, crc32.Checksum([]byte(c.in), logbook.Castagnoli))
	}
}

func TestEventsComeBack(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	payloads := []string{
		`{"n":1}`, `null`, `"a line\nand <b>more</b> & more"`, `[1.0, 2e-300, -0]`, "{\n  \"spread\": \"over lines\"\n}",
		`"Schnürboden, 12 µs, \u2028"`, `{"deep":[[[[{}]]]]}`, `18446744073709551615`,
	}
	for i, p := range payloads {
		sequence, err := w.Append("reading of the lift", wall.Add(time.Duration(i)), json.RawMessage(p), i%2 == 0)
		require.NoError(t, err)
		require.EqualValues(t, i+2, sequence)
	}
	sequence, err := w.Append("x-1", wall, nil, false)
	require.NoError(t, err)
	require.EqualValues(t, len(payloads)+2, sequence)
	require.NoError(t, w.Close(wall.Add(time.Hour)))

	record, recovery := open(t, disk)
	require.True(t, recovery.Clean(), recovery.String())
	require.NoError(t, recovery.Err(runDir))
	require.Equal(t, liftHeader, record.Header)
	require.Len(t, record.Events, len(payloads)+3)
	for i, p := range payloads {
		e := record.Events[i+1]
		require.True(t, wall.Add(time.Duration(i)).Equal(e.Wall))
		require.Equal(t, "reading of the lift", e.Kind)
		require.Equal(t, i%2 == 0, e.Durable)
		require.JSONEq(t, p, string(e.Payload))
		require.NotContains(t, string(e.Payload), "\\u003c", "what a person reads is not escaped")
	}
	require.Equal(t, "null", string(record.Events[len(payloads)+1].Payload))
	require.Equal(t, "closed", record.Events[len(payloads)+2].Kind)
	require.Equal(t, len(payloads)+3, strings.Count(string(disk.Get(runDir+"/events.txt")), "\n"), "one line an event")
}

func TestEventsThatCannotBeRecordedAreRefused(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	before := disk.Get(runDir + "/events.txt")
	for _, c := range []struct {
		kind, payload string
		wall          time.Time
	}{
		{"record", "null", wall}, {"resumed", "null", wall}, {"closed", "null", wall}, {"", "null", wall},
		{" x", "null", wall}, {"a_b", "null", wall}, {strings.Repeat("k", 41), "null", wall}, {"two\nlines", "null", wall},
		{"kind", "{", wall}, {"kind", "", wall}, {"kind", "1 2", wall}, {"kind", "\"\xff\"", wall},
		{"kind", "null", wall.AddDate(9000, 0, 0)},
	} {
		sequence, err := w.Append(c.kind, c.wall, json.RawMessage(c.payload), true)
		var refused *logbook.EventError
		require.ErrorAs(t, err, &refused, "%q %q", c.kind, c.payload)
		require.Zero(t, sequence)
	}
	require.Equal(t, before, disk.Get(runDir+"/events.txt"))
	sequence, err := w.Append("kind", wall, nil, true)
	require.NoError(t, err)
	require.EqualValues(t, 2, sequence, "a refused event takes no number")
}

func TestLikelySamplesComeBack(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 11), 200)
	want := writeLift(t, w, lift, 3000)
	lift.Reconnect()
	require.Equal(t, 2, w.BeginConnection())
	require.Equal(t, 2, w.BeginConnection(), "no sample came in between")
	want = append(want, writeLift(t, w, lift, 500)...)
	require.EqualValues(t, 3500, w.Recorded())
	require.NoError(t, w.Close(wall))

	record, recovery := open(t, disk)
	require.True(t, recovery.Clean(), recovery.String())
	require.Equal(t, want, all(t, record))
	c := record.Samples.Connections()
	require.Len(t, c, 2)
	require.Equal(t, logbook.Connection{Number: 1, Samples: 3000, First: want[0], Last: want[2999]}, c[0])
	require.Equal(t, logbook.Connection{Number: 2, Samples: 500, First: want[3000], Last: want[3499]}, c[1])
}

// Any sample whatever comes back exactly, for every number of counters and axes.
func TestHostileSamplesComeBack(t *testing.T) {
	rng := seeded(t, 12)
	for counters := range bench.MaxCounters + 1 {
		for axes := range bench.MaxAxes + 1 {
			disk := logbooktest.NewDisk("runs")
			w, err := logbook.Create(disk, runDir, logbook.Header{Counters: counters, Axes: axes}, wall)
			require.NoError(t, err)
			var want bench.Trace
			s := logbooktest.Hostile(rng, counters, axes)
			for range 150 {
				other := logbooktest.Hostile(rng, counters, axes)
				if rng.IntN(2) == 0 {
					// Most of the sample stays, so that every kind of difference occurs.
					other.Sequence, other.At = s.Sequence+1, s.At+5000
					for i := range s.Counters {
						if rng.IntN(2) == 0 {
							other.Counters[i] = s.Counters[i]
						}
					}
					if rng.IntN(2) == 0 {
						other.Axes = s.Axes
					}
				}
				s = other
				want = append(want, s)
				require.NoError(t, w.WriteSample(s))
			}
			require.NoError(t, w.Close(wall))
			record, recovery := open(t, disk)
			require.True(t, recovery.Clean(), recovery.String())
			require.Equal(t, want, all(t, record))
		}
	}
}

func TestSamplesThatWouldNotComeBackAreRefused(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	good := logbooktest.NewLift(seeded(t, 13), 200).Next()
	require.NoError(t, w.WriteSample(good))
	for name, spoil := range map[string]func(*bench.Sample){
		"a fifth counter":          func(s *bench.Sample) { s.Counters[4].Count = 1 },
		"the edge of a fifth":      func(s *bench.Sample) { s.Counters[4].LastEdge = 1 },
		"a fourth axis":            func(s *bench.Sample) { s.Axes[3].Pulse = 1500 },
		"its loop":                 func(s *bench.Sample) { s.Axes[5].Closed = true },
		"a pulse between tenths":   func(s *bench.Sample) { s.Axes[0].Pulse = 1500.05 },
		"a pulse that is too long": func(s *bench.Sample) { s.Axes[0].Pulse = 4000 },
		"a pulse below nought":     func(s *bench.Sample) { s.Axes[0].Pulse = -1 },
		"a pulse that is none":     func(s *bench.Sample) { s.Axes[0].Pulse = units.Pulse(math.NaN()) },
	} {
		s := good
		s.Sequence++
		spoil(&s)
		var refused *logbook.SampleError
		require.ErrorAs(t, w.WriteSample(s), &refused, name)
	}
	good.Sequence++
	require.NoError(t, w.WriteSample(good), "the record goes on after a refusal")
	require.EqualValues(t, 2, w.Recorded())
}

// Where the caller says nothing, numbers or times that go back begin a connection, so that within one they never do.
func TestConnectionBeginsByItself(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	for _, s := range []bench.Sample{
		{Sequence: 5, At: 100}, {Sequence: 6, At: 200}, // 1
		{Sequence: 2, At: 300},                          // 2: number back
		{Sequence: 3, At: 250},                          // 3: time back
		{Sequence: 3, At: 260},                          // 4: the same number
		{Sequence: 9, At: 260}, {Sequence: 10, At: 261}, // still 4
	} {
		require.NoError(t, w.WriteSample(s))
	}
	require.NoError(t, w.Close(wall))
	record, _ := open(t, disk)
	var lengths []uint64
	for _, c := range record.Samples.Connections() {
		lengths = append(lengths, c.Samples)
	}
	require.Equal(t, []uint64{2, 1, 1, 3}, lengths)
}

func TestHeaderIsChecked(t *testing.T) {
	for _, h := range []logbook.Header{{Counters: bench.MaxCounters + 1}, {Axes: bench.MaxAxes + 1}, {Counters: -1}, {Axes: -1}} {
		disk := logbooktest.NewDisk("runs")
		_, err := logbook.Create(disk, runDir, h, wall)
		var refused *logbook.EventError
		require.ErrorAs(t, err, &refused)
		require.Zero(t, disk.Ops(), "nothing was made")
	}
}
