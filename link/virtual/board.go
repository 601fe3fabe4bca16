package virtual

import (
	"trunnion/link/virtual/controller"
	"trunnion/link/virtual/physics"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// edgeRate is what the reference board is stated to count, edges a second.
const edgeRate = 15000

// Board is the controller that a machine is wired to, unless told otherwise: as
// the reference board is, with a stop switch.
func Board(m physics.Machine) controller.Config {
	c := controller.Config{
		Identity: wire.Identity{
			Axes: uint8(len(m.Axes)), LeastTenths: 5000, MostTenths: 25000, FrameMicros: 20000,
			MostSampleHz: 200, MostTablePoints: wire.MostTable, MostBaud: 250000,
			Capabilities: wire.HasStopInput, Name: "virtual board",
		},
		LeastPeriodMillis: 5, // a board of 8 bits computes in floating point
	}
	if m.Drive.Reversible {
		c.Identity.Capabilities |= wire.CanReverse
	}
	for _, counter := range m.Counters {
		c.Counters = append(c.Counters, describe(counter))
	}
	return c
}

func describe(m physics.Counter) wire.CounterDescription {
	d := wire.CounterDescription{MostEdgeRate: edgeRate}
	switch m.Kind {
	case physics.Absolute:
		d.Kind = bench.Absolute
	case physics.Mark:
		d.Kind, d.CountsPerTurn = bench.Mark, 1
		return d
	}
	if m.On != physics.OnJoint || d.Kind == bench.Absolute {
		d.CountsPerTurn = uint32(m.CountsPerTurn)
	}
	return d
}
