package measure

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// turning makes an invented trace: a shaft whose speed wanders, an output that
// follows it by a ratio, with a ripple once a shaft turn and one at a period
// that fits nothing. Counters hold whole counts and the times of their edges.
type turning struct {
	ratio, bend     float64 // the ratio changes by bend over the window
	ripple, offbeat float64 // amplitudes, output turns
	seconds, rateHz float64
	shaft, output   Sensor
}

func (g turning) trace(rng *rand.Rand) bench.Trace {
	const h = 1e-4
	speed, phase, beat := 6.6, rng.Float64(), rng.Float64()*2*math.Pi
	drift := (rng.Float64() - 0.5) * 0.3
	angle, out, last := 0.0, 0.0, 0.0
	var trace bench.Trace
	var shaftEdge, outEdge units.Instant
	start := rng.Float64()
	shaftAt := func() float64 { return (angle + start) * g.shaft.PerTurn }
	outAt := func() float64 { return (out + phase) * g.output.PerTurn }
	shaftCount, outCount := math.Floor(shaftAt()), math.Floor(outAt())
	next := 0.0
	for k := 0; float64(k)*h < g.seconds; k++ {
		t := float64(k) * h
		if t >= next {
			s := bench.Sample{Sequence: uint64(len(trace)), At: units.Instant(1e6 * (1 + t))}
			s.Counters[g.shaft.Counter] = bench.Counter{Count: units.Counts(shaftCount), LastEdge: shaftEdge}
			s.Counters[g.output.Counter] = bench.Counter{Count: units.Counts(outCount), LastEdge: outEdge}
			trace = append(trace, s)
			next += 1 / g.rateHz
		}
		before, beforeOut := shaftAt(), outAt()
		angle += (speed + drift*t + 0.1*math.Sin(3*t)) * h
		ratio := g.ratio + g.bend*(t/g.seconds-0.5)
		base := last + ratio*(speed+drift*t+0.1*math.Sin(3*t))*h
		last = base
		out = base + g.ripple*math.Sin(2*math.Pi*(angle+start)) + g.offbeat*math.Sin(2*math.Pi*1.37*angle+beat)
		shaftEdge = crossed(before, shaftAt(), &shaftCount, t, h, shaftEdge)
		outEdge = crossed(beforeOut, outAt(), &outCount, t, h, outEdge)
	}
	return trace
}

// crossed notes the time of the last whole count passed between two places.
func crossed(before, after float64, count *float64, t, h float64, edge units.Instant) units.Instant {
	now := math.Floor(after)
	if now == *count {
		return edge
	}
	line := now
	if now < *count {
		line = now + 1
	}
	*count = now
	share := 1.0
	if after != before {
		share = math.Max(0, math.Min(1, (line-before)/(after-before)))
	}
	return units.Instant(1e6 * (1 + t + share*h))
}

func plain() turning {
	return turning{ratio: 0.42, seconds: 0.7, rateHz: 100, shaft: Sensor{0, 400}, output: Sensor{1, 1600}}
}

// The ratio must be right on the average, and its error what it claims. Goals:
// a bias within three of its own errors, and
// intervals that cover 85 to 100 of 100: an offbeat ripple over four turns is
// no white noise, and the widening for it is a rule of thumb.
func TestRatioIsRightAndItsErrorIsWhatItClaims(t *testing.T) {
	const runs, seed = 400, 11
	const grain = 2e-5 // the made-up edges are placed to a microsecond, always late
	cases := map[string]turning{}
	add := func(name string, change func(*turning)) {
		g := plain()
		change(&g)
		cases[name] = g
	}
	add("steady", func(*turning) {})
	add("ripple once a turn", func(g *turning) { g.ripple = 0.004 })
	add("offbeat ripple", func(g *turning) { g.offbeat = 0.001 })
	add("backward", func(g *turning) { g.ratio = -0.9 })
	add("slow", func(g *turning) { g.ratio, g.seconds = 0.012, 1.2 })
	for name, g := range cases {
		rng := rand.New(rand.NewPCG(seed, 1))
		var sum, square, claimed, within float64
		for range runs {
			r := Take(g.trace(rng), g.shaft, g.output)
			e := r.Ratio.Value - g.ratio
			sum += e
			square += e * e
			claimed += r.Ratio.StdErr * r.Ratio.StdErr
			if math.Abs(e) <= 1.96*r.Ratio.StdErr {
				within++
			}
		}
		bias, rms := sum/runs, math.Sqrt(square/runs)
		cover := within / runs
		t.Logf("%-20s %d runs: bias %+.6f ±%.6f, rms %.6f, claimed %.6f, coverage %.3f ±%.3f", name, runs, bias, rms/math.Sqrt(runs), rms, math.Sqrt(claimed/runs), cover, math.Sqrt(cover*(1-cover)/runs))
		assert.Less(t, math.Abs(bias), math.Max(3*rms/math.Sqrt(runs), grain), name)
		assert.GreaterOrEqual(t, cover, 0.85, "%s, seed %d", name, seed)
		assert.Less(t, rms, 0.004, name)
	}
}

func TestTrendIsSeen(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	g := plain()
	steady, moving := 0, 0
	for range 100 {
		g.bend = 0
		if Take(g.trace(rng), g.shaft, g.output).Settled() {
			steady++
		}
		g.bend = 0.05 * g.ratio
		if !Take(g.trace(rng), g.shaft, g.output).Settled() {
			moving++
		}
	}
	assert.GreaterOrEqual(t, steady, 97, "a steady ratio is settled")
	assert.GreaterOrEqual(t, moving, 97, "five percent of change in the window is not")
}

func TestRippleOfTheShaftIsMeasured(t *testing.T) {
	g := plain()
	g.ripple = 0.004
	r := Take(g.trace(rand.New(rand.NewPCG(1, 2))), g.shaft, g.output)
	assert.InDelta(t, 0.004, r.Ripple, 0.0006)
}

func TestTakeOfNothingClaimsNothing(t *testing.T) {
	s := Sensor{0, 400}
	assert.True(t, math.IsInf(Take(nil, s, Sensor{1, 1600}).Ratio.StdErr, 1))
	assert.True(t, math.IsInf(Take(make(bench.Trace, 10), s, Sensor{1, 1600}).Ratio.StdErr, 1), "the shaft stood")
}

// An output that stands still has a ratio of nought, known to its counts.
func TestStillOutput(t *testing.T) {
	g := plain()
	g.ratio = 0
	r := Take(g.trace(rand.New(rand.NewPCG(5, 5))), g.shaft, g.output)
	assert.InDelta(t, 0, r.Ratio.Value, 3*r.Ratio.StdErr)
	assert.Less(t, r.Ratio.StdErr, 0.001)
	assert.Greater(t, r.Ratio.StdErr, 0.0)
}
