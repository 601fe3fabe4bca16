package wire_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

func TestDecimals(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want wire.Decimal
	}{
		{0, wire.Decimal{}},
		{1, wire.Decimal{Mantissa: 1}},
		{0.00125, wire.Decimal{Mantissa: 125, Exponent: -5}},
		{-0.1, wire.Decimal{Mantissa: -1, Exponent: -1}},
		{1e20, wire.Decimal{Mantissa: 1, Exponent: 20}},
		{1e28, wire.Decimal{Mantissa: 100000000, Exponent: 20}},
		{1e-30, wire.Decimal{Mantissa: 1, Exponent: -30}},
		{1.26e-29, wire.Decimal{Mantissa: 13, Exponent: -30}},
		{1.0 / 3, wire.Decimal{Mantissa: 333333333, Exponent: -9}},
		{0.9999999999, wire.Decimal{Mantissa: 1}},
	} {
		d, ok := wire.DecimalFrom(c.v)
		require.True(t, ok, "%g", c.v)
		require.Equal(t, c.want, d, "%g", c.v)
	}
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e30, -1e300, 9e-31, 5e-324} {
		_, ok := wire.DecimalFrom(v)
		require.False(t, ok, "%g", v)
	}
}

func TestDecimalsKeepNineDigits(t *testing.T) {
	seed := rand.Uint64()
	random := rand.New(rand.NewPCG(seed, 6))
	for range 20000 {
		v := (random.Float64() - 0.5) * math.Pow(10, float64(random.IntN(40)-12))
		d, ok := wire.DecimalFrom(v)
		require.True(t, ok, "seed %d: %g", seed, v)
		require.InEpsilon(t, v, d.Float(), 5.1e-9, "seed %d", seed)
		again, ok := wire.DecimalFrom(d.Float())
		require.True(t, ok)
		require.Equal(t, d, again, "seed %d: what was rounded once stays", seed)
	}
}

func TestTiltAndLimits(t *testing.T) {
	m, err := wire.TiltFrom(bench.Tilt{Axis: 2, Pulse: 1528.44}, bench.Tilt{Axis: 0})
	require.NoError(t, err)
	require.Equal(t, wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 2, PulseTenths: 15284}, {Axis: 0}}}, m)

	l, err := wire.PulseLimitsFrom(1, bench.PulseLimits{Least: 900, Most: 2100, SlewPerSec: 2000}, 20000)
	require.NoError(t, err)
	require.Equal(t, wire.PulseLimits{Axis: 1, LeastTenths: 9000, MostTenths: 21000, SlewTenths: 400}, l)

	l, err = wire.PulseLimitsFrom(1, bench.PulseLimits{Least: 900, Most: 2100, SlewPerSec: 1}, 20000)
	require.NoError(t, err)
	require.EqualValues(t, 1, l.SlewTenths, "a bound never becomes none")
}

func TestGuardsAndTravel(t *testing.T) {
	g, err := wire.GuardFrom(bench.Guard{Counter: 1, Counts: 2400, Time: 1500 * time.Millisecond})
	require.NoError(t, err)
	require.Equal(t, wire.Guard{Counter: 1, Counts: 2400, TimeMillis: 1500}, g)
	g, err = wire.GuardFrom(bench.Guard{Time: time.Microsecond})
	require.NoError(t, err)
	require.EqualValues(t, 1, g.TimeMillis, "a bound never becomes none")

	l, err := wire.TravelLimitFrom(bench.TravelLimit{Weights: []float64{0, 0, 0.5, -0.5}, Least: -900.4, Most: 900.6})
	require.NoError(t, err)
	require.Equal(t, wire.TravelLimit{Terms: []wire.Term{{Counter: 2, Weight256: 128}, {Counter: 3, Weight256: -128}}, Least: -900, Most: 900}, l)
	l, err = wire.TravelLimitFrom(bench.TravelLimit{Weights: []float64{1}, Least: math.Inf(-1), Most: math.Inf(1)})
	require.NoError(t, err)
	require.EqualValues(t, math.MinInt32, l.Least)
	require.EqualValues(t, math.MaxInt32, l.Most)
}

// At the scales of tuning/bench, gains come back as they were.
func TestGainsComeBack(t *testing.T) {
	g := bench.Gains{
		Kp: 0.00125, Ki: 4.0e-4, Kd: 7e-6, FilterTime: 25300 * time.Microsecond, SetPointWeight: 0.812, FeedForward: 2.1e-5,
		RatioLeast: -1.25, RatioMost: 1 + 1.0/8192, TrackingTime: 1200 * time.Millisecond,
		HoldZone: 6, HoldRelease: 14, HoldDelay: 300 * time.Millisecond, Period: 10 * time.Millisecond,
	}
	m, err := wire.LoopGainsFrom(1, 2, g)
	require.NoError(t, err)
	line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: wire.Gains(m)})
	require.NoError(t, err)
	var d wire.Decoder
	got := wire.LoopGains(d.Feed(line)[0].Frame.Message.(wire.Gains))
	require.Equal(t, g, got.Bench())
}

func TestTargetsComeBack(t *testing.T) {
	p := bench.SetPoint{Axis: 1, Mode: bench.Position, Value: -1234.0625, Rate: 0.125}
	m, err := wire.TargetFrom(p)
	require.NoError(t, err)
	require.Equal(t, p, m.Bench())
}

func TestWhatDoesNotFitIsSaid(t *testing.T) {
	gains := func(change func(*bench.Gains)) error {
		g := bench.Gains{RatioLeast: -1, RatioMost: 1, Period: time.Millisecond}
		change(&g)
		_, err := wire.LoopGainsFrom(0, 0, g)
		return err
	}
	errs := map[string]error{}
	_, errs["tilt"] = wire.TiltFrom(bench.Tilt{Pulse: 3276.8})
	_, errs["tilt below 0"] = wire.TiltFrom(bench.Tilt{Pulse: -1})
	_, errs["tilt NaN"] = wire.TiltFrom(bench.Tilt{Pulse: units.Pulse(math.NaN())})
	_, errs["axis"] = wire.TiltFrom(bench.Tilt{Axis: -1})
	_, errs["guard time"] = wire.GuardFrom(bench.Guard{Time: 66 * time.Second})
	_, errs["guard counts"] = wire.GuardFrom(bench.Guard{Counts: 1 << 31})
	_, errs["weight"] = wire.TravelLimitFrom(bench.TravelLimit{Weights: []float64{128}})
	_, errs["bound"] = wire.TravelLimitFrom(bench.TravelLimit{Weights: []float64{1}, Most: 3e9})
	_, errs["bound NaN"] = wire.TravelLimitFrom(bench.TravelLimit{Weights: []float64{1}, Most: math.NaN()})
	_, errs["target"] = wire.TargetFrom(bench.SetPoint{Value: 134217728})
	errs["Kp"] = gains(func(g *bench.Gains) { g.Kp = 1e40 })
	errs["period"] = gains(func(g *bench.Gains) { g.Period = 0 })
	errs["filter"] = gains(func(g *bench.Gains) { g.FilterTime = 7 * time.Second })
	errs["hold"] = gains(func(g *bench.Gains) { g.HoldRelease = -1 })
	for name, err := range errs {
		var out *wire.RangeError
		require.ErrorAs(t, err, &out, name)
		require.NotEmpty(t, out.Field, name)
	}
	require.NoError(t, gains(func(*bench.Gains) {}))
}

// Expected verdicts: section 10.3 of PROTOCOL.md.
func TestTables(t *testing.T) {
	points := func(numbers ...int) (p []bench.TablePoint) {
		for i := 0; i < len(numbers); i += 2 {
			p = append(p, bench.TablePoint{RatioQ13: int32(numbers[i]), PulseTenths: uint16(numbers[i+1])})
		}
		return p
	}
	long := points(-1, 1)
	for i := range 33 {
		long = append(long, bench.TablePoint{RatioQ13: int32(i), PulseTenths: uint16(2 + i)})
	}
	for name, c := range map[string]struct {
		table []bench.TablePoint
		want  bool
	}{
		"two inner points at 0":      {points(-8, 100, 0, 140, 0, 160, 8, 200), true},
		"inner points beside 0":      {points(-8, 100, -2, 140, 3, 160, 8, 200), true},
		"falling pulses":             {points(-8, 200, 0, 160, 0, 140, 8, 100), true},
		"forward only":               {points(0, 140, 0, 160, 8, 200), true},
		"one point at 0":             {points(-8, 100, 0, 150, 8, 200), true},
		"33 points":                  {long[1:], true},
		"34 points":                  {long, false},
		"one point":                  {points(0, 150), false},
		"none":                       {nil, false},
		"no backward point":          {points(1, 100, 8, 200), false},
		"no forward point":           {points(-8, 100, -1, 200), false},
		"ratios fall":                {points(-8, 100, 8, 140, 7, 160), false},
		"the same ratio but 0":       {points(-8, 100, 3, 140, 3, 160), false},
		"three at 0":                 {points(-8, 100, 0, 140, 0, 150, 0, 160, 8, 200), false},
		"pulses turn round":          {points(-8, 100, 0, 140, 0, 130, 8, 200), false},
		"the same pulse":             {points(-8, 100, 0, 140, 8, 140), false},
		"pulse 0":                    {points(-8, 0, 8, 140), false},
		"pulse of more than 15 bits": {points(-8, 100, 8, 32768), false},
	} {
		require.Equal(t, c.want, wire.CheckTable(c.table), name)
		m, err := wire.TableFrom(1, c.table)
		if !c.want {
			require.Equal(t, wire.FaultValue, faultOf(err), name)
			continue
		}
		require.NoError(t, err, name)
		line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: m})
		require.NoError(t, err, name)
		require.LessOrEqual(t, len(line), wire.MaxLine)
	}
}

func TestIdentityForBench(t *testing.T) {
	for _, f := range examples {
		m, ok := f.Message.(wire.Identity)
		if !ok {
			continue
		}
		id := m.Bench([]wire.CounterDescription{{Counter: 0, Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: 15000}}, 100)
		require.Equal(t, bench.Identity{
			Name: "scenery-lift", ProtocolMajor: 1, Boot: 77, Axes: 3,
			Counters:   []bench.CounterIdentity{{Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: 15000}},
			PulseLeast: 500, PulseMost: 2500, FrameMicros: 20000, MostSampleRate: 200, SampleRate: 100, MostTable: 33,
			Reversible: true, StopInput: true,
		}, id)
	}
}

func TestDescribe(t *testing.T) {
	a := wire.Describe{What: wire.AxisIndex(5)}
	require.True(t, a.Axis())
	require.Equal(t, 5, a.Index())
	c := wire.Describe{What: wire.CounterIndex(7)}
	require.False(t, c.Axis())
	require.Equal(t, 7, c.Index())
}
