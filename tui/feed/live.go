package feed

import (
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/units"
)

const (
	// BucketSpan is the time on the controller's clock that one column of a sweep
	// stands for.
	BucketSpan = 125 * time.Millisecond
	// Buckets is how many are kept.
	Buckets = 256
	// window is the time over which speed and ratio are shown, and recent the
	// samples kept for it: enough for 200 a second.
	window = 500 * time.Millisecond
	recent = 128
	// leastShaft is the part of a turn that the drive shaft must have made in a
	// window or bucket for a ratio to be shown.
	leastShaft = 0.05
)

// Sweep is the recent past in equal steps of time, in rings: the bucket of number
// n is at n modulo Buckets. What was not measured is NaN.
type Sweep struct {
	Newest int64 // number of the newest bucket; -1 before the first
	Drive  []float32
	Ratio  [][]float32 // by axis
	Tilt   [][]float32 // pulses in us
}

// live is what samples tell.
type live struct {
	shaft   rig.Sensor
	outputs []rig.Feedback
	has     []bool // the axis has a counter of its own
	servos  []int

	newest bench.Sample
	seen   bool
	count  uint64
	lost   uint64
	recent [recent]moment
	total  int // moments taken; the newest is at (total-1) modulo recent

	bucket int64
	from   moment // where the newest bucket began
	sweep  Sweep

	counted [32]counted // by snapshots, for the rate
	polls   int
	changed time.Time // when the count was last seen to grow
}

// moment is of a sample what speeds need.
type moment struct {
	at     units.Instant
	counts [bench.MaxCounters]units.Counts
}

type counted struct {
	at    time.Time
	count uint64
}

func newLive(r rig.Rig) live {
	l := live{shaft: r.Drive.Sensor, sweep: Sweep{Newest: -1, Drive: ring()}}
	for i, a := range r.Axes {
		feedback, ok := r.Feedback(i)
		l.outputs, l.has, l.servos = append(l.outputs, feedback), append(l.has, ok), append(l.servos, a.Servo)
		l.sweep.Ratio, l.sweep.Tilt = append(l.sweep.Ratio, ring()), append(l.sweep.Tilt, ring())
	}
	return l
}

func ring() []float32 {
	values := make([]float32, Buckets)
	for i := range values {
		values[i] = float32(math.NaN())
	}
	return values
}

// take files one sample. The lock is held.
func (l *live) take(s bench.Sample) {
	m := moment{at: s.At}
	for i := range m.counts {
		m.counts[i] = s.Counters[i].Count
	}
	if l.seen && (s.Sequence <= l.newest.Sequence || s.At < l.newest.At) {
		l.total, l.bucket = 0, 0 // a new connection
	} else if l.seen {
		l.lost += s.Sequence - l.newest.Sequence - 1
	}
	fresh := l.total == 0
	l.newest, l.seen = s, true
	l.count++
	l.recent[l.total%recent] = m
	l.total++
	number := int64(time.Duration(s.At) * time.Microsecond / BucketSpan)
	if fresh || number != l.bucket {
		l.open(number, m, fresh)
	}
	l.fill(number, s, m)
}

// open begins a bucket, and leaves a gap for those that had no sample.
func (l *live) open(number int64, m moment, fresh bool) {
	skipped := min(number-l.bucket, Buckets)
	if fresh {
		skipped = Buckets
	}
	for n := number - skipped + 1; n <= number; n++ {
		l.each(n, func(values []float32, at int64) { values[at] = float32(math.NaN()) })
	}
	if fresh {
		l.from = m
	}
	l.bucket, l.sweep.Newest = number, number
}

func (l *live) each(n int64, do func([]float32, int64)) {
	at := ((n % Buckets) + Buckets) % Buckets
	do(l.sweep.Drive, at)
	for i := range l.sweep.Ratio {
		do(l.sweep.Ratio[i], at)
		do(l.sweep.Tilt[i], at)
	}
}

// fill brings the newest bucket up to date: speeds since a bucket's time ago.
func (l *live) fill(number int64, s bench.Sample, m moment) {
	from := l.before(BucketSpan)
	at := ((number % Buckets) + Buckets) % Buckets
	if rpm, ok := l.speed(from, m); ok {
		l.sweep.Drive[at] = float32(rpm)
	}
	for i := range l.sweep.Ratio {
		if r := l.motion(i, from, m); r.Turning {
			l.sweep.Ratio[i][at] = float32(r.Ratio)
		}
		if p := s.Axes[l.servos[i]].Pulse; p > 0 {
			l.sweep.Tilt[i][at] = float32(p)
		}
	}
}

// before is the moment the given time before the newest, or the oldest kept.
func (l *live) before(span time.Duration) moment {
	newest := l.recent[(l.total-1)%recent]
	found := newest
	for back := 2; back <= min(l.total, recent); back++ {
		found = l.recent[(l.total-back)%recent]
		if newest.at.Sub(found.at) >= span {
			break
		}
	}
	return found
}

// speed of the drive shaft between two moments, rpm.
func (l *live) speed(a, b moment) (rpm float64, ok bool) {
	seconds := b.at.Sub(a.at).Seconds()
	if seconds <= 0 || l.shaft.CountsPerTurn == 0 {
		return 0, false
	}
	return 60 * l.shaftTurns(a, b) / seconds, true
}

func (l *live) shaftTurns(a, b moment) float64 {
	return float64(b.counts[l.shaft.Counter]-a.counts[l.shaft.Counter]) / float64(l.shaft.CountsPerTurn)
}

// motion of an axis between two moments.
func (l *live) motion(axis int, a, b moment) Motion {
	if !l.has[axis] || l.shaft.CountsPerTurn == 0 {
		return Motion{}
	}
	shaft := l.shaftTurns(a, b)
	if math.Abs(shaft) < leastShaft {
		return Motion{}
	}
	o := l.outputs[axis]
	turns := float64(b.counts[o.Counter]-a.counts[o.Counter]) / o.CountsPerTurn
	return Motion{Ratio: turns / shaft, Turning: true}
}

// snapshot fills in what samples tell.
func (l *live) snapshot(now time.Time, s *Snapshot) {
	s.Seen, s.Sample = l.seen, l.newest
	s.Link = l.link(now)
	s.Sweep = Sweep{Newest: l.sweep.Newest, Drive: append([]float32(nil), l.sweep.Drive...)}
	s.Moves = make([]Motion, len(l.outputs))
	for i := range l.outputs {
		s.Sweep.Ratio = append(s.Sweep.Ratio, append([]float32(nil), l.sweep.Ratio[i]...))
		s.Sweep.Tilt = append(s.Sweep.Tilt, append([]float32(nil), l.sweep.Tilt[i]...))
	}
	if l.total == 0 {
		return
	}
	from, to := l.before(window), l.recent[(l.total-1)%recent]
	s.Drive, _ = l.speed(from, to)
	for i := range s.Moves {
		s.Moves[i] = l.motion(i, from, to)
	}
}

// link counts samples a second over the last second or so of snapshots.
func (l *live) link(now time.Time) Link {
	k := Link{Lost: l.lost}
	if l.polls == 0 || l.counted[(l.polls-1)%len(l.counted)].count != l.count {
		l.changed = now
	}
	if l.seen {
		k.Silent = now.Sub(l.changed)
	}
	oldest := l.counted[0]
	if l.polls >= len(l.counted) {
		oldest = l.counted[l.polls%len(l.counted)]
	}
	if span := now.Sub(oldest.at).Seconds(); l.polls > 0 && span > 0 {
		k.PerSecond = float64(l.count-oldest.count) / span
	}
	l.counted[l.polls%len(l.counted)] = counted{now, l.count}
	l.polls++
	return k
}
