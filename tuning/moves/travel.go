package moves

import (
	"context"
	"fmt"
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// NoRoom says that a move needs more travel than the joints can spare.
type NoRoom struct {
	Axis      string
	Needed    units.Turns // of the output
	Low, High units.Turns // free on either side of where it stands
}

func (e *NoRoom) Error() string {
	return fmt.Sprintf("%s: the move needs %.2f output turns and the joint can spare %.2f down and %.2f up; "+
		"widen travel or free_at_start in the rig file if the machine has more", e.Axis, float64(e.Needed), float64(e.Low), float64(e.High))
}

// Free is how far the output may turn down and up from where it stands, both
// as positive turns; noughts where it stands outside its travel on that side.
func (a *Axis) Free(s bench.Sample) (down, up units.Turns) {
	low, high := a.Room(s)
	here := s.Counters[a.Output.Counter].Count
	down = units.Turns(math.Max(0, float64(here-low)/a.Output.PerTurn))
	up = units.Turns(math.Max(0, float64(high-here)/a.Output.PerTurn))
	return down, up
}

// Middle is the count in the middle of the room, and the room's width in turns.
func (a *Axis) middle(s bench.Sample) (count units.Counts, width units.Turns) {
	low, high := a.Room(s)
	return low + (high-low)/2, units.Turns(float64(high-low) / a.Output.PerTurn)
}

// nearMiddle is the share of the room within which the output counts as in the middle.
const nearMiddle = 0.05

// Centred reports whether the output stands in the middle of its room.
func (a *Axis) Centred(s bench.Sample) bool {
	target, width := a.middle(s)
	return math.Abs(float64(target-s.Counters[a.Output.Counter].Count)) <= nearMiddle*float64(width)*a.Output.PerTurn
}

// Return brings the output back to the middle of its room, with the drive on, and
// rests it there. It does nothing when it is there already. from is the pulse
// in force; the tilt is at neutral afterwards.
func (a *Axis) Return(ctx context.Context, from units.Pulse) error {
	s, err := a.Now(ctx)
	if err != nil {
		return err
	}
	if a.Centred(s) {
		return a.Rest(ctx, from)
	}
	target, _ := a.middle(s)
	pulse := a.Known.CountsUp
	if target < s.Counters[a.Output.Counter].Count {
		pulse = a.Known.CountsDown
	}
	if err := a.Reach(ctx, from, pulse, target); err != nil {
		return err
	}
	return a.Rest(ctx, pulse)
}

// reachLimit is how long a way back may take: the slowest ratio of a check over
// the travel of a long joint. A joint that stands meanwhile is noticed at once.
const reachLimit = 5 * time.Minute

// Reach drives with the given pulse until the output comes to a count, and
// leaves the pulse in force. The count lies ahead in the direction that the
// pulse turns the output; if the output comes no nearer, NotReached tells.
func (a *Axis) Reach(ctx context.Context, from, pulse units.Pulse, target units.Counts) error {
	s, err := a.Now(ctx)
	if err != nil {
		return err
	}
	up := target > s.Counters[a.Output.Counter].Count
	if _, err := a.Bench.Tilt(ctx, bench.Tilt{Axis: a.Servo, Pulse: pulse.Rounded()}); err != nil {
		return err
	}
	_, err = a.Bench.Watch(ctx, bench.Until{
		Met: func(s bench.Sample) bool {
			here := s.Counters[a.Output.Counter].Count
			return (up && here >= target) || (!up && here <= target)
		},
		Limit: reachLimit,
	})
	return err
}

// Gate says how a reading is to be taken.
type Gate struct {
	Turns  float64 // shaft turns to watch once settled; at least 2
	Travel float64 // greatest output turns the joint can spare for it
}

// Read brings the tilt to a pulse, waits until it is there, and takes a reading
// over the gate. A window that still shows a trend is watched once more, at
// most twice, and the later window is the reading. The drive must be on. from
// is the pulse in force; the pulse read at stays in force.
func (a *Axis) Read(ctx context.Context, from, pulse units.Pulse, approach measure.Approach, gate Gate) (measure.Reading, error) {
	start, err := a.Come(ctx, from, pulse)
	if err != nil {
		return measure.Reading{}, err
	}
	var r measure.Reading
	for range 3 {
		trace, err := a.WatchTurns(ctx, start, gate)
		if err != nil {
			return r, err
		}
		r = measure.Take(trace, a.Shaft, a.Output)
		if math.IsInf(r.Ratio.StdErr, 0) {
			return r, &finding.Error{Finding: finding.Finding{
				Name: finding.DriveDead, Weight: finding.Grave,
				Evidence: fmt.Sprintf("at %v the counter of the drive shaft stood still over %.1f s", pulse, trace.Seconds()),
				OneOf:    []string{"shaft jammed or motor stalled", "drive counter not connected, or its wheel loose on the shaft"},
				ToTell:   "look at the shaft while the drive is on: does it turn?",
				Cure:     "if it turns, mend the counter; if not, free the shaft",
			}}
		}
		r.Pulse, r.Approach = pulse.Rounded(), approach
		if r.Settled() || math.Abs(r.OutputTurns) > gate.Travel/3 {
			break
		}
		start = trace.Last().At
	}
	return r, nil
}

// WatchTurns watches until the shaft has turned the gate's turns, or the output
// has used up its travel.
func (a *Axis) WatchTurns(ctx context.Context, from units.Instant, gate Gate) (bench.Trace, error) {
	turns := math.Max(2, gate.Turns)
	travel := gate.Travel
	if travel <= 0 {
		travel = math.Inf(1)
	}
	var first *bench.Sample
	return a.Bench.Watch(ctx, bench.Until{
		From: from,
		Met: func(s bench.Sample) bool {
			if first == nil {
				first = &s
			}
			shaft := float64(s.Counters[a.Shaft.Counter].Count - first.Counters[a.Shaft.Counter].Count)
			output := float64(s.Counters[a.Output.Counter].Count - first.Counters[a.Output.Counter].Count)
			return math.Abs(shaft) >= turns*a.Shaft.PerTurn || math.Abs(output) >= travel*a.Output.PerTurn
		},
		Limit: 15*time.Second + time.Duration(2*turns/a.Nominal.PerSecond()*float64(time.Second)),
	})
}
