package client

import (
	"context"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// stopIsOut is how soon a stop must be on the wire.
const stopIsOut = 10 * time.Millisecond

func TestArmStopClearPark(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{}, Options{})
	require.Equal(t, bench.Safe, c.State().State)
	require.NoError(t, c.Arm(background))
	require.Equal(t, bench.Armed, c.State().State)
	_, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	require.Equal(t, bench.Moving, c.State().State)
	require.NoError(t, c.Stop())
	require.Equal(t, bench.Stopped, c.State().State)
	require.Equal(t, bench.CauseHost, c.State().Cause)
	require.NoError(t, c.Stop(), "twice")
	require.NoError(t, c.Clear(background))
	require.Equal(t, bench.Safe, c.State().State)
	require.NoError(t, c.Park())
	require.NoError(t, c.Park(), "twice")
}

// A request waits in vain for its answer; the stop does not wait for it.
func TestStopOvertakesARequest(t *testing.T) {
	c, s := live(t, linktest.ScriptOptions{Answer: lose(wire.TypeTilt)}, Options{})
	require.NoError(t, c.Arm(background))
	first, second := make(chan error, 1), make(chan error, 1)
	go func() { _, err := c.Tilt(background, bench.Tilt{Pulse: 1500}); first <- err }()
	require.Eventually(t, func() bool { return len(frames(s, wire.TypeTilt)) > 0 }, time.Second, time.Millisecond)
	go func() { _, err := c.Tilt(background, bench.Tilt{Pulse: 1600}); second <- err }()
	time.Sleep(5 * time.Millisecond)

	asked := s.Now()
	require.NoError(t, c.Stop())
	stop := frames(s, wire.TypeStop)
	require.NotEmpty(t, stop)
	require.Less(t, stop[0].At-asked, stopIsOut)
	for _, waiting := range []chan error{first, second} {
		var stopped *bench.StoppedError
		require.ErrorAs(t, <-waiting, &stopped)
	}
	time.Sleep(150 * time.Millisecond)
	require.Len(t, frames(s, wire.TypeTilt), 1, "and what it overtook is never sent again")
}

func TestStopEndsAWatch(t *testing.T) {
	c, _ := live(t, linktest.ScriptOptions{}, Options{})
	ended := make(chan error, 1)
	go func() { _, err := c.Watch(background, bench.Until{Span: time.Hour}); ended <- err }()
	time.Sleep(20 * time.Millisecond)
	require.NoError(t, c.Stop())
	var stopped *bench.StoppedError
	require.ErrorAs(t, <-ended, &stopped)
	require.Equal(t, bench.CauseHost, stopped.Cause)
}

// In a synchronous client another goroutine is reading when the stop comes.
func TestStopFromAnotherGoroutineOfASynchronousClient(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{RealTime: true}, Options{})
	ended := make(chan error, 1)
	go func() { _, err := c.Watch(background, bench.Until{Span: time.Hour}); ended <- err }()
	time.Sleep(20 * time.Millisecond)
	asked := s.Now()
	require.NoError(t, c.Stop())
	require.Less(t, frames(s, wire.TypeStop)[0].At-asked, stopIsOut)
	var stopped *bench.StoppedError
	require.ErrorAs(t, <-ended, &stopped)
}

// blocking is a connection that breaks its promise: Write blocks.
type blocking struct {
	*linktest.Script
	mu   sync.Mutex
	gate chan struct{} // not nil: Write waits for it
}

func (b *blocking) block(gate chan struct{}) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.gate = gate
}

func (b *blocking) Write(p []byte) error {
	b.mu.Lock()
	gate := b.gate
	b.mu.Unlock()
	if gate != nil {
		<-gate
	}
	return b.Script.Write(p)
}

// urgently is one that has a way around.
type urgently struct{ blocking }

func (u *urgently) WriteUrgent(p []byte) error { return u.Script.Write(p) }

func TestStopWhileAWriteIsStalled(t *testing.T) {
	conn := &urgently{blocking{Script: linktest.NewScript(linktest.ScriptOptions{RealTime: true})}}
	c, err := Dial(conn, Options{})
	require.NoError(t, err)
	gate := make(chan struct{})
	conn.block(gate)
	go c.Tilt(background, bench.Tilt{Pulse: 1500})
	time.Sleep(20 * time.Millisecond)
	asked := conn.Now()
	returned := make(chan error, 1)
	go func() { returned <- c.Stop() }()
	require.Eventually(t, func() bool { return len(frames(conn.Script, wire.TypeStop)) > 0 }, time.Second, time.Millisecond)
	require.Less(t, frames(conn.Script, wire.TypeStop)[0].At-asked, stopIsOut)
	select {
	case <-returned:
	case <-time.After(stopLimit + 500*time.Millisecond):
		t.Fatal("Stop must return on its own deadline")
	}
	close(gate)
	require.NoError(t, c.Close())
}

func TestStopWhileEveryWriteBlocks(t *testing.T) {
	conn := &blocking{Script: linktest.NewScript(linktest.ScriptOptions{RealTime: true})}
	c, err := Dial(conn, Options{})
	require.NoError(t, err)
	gate := make(chan struct{})
	conn.block(gate)
	began := time.Now()
	var silent *bench.SilentError
	require.ErrorAs(t, c.Stop(), &silent)
	require.Less(t, time.Since(began), stopLimit+500*time.Millisecond)
	close(gate)
	require.NoError(t, c.Close())
}

func TestStopIsRepeatedUntilAcknowledged(t *testing.T) {
	lost := 0
	c, s := synchronous(t, linktest.ScriptOptions{Answer: func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if f.Message.Type() == wire.TypeStop && lost < 5 {
			lost++
			return nil
		}
		return usual
	}}, Options{})
	require.NoError(t, c.Stop())
	sent := frames(s, wire.TypeStop)
	require.Len(t, sent, 6)
	require.InDelta(t, 0.1, (sent[5].At - sent[0].At).Seconds(), 0.03)

	s.SetDeaf(true)
	began := s.Now()
	var silent *bench.SilentError
	require.ErrorAs(t, c.Stop(), &silent)
	require.InDelta(t, 0.5, (s.Now() - began).Seconds(), 0.05)
}

// Two goroutines stop at once, and both are told.
func TestStopTwiceAtOnce(t *testing.T) {
	c, _ := live(t, linktest.ScriptOptions{}, Options{})
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() {
			if err := c.Stop(); err != nil {
				t.Errorf("stop: %v", err)
			}
		})
	}
	wait.Wait()
	require.Equal(t, bench.Stopped, c.State().State)
}

func TestParkGoesBeforeWhatWaits(t *testing.T) {
	c, s := live(t, linktest.ScriptOptions{Latency: 30 * time.Millisecond}, Options{})
	ctx, cancel := context.WithCancel(background)
	defer cancel()
	for range 5 {
		go c.Tilt(ctx, bench.Tilt{Pulse: 1500})
	}
	require.Eventually(t, func() bool { return len(frames(s, wire.TypeTilt)) > 0 }, time.Second, time.Millisecond)
	time.Sleep(5 * time.Millisecond)
	require.NoError(t, c.Park())
	before := 0
	for _, r := range s.Received() {
		if r.Frame.Message.Type() == wire.TypePark {
			break
		}
		if r.Frame.Message.Type() == wire.TypeTilt {
			before++
		}
	}
	require.Equal(t, 1, before, "only the one that was under way")
}

// A cancelled procedure parks all the same.
func TestParkHasItsOwnDeadline(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	ctx, cancel := context.WithCancel(background)
	cancel()
	_, err := c.Watch(ctx, bench.Until{Span: time.Second})
	require.ErrorIs(t, err, context.Canceled)
	require.NoError(t, c.Park())
	s.SetDeaf(true)
	began := s.Now()
	var silent *bench.SilentError
	require.ErrorAs(t, c.Park(), &silent)
	require.Less(t, s.Now()-began, parkLimit)
}

// The protocol wants the rig left so that silence finds nothing to stop.
func TestCloseLeavesTheRigAtRest(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	require.NoError(t, c.SetNeutral(background, 0, 1500))
	require.NoError(t, c.Arm(background))
	_, err := c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1500}, bench.Tilt{Axis: 1, Pulse: 1600})
	require.NoError(t, err)
	require.NoError(t, c.Close())
	require.Len(t, s.Served(wire.TypePark), 1)
	tilts := s.Served(wire.TypeTilt)
	require.Equal(t, wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 1}, {Axis: 2}}}, tilts[len(tilts)-1].Frame.Message)
	require.NoError(t, c.Close(), "twice")
	require.ErrorIs(t, c.Arm(background), link.Closed)
}

func TestCloseOfAStoppedRigLeavesItAlone(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	require.NoError(t, c.Stop())
	before := len(s.Received())
	require.NoError(t, c.Close())
	require.Len(t, s.Received(), before)
}

func TestObserverGetsEverySampleOnceAndInOrder(t *testing.T) {
	var got []bench.Sample
	c, _ := live(t, linktest.ScriptOptions{Sample: turning}, Options{OnSample: func(s bench.Sample) { got = append(got, s) }})
	trace, err := c.Watch(background, bench.Until{Span: 300 * time.Millisecond})
	require.NoError(t, err)
	require.NoError(t, c.Close())
	for i := 1; i < len(got); i++ {
		require.Equal(t, got[i-1].Sequence+1, got[i].Sequence)
	}
	require.EqualValues(t, c.State().Stats.Samples, len(got), "Close hands over the last of them")
	require.Equal(t, trace.Last(), got[trace.Last().Sequence-got[0].Sequence])
}

// A disk that stalls must not stop the rig for want of heartbeats.
func TestSlowObserverDelaysNothing(t *testing.T) {
	slow := make(chan struct{})
	c, s := live(t, linktest.ScriptOptions{}, Options{OnSample: func(bench.Sample) { <-slow }})
	time.Sleep(450 * time.Millisecond)
	_, err := c.Tilt(background, bench.Tilt{Pulse: 1500})
	require.NoError(t, err)
	all := s.Received()
	for i := 1; i < len(all); i++ {
		require.Less(t, all[i].At-all[i-1].At, 250*time.Millisecond)
	}
	close(slow)
	require.NoError(t, c.Close())
}

func TestObserverThatFallsFarBehind(t *testing.T) {
	gate := make(chan struct{})
	o := newObserver(func(bench.Sample) { <-gate }, 10, func(any) {})
	go o.run()
	require.True(t, o.add(make([]bench.Sample, 10)))
	require.False(t, o.add(make([]bench.Sample, 20)))
	close(gate)
	require.True(t, o.close(nil))
}

func TestPanicInTheObserverStopsTheRig(t *testing.T) {
	for name, synchronously := range map[string]bool{"live": false, "synchronous": true} {
		t.Run(name, func(t *testing.T) {
			s := linktest.NewScript(linktest.ScriptOptions{RealTime: true})
			n := 0
			c, err := Dial(s, Options{Synchronous: synchronously, OnSample: func(bench.Sample) {
				if n++; n == 5 {
					panic("invented")
				}
			}})
			require.NoError(t, err)
			_, err = c.Watch(background, bench.Until{Span: 10 * time.Second})
			require.ErrorIs(t, err, link.Broken)
			var p *PanicError
			require.ErrorAs(t, err, &p)
			require.Equal(t, "invented", p.Value)
			require.NotEmpty(t, p.Stack)
			require.Eventually(t, func() bool { return len(s.Served(wire.TypeStop)) == 1 }, time.Second, time.Millisecond)
			require.ErrorIs(t, c.State().Failure, link.Broken)
			require.NoError(t, c.Close())
		})
	}
}

func TestCloseLeavesNoGoroutine(t *testing.T) {
	before := runtime.NumGoroutine()
	for range 10 {
		s := linktest.NewScript(linktest.ScriptOptions{RealTime: true})
		c, err := Dial(s, Options{OnSample: func(bench.Sample) {}})
		require.NoError(t, err)
		_, err = c.Watch(background, bench.Until{Span: 20 * time.Millisecond})
		require.NoError(t, err)
		require.NoError(t, c.Close())
	}
	for began := time.Now(); runtime.NumGoroutine() > before; time.Sleep(time.Millisecond) {
		require.Less(t, time.Since(began), 2*time.Second, "goroutines were left behind")
	}
}

// Everything at once, for the race detector.
func TestManyGoroutines(t *testing.T) {
	c, s := live(t, linktest.ScriptOptions{Sample: turning}, Options{OnSample: func(bench.Sample) {}})
	var wait sync.WaitGroup
	for range 3 {
		wait.Go(func() {
			for range 10 {
				c.Tilt(background, bench.Tilt{Pulse: 1500})
				c.Watch(background, bench.Until{Span: 10 * time.Millisecond})
				c.Guard(background)
				c.State()
			}
		})
	}
	wait.Go(func() {
		for range 5 {
			time.Sleep(20 * time.Millisecond)
			c.Stop()
			c.Clear(background)
			s.SetFlags(bench.GuardHit)
			c.Park()
			s.SetFlags(0)
		}
	})
	wait.Wait()
	require.NoError(t, c.State().Failure)
}
