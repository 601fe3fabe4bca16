package curve

import (
	"context"
	"fmt"
	"math"
	"slices"

	"trunnion/tuning/bench"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// Settings of a sweep.
type Settings struct {
	Above, Below Span
	Guess        Guess
	Earlier      []measure.Reading // of an interrupted sweep, to be gone on with
}

const (
	gateTurns  = 4.0  // shaft turns of a reading: three harmonics of the ripple can be told apart
	leastGate  = 2.0  // with little room
	runUp      = 40.0 // us outside the place before an inward reading
	planMargin = 1.25 // on the guessed ratio, in travel
)

// Run takes the readings of the plan. The rig must be armed and the axis
// checked. It parks the rig at the end.
func Run(ctx context.Context, ax *moves.Axis, settings Settings) (Result, error) {
	defer ax.Bench.Park()
	plan := Plan(settings.Above, settings.Below)
	ax.Say(bench.Intends, "take %d readings between %v and %v, sides in turn; the output goes up to ratio %+.2f and %+.2f",
		len(plan), settings.Below.Limit, settings.Above.Limit, settings.Guess.At(settings.Below.Limit), settings.Guess.At(settings.Above.Limit))
	r := Result{Readings: []measure.Reading{}, Unreached: []units.Pulse{}}
	if _, err := ax.Come(ctx, ax.Middle, ax.Known.Neutral); err != nil {
		return r, err
	}
	if _, err := ax.Spin(ctx); err != nil {
		return r, err
	}
	earlier := slices.Clone(settings.Earlier)
	for i, place := range plan {
		if k := slices.IndexFunc(earlier, place.isOf); k >= 0 {
			r.take(earlier[k])
			earlier = slices.Delete(earlier, k, k+1)
			continue
		}
		reading, taken, err := one(ctx, ax, place, settings)
		if err != nil {
			return r, err
		}
		if !taken {
			r.Unreached = append(r.Unreached, place.Pulse)
			ax.Say(bench.Decided, "no reading at %v: the joint has no room for it", place.Pulse)
			continue
		}
		r.take(reading)
		ax.Report(bench.Note{Kind: bench.Reading, Data: reading,
			Text: fmt.Sprintf("%v, %s: ratio %v over %.1f shaft turns", reading.Pulse, reading.Approach, reading.Ratio, reading.ShaftTurns)})
		ax.Report(bench.Note{Kind: bench.Progress, Data: bench.Advance{Done: i + 1, Of: len(plan), SecondsLeft: 2 * float64(len(plan)-i-1)}})
	}
	if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
		return r, err
	}
	if repeat := Repeatability(r.Readings); !math.IsInf(repeat.StdErr, 0) {
		r.Repeatability = repeat
	}
	ax.Say(bench.Decided, "%d readings, ratios %+.3f to %+.3f measured; the tilt comes back to a pulse to %v us", len(r.Readings), r.RatioLeast, r.RatioMost, r.Repeatability)
	return r, ax.Bench.Park()
}

func (r *Result) take(m measure.Reading) {
	r.Readings = append(r.Readings, m)
	r.RatioLeast = math.Min(r.RatioLeast, m.Ratio.Value)
	r.RatioMost = math.Max(r.RatioMost, m.Ratio.Value)
}

// one takes a reading from neutral and goes back there. It reports false when
// the joint has no room even from the middle and with the shortest gate.
func one(ctx context.Context, ax *moves.Axis, place Place, settings Settings) (measure.Reading, bool, error) {
	gate, ok, err := room(ctx, ax, place, settings.Guess)
	if err == nil && !ok {
		if err = ax.Return(ctx, ax.Known.Neutral); err == nil {
			gate, ok, err = room(ctx, ax, place, settings.Guess)
		}
	}
	if err != nil || !ok {
		return measure.Reading{}, false, err
	}
	from := ax.Known.Neutral
	if place.Approach == measure.Inward {
		outside := outward(place.Pulse, settings)
		if _, err := ax.Come(ctx, from, outside); err != nil {
			return measure.Reading{}, false, err
		}
		from = outside
	}
	reading, err := ax.Read(ctx, from, place.Pulse, place.Approach, gate)
	if err != nil {
		return reading, false, err
	}
	return reading, true, ax.Rest(ctx, place.Pulse)
}

// outward is a pulse outside the place, within the limits.
func outward(p units.Pulse, settings Settings) units.Pulse {
	if settings.Above.Limit > settings.Above.Edge && p >= settings.Above.Edge {
		return min(p+runUp, settings.Above.Limit)
	}
	return max(p-runUp, settings.Below.Limit)
}

// room plans the gate of a reading so that the output stays inside its room
// while the tilt comes, is read, and goes.
func room(ctx context.Context, ax *moves.Axis, place Place, guess Guess) (moves.Gate, bool, error) {
	s, err := ax.Now(ctx)
	if err != nil {
		return moves.Gate{}, false, err
	}
	down, up := ax.Free(s)
	ratio := planMargin * guess.At(place.Pulse)
	free := float64(up)
	if ratio < 0 {
		free = float64(down)
	}
	const comeAndGo = 0.9 // seconds in which the tilt comes and goes, an inward approach included
	size := math.Max(math.Abs(ratio), 0.05)
	turns := free/size - comeAndGo*ax.Nominal.PerSecond()
	return moves.Gate{Turns: math.Min(gateTurns, turns), Travel: free / 2}, turns >= leastGate, nil
}
