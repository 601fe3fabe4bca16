package physics

import "math"

// sensor is a counter made ready and its state.
type sensor struct {
	kind           string
	on             string
	of             int
	perTurn        float64 // counts per turn, per mm or per degree
	turn           float64 // counts in which the wobble and the wrap repeat
	sign           float64
	missed, jitter float64
	stray, noise   float64 // false edges a second; counts
	wobble, phase  float64
	dead           bool

	position float64 // in counts, before quantising
	cell     int64
	lost     int64 // counts that were missed, signed
	edges    int64 // marks passed
	last     int64 // time of the last edge, us
	flicker  int64 // of an absolute reading, counts
	chance   chance
}

func (s *sensor) configure(m Counter, unit string) {
	s.kind, s.on, s.of = m.Kind, m.On, m.Of
	s.perTurn, s.turn = m.CountsPerTurn, m.CountsPerTurn
	if m.Kind == Mark {
		s.perTurn, s.turn = 1, 1
	}
	if m.On == OnJoint && unit == "deg" {
		s.perTurn /= 360
	}
	s.sign = 1
	if m.Reversed {
		s.sign = -1
	}
	s.missed, s.jitter = m.MissedFraction, m.JitterMicros
	s.stray, s.noise = m.FalsePerSecond, m.NoiseCounts
	s.wobble, s.phase = m.WobbleCounts, m.PhaseTurns
}

// see is the sensor's continuous position in counts for turns of a shaft or a
// joint's own unit.
func (s *sensor) see(turns float64) float64 {
	y := s.sign * turns * s.perTurn
	if s.kind != Incremental {
		y -= s.phase * s.turn
	}
	if s.wobble != 0 {
		y += s.wobble * math.Sin(2*math.Pi*y/s.turn)
	}
	return y
}

// start puts the sensor where the machine stands: an incremental one counts
// from there.
func (s *sensor) start(turns float64) {
	s.position = s.see(turns)
	s.cell = int64(math.Floor(s.position))
	if s.kind == Incremental {
		s.lost = s.cell
	}
}

// pass moves the sensor on to turns over a step that began at the time from
// (us) and took so many microseconds, and notes the edges on the way. Within a
// step parts move at constant speed, so an edge's time is found on a straight
// line.
func (s *sensor) pass(turns float64, from, micros float64) {
	s.disturb(from, micros)
	before := s.position
	s.position = s.see(turns)
	cell := int64(math.Floor(s.position))
	if cell == s.cell {
		return
	}
	crossed, edge := cell-s.cell, float64(cell)
	if crossed < 0 {
		edge++
	}
	s.cell = cell
	if s.dead {
		s.lost += crossed
		return
	}
	counted := s.count(crossed)
	if counted == 0 {
		return
	}
	at := from + micros*(edge-before)/(s.position-before)
	if s.jitter > 0 {
		at += s.jitter * s.chance.NormFloat64()
	}
	s.last = max(int64(math.Round(at)), s.last)
}

// disturb adds what is not the machine's: false edges and the flicker of an
// absolute reading.
func (s *sensor) disturb(from, micros float64) {
	if s.dead {
		return
	}
	if s.noise > 0 {
		s.flicker = int64(math.Round(s.noise * s.chance.NormFloat64()))
	}
	if s.stray == 0 || s.chance.Float64() >= s.stray*micros*1e-6 {
		return
	}
	way := int64(1)
	if s.kind != Mark && s.chance.Float64() < 0.5 {
		way = -1
	}
	s.edges += way
	s.lost -= way
	s.last = max(int64(math.Round(from+micros*s.chance.Float64())), s.last)
}

// resume keeps the reading where it is after a change of the sensor: it counts
// on from there.
func (s *sensor) resume(turns float64) {
	s.position = s.see(turns)
	cell := int64(math.Floor(s.position))
	s.lost += cell - s.cell
	s.cell = cell
}

// count takes edges and returns how many of them were noticed.
func (s *sensor) count(crossed int64) int64 {
	step := int64(1)
	if crossed < 0 {
		step = -1
	}
	noticed := crossed
	if s.missed > 0 {
		for k := int64(0); k != crossed; k += step {
			if s.chance.Float64() < s.missed {
				noticed -= step
				s.lost += step
			}
		}
	}
	s.edges += noticed * step
	return noticed
}

// reading is the count as the sensor gives it.
func (s *sensor) reading() int64 {
	switch s.kind {
	case Mark:
		return s.edges
	case Absolute:
		turn := int64(math.Round(s.turn))
		return ((s.cell-s.lost+s.flicker)%turn + turn) % turn
	}
	return s.cell - s.lost
}
