package logbooktest

import (
	"math"
	"math/rand/v2"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Counters and axes of the invented scenery lift: the line shaft and one counter an axis.
const (
	LiftCounters = 4
	LiftAxes     = 3
)

// Lift makes up the samples of a scenery lift: one line shaft, and the variators of the traverse, the left and the
// right drum. All of it is invented. It is a source of likely-looking samples, not a model of anything.
type Lift struct {
	rng    *rand.Rand
	micros int64 // from sample to sample
	sample bench.Sample
	phase  [LiftCounters]float64 // in counts
	rate   [LiftCounters]float64 // counts a second
}

const (
	liftShaftRate  = 5 * 600  // counts a second: 300 turns a minute, 600 counts a turn
	liftOutputRate = 5 * 2400 // at a ratio of 1
	liftRipple     = 0.02     // of the speed, once a shaft turn
	liftCentre     = 15284    // tenths of a microsecond
)

// NewLift returns a lift that gives so many samples a second.
func NewLift(rng *rand.Rand, samplesPerSecond int) *Lift {
	l := &Lift{rng: rng, micros: 1_000_000 / int64(samplesPerSecond)}
	l.sample.Sequence = 100
	l.sample.At = 2_000_000
	l.sample.State = bench.Moving
	l.sample.Flags = bench.DriveOn | bench.NeutralKnown
	l.rate[0] = liftShaftRate
	for i := range LiftAxes {
		l.phase[i+1] = 1000 * float64(i)
		l.tilt(i)
	}
	return l
}

// Next returns the next sample. Now and then it tilts an axis.
func (l *Lift) Next() bench.Sample {
	s := &l.sample
	s.Sequence++
	s.At += units.Instant(l.micros + l.rng.Int64N(5) - 2)
	if l.rng.IntN(400) == 0 {
		l.tilt(l.rng.IntN(LiftAxes))
	}
	ripple := 1 + liftRipple*math.Sin(2*math.Pi*l.phase[0]/600)
	for i := range LiftCounters {
		l.turn(i, l.rate[i]*ripple)
	}
	return *s
}

// tilt gives an axis a new pulse and its counter the rate that goes with it.
func (l *Lift) tilt(axis int) {
	offset := l.rng.IntN(3001) - 1500
	l.sample.Axes[axis].Pulse = units.PulseFromTenths(uint16(liftCentre + offset))
	l.sample.Axes[axis].Since = l.sample.At - units.Instant(l.rng.Int64N(20_000))
	l.rate[axis+1] = 0
	if offset < -300 || offset > 300 {
		l.rate[axis+1] = float64(offset) / 3000 * liftOutputRate
	}
}

// turn moves a counter on by one sample.
func (l *Lift) turn(counter int, rate float64) {
	was := math.Floor(l.phase[counter])
	l.phase[counter] += rate * float64(l.micros) / 1e6
	now := math.Floor(l.phase[counter])
	if now == was {
		return
	}
	since := (l.phase[counter] - now) / rate
	if rate < 0 {
		since = (now + 1 - l.phase[counter]) / -rate
	}
	l.sample.Counters[counter] = bench.Counter{
		Count:    units.Counts(now),
		LastEdge: l.sample.At - units.Instant(since*1e6),
	}
}

// Reconnect makes the next sample the first of a new connection.
func (l *Lift) Reconnect() {
	l.sample.Sequence, l.sample.At = 0, 10_000
	for i := range l.sample.Counters {
		l.sample.Counters[i].LastEdge = 0
	}
	for i := range l.sample.Axes {
		l.sample.Axes[i].Since = 0
	}
}

// Hostile returns a sample with every field anywhere in its range, often at an end of it, within so many counters and
// axes.
func Hostile(rng *rand.Rand, counters, axes int) bench.Sample {
	whole := func() int64 {
		ends := []int64{0, 1, -1, math.MaxInt64, math.MinInt64, math.MaxInt32, math.MinInt32}
		if i := rng.IntN(len(ends) + 3); i < len(ends) {
			return ends[i]
		}
		return int64(rng.Uint64()) >> rng.IntN(64)
	}
	s := bench.Sample{
		Sequence: uint64(whole()), At: units.Instant(whole()),
		State: bench.State(rng.Uint32()), Cause: bench.Cause(rng.Uint32()), Flags: bench.Flags(rng.Uint32()),
	}
	for i := range counters {
		s.Counters[i] = bench.Counter{Count: units.Counts(whole()), LastEdge: units.Instant(whole())}
	}
	for i := range axes {
		s.Axes[i] = bench.Axis{
			Pulse: units.PulseFromTenths(uint16(whole() & 0x7fff)), Since: units.Instant(whole()), Closed: rng.IntN(2) == 0,
		}
	}
	return s
}
