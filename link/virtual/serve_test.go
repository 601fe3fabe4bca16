package virtual

import (
	"errors"
	"io"
	"net"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// streamConn makes a link.Conn of a stream, as far as a caller needs one.
type streamConn struct {
	net.Conn
	begun time.Time
}

func (s *streamConn) Read(p []byte, wait time.Duration) (int, error) {
	_ = s.Conn.SetReadDeadline(time.Now().Add(wait))
	n, err := s.Conn.Read(p)
	if err != nil && errors.Is(err, os.ErrDeadlineExceeded) {
		return n, nil
	}
	return n, err
}

func (s *streamConn) Write(p []byte) error {
	_, err := s.Conn.Write(p)
	return err
}

func (s *streamConn) Now() time.Duration { return time.Since(s.begun) }

// serving plays a rig on one end of a pipe.
func serving(t *testing.T, rig *Rig, pace Pace) (near net.Conn, stop func() error) {
	near, far := net.Pipe()
	quit, ended := make(chan struct{}), make(chan error, 1)
	go func() { ended <- Serve(rig, far, pace, quit) }()
	stopped := false
	stop = func() error {
		if !stopped {
			stopped = true
			close(quit)
		}
		select {
		case err := <-ended:
			return err
		case <-time.After(2 * time.Second):
			return errors.New("Serve does not end")
		}
	}
	t.Cleanup(func() { near.Close(); far.Close() })
	return near, stop
}

func TestServeAnswersInRealTime(t *testing.T) {
	rig := newRig(t, "trolley", Options{Boot: 6})
	near, stop := serving(t, rig, RealTime)
	c := call(t, &streamConn{near, time.Now()})
	id := c.greet()
	assert.EqualValues(t, 6, id.Boot)
	c.must(wire.SampleRate{Hz: 100})
	c.must(wire.Drive{Direction: bench.Forward})
	c.other = nil
	c.stay(400 * time.Millisecond)
	assert.InDelta(t, 40, len(c.samples()), 12)
	require.NoError(t, stop())
	assert.InDelta(t, float64(time.Since(c.conn.(*streamConn).begun).Microseconds()), float64(rig.Now()), 100_000)
}

// A host that does not read holds nothing up: time goes on, the watchdog fires,
// and what finds no room is lost.
func TestServeDoesNotWaitForItsReader(t *testing.T) {
	rig := newRig(t, "lift", Options{})
	near, stop := serving(t, rig, 40)
	c := call(t, &streamConn{near, time.Now()})
	c.must(wire.Hello{Major: wire.Major, Token: 3})
	c.must(wire.SampleRate{Hz: 200})
	beat, err := wire.Encode(nil, wire.Frame{Message: wire.Heartbeat{}})
	require.NoError(t, err)
	for range 150 { // 0.45 s, or 18 s of the rig, in which it sends 176 kB
		_, err := near.Write(beat)
		require.NoError(t, err)
		time.Sleep(3 * time.Millisecond)
	}
	require.NoError(t, stop())
	assert.Greater(t, rig.Now(), int64(5_000_000))
	assert.Positive(t, rig.Lost())
}

func TestServeTellsWhenTheStreamEnds(t *testing.T) {
	near, stop := serving(t, newRig(t, "trolley", Options{}), RealTime)
	near.Close()
	time.Sleep(20 * time.Millisecond)
	assert.ErrorIs(t, stop(), io.EOF)
}

func TestServeNeedsAClock(t *testing.T) {
	assert.ErrorIs(t, Serve(nil, nil, FlatOut, nil), ErrFlatOut)
}

// stubborn is a stream that panics, or blocks for good.
type stubborn struct{ panics atomic.Bool }

func (s *stubborn) Read([]byte) (int, error) {
	if s.panics.Load() {
		panic("no cable")
	}
	select {}
}

func (s *stubborn) Write(p []byte) (int, error) { return len(p), nil }

func TestServeCatchesPanics(t *testing.T) {
	s := &stubborn{}
	s.panics.Store(true)
	err := Serve(newRig(t, "trolley", Options{}), s, RealTime, make(chan struct{}))
	var caught *PanicError
	require.ErrorAs(t, err, &caught)
	assert.Equal(t, "no cable", caught.Value)
}

func TestServeEndsThoughTheStreamBlocks(t *testing.T) {
	stop := make(chan struct{})
	close(stop)
	begun := time.Now()
	require.NoError(t, Serve(newRig(t, "trolley", Options{}), &stubborn{}, RealTime, stop))
	assert.Less(t, time.Since(begun), time.Second)
}
