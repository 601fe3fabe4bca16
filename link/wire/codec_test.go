package wire_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// examples has one frame of every message, with no field at its zero value
// where that is allowed.
var examples = []wire.Frame{
	{Number: 0, Message: wire.Hello{Major: 1, Minor: 0, Token: 0xa1b2c3d4}},
	{Number: 0, Message: wire.Heartbeat{}},
	{Number: 1, Message: wire.Describe{What: wire.AxisIndex(2)}},
	{Number: 2, Message: wire.SampleRate{Hz: 200}},
	{Number: 3, Message: wire.LineRate{Baud: 250000}},
	{Number: 4, Message: wire.Arm{Token: 0xa1b2c3d4}},
	{Number: 5, Message: wire.Park{}},
	{Number: 6, Message: wire.Stop{}},
	{Number: 7, Message: wire.Clear{}},
	{Number: 8, Message: wire.Drive{Direction: bench.Reverse}},
	{Number: 9, Message: wire.Select{Axis: 1}},
	{Number: 10, Message: wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 15284}, {Axis: 2, PulseTenths: 14903}}}},
	{Number: 11, Message: wire.PulseLimits{Axis: 1, LeastTenths: 9000, MostTenths: 21000, SlewTenths: 400}},
	{Number: 12, Message: wire.Neutral{Axis: 1, PulseTenths: 15020}},
	{Number: 13, Message: wire.Guards{Guards: []wire.Guard{{Counter: 1, Counts: 2400, TimeMillis: 1500}}}},
	{Number: 14, Message: wire.TravelLimits{Limits: []wire.TravelLimit{
		{Terms: []wire.Term{{Counter: 2, Weight256: 128}, {Counter: 3, Weight256: -128}}, Least: -900, Most: 900},
	}}},
	{Number: 15, Message: wire.Datum{Counter: 3, Value: -40000}},
	{Number: 16, Message: wire.Table{Axis: 1, Total: 4, Points: []bench.TablePoint{{RatioQ13: -8192, PulseTenths: 11000}, {RatioQ13: 0, PulseTenths: 14800}, {RatioQ13: 0, PulseTenths: 15250}, {RatioQ13: 8192, PulseTenths: 19000}}}},
	{Number: 17, Message: wire.Gains{
		Axis: 1, Counter: 2, Kp: wire.Decimal{Mantissa: 125, Exponent: -5}, Ki: wire.Decimal{Mantissa: 4, Exponent: -4},
		Kd: wire.Decimal{Mantissa: 7, Exponent: -6}, FeedForward: wire.Decimal{Mantissa: 21, Exponent: -6},
		FilterTenthMillis: 250, SetPointWeight1000: 800, RatioLeastQ13: -9000, RatioMostQ13: 9001, TrackingMillis: 1200,
		HoldZoneCounts: 6, HoldReleaseCounts: 14, HoldDelayMillis: 300, PeriodMillis: 10,
	}},
	{Number: 18, Message: wire.ReadTable{Axis: 1}},
	{Number: 19, Message: wire.ReadGains{Axis: 1}},
	{Number: 20, Message: wire.SetPoint{Targets: []wire.Target{{Axis: 1, Mode: bench.Speed, Value16: -4800}}}},
	{Number: 21, Message: wire.Stream{TimeMicros: 4294967290, Targets: []wire.Target{{Axis: 0, Value16: 1600, Rate16: -160}}}},
	{Number: 65535, Message: wire.Release{Axis: 1}},
	{Number: 10, Message: wire.Ack{TimeMicros: 12345678}},
	{Number: 8, Message: wire.Refuse{Request: wire.TypeDrive, Reason: bench.ReasonGuardHit, Detail: -2}},
	{Number: 0, Message: wire.Identity{
		Major: 1, Minor: 0, Token: 0xa1b2c3d4, Boot: 77, Axes: 3, Counters: 4, LeastTenths: 5000, MostTenths: 25000,
		FrameMicros: 20000, MostSampleHz: 200, MostTablePoints: 33, MostBaud: 250000,
		Capabilities: wire.CanReverse | wire.HasStopInput, Name: "scenery-lift",
	}},
	{Number: 1, Message: wire.CounterDescription{Counter: 1, Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: 15000}},
	{Number: 1, Message: wire.AxisDescription{Axis: 2, LeastTenths: 9000, MostTenths: 21000, SlewTenths: 400, NeutralTenths: 15020, Loop: wire.LoopTable | wire.LoopClosed}},
	{Number: 65535, Message: wire.Sample{
		TimeMicros: 1 << 31, State: bench.Stopped, Cause: bench.CauseSilence, Flags: bench.StopOpen | bench.NeutralKnown,
		Shape:    wire.Shape{Counters: 4, Axes: 3},
		Counters: [bench.MaxCounters]wire.SampleCounter{{Count: -5, Edge: 17}, {Count: 1 << 30, Edge: 0x8100}, {}, {Edge: wire.AgeUnknown}},
		Axes:     [bench.MaxAxes]wire.SampleAxis{{PulseTenths: 15000, Since: 3}, {PulseTenths: 32767, Closed: true, Since: wire.AgeUnknown}},
	}},
	{Number: 3, Message: wire.Notice{State: bench.Stopped, Cause: bench.CauseInput, TimeMicros: 99}},
	{Number: 18, Message: wire.TableReport{Axis: 1, Total: 2, Points: []bench.TablePoint{{RatioQ13: -1, PulseTenths: 14800}, {RatioQ13: 1, PulseTenths: 15250}}}},
	{Number: 19, Message: wire.GainsReport{Axis: 1, RatioLeastQ13: -1, RatioMostQ13: 1, PeriodMillis: 5}},
}

func TestEveryMessageComesBack(t *testing.T) {
	var d wire.Decoder
	seen := map[wire.Type]bool{}
	for _, f := range examples {
		line, err := wire.Encode([]byte("kept"), f)
		require.NoError(t, err, "%v", f)
		require.Equal(t, "kept", string(line[:4]))
		require.NotContains(t, line[4:len(line)-1], byte(0))
		results := d.Feed(line[4:])
		require.Len(t, results, 1)
		require.NoError(t, results[0].Err, "%v", f)
		require.Equal(t, f, results[0].Frame)
		seen[f.Message.Type()] = true
	}
	for _, k := range knownTypes() {
		require.True(t, seen[k], "%v has no example", k)
	}
}
