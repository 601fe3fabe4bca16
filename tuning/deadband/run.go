package deadband

import (
	"context"
	"math"
	"slices"

	"trunnion/tuning/bench"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// Settings of a search.
type Settings struct {
	RoughAbove  units.Pulse // edges as the check found them, to a step of its jog
	RoughBelow  units.Pulse
	EdgeStdErr  float64     // wanted error of an edge, us
	Least, Most units.Pulse // limits found by the check
	Earlier     []Try       // of an interrupted search, to be gone on with
}

const (
	// tryTurns: a runout of the shaft can start the output once a turn only, so
	// a try watches two turns.
	tryTurns = 2.0
	// leastRatio is the slowest turning that counts as turning: below it a joint
	// needs minutes for what matters.
	leastRatio = 0.003
	// leastCounts keeps a trembling encoder line from counting as a turn.
	leastCounts = 3
	// runUp is how far outside the edge the output is set turning before an
	// inward try, in us.
	runUp = 40.0
)

// turnsOfTry is longer where the output's counts are so coarse that two turns at
// the slowest turning would not make leastCounts of them.
func turnsOfTry(perTurn float64) float64 {
	const most = 30 // shaft turns: some five seconds
	return math.Max(tryTurns, math.Min(most, leastCounts/(leastRatio*perTurn)))
}

// moved decides whether the output turned.
func moved(counts units.Counts, shaftTurns float64, perTurn float64) bool {
	least := math.Max(leastCounts, leastRatio*math.Abs(shaftTurns)*perTurn)
	return math.Abs(float64(counts)) >= least
}

// Run searches the four edges in turn about, so that a drift touches all alike
// and the joint stays near the middle, and returns the analysis of its tries.
func Run(ctx context.Context, ax *moves.Axis, settings Settings) (Result, error) {
	defer ax.Bench.Park()
	ax.Say(bench.Intends, "search the four edges near %v and %v in steps down to %.0f us; the output creeps at most a quarter turn a try",
		settings.RoughBelow, settings.RoughAbove, lastStep)
	if _, err := ax.Come(ctx, ax.Middle, ax.Known.Neutral); err != nil {
		return Result{}, err
	}
	if _, err := ax.Spin(ctx); err != nil {
		return Result{}, err
	}
	// The inward try before the outward one of the same side leaves lost motion
	// and the gear's mesh taken up, so that the outward one starts loaded.
	searches := []*search{
		newSearch(Above, measure.Inward, settings.RoughAbove),
		newSearch(Above, measure.Outward, settings.RoughAbove),
		newSearch(Below, measure.Inward, settings.RoughBelow),
		newSearch(Below, measure.Outward, settings.RoughBelow),
	}
	for _, t := range settings.Earlier {
		for _, s := range searches {
			s.take(t)
		}
	}
	tries, err := rounds(ctx, ax, searches, settings)
	if err != nil {
		return Result{}, err
	}
	result, err := Analyse(tries)
	if err != nil {
		return result, err
	}
	for _, f := range result.Findings {
		ax.Find(f)
	}
	ax.Known.Neutral = result.Neutral
	if err := ax.Rest(ctx, ax.Known.Neutral); err != nil {
		return result, err
	}
	if err := ax.Bench.SetNeutral(ctx, ax.Servo, result.Neutral); err != nil {
		return result, err
	}
	return result, ax.Bench.Park()
}

// rounds makes one try of each unfinished search in turn until all are done.
func rounds(ctx context.Context, ax *moves.Axis, searches []*search, settings Settings) ([]Try, error) {
	tries, wanted := slices.Clone(settings.Earlier), settings.EdgeStdErr
	for open := true; open; {
		open = false
		for _, s := range searches {
			if s.done(wanted) {
				continue
			}
			open = true
			t, err := oneTry(ctx, ax, s, settings)
			if err != nil {
				return tries, err
			}
			tries = append(tries, t)
			s.record(t.Turned)
			ax.Report(bench.Note{Kind: bench.Reading, Text: t.String(), Data: t})
			progress(ax, searches, wanted)
		}
		if err := ax.Return(ctx, ax.Known.Neutral); err != nil {
			return tries, err
		}
	}
	return tries, nil
}

// oneTry comes to the pulse from rest or from turning, watches two shaft turns,
// decides, and goes back to neutral.
func oneTry(ctx context.Context, ax *moves.Axis, s *search, settings Settings) (Try, error) {
	from, pulse := ax.Known.Neutral, s.pulse()
	if s.approach == measure.Inward {
		outside := max(settings.Least, min(settings.Most, units.Pulse(float64(pulse)+s.side.sign()*runUp)))
		if _, err := ax.Come(ctx, from, outside); err != nil {
			return Try{}, err
		}
		from = outside
	}
	start, err := ax.Come(ctx, from, pulse)
	if err != nil {
		return Try{}, err
	}
	trace, err := ax.WatchTurns(ctx, start, moves.Gate{Turns: turnsOfTry(ax.Output.PerTurn)})
	if err != nil {
		return Try{}, err
	}
	t := Try{
		Side: s.side, Approach: s.approach, Pulse: pulse, Counts: trace.Delta(ax.Output.Counter),
		ShaftTurns: math.Abs(float64(trace.Delta(ax.Shaft.Counter))) / ax.Shaft.PerTurn,
		From:       start, To: trace.Last().At,
	}
	t.Turned = moved(t.Counts, t.ShaftTurns, ax.Output.PerTurn)
	return t, ax.Rest(ctx, pulse)
}

// progress tells how far the searches have come; the time left presumes a
// dozen tries an edge at what a try has taken so far.
func progress(ax *moves.Axis, searches []*search, wanted float64) {
	done, all := 0, 0
	for _, s := range searches {
		done += len(s.x)
		if s.done(wanted) {
			all += len(s.x)
		} else {
			all += max(12, len(s.x)+2)
		}
	}
	const secondsATry = 1.5
	ax.Report(bench.Note{Kind: bench.Progress, Data: bench.Advance{Done: done, Of: all, SecondsLeft: float64(all-done) * secondsATry}})
}
