package wire

import (
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Unwrap32 follows a counter of 32 bits that wraps, such as the controller's
// clock or an encoder's count. Its zero value takes the first value as it is.
type Unwrap32 struct {
	last  int64
	begun bool
}

// Near returns the number nearest to the last one that equals v modulo 2^32,
// and keeps it as the last one. Two values in turn must lie less than 2^31
// apart.
func (u *Unwrap32) Near(v uint32) int64 {
	if !u.begun {
		u.last, u.begun = int64(v), true
		return u.last
	}
	u.last += int64(int32(v - uint32(u.last)))
	return u.last
}

// Begin sets the last number, as the count after a new datum.
func (u *Unwrap32) Begin(at int64) { u.last, u.begun = at, true }

// Unwrap16 follows a number of 16 bits that counts up and wraps, such as a
// sample's. Its zero value takes the first value as it is.
type Unwrap16 struct {
	last  uint64
	begun bool
}

// Next returns the next number from the last one on that equals v modulo 2^16.
func (u *Unwrap16) Next(v uint16) uint64 {
	if !u.begun {
		u.last, u.begun = uint64(v), true
		return u.last
	}
	u.last += uint64(v - uint16(u.last))
	return u.last
}

// Unwrapper turns what a controller says within one connection into the types
// of tuning/bench, whose numbers do not wrap. Its zero value is ready.
type Unwrapper struct {
	clock    int64 // the latest instant seen
	begun    bool
	sequence Unwrap16
	counts   [bench.MaxCounters]Unwrap32
}

// Instant unwraps a time of the controller: a stamp in an ack, a notice or a
// sample, up to 35 minutes before or after the latest one.
func (u *Unwrapper) Instant(micros uint32) units.Instant {
	if !u.begun {
		u.clock, u.begun = int64(micros), true
	}
	t := u.clock + int64(int32(micros-uint32(u.clock)))
	u.clock = max(u.clock, t)
	return units.Instant(t)
}

// Datum tells that a counter's count is now value, since a datum was set; the
// sample that follows would be taken for a leap otherwise.
func (u *Unwrapper) Datum(counter int, value units.Counts) {
	if counter >= 0 && counter < len(u.counts) {
		u.counts[counter].Begin(int64(value))
	}
}

// Sample unwraps a sample with the number of its frame. Samples are given in
// the order of their arrival.
func (u *Unwrapper) Sample(number uint16, m Sample) bench.Sample {
	at := u.Instant(m.TimeMicros)
	s := bench.Sample{
		Sequence: u.sequence.Next(number), At: at,
		State: m.State, Cause: m.Cause, Flags: m.Flags,
	}
	for i, c := range m.Counters[:m.Shape.Counters] {
		if !u.counts[i].begun {
			u.counts[i].Begin(int64(c.Count))
		}
		s.Counters[i] = bench.Counter{Count: units.Counts(u.counts[i].Near(uint32(c.Count))), LastEdge: before(at, c.Edge)}
	}
	for i, a := range m.Axes[:m.Shape.Axes] {
		s.Axes[i] = bench.Axis{Pulse: units.PulseFromTenths(a.PulseTenths), Since: before(at, a.Since), Closed: a.Closed}
	}
	return s
}

// before is the instant of an age; 0, which stands for unknown, is kept for
// that.
func before(at units.Instant, a Age) units.Instant {
	micros, known := a.Micros()
	switch t := at - units.Instant(micros); {
	case !known:
		return 0
	case t == 0:
		return -1
	default:
		return t
	}
}

// SampleFrom is a sample as a controller sends it, with the number of its
// frame: the way back from Unwrapper.Sample, as far as the wire can tell it.
func SampleFrom(s bench.Sample, shape Shape) (number uint16, m Sample) {
	m = Sample{TimeMicros: uint32(s.At), State: s.State, Cause: s.Cause, Flags: s.Flags, Shape: shape}
	for i := range m.Counters[:shape.Counters] {
		c := s.Counters[i]
		m.Counters[i] = SampleCounter{Count: int32(c.Count), Edge: since(s.At, c.LastEdge)}
	}
	for i := range m.Axes[:shape.Axes] {
		a := s.Axes[i]
		m.Axes[i] = SampleAxis{PulseTenths: a.Pulse.Tenths(), Closed: a.Closed, Since: since(s.At, a.Since)}
	}
	return uint16(s.Sequence), m
}

func since(at, then units.Instant) Age {
	if then == 0 {
		return AgeUnknown
	}
	return AgeFrom(int64(at - then))
}
