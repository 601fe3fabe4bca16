package logbook_test

import (
	"errors"
	"io"
	"io/fs"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

// One operation fails: for each operation of a run in turn, in each way. The error says which kind of trouble it was,
// the writer takes nothing more for that file, the lock is given back, and the record can be gone on with.
func TestEveryOperationFails(t *testing.T) {
	full := &logbook.FileError{Op: "write", Path: "somewhere", Kind: logbook.DiskFull, Err: syscall.ENOSPC}
	for _, c := range []struct {
		name string
		err  error
		kind logbook.Kind
		is   error
	}{
		{"disk full", full, logbook.DiskFull, syscall.ENOSPC},
		{"input/output error", syscall.EIO, logbook.Failing, syscall.EIO},
		{"not permitted", fs.ErrPermission, logbook.ReadOnly, fs.ErrPermission},
		{"short write", logbooktest.ErrShort, logbook.Failing, io.ErrShortWrite},
	} {
		t.Run(c.name, func(t *testing.T) {
			failed := 0
			for k := 0; ; k++ {
				h, disk, passed, err := failAt(t, k, c.err)
				if passed == nil {
					require.NoError(t, err)
					require.Greater(t, failed, 50)
					return
				}
				if passed.Name != "write" && errors.Is(c.err, logbooktest.ErrShort) {
					continue
				}
				failed++
				var file *logbook.FileError
				require.ErrorAs(t, err, &file, "%+v", passed)
				require.Equal(t, c.kind, file.Kind, "%+v", passed)
				require.ErrorIs(t, err, c.is, "%+v", passed)
				if h.writer != nil {
					h.writer.Close(wall) // its error is another matter
				}
				h.check(t, disk, h.taken)
				h.goOn(t, disk)
			}
		})
	}
}

// failAt runs with the k-th operation failing, and only that. It returns that operation, or nil if there were fewer.
func failAt(t *testing.T, k int, failure error) (*history, *logbooktest.Disk, *logbooktest.Op, error) {
	rng := numbered(t, k)
	disk := logbooktest.NewDisk("runs")
	var failed *logbooktest.Op
	disk.Fault = func(op logbooktest.Op) (int, error) {
		if op.Number == k && (op.Name == "write" || !errors.Is(failure, logbooktest.ErrShort)) {
			failed = &op
			return op.Bytes / 2, failure
		}
		if op.Number == k {
			failed = &op
		}
		return 0, nil
	}
	h := &history{now: wall, lift: logbooktest.NewLift(rng, 200)}
	err := h.run(disk)
	return h, disk, failed, err
}

// The disk is full for the samples: they stop, for good, and an event can still say so.
func TestEventsOutliveTheSamples(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 41), 200)
	writeLift(t, w, lift, 50)
	_, err := w.Append("reading", wall, nil, true)
	require.NoError(t, err)
	writeLift(t, w, lift, 5)
	full := true
	disk.Fault = func(op logbooktest.Op) (int, error) {
		if full && op.Name == "write" && strings.HasSuffix(op.Path, "samples.bin") {
			return 3, &logbook.FileError{Op: op.Name, Path: op.Path, Kind: logbook.DiskFull, Err: syscall.ENOSPC}
		}
		return 0, nil
	}
	isFull := func(err error) {
		t.Helper()
		var file *logbook.FileError
		require.ErrorAs(t, err, &file)
		require.Equal(t, logbook.DiskFull, file.Kind)
	}
	isFull(w.WriteSample(lift.Next()))
	full = false
	isFull(w.WriteSample(lift.Next()))
	isFull(w.Tick(wall))
	require.EqualValues(t, 55, w.Recorded(), "what failed is not counted")
	sequence, err := w.Append("parked", wall, payload(1), true)
	isFull(err)
	require.EqualValues(t, 3, sequence, "the event is recorded all the same")
	_, err = w.Append("note", wall, nil, false)
	require.NoError(t, err)
	isFull(w.Close(wall))
	isFull(w.Close(wall))

	record, recovery := open(t, disk.Crash(nil))
	require.EqualValues(t, 50, record.Samples.Reach())
	require.Zero(t, recovery.Missing)
	require.Equal(t, payload(1), record.Events[2].Payload)
	require.EqualValues(t, 50, record.Events[2].Samples, "it counts only what was synced before")
	record, recovery = open(t, disk)
	require.EqualValues(t, 55, record.Samples.Reach())
	require.EqualValues(t, 3, recovery.SamplesTail.Bytes)
	require.Len(t, record.Events, 5)
}

// After a failed sync nothing is taken for synced any more, even if a later sync would say so.
func TestFailedSyncIsNotTriedAgain(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	fail := true
	disk.Fault = func(op logbooktest.Op) (int, error) {
		if fail && op.Name == "sync" {
			return 0, syscall.EIO
		}
		return 0, nil
	}
	sequence, err := w.Append("reading", wall, nil, true)
	require.ErrorIs(t, err, syscall.EIO)
	require.Zero(t, sequence)
	fail = false
	_, err = w.Append("reading", wall, nil, true)
	require.ErrorIs(t, err, syscall.EIO)
	require.ErrorIs(t, w.Tick(wall), syscall.EIO)
}

func TestOneWriterAtATime(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	disk.PID, disk.Host = 4711, "flyloft"
	w := create(t, disk)
	_, _, err := logbook.Resume(disk, runDir, "trunnion test", wall)
	var held *logbook.HeldError
	require.ErrorAs(t, err, &held)
	require.Equal(t, logbook.Holder{PID: 4711, Host: "flyloft", Since: wall}, held.Holder)
	record, _ := open(t, disk)
	require.Len(t, record.Events, 1, "reading is possible meanwhile")
	require.NoError(t, w.Close(wall))
	w, _, err = logbook.Resume(disk, runDir, "trunnion test", wall)
	require.NoError(t, err)
	require.NoError(t, w.Close(wall))

	_, err = logbook.Create(disk, runDir, liftHeader, wall)
	var file *logbook.FileError
	require.ErrorAs(t, err, &file)
	require.Equal(t, logbook.Exists, file.Kind)
	_, _, err = logbook.Resume(disk, "runs/none", "trunnion test", wall)
	var none *logbook.NotRecordError
	require.ErrorAs(t, err, &none)
	foreign := logbooktest.NewDisk("runs", runDir)
	_, _, err = logbook.Resume(foreign, runDir, "trunnion test", wall)
	require.ErrorAs(t, err, &none)
	names, err := foreign.Names(runDir)
	require.NoError(t, err)
	require.Empty(t, names, "nothing was put into a folder that holds no record")
}

func TestClosedWriterRefuses(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	require.NoError(t, w.Close(wall))
	require.NoError(t, w.Close(wall))
	require.NoError(t, w.Tick(wall))
	_, err := w.Append("note", wall, nil, true)
	require.ErrorIs(t, err, logbook.ErrClosed)
	require.ErrorIs(t, w.WriteSample(logbooktest.NewLift(seeded(t, 42), 200).Next()), logbook.ErrClosed)
}

// Samples come from one goroutine, events from two, ticks from another; a reader looks on.
func TestManyAtOnce(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 43), 200)
	var group sync.WaitGroup
	var failures [4]error
	start := func(i int, f func() error) {
		group.Go(func() { failures[i] = f() })
	}
	start(0, func() error {
		for range 4000 {
			if err := w.WriteSample(lift.Next()); err != nil {
				return err
			}
		}
		return nil
	})
	for i := range 2 {
		start(1+i, func() error {
			for n := range 200 {
				if _, err := w.Append("note", wall, payload(n), n%2 == i); err != nil {
					return err
				}
			}
			return nil
		})
	}
	start(3, func() error {
		for n := range 200 {
			if err := w.Tick(wall.Add(time.Duration(n) * time.Second)); err != nil {
				return err
			}
			record, recovery, err := logbook.Open(disk, runDir)
			if err != nil {
				return err
			}
			if err := recovery.Err(runDir); err != nil {
				return err
			}
			if err := record.Close(); err != nil {
				return err
			}
		}
		return nil
	})
	group.Wait()
	for _, err := range failures {
		require.NoError(t, err)
	}
	require.NoError(t, w.Close(wall))
	record, recovery := open(t, disk)
	require.True(t, recovery.Clean(), recovery.String())
	require.Len(t, record.Events, 402)
	require.Len(t, all(t, record), 4000)
}

func TestErrorsSayWhatToDo(t *testing.T) {
	for _, err := range []error{
		&logbook.FileError{Op: "write", Path: "p", Kind: logbook.DiskFull, Err: syscall.ENOSPC},
		&logbook.FileError{Op: "write", Path: "p", Kind: logbook.ReadOnly, Err: syscall.EROFS},
		&logbook.FileError{Op: "sync", Path: "p", Kind: logbook.Failing, Err: syscall.EIO},
		&logbook.HeldError{Path: "p", Holder: logbook.Holder{PID: 1, Host: "h", Since: wall}},
		&logbook.VersionError{Path: "p", Found: 2, Known: 1},
		&logbook.CorruptError{Path: "p", Offset: 3, What: "w"},
		&logbook.NotRecordError{Dir: "p", What: "w"},
		&logbook.GapError{Path: "p", Offset: 3, Lost: 4},
	} {
		text := err.Error()
		require.Contains(t, text, "p")
		i := strings.LastIndexAny(text, ";:")
		require.Greater(t, len(text)-i, 15, "the last part is advice: %s", text)
	}
}
