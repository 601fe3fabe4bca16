package logbook_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"os"
	"slices"
	"testing"

	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

// FuzzEvents reads any events.txt. What is taken as valid must be lines of the file, in order.
func FuzzEvents(f *testing.F) {
	for _, name := range []string{"plain/events.txt", "resumed/events.txt"} {
		data, err := os.ReadFile(goldenPath(name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data, false)
		f.Add(data[:len(data)-3], false)
		f.Add(data, true)
	}
	f.Fuzz(func(t *testing.T, data []byte, sign bool) {
		if sign {
			data = signLines(data)
		}
		disk := logbooktest.NewDisk("runs", runDir)
		disk.Put(eventsFile, data)
		record, recovery, err := logbook.Open(disk, runDir)
		if err != nil {
			if !typed(err) {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		defer record.Close()
		lines := bytes.SplitAfter(data, []byte{'\n'})
		for i, e := range record.Events {
			if e.Sequence != uint64(i)+1 || !bytes.Contains(lines[i], e.Payload) {
				t.Fatalf("event %d is not line %d", e.Sequence, i)
			}
		}
		rest := len(lines) - len(record.Events)
		if rest == 1 && len(lines[len(lines)-1]) == 0 {
			rest = 0
		}
		if lacks := recovery.EventsTail.Bytes > 0 || len(recovery.Corrupt) > 0; lacks != (rest > 0) {
			t.Fatalf("%d lines left, recovery %v", rest, recovery)
		}
		_ = logbook.Verify(disk, runDir).Full()
	})
}

// signLines gives every line that is long enough its place and a right checksum, so that what is behind is reached.
func signLines(data []byte) (signed []byte) {
	for i, line := range bytes.Split(bytes.TrimSuffix(data, []byte{'\n'}), []byte{'\n'}) {
		if len(line) < 18 {
			signed = append(append(signed, line...), '\n')
			continue
		}
		signed = append(signed, logbook.Line(i+1, line[18:])...)
	}
	return signed
}

// FuzzSamples reads any samples.bin: as it is, or each stretch of it as a record with a right checksum, so that the
// decoder behind the checksum is reached.
func FuzzSamples(f *testing.F) {
	events, err := os.ReadFile(goldenPath("plain/events.txt"))
	if err != nil {
		f.Fatal(err)
	}
	samples, err := os.ReadFile(goldenPath("plain/samples.bin"))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(samples[20:], false)
	f.Add(samples[20:100], true)
	f.Add([]byte{6, 0, 2, 0, 0, 0, 0, 9, 8, 0, 0, 0, 0, 0, 7, 2, 1}, true)
	f.Fuzz(func(t *testing.T, data []byte, sign bool) {
		file := slices.Clone(samples[:20])
		if sign {
			file = append(file, firstRecord(samples)...)
			file = signRecords(file, data)
		} else {
			file = append(file, data...)
		}
		disk := logbooktest.NewDisk("runs", runDir)
		disk.Put(eventsFile, events)
		disk.Put(samplesFile, file)
		record, recovery, err := logbook.Open(disk, runDir)
		if err != nil || recovery.SamplesErr != nil {
			t.Fatal(err, recovery.SamplesErr)
		}
		defer record.Close()
		s := record.Samples
		trace, err := s.ByPosition(0, s.Reach())
		if uint64(len(trace)) != s.Count() {
			t.Fatalf("%d samples counted, %d read (%v)", s.Count(), len(trace), err)
		}
		if s.Count() > s.Reach() || s.Count() < s.Reach() && err == nil {
			t.Fatalf("%d of %d samples, and no word", s.Count(), s.Reach())
		}
		for _, c := range s.Connections() {
			_, _ = s.BySequence(c.Number, c.First.Sequence, c.Last.Sequence)
			_, _ = s.ByInstant(c.Number, c.First.At, c.Last.At)
		}
		_ = logbook.Verify(disk, runDir).Full()
	})
}

const goldenFull = 4 + 8 + 4 + 8 + 8 + 4 + 4*16 + 3*10 + 4

func firstRecord(samples []byte) []byte { return samples[20 : 20+goldenFull] }

// signRecords appends data as records: its first byte is the length of the first one, and so on.
func signRecords(file, data []byte) []byte {
	table := crc32.MakeTable(crc32.Castagnoli)
	for len(data) > 0 {
		length, covered := 1+int(data[0]), append(slices.Clone(file[16:20]), file[len(file)-4:]...)
		if data[0] == 0xff {
			length, covered = goldenFull-4, slices.Clone(file[16:20])
			data = append([]byte("\xffSMP"), data[1:]...)
		}
		if length > len(data) {
			return append(file, data...)
		}
		sum := crc32.Checksum(append(covered, data[:length]...), table)
		file = binary.LittleEndian.AppendUint32(append(file, data[:length]...), sum)
		data = data[length:]
	}
	return file
}
