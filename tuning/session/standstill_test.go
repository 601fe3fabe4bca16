package session

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/moves"
	"trunnion/tuning/units"
)

// run is a made-up stretch of samples at 100 a second: the drive is on and turns
// at 400 rpm, and the output at a ratio, both as far as their counters live.
type run struct {
	pulse                 units.Pulse
	ratio                 float64
	shaftDead, outputDead bool
	driveOff              bool
}

// watched feeds seconds of it and returns the finding and when it came.
func (r run) watched(w *standstill, seconds float64) (f *finding.Finding, at float64) {
	for i := range int(seconds * 100) {
		turns := 400.0 / 60 * float64(i) / 100
		s := bench.Sample{At: units.Instant(10_000 * (i + 1))}
		s.Axes[0].Pulse = r.pulse
		if !r.driveOff {
			s.Flags = bench.DriveOn
		}
		if !r.shaftDead && !r.driveOff {
			s.Counters[0].Count = units.Counts(400 * turns)
		}
		if !r.outputDead && !r.driveOff {
			s.Counters[1].Count = units.Counts(1600 * turns * r.ratio)
		}
		if f = w.see(&s); f != nil {
			return f, float64(i) / 100
		}
	}
	return nil, seconds
}

func watch(known moves.Known) *standstill {
	w := &standstill{}
	w.begin([]*axisWork{{moves: &moves.Axis{
		Name: "traverse", Nominal: 400, Known: known,
		Shaft: measure.Sensor{Counter: 0, PerTurn: 400}, Output: measure.Sensor{Counter: 1, PerTurn: 1600},
	}}})
	return w
}

func TestStandstill(t *testing.T) {
	known := moves.Known{Neutral: 1510, CountsUp: 1580, CountsDown: 1440}
	for _, x := range []struct {
		name  string
		known moves.Known
		run   run
		found finding.Name
		by    float64 // s
	}{
		{"all turns", known, run{pulse: 1600, ratio: 0.1}, "", 0},
		{"slow, but it turns", known, run{pulse: 1580, ratio: 0.005}, "", 0},
		{"in the dead band", known, run{pulse: 1510}, "", 0},
		{"near an edge", known, run{pulse: 1560}, "", 0},
		{"drive off", known, run{pulse: 1600, driveOff: true}, "", 0},
		{"nothing known yet", moves.Known{}, run{pulse: 1900, ratio: 0.9, outputDead: true}, "", 0},
		{"drive stalled", known, run{pulse: 1600, shaftDead: true, outputDead: true}, finding.DriveDead, 1.55},
		{"shaft's counter dead", moves.Known{}, run{pulse: 1900, ratio: 0.9, shaftDead: true}, finding.DriveDead, 1.55},
		{"output's counter dead above", known, run{pulse: 1580, ratio: 0.1, outputDead: true}, finding.OutputDead, 0.55},
		{"output's counter dead below", known, run{pulse: 1000, ratio: -0.9, outputDead: true}, finding.OutputDead, 0.55},
	} {
		t.Run(x.name, func(t *testing.T) {
			w := watch(x.known)
			f, at := x.run.watched(w, 5)
			if x.found == "" {
				require.Nil(t, f)
				return
			}
			require.NotNil(t, f)
			assert.Equal(t, x.found, f.Name)
			assert.LessOrEqual(t, at, x.by)
			assert.NotEmpty(t, f.OneOf)
			again, _ := x.run.watched(w, 5)
			assert.Nil(t, again, "it is told once a task")
		})
	}
}

// A coarse sensor has the time that its counts need.
func TestStandstillOfCoarseSensors(t *testing.T) {
	w := &standstill{}
	w.begin([]*axisWork{{moves: &moves.Axis{
		Nominal: 60, Known: moves.Known{CountsUp: 1580, CountsDown: 1440},
		Shaft: measure.Sensor{Counter: 0, PerTurn: 1}, Output: measure.Sensor{Counter: 1, PerTurn: 24},
	}}})
	for i := range 1000 { // 60 rpm with a mark a turn; the output at 0.1
		s := bench.Sample{At: units.Instant(10_000 * (i + 1)), Flags: bench.DriveOn}
		s.Axes[0].Pulse = 1600
		turns := float64(i) / 100
		s.Counters[0].Count, s.Counters[1].Count = units.Counts(turns), units.Counts(24*turns*0.1)
		require.Nil(t, w.see(&s), "after %v turns", turns)
	}
}
