package conformance

import (
	"math"

	"trunnion/link/virtual"
	"trunnion/link/virtual/controller"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Board is the controller of the examples in PROTOCOL.md: three axes, four
// counters, of which the last is a mark.
func Board() controller.Config {
	incremental := wire.CounterDescription{Kind: bench.Incremental, CountsPerTurn: 2400, MostEdgeRate: 15000}
	mark := wire.CounterDescription{Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: 15000}
	return controller.Config{
		Identity: wire.Identity{
			Axes: 3, LeastTenths: 5000, MostTenths: 25000, FrameMicros: 20000, MostSampleHz: 200,
			MostTablePoints: wire.MostTable, MostBaud: 250000,
			Capabilities: wire.CanReverse | wire.HasStopInput, Name: "scenery-lift",
		},
		Counters:          []wire.CounterDescription{incremental, incremental, incremental, mark},
		ClockStart:        1<<32 - 1_500_000, // so that it wraps in the second second
		LeastPeriodMillis: 5,
	}
}

// Stand is a rig in which nothing turns but what a script turns. It is the plant
// of a virtual.Rig, and the Bench beside it.
type Stand struct {
	rig    *virtual.Rig
	now    int64
	drive  int
	pulses [bench.MaxAxes]float64
	counts [bench.MaxCounters]int64
	edges  [bench.MaxCounters]int64
}

// NewStand wires a board to a stand, and returns it as a target on virtual time.
func NewStand(board controller.Config) (*Stand, Target, error) {
	s := &Stand{}
	rig, err := virtual.Wire(s, board, virtual.Options{StartMicros: 20_000})
	if err != nil {
		return nil, Target{}, err
	}
	s.rig = rig
	id := board.Identity
	t := Target{
		Conn: virtual.Dial(rig, virtual.FlatOut), Bench: s, Start: 30 * 1e6,
		Has: map[string]int{
			"axes": int(id.Axes), "counters": len(board.Counters), "table": int(id.MostTablePoints),
			"baud": int(id.MostBaud), "rate": 1,
			"reverse": int(id.Capabilities & wire.CanReverse), "stop_input": int(id.Capabilities & wire.HasStopInput),
			"selector": int(id.Capabilities & wire.HasSelector), "mark": 1,
		},
	}
	return s, t, nil
}

// Rig is the rig whose plant the stand is.
func (s *Stand) Rig() *virtual.Rig { return s.rig }

// Now implements virtual.Plant.
func (s *Stand) Now() int64 { return s.now }

// Advance implements virtual.Plant.
func (s *Stand) Advance(micros int64) { s.now += micros }

// SetPulse implements virtual.Plant.
func (s *Stand) SetPulse(axis int, micros float64) { s.pulses[axis] = micros }

// SetDrive implements virtual.Plant.
func (s *Stand) SetDrive(direction int) { s.drive = direction }

// Counter implements virtual.Plant.
func (s *Stand) Counter(i int) (count, lastEdge int64) { return s.counts[i], s.edges[i] }

// Restart implements Bench. The sensors stay where they are.
func (s *Stand) Restart() { s.rig.Restart() }

// SetCounter implements Bench.
func (s *Stand) SetCounter(counter int, count int64) {
	s.counts[counter], s.edges[counter] = count, s.now
}

// OpenStopInput implements Bench.
func (s *Stand) OpenStopInput(open bool) { s.rig.OpenStopInput(open) }

// Drive implements Bench.
func (s *Stand) Drive() int { return s.drive }

// PulseTenths implements Bench.
func (s *Stand) PulseTenths(axis int) int { return int(math.Round(s.pulses[axis] * 10)) }
