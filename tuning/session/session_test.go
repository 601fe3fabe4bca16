package session_test

import (
	"context"
	"encoding/json"
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/fixtures/rigs"
	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

// board is a rig whose every answer is yes, and which notes what it was told.
type board struct {
	mu     sync.Mutex
	told   []string
	onTilt func() // for faults
	at     units.Instant
}

func (b *board) note(what string) units.Instant {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.told = append(b.told, what)
	b.at += 20_000
	return b.at
}

func (b *board) count(what string) int {
	b.mu.Lock()
	defer b.mu.Unlock()
	n := 0
	for _, t := range b.told {
		if t == what {
			n++
		}
	}
	return n
}

func (b *board) Identity() bench.Identity {
	return bench.Identity{
		Name: "board of the test", Axes: 1, SampleRate: 100, MostSampleRate: 200, MostTable: 33, FrameMicros: 20000, PulseLeast: 500, PulseMost: 2500,
		Counters: []bench.CounterIdentity{{CountsPerTurn: 400, MostEdgeRate: 20000}, {CountsPerTurn: 1600, MostEdgeRate: 20000}},
	}
}
func (b *board) Drive(context.Context, bench.Direction) (units.Instant, error) {
	return b.note("drive"), nil
}
func (b *board) Select(context.Context, int) (units.Instant, error) { return b.note("select"), nil }
func (b *board) Tilt(context.Context, ...bench.Tilt) (units.Instant, error) {
	at := b.note("tilt")
	if b.onTilt != nil {
		b.onTilt()
	}
	return at, nil
}

// Watch waits like a rig would, and ends with the context.
func (b *board) Watch(ctx context.Context, u bench.Until) (bench.Trace, error) {
	var trace bench.Trace
	for range 400 {
		if err := ctx.Err(); err != nil {
			return trace, err
		}
		s := bench.Sample{Sequence: uint64(len(trace)), At: b.note("sample")}
		trace = append(trace, s)
		if u.Met != nil && u.Met(s) || u.Span > 0 && s.At.Sub(trace[0].At) >= u.Span {
			return trace, nil
		}
	}
	return trace, &bench.NotReached{Waited: 8}
}
func (b *board) Guard(context.Context, ...bench.Guard) error { b.note("guard"); return nil }
func (b *board) SetPulseLimits(context.Context, int, bench.PulseLimits) error {
	b.note("limits")
	return nil
}
func (b *board) SetNeutral(context.Context, int, units.Pulse) error { b.note("neutral"); return nil }
func (b *board) SetTravelLimits(context.Context, ...bench.TravelLimit) error {
	b.note("travel")
	return nil
}
func (b *board) SetDatum(context.Context, int, units.Counts) error { b.note("datum"); return nil }
func (b *board) LoadLoop(context.Context, int, bench.Loop) error   { b.note("loop"); return nil }
func (b *board) SetPoint(context.Context, ...bench.SetPoint) (units.Instant, error) {
	return b.note("set-point"), nil
}
func (b *board) Stream(context.Context, ...bench.TimedSetPoint) error { b.note("stream"); return nil }
func (b *board) Release(context.Context, int) error                   { b.note("release"); return nil }
func (b *board) Park() error                                          { b.note("park"); return nil }
func (b *board) Arm(context.Context) error                            { b.note("arm"); return nil }
func (b *board) Stop() error                                          { b.note("stop"); return nil }
func (b *board) Clear(context.Context) error                          { b.note("clear"); return nil }

// paper is a record that can run full.
type paper struct {
	mu      sync.Mutex
	kinds   []string
	durable map[string]bool
	fullAt  int // number of events it takes; 0 is endless
}

var errFull = errors.New("the paper is full; make room and go on")

func (p *paper) Append(kind string, _ time.Time, payload json.RawMessage, durable bool) (uint64, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.fullAt > 0 && len(p.kinds) >= p.fullAt {
		return 0, errFull
	}
	if !json.Valid(payload) {
		return 0, errors.New("no JSON")
	}
	p.kinds = append(p.kinds, kind)
	if p.durable == nil {
		p.durable = map[string]bool{}
	}
	p.durable[kind] = durable
	return uint64(len(p.kinds)), nil
}
func (p *paper) WriteSample(bench.Sample) error { return nil }

// sitDown opens a session on board and paper.
func sitDown(t *testing.T, b *board, p *paper, listen func(session.Event)) *session.Session {
	t.Helper()
	text, err := rigs.Text("trolley")
	require.NoError(t, err)
	r, err := rig.Parse("trolley.toml", text)
	require.NoError(t, err)
	s, err := session.New(session.Config{Rig: r, Bench: b, Record: p, Now: func() time.Time { return time.Unix(0, 0) }, Software: "test", Listen: listen})
	require.NoError(t, err)
	return s
}

func TestNothingMovesBeforeItIsArmed(t *testing.T) {
	b := &board{}
	s := sitDown(t, b, &paper{}, nil)
	assert.ErrorIs(t, s.RunTask(context.Background(), 0, session.Check), session.ErrNotArmed)
	assert.Zero(t, b.count("drive"))
	assert.Zero(t, b.count("tilt"))
	var first *session.NeedsFirst
	assert.ErrorAs(t, s.RunTask(context.Background(), 0, session.Curve), &first)
	assert.Error(t, s.RunTask(context.Background(), 3, session.Check), "no such axis")
	assert.Error(t, s.RunTask(context.Background(), 0, "dance"), "no such task")
}

// The output of this board never turns: the check ends with an error, parked,
// and its events are in the record, in order, before they were shown.
func TestFailedTaskParksAndSaysSo(t *testing.T) {
	b, p := &board{}, &paper{}
	var shown []session.Kind
	s := sitDown(t, b, p, func(e session.Event) {
		shown = append(shown, e.Kind)
		assert.Len(t, p.kinds, int(e.Sequence), "shown only once it is recorded")
	})
	require.NoError(t, s.Arm(context.Background()))
	require.Error(t, s.RunTask(context.Background(), 0, session.Check))
	assert.GreaterOrEqual(t, b.count("park"), 1)
	require.Len(t, p.kinds, len(shown))
	for i, k := range shown {
		assert.Equal(t, string(k), p.kinds[i])
	}
	assert.Equal(t, session.Ended, shown[len(shown)-1])
	for kind, durable := range p.durable {
		want := kind == "opened" || kind == "state" || kind == "ended" || kind == "reading" || kind == "result" || kind == "finding"
		assert.Equal(t, want, durable, kind)
	}
}

// A record that fails ends the task and parks the rig: what cannot be kept is
// not measured.
func TestFullRecordParksTheRig(t *testing.T) {
	b, p := &board{}, &paper{}
	s := sitDown(t, b, p, nil)
	require.NoError(t, s.Arm(context.Background()))
	p.fullAt = len(p.kinds) + 12
	err := s.RunTask(context.Background(), 0, session.Check)
	assert.ErrorIs(t, err, errFull)
	assert.GreaterOrEqual(t, b.count("park"), 1)
	before := b.count("drive")
	assert.ErrorIs(t, s.RunTask(context.Background(), 0, session.Check), errFull, "and nothing more is begun")
	assert.Equal(t, before, b.count("drive"))
}

func TestPanicInATaskStopsTheRig(t *testing.T) {
	b := &board{}
	b.onTilt = func() { panic("a fault of the test") }
	var last session.Event
	s := sitDown(t, b, &paper{}, func(e session.Event) { last = e })
	require.NoError(t, s.Arm(context.Background()))
	err := s.RunTask(context.Background(), 0, session.Check)
	require.ErrorContains(t, err, "a fault of the test")
	assert.Equal(t, 1, b.count("stop"))
	assert.Equal(t, session.Ended, last.Kind)
	assert.False(t, s.Armed(), "after a fault of the program the leave to move is gone")
}

func TestStopEndsTheTaskFromAnotherGoroutine(t *testing.T) {
	b := &board{}
	s := sitDown(t, b, &paper{}, nil)
	require.NoError(t, s.Arm(context.Background()))
	begun := make(chan struct{})
	var once sync.Once
	b.onTilt = func() { once.Do(func() { close(begun) }); time.Sleep(time.Millisecond) }
	ended := make(chan error, 1)
	go func() { ended <- s.RunTask(context.Background(), 0, session.Check) }()
	<-begun
	require.NoError(t, s.Stop("the test"))
	err := <-ended
	var stopped *session.Stopped
	require.ErrorAs(t, err, &stopped)
	assert.Equal(t, 1, b.count("stop"))
	assert.ErrorIs(t, s.RunTask(context.Background(), 0, session.Check), session.ErrNotArmed, "a stop takes the leave to move away")
}

// A stop must not wait for a disk or a screen that hangs.
func TestStopDoesNotWaitForRecordOrScreen(t *testing.T) {
	b := &board{}
	hang, hanging := make(chan struct{}), make(chan struct{})
	var once sync.Once
	armed := false
	s := sitDown(t, b, &paper{}, func(session.Event) {
		if armed {
			once.Do(func() { close(hanging) })
			<-hang
		}
	})
	require.NoError(t, s.Arm(context.Background()))
	armed = true
	ended := make(chan error, 1)
	go func() { ended <- s.RunTask(context.Background(), 0, session.Check) }()
	<-hanging
	stopped := make(chan error, 1)
	go func() { stopped <- s.Stop("the test") }()
	assert.Eventually(t, func() bool { return b.count("stop") == 1 }, time.Second, time.Millisecond)
	close(hang)
	assert.NoError(t, <-stopped)
	var why *session.Stopped
	assert.ErrorAs(t, <-ended, &why)
}

func TestPlacesOfJointsAreChecked(t *testing.T) {
	text, err := rigs.Text("trolley")
	require.NoError(t, err)
	r, err := rig.Parse("trolley.toml", text)
	require.NoError(t, err)
	open := func(at session.StandsAt) error {
		_, err := session.New(session.Config{Rig: r, Bench: &board{}, StandsAt: at, Now: time.Now})
		return err
	}
	var unknown *session.UnknownJoint
	assert.ErrorAs(t, open(session.StandsAt{"wheel": 0}), &unknown)
	var outside *session.OutsideTravel
	assert.ErrorAs(t, open(session.StandsAt{"trolley": 4000}), &outside)
	assert.NoError(t, open(session.StandsAt{"trolley": 40}))
}
