package client

import (
	"context"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// watchLimit is how long a Watch waits for Counts or Met, unless told.
const watchLimit = 30 * time.Second

// watch is a Watch under way.
type watch struct {
	until bench.Until
	from  units.Instant
	next  int // index of the next sample in the ring
	fresh []bench.Sample
	trace bench.Trace
}

// Watch implements bench.Bench. The trace is the caller's own.
//
// A From of the past reaches back as far as the options' Keep; before that it
// is a ForgottenError. Where Span is given and Limit is not, Span alone bounds
// the wait. A tripped guard is told of once, by the first Watch that sees it or
// begins after it; setting guards anew forgets it.
func (c *Client) Watch(ctx context.Context, until bench.Until) (bench.Trace, error) {
	w := watch{until: until}
	if err := w.check(len(c.identity.Counters)); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	var end error
	c.locked(func() { end = w.begin(&c.core) })
	if end != nil {
		return nil, end
	}
	var guard trip
	for {
		err := c.await(ctx, func() bool {
			guard = c.core.trip
			end = w.take(&c.core, c.conn.Now())
			return len(w.fresh) > 0 || end != nil
		})
		if err != nil {
			return w.trace, err
		}
		for i := range w.fresh {
			over, err := w.see(w.fresh[i], guard)
			if _, tripped := err.(*bench.GuardTripped); tripped {
				c.locked(func() { c.core.told(guard) })
			}
			if over || err != nil {
				return w.trace, err
			}
		}
		if end != nil {
			return w.trace, end
		}
		w.next += len(w.fresh)
	}
}

// check refuses what would never end, or makes no sense.
func (w *watch) check(counters int) error {
	u := &w.until
	switch {
	case u.Span <= 0 && u.Counts <= 0 && u.Met == nil:
		return &MisuseError{"watch", "nothing is given that ends it"}
	case u.Span < 0 || u.Counts < 0 || u.Limit < 0:
		return &MisuseError{"watch", "a bound is negative"}
	case u.Counts > 0 && (u.Counter < 0 || u.Counter >= counters):
		return &MisuseError{"watch", "there is no counter of that number"}
	}
	if u.Limit == 0 && u.Span == 0 {
		u.Limit = watchLimit
	}
	return nil
}

// begin finds the first sample.
func (w *watch) begin(c *core) error {
	if w.until.From == 0 { // now: what comes, and tells of the present state
		w.from, w.next = c.state.at, c.ring.added
		return nil
	}
	w.from, w.next = w.until.From, c.ring.since(w.until.From)
	oldest := c.ring.oldest()
	if oldest > 0 && w.next == oldest && c.ring.at(oldest).At > w.from {
		return &ForgottenError{From: w.from, Oldest: c.ring.at(oldest).At}
	}
	return nil
}

// take fetches new samples, the same again if nothing has come since. Its error
// ends the watch after them.
func (w *watch) take(c *core, now time.Duration) error {
	w.fresh = w.fresh[:0]
	if oldest := c.ring.oldest(); w.next < oldest { // the caller was too slow
		return &ForgottenError{From: c.ring.at(oldest).At - 1, Oldest: c.ring.at(oldest).At}
	}
	w.fresh = c.ring.after(w.fresh, w.next)
	switch {
	case c.failure != nil:
		return c.failure
	case c.state.state == bench.Stopped:
		return c.stopped()
	case c.quiet(now):
		return c.silent(now)
	}
	return nil
}

// see takes a sample into the trace and reports whether the watch is over.
func (w *watch) see(s bench.Sample, guard trip) (over bool, err error) {
	if s.At < w.from {
		return false, nil
	}
	w.trace = append(w.trace, s)
	first := &w.trace[0]
	waited := s.At.Sub(first.At)
	u := &w.until
	switch {
	case s.State == bench.Stopped:
		return true, &bench.StoppedError{Cause: s.Cause, At: s.At}
	case guard.pending && s.Sequence >= guard.sequence:
		return true, &bench.GuardTripped{At: guard.at}
	case u.Span > 0 && waited >= u.Span:
		return true, nil
	case u.Counts > 0 && gone(first, &s, u.Counter) >= u.Counts:
		return true, nil
	case u.Met != nil && u.Met(s):
		return true, nil
	case u.Limit > 0 && waited >= u.Limit:
		return true, &bench.NotReached{Waited: waited.Seconds()}
	}
	return false, nil
}

// gone is how far a counter is from where it was, either way.
func gone(from, to *bench.Sample, counter int) units.Counts {
	d := to.Counters[counter].Count - from.Counters[counter].Count
	return max(d, -d)
}

// told marks the trip of a guard as told of.
func (c *core) told(t trip) {
	if c.trip.sequence == t.sequence {
		c.trip.pending = false
	}
}
