package session

import (
	"fmt"
	"math"
	"sync"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// What counts as a standstill.
const (
	// stallTime is how long the drive may be on without one count of its shaft,
	// and stallTurns how far it would have gone meanwhile at its nominal speed:
	// whichever takes longer. A motor at rest at full current heats up in seconds.
	stallTime  = 1500 * time.Millisecond
	stallTurns = 4 // counts of the shaft's sensor

	// deadTime and deadTurns are for how long, and for how many turns of the
	// shaft, an output may stand where it turned before. In deadCounts it has
	// gone so many counts even at leastRatio.
	deadTime   = 500 * time.Millisecond
	deadTurns  = 1.5
	deadCounts = 12
	leastRatio = 0.05
	shaking    = 2 // counts that a wheel at rest may be shaken by
)

// standstill watches every sample of a task for what no procedure waits for: a
// drive that is on and whose shaft stands, and an output that stands at a tilt
// at which the check saw it turn. Then a motor is stalled or a counter is dead,
// travel limits see nothing, and a closed loop would run away.
//
// It is given what is known at the beginning of each task, and is fed by the
// goroutine of the samples.
type standstill struct {
	shaft   measure.Sensor
	nominal units.RPM

	mu      sync.Mutex // guards what follows
	told    bool
	drive   mark
	outputs []output
}

// output is an axis as the watch sees it.
type output struct {
	name     string
	servo    int
	sensor   measure.Sensor
	from, to units.Pulse // it turns from these pulses outward; 0, 0 is not known
	stands   mark
}

// mark is since when something stands still.
type mark struct {
	set          bool
	at           units.Instant
	count, shaft units.Counts
}

// begin says what is known of the axes at the beginning of a task.
func (w *standstill) begin(axes []*axisWork) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.told, w.drive, w.outputs = false, mark{}, w.outputs[:0]
	for _, a := range axes {
		m := a.moves
		w.shaft, w.nominal = m.Shaft, m.Nominal
		o := output{name: m.Name, servo: m.Servo, sensor: m.Output}
		if k := m.Known; k.CountsUp != 0 && k.CountsDown != 0 {
			o.from, o.to = max(k.CountsUp, k.CountsDown), min(k.CountsUp, k.CountsDown)
		}
		w.outputs = append(w.outputs, o)
	}
}

// see takes a sample and returns what has come to a standstill, once.
func (w *standstill) see(s *bench.Sample) *finding.Finding {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.told || len(w.outputs) == 0 {
		return nil
	}
	f := w.stalled(s)
	for i := range w.outputs {
		if f == nil {
			f = w.dead(&w.outputs[i], s)
		}
	}
	w.told = f != nil
	return f
}

// still reports whether a counter has stood since the mark, and sets the mark
// anew if it has not.
func (m *mark) still(s *bench.Sample, moving bool, counter, shaft int) bool {
	count := s.Counters[counter].Count
	if d := count - m.count; m.set && moving && d <= shaking && d >= -shaking {
		return true
	}
	*m = mark{set: moving, at: s.At, count: count, shaft: s.Counters[shaft].Count}
	return false
}

func (w *standstill) stalled(s *bench.Sample) *finding.Finding {
	if !w.drive.still(s, s.Has(bench.DriveOn), w.shaft.Counter, w.shaft.Counter) {
		return nil
	}
	limit := stallTime
	if perSecond := math.Abs(w.shaft.PerTurn) * float64(w.nominal) / 60; perSecond > 0 {
		limit = max(limit, time.Duration(stallTurns/perSecond*float64(time.Second)))
	}
	on := s.At.Sub(w.drive.at)
	if on < limit {
		return nil
	}
	return &finding.Finding{
		Name: finding.DriveDead, Weight: finding.Grave,
		Evidence: fmt.Sprintf("the drive was on and its counter %d stood still for %.1f s", w.shaft.Counter, on.Seconds()),
		OneOf:    []string{"motor supply off or its switch output not wired", "shaft jammed", "drive counter not connected, or its wheel loose on the shaft"},
		ToTell:   "listen and look: did the shaft turn?",
		Cure:     "if it did, mend the counter; if not, the motor, its supply or the jam",
	}
}

func (w *standstill) dead(o *output, s *bench.Sample) *finding.Finding {
	pulse := s.Axes[o.servo].Pulse
	out := o.from != 0 && pulse != 0 && (pulse >= o.from || pulse <= o.to)
	if !o.stands.still(s, out && s.Has(bench.DriveOn), o.sensor.Counter, w.shaft.Counter) {
		return nil
	}
	turns := math.Abs(float64(s.Counters[w.shaft.Counter].Count-o.stands.shaft) / w.shaft.PerTurn)
	need := math.Max(deadTurns, deadCounts/(leastRatio*math.Abs(o.sensor.PerTurn)))
	if s.At.Sub(o.stands.at) < deadTime || turns < need {
		return nil
	}
	return &finding.Finding{
		Name: finding.OutputDead, Weight: finding.Grave,
		Evidence: fmt.Sprintf("%s at %v, where it turned before: its counter %d stood still in %.1f turns of the shaft", o.name, pulse, o.sensor.Counter, turns),
		OneOf:    []string{"counter not connected or its wheel loose on the shaft", "servo unplugged or dead", "ball does not touch a wheel", "output jammed, or the joint at its stop"},
		ToTell:   "look at it: does the frame tilt? does the ball turn? does the output wheel turn?",
		Cure:     "mend the first of these that does not; if the wheel turns, mend the counter before anything else moves",
	}
}
