package logbook_test

import (
	"bytes"
	"errors"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

const (
	eventsFile  = runDir + "/events.txt"
	samplesFile = runDir + "/samples.bin"
)

// truth is a small closed record and what is in it.
type truth struct {
	events, samples []byte // the files
	record          *logbook.Record
	trace           bench.Trace
}

// smallRecord has a few events, and samples at 20 a second so that several full records are among them.
func smallRecord(t *testing.T) truth {
	t.Helper()
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 31), 20)
	for i := range 6 {
		writeLift(t, w, lift, 11)
		_, err := w.Append("reading", wall.Add(time.Duration(i)*time.Second), payload(i), i%2 == 1)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close(wall))
	record, recovery := open(t, disk)
	require.True(t, recovery.Clean())
	return truth{disk.Get(eventsFile), disk.Get(samplesFile), record, all(t, record)}
}

// check opens a damaged record: either it does not open and says why, or all it gives is true and it says that
// something lacks.
func (u truth) check(t *testing.T, events, samples []byte, what string, n int) {
	t.Helper()
	disk := logbooktest.NewDisk("runs", runDir)
	disk.Put(eventsFile, events)
	disk.Put(samplesFile, samples)
	record, recovery, err := logbook.Open(disk, runDir)
	if err != nil {
		require.True(t, typed(err), "%s %d: %v", what, n, err)
		return
	}
	defer record.Close()
	require.False(t, recovery.Clean(), "%s %d went without a word", what, n)
	for i, e := range slices.Concat(record.Events, recovery.After) {
		if i < len(record.Events) && e.Sequence != uint64(i)+1 || !sameEvent(e, u.record.Events[e.Sequence-1]) {
			t.Fatalf("%s %d: event %d is wrong", what, n, e.Sequence)
		}
	}
	u.checkSamples(t, record, what, n)
}

// sameEvent spares the many comparisons here the slowness of those that explain themselves.
func sameEvent(a, b logbook.Event) bool {
	return a.Sequence == b.Sequence && a.Wall.Equal(b.Wall) && a.Kind == b.Kind && a.Samples == b.Samples &&
		a.Durable == b.Durable && bytes.Equal(a.Payload, b.Payload)
}

func (u truth) checkSamples(t *testing.T, record *logbook.Record, what string, n int) {
	t.Helper()
	reach := record.Samples.Reach()
	require.LessOrEqual(t, reach, uint64(len(u.trace)), "%s %d", what, n)
	found, err := record.Samples.ByPosition(0, reach)
	require.EqualValues(t, record.Samples.Count(), len(found), "%s %d", what, n)
	if err == nil {
		require.True(t, slices.Equal(u.trace[:reach], found), "%s %d: a sample is wrong", what, n)
		return
	}
	var gap *logbook.GapError
	require.ErrorAs(t, err, &gap, "%s %d", what, n)
	require.Less(t, len(found), int(reach), "%s %d", what, n)
	for _, s := range found {
		if s != u.trace[s.Sequence-u.trace[0].Sequence] {
			t.Fatalf("%s %d: a sample is wrong", what, n)
		}
	}
}

// typed reports whether err is one of the package's own.
func typed(err error) bool {
	var (
		file    *logbook.FileError
		held    *logbook.HeldError
		version *logbook.VersionError
		corrupt *logbook.CorruptError
		none    *logbook.NotRecordError
	)
	return errors.As(err, &file) || errors.As(err, &held) || errors.As(err, &version) ||
		errors.As(err, &corrupt) || errors.As(err, &none)
}

func TestEveryFlippedBitIsNoticed(t *testing.T) {
	u := smallRecord(t)
	for bit := range len(u.events) * 8 {
		events := slices.Clone(u.events)
		events[bit/8] ^= 1 << (bit % 8)
		u.check(t, events, u.samples, "events bit", bit)
	}
	for bit := range len(u.samples) * 8 {
		samples := slices.Clone(u.samples)
		samples[bit/8] ^= 1 << (bit % 8)
		u.check(t, u.events, samples, "samples bit", bit)
	}
}

func TestEveryCutIsNoticed(t *testing.T) {
	u := smallRecord(t)
	for n := range len(u.events) {
		u.check(t, u.events[:n], u.samples, "events cut at", n)
	}
	for n := range len(u.samples) {
		u.check(t, u.events, u.samples[:n], "samples cut at", n)
	}
}

// Any stretch removed, repeated, blanked or moved is noticed, also where whole records are concerned.
func TestEveryStretchIsNoticed(t *testing.T) {
	u := smallRecord(t)
	rng := seeded(t, 32)
	lines := bytes.SplitAfter(u.events, []byte{'\n'})
	lines = lines[:len(lines)-1]
	for i := range lines {
		u.check(t, join(lines[:i], lines[i+1:]), u.samples, "line removed", i)
		u.check(t, join(lines[:i+1], lines[i:]), u.samples, "line repeated", i)
	}
	records := u.recordStarts()
	for i, from := range records[:len(records)-1] {
		for _, to := range []int{records[i+1], records[min(i+7, len(records)-1)]} {
			u.check(t, u.events, join2(u.samples[:from], u.samples[to:]), "records removed", i)
			u.check(t, u.events, join2(u.samples[:to], u.samples[from:]), "records repeated", i)
		}
	}
	for n := range 1000 {
		from := rng.IntN(len(u.samples))
		to := from + 1 + rng.IntN(min(64, len(u.samples)-from))
		blank := slices.Clone(u.samples)
		clear(blank[from:to])
		if !bytes.Equal(blank, u.samples) {
			u.check(t, u.events, blank, "samples blanked", n)
		}
		u.check(t, u.events, join2(u.samples[:from], u.samples[to:]), "samples removed", n)
		u.check(t, u.events, join2(u.samples[:to], u.samples[from:]), "samples repeated", n)
	}
}

// recordStarts finds where the records begin: those are the lengths at which a cut file has no torn tail.
func (u truth) recordStarts() (starts []int) {
	for n := 20; n <= len(u.samples); n++ {
		disk := logbooktest.NewDisk("runs", runDir)
		disk.Put(eventsFile, u.events)
		disk.Put(samplesFile, u.samples[:n])
		if record, recovery, err := logbook.Open(disk, runDir); err == nil {
			if recovery.SamplesTail.Bytes == 0 {
				starts = append(starts, n)
			}
			record.Close()
		}
	}
	return starts
}

func join(a, b [][]byte) []byte { return bytes.Join(slices.Concat(a, b), nil) }
func join2(a, b []byte) []byte  { return slices.Concat(a, b) }

// What can be told apart is: a torn end, damage in the middle, samples that were synced and are gone, and how many
// samples the damage cost.
func TestRecoverySaysWhatLacks(t *testing.T) {
	u := smallRecord(t)
	starts := u.recordStarts()
	require.Len(t, starts, len(u.trace)+1)
	var fulls []int
	for i, at := range starts[:len(starts)-1] {
		if u.samples[at] == 0xff {
			fulls = append(fulls, i)
		}
	}
	require.Len(t, fulls, 4)
	second, third := fulls[1], fulls[2]
	lastLine := bytes.LastIndexByte(u.events[:len(u.events)-1], '\n') + 1
	unclosed := u.events[:lastLine]
	spoil := func(data []byte, at int) []byte {
		data = slices.Clone(data)
		data[at] ^= 0x10
		return data
	}
	for _, c := range []struct {
		name            string
		events, samples []byte
		want            logbook.Recovery
		verdict         logbook.Verdict
	}{
		{"nothing", u.events, u.samples, logbook.Recovery{Closed: true}, logbook.Sound},
		{"not closed", unclosed, u.samples, logbook.Recovery{}, logbook.CutOff},
		{
			"torn event", u.events[:lastLine+9], u.samples,
			logbook.Recovery{EventsTail: logbook.Tail{Offset: int64(lastLine), Bytes: 9}}, logbook.CutOff,
		},
		{
			"torn sample, more than was synced", unclosed, join2(u.samples, []byte{7, 1, 2}),
			logbook.Recovery{SamplesTail: logbook.Tail{Offset: int64(len(u.samples)), Bytes: 3}}, logbook.CutOff,
		},
		{
			"noughts", unclosed, join2(u.samples, make([]byte, 100_000)),
			logbook.Recovery{SamplesTail: logbook.Tail{Offset: int64(len(u.samples)), Bytes: 100_000}}, logbook.CutOff,
		},
		{
			"two synced samples gone", u.events, u.samples[:starts[64]],
			logbook.Recovery{Closed: true, Missing: 2}, logbook.Damaged,
		},
		{
			"a sample rotten: the rest of its second is lost", u.events, spoil(u.samples, starts[5]+3),
			logbook.Recovery{Closed: true, Corrupt: []logbook.Damage{
				{File: "samples.bin", Offset: int64(starts[5]), Length: int64(starts[second] - starts[5]), Lost: uint64(second - 5), Good: uint64(second - 6)},
			}}, logbook.Damaged,
		},
		{
			"a full sample rotten: that and the second are lost", u.events, spoil(u.samples, starts[second]+30),
			logbook.Recovery{Closed: true, Corrupt: []logbook.Damage{
				{File: "samples.bin", Offset: int64(starts[second]), Length: int64(starts[third] - starts[second]),
					Lost: uint64(third - second), Good: uint64(third - second - 1)},
			}}, logbook.Damaged,
		},
		{
			"a rotten sample near the end", u.events, spoil(u.samples, starts[63]+3),
			logbook.Recovery{Closed: true, Missing: 3, Corrupt: []logbook.Damage{
				{File: "samples.bin", Offset: int64(starts[63]), Length: int64(starts[66] - starts[63]), Good: 2},
			}}, logbook.Damaged,
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			disk := logbooktest.NewDisk("runs", runDir)
			disk.Put(eventsFile, c.events)
			disk.Put(samplesFile, c.samples)
			record, recovery := open(t, disk)
			var gap *logbook.GapError
			_, err := record.Samples.ByPosition(60, uint64(len(u.trace)))
			require.Equal(t, c.want.Missing > 0, errors.As(err, &gap), "%v", err)
			if c.want.SamplesTail.Bytes == 0 {
				c.want.SamplesTail.Offset = int64(len(c.samples))
				if len(c.want.Corrupt) > 0 || c.want.Missing > 0 {
					c.want.SamplesTail.Offset = recovery.SamplesTail.Offset
				}
			}
			if c.want.EventsTail.Bytes == 0 {
				c.want.EventsTail.Offset = int64(len(c.events))
			}
			require.Equal(t, c.want, recovery)
			report := logbook.Verify(disk, runDir)
			require.Equal(t, c.verdict, report.Verdict(), report.Full())
			if c.verdict == logbook.Damaged {
				var corrupt *logbook.CorruptError
				require.ErrorAs(t, recovery.Err(runDir), &corrupt)
			} else {
				require.NoError(t, recovery.Err(runDir))
			}
		})
	}
}

// Good events behind a bad one are told apart from a torn end, kept, and stand in the way of going on.
func TestBadEventBeforeGoodOnes(t *testing.T) {
	u := smallRecord(t)
	events := slices.Clone(u.events)
	third := bytes.Index(events, []byte("00000003 "))
	fourth := bytes.Index(events, []byte("00000004 "))
	events[third+40] ^= 1
	disk := logbooktest.NewDisk("runs", runDir)
	disk.Put(eventsFile, events)
	disk.Put(samplesFile, u.samples)
	record, recovery := open(t, disk)
	require.Equal(t, u.record.Events[:2], record.Events)
	require.Equal(t, u.record.Events[3:], recovery.After)
	require.Equal(t, []logbook.Damage{
		{File: "events.txt", Offset: int64(third), Length: int64(fourth - third), Lost: 1, Good: 5},
	}, recovery.Corrupt)

	_, _, err := logbook.Resume(disk, runDir, "trunnion test", wall)
	var corrupt *logbook.CorruptError
	require.ErrorAs(t, err, &corrupt)
	require.EqualValues(t, third, corrupt.Offset)
	require.Equal(t, events, disk.Get(eventsFile))
	_, _, err = logbook.Resume(disk, runDir, "trunnion test", wall)
	require.ErrorAs(t, err, &corrupt, "the lock was given back")
}

// A record with damage in its samples can be gone on with: what was good stays so, at its place, and what is added
// comes behind all that was ever there, by the word of the events or, where they say nothing, of the good records that
// hang in the air behind the damage.
func TestResumeBehindDamage(t *testing.T) {
	u := smallRecord(t)
	rng := seeded(t, 33)
	firstLine := u.events[:bytes.IndexByte(u.events, '\n')+1]
	for n := range 400 {
		events, samples := u.events, slices.Clone(u.samples)
		if n%2 == 0 {
			events = firstLine
		}
		if n%8 == 1 {
			samples = samples[:20+rng.IntN(len(samples)-20)]
		} else {
			samples[20+rng.IntN(len(samples)-20)] ^= 4
		}
		disk := logbooktest.NewDisk("runs", runDir)
		disk.Put(eventsFile, events)
		disk.Put(samplesFile, samples)
		before, recovery := open(t, disk)
		w, _, err := logbook.Resume(disk, runDir, "trunnion test", wall)
		require.NoError(t, err)
		added := writeLift(t, w, logbooktest.NewLift(rng, 20), 30)
		require.NoError(t, w.Close(wall))

		after, now := open(t, disk)
		places := uint64(len(u.trace))
		switch {
		case n%2 == 0 && recovery.SamplesTail.Bytes > 0:
			places = before.Samples.Reach() // a torn end that nobody ever spoke of takes no place
		case n%2 == 0 && after.Samples.Reach() == places+29:
			places-- // a rotten checksum spoils two records, and there is no telling that it was not one
		}
		require.Equal(t, before.Samples.Count()+30, after.Samples.Count())
		require.Equal(t, places+30, after.Samples.Reach(), "every place is counted once")
		require.Equal(t, before.Samples.Count() < places, now.Err(runDir) != nil, "damage is still told")
		require.Zero(t, now.Missing)
		for i := range places {
			was, _ := before.Samples.ByPosition(i, i+1)
			is, _ := after.Samples.ByPosition(i, i+1)
			require.Equal(t, was, is)
		}
		last, err := after.Samples.ByPosition(places, after.Samples.Reach())
		require.NoError(t, err)
		require.Equal(t, added, last)
	}
}

// Damage costs a bounded number of samples even where the controller's clock stands still.
func TestFullRecordsComeWithoutTime(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	for n := range 3000 {
		require.NoError(t, w.WriteSample(bench.Sample{Sequence: uint64(n) + 1, At: 7}))
	}
	require.NoError(t, w.Close(wall))
	samples := disk.Get(samplesFile)
	samples[30] ^= 1
	disk.Put(samplesFile, samples)
	record, _ := open(t, disk)
	require.EqualValues(t, 2000, record.Samples.Count())
}

func TestRecordsOfOtherFormats(t *testing.T) {
	u := smallRecord(t)
	first := u.events[:bytes.IndexByte(u.events, '\n')]
	newer := logbook.Line(1, bytes.Replace(first[18:], []byte(`"format":1`), []byte(`"format":2`), 1))
	u.expectOpen(t, newer, u.samples, func(err error) {
		var version *logbook.VersionError
		require.ErrorAs(t, err, &version)
		require.Equal(t, 2, version.Found)
		require.Equal(t, 1, version.Known)
	})
	other := logbook.Line(1, []byte(`{"kind":"reading","wall":"2026-03-01T19:30:00Z","samples":0,"payload":null}`))
	u.expectOpen(t, other, u.samples, func(err error) {
		var corrupt *logbook.CorruptError
		require.ErrorAs(t, err, &corrupt)
	})
	u.expectOpen(t, nil, u.samples, func(err error) {
		var none *logbook.NotRecordError
		require.ErrorAs(t, err, &none)
	})
	disk := logbooktest.NewDisk("runs")
	_, _, err := logbook.Open(disk, runDir)
	var none *logbook.NotRecordError
	require.ErrorAs(t, err, &none)
}

func (u truth) expectOpen(t *testing.T, events, samples []byte, check func(error)) {
	t.Helper()
	disk := logbooktest.NewDisk("runs", runDir)
	disk.Put(eventsFile, events)
	disk.Put(samplesFile, samples)
	_, _, err := logbook.Open(disk, runDir)
	check(err)
	_, _, err = logbook.Resume(disk, runDir, "trunnion test", wall)
	check(err)
}

// Without its samples, with those of another record, or of a newer format, the events can still be read.
func TestSamplesOfAnotherRecord(t *testing.T) {
	u := smallRecord(t)
	disk := logbooktest.NewDisk("runs")
	w, err := logbook.Create(disk, runDir, liftHeader, wall.Add(time.Second))
	require.NoError(t, err)
	require.NoError(t, w.Close(wall))
	newer := logbook.SamplesHeader(2, u.samples)

	var corrupt *logbook.CorruptError
	var version *logbook.VersionError
	var file *logbook.FileError
	for _, c := range []struct {
		samples []byte
		want    any
	}{{disk.Get(samplesFile), &corrupt}, {newer, &version}, {u.samples[:19], &corrupt}, {nil, &file}} {
		disk := logbooktest.NewDisk("runs", runDir)
		disk.Put(eventsFile, u.events)
		if c.samples != nil {
			disk.Put(samplesFile, c.samples)
		}
		record, recovery := open(t, disk)
		require.Equal(t, u.record.Events, record.Events)
		require.ErrorAs(t, recovery.SamplesErr, c.want)
		require.ErrorAs(t, recovery.Err(runDir), c.want)
		require.False(t, recovery.Clean())
		require.Zero(t, record.Samples.Count())
		trace, err := record.Samples.ByPosition(0, 10)
		require.ErrorAs(t, err, c.want)
		require.Empty(t, trace)
		_, _, err = logbook.Resume(disk, runDir, "trunnion test", wall)
		require.ErrorAs(t, err, c.want)
		require.Equal(t, u.events, disk.Get(eventsFile))
	}
}
