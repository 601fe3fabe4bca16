package logbook_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

var errPowerOff = errors.New("the power is off")

// history is what a run tried and what it was told.
type history struct {
	created   bool
	tried     []int       // payloads of events, in order
	durable   []int       // those acknowledged as durable
	samples   bench.Trace // handed over, acknowledged or not
	taken     int         // how many were acknowledged
	synced    int         // how many were recorded before the last durable event or sync by Tick
	snapshots []string    // handed over
	kept      int         // how many snapshots were acknowledged
	writer    *logbook.Writer
	now       time.Time // for Tick
	lift      *logbooktest.Lift
}

// run is a small run with everything in it: events of both sorts, samples, ticks, snapshots, a new connection, an end,
// and a second sitting that is not ended. It stops at the first error.
func (h *history) run(disk logbook.FS) error {
	w, err := logbook.Create(disk, runDir, liftHeader, wall)
	if err != nil {
		return err
	}
	h.created, h.writer = true, w
	if err := h.sitting(w, 25); err != nil {
		return err
	}
	if err := w.Close(wall); err != nil {
		return err
	}
	if w, _, err = logbook.Resume(disk, runDir, "trunnion test", wall); err != nil {
		return err
	}
	h.writer = w
	h.lift.Reconnect()
	return h.sitting(w, 12)
}

func (h *history) sitting(w *logbook.Writer, rounds int) error {
	for i := range rounds {
		for range i % 4 {
			h.samples = append(h.samples, h.lift.Next())
			if err := w.WriteSample(h.samples[len(h.samples)-1]); err != nil {
				return err
			}
			h.taken = len(h.samples)
		}
		if err := h.event(w, i%3 == 0); err != nil {
			return err
		}
		h.now = h.now.Add(200 * time.Millisecond)
		if err := w.Tick(h.now); err != nil {
			return err
		}
		if i%10 == 4 {
			h.snapshots = append(h.snapshots, fmt.Sprintf(`{"snapshot":%d}`, len(h.snapshots)))
			if err := w.Snapshot("calibration.json", []byte(h.snapshots[len(h.snapshots)-1])); err != nil {
				return err
			}
			h.kept = len(h.snapshots)
		}
	}
	return nil
}

func (h *history) event(w *logbook.Writer, durable bool) error {
	n := len(h.tried)
	h.tried = append(h.tried, n)
	taken := h.taken
	if _, err := w.Append("step", wall, payload(n), durable); err != nil {
		return err
	}
	if durable {
		h.durable = append(h.durable, n)
		h.synced = taken
	}
	return nil
}

// check holds a disk found after a crash against the history. least is how many samples must be there.
func (h *history) check(t *testing.T, disk *logbooktest.Disk, least int) {
	t.Helper()
	record, recovery, err := logbook.Open(disk, runDir)
	if !h.created {
		h.checkUncreated(t, err)
		return
	}
	require.NoError(t, err)
	defer record.Close()

	// Events: all those acknowledged as durable, in order, and none that was not tried.
	var found []string
	for _, e := range append(record.Events[:len(record.Events):len(record.Events)], recovery.After...) {
		if e.Kind == "step" {
			found = append(found, string(e.Payload))
		}
	}
	at := 0
	for _, n := range h.tried {
		if at < len(found) && found[at] == string(payload(n)) {
			at++
		}
	}
	require.Equal(t, len(found), at, "an event was invented or is out of order")
	at = 0
	for _, n := range h.durable {
		for at < len(found) && found[at] != string(payload(n)) {
			at++
		}
		require.Less(t, at, len(found), "durable event %d is lost", n)
	}

	// Samples: every one at its place is the one that was handed over there, and enough are there.
	require.Zero(t, recovery.Missing)
	require.NoError(t, recovery.SamplesErr)
	require.GreaterOrEqual(t, record.Samples.Reach(), uint64(least))
	require.LessOrEqual(t, record.Samples.Reach(), uint64(len(h.samples)))
	synced, err := record.Samples.ByPosition(0, uint64(least))
	require.NoError(t, err)
	require.True(t, slices.Equal(h.samples[:least], synced), "the synced samples differ")
	for i := range record.Samples.Reach() {
		one, err := record.Samples.ByPosition(i, i+1)
		if len(one) == 0 {
			var gap *logbook.GapError
			require.ErrorAs(t, err, &gap)
			continue
		}
		require.Equal(t, h.samples[i], one[0])
	}

	// The snapshot: the last one acknowledged or a later one, whole.
	text := string(disk.Get(runDir + "/calibration.json"))
	whole := h.snapshots[max(0, h.kept-1):]
	if h.kept == 0 {
		whole = append([]string{""}, whole...)
	}
	require.Contains(t, whole, text)
}

// checkUncreated: what was never said to be there is either whole or told to be nothing.
func (h *history) checkUncreated(t *testing.T, err error) {
	t.Helper()
	var none *logbook.NotRecordError
	if err != nil {
		require.ErrorAs(t, err, &none)
	}
}

// goOn resumes on a disk after a crash, adds to the record, and reads it all.
func (h *history) goOn(t *testing.T, disk *logbooktest.Disk) {
	t.Helper()
	before, recovery, err := logbook.Open(disk, runDir)
	if err != nil {
		return // checked already
	}
	require.NoError(t, before.Close())
	w, _, err := logbook.Resume(disk, runDir, "trunnion test", wall)
	var corrupt *logbook.CorruptError
	if errors.As(err, &corrupt) {
		require.NotEmpty(t, recovery.After, "only good events behind bad ones stand in the way")
		return
	}
	if recovery.SamplesErr != nil {
		require.False(t, h.created)
		return
	}
	require.NoError(t, err)
	require.NoError(t, h.sitting(w, 4))
	require.NoError(t, w.Close(wall))
	after, recovery := open(t, disk)
	require.True(t, recovery.Closed)
	require.Zero(t, recovery.Torn())
	require.Equal(t, before.Events, after.Events[:len(before.Events)], "what was there is as it was")
	require.Equal(t, "resumed", after.Events[len(before.Events)].Kind)
	require.Zero(t, recovery.Missing)
	c := after.Samples.Connections()
	require.EqualValues(t, 6, c[len(c)-1].Samples)
}

// crashAt runs until the k-th operation, which fails with part of its bytes done, as do all after it.
func crashAt(k int, rng *rand.Rand) (*history, *logbooktest.Disk, error) {
	disk := logbooktest.NewDisk("runs")
	disk.Fault = func(op logbooktest.Op) (int, error) {
		switch {
		case op.Number < k:
			return 0, nil
		case op.Number == k && op.Name == "write":
			return rng.IntN(op.Bytes + 1), errPowerOff
		}
		return 0, errPowerOff
	}
	h := &history{now: wall, lift: logbooktest.NewLift(rng, 200)}
	return h, disk, h.run(disk)
}

// The power is cut at every operation of a run in turn, with none of what was not synced kept, and with random parts
// of it kept.
func TestPowerCutAtEveryOperation(t *testing.T) {
	for k := 0; ; k++ {
		rng := numbered(t, k)
		h, disk, err := crashAt(k, rng)
		if err == nil {
			require.Greater(t, k, 150, "the run has operations to fail at")
			t.Logf("%d operations", k)
			return
		}
		require.ErrorIs(t, err, errPowerOff)
		images := []*logbooktest.Disk{disk.Crash(nil)}
		for range 8 {
			images = append(images, disk.Crash(rng))
		}
		for _, after := range images {
			h.check(t, after, h.synced)
			again := *h
			again.goOn(t, after)
		}
	}
}

// The process is killed at every operation of a run in turn: the samples lack at most the one being handed over.
func TestKillAtEveryOperation(t *testing.T) {
	for k := 0; ; k++ {
		rng := numbered(t, k)
		h, disk, err := crashAt(k, rng)
		if err == nil {
			return
		}
		after := disk.Kill()
		h.check(t, after, h.taken)
		// The power is cut after the next start has gone on with the record: what it acknowledged rests on what the
		// killed process had not synced.
		if h.created {
			w, _, err := logbook.Resume(after, runDir, "trunnion test", wall)
			require.NoError(t, err)
			require.NoError(t, h.event(w, true))
			h.check(t, after.Crash(nil), h.taken)
		}
	}
}

// The power is cut while Resume works, after a crash that left torn tails, and again while the next one does.
func TestPowerCutDuringResume(t *testing.T) {
	h, disk, err := crashAt(100, rand.New(rand.NewPCG(5, 5)))
	require.ErrorIs(t, err, errPowerOff)
	after := disk.Kill()
	tear(t, after)
	for k := 0; ; k++ {
		rng := numbered(t, k)
		second := after.Kill()
		second.Fault = func(op logbooktest.Op) (int, error) {
			if op.Number < k {
				return 0, nil
			}
			return op.Bytes / 2, errPowerOff
		}
		_, _, err := logbook.Resume(second, runDir, "trunnion test", wall)
		for _, third := range []*logbooktest.Disk{second.Kill(), second.Crash(nil), second.Crash(rng)} {
			h.check(t, third, h.synced)
			again := *h
			again.goOn(t, third)
		}
		if err == nil {
			require.Greater(t, k, 15)
			return
		}
	}
}

// tear leaves a torn end on both files.
func tear(t *testing.T, disk *logbooktest.Disk) {
	t.Helper()
	for _, name := range []string{"/events.txt", "/samples.bin"} {
		f, err := disk.OpenAppend(runDir + name)
		require.NoError(t, err)
		_, err = f.Write([]byte("00000099 torn"))
		require.NoError(t, err)
	}
}

// Tick alone keeps the loss within a second.
func TestTickBoundsTheLoss(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 21), 200)
	now := wall
	for i := range 2000 { // 10 s
		require.NoError(t, w.WriteSample(lift.Next()))
		now = now.Add(5 * time.Millisecond)
		if i%40 == 0 { // every 200 ms
			require.NoError(t, w.Tick(now))
		}
		record, _ := open(t, disk.Crash(nil))
		require.LessOrEqual(t, w.Recorded()-record.Samples.Reach(), uint64(140), "0.7 s at 200 a second")
	}
}

// So does the controller's clock where nobody ticks.
func TestControllerTimeBoundsTheLoss(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	lift := logbooktest.NewLift(seeded(t, 22), 200)
	for range 2000 {
		require.NoError(t, w.WriteSample(lift.Next()))
		record, _ := open(t, disk.Crash(nil))
		require.LessOrEqual(t, w.Recorded()-record.Samples.Reach(), uint64(202))
	}
}

// Events that are not durable are synced by Tick as well.
func TestTickSyncsEvents(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	require.NoError(t, w.Tick(wall))
	_, err := w.Append("note", wall, nil, false)
	require.NoError(t, err)
	require.NoError(t, w.Tick(wall.Add(400*time.Millisecond)))
	record, _ := open(t, disk.Crash(nil))
	require.Len(t, record.Events, 1, "not yet due")
	require.NoError(t, w.Tick(wall.Add(500*time.Millisecond)))
	record, _ = open(t, disk.Crash(nil))
	require.Len(t, record.Events, 2)
	_, err = w.Append("note", wall, nil, false)
	require.NoError(t, err)
	require.NoError(t, w.Tick(wall.Add(-time.Hour)))
	record, _ = open(t, disk.Crash(nil))
	require.Len(t, record.Events, 3, "a clock that was set back holds nothing up")
}

// A new connection, whose times start anew, does not put the sync off.
func TestControllerTimeStartsAnew(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	require.NoError(t, w.WriteSample(bench.Sample{Sequence: 1, At: 3_600_000_000}))
	require.NoError(t, w.WriteSample(bench.Sample{Sequence: 1, At: 1000}))
	record, _ := open(t, disk.Crash(nil))
	require.EqualValues(t, 2, record.Samples.Count())
}

// Two tails torn at the same place are kept apart; the same one is kept once.
func TestTailsAreKeptApart(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	create(t, disk)
	tear(t, disk)
	at := fmt.Sprintf("%s/events-tail-%d", runDir, len(disk.Get(eventsFile))-len("00000099 torn"))
	disk.Put(at, []byte("another one"))
	disk.Put(at+"-1", []byte("00000099 torn"))
	disk = disk.Kill()
	w, _, err := logbook.Resume(disk, runDir, "trunnion test", wall)
	require.NoError(t, err)
	require.NoError(t, w.Close(wall))
	require.Equal(t, "another one", string(disk.Get(at)))
	require.Nil(t, disk.Get(at+"-2"))
	record, _ := open(t, disk)
	require.Contains(t, string(record.Events[1].Payload), at[len(runDir)+1:]+`-1"`)
}
