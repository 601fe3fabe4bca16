package bench

import "trunnion/tuning/units"

// MaxAxes and MaxCounters bound what one controller may have.
const (
	MaxAxes     = 6
	MaxCounters = 8
)

// State of the rig, as the controller reports it.
type State uint8

// The four states: nothing may move; it may; it does; it was stopped and stays
// so until cleared on purpose.
const (
	Safe State = iota
	Armed
	Moving
	Stopped
)

func (s State) String() string {
	if s > Stopped {
		return "unknown"
	}
	return [...]string{"safe", "armed", "moving", "stopped"}[s]
}

// Cause says why the rig is stopped.
type Cause uint8

// Causes of a latched stop; CauseNone in every other state.
const (
	CauseNone     Cause = iota
	CauseHost           // the host asked
	CauseSilence        // no valid frame for the watchdog's time
	CauseInput          // the stop input opened
	CauseTravel         // a travel limit was crossed
	CauseCounter        // a counter went faster than it can count, or failed
	CauseStream         // the set-point stream ran dry while moving
	CauseInternal       // the controller found a fault in itself
)

func (c Cause) String() string {
	if c > CauseInternal {
		return "an unknown cause"
	}
	return [...]string{
		"none", "asked by the host", "no word from the host", "the stop input opened",
		"a travel limit was crossed", "a counter failed", "the set-point stream ran dry", "a fault in the controller",
	}[c]
}

// Flags of a sample.
type Flags uint8

// What a sample's flags say.
const (
	DriveOn      Flags = 1 << iota // the motor is switched on
	DriveReverse                   // and in reverse
	GuardSet                       // at least one guard is armed
	GuardHit                       // a guard has cut the drive
	StopOpen                       // the stop input is open
	Selecting                      // the selector is changing over
	BeyondTravel                   // a travel limit is exceeded now
	NeutralKnown                   // every axis has a neutral pulse
)

// Sample is the whole rig at one moment: all counters latched together.
type Sample struct {
	Sequence uint64        // counts up by one a sample within a connection
	At       units.Instant // when the counters were latched
	State    State
	Cause    Cause
	Flags    Flags
	Counters [MaxCounters]Counter
	Axes     [MaxAxes]Axis
}

// Has reports whether all of f are set.
func (s Sample) Has(f Flags) bool { return s.Flags&f == f }

// Counter is a sensor at one moment.
type Counter struct {
	Count    units.Counts
	LastEdge units.Instant // when Count was reached; 0 when that is not known or too long ago
}

// Axis is a servo at one moment.
type Axis struct {
	Pulse  units.Pulse   // in force; 0 is none, the servo hangs free
	Since  units.Instant // since when; 0 when that is not known or too long ago
	Closed bool          // its loop is closed
}

// Trace is a run of samples, oldest first.
type Trace []Sample

// Delta is how far a counter went over the trace; 0 for fewer than two samples.
func (t Trace) Delta(counter int) units.Counts {
	if len(t) < 2 {
		return 0
	}
	return t[len(t)-1].Counters[counter].Count - t[0].Counters[counter].Count
}

// Seconds is the span of the trace on the controller's clock.
func (t Trace) Seconds() float64 {
	if len(t) < 2 {
		return 0
	}
	return t[len(t)-1].At.Sub(t[0].At).Seconds()
}

// Last is the newest sample; the nought sample of an empty trace.
func (t Trace) Last() Sample {
	if len(t) == 0 {
		return Sample{}
	}
	return t[len(t)-1]
}

// After returns the part of the trace from instant i on.
func (t Trace) After(i units.Instant) Trace {
	for k := range t {
		if t[k].At >= i {
			return t[k:]
		}
	}
	return nil
}
