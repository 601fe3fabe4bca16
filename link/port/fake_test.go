package port

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
)

// fakeDevice misbehaves on demand. What it has no function for works.
type fakeDevice struct {
	onRead  func([]byte) (int, error)
	onWrite func([]byte) (int, error)
	onClose func() error

	mu        sync.Mutex
	written   []byte
	discarded int
}

func (d *fakeDevice) read(p []byte, wait time.Duration) (int, error) {
	if d.onRead != nil {
		return d.onRead(p)
	}
	time.Sleep(wait)
	return 0, nil
}

func (d *fakeDevice) write(p []byte, _ time.Duration) (int, error) {
	n, err := len(p), error(nil)
	if d.onWrite != nil {
		n, err = d.onWrite(p)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.written = append(d.written, p[:max(n, 0)]...)
	return n, err
}

func (d *fakeDevice) waiting() int      { return 0 }
func (d *fakeDevice) setRate(int) error { return nil }

func (d *fakeDevice) discard() {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.discarded++
}

func (d *fakeDevice) close() error {
	if d.onClose != nil {
		return d.onClose()
	}
	return nil
}

func (d *fakeDevice) sent() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return string(d.written)
}

var errFault = errors.New("an invented fault")

// The library once returned -1 without an error, and io.ReadFull spun on it.
func TestReadOfImpossibleLength(t *testing.T) {
	calls := 0
	p := newPort("fake", &fakeDevice{onRead: func(b []byte) (int, error) {
		calls++
		return []int{-1, len(b) + 1, 0}[calls%3], nil
	}})
	defer p.Close()
	n, err := p.Read(make([]byte, 5), 50*time.Millisecond)
	require.NoError(t, err)
	require.Zero(t, n)
	require.Less(t, calls, 200, "it must not spin")
}

func TestShortWritesArePutTogether(t *testing.T) {
	d := &fakeDevice{}
	d.onWrite = func(p []byte) (int, error) { return min(3, len(p)), nil }
	p := newPort("fake", d)
	require.NoError(t, p.Write([]byte("abcdefgh")))
	require.NoError(t, p.Write([]byte("ijkl")))
	require.NoError(t, p.Close())
	require.Equal(t, "abcdefghijkl", d.sent())
}

func TestWriteCopiesWhatItIsGiven(t *testing.T) {
	d := &fakeDevice{}
	p := newPort("fake", d)
	b := []byte("abc")
	require.NoError(t, p.Write(b))
	b[0] = 'x'
	require.NoError(t, p.Close())
	require.Equal(t, "abc", d.sent())
}

func TestWriteErrorMeansGone(t *testing.T) {
	p := newPort("fake", &fakeDevice{onWrite: func([]byte) (int, error) { return 0, errFault }})
	defer p.Close()
	require.NoError(t, p.Write([]byte("a")))
	_, err := p.Read(make([]byte, 4), time.Second)
	require.ErrorIs(t, err, link.Gone)
	require.ErrorIs(t, err, errFault)
	require.ErrorIs(t, p.Write([]byte("b")), link.Gone)
}

func TestPanicInTheWriterIsReported(t *testing.T) {
	p := newPort("fake", &fakeDevice{onWrite: func([]byte) (int, error) { panic("invented") }})
	require.NoError(t, p.Write([]byte("a")))
	_, err := p.Read(make([]byte, 4), time.Second)
	require.ErrorIs(t, err, link.Broken)
	require.NoError(t, p.Close())
}

// An urgent frame cuts the one under way, and the next begins cleanly.
func TestUrgentCutsAFrame(t *testing.T) {
	d := &fakeDevice{}
	started := make(chan struct{})
	var once sync.Once
	stuck := true
	d.onWrite = func(p []byte) (int, error) { // runs on the writing goroutine alone
		once.Do(func() { close(started) })
		if stuck && string(p) == "frame" {
			return 2, nil
		}
		if stuck && string(p) == "ame" {
			time.Sleep(time.Millisecond)
			return 0, nil
		}
		return len(p), nil
	}
	p := newPort("fake", d)
	require.NoError(t, p.Write([]byte("frame")))
	require.NoError(t, p.Write([]byte("behind")))
	<-started
	require.NoError(t, p.WriteUrgent([]byte("stop")))
	require.NoError(t, p.Write([]byte("next")))
	require.NoError(t, p.Close())
	require.Equal(t, "fr\x00stopnext", d.sent())
	require.NotZero(t, d.discarded, "what the line holds must not go out before the stop")
}

func TestCloseThatHangs(t *testing.T) {
	release := make(chan struct{})
	defer close(release)
	p := newPort("fake", &fakeDevice{onClose: func() error { <-release; return nil }})
	began := time.Now()
	require.ErrorIs(t, p.Close(), link.Stalled)
	require.Less(t, time.Since(began), closeLimit+500*time.Millisecond)
}

func TestCloseThatPanicsOrFails(t *testing.T) {
	p := newPort("fake", &fakeDevice{onClose: func() error { panic("invented") }})
	require.ErrorIs(t, p.Close(), link.Gone)
	p = newPort("fake", &fakeDevice{onClose: func() error { return errFault }})
	require.ErrorIs(t, p.Close(), errFault)
}

func TestAQueueThatIsNotTakenIsStalled(t *testing.T) {
	d := &fakeDevice{onWrite: func([]byte) (int, error) { time.Sleep(time.Millisecond); return 0, nil }}
	p := newPort("fake", d)
	defer p.Close()
	var err error
	for n := 0; n <= queueLimit+1 && err == nil; n++ {
		err = p.Write([]byte("a"))
	}
	require.ErrorIs(t, err, link.Stalled)
}
