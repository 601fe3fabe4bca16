// Package moves is the hand at the bench: the few moves that every procedure is
// made of. Spin the drive up, come to a pulse, wait until it is there, take a
// reading, return, rest.
//
// An Axis knows where its counts come from, how far it may turn, and what has
// been found out about it so far. It drives bench.Bench and knows only the
// controller's time. It is used by one procedure at a time.
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

// Axis is one axis at work on the bench.
type Axis struct {
	Bench   bench.Bench
	Report  bench.Reporter
	Name    string
	Servo   int            // the controller's number of the axis
	Output  measure.Sensor // of the output wheel
	Shaft   measure.Sensor // of the drive shaft
	Nominal units.RPM      // of the drive shaft, from the rig file
	Middle  units.Pulse    // where the servo was assembled, from the rig file
	Limits  bench.PulseLimits
	Others  []Other // the outputs that share the drive

	// Room is how far the output may go, in absolute counts of its counter, for
	// every joint to stay inside its travel while all other outputs stand as in
	// the sample.
	Room func(bench.Sample) (low, high units.Counts)

	Known Known
}

// Other is another output of the rig.
type Other struct {
	Name   string
	Sensor measure.Sensor
}

// Known is what the check found out; the moves need it.
type Known struct {
	Neutral    units.Pulse `json:"neutral_us"`     // the output stands still there
	CountsUp   units.Pulse `json:"counts_up_us"`   // the output turns comfortably and counts up
	CountsDown units.Pulse `json:"counts_down_us"` // and counts down
}

// Times of the moves, on the controller's clock.
const (
	// frameTime: a pulse takes effect at the next servo frame, and the servo
	// answers one frame later (50 Hz frames: common practice).
	frameTime = 40 * time.Millisecond
	// servoLag covers the last part of a servo's move, some five of its time
	// constants (25 ms, common for small servos, from memory).
	servoLag = 140 * time.Millisecond
	// slowestServo is the slew planned with: 0.2 s for 60 degrees at 0.09 degrees
	// a microsecond is 3300 us/s (twice as slow as the data sheets quoted for
	// small servos, 0.10 to 0.12 s).
	slowestServo = 3300.0 // us/s
	// spinLimit is how long the drive may take to come to speed.
	spinLimit = 8 * time.Second
)

// Report helpers keep the procedures readable.

// Say reports a note whose text is formatted as by fmt.Sprintf.
func (a *Axis) Say(kind bench.Kind, format string, values ...any) {
	a.Report(bench.Note{Kind: kind, Text: fmt.Sprintf(format, values...)})
}

// Find reports a finding.
func (a *Axis) Find(f finding.Finding) {
	a.Report(bench.Note{Kind: bench.Found, Text: string(f.Name) + ": " + f.Evidence, Data: f})
}

// Now is the newest sample.
func (a *Axis) Now(ctx context.Context) (bench.Sample, error) {
	trace, err := a.Bench.Watch(ctx, bench.Until{Met: func(bench.Sample) bool { return true }})
	return trace.Last(), err
}

// Wait lets a span of the controller's time pass.
func (a *Axis) Wait(ctx context.Context, from units.Instant, span time.Duration) error {
	_, err := a.Bench.Watch(ctx, bench.Until{From: from, Span: span})
	return err
}

// settleTime is how long the servo may need for a move of so many us.
func settleTime(move units.Pulse) time.Duration {
	slewing := time.Duration(math.Abs(float64(move)) / slowestServo * float64(time.Second))
	return frameTime + slewing + servoLag
}

// Come brings the tilt to a pulse and returns when the servo, by its data, is
// there. from is the pulse it comes from.
func (a *Axis) Come(ctx context.Context, from, to units.Pulse) (units.Instant, error) {
	at, err := a.Bench.Tilt(ctx, bench.Tilt{Axis: a.Servo, Pulse: to.Rounded()})
	if err != nil {
		return at, err
	}
	there := at.Add(settleTime(to - from))
	_, err = a.Bench.Watch(ctx, bench.Until{
		Met:   func(s bench.Sample) bool { return s.At >= there },
		Limit: 2*settleTime(to-from) + time.Second,
	})
	return there, err
}

// Rest brings the tilt to neutral and waits until it is there.
func (a *Axis) Rest(ctx context.Context, from units.Pulse) error {
	_, err := a.Come(ctx, from, a.Known.Neutral)
	return err
}

// Spin switches the drive on and waits until its speed is steady: two windows
// of a quarter second that differ by less than two percent, or by no more than
// their counts can tell. It returns the speed. A drive whose counter stays
// silent is a finding.
func (a *Axis) Spin(ctx context.Context) (units.RPM, error) {
	from, err := a.Bench.Drive(ctx, bench.Forward)
	if err != nil {
		return 0, err
	}
	const window = 250 * time.Millisecond
	before := units.Estimate{}
	for start := from; start.Sub(from) < spinLimit; {
		trace, err := a.Bench.Watch(ctx, bench.Until{From: start, Span: window})
		if err != nil {
			return 0, err
		}
		speed := measure.Speed(trace, a.Shaft)
		change := math.Abs(speed.Value - before.Value)
		quantum := 3 * math.Hypot(speed.StdErr, before.StdErr)
		if math.Abs(speed.Value) > 0.3 && change < math.Max(0.02*math.Abs(speed.Value), quantum) {
			return units.RPM(math.Abs(speed.Value) * 60), nil
		}
		before, start = speed, trace.Last().At
	}
	return 0, &finding.Error{Finding: finding.Finding{
		Name: finding.DriveDead, Weight: finding.Grave,
		Evidence: fmt.Sprintf("the drive was on for %.0f s and its counter %d shows no steady turning (last %.0f rpm)",
			spinLimit.Seconds(), a.Shaft.Counter, before.Value*60),
		OneOf:  []string{"motor supply off or its switch output not wired", "shaft jammed", "drive counter not connected, or its wheel loose on the shaft"},
		ToTell: "look at the shaft while the drive is on: does it turn?",
		Cure:   "if it turns, mend the counter; if not, the motor, its supply or the jam",
	}}
}

// Halt switches the drive off and waits until the shaft stands, at most 3 s.
func (a *Axis) Halt(ctx context.Context) error {
	from, err := a.Bench.Drive(ctx, bench.Off)
	if err != nil {
		return err
	}
	for start := from; start.Sub(from) < 3*time.Second; {
		trace, err := a.Bench.Watch(ctx, bench.Until{From: start, Span: 200 * time.Millisecond})
		if err != nil {
			return err
		}
		if d := trace.Delta(a.Shaft.Counter); d > -2 && d < 2 {
			return nil
		}
		start = trace.Last().At
	}
	return nil
}
