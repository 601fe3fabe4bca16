package virtual

import (
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Flat out, a read that finds nothing takes exactly its time.
func TestFlatOutReadTakesItsTime(t *testing.T) {
	conn := Dial(newRig(t, "trolley", Options{}), FlatOut)
	assert.Zero(t, conn.Now())
	for _, wait := range []time.Duration{time.Millisecond, 20 * time.Millisecond, 3 * time.Second} {
		before, wall := conn.Now(), time.Now()
		n, err := conn.Read(make([]byte, 64), wait)
		require.NoError(t, err)
		require.Zero(t, n)
		assert.Equal(t, wait, conn.Now()-before)
		assert.Less(t, time.Since(wall), time.Second)
	}
	before := conn.Now()
	require.NoError(t, conn.Write([]byte{0}))
	time.Sleep(5 * time.Millisecond)
	assert.Equal(t, before, conn.Now(), "no time passes but in Read")
	n, err := conn.Read(make([]byte, 64), -time.Second)
	require.NoError(t, err)
	assert.Zero(t, n)
	assert.Equal(t, before, conn.Now())
}

// At a pace time passes with the wall's, read or not.
func TestPacedTimeFollowsTheWall(t *testing.T) {
	const pace = 20
	conn := Dial(newRig(t, "trolley", Options{}), pace)
	begun := time.Now()
	time.Sleep(50 * time.Millisecond)
	_, err := conn.Read(make([]byte, 64), 2*time.Second)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, conn.Now(), 2*time.Second)
	least := time.Since(begun)
	time.Sleep(20 * time.Millisecond)
	held := conn.Now()
	assert.Less(t, held, pace*time.Since(begun)-200*time.Millisecond, "faster than real, time stands while nobody reads")
	for range 100 {
		_, err = conn.Read(make([]byte, 64), 0) // each time a piece of what it is behind
		require.NoError(t, err)
	}
	now := conn.Now()
	assert.GreaterOrEqual(t, now, pace*least-time.Millisecond)
	assert.LessOrEqual(t, now, pace*time.Since(begun)+time.Millisecond)
}

// After a long pause, as when the computer slept, what is too much is left out.
func TestLongPauseIsLeftOut(t *testing.T) {
	p := newPacer(RealTime, 0)
	p.wall = p.wall.Add(-time.Hour)
	assert.EqualValues(t, leastLag, p.behind(0))
	assert.InDelta(t, leastLag, p.behind(0), 100_000)
	p = newPacer(100, 0)
	p.wall = p.wall.Add(-100 * time.Millisecond)
	assert.InDelta(t, 10_000_000, p.behind(0), 3_000_000)
}

// One goroutine reads, others write, look at the clock and stop: as a live
// client does. Run under the race detector.
func TestSeveralGoroutinesAtOnce(t *testing.T) {
	rig := newRig(t, "trolley", Options{})
	conn := Dial(rig, 10)
	c := call(t, conn)
	c.greet()
	c.must(wire.SampleRate{Hz: 100})
	c.must(wire.Drive{Direction: bench.Forward})

	var all sync.WaitGroup
	done := make(chan struct{})
	all.Go(func() {
		beat, err := wire.Encode(nil, wire.Frame{Message: wire.Heartbeat{}})
		assert.NoError(t, err)
		for {
			select {
			case <-done:
				return
			case <-time.After(5 * time.Millisecond):
				assert.NoError(t, conn.Write(beat))
			}
		}
	})
	all.Go(func() {
		for last := conn.Now(); ; {
			select {
			case <-done:
				return
			default:
			}
			now := conn.Now()
			assert.GreaterOrEqual(t, now, last)
			last = now
			time.Sleep(100 * time.Microsecond)
		}
	})
	c.other = nil
	for end := time.Now().Add(200 * time.Millisecond); time.Now().Before(end); {
		c.read(50 * time.Millisecond)
	}
	close(done)
	all.Wait()
	conn.Do(func(r *Rig) {
		state, _ := r.Controller().State()
		assert.Equal(t, bench.Moving, state)
	})
	assert.Greater(t, len(c.samples()), 100, "2 s at 100 a second")
}

func TestCloseFreesARead(t *testing.T) {
	conn := Dial(newRig(t, "trolley", Options{}), RealTime)
	freed := make(chan error, 1)
	go func() {
		_, err := conn.Read(make([]byte, 8), time.Minute)
		freed <- err
	}()
	time.Sleep(20 * time.Millisecond)
	require.NoError(t, conn.Close())
	select {
	case err := <-freed:
		require.ErrorIs(t, err, link.Closed)
	case <-time.After(time.Second):
		t.Fatal("the read still waits")
	}
}

// The figure of merit is virtual seconds a second, with one axis and 100 samples
// a second through the Conn.
func BenchmarkFlatOut(b *testing.B) {
	for _, name := range []string{"trolley", "lift"} {
		b.Run(name, func(b *testing.B) {
			rig := newRig(b, name, Options{Seed: 1})
			conn := Dial(rig, FlatOut)
			c := call(b, conn)
			c.greet()
			c.must(wire.SampleRate{Hz: 100})
			c.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 15900}}})
			c.must(wire.Drive{Direction: bench.Forward})
			begun := conn.Now()
			for b.Loop() {
				c.stay(time.Second)
				c.other = c.other[:0]
			}
			b.ReportMetric((conn.Now()-begun).Seconds()/b.Elapsed().Seconds(), "virtual-s/s")
		})
	}
}
