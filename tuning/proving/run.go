package proving

import (
	"context"
	"fmt"
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/moves"
)

// Settings of the proof.
type Settings struct {
	Gains        gains.Result
	Frame        float64            // servo frame, s
	Unit         string             // of the joint
	UnitPerCount float64            // signed
	Tolerance    float64            // in Unit
	Earlier      []Step             // of an interrupted proof, to be gone on with
	Table        []bench.TablePoint // the fitted inverse table
	Counter      int                // of the axis
}

// sizes are a fine, a middling and a large step, in Unit: four tolerances, and a
// twentieth and a sixth of the room. Each is gone up, back, down and back.
func (s Settings) sizes(ax *moves.Axis, now bench.Sample) []float64 {
	low, high := ax.Room(now)
	room := float64(high-low) * math.Abs(s.UnitPerCount)
	return []float64{math.Min(4*s.Tolerance, room/20), room / 20, room / 6}
}

// perSize is how many steps are made of a size: up, back, down and back.
const perSize = 4

// Run loads table and gains, closes the loop at the middle of the room, and
// goes through the steps. It parks the rig at the end.
func Run(ctx context.Context, ax *moves.Axis, s Settings) (Result, error) {
	defer ax.Bench.Park()
	r := Result{Unit: s.Unit, Tolerance: s.Tolerance, Steps: []Step{}, Findings: []finding.Finding{}}
	if _, err := ax.Come(ctx, ax.Middle, ax.Known.Neutral); err != nil {
		return r, err
	}
	if _, err := ax.Spin(ctx); err != nil {
		return r, err
	}
	if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
		return r, err
	}
	if err := ax.Bench.LoadLoop(ctx, ax.Servo, s.Gains.Loop(s.Counter, s.Table)); err != nil {
		return r, err
	}
	now, err := ax.Now(ctx)
	if err != nil {
		return r, err
	}
	sizes := s.sizes(ax, now)
	steps := perSize * len(sizes)
	ax.Say(bench.Intends, "close the loop and go %d steps of up to %.1f %s either way from here", steps, sizes[len(sizes)-1], s.Unit)
	centre := float64(now.Counters[s.Counter].Count)
	at := centre
	for i, size := range sizes {
		if len(s.Earlier) >= perSize*(i+1) { // all steps of this size are made
			r.Steps = append(r.Steps, s.Earlier[perSize*i:perSize*(i+1)]...)
			continue
		}
		for _, offset := range []float64{size, 0, -size, 0} {
			to := math.Round(centre + offset/s.UnitPerCount)
			step, err := oneStep(ctx, ax, s, centre, at, to)
			if err != nil {
				return r, err
			}
			r.Steps = append(r.Steps, step)
			at = to
			report(ax, s, step)
			ax.Report(bench.Note{Kind: bench.Progress, Data: bench.Advance{Done: len(r.Steps), Of: steps, SecondsLeft: 3 * float64(steps-len(r.Steps))}})
		}
	}
	r.conclude()
	for _, f := range r.Findings {
		ax.Find(f)
	}
	if err := ax.Bench.Release(ctx, ax.Servo); err != nil {
		return r, err
	}
	return r, ax.Bench.Park()
}

// oneStep sends the axis from one count to another and measures the way.
func oneStep(ctx context.Context, ax *moves.Axis, s Settings, centre, from, to float64) (Step, error) {
	counter := s.Counter
	start, err := ax.Now(ctx)
	if err != nil {
		return Step{}, err
	}
	began := float64(start.Counters[counter].Count)
	size := to - began // from where it stands: the last step's error is not this one's
	duration := watchTime(s, size)
	predicted, err := gains.Predict(s.Gains, s.Table, ax.Known.Neutral, s.Frame, size, duration)
	if err != nil {
		return Step{}, err
	}
	at, err := ax.Bench.SetPoint(ctx, bench.SetPoint{Axis: ax.Servo, Mode: bench.Position, Value: to})
	if err != nil {
		return Step{}, err
	}
	trace, err := ax.Bench.Watch(ctx, bench.Until{From: at, Span: time.Duration(duration * float64(time.Second))})
	if err != nil {
		return Step{}, err
	}
	measured := make([]gains.Point, len(trace))
	for i := range trace {
		measured[i] = gains.Point{Seconds: trace[i].At.Sub(at).Seconds(), Counts: float64(trace[i].Counters[counter].Count) - began}
	}
	unit := math.Abs(s.UnitPerCount)
	band := math.Max(s.Tolerance/unit, s.Gains.HoldZone)
	step := Step{
		From: (from - centre) * s.UnitPerCount, To: (to - centre) * s.UnitPerCount, At: at,
		Measured: Measure(measured, size, band), Predicted: Measure(predicted, size, band), Apart: apart(measured, predicted) * unit,
	}
	step.Measured.Error *= s.UnitPerCount
	step.Predicted.Error *= s.UnitPerCount
	return step, nil
}

// longestWatch of a step, s; a slow shaft takes a minute for a large one.
const longestWatch = 120

// watchTime is how long a step is watched: the way at the largest ratio, twenty
// loop dead times, the hold delay, and a second of rest.
func watchTime(s Settings, size float64) float64 {
	fastest := math.Min(s.Gains.Law.RatioMost, -s.Gains.Law.RatioLeast) * s.Gains.Plant.RateGain
	return math.Min(longestWatch, math.Abs(size)/fastest+20*s.Gains.Plant.LoopS+s.Gains.Law.HoldDelayS+1)
}

func report(ax *moves.Axis, s Settings, step Step) {
	ax.Report(bench.Note{Kind: bench.Reading, Data: step, Text: fmt.Sprintf(
		"%+.1f to %+.1f %s: rise %.2f s (predicted %.2f), overshoot %.0f %% (%.0f), settled in %.2f s (%.2f), error %+.3f %s",
		step.From, step.To, s.Unit, step.Measured.Rise, step.Predicted.Rise, step.Measured.Overshoot, step.Predicted.Overshoot,
		step.Measured.Settling, step.Predicted.Settling, step.Measured.Error, s.Unit)})
}
