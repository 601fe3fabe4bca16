package playback

import (
	"context"
	"encoding/json"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// scripted is a bench whose answers are made up from its arguments.
type scripted struct {
	bench.Bench
	samples bench.Trace
	fail    error
}

func (s *scripted) Drive(context.Context, bench.Direction) (units.Instant, error) {
	return 1000, s.fail
}
func (s *scripted) Tilt(context.Context, ...bench.Tilt) (units.Instant, error) { return 2000, s.fail }
func (s *scripted) Watch(context.Context, bench.Until) (bench.Trace, error)    { return s.samples, s.fail }
func (s *scripted) Guard(context.Context, ...bench.Guard) error                { return s.fail }

func trace(first uint64, n int) bench.Trace {
	var t bench.Trace
	for i := range n {
		t = append(t, bench.Sample{Sequence: first + uint64(i), At: units.Instant(10000 * i)})
	}
	return t
}

// A run is recorded, sent through JSON as the record does, and played back: the
// same calls get the same answers, errors included.
func TestPlayGivesWhatWasRecorded(t *testing.T) {
	ctx := context.Background()
	inner := &scripted{samples: trace(7, 5)}
	var calls []Call
	rec := Recorded(inner, func(c Call) { calls = append(calls, c) })
	tilt := bench.Tilt{Axis: 0, Pulse: 1528.4}
	until := bench.Until{Counter: 1, Counts: 40, Met: func(bench.Sample) bool { return true }, Limit: time.Second}
	_, _ = rec.Drive(ctx, bench.Forward)
	_, _ = rec.Tilt(ctx, tilt)
	_, _ = rec.Watch(ctx, until)
	inner.fail = &bench.GuardTripped{At: 55}
	_, _ = rec.Watch(ctx, until)
	inner.fail = &bench.StoppedError{Cause: bench.CauseTravel, At: 77}
	_ = rec.Guard(ctx, bench.Guard{Counter: 1, Counts: 9})

	text, err := json.Marshal(calls)
	require.NoError(t, err)
	var stored []Call
	require.NoError(t, json.Unmarshal(text, &stored))
	p := NewPlay(bench.Identity{}, stored, trace(0, 20))

	at, err := p.Drive(ctx, bench.Forward)
	assert.Equal(t, units.Instant(1000), at)
	assert.NoError(t, err)
	at, err = p.Tilt(ctx, tilt)
	assert.Equal(t, units.Instant(2000), at)
	assert.NoError(t, err)
	seen, err := p.Watch(ctx, until)
	assert.NoError(t, err)
	assert.Equal(t, []uint64{7, 11}, []uint64{seen[0].Sequence, seen.Last().Sequence})
	seen, err = p.Watch(ctx, until)
	var tripped *bench.GuardTripped
	require.ErrorAs(t, err, &tripped)
	assert.Equal(t, units.Instant(55), tripped.At)
	assert.Len(t, seen, 5, "the trace comes with the error")
	var stopped *bench.StoppedError
	require.ErrorAs(t, p.Guard(ctx, bench.Guard{Counter: 1, Counts: 9}), &stopped)
	assert.Equal(t, bench.CauseTravel, stopped.Cause)
	assert.Zero(t, p.Left())

	_, err = p.Drive(ctx, bench.Off)
	var diverged *Diverged
	assert.ErrorAs(t, err, &diverged, "beyond the end")
}

func TestPlayRefusesAnotherProcedure(t *testing.T) {
	ctx := context.Background()
	var calls []Call
	rec := Recorded(&scripted{samples: trace(0, 3)}, func(c Call) { calls = append(calls, c) })
	_, _ = rec.Tilt(ctx, bench.Tilt{Pulse: 1500})
	_, _ = rec.Watch(ctx, bench.Until{Span: time.Second})
	var diverged *Diverged
	_, err := NewPlay(bench.Identity{}, calls, nil).Tilt(ctx, bench.Tilt{Pulse: 1500.1})
	assert.ErrorAs(t, err, &diverged)
	_, err = NewPlay(bench.Identity{}, calls, nil).Drive(ctx, bench.Off)
	assert.ErrorAs(t, err, &diverged)

	p := NewPlay(bench.Identity{}, calls, trace(0, 2))
	_, err = p.Tilt(ctx, bench.Tilt{Pulse: 1500})
	require.NoError(t, err)
	_, err = p.Watch(ctx, bench.Until{Span: time.Second})
	assert.Error(t, err, "a sample is missing from the record")
	assert.False(t, errors.As(err, &diverged))
}
