//go:build linux || darwin

package port

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/require"

	"trunnion/link"
)

// open returns a port on a pseudo-terminal and the terminal's far side.
func open(t *testing.T) (*Port, *os.File) {
	t.Helper()
	master, path := terminal(t)
	p, err := Open(path, Options{})
	require.NoError(t, err)
	t.Cleanup(func() { p.Close() })
	return p, master
}

func terminal(t *testing.T) (master *os.File, path string) {
	t.Helper()
	master, slave, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { master.Close(); slave.Close() })
	return master, slave.Name()
}

// readAll collects from the port until n bytes came or two seconds passed.
func readAll(t *testing.T, p *Port, n int) []byte {
	t.Helper()
	var all []byte
	for began := time.Now(); len(all) < n && time.Since(began) < 2*time.Second; {
		b := make([]byte, 100)
		k, err := p.Read(b, 20*time.Millisecond)
		require.NoError(t, err)
		all = append(all, b[:k]...)
	}
	return all
}

// everyByte has all 256 values, so that a terminal that is not raw shows.
func everyByte() []byte {
	b := make([]byte, 256)
	for i := range b {
		b[i] = byte(i)
	}
	return b
}

func TestBytesPassUnchangedBothWays(t *testing.T) {
	p, master := open(t)
	_, err := master.Write(everyByte())
	require.NoError(t, err)
	require.Equal(t, everyByte(), readAll(t, p, 256))

	require.NoError(t, p.Write(everyByte()))
	got := make([]byte, 256)
	_, err = io.ReadFull(master, got)
	require.NoError(t, err)
	require.Equal(t, everyByte(), got)
}

func TestReadThatWaitsInVain(t *testing.T) {
	p, _ := open(t)
	began := p.Now()
	n, err := p.Read(make([]byte, 10), 35*time.Millisecond)
	require.NoError(t, err)
	require.Zero(t, n)
	require.GreaterOrEqual(t, p.Now()-began, 35*time.Millisecond)
	require.Less(t, p.Now()-began, 500*time.Millisecond)

	n, err = p.Read(make([]byte, 10), 0)
	require.NoError(t, err)
	require.Zero(t, n)
}

func TestBytesFromBeforeOpeningAreDropped(t *testing.T) {
	master, path := terminal(t)
	first, err := Open(path, Options{})
	require.NoError(t, err)
	_, err = master.Write([]byte("stale"))
	require.NoError(t, err)
	require.NoError(t, first.Close())
	second, err := Open(path, Options{})
	require.NoError(t, err)
	defer second.Close()
	n, err := second.Read(make([]byte, 10), 20*time.Millisecond)
	require.NoError(t, err)
	require.Zero(t, n)
}

func TestOpenThroughASymbolicLink(t *testing.T) {
	master, path := terminal(t)
	name := filepath.Join(t.TempDir(), "bench-controller")
	require.NoError(t, os.Symlink(path, name))
	p, err := Open(name, Options{})
	require.NoError(t, err)
	defer p.Close()
	require.Equal(t, name, p.String())
	_, err = Open(name, Options{})
	require.ErrorIs(t, err, link.Busy)
	_, err = master.Write([]byte("x"))
	require.NoError(t, err)
	require.Equal(t, []byte("x"), readAll(t, p, 1))
}

func TestNoSuchPort(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "nothing"), Options{})
	require.ErrorIs(t, err, link.NoSuchPort)
	_, err = Open("", Options{})
	require.ErrorIs(t, err, link.NoSuchPort)
}

func TestNotAPort(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	for _, path := range []string{file, t.TempDir(), "/dev/null"} {
		_, err := Open(path, Options{})
		require.ErrorIs(t, err, link.NotAPort, path)
	}
}

func TestLowerLinesFallsBackWhereThereAreNone(t *testing.T) {
	_, path := terminal(t)
	p, err := Open(path, Options{LowerLines: true})
	require.NoError(t, err)
	require.NoError(t, p.Close())
}

func TestUnplugged(t *testing.T) {
	p, master := open(t)
	time.AfterFunc(20*time.Millisecond, func() { master.Close() })
	began := time.Now()
	n, err := p.Read(make([]byte, 10), 2*time.Second)
	require.ErrorIs(t, err, link.Gone)
	require.Zero(t, n)
	require.Less(t, time.Since(began), time.Second)
	require.ErrorIs(t, p.Write([]byte("x")), link.Gone)
	require.ErrorIs(t, p.WriteUrgent([]byte("x")), link.Gone)
	require.ErrorIs(t, p.SetRate(9600), link.Gone)
	require.NoError(t, p.Close())
	_, err = p.Read(make([]byte, 10), 0)
	require.ErrorIs(t, err, link.Gone, "what came first is what happened")
}

// A port that only writes must notice as well.
func TestUnpluggedWhileWriting(t *testing.T) {
	p, master := open(t)
	require.NoError(t, master.Close())
	require.Eventually(t, func() bool {
		err := p.Write([]byte("x"))
		return err != nil && err.(*link.Error).Kind == link.Gone
	}, time.Second, 5*time.Millisecond)
}

func TestCloseFreesRead(t *testing.T) {
	p, _ := open(t)
	time.AfterFunc(30*time.Millisecond, func() { p.Close() })
	began := time.Now()
	_, err := p.Read(make([]byte, 10), 5*time.Second)
	require.ErrorIs(t, err, link.Closed)
	require.Less(t, time.Since(began), time.Second)
	require.ErrorIs(t, p.Write([]byte("x")), link.Closed)
	require.ErrorIs(t, p.WriteUrgent([]byte("x")), link.Closed)
	require.NoError(t, p.Close(), "twice")
}

func TestCloseStillSendsWhatWasHandedOver(t *testing.T) {
	p, master := open(t)
	for range 5 {
		require.NoError(t, p.Write([]byte("frame")))
	}
	require.NoError(t, p.Close())
	got := make([]byte, 25)
	_, err := io.ReadFull(master, got)
	require.NoError(t, err)
	require.Equal(t, bytes.Repeat([]byte("frame"), 5), got)
}

func TestSetRateLosesNothingHandedOverBefore(t *testing.T) {
	p, master := open(t)
	require.NoError(t, p.Write([]byte("before")))
	require.NoError(t, p.SetRate(250000))
	require.NoError(t, p.Write([]byte("after")))
	got := make([]byte, 11)
	_, err := io.ReadFull(master, got)
	require.NoError(t, err)
	require.Equal(t, "beforeafter", string(got))
}

func TestNothingIsLeftBehind(t *testing.T) {
	before := runtime.NumGoroutine()
	files := openFiles(t)
	for range 20 {
		p, master := open(t)
		require.NoError(t, p.Write([]byte("x")))
		_, err := p.Read(make([]byte, 4), time.Millisecond)
		require.NoError(t, err)
		require.NoError(t, p.Close())
		require.NoError(t, master.Close())
	}
	for began := time.Now(); runtime.NumGoroutine() > before; time.Sleep(time.Millisecond) {
		require.Less(t, time.Since(began), 2*time.Second, "goroutines were left behind")
	}
	// Each terminal's own side stays open until the test's cleanup.
	require.LessOrEqual(t, openFiles(t), files+20)
}

func openFiles(t *testing.T) int {
	t.Helper()
	all, err := os.ReadDir("/dev/fd")
	require.NoError(t, err)
	return len(all)
}

func TestListDoesNotFail(t *testing.T) {
	all, err := List()
	require.NoError(t, err)
	for _, f := range all {
		require.NotEmpty(t, f.Path)
	}
}

func TestFoundGivesLastingNames(t *testing.T) {
	dir := t.TempDir()
	dev := filepath.Join(dir, "tty1")
	require.NoError(t, os.WriteFile(dev, nil, 0o600))
	name := filepath.Join(dir, "usb-invented-board")
	require.NoError(t, os.Symlink(dev, name))
	other := filepath.Join(dir, "tty0")
	require.Equal(t, []Found{{other, ""}, {dev, "usb-invented-board"}}, found([]string{dev, other, dev}, []string{name}))
}
