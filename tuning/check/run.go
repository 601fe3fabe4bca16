package check

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

const (
	burstTurns = 2.5             // shaft turns of a burst, so that a runout shows
	burstTime  = 4 * time.Second // the longest burst, spinning up included
	// burstRoom is the share of the free room that one burst may use; the guard
	// cuts there, and the shaft runs on a little.
	burstRoom = 0.1
	mostBurst = 0.5 // output turns
	mostTries = 24  // bursts
	edgeStep  = 10.0
	// walkShare is how far of the pulse range the search for an edge goes from
	// where the output stood: wider than any dead band that can be used. An
	// output that has not been seen to turn by then may turn unseen, with its
	// counter dead, and the travel limits are blind as well.
	walkShare = 0.15
	jogStep   = 40.0
	jogTurns  = 2.0
	// wantedRatio is as far as the jog goes: beyond it a ball's contacts work at
	// tilts above some 55 degrees, out of what is usable (common practice).
	wantedRatio = 1.5
)

// Run checks an axis from power-up. The rig must be armed, the drive off. On
// return Known of the axis is filled in, the controller knows the neutral and
// the pulse limits, and the rig is parked.
func Run(ctx context.Context, ax *moves.Axis) (Result, error) {
	defer ax.Bench.Park()
	// The limits of an earlier check may be tighter than this one needs.
	if err := ax.Bench.SetPulseLimits(ctx, ax.Servo, ax.Limits); err != nil {
		return Result{}, err
	}
	r := Result{Jog: []Jog{}, Bursts: []Burst{}, Findings: []finding.Finding{}}
	if err := quiet(ctx, ax, &r); err != nil {
		return r, err
	}
	if err := findStill(ctx, ax, &r); err != nil {
		return r, err
	}
	if _, err := ax.Spin(ctx); err != nil {
		return r, err
	}
	if err := roughEdges(ctx, ax, &r); err != nil {
		return r, err
	}
	if err := shaftSpeed(ctx, ax, &r); err != nil {
		return r, err
	}
	if err := jogLimits(ctx, ax, &r); err != nil {
		return r, err
	}
	conclude(ax, &r)
	r.Known = ax.Known
	for _, f := range r.Findings {
		ax.Find(f)
	}
	if err := ax.Bench.SetPulseLimits(ctx, ax.Servo, bench.PulseLimits{Least: r.PulseLeast, Most: r.PulseMost, SlewPerSec: ax.Limits.SlewPerSec}); err != nil {
		return r, err
	}
	return r, ax.Bench.Park()
}

// quiet sees that no counter moves while the drive is off.
func quiet(ctx context.Context, ax *moves.Axis, r *Result) error {
	ax.Say(bench.Intends, "watch the counters for half a second with the drive off; nothing moves")
	if err := ax.Halt(ctx); err != nil { // the shaft may still be running down from the task before
		return err
	}
	trace, err := ax.Bench.Watch(ctx, bench.Until{Span: 500 * time.Millisecond})
	if err != nil {
		return err
	}
	for _, counter := range []int{ax.Shaft.Counter, ax.Output.Counter} {
		if d := trace.Delta(counter); d > 2 || d < -2 {
			return &finding.Error{Finding: countsAtRest(counter, d)}
		}
	}
	ax.Say(bench.Seen, "the counters of shaft and output stand still")
	return nil
}

// Hold sees that an axis stands while another one is worked at: it is brought to
// its neutral, which is first looked for as at a cold start if nobody knows it
// yet. The rig must be armed and the drive off.
func Hold(ctx context.Context, ax *moves.Axis) error {
	if ax.Known.Neutral == 0 {
		r := Result{}
		return findStill(ctx, ax, &r)
	}
	if err := ax.Bench.SetNeutral(ctx, ax.Servo, ax.Known.Neutral); err != nil {
		return err
	}
	_, err := ax.Come(ctx, ax.Middle, ax.Known.Neutral)
	return err
}

// wander is how far the speed strays within a trace, turns a second: the
// standard deviation over its tenths. The speed is used for minutes, and the
// counts alone would have it known better than it stays.
func wander(trace bench.Trace, shaft measure.Sensor) float64 {
	const parts = 10
	var sum, square float64
	for k := range parts {
		v := measure.Speed(trace[k*len(trace)/parts:(k+1)*len(trace)/parts], shaft).Value
		sum += v
		square += v * v
	}
	mean := sum / parts
	return math.Sqrt(math.Max(0, square/parts-mean*mean) * parts / (parts - 1))
}

// findStill hunts for a pulse at which the output stands, by bursts under
// guard, and makes it the first neutral.
func findStill(ctx context.Context, ax *moves.Axis, r *Result) error {
	start := ax.Middle
	if ax.Known.Neutral != 0 {
		start = ax.Known.Neutral
	}
	now, err := ax.Now(ctx)
	if err != nil {
		return err
	}
	down, up := ax.Free(now)
	most := math.Min(mostBurst, burstRoom*float64(down+up)/2)
	ax.Say(bench.Intends, "no neutral is known: short bursts of drive from %v on, each cut by a guard at %.2f output turns", start, most)
	pulse, from := start, start
	for len(r.Bursts) < mostTries {
		b, err := burst(ctx, ax, from, pulse, most)
		if err != nil {
			return err
		}
		r.Bursts = append(r.Bursts, b)
		ax.Report(bench.Note{Kind: bench.Reading, Text: b.String(), Data: b})
		if b.still(ax.Output.PerTurn) {
			r.StillPulse, ax.Known.Neutral = pulse, pulse
			if err := ax.Bench.SetNeutral(ctx, ax.Servo, pulse); err != nil {
				return err
			}
			ax.Say(bench.Decided, "the output stands at %v: that is the first neutral", pulse)
			return ax.Bench.Guard(ctx)
		}
		from = pulse
		next, ok := nextBurst(r.Bursts, ax.Limits.Least, ax.Limits.Most)
		if !ok {
			break
		}
		pulse = next
	}
	return noStillPulse(r.Bursts)
}

// burst comes to a pulse with the drive off, runs it for a few shaft turns
// under guard, and lets the shaft run down.
func burst(ctx context.Context, ax *moves.Axis, from, pulse units.Pulse, most float64) (Burst, error) {
	b := Burst{Pulse: pulse}
	if _, err := ax.Come(ctx, from, pulse); err != nil {
		return b, err
	}
	guards := []bench.Guard{{Counter: ax.Output.Counter, Counts: units.Counts(math.Max(4, most*ax.Output.PerTurn)), Time: burstTime}}
	for _, o := range ax.Others { // they share the drive, and may stand anywhere yet
		guards = append(guards, bench.Guard{Counter: o.Sensor.Counter, Counts: units.Counts(math.Max(4, most*o.Sensor.PerTurn))})
	}
	if err := ax.Bench.Guard(ctx, guards...); err != nil {
		return b, err
	}
	start, err := ax.Now(ctx)
	if err != nil {
		return b, err
	}
	if _, err := ax.Bench.Drive(ctx, bench.Forward); err != nil {
		return b, err
	}
	_, err = ax.Bench.Watch(ctx, bench.Until{
		Counter: ax.Shaft.Counter, Counts: units.Counts(burstTurns * ax.Shaft.PerTurn), Limit: burstTime + time.Second,
	})
	var tripped *bench.GuardTripped
	if b.Guarded = errors.As(err, &tripped); err != nil && !b.Guarded {
		return b, err
	}
	if err := ax.Halt(ctx); err != nil {
		return b, err
	}
	if err := ax.Bench.Guard(ctx); err != nil {
		return b, err
	}
	end, err := ax.Now(ctx)
	if err != nil {
		return b, err
	}
	b.OutputTurns = turns(start, end, ax.Output)
	b.ShaftTurns = turns(start, end, ax.Shaft)
	if b.ShaftTurns < -0.3 {
		return b, driveBackward(b.ShaftTurns)
	}
	if math.Abs(b.ShaftTurns) < 0.3 {
		return b, &finding.Error{Finding: finding.Finding{
			Name: finding.DriveDead, Weight: finding.Grave,
			Evidence: fmt.Sprintf("in a burst of %.0f s the drive's counter %d went %.2f turns and the output's %.2f", burstTime.Seconds(), ax.Shaft.Counter, b.ShaftTurns, b.OutputTurns),
			OneOf:    []string{"motor supply off or its switch output not wired", "shaft jammed", "drive counter not connected"},
			ToTell:   "listen and look: did the shaft turn?",
			Cure:     "if it did, mend the counter; if not, the motor, its supply or the jam",
		}}
	}
	return b, nil
}

func turns(a, b bench.Sample, s measure.Sensor) float64 {
	return float64(b.Counters[s.Counter].Count-a.Counters[s.Counter].Count) / s.PerTurn
}

// roughEdges walks outward from the still pulse on both sides until the output
// turns, and puts neutral between.
func roughEdges(ctx context.Context, ax *moves.Axis, r *Result) error {
	ax.Say(bench.Intends, "with the drive on, step outward by %.0f us until the output turns, first above, then below", edgeStep)
	above, signAbove, err := walk(ctx, ax, r.StillPulse, edgeStep)
	if err != nil {
		return err
	}
	below, signBelow, err := walk(ctx, ax, r.StillPulse, -edgeStep)
	if err != nil {
		return err
	}
	if signAbove == signBelow {
		return noStillPulse(r.Bursts)
	}
	r.RoughAbove, r.RoughBelow, r.CountsAbove = above, below, signAbove
	r.Neutral = ((above + below) / 2).Rounded()
	ax.Known.Neutral = r.Neutral
	ax.Say(bench.Decided, "the output turns from about %v down and %v up; neutral is about %v", below, above, r.Neutral)
	return ax.Bench.SetNeutral(ctx, ax.Servo, r.Neutral)
}

// mostOther is how far another output may go meanwhile, in turns: it stands at
// its neutral, and a shaken wheel is not a turning one.
const mostOther = 0.05

// walk steps from neutral until the output turns, and goes back to neutral. It
// returns the pulse and the direction of the counts.
func walk(ctx context.Context, ax *moves.Axis, start units.Pulse, step units.Pulse) (units.Pulse, int, error) {
	from := start
	most := units.Pulse(walkShare * float64(ax.Limits.Most-ax.Limits.Least))
	for pulse := start + step; ax.Limits.Contains(pulse) && max(pulse-start, start-pulse) <= most; pulse += step {
		at, err := ax.Come(ctx, from, pulse)
		if err != nil {
			return 0, 0, err
		}
		trace, err := ax.WatchTurns(ctx, at, moves.Gate{Turns: jogTurns})
		if err != nil {
			return 0, 0, err
		}
		from = pulse
		for _, o := range ax.Others {
			if went := float64(trace.Delta(o.Sensor.Counter)) / o.Sensor.PerTurn; math.Abs(went) > mostOther {
				return 0, 0, outputsSwapped(ax.Name, o.Name, pulse, went)
			}
		}
		b := Burst{Pulse: pulse, OutputTurns: float64(trace.Delta(ax.Output.Counter)) / ax.Output.PerTurn, ShaftTurns: float64(trace.Delta(ax.Shaft.Counter)) / ax.Shaft.PerTurn}
		if !b.still(ax.Output.PerTurn) {
			return pulse, int(math.Copysign(1, b.OutputTurns)), ax.Rest(ctx, pulse)
		}
	}
	return 0, 0, outputDead([]Jog{{Pulse: from}})
}

// shaftSpeed measures the drive's speed at neutral.
func shaftSpeed(ctx context.Context, ax *moves.Axis, r *Result) error {
	trace, err := ax.Bench.Watch(ctx, bench.Until{Span: 3 * time.Second})
	if err != nil {
		return err
	}
	speed := measure.Speed(trace, ax.Shaft)
	r.ShaftSpeed = units.Estimate{Value: 60 * speed.Value, StdErr: 60 * math.Hypot(speed.StdErr, wander(trace, ax.Shaft))}
	ax.Say(bench.Seen, "the drive shaft turns at %v rpm", r.ShaftSpeed)
	return nil
}

// conclude adds the findings that the whole check supports.
func conclude(ax *moves.Axis, r *Result) {
	if r.CountsAbove < 0 {
		r.Findings = append(r.Findings, reversed(*r))
	}
	if math.Abs(float64(r.Neutral-ax.Middle)) > farFromMiddle {
		r.Findings = append(r.Findings, offCentre(*r, ax.Middle))
	}
	if nominal := float64(ax.Nominal); math.Abs(r.ShaftSpeed.Value-nominal) > speedShare*nominal {
		r.Findings = append(r.Findings, slow(*r, ax.Nominal))
	}
}
