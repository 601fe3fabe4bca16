package client

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link"
	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// A request without an answer goes out four times, 100 ms apart, with the same
// number; then the controller is silent.
func TestRequestIsRepeatedWithTheSameNumber(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Answer: lose(wire.TypeTilt)}, Options{})
	_, err := c.Tilt(background, bench.Tilt{Axis: 1, Pulse: 1500})
	var silent *bench.SilentError
	require.ErrorAs(t, err, &silent)
	require.Equal(t, "tilt", silent.Command)
	require.InDelta(t, 0.4, silent.Waited, 0.02)
	sent := frames(s, wire.TypeTilt)
	require.Len(t, sent, 4)
	for i, r := range sent {
		require.Equal(t, sent[0].Frame, r.Frame)
		require.InDelta(t, 0.1*float64(i), (r.At - sent[0].At).Seconds(), 0.012)
	}
	require.Len(t, s.Served(wire.TypeTilt), 1, "and moved once")
	require.EqualValues(t, 3, c.State().Stats.Repeats)
}

func TestLostAnswerIsAskedForAgain(t *testing.T) {
	lost := 0
	c, s := synchronous(t, linktest.ScriptOptions{Answer: func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if f.Message.Type() == wire.TypeDrive && lost < 2 {
			lost++
			return nil
		}
		return usual
	}}, Options{})
	require.NoError(t, c.Arm(background))
	at, err := c.Drive(background, bench.Forward)
	require.NoError(t, err)
	served := s.Served(wire.TypeDrive)
	require.Len(t, served, 1)
	require.InDelta(t, served[0].At.Seconds(), at.Seconds(), 1e-6, "the time is that of the deed, not of its repetition")
	_, err = c.Drive(background, bench.Off)
	require.NoError(t, err)
}

// A late answer to an earlier request must not pass for this one's.
func TestLateAnswerIsIgnored(t *testing.T) {
	var late []byte
	c, s := synchronous(t, linktest.ScriptOptions{Answer: func(_ time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if f.Message.Type() != wire.TypeTilt {
			return usual
		}
		late, _ = wire.Encode(nil, wire.Frame{Number: f.Number, Message: usual[0]})
		return nil
	}}, Options{})
	_, err := c.Tilt(background, bench.Tilt{Pulse: 1500})
	require.Error(t, err)
	s.Inject(late)
	s.Inject(late)
	_, err = c.Drive(background, bench.Off)
	require.NoError(t, err)
}

func TestRefusal(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Answer: refuse(wire.TypeTilt, bench.ReasonPulseLimit, 2)}, Options{})
	_, err := c.Tilt(background, bench.Tilt{Axis: 2, Pulse: 1500})
	var refused *bench.RefusedError
	require.ErrorAs(t, err, &refused)
	require.Equal(t, bench.RefusedError{Command: "tilt", Reason: bench.ReasonPulseLimit, Detail: 2}, *refused)
}

// A procedure asks whether the rig stopped; a refusal for that tells it too.
func TestRefusalBecauseStoppedIsBothErrors(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Answer: refuse(wire.TypeTilt, bench.ReasonStopped, int32(bench.CauseTravel))}, Options{})
	_, err := c.Tilt(background, bench.Tilt{Pulse: 1500})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseTravel, stopped.Cause)
	var refused *bench.RefusedError
	require.ErrorAs(t, err, &refused)
}

func TestContextEndsARequest(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Answer: lose(wire.TypeTilt)}, Options{})
	ctx, cancel := context.WithCancel(background)
	cancel()
	_, err := c.Tilt(ctx, bench.Tilt{Pulse: 1500})
	require.ErrorIs(t, err, context.Canceled)
	require.Empty(t, frames(s, wire.TypeTilt), "nothing is sent for a context that has ended")

	l, s := live(t, linktest.ScriptOptions{Answer: lose(wire.TypeTilt)}, Options{})
	ctx, cancel = context.WithTimeout(background, 50*time.Millisecond)
	defer cancel()
	_, err = l.Tilt(ctx, bench.Tilt{Pulse: 1500})
	require.ErrorIs(t, err, context.DeadlineExceeded)
	time.Sleep(150 * time.Millisecond)
	require.Len(t, frames(s, wire.TypeTilt), 1, "what was given up is never sent again")
}

// The controller stops after 300 ms without a frame.
func TestHeartbeatFillsEveryPause(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	spend(t, c, time.Second)
	for range 20 {
		_, err := c.Tilt(background, bench.Tilt{Pulse: 1500})
		require.NoError(t, err)
		spend(t, c, 70*time.Millisecond)
	}
	all := s.Received()
	for i := 1; i < len(all); i++ {
		require.LessOrEqual(t, all[i].At-all[i-1].At, heartbeat+2*time.Millisecond, "before %v", all[i].Frame)
	}
	beats := len(frames(s, wire.TypeHeartbeat))
	require.InDelta(t, 10, beats, 2, "and only where nothing else goes out")
}

func TestEveryCommandReachesTheWire(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	loop := bench.Loop{
		Counter: 2,
		Table:   []bench.TablePoint{{RatioQ13: -8192, PulseTenths: 11000}, {RatioQ13: 8192, PulseTenths: 19000}},
		Gains:   bench.Gains{Kp: 0.002, SetPointWeight: 1, RatioLeast: -1, RatioMost: 1, Period: 10 * time.Millisecond},
	}
	steps := []struct {
		want string // the frame, by PROTOCOL.md 11
		do   func() error
	}{
		{"arm number=6 token=7", func() error { return c.Arm(background) }},
		{"drive number=7 drive=1", func() error { _, err := c.Drive(background, bench.Forward); return err }},
		{"drive number=8 drive=0", func() error { _, err := c.Drive(background, bench.Off); return err }},
		{"select number=9 axis=2", func() error { _, err := c.Select(background, 2); return err }},
		{"tilt number=10 axis=1 pulse=15284 axis=2 pulse=14903", func() error {
			_, err := c.Tilt(background, bench.Tilt{Axis: 1, Pulse: 1528.4}, bench.Tilt{Axis: 2, Pulse: 1490.3})
			return err
		}},
		{"guards number=11 counter=2 counts=2400 time=1500", func() error {
			return c.Guard(background, bench.Guard{Counter: 2, Counts: 2400, Time: 1500 * time.Millisecond}, bench.Guard{Counter: 1})
		}},
		{"guards number=12", func() error { return c.Guard(background) }},
		{"pulse-limits number=13 axis=1 least=9000 most=21000 slew=400", func() error {
			return c.SetPulseLimits(background, 1, bench.PulseLimits{Least: 900, Most: 2100, SlewPerSec: 2000})
		}},
		{"neutral number=14 axis=1 pulse=15020", func() error { return c.SetNeutral(background, 1, 1502) }},
		{"neutral number=15 axis=1 pulse=0", func() error { return c.SetNeutral(background, 1, 0) }},
		{"travel-limits number=16 terms=2 counter=2 weight=128 counter=3 weight=-128 least=-900 most=900", func() error {
			return c.SetTravelLimits(background, bench.TravelLimit{Weights: []float64{0, 0, 0.5, -0.5}, Least: -900.5, Most: 900.5})
		}},
		{"datum number=17 counter=3 value=-40000", func() error { return c.SetDatum(background, 3, -40000) }},
		{"table number=18 axis=1 offset=0 total=2 ratio=-8192 pulse=11000 ratio=8192 pulse=19000", func() error {
			return c.LoadLoop(background, 1, loop)
		}},
		{"set-point number=20 axis=1 mode=0 value=384000 rate=-16", func() error {
			_, err := c.SetPoint(background, bench.SetPoint{Axis: 1, Value: 24000, Rate: -1})
			return err
		}},
		{"stream number=21 time=4294950000 axis=0 mode=0 value=1600 rate=0 axis=1 mode=1 value=160 rate=0", func() error {
			return c.Stream(background,
				bench.TimedSetPoint{At: 4294950000, SetPoint: bench.SetPoint{Value: 100}},
				bench.TimedSetPoint{At: 4294950000, SetPoint: bench.SetPoint{Axis: 1, Mode: bench.Speed, Value: 10}},
				bench.TimedSetPoint{At: 4294960000, SetPoint: bench.SetPoint{Value: 101}})
		}},
		{"release number=23 axis=1", func() error { return c.Release(background, 1) }},
		{"clear number=24", func() error { return c.Clear(background) }},
		{"park number=25", c.Park},
		{"stop number=26", c.Stop},
	}
	for _, step := range steps {
		before := len(s.Received())
		require.NoError(t, step.do(), step.want)
		var said []string
		for _, r := range s.Received()[before:] {
			if r.Frame.Message.Type() != wire.TypeHeartbeat {
				said = append(said, r.Frame.String())
			}
		}
		require.Equal(t, step.want, said[0])
	}
}

func TestWhatTheWireCannotCarryIsNotSent(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	before := len(s.Received())
	_, err := c.Tilt(background, bench.Tilt{Pulse: units.Pulse(math.NaN())})
	var outside *wire.RangeError
	require.ErrorAs(t, err, &outside)
	require.ErrorAs(t, c.SetDatum(background, 0, 1<<40), &outside)
	var malformed *wire.Malformed
	_, err = c.Tilt(background)
	require.ErrorAs(t, err, &malformed)
	_, err = c.Drive(background, bench.Direction(9))
	require.ErrorAs(t, err, &malformed)
	var misuse *MisuseError
	require.ErrorAs(t, c.Release(background, -1), &misuse)
	require.Len(t, s.Received(), before)
}

// The queue takes 3 messages and frees one every 60 ms.
func TestStreamWaitsForRoom(t *testing.T) {
	freed := time.Duration(0)
	queued := 0
	c, s := synchronous(t, linktest.ScriptOptions{Answer: func(at time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
		if f.Message.Type() != wire.TypeStream {
			return usual
		}
		if queued == 0 {
			freed = at
		}
		for at-freed >= 60*time.Millisecond {
			freed, queued = freed+60*time.Millisecond, queued-1
		}
		if queued >= 3 {
			return []wire.Message{wire.Refuse{Request: wire.TypeStream, Reason: bench.ReasonFull, Detail: 3}}
		}
		queued++
		return usual
	}}, Options{})
	var path []bench.TimedSetPoint
	for i := range 10 {
		path = append(path, bench.TimedSetPoint{At: units.Instant(1e6 + 60000*i), SetPoint: bench.SetPoint{Value: float64(i)}})
	}
	begun := s.Now()
	require.NoError(t, c.Stream(background, path...))
	require.InDelta(t, 0.42, (s.Now() - begun).Seconds(), 0.06)
	ctx, cancel := context.WithCancel(background)
	cancel()
	require.ErrorIs(t, c.Stream(ctx, path...), context.Canceled)
}

// Over a spoiled line each order is carried out once, and in its order.
func TestNothingMovesTwiceOverASpoiledLine(t *testing.T) {
	bad := linktest.Faults{Drop: 0.1, Repeat: 0.15, Corrupt: 0.08, Split: 0.3, Delay: 0.1, Most: 60 * time.Millisecond}
	for seed := uint64(1); seed <= 40; seed++ {
		t.Run(fmt.Sprintf("seed %d", seed), func(t *testing.T) {
			s := linktest.NewScript(linktest.ScriptOptions{Sample: turning})
			faulty := linktest.NewFaulty(s, seed, bad, bad)
			c, err := Dial(faulty, Options{Synchronous: true, Token: 7, BootWait: 20 * time.Second})
			if err != nil { // four sends can all be lost
				t.Skipf("the handshake failed on so bad a line: %v", err)
			}
			defer c.Close()
			var given []units.Pulse
			for i := range 60 {
				p := units.Pulse(1000 + i)
				given = append(given, p)
				_, err := c.Tilt(background, bench.Tilt{Pulse: p})
				var silent *bench.SilentError
				if err != nil {
					require.ErrorAs(t, err, &silent)
				}
			}
			last := -1
			for _, r := range s.Served(wire.TypeTilt) {
				p := units.PulseFromTenths(r.Frame.Message.(wire.Tilt).Pulses[0].PulseTenths)
				i := int(p - given[0])
				require.Greater(t, i, last, "carried out twice, or out of order")
				last = i
			}
			require.NotZero(t, faulty.Spoiled()["drop"])
		})
	}
}

func TestSynchronousRunsAreAlike(t *testing.T) {
	run := func() (bench.Trace, []linktest.Received, Stats) {
		s := linktest.NewScript(linktest.ScriptOptions{Sample: turning})
		bad := linktest.Faults{Drop: 0.05, Repeat: 0.05, Corrupt: 0.05, Split: 0.3, Delay: 0.1}
		c, err := Dial(linktest.NewFaulty(s, 5, bad, bad), Options{Synchronous: true, Token: 7})
		require.NoError(t, err)
		defer c.Close()
		for i := range 10 {
			_, err := c.Tilt(background, bench.Tilt{Pulse: units.Pulse(1000 + i)})
			require.NoError(t, err)
		}
		trace, err := c.Watch(background, bench.Until{Span: 2 * time.Second})
		require.NoError(t, err)
		return trace, s.Received(), c.State().Stats
	}
	trace1, frames1, stats1 := run()
	trace2, frames2, stats2 := run()
	require.Equal(t, trace1, trace2)
	require.Equal(t, frames1, frames2)
	require.Equal(t, stats1, stats2)
}

func TestLostConnectionEndsEverything(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	require.NoError(t, s.Close())
	_, err := c.Watch(background, bench.Until{Span: time.Second})
	require.ErrorIs(t, err, link.Closed)
	_, err = c.Tilt(background, bench.Tilt{Pulse: 1500})
	require.ErrorIs(t, err, link.Closed)
	require.ErrorIs(t, c.Park(), link.Closed)
	require.ErrorIs(t, c.Stop(), link.Closed)
	require.ErrorIs(t, c.State().Failure, link.Closed)
	select {
	case <-c.Done():
	default:
		t.Fatal("Done must be closed")
	}
}
