package step

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// Taken is one step as it was made.
type Taken struct {
	FromPulse units.Pulse   `json:"from_pulse_us"`
	ToPulse   units.Pulse   `json:"to_pulse_us"`
	FromRatio float64       `json:"from_ratio"` // by the fitted curve
	ToRatio   float64       `json:"to_ratio"`
	At        units.Instant `json:"at_us"` // the servo frame at which the new pulse took effect
	First     uint64        `json:"first_sample"`
	Last      uint64        `json:"last_sample"`
	Trace     bench.Trace   `json:"-"`
}

const (
	before = 400 * time.Millisecond // steady running watched before the step
	after  = 700 * time.Millisecond // and after it: five times the slowest servo's lag and dead time together
)

// Settings of the task.
type Settings struct {
	Curve      Curve
	RatioLeast float64 // measured range
	RatioMost  float64
	Earlier    []Taken // of an interrupted task, to be gone on with; with their traces
}

// Run makes the planned steps and fits them together. It parks the rig at the
// end.
func Run(ctx context.Context, ax *moves.Axis, s Settings) (Result, error) {
	defer ax.Bench.Park()
	reach, err := reach(ctx, ax)
	if err != nil {
		return Result{}, err
	}
	plan := Plan(max(s.RatioLeast, -reach), min(s.RatioMost, reach))
	ax.Say(bench.Intends, "step the tilt %d times between ratios up to %+.2f and %+.2f, about a second each", len(plan), min(s.RatioMost, mostRatio), max(s.RatioLeast, -mostRatio))
	if _, err := ax.Come(ctx, ax.Middle, ax.Known.Neutral); err != nil {
		return Result{}, err
	}
	if _, err := ax.Spin(ctx); err != nil {
		return Result{}, err
	}
	taken, earlier := []Taken{}, slices.Clone(s.Earlier)
	for i, p := range plan {
		if k := slices.IndexFunc(earlier, p.isOf); k >= 0 {
			taken = append(taken, earlier[k])
			earlier = slices.Delete(earlier, k, k+1)
			continue
		}
		if err := makeRoom(ctx, ax, p); err != nil {
			return Result{}, err
		}
		t, err := one(ctx, ax, s.Curve, p)
		if err != nil {
			return Result{}, err
		}
		taken = append(taken, t)
		ax.Report(bench.Note{Kind: bench.Reading, Data: t, Text: fmt.Sprintf("step %+.2f to %+.2f: %v to %v, %d samples", t.FromRatio, t.ToRatio, t.FromPulse, t.ToPulse, len(t.Trace))})
		ax.Report(bench.Note{Kind: bench.Progress, Data: bench.Advance{Done: i + 1, Of: len(plan), SecondsLeft: 2 * float64(len(plan)-i-1)}})
	}
	if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
		return Result{}, err
	}
	result, err := Analyse(taken, s.Curve, ax.Shaft, ax.Output)
	if err != nil {
		return result, err
	}
	for _, f := range result.Findings {
		ax.Find(f)
	}
	return result, ax.Bench.Park()
}

// shaftTurns is how far the shaft turns in a step, with 0.8 s of coming and going
// beside the watch.
func shaftTurns(ax *moves.Axis) float64 {
	const allowance = 0.8
	return (before.Seconds() + after.Seconds() + allowance) * ax.Nominal.PerSecond()
}

// reach is the largest ratio for which the room suffices, from its middle, with a
// tenth to spare; the largest step goes to 0.7 of it.
func reach(ctx context.Context, ax *moves.Axis) (float64, error) {
	now, err := ax.Now(ctx)
	if err != nil {
		return 0, err
	}
	down, up := ax.Free(now)
	const largestShare = 0.7 // of the plan
	return 0.9 * float64(down+up) / 2 / shaftTurns(ax) / largestShare, nil
}

// makeRoom brings the joint back when the step would need more than is free on
// its side.
func makeRoom(ctx context.Context, ax *moves.Axis, p Planned) error {
	now, err := ax.Now(ctx)
	if err != nil {
		return err
	}
	down, up := ax.Free(now)
	free := float64(up)
	if p.ToRatio < 0 {
		free = float64(down)
	}
	needed := math.Max(math.Abs(p.FromRatio), math.Abs(p.ToRatio)) * shaftTurns(ax)
	if needed < free {
		return nil
	}
	if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
		return err
	}
	if needed > float64(down+up)/2 {
		return &moves.NoRoom{Axis: ax.Name, Needed: units.Turns(needed), Low: down, High: up}
	}
	return nil
}

// one runs steadily at the first ratio, steps to the second, and rests.
func one(ctx context.Context, ax *moves.Axis, curve Curve, p Planned) (Taken, error) {
	t := Taken{
		FromPulse: curve.Inverse(p.FromRatio).Rounded(), ToPulse: curve.Inverse(p.ToRatio).Rounded(),
		FromRatio: p.FromRatio, ToRatio: p.ToRatio,
	}
	start, err := ax.Come(ctx, ax.Known.Neutral, t.FromPulse)
	if err != nil {
		return t, err
	}
	if err := ax.Wait(ctx, start, before); err != nil {
		return t, err
	}
	if t.At, err = ax.Bench.Tilt(ctx, bench.Tilt{Axis: ax.Servo, Pulse: t.ToPulse}); err != nil {
		return t, err
	}
	end := t.At.Add(after)
	t.Trace, err = ax.Bench.Watch(ctx, bench.Until{From: start, Met: func(s bench.Sample) bool { return s.At >= end }})
	if err != nil {
		return t, err
	}
	t.First, t.Last = t.Trace[0].Sequence, t.Trace.Last().Sequence
	return t, ax.Rest(ctx, t.ToPulse)
}
