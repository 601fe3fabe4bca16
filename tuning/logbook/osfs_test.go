package logbook_test

import (
	"bufio"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/logbook"
	"trunnion/tuning/logbook/logbooktest"
)

// childDir in the environment makes the test program a child that writes a record there until it is killed.
const childDir = "LOGBOOK_TEST_CHILD_DIR"

func TestMain(m *testing.M) {
	if dir := os.Getenv(childDir); dir != "" {
		if err := writeUntilKilled(dir); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// writeUntilKilled starts or resumes a record, writes, and tells what was acknowledged: a line "s n" after the n-th
// sample, "e n" after durable event n.
func writeUntilKilled(dir string) error {
	w, err := logbook.Create(logbook.OSFS{}, dir, liftHeader, wall)
	if err != nil {
		w, _, err = logbook.Resume(logbook.OSFS{}, dir, "trunnion test", wall)
	}
	if err != nil {
		return err
	}
	lift := logbooktest.NewLift(rand.New(rand.NewPCG(1, 1)), 200)
	start := time.Now()
	for n := 1; ; n++ {
		if err := w.WriteSample(lift.Next()); err != nil {
			return err
		}
		fmt.Printf("s %d\n", w.Recorded())
		if n%40 == 0 {
			sequence, err := w.Append("reading", wall, payload(n), n%80 == 0)
			if err != nil {
				return err
			}
			fmt.Printf("e %d\n", sequence)
		}
		if err := w.Tick(start.Add(time.Duration(n) * 5 * time.Millisecond)); err != nil {
			return err
		}
	}
}

// A child process is killed at random moments and the record resumed by the next one, again and again: nothing that
// was acknowledged is lost, at most one sample and one event more are there, and the lock does not outlive the child.
func TestKilledProcess(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs kernel locks and SIGKILL")
	}
	rng := seeded(t, 61)
	dir := filepath.Join(t.TempDir(), "run")
	previous, events := 0, 0
	for range 6 {
		samples, event := killChild(t, dir, time.Duration(5+rng.IntN(250))*time.Millisecond)
		require.Positive(t, samples)
		record, recovery, err := logbook.Open(logbook.OSFS{}, dir)
		require.NoError(t, err)
		require.NoError(t, recovery.Err(dir))
		require.False(t, recovery.Closed)
		require.GreaterOrEqual(t, int(record.Samples.Reach()), samples)
		require.LessOrEqual(t, int(record.Samples.Reach()), samples+1)
		event = max(event, events+1) // every child writes one before its first line
		require.GreaterOrEqual(t, len(record.Events), event)
		require.LessOrEqual(t, len(record.Events), event+1)
		events = len(record.Events)
		trace, err := record.Samples.ByPosition(uint64(previous), record.Samples.Reach())
		require.NoError(t, err)
		lift := logbooktest.NewLift(rand.New(rand.NewPCG(1, 1)), 200)
		for i, s := range trace {
			require.Equal(t, lift.Next(), s, "sample %d", i)
		}
		previous = int(record.Samples.Reach())
		require.NoError(t, record.Close())
	}
	t.Logf("%d samples in the end", previous)
	w, _, err := logbook.Resume(logbook.OSFS{}, dir, "trunnion test", wall)
	require.NoError(t, err)
	require.NoError(t, w.Close(wall))
	require.Equal(t, logbook.Sound, logbook.Verify(logbook.OSFS{}, dir).Verdict())
}

// killChild runs a child for a time after its first line, kills it, and returns the last sample and event that it had
// acknowledged.
func killChild(t *testing.T, dir string, after time.Duration) (samples, event int) {
	t.Helper()
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), childDir+"="+dir)
	child.Stderr = os.Stderr
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	lines := bufio.NewReader(out)
	var timer *time.Timer
	for {
		line, err := lines.ReadString('\n')
		if err != nil {
			require.ErrorIs(t, err, io.EOF)
			break
		}
		if timer == nil {
			timer = time.AfterFunc(after, func() { child.Process.Kill() })
		}
		var n int
		var what string
		_, err = fmt.Sscan(line, &what, &n)
		require.NoError(t, err)
		if what == "s" {
			samples = n
		} else {
			event = n
		}
	}
	require.NotNil(t, timer, "the child wrote nothing")
	var killed *exec.ExitError
	require.ErrorAs(t, child.Wait(), &killed)
	require.Equal(t, syscall.SIGKILL, killed.Sys().(syscall.WaitStatus).Signal())
	return samples, event
}

func TestRealFiles(t *testing.T) {
	parent := t.TempDir()
	dir := filepath.Join(parent, "run")
	fsys := logbook.OSFS{}
	w, err := logbook.Create(fsys, dir, liftHeader, wall)
	require.NoError(t, err)
	want := writeLift(t, w, logbooktest.NewLift(seeded(t, 62), 200), 500)
	_, err = w.Append("reading", wall, payload(1), true)
	require.NoError(t, err)
	require.NoError(t, w.Snapshot("calibration.json", []byte("{}")))
	require.NoError(t, w.Snapshot("calibration.json", []byte(`{"second":true}`)))

	_, _, err = logbook.Resume(fsys, dir, "trunnion test", wall)
	var held *logbook.HeldError
	require.ErrorAs(t, err, &held)
	host, err := os.Hostname()
	require.NoError(t, err)
	require.Equal(t, os.Getpid(), held.Holder.PID)
	require.Equal(t, host, held.Holder.Host)
	require.True(t, wall.Equal(held.Holder.Since))

	require.NoError(t, w.Close(wall))
	record, recovery, err := logbook.Open(fsys, dir)
	require.NoError(t, err)
	require.True(t, recovery.Clean(), recovery.String())
	require.Equal(t, want, all(t, record))
	require.NoError(t, record.Close())
	data, err := logbook.ReadFile(fsys, filepath.Join(dir, "calibration.json"))
	require.NoError(t, err)
	require.JSONEq(t, `{"second":true}`, string(data))
	names, err := fsys.Names(dir)
	require.NoError(t, err)
	require.Equal(t, []string{"calibration.json", "events.txt", "lock", "samples.bin"}, names)

	// A torn end on the real disk.
	for _, name := range []string{"events.txt", "samples.bin"} {
		f, err := fsys.OpenAppend(filepath.Join(dir, name))
		require.NoError(t, err)
		_, err = f.Write([]byte("torn"))
		require.NoError(t, err)
		require.NoError(t, f.Close())
	}
	w, _, err = logbook.Resume(fsys, dir, "trunnion test", wall)
	require.NoError(t, err)
	require.NoError(t, w.Close(wall))
	report := logbook.Verify(fsys, dir)
	require.Equal(t, logbook.Sound, report.Verdict(), report.Full())
	require.Len(t, report.SetAside, 2)
	require.NoError(t, fsys.Remove(filepath.Join(dir, report.SetAside[0])))
}

func TestRealTroubleIsSorted(t *testing.T) {
	fsys := logbook.OSFS{}
	dir := t.TempDir()
	kind := func(err error, want logbook.Kind) {
		t.Helper()
		var file *logbook.FileError
		require.ErrorAs(t, err, &file)
		require.Equal(t, want, file.Kind, "%v", err)
		require.Equal(t, 1, strings.Count(err.Error(), file.Path), "the path is said once: %v", err)
	}
	_, err := fsys.Open(filepath.Join(dir, "none"))
	kind(err, logbook.Missing)
	_, err = fsys.OpenAppend(filepath.Join(dir, "none"))
	kind(err, logbook.Missing)
	kind(fsys.MakeDir(dir), logbook.Exists)
	kind(fsys.MakeDir(filepath.Join(dir, "none", "deeper")), logbook.Missing)
	kind(fsys.Rename(filepath.Join(dir, "none"), filepath.Join(dir, "other")), logbook.Missing)
	kind(fsys.SyncDir(filepath.Join(dir, "none")), logbook.Missing)
	_, err = fsys.Names(filepath.Join(dir, "none"))
	kind(err, logbook.Missing)
	_, err = fsys.Lock(filepath.Join(dir, "none", "lock"), wall)
	kind(err, logbook.Missing)
	f, err := fsys.Create(filepath.Join(dir, "file"))
	require.NoError(t, err)
	_, err = fsys.Create(filepath.Join(dir, "file"))
	kind(err, logbook.Exists)
	require.NoError(t, f.Close())
	_, err = f.Write([]byte("x"))
	kind(err, logbook.Failing)

	// The device that is always full.
	if full, err := fsys.OpenAppend("/dev/full"); err == nil {
		_, err = full.Write([]byte("x"))
		kind(err, logbook.DiskFull)
		require.NoError(t, full.Close())
	}
	// A folder that must not be written to, unless we may do everything.
	closed := filepath.Join(dir, "closed")
	require.NoError(t, os.Mkdir(closed, 0o555))
	if _, err := fsys.Create(filepath.Join(closed, "file")); err != nil {
		kind(err, logbook.ReadOnly)
	}
}
