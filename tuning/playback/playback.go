// Package playback records what a procedure asked of a bench and what it was
// answered, and plays it back: the same procedure code, run on a recorded run,
// decides the same again, bit for bit on one architecture.
//
// Record wraps a bench and reports every call as a Call. Play is a bench that
// answers from recorded calls and samples; a call that differs from the
// recorded one is a Diverged error, so that a changed procedure cannot pass for
// a replay. Neither is safe for several goroutines at once, except Park.
//
// The JSON form of a Call is part of the record format: fields are only added.
package playback

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Call is one call of a bench method and its outcome.
type Call struct {
	Method  string          `json:"method"`
	Args    json.RawMessage `json:"args,omitempty"`
	At      units.Instant   `json:"at_us,omitempty"`        // what it returned; of a watch, its last sample's
	First   uint64          `json:"first_sample,omitempty"` // of a watch: sequence numbers
	Last    uint64          `json:"last_sample,omitempty"`
	Samples int             `json:"samples,omitempty"` // how many the watch gave
	Error   *Failure        `json:"error,omitempty"`
}

// Failure is an error of the bench in a form that can be stored.
type Failure struct {
	Kind string          `json:"kind"`
	Text string          `json:"text"`
	Data json.RawMessage `json:"data,omitempty"`
}

// watchArgs are the arguments of a watch, less its predicate, which is code.
type watchArgs struct {
	From      units.Instant `json:"from_us,omitempty"`
	SpanUS    int64         `json:"span_us,omitempty"`
	Counter   int           `json:"counter,omitempty"`
	Counts    units.Counts  `json:"counts,omitempty"`
	Predicate bool          `json:"predicate,omitempty"`
	LimitUS   int64         `json:"limit_us,omitempty"`
}

func argsOf(u bench.Until) watchArgs {
	return watchArgs{u.From, u.Span.Microseconds(), u.Counter, u.Counts, u.Met != nil, u.Limit.Microseconds()}
}

// Recorded wraps a bench so that report gets every call, in order.
func Recorded(b bench.Bench, report func(Call)) bench.Bench {
	return &recorder{inner: b, report: report}
}

type recorder struct {
	inner  bench.Bench
	report func(Call)
}

// tell reports a call that returns an instant.
func (r *recorder) tell(method string, args any, at units.Instant, err error) {
	r.report(Call{Method: method, Args: encode(args), At: at, Error: failureOf(err)})
}

func (r *recorder) Identity() bench.Identity { return r.inner.Identity() }

func (r *recorder) Drive(ctx context.Context, d bench.Direction) (units.Instant, error) {
	at, err := r.inner.Drive(ctx, d)
	r.tell("drive", d, at, err)
	return at, err
}

func (r *recorder) Select(ctx context.Context, axis int) (units.Instant, error) {
	at, err := r.inner.Select(ctx, axis)
	r.tell("select", axis, at, err)
	return at, err
}

func (r *recorder) Tilt(ctx context.Context, tilts ...bench.Tilt) (units.Instant, error) {
	at, err := r.inner.Tilt(ctx, tilts...)
	r.tell("tilt", tilts, at, err)
	return at, err
}

func (r *recorder) Watch(ctx context.Context, u bench.Until) (bench.Trace, error) {
	trace, err := r.inner.Watch(ctx, u)
	c := Call{Method: "watch", Args: encode(argsOf(u)), Samples: len(trace), Error: failureOf(err)}
	if len(trace) > 0 {
		c.First, c.Last, c.At = trace[0].Sequence, trace.Last().Sequence, trace.Last().At
	}
	r.report(c)
	return trace, err
}

func (r *recorder) Guard(ctx context.Context, guards ...bench.Guard) error {
	err := r.inner.Guard(ctx, guards...)
	r.tell("guard", guards, 0, err)
	return err
}

func (r *recorder) SetPulseLimits(ctx context.Context, axis int, l bench.PulseLimits) error {
	err := r.inner.SetPulseLimits(ctx, axis, l)
	r.tell("pulse limits", []any{axis, l}, 0, err)
	return err
}

func (r *recorder) SetNeutral(ctx context.Context, axis int, p units.Pulse) error {
	err := r.inner.SetNeutral(ctx, axis, p)
	r.tell("neutral", []any{axis, p}, 0, err)
	return err
}

func (r *recorder) SetTravelLimits(ctx context.Context, limits ...bench.TravelLimit) error {
	err := r.inner.SetTravelLimits(ctx, limits...)
	r.tell("travel limits", limits, 0, err)
	return err
}

func (r *recorder) SetDatum(ctx context.Context, counter int, value units.Counts) error {
	err := r.inner.SetDatum(ctx, counter, value)
	r.tell("datum", []any{counter, value}, 0, err)
	return err
}

func (r *recorder) LoadLoop(ctx context.Context, axis int, loop bench.Loop) error {
	err := r.inner.LoadLoop(ctx, axis, loop)
	r.tell("load loop", []any{axis, loop}, 0, err)
	return err
}

func (r *recorder) SetPoint(ctx context.Context, points ...bench.SetPoint) (units.Instant, error) {
	at, err := r.inner.SetPoint(ctx, points...)
	r.tell("set-point", points, at, err)
	return at, err
}

func (r *recorder) Stream(ctx context.Context, points ...bench.TimedSetPoint) error {
	err := r.inner.Stream(ctx, points...)
	r.tell("stream", points, 0, err)
	return err
}

func (r *recorder) Release(ctx context.Context, axis int) error {
	err := r.inner.Release(ctx, axis)
	r.tell("release", axis, 0, err)
	return err
}

// Park is not played back: it may come from anywhere at any time.
func (r *recorder) Park() error { return r.inner.Park() }

// encode never fails on the plain values it is given; a failure would be a
// mistake in this package.
func encode(v any) json.RawMessage {
	b, err := json.Marshal(v)
	if err != nil {
		panic("playback: " + err.Error())
	}
	return b
}

// failureOf keeps what a procedure could decide on.
func failureOf(err error) *Failure {
	if err == nil {
		return nil
	}
	f := &Failure{Kind: "other", Text: err.Error()}
	for _, k := range kinds {
		target := k.make()
		if errors.As(err, target) {
			f.Kind, f.Data = k.name, encode(target)
			break
		}
	}
	return f
}

// kinds are the errors that procedures tell apart, each with a maker of a
// pointer to its pointer type for errors.As.
var kinds = []struct {
	name string
	make func() any
}{
	{"stopped", func() any { return new(*bench.StoppedError) }},
	{"guard", func() any { return new(*bench.GuardTripped) }},
	{"not reached", func() any { return new(*bench.NotReached) }},
	{"refused", func() any { return new(*bench.RefusedError) }},
	{"silent", func() any { return new(*bench.SilentError) }},
	{"restarted", func() any { return new(*bench.RestartedError) }},
}

// err turns a stored failure back into the error it was.
func (f *Failure) err() error {
	if f == nil {
		return nil
	}
	for _, k := range kinds {
		if k.name == f.Kind {
			target := k.make()
			if json.Unmarshal(f.Data, target) == nil {
				return derefError(target)
			}
		}
	}
	return errors.New(f.Text)
}

func derefError(target any) error {
	switch t := target.(type) {
	case **bench.StoppedError:
		return *t
	case **bench.GuardTripped:
		return *t
	case **bench.NotReached:
		return *t
	case **bench.RefusedError:
		return *t
	case **bench.SilentError:
		return *t
	case **bench.RestartedError:
		return *t
	}
	panic(fmt.Sprintf("playback: %T is not in kinds", target))
}
