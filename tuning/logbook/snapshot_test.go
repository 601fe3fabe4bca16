package logbook_test

import (
	"strconv"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

// A crash at any operation leaves the old content or the new one; once acknowledged, the new one.
func TestSnapshotIsOldOrNew(t *testing.T) {
	const name = "runs/calibration.json"
	for k := 0; ; k++ {
		rng := numbered(t, k)
		disk := logbooktest.NewDisk("runs")
		require.NoError(t, logbook.WriteFile(disk, name, []byte("old content")))
		first := disk.Ops()
		disk.Fault = func(op logbooktest.Op) (int, error) {
			if op.Number < first+k {
				return 0, nil
			}
			return op.Bytes / 2, errPowerOff
		}
		err := logbook.WriteFile(disk, name, []byte("the new content"))
		if err == nil {
			require.Equal(t, "the new content", string(disk.Crash(nil).Get(name)))
			require.GreaterOrEqual(t, k, 5)
			return
		}
		for range 20 {
			require.Contains(t, []string{"old content", "the new content"}, string(disk.Crash(rng).Get(name)))
		}
		require.Contains(t, []string{"old content", "the new content"}, string(disk.Crash(nil).Get(name)))
		require.Contains(t, []string{"old content", "the new content"}, string(disk.Kill().Get(name)))
	}
}

// A failed snapshot leaves nothing beside, an abandoned one does not stand in the way and is reported.
func TestSnapshotLeftovers(t *testing.T) {
	disk := logbooktest.NewDisk("runs")
	w := create(t, disk)
	fail := true
	disk.Fault = func(op logbooktest.Op) (int, error) {
		if fail && op.Name == "sync" {
			return 0, syscall.EIO
		}
		return 0, nil
	}
	require.ErrorIs(t, w.Snapshot("calibration.json", []byte("{}")), syscall.EIO)
	fail = false
	names, err := disk.Names(runDir)
	require.NoError(t, err)
	require.Equal(t, []string{"events.txt", "lock", "samples.bin"}, names)

	disk.Put(runDir+"/calibration.json.part1", []byte("abandoned"))
	disk.Put(runDir+"/my.part", []byte("not ours"))
	require.NoError(t, w.Snapshot("calibration.json", []byte("{}")))
	require.NoError(t, w.Close(wall))
	require.Equal(t, "{}", string(disk.Get(runDir+"/calibration.json")))
	report := logbook.Verify(disk, runDir)
	require.Equal(t, []string{"calibration.json.part1"}, report.Leftovers)
	require.Equal(t, logbook.Sound, report.Verdict())
	require.Contains(t, report.Full(), "calibration.json.part1")

	for n := range 100 {
		disk.Put("runs/x.part"+strconv.Itoa(n+1), nil)
	}
	var file *logbook.FileError
	require.ErrorAs(t, logbook.WriteFile(disk, "runs/x", nil), &file)
	require.Equal(t, logbook.Exists, file.Kind)
}
