package client

import (
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link/virtual"
	"trunnion/link/virtual/controller"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// stand is an invented machine of plain kinematics: the shaft turns at 5 turns
// of 2400 counts a second, and each of two outputs at (pulse - 1500 us)/400 us
// of that, but for a dead band of 30 us either way. It notes what is done to it.
type stand struct {
	now    int64 // us
	drive  int
	pulses [2]float64
	counts [3]float64 // shaft, then outputs
	deeds  []deed
}

// deed is a change of a pulse or, with axis -1, of the drive.
type deed struct {
	at    int64
	axis  int
	value float64
}

const shaftRate = 5 * 2400 // counts a second

func (s *stand) Now() int64 { return s.now }

func (s *stand) Advance(micros int64) {
	s.now += micros
	turned := float64(s.drive) * shaftRate * float64(micros) / 1e6
	s.counts[0] += turned
	for i, p := range s.pulses {
		if off := p - 1500; p > 0 && math.Abs(off) > 30 {
			s.counts[1+i] += turned * off / 400
		}
	}
}

func (s *stand) SetPulse(axis int, micros float64) {
	if s.pulses[axis] != micros {
		s.pulses[axis] = micros
		s.deeds = append(s.deeds, deed{s.now, axis, micros})
	}
}

func (s *stand) SetDrive(direction int) {
	if s.drive != direction {
		s.drive = direction
		s.deeds = append(s.deeds, deed{s.now, -1, float64(direction)})
	}
}

func (s *stand) Counter(i int) (count, lastEdge int64) { return int64(math.Floor(s.counts[i])), 0 }

// done are the deeds to an axis.
func (s *stand) done(axis int) []deed {
	return slices.DeleteFunc(slices.Clone(s.deeds), func(d deed) bool { return d.axis != axis })
}

// onStand connects to a controller in software that drives a stand.
func onStand(t *testing.T, pace virtual.Pace, o Options) (*Client, *virtual.Conn, *stand) {
	t.Helper()
	conn, s := newStand(t, pace)
	o.Synchronous = pace == virtual.FlatOut
	c, err := Dial(conn, o)
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	return c, conn, s
}

func newStand(t *testing.T, pace virtual.Pace) (*virtual.Conn, *stand) {
	t.Helper()
	s := &stand{}
	counter := wire.CounterDescription{CountsPerTurn: 2400, MostEdgeRate: 40000}
	rig, err := virtual.Wire(s, controller.Config{
		Identity: wire.Identity{
			Axes: 2, LeastTenths: 5000, MostTenths: 25000, FrameMicros: 20000, MostSampleHz: 200,
			MostTablePoints: wire.MostTable, MostBaud: 250000, Name: "stand",
		},
		Counters: []wire.CounterDescription{counter, counter, counter},
	}, virtual.Options{})
	require.NoError(t, err)
	return virtual.Dial(rig, pace), s
}

// setUp gives both axes a neutral pulse, and arms.
func setUp(t *testing.T, c *Client) {
	t.Helper()
	for axis := range 2 {
		require.NoError(t, c.SetNeutral(background, axis, 1500))
	}
	require.NoError(t, c.Arm(background))
	_, err := c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1500}, bench.Tilt{Axis: 1, Pulse: 1500})
	require.NoError(t, err)
}

// The course of a reading, as a procedure takes it.
func TestReadingOnTheStand(t *testing.T) {
	c, _, s := onStand(t, virtual.FlatOut, Options{Fresh: true})
	setUp(t, c)
	tilted, err := c.Tilt(background, bench.Tilt{Axis: 1, Pulse: 1600})
	require.NoError(t, err)
	on, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	trace, err := c.Watch(background, bench.Until{From: on, Counter: 0, Counts: 10 * 2400})
	require.NoError(t, err)
	require.GreaterOrEqual(t, trace[0].At, on)
	require.InDelta(t, 10*2400, float64(trace.Delta(0)), 130, "at most a sample more")
	last := trace.Last()
	require.Equal(t, units.Pulse(1600), last.Axes[1].Pulse)
	require.InDelta(t, tilted.Seconds(), last.Axes[1].Since.Seconds(), 2.3e-4, "an age beyond 33 ms is told to 256 us, the ack to 0.1 ms")
	require.True(t, last.Has(bench.DriveOn|bench.NeutralKnown))

	after := trace.After(tilted + 20000)
	require.InDelta(t, 0.25, float64(after.Delta(2))/float64(after.Delta(0)), 1e-3)
	require.Zero(t, after.Delta(1))
	require.InDelta(t, float64(s.done(-1)[0].at)/1e6, on.Seconds(), 0.001)

	off, err := c.Drive(background, bench.Off)
	require.NoError(t, err)
	trace, err = c.Watch(background, bench.Until{From: off + 1000, Span: 100 * time.Millisecond})
	require.NoError(t, err)
	require.Zero(t, trace.Delta(0))
}

func TestGuardOnTheStand(t *testing.T) {
	c, _, s := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	require.NoError(t, c.Guard(background, bench.Guard{Counter: 0, Counts: 2400}))
	on, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	trace, err := c.Watch(background, bench.Until{From: on, Span: 5 * time.Second})
	var tripped *bench.GuardTripped
	require.ErrorAs(t, err, &tripped)
	require.InDelta(t, 0.2, tripped.At.Sub(on).Seconds(), 0.011, "at 12000 counts a second, and the next sample")
	require.InDelta(t, 2400, s.counts[0], 2*12+1, "examined every 2 ms")
	require.Equal(t, bench.Armed, trace.Last().State)
	_, err = c.Drive(background, bench.Forward)
	var refused *bench.RefusedError
	require.ErrorAs(t, err, &refused)
	require.Equal(t, bench.ReasonGuardHit, refused.Reason)
	require.NoError(t, c.Guard(background, bench.Guard{Time: 300 * time.Millisecond}))
	on, err = c.Drive(background, bench.Forward)
	require.NoError(t, err)
	_, err = c.Watch(background, bench.Until{From: on, Span: 5 * time.Second})
	require.ErrorAs(t, err, &tripped)
	require.InDelta(t, 0.3, tripped.At.Sub(on).Seconds(), 0.013)
}

func TestTravelLimitOnTheStand(t *testing.T) {
	c, _, _ := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	require.NoError(t, c.SetTravelLimits(background, bench.TravelLimit{Weights: []float64{0, 1}, Least: -500, Most: 500}))
	_, err := c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1300})
	require.NoError(t, err)
	_, err = c.Drive(background, bench.Forward)
	require.NoError(t, err)
	_, err = c.Watch(background, bench.Until{Span: 5 * time.Second})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseTravel, stopped.Cause)
	_, err = c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1700})
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseTravel, stopped.Cause)
	require.NoError(t, c.Clear(background))
	require.NoError(t, c.SetDatum(background, 1, 0))
	trace, err := c.Watch(background, bench.Until{Span: 20 * time.Millisecond})
	require.NoError(t, err)
	require.Zero(t, trace[0].Counters[1].Count)
}

func TestStopOnTheStand(t *testing.T) {
	c, conn, s := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	_, err := c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1700})
	require.NoError(t, err)
	_, err = c.Drive(background, bench.Forward)
	require.NoError(t, err)
	spend(t, c, 100*time.Millisecond)
	asked := conn.Now()
	require.NoError(t, c.Stop())
	off := s.done(-1)
	require.Zero(t, off[len(off)-1].value)
	require.InDelta(t, asked.Seconds(), float64(off[len(off)-1].at)/1e6, 0.004, "the bytes take 0.8 ms at 115200")
	trace, _ := c.Watch(background, bench.Until{Span: time.Second})
	require.Empty(t, trace)
	spend(t, c, 50*time.Millisecond)
	require.Equal(t, 1500.0, s.pulses[0])
}

// A synchronous client that is not used is a program that hangs: the
// controller's watchdog stops the rig, and the client is told.
func TestWatchdogOnTheStand(t *testing.T) {
	c, conn, s := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	_, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	conn.Do(func(r *virtual.Rig) { r.Advance(400_000) })
	require.Zero(t, s.drive)
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseSilence, stopped.Cause)
}

func TestRestartOnTheStand(t *testing.T) {
	c, conn, _ := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	conn.Do((*virtual.Rig).Restart)
	began := conn.Now()
	_, err := c.Watch(background, bench.Until{Span: 5 * time.Second})
	var restarted *bench.RestartedError
	require.ErrorAs(t, err, &restarted)
	require.Less(t, conn.Now()-began, 300*time.Millisecond, "0.1 s to start and a heartbeat")
}

func TestFrozenControllerOnTheStand(t *testing.T) {
	c, conn, _ := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	conn.Do(func(r *virtual.Rig) { r.Freeze(true) })
	_, err := c.Watch(background, bench.Until{Span: 5 * time.Second})
	var silent *bench.SilentError
	require.ErrorAs(t, err, &silent)
	require.ErrorAs(t, c.Park(), &silent)
	require.ErrorAs(t, c.Stop(), &silent)
}

// The line is cut for longer than the controller's patience with samples and
// line rate; when it is mended everything comes back but the motion.
func TestCutLineOnTheStand(t *testing.T) {
	c, conn, s := onStand(t, virtual.FlatOut, Options{LineRate: 250000, SampleRate: 200})
	require.Equal(t, 250000, c.State().Stats.LineRate)
	setUp(t, c)
	_, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	conn.Do(func(r *virtual.Rig) { r.Cut(true) })
	_, err = c.Watch(background, bench.Until{Span: 5 * time.Second})
	var silent *bench.SilentError
	require.ErrorAs(t, err, &silent)
	require.Zero(t, s.drive)
	spend(t, c, 3*time.Second)
	conn.Do(func(r *virtual.Rig) { r.Cut(false) })
	spend(t, c, 1500*time.Millisecond)
	_, err = c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseSilence, stopped.Cause)
	require.NoError(t, c.Clear(background))
	trace, err := c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
	require.Len(t, trace, 21)
}

// After a proper end the silence has nothing to stop.
func TestCloseOnTheStand(t *testing.T) {
	c, conn, s := onStand(t, virtual.FlatOut, Options{})
	require.NoError(t, c.SetNeutral(background, 0, 1500))
	require.NoError(t, c.SetPulseLimits(background, 0, bench.PulseLimits{Least: 900, Most: 2100, SlewPerSec: 500}))
	require.NoError(t, c.Arm(background))
	_, err := c.Tilt(background, bench.Tilt{Axis: 0, Pulse: 1800}, bench.Tilt{Axis: 1, Pulse: 1700})
	require.NoError(t, err)
	spend(t, c, time.Second)
	_, err = c.Drive(background, bench.Forward)
	require.NoError(t, err)
	require.NoError(t, c.Close())
	require.Zero(t, s.drive)
	require.Equal(t, [2]float64{1500, 0}, s.pulses, "it waited for the slew")
	conn.Do(func(r *virtual.Rig) {
		r.Advance(3_000_000)
		state, _ := r.Controller().State()
		require.Equal(t, bench.Safe, state)
	})
}

// Closed loops follow a streamed path.
func TestStreamOnTheStand(t *testing.T) {
	c, _, _ := onStand(t, virtual.FlatOut, Options{})
	setUp(t, c)
	loop := bench.Loop{
		Counter: 1,
		Table: []bench.TablePoint{
			{RatioQ13: -8192, PulseTenths: 11000}, {RatioQ13: -615, PulseTenths: 14690}, {RatioQ13: 615, PulseTenths: 15310}, {RatioQ13: 8192, PulseTenths: 19000},
		},
		Gains: bench.Gains{
			Kp: 0.0004, SetPointWeight: 1, FeedForward: 1. / shaftRate, RatioLeast: -1, RatioMost: 1, Period: 20 * time.Millisecond,
		},
	}
	require.NoError(t, c.LoadLoop(background, 0, loop))
	on, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	const speed, steps = 3000.0, 60
	var path []bench.TimedSetPoint
	begin := on.Add(200 * time.Millisecond)
	for i := range steps {
		t := time.Duration(i) * 50 * time.Millisecond
		path = append(path, bench.TimedSetPoint{At: begin.Add(t), SetPoint: bench.SetPoint{Value: speed * t.Seconds(), Rate: speed}})
	}
	path = append(path, bench.TimedSetPoint{At: begin.Add(steps * 50 * time.Millisecond), SetPoint: bench.SetPoint{Value: speed * steps * 0.05}})
	require.NoError(t, c.Stream(background, path...), "more than the queue holds")
	trace, err := c.Watch(background, bench.Until{From: begin, Span: 4500 * time.Millisecond})
	require.NoError(t, err)
	moving := trace.After(begin.Add(time.Second))
	half := moving[:100]
	require.InDelta(t, speed, float64(half.Delta(1))/half.Seconds(), 100)
	require.InDelta(t, speed*steps*0.05, float64(trace.Last().Counters[1].Count), 500)
	require.True(t, trace.Last().Axes[0].Closed)
	require.NoError(t, c.Release(background, 0))
}
