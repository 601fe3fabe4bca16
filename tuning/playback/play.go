package playback

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"sort"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Diverged says that a procedure asked something else than it did when it was
// recorded.
type Diverged struct {
	Call       int // which call, from 0
	Asked, Was string
}

func (e *Diverged) Error() string {
	return fmt.Sprintf("playback: call %d was %s when recorded and is %s now; the procedure or its settings have changed since, so only its readings can be analysed anew",
		e.Call, e.Was, e.Asked)
}

// Play is a bench that answers from a record.
type Play struct {
	identity bench.Identity
	calls    []Call
	samples  bench.Trace // in order of sequence
	next     int
}

// NewPlay plays calls over samples, which are sorted by sequence.
func NewPlay(identity bench.Identity, calls []Call, samples bench.Trace) *Play {
	return &Play{identity: identity, calls: calls, samples: samples}
}

// Left is the number of calls not yet played.
func (p *Play) Left() int { return len(p.calls) - p.next }

// Identity is the recorded controller's.
func (p *Play) Identity() bench.Identity { return p.identity }

// answer takes the next call if method and arguments are the recorded ones.
func (p *Play) answer(method string, args any) (Call, error) {
	asked := encode(args)
	if p.next >= len(p.calls) {
		return Call{}, &Diverged{p.next, method + " " + string(asked), "the end of the record"}
	}
	c := p.calls[p.next]
	if c.Method != method || !sameJSON(c.Args, asked) {
		return Call{}, &Diverged{p.next, method + " " + string(asked), c.Method + " " + string(c.Args)}
	}
	p.next++
	return c, nil
}

func sameJSON(a, b json.RawMessage) bool {
	var x, y bytes.Buffer
	return json.Compact(&x, a) == nil && json.Compact(&y, b) == nil && bytes.Equal(x.Bytes(), y.Bytes())
}

// at answers a call that returns an instant.
func (p *Play) at(method string, args any) (units.Instant, error) {
	c, err := p.answer(method, args)
	if err != nil {
		return 0, err
	}
	return c.At, c.Error.err()
}

// done answers a call that returns nothing.
func (p *Play) done(method string, args any) error {
	_, err := p.at(method, args)
	return err
}

// Drive answers from the record.
func (p *Play) Drive(_ context.Context, d bench.Direction) (units.Instant, error) {
	return p.at("drive", d)
}

// Select answers from the record.
func (p *Play) Select(_ context.Context, axis int) (units.Instant, error) {
	return p.at("select", axis)
}

// Tilt answers from the record.
func (p *Play) Tilt(_ context.Context, tilts ...bench.Tilt) (units.Instant, error) {
	return p.at("tilt", tilts)
}

// Watch gives the samples that the recorded watch gave. A sample that the
// record lost is an error, never a silent gap.
func (p *Play) Watch(_ context.Context, u bench.Until) (bench.Trace, error) {
	c, err := p.answer("watch", argsOf(u))
	if err != nil {
		return nil, err
	}
	if c.Samples == 0 {
		return nil, c.Error.err()
	}
	from := sort.Search(len(p.samples), func(i int) bool { return p.samples[i].Sequence >= c.First })
	to := sort.Search(len(p.samples), func(i int) bool { return p.samples[i].Sequence > c.Last })
	if to-from != c.Samples {
		return nil, fmt.Errorf("playback: call %d watched %d samples, numbers %d to %d, and the record holds %d of them", p.next-1, c.Samples, c.First, c.Last, to-from)
	}
	return append(bench.Trace(nil), p.samples[from:to]...), c.Error.err()
}

// Guard answers from the record.
func (p *Play) Guard(_ context.Context, guards ...bench.Guard) error { return p.done("guard", guards) }

// SetPulseLimits answers from the record.
func (p *Play) SetPulseLimits(_ context.Context, axis int, l bench.PulseLimits) error {
	return p.done("pulse limits", []any{axis, l})
}

// SetNeutral answers from the record.
func (p *Play) SetNeutral(_ context.Context, axis int, pulse units.Pulse) error {
	return p.done("neutral", []any{axis, pulse})
}

// SetTravelLimits answers from the record.
func (p *Play) SetTravelLimits(_ context.Context, limits ...bench.TravelLimit) error {
	return p.done("travel limits", limits)
}

// SetDatum answers from the record.
func (p *Play) SetDatum(_ context.Context, counter int, value units.Counts) error {
	return p.done("datum", []any{counter, value})
}

// LoadLoop answers from the record.
func (p *Play) LoadLoop(_ context.Context, axis int, loop bench.Loop) error {
	return p.done("load loop", []any{axis, loop})
}

// SetPoint answers from the record.
func (p *Play) SetPoint(_ context.Context, points ...bench.SetPoint) (units.Instant, error) {
	return p.at("set-point", points)
}

// Stream answers from the record.
func (p *Play) Stream(_ context.Context, points ...bench.TimedSetPoint) error {
	return p.done("stream", points)
}

// Release answers from the record.
func (p *Play) Release(_ context.Context, axis int) error { return p.done("release", axis) }

// Park does nothing: nothing moves.
func (p *Play) Park() error { return nil }

// Arm, Stop and Clear do nothing either, so that a session can run on a Play.
func (p *Play) Arm(context.Context) error { return nil }

// Stop does nothing.
func (p *Play) Stop() error { return nil }

// Clear does nothing.
func (p *Play) Clear(context.Context) error { return nil }
