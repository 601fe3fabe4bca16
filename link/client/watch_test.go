package client

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link/linktest"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

func TestWatchOfASpan(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	spend(t, c, 50*time.Millisecond)
	before := c.State().Sample
	trace, err := c.Watch(background, bench.Until{Span: 500 * time.Millisecond})
	require.NoError(t, err)
	require.Len(t, trace, 51, "both ends count")
	require.Equal(t, before.Sequence+1, trace[0].Sequence, "now is the next sample")
	require.InDelta(t, 0.5, trace.Seconds(), 1e-9)
	require.Equal(t, units.Counts(500), trace.Delta(0))
	require.Equal(t, units.Counts(-50), trace.Delta(1))
	for i := 1; i < len(trace); i++ {
		require.Equal(t, trace[i-1].Sequence+1, trace[i].Sequence)
	}
}

func TestWatchOfCountsGoesEitherWay(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	trace, err := c.Watch(background, bench.Until{Counter: 1, Counts: 20})
	require.NoError(t, err)
	require.Equal(t, units.Counts(-20), trace.Delta(1))
	require.Greater(t, trace[:len(trace)-1].Delta(1), units.Counts(-20), "and not one sample more")
}

func TestWatchOfAPredicate(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	seen := 0
	trace, err := c.Watch(background, bench.Until{Met: func(s bench.Sample) bool {
		seen++
		return s.Counters[0].Count >= 2000
	}})
	require.NoError(t, err)
	require.Equal(t, len(trace), seen, "asked once for each sample")
	require.GreaterOrEqual(t, trace.Last().Counters[0].Count, units.Counts(2000))
	require.Less(t, trace[len(trace)-2].Counters[0].Count, units.Counts(2000))
}

func TestWatchEndsWithTheFirstThatIsMet(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	trace, err := c.Watch(background, bench.Until{Span: 10 * time.Second, Counts: 300, Met: func(s bench.Sample) bool { return false }})
	require.NoError(t, err)
	require.Equal(t, units.Counts(300), trace.Delta(0))
}

func TestWatchFromThePast(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	whole, err := c.Watch(background, bench.Until{Span: 3 * time.Second})
	require.NoError(t, err)
	now := s.Now()
	for _, i := range []int{0, 17, 200} {
		trace, err := c.Watch(background, bench.Until{From: whole[i].At, Span: 500 * time.Millisecond})
		require.NoError(t, err)
		require.Equal(t, whole[i:i+51], trace)
	}
	trace, err := c.Watch(background, bench.Until{From: whole[17].At + 1, Span: 500 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, whole[18:18+51], trace, "the first one not before it")
	require.Equal(t, now, s.Now(), "nothing had to be waited for")
	trace, err = c.Watch(background, bench.Until{From: whole[280].At, Span: 500 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, whole[280:], trace[:21], "past and future join without a seam")
	require.Len(t, trace, 51)
}

func TestWatchFromTheFuture(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	trace, err := c.Watch(background, bench.Until{From: 2345678, Span: 100 * time.Millisecond})
	require.NoError(t, err)
	require.GreaterOrEqual(t, trace[0].At, units.Instant(2345678))
	require.Less(t, trace[0].At, units.Instant(2345678+10000))
	require.Len(t, trace, 11)
}

func TestWatchOfWhatIsForgotten(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{Keep: time.Second})
	trace, err := c.Watch(background, bench.Until{Span: 3 * time.Second})
	require.NoError(t, err)
	require.Len(t, trace, 301, "a watch itself may be as long as it likes")
	_, err = c.Watch(background, bench.Until{From: trace[100].At, Span: time.Second})
	var forgotten *ForgottenError
	require.ErrorAs(t, err, &forgotten)
	require.Equal(t, trace[100].At, forgotten.From)
	_, err = c.Watch(background, bench.Until{From: trace[220].At, Span: time.Second})
	require.NoError(t, err)
}

func TestWatchNotReached(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	never := func(bench.Sample) bool { return false }
	trace, err := c.Watch(background, bench.Until{Met: never, Limit: 2 * time.Second})
	var not *bench.NotReached
	require.ErrorAs(t, err, &not)
	require.InDelta(t, 2, not.Waited, 1e-9)
	require.Len(t, trace, 201)

	_, err = c.Watch(background, bench.Until{Counter: 3, Counts: 1})
	require.ErrorAs(t, err, &not)
	require.InDelta(t, 30, not.Waited, 1e-9, "by default")

	trace, err = c.Watch(background, bench.Until{Met: never, Span: 40 * time.Second})
	require.NoError(t, err, "a span alone bounds the wait")
	require.InDelta(t, 40, trace.Seconds(), 1e-9)
}

func TestWatchMisused(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{}, Options{})
	for _, u := range []bench.Until{{}, {From: 5}, {Counts: 5, Counter: 4}, {Counts: 5, Counter: -1}, {Span: -1}, {Counts: -1}, {Span: 1, Limit: -1}} {
		_, err := c.Watch(background, u)
		var misuse *MisuseError
		require.ErrorAs(t, err, &misuse, "%+v", u)
	}
}

func TestWatchEndsWithItsContext(t *testing.T) {
	c, _ := live(t, linktest.ScriptOptions{Sample: turning}, Options{})
	ctx, cancel := context.WithTimeout(background, 100*time.Millisecond)
	defer cancel()
	began := time.Now()
	trace, err := c.Watch(ctx, bench.Until{Span: time.Hour})
	require.ErrorIs(t, err, context.DeadlineExceeded)
	require.Less(t, time.Since(began), 500*time.Millisecond)
	require.Greater(t, len(trace), 3, "what was seen up to then")
	_, err = c.Watch(ctx, bench.Until{Span: time.Hour})
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

// at has a script do something at a time, which its samples bring about.
func at(when time.Duration, do func(*wire.Sample)) func(time.Duration, *wire.Sample) {
	return func(now time.Duration, s *wire.Sample) {
		turning(now, s)
		if now >= when {
			do(s)
		}
	}
}

func TestWatchOfARigThatStops(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: at(time.Second, func(s *wire.Sample) {
		s.State, s.Cause = bench.Stopped, bench.CauseTravel
	})}, Options{})
	trace, err := c.Watch(background, bench.Until{Span: 5 * time.Second})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseTravel, stopped.Cause)
	require.InDelta(t, 1, stopped.At.Seconds(), 0.0101)
	require.Equal(t, stopped.At, trace.Last().At)
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	require.ErrorAs(t, err, &stopped, "it is still stopped")
}

// A notice comes before the next sample.
func TestWatchEndsWithTheNoticeOfAStop(t *testing.T) {
	var script *linktest.Script
	c, s := live(t, linktest.ScriptOptions{}, Options{SampleRate: 2})
	script = s
	time.AfterFunc(30*time.Millisecond, func() { script.SetState(bench.Stopped, bench.CauseInput) })
	began := time.Now()
	_, err := c.Watch(background, bench.Until{Span: 5 * time.Second})
	var stopped *bench.StoppedError
	require.ErrorAs(t, err, &stopped)
	require.Equal(t, bench.CauseInput, stopped.Cause)
	require.Less(t, time.Since(began), 300*time.Millisecond)
	require.Equal(t, bench.Stopped, c.State().State)
}

// A sample that was under way when the stop was cleared must not end a Watch
// that begins after it.
func TestClearedStopDoesNotHaunt(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	require.NoError(t, c.Stop())
	require.NoError(t, c.Clear(background))
	require.Equal(t, bench.Safe, c.State().State)
	cleared := s.Served(wire.TypeClear)[0].At
	stale := wire.Sample{TimeMicros: uint32(cleared.Microseconds()) - 500, State: bench.Stopped, Cause: bench.CauseHost, Shape: linktest.UsualIdentity().Shape()}
	line, err := wire.Encode(nil, wire.Frame{Number: uint16(c.State().Sample.Sequence + 1), Message: stale})
	require.NoError(t, err)
	s.Inject(line)
	_, err = c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, bench.Safe, c.State().State)
}

func TestGuardThatTripsIsToldOnce(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	require.NoError(t, c.Guard(background, bench.Guard{Counts: 100}))
	_, err := c.Watch(background, bench.Until{Span: 100 * time.Millisecond})
	require.NoError(t, err)
	s.SetFlags(bench.GuardHit)
	trace, err := c.Watch(background, bench.Until{Span: time.Second})
	var tripped *bench.GuardTripped
	require.ErrorAs(t, err, &tripped)
	require.Equal(t, trace.Last().At, tripped.At)
	begin := trace[0].At
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	require.NoError(t, err, "so that the coasting can be watched")
	_, err = c.Watch(background, bench.Until{From: begin, Span: time.Second})
	require.NoError(t, err, "not even in the past")
}

func TestGuardThatTripsBetweenWatches(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	spend(t, c, 50*time.Millisecond)
	s.SetFlags(bench.GuardHit)
	spend(t, c, 200*time.Millisecond)
	_, err := c.Watch(background, bench.Until{Span: time.Second})
	var tripped *bench.GuardTripped
	require.ErrorAs(t, err, &tripped)

	require.NoError(t, c.Guard(background))
	spend(t, c, 50*time.Millisecond)
	s.SetFlags(bench.GuardHit)
	spend(t, c, 200*time.Millisecond)
	require.NoError(t, c.Guard(background), "setting guards anew forgets the trip")
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	require.NoError(t, err)
}

func TestWatchOfASilentController(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	_, err := c.Watch(background, bench.Until{Span: 200 * time.Millisecond})
	require.NoError(t, err)
	s.SetDeaf(true)
	began := s.Now()
	_, err = c.Watch(background, bench.Until{Span: 20 * time.Second})
	var silent *bench.SilentError
	require.ErrorAs(t, err, &silent)
	require.InDelta(t, 1, (s.Now() - began).Seconds(), 0.05)
	s.SetDeaf(false)
	spend(t, c, 150*time.Millisecond)
	_, err = c.Watch(background, bench.Until{Span: 200 * time.Millisecond})
	require.NoError(t, err, "it recovers when the line does")
}

// After 2 s of silence the controller stops sending samples; a client that
// hears it again asks for them.
func TestSamplesAreAskedForAgain(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{Sample: turning}, Options{})
	s.StopSamples()
	spend(t, c, 1200*time.Millisecond)
	require.Len(t, s.Served(wire.TypeSampleRate), 2, "the handshake's, and one more")
	_, err := c.Watch(background, bench.Until{Span: 200 * time.Millisecond})
	require.NoError(t, err)
}

func TestControllerThatRestarts(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	s.Restart()
	_, err := c.Watch(background, bench.Until{Span: 5 * time.Second})
	var restarted *bench.RestartedError
	require.ErrorAs(t, err, &restarted)
	_, err = c.Tilt(background, bench.Tilt{Pulse: 1500})
	require.ErrorAs(t, err, &restarted)
	require.ErrorAs(t, c.Park(), &restarted)
	require.Len(t, s.Served(wire.TypeTilt), 0)

	c, s = synchronous(t, linktest.ScriptOptions{}, Options{})
	s.Restart()
	_, err = c.Drive(background, bench.Forward)
	require.ErrorAs(t, err, &restarted, "a refusal for want of a hello says so too")
}

func TestAnotherBootNumberMeansRestart(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	id := linktest.UsualIdentity()
	id.Token, id.Boot = 7, 78
	line, err := wire.Encode(nil, wire.Frame{Message: id})
	require.NoError(t, err)
	s.Inject(line)
	_, err = c.Watch(background, bench.Until{Span: time.Second})
	var restarted *bench.RestartedError
	require.ErrorAs(t, err, &restarted)
}

// Clock, counts and sample numbers wrap on the wire and must not in a trace.
func TestNothingWraps(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{
		Start: 1<<32 - 3e6,
		Sample: func(at time.Duration, s *wire.Sample) {
			s.Counters[0].Count = int32(uint32(1<<31 - 2000 + at.Milliseconds()))
			s.Counters[1].Count = int32(uint32(-1<<31 + 2000 - at.Milliseconds()))
		},
	}, Options{SampleRate: 200, Keep: time.Second})
	trace, err := c.Watch(background, bench.Until{Span: 400 * time.Second}) // 80000 samples
	require.NoError(t, err)
	for i := 1; i < len(trace); i++ {
		require.Equal(t, trace[i-1].Sequence+1, trace[i].Sequence)
		require.Equal(t, 5*time.Millisecond, trace[i].At.Sub(trace[i-1].At))
		require.Equal(t, trace[i-1].Counters[0].Count+5, trace[i].Counters[0].Count)
		require.Equal(t, trace[i-1].Counters[1].Count-5, trace[i].Counters[1].Count)
	}
}

func TestDatumMovesTheCountAtOnce(t *testing.T) {
	offset := int64(5e9) // far beyond 32 bits
	c, _ := synchronous(t, linktest.ScriptOptions{
		Answer: func(at time.Duration, f wire.Frame, usual []wire.Message) []wire.Message {
			if m, ok := f.Message.(wire.Datum); ok {
				offset = int64(m.Value)
			}
			return usual
		},
		Sample: func(_ time.Duration, s *wire.Sample) { s.Counters[2].Count = int32(uint32(offset)) },
	}, Options{})
	for range 6 { // wind it up past 2^32
		spend(t, c, 20*time.Millisecond)
		offset += 1e9
	}
	spend(t, c, 50*time.Millisecond)
	require.Greater(t, c.State().Sample.Counters[2].Count, units.Counts(1<<32))
	require.NoError(t, c.SetDatum(background, 2, -1234))
	trace, err := c.Watch(background, bench.Until{Span: 50 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, units.Counts(-1234), trace[0].Counters[2].Count)
	require.Zero(t, trace.Delta(2))
}

func TestLostAndRepeatedSamplesAreCounted(t *testing.T) {
	s := linktest.NewScript(linktest.ScriptOptions{Sample: turning})
	var got []bench.Sample
	f := linktest.NewFaulty(s, 11, linktest.Faults{}, linktest.Faults{Drop: 0.1, Repeat: 0.1})
	c, err := Dial(f, Options{Synchronous: true, OnSample: func(s bench.Sample) { got = append(got, s) }})
	require.NoError(t, err)
	defer c.Close()
	trace, err := c.Watch(background, bench.Until{Span: 10 * time.Second})
	require.NoError(t, err)
	stats := c.State().Stats
	require.NotZero(t, stats.LostSamples)
	require.NotZero(t, stats.RepeatedSamples)
	require.EqualValues(t, len(got), stats.Samples)
	gaps := uint64(0)
	for i := 1; i < len(got); i++ {
		require.Greater(t, got[i].Sequence, got[i-1].Sequence, "in order, and once")
		gaps += got[i].Sequence - got[i-1].Sequence - 1
	}
	require.Equal(t, gaps, stats.LostSamples)
	require.InDelta(t, 10, trace.Seconds(), 0.011)
}

func TestBadFramesAreCounted(t *testing.T) {
	c, s := synchronous(t, linktest.ScriptOptions{}, Options{})
	s.Inject([]byte{5, 1, 2, 0, 3, 9, 9, 0})
	spend(t, c, 50*time.Millisecond)
	require.EqualValues(t, 2, c.State().Stats.BadFrames)
}

func TestRoundTrip(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Latency: 7 * time.Millisecond}, Options{})
	for range 50 {
		_, err := c.Tilt(background, bench.Tilt{Pulse: 1500})
		require.NoError(t, err)
	}
	require.InDelta(t, 7, c.State().Stats.RoundTrip.Seconds()*1e3, 0.5)
}

// Each reads for the other, and neither may lose a sample to it.
func TestTwoWatchesOfASynchronousClient(t *testing.T) {
	c, _ := synchronous(t, linktest.ScriptOptions{Sample: turning, RealTime: true}, Options{SampleRate: 200})
	var wait sync.WaitGroup
	for range 2 {
		wait.Go(func() {
			trace, err := c.Watch(background, bench.Until{Span: 500 * time.Millisecond})
			if err != nil || len(trace) != 101 {
				t.Errorf("%d samples, %v", len(trace), err)
			}
			for i := 1; i < len(trace); i++ {
				if trace[i].Sequence != trace[i-1].Sequence+1 {
					t.Errorf("sample %d is missing", trace[i].Sequence-1)
				}
			}
		})
	}
	wait.Wait()
}
