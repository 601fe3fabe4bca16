// Package bench says what a procedure may do to a rig, and holds the types of
// what it sees there.
//
// A procedure is written against Bench and knows only the controller's time. So
// the same code runs over a serial line, on the virtual rig in real time, on
// the virtual rig hundreds of times faster, and on a recorded run.
//
// Nothing here moves anything by itself: the session arms the rig through
// Safety, and a Bench whose rig is not armed answers every motion with a
// Refused error. A Bench serves one procedure at a time; Safety and Park may be
// called from any goroutine at any time.
package bench

import (
	"context"
	"time"

	"trunnion/tuning/units"
)

// Bench is what a procedure may do to a rig. Every method returns a typed error
// from this package when the rig refused, stopped or went silent; each may also
// return the context's error.
type Bench interface {
	// Identity is what the controller said of itself at the start.
	Identity() Identity

	// Drive switches the motor of the drive shaft and returns the controller's
	// time at which that took effect.
	Drive(context.Context, Direction) (units.Instant, error)

	// Select engages one output, on a rig whose drive has a selector, and
	// returns when it is engaged. Other rigs answer with Refused.
	Select(ctx context.Context, axis int) (units.Instant, error)

	// Tilt brings the servos of one or several axes to new pulses, all at the
	// same servo frame, and returns the time of that frame: the pulse takes
	// effect there, not when the command was sent.
	Tilt(context.Context, ...Tilt) (units.Instant, error)

	// Watch returns the samples from until.From to the first one that meets
	// until. On error the trace holds what was seen up to then.
	Watch(ctx context.Context, until Until) (Trace, error)

	// Guard arms, or with no counts and no time removes, the guards that cut
	// the drive. A tripped guard makes Watch return a GuardTripped error and
	// keeps the drive off until guards are set anew.
	Guard(context.Context, ...Guard) error

	// SetPulseLimits bounds the pulses and their slew for an axis.
	SetPulseLimits(ctx context.Context, axis int, limits PulseLimits) error

	// SetNeutral tells the controller the pulse that parks an axis.
	SetNeutral(ctx context.Context, axis int, pulse units.Pulse) error

	// SetTravelLimits bounds linear forms of the counts; crossing one stops the
	// rig, latched. It replaces all earlier ones.
	SetTravelLimits(context.Context, ...TravelLimit) error

	// SetDatum gives the present place of a counter the count value. It is
	// refused while anything moves.
	SetDatum(ctx context.Context, counter int, value units.Counts) error

	// LoadLoop gives an axis its inverse table and gains.
	LoadLoop(ctx context.Context, axis int, loop Loop) error

	// SetPoint gives closed-loop set-points, all at one time, and returns that
	// time. The first one for an axis closes its loop.
	SetPoint(context.Context, ...SetPoint) (units.Instant, error)

	// Stream queues set-points to be followed at their times.
	Stream(context.Context, ...TimedSetPoint) error

	// Release opens the loop of an axis, which goes to its neutral pulse.
	Release(ctx context.Context, axis int) error

	// Park brings every axis to neutral and switches the drive off. It is safe
	// to call twice and from any state, and runs on its own deadline, so that a
	// cancelled procedure parks as well. Every procedure defers it.
	Park() error
}

// Safety is what the session, and only it, may do beyond a procedure.
type Safety interface {
	// Arm lets the rig move. It is refused unless the state is Safe.
	Arm(context.Context) error
	// Stop stops the rig at once, latched. It never blocks on a slow line for
	// longer than its own deadline and may be called from any goroutine.
	Stop() error
	// Clear takes the latch off on purpose and leaves the rig Safe.
	Clear(context.Context) error
}

// Direction of the drive shaft.
type Direction int

// The drive may be off, or turn forward or, where it can, in reverse.
const (
	Off Direction = iota
	Forward
	Reverse
)

func (d Direction) String() string {
	return [...]string{"off", "forward", "reverse"}[d]
}

// Tilt is a pulse for an axis.
type Tilt struct {
	Axis  int
	Pulse units.Pulse
}

// PulseLimits bound what the controller lets a servo be sent.
type PulseLimits struct {
	Least, Most units.Pulse
	SlewPerSec  units.Pulse // greatest change in a second; 0 is no bound
}

// Contains reports whether p is within the limits.
func (l PulseLimits) Contains(p units.Pulse) bool { return p >= l.Least && p <= l.Most }

// Guard cuts the drive when a counter has gone so many counts from where it was
// when the guard was set, either way, or when the drive has been on for so long
// since then, whichever comes first.
type Guard struct {
	Counter int
	Counts  units.Counts  // 0 is no bound on counts
	Time    time.Duration // 0 is no bound on time; to the millisecond, at most 65 s
}

// TravelLimit bounds the sum of weight times count over the counters.
type TravelLimit struct {
	Weights     []float64 // one a counter, in order; trailing noughts may be left off
	Least, Most float64   // in weighted counts
}

// Until says when a Watch ends. The first condition met ends it. At least one
// of Span, Counts and Met is given.
type Until struct {
	From    units.Instant     // the first sample is the first one not before this; 0 is now
	Span    time.Duration     // controller time since the first sample
	Counter int               // for Counts
	Counts  units.Counts      // the counter has gone so far, either way, since the first sample
	Met     func(Sample) bool // a predicate on the newest sample
	Limit   time.Duration     // when Counts or Met is not met in this time: NotReached; 0 is 30 s
}
