package client

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/virtual"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// spoil are the chances of faults, each way. With them a request in eight or so
// gets no answer at the first try.
var spoil = linktest.Faults{Drop: 0.03, Repeat: 0.1, Corrupt: 0.03, Split: 0.3, Delay: 0.1, Most: 60 * time.Millisecond}

// However frames are lost, repeated, broken and late, the servo sees each pulse
// once and in order, and the drive is switched as often as it was told to.
func TestNothingMovesTwiceOnTheStand(t *testing.T) {
	repeats, dropped, moved := uint64(0), 0, 0
	for seed := uint64(1); seed <= 30; seed++ {
		conn, s := newStand(t, virtual.FlatOut)
		faulty := linktest.NewFaulty(conn, seed, spoil, spoil)
		c, err := Dial(faulty, Options{Synchronous: true, BootWait: 20 * time.Second})
		require.NoError(t, err, "seed %d", seed)
		orders := courseOverSpoiledLine(t, c, fmt.Sprintf("seed %d", seed))
		last := 0.0
		for _, d := range s.done(0) {
			if d.value == 0 || d.value == 1500 {
				continue // let go, or parked
			}
			require.Greater(t, d.value, last, "seed %d: moved twice, or out of order", seed)
			last = d.value
			moved++
		}
		require.Less(t, len(s.done(-1)), orders+1, "seed %d: the drive was switched too often", seed)
		repeats += c.State().Stats.Repeats
		dropped += faulty.Spoiled()["drop"]
		require.NoError(t, c.Close())
	}
	t.Logf("%d tilts, %d requests repeated, %d frames dropped", moved, repeats, dropped)
	require.Greater(t, moved, 30*30, "most orders must get through")
	require.Greater(t, repeats, uint64(200), "the line was not bad enough to show anything")
}

// courseOverSpoiledLine tilts to ever longer pulses and switches the drive, and
// returns how often the drive may have been switched. When the rig stops, since
// heartbeats were lost too, it goes on.
func courseOverSpoiledLine(t *testing.T, c *Client, id string) (orders int) {
	t.Helper()
	pulse := units.Pulse(1510)
	for i := range 40 {
		state := c.State().State
		if state == bench.Stopped {
			_ = c.Clear(background)
			orders++ // the stop switched the drive off
		}
		if state != bench.Armed && state != bench.Moving {
			_ = c.Arm(background)
		}
		_, err := c.Tilt(background, bench.Tilt{Pulse: pulse})
		expectedOverSpoiledLine(t, err, id)
		pulse += 10
		_, err = c.Drive(background, bench.Direction((i+1)%2))
		expectedOverSpoiledLine(t, err, id)
		orders++
		_, err = c.Watch(background, bench.Until{Span: 50 * time.Millisecond})
		expectedOverSpoiledLine(t, err, id)
	}
	_ = c.Park()
	return orders + 2
}

// expectedOverSpoiledLine takes any error of package bench, and none other.
func expectedOverSpoiledLine(t *testing.T, err error, id string) {
	t.Helper()
	switch err.(type) {
	case nil, *bench.SilentError, *bench.StoppedError, *bench.RefusedError, *stoppedRefusal:
	default:
		t.Fatalf("%s: %T %v", id, err, err)
	}
}

func TestRunsOnTheStandAreAlike(t *testing.T) {
	run := func() ([]deed, Stats) {
		conn, s := newStand(t, virtual.FlatOut)
		c, err := Dial(linktest.NewFaulty(conn, 9, spoil, spoil), Options{Synchronous: true, BootWait: 20 * time.Second})
		require.NoError(t, err)
		courseOverSpoiledLine(t, c, "seed 9")
		require.NoError(t, c.Close())
		return s.deeds, c.State().Stats
	}
	deeds1, stats1 := run()
	deeds2, stats2 := run()
	require.Equal(t, deeds1, deeds2)
	require.Equal(t, stats1, stats2)
}

// A live client on virtual time that passes 20 times as fast as the wall's.
func TestLiveOnTheStand(t *testing.T) {
	var got []bench.Sample
	c, conn, _ := onStand(t, 20, Options{OnSample: func(s bench.Sample) { got = append(got, s) }})
	setUp(t, c)
	var wait sync.WaitGroup
	wait.Go(func() {
		for range 10 {
			c.State()
			time.Sleep(time.Millisecond)
		}
	})
	on, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	trace, err := c.Watch(background, bench.Until{From: on, Span: 2 * time.Second})
	require.NoError(t, err)
	require.Len(t, trace, 201)
	require.InDelta(t, 2*shaftRate, float64(trace.Delta(0)), 1)
	conn.Unplug()
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	require.ErrorIs(t, err, link.Gone)
	wait.Wait()
	require.NoError(t, c.Close())
	require.EqualValues(t, c.State().Stats.Samples, len(got))
}

func TestStopOnTheStandWhileAnotherWatches(t *testing.T) {
	c, conn, s := onStand(t, virtual.RealTime, Options{})
	setUp(t, c)
	_, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() { _, err := c.Watch(background, bench.Until{Span: time.Hour}); ended <- err }()
	time.Sleep(30 * time.Millisecond)
	asked := conn.Now()
	require.NoError(t, c.Stop())
	var stopped *bench.StoppedError
	require.ErrorAs(t, <-ended, &stopped)
	conn.Do(func(*virtual.Rig) {
		off := s.done(-1)
		require.Less(t, time.Duration(off[len(off)-1].at)*time.Microsecond-asked, stopIsOut)
	})
}
