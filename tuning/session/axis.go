package session

import (
	"fmt"
	"math"

	"trunnion/tuning/bench"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

// NoFeedback says that no one counter follows an axis alone.
type NoFeedback struct{ Axis string }

func (e *NoFeedback) Error() string {
	return fmt.Sprintf("%s: no counter follows this output alone, so that its loop cannot be closed; give its output wheel a sensor", e.Axis)
}

// axisMoves puts together what the moves need of an axis.
func (s *Session) axisMoves(i int) (*moves.Axis, error) {
	r := s.cfg.Rig
	feedback, ok := r.Feedback(i)
	if !ok {
		return nil, &NoFeedback{r.Axes[i].Name}
	}
	return &moves.Axis{
		Bench:   s.bench,
		Name:    r.Axes[i].Name,
		Servo:   r.Axes[i].Servo,
		Output:  measure.Sensor{Counter: feedback.Counter, PerTurn: math.Abs(feedback.CountsPerTurn)},
		Shaft:   measure.Sensor{Counter: r.Drive.Sensor.Counter, PerTurn: float64(r.Drive.Sensor.CountsPerTurn)},
		Nominal: r.Drive.NominalRPM,
		Middle:  r.Axes[i].Pulse.Middle,
		Limits:  r.Axes[i].Pulse.Limits(),
		Room:    func(sample bench.Sample) (low, high units.Counts) { return s.room(i, sample, feedback) },
	}, nil
}

const (
	// planned is the share of a joint's travel that procedures plan with; the
	// rest is for the shaft's run-on. The controller's own limits are at the
	// whole travel.
	planned = 0.94
	// endlessTurns is the room, either way from where it stands, that procedures
	// plan with for an output that nothing bounds: what goes round need not go
	// far.
	endlessTurns = 30
)

// room is how far an output may go, in counts, all others standing.
func (s *Session) room(axis int, sample bench.Sample, feedback rig.Feedback) (low, high units.Counts) {
	r := s.cfg.Rig
	bounds := r.Bounds(s.zeros)
	for j := range bounds {
		middle, half := (bounds[j].Least+bounds[j].Most)/2, planned*(bounds[j].Most-bounds[j].Least)/2
		if !math.IsInf(half, 0) {
			bounds[j] = rig.Bound{Least: middle - half, Most: middle + half}
		}
	}
	down, up := r.Room(axis, r.Positions(rig.CountsOf(sample)), bounds)
	here := float64(sample.Counters[feedback.Counter].Count)
	a := here + math.Max(float64(down), -endlessTurns)*feedback.CountsPerTurn
	b := here + math.Min(float64(up), endlessTurns)*feedback.CountsPerTurn
	return units.Counts(math.Min(a, b)), units.Counts(math.Max(a, b))
}

// joint is the joint whose tolerance asks most of an axis, for saying lengths
// in its unit: the unit, how much of it one count of the axis's counter is, and
// the tolerance.
func (s *Session) joint(axis int) (unit string, perCount, tolerance float64) {
	r := s.cfg.Rig
	feedback, _ := r.Feedback(axis)
	finest := math.Inf(1) // tolerance in output turns
	for _, k := range r.Moves(axis) {
		j := r.Joints[k]
		if turns := math.Abs(j.Tolerance / j.PerTurn[axis]); turns < finest {
			finest = turns
			unit, perCount, tolerance = string(j.Unit), j.PerTurn[axis]/feedback.CountsPerTurn, j.Tolerance
		}
	}
	if unit == "" { // an output that moves no joint is counted in its own turns
		return "turns", 1 / feedback.CountsPerTurn, 0.01
	}
	return unit, perCount, tolerance
}
