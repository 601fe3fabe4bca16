package feed

import (
	"encoding/json"
	"fmt"
	"math"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/fixtures/rigs"
	"trunnion/tuning/bench"
	"trunnion/tuning/calibration"
	"trunnion/tuning/check"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

var start = time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC)

func lift(t testing.TB) rig.Rig {
	text, err := rigs.Text("lift")
	require.NoError(t, err)
	r, err := rig.Parse("lift.toml", text)
	require.NoError(t, err)
	return r
}

// tell puts an event in as the session would make it.
func tell(t testing.TB, f *Feed, axis string, task session.Task, kind session.Kind, text string, data any) {
	e := session.Event{Kind: kind, Axis: axis, Task: task, Text: text, Wall: start}
	if data != nil {
		raw, err := json.Marshal(data)
		require.NoError(t, err)
		e.Data = raw
	}
	f.Event(e)
}

func TestATaskFromBeginningToResult(t *testing.T) {
	f := New(lift(t))
	tell(t, f, "", "", session.State, "armed", nil)
	tell(t, f, "left drum", session.Check, session.Began, "check of left drum", nil)
	tell(t, f, "left drum", session.Check, session.Kind(bench.Intends), "watch the counters", nil)
	tell(t, f, "left drum", session.Check, session.Kind(bench.Reading), "a burst", check.Burst{Pulse: 1500, ShaftTurns: 2.5, OutputTurns: 0.1})
	tell(t, f, "left drum", session.Check, session.Kind(bench.Reading), "a jog", check.Jog{Pulse: 1560, Ratio: units.Estimate{Value: 0.1, StdErr: 0.01}})
	tell(t, f, "left drum", session.Check, session.Kind(bench.Progress), "", bench.Advance{Done: 1, Of: 4, SecondsLeft: 12})
	s := f.Snapshot(start)
	at := Place{1, 0}
	assert.Equal(t, at, s.Running)
	assert.True(t, s.Armed)
	task := s.Task(at)
	assert.Equal(t, Running, task.Status)
	assert.Equal(t, "watch the counters", task.Intends)
	assert.Len(t, task.Bursts, 1)
	assert.Len(t, task.Jogs, 1)
	assert.Equal(t, 4, task.Progress.Of)
	assert.False(t, s.Axes[1].Has(0), "no result before it is recorded")

	found := finding.Finding{Name: finding.OffCentre, Weight: finding.Look}
	tell(t, f, "left drum", session.Check, session.Kind(bench.Found), "a finding", found)
	tell(t, f, "left drum", session.Check, session.Kind(bench.Result), "shaft 412 rpm", check.Result{ShaftSpeed: units.Estimate{Value: 412, StdErr: 0.3}, Findings: []finding.Finding{found}})
	tell(t, f, "left drum", session.Check, session.Ended, "", session.Outcome{Done: true})
	after := f.Snapshot(start)
	assert.Equal(t, Nowhere, after.Running)
	assert.Equal(t, Done, after.Task(at).Status)
	assert.True(t, after.Axes[1].Has(0))
	assert.Equal(t, []finding.Finding{found}, after.Axes[1].Findings(0))
	assert.Equal(t, 1, after.Axes[1].Next())
	assert.Equal(t, Running, s.Task(at).Status, "a snapshot does not change after it is taken")
}

func TestAResultForgetsWhatWasBuiltOnTheOneBefore(t *testing.T) {
	f := New(lift(t))
	f.Seed(calibration.Document{Axes: []calibration.Axis{{Name: "traverse", Check: &check.Result{}, DeadBand: &deadband.Result{}}, {Name: "nobody", Check: &check.Result{}}}})
	before := f.Snapshot(start)
	assert.True(t, before.Axes[0].Has(1))
	tell(t, f, "traverse", session.Check, session.Kind(bench.Result), "again", check.Result{})
	s := f.Snapshot(start)
	assert.True(t, s.Axes[0].Has(0))
	assert.False(t, s.Axes[0].Has(1))
	assert.True(t, before.Axes[0].Has(1), "nor does what it points to")
}

func TestFailedAndStoppedAreToldApart(t *testing.T) {
	end := func(f *Feed) {
		tell(t, f, "traverse", session.Check, session.Ended, "no", session.Outcome{Error: "no"})
	}
	begin := func() *Feed {
		f := New(lift(t))
		tell(t, f, "", "", session.State, "armed", nil)
		tell(t, f, "traverse", session.Check, session.Began, "", nil)
		return f
	}
	status := func(f *Feed) Status { s := f.Snapshot(start); return s.Axes[0].Tasks[0].Status }

	failed := begin()
	end(failed)
	assert.Equal(t, Failed, status(failed))

	before := begin()
	tell(t, before, "traverse", session.Check, session.State, "stopped: space was pressed", nil)
	end(before)
	assert.Equal(t, Stopped, status(before))
	s := before.Snapshot(start)
	assert.Equal(t, "space was pressed", s.StopText)
	assert.False(t, s.Armed, "a stop takes back the permission to move")

	after := begin() // the task may end before the stop is told
	end(after)
	tell(t, after, "", "", session.State, "stopped: space was pressed", nil)
	assert.Equal(t, Stopped, status(after))
	tell(t, after, "", "", session.State, "parked", nil)
	s = after.Snapshot(start)
	assert.NotEmpty(t, s.StopText, "parking does not take the latch off")
	tell(t, after, "", "", session.State, "cleared", nil)
	s = after.Snapshot(start)
	assert.Empty(t, s.StopText)

	sampled := begin() // the controller stopped by itself
	sampled.Sample(bench.Sample{Sequence: 1, State: bench.Stopped, Cause: bench.CauseTravel})
	end(sampled)
	assert.Equal(t, Stopped, status(sampled))
}

// turning is a sample of the rig at a moment: 400 counts a turn of a shaft at
// 300 rpm, the traverse's 1600 counts a turn at a ratio of 0.5.
func turning(n int) bench.Sample {
	s := bench.Sample{Sequence: uint64(n + 1), At: units.Instant(n * 10_000), State: bench.Moving}
	s.Counters[0].Count = units.Counts(math.Round(400 * 5 * float64(n) / 100))
	s.Counters[1].Count = units.Counts(math.Round(1600 * 2.5 * float64(n) / 100))
	s.Axes[0].Pulse = 1600
	return s
}

func TestSpeedsAndSweep(t *testing.T) {
	f := New(lift(t))
	for n := range 500 {
		f.Sample(turning(n))
	}
	s := f.Snapshot(start)
	assert.InDelta(t, 300, s.Drive, 1)
	assert.True(t, s.Moves[0].Turning)
	assert.InDelta(t, 0.5, s.Moves[0].Ratio, 0.01)
	assert.InDelta(t, 0, s.Moves[1].Ratio, 1e-9)
	assert.Equal(t, int64(39), s.Sweep.Newest, "4.99 s are 40 buckets of an eighth of a second")
	assert.InDelta(t, 300, s.Sweep.Drive[20], 5)
	assert.InDelta(t, 0.5, s.Sweep.Ratio[0][20], 0.02)
	assert.InDelta(t, 1600, s.Sweep.Tilt[0][20], 0.1)
	assert.True(t, math.IsNaN(float64(s.Sweep.Tilt[1][20])), "a servo that hangs free has no pulse")
	assert.True(t, math.IsNaN(float64(s.Sweep.Drive[41])))
}

func TestLinkCountsLostSamplesAndSilence(t *testing.T) {
	f := New(lift(t))
	n := 0
	for k := range 60 {
		for range 3 {
			if n%50 != 7 {
				f.Sample(turning(n))
			}
			n++
		}
		f.Snapshot(start.Add(time.Duration(k) * 30 * time.Millisecond))
	}
	k := f.Snapshot(start.Add(60 * 30 * time.Millisecond)).Link
	assert.InDelta(t, 98, k.PerSecond, 4)
	assert.Equal(t, uint64(4), k.Lost)
	assert.Equal(t, uint64(0), f.Snapshot(start).Link.Lost-k.Lost)
	quiet := f.Snapshot(start.Add(5 * time.Second)).Link
	assert.InDelta(t, 3.2, quiet.Silent.Seconds(), 0.1)

	again := turning(0) // the controller was started anew
	f.Sample(again)
	assert.Equal(t, k.Lost, f.Snapshot(start.Add(5*time.Second)).Link.Lost)
}

func TestMemoryIsBounded(t *testing.T) {
	f := New(lift(t))
	tell(t, f, "traverse", session.DeadBand, session.Began, "", nil)
	for i := range 3 * mostLines {
		tell(t, f, "traverse", session.DeadBand, session.Kind(bench.Reading), fmt.Sprint(i), deadband.Try{Pulse: units.Pulse(i)})
		tell(t, f, "traverse", session.DeadBand, session.Kind(bench.Found), "x", finding.Finding{})
	}
	s := f.Snapshot(start)
	tries := s.Axes[0].Tasks[1].Tries
	assert.LessOrEqual(t, len(tries), mostReadings)
	assert.Equal(t, units.Pulse(3*mostLines-1), tries[len(tries)-1].Pulse)
	assert.LessOrEqual(t, len(s.Lines), mostLines)
	assert.LessOrEqual(t, len(s.Axes[0].Tasks[1].Findings), mostFindings)
}

// Everything at once, for the race detector.
func TestFromManyGoroutines(t *testing.T) {
	f := New(lift(t))
	var wg sync.WaitGroup
	for _, work := range []func(int){
		func(n int) { f.Sample(turning(n)) },
		func(n int) {
			tell(t, f, "traverse", session.DeadBand, session.Kind(bench.Reading), "try", deadband.Try{Pulse: units.Pulse(n)})
		},
		func(n int) {
			s := f.Snapshot(start)
			sum := 0.0
			for _, try := range s.Axes[0].Tasks[1].Tries {
				sum += float64(try.Pulse)
			}
			for _, l := range s.Lines {
				sum += float64(len(l.Text))
			}
		},
	} {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for n := range 300 {
				work(n)
			}
		}()
	}
	wg.Wait()
}

func BenchmarkSample(b *testing.B) {
	f := New(lift(b))
	for n := 0; b.Loop(); n++ {
		f.Sample(turning(n))
	}
}

func BenchmarkSnapshot(b *testing.B) {
	f := New(lift(b))
	for n := range 500 {
		f.Sample(turning(n))
	}
	for b.Loop() {
		f.Snapshot(start)
	}
}
