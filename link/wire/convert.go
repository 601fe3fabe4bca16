package wire

import (
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// scaled is v times scale, rounded to nearest, if it lies within least and most.
func scaled(field string, v, scale, least, most float64) (float64, error) {
	n := math.Round(v * scale)
	if !(n >= least && n <= most) { // also NaN
		return 0, &RangeError{Field: field, Value: v}
	}
	return n, nil
}

// rounder scales several quantities and keeps the first error.
type rounder struct{ err error }

func (r *rounder) scale(field string, v, scale, least, most float64) float64 {
	n, err := scaled(field, v, scale, least, most)
	if r.err == nil {
		r.err = err
	}
	return n
}

func (r *rounder) index(field string, i int) uint8 {
	return uint8(r.scale(field, float64(i), 1, 0, 255))
}

func (r *rounder) decimal(field string, v float64) Decimal {
	d, ok := DecimalFrom(v)
	if !ok && r.err == nil {
		r.err = &RangeError{Field: field, Value: v}
	}
	return d
}

func (r *rounder) pulse(field string, p units.Pulse) uint16 {
	return uint16(r.scale(field, float64(p), 10, 0, 0x7fff))
}

// TiltFrom is the message for these pulses.
func TiltFrom(tilts ...bench.Tilt) (Tilt, error) {
	var r rounder
	var m Tilt
	for _, t := range tilts {
		m.Pulses = append(m.Pulses, AxisPulse{Axis: r.index("axis", t.Axis), PulseTenths: r.pulse("pulse in us", t.Pulse)})
	}
	return m, r.err
}

// PulseLimitsFrom is the message for these limits of an axis, whose servo frame
// is so long. A bound on the slew becomes at least 0.1 us a frame.
func PulseLimitsFrom(axis int, l bench.PulseLimits, frameMicros int) (PulseLimits, error) {
	var r rounder
	m := PulseLimits{
		Axis:        r.index("axis", axis),
		LeastTenths: r.pulse("least pulse in us", l.Least),
		MostTenths:  r.pulse("most pulse in us", l.Most),
	}
	perFrame := l.SlewPerSec * units.Pulse(frameMicros) / 1e6
	m.SlewTenths = r.pulse("slew in us a servo frame", perFrame)
	if l.SlewPerSec > 0 && m.SlewTenths == 0 {
		m.SlewTenths = 1
	}
	return m, r.err
}

// GuardFrom is the guard on the wire. A time is rounded to the millisecond and
// is at least one.
func GuardFrom(g bench.Guard) (Guard, error) {
	var r rounder
	m := Guard{
		Counter:    r.index("counter", g.Counter),
		Counts:     uint32(r.scale("counts of a guard", float64(g.Counts), 1, 0, most31)),
		TimeMillis: uint16(r.scale("time of a guard in s", g.Time.Seconds(), 1000, 0, 0xffff)),
	}
	if g.Time > 0 && m.TimeMillis == 0 {
		m.TimeMillis = 1
	}
	return m, r.err
}

// TravelLimitFrom is the limit on the wire: weights to the nearest 1/256,
// bounds to whole weighted counts, inward. Infinite bounds are none.
func TravelLimitFrom(l bench.TravelLimit) (TravelLimit, error) {
	var r rounder
	var m TravelLimit
	for i, w := range l.Weights {
		if w256 := int16(r.scale("weight of a travel limit", w, 256, math.MinInt16, math.MaxInt16)); w256 != 0 {
			m.Terms = append(m.Terms, Term{Counter: r.index("counter", i), Weight256: w256})
		}
	}
	bound := func(field string, v float64) int32 {
		switch {
		case math.IsInf(v, -1):
			return math.MinInt32
		case math.IsInf(v, 1):
			return math.MaxInt32
		}
		return int32(r.scale(field, v, 1, math.MinInt32, math.MaxInt32))
	}
	m.Least = bound("least of a travel limit", math.Ceil(l.Least))
	m.Most = bound("most of a travel limit", math.Floor(l.Most))
	return m, r.err
}

// TargetFrom is the set-point on the wire.
func TargetFrom(p bench.SetPoint) (Target, error) {
	var r rounder
	m := Target{
		Axis:    r.index("axis", p.Axis),
		Mode:    p.Mode,
		Value16: int32(r.scale("set-point in counts or counts a second", p.Value, 16, math.MinInt32, math.MaxInt32)),
		Rate16:  int32(r.scale("rate in counts a second", p.Rate, 16, math.MinInt32, math.MaxInt32)),
	}
	return m, r.err
}

// Bench returns the set-point in the types of tuning/bench.
func (p Target) Bench() bench.SetPoint {
	return bench.SetPoint{Axis: int(p.Axis), Mode: p.Mode, Value: float64(p.Value16) / 16, Rate: float64(p.Rate16) / 16}
}

// LoopGainsFrom are the gains of an axis on the wire: each gain to nine digits,
// each other quantity to its scale.
func LoopGainsFrom(axis, counter int, g bench.Gains) (LoopGains, error) {
	var r rounder
	m := LoopGains{
		Axis:               r.index("axis", axis),
		Counter:            r.index("counter", counter),
		Kp:                 r.decimal("Kp in ratio a count", g.Kp),
		Ki:                 r.decimal("Ki in ratio a count and second", g.Ki),
		Kd:                 r.decimal("Kd in ratio a count/second", g.Kd),
		FeedForward:        r.decimal("feed-forward in ratio a count/second", g.FeedForward),
		FilterTenthMillis:  uint16(r.scale("filter time in s", g.FilterTime.Seconds(), 1e4, 0, 0xffff)),
		SetPointWeight1000: uint16(r.scale("set-point weight", g.SetPointWeight, 1000, 0, 0xffff)),
		RatioLeastQ13:      int32(r.scale("least ratio", float64(g.RatioLeast), 8192, math.MinInt32, math.MaxInt32)),
		RatioMostQ13:       int32(r.scale("most ratio", float64(g.RatioMost), 8192, math.MinInt32, math.MaxInt32)),
		TrackingMillis:     uint16(r.scale("tracking time in s", g.TrackingTime.Seconds(), 1000, 0, 0xffff)),
		HoldZoneCounts:     uint32(r.scale("hold zone in counts", float64(g.HoldZone), 1, 0, most31)),
		HoldReleaseCounts:  uint32(r.scale("hold release in counts", float64(g.HoldRelease), 1, 0, most31)),
		HoldDelayMillis:    uint16(r.scale("hold delay in s", g.HoldDelay.Seconds(), 1000, 0, 0xffff)),
		PeriodMillis:       uint16(r.scale("control period in s", g.Period.Seconds(), 1000, 1, 0xffff)),
	}
	return m, r.err
}

// Bench returns the gains in the types of tuning/bench.
func (m LoopGains) Bench() bench.Gains {
	return bench.Gains{
		Kp: m.Kp.Float(), Ki: m.Ki.Float(), Kd: m.Kd.Float(), FeedForward: m.FeedForward.Float(),
		FilterTime:     time.Duration(m.FilterTenthMillis) * 100 * time.Microsecond,
		SetPointWeight: float64(m.SetPointWeight1000) / 1000,
		RatioLeast:     units.Ratio(m.RatioLeastQ13) / 8192,
		RatioMost:      units.Ratio(m.RatioMostQ13) / 8192,
		TrackingTime:   time.Duration(m.TrackingMillis) * time.Millisecond,
		HoldZone:       units.Counts(m.HoldZoneCounts),
		HoldRelease:    units.Counts(m.HoldReleaseCounts),
		HoldDelay:      time.Duration(m.HoldDelayMillis) * time.Millisecond,
		Period:         time.Duration(m.PeriodMillis) * time.Millisecond,
	}
}

// CheckTable reports whether points are a whole inverse table: 2 to MostTable
// of them, with ratios that rise, and only two at 0 may be the same; the ratio 0
// lies among them or between them; the pulses rise all the way or fall all the
// way, and are 1 to 32767.
func CheckTable(points []bench.TablePoint) bool {
	n := len(points)
	if n < 2 || n > MostTable || points[0].RatioQ13 > 0 || points[n-1].RatioQ13 < 0 {
		return false
	}
	rising := points[1].PulseTenths > points[0].PulseTenths
	for i, p := range points {
		if p.PulseTenths == 0 || !pulseFits(p.PulseTenths) {
			return false
		}
		if i == 0 {
			continue
		}
		last := points[i-1]
		if p.PulseTenths == last.PulseTenths || (p.PulseTenths > last.PulseTenths) != rising {
			return false
		}
		third := i > 1 && points[i-2].RatioQ13 == p.RatioQ13
		if p.RatioQ13 < last.RatioQ13 || p.RatioQ13 == last.RatioQ13 && (p.RatioQ13 != 0 || third) {
			return false
		}
	}
	return true
}

// TableFrom is the message that loads a whole table; it fits one frame. Its
// error is a *Malformed if points are no table.
func TableFrom(axis int, points []bench.TablePoint) (Table, error) {
	if !CheckTable(points) {
		return Table{}, &Malformed{Type: TypeTable, Fault: FaultValue, Detail: len(points)}
	}
	var r rounder
	return Table{Axis: r.index("axis", axis), Total: uint8(len(points)), Points: points}, r.err
}

// Bench returns the identity in the types of tuning/bench, with the
// descriptions of its counters in their order and the sample rate in force.
func (m Identity) Bench(counters []CounterDescription, sampleHz int) bench.Identity {
	id := bench.Identity{
		Name: m.Name, ProtocolMajor: int(m.Major), ProtocolMinor: int(m.Minor), Boot: m.Boot,
		Axes:       int(m.Axes),
		PulseLeast: units.PulseFromTenths(m.LeastTenths), PulseMost: units.PulseFromTenths(m.MostTenths),
		FrameMicros: int(m.FrameMicros), MostSampleRate: int(m.MostSampleHz), SampleRate: sampleHz,
		MostTable:  int(m.MostTablePoints),
		Reversible: m.Capabilities&CanReverse != 0,
		Selector:   m.Capabilities&HasSelector != 0,
		StopInput:  m.Capabilities&HasStopInput != 0,
	}
	for _, c := range counters {
		id.Counters = append(id.Counters, bench.CounterIdentity{
			Kind: c.Kind, CountsPerTurn: int(c.CountsPerTurn), MostEdgeRate: int(c.MostEdgeRate),
		})
	}
	return id
}
