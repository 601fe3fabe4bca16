package virtual

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link/virtual/physics"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// scannedTable is an inverse table read off the machine's own scan.
func scannedTable(t *testing.T, m physics.Machine) (points []bench.TablePoint, neutral uint16) {
	t.Helper()
	var pulses []float64
	for p := 1150.0; p <= 1850; p += 25 {
		pulses = append(pulses, p)
	}
	truth, err := physics.Scan(m, physics.ScanOptions{Pulses: pulses, ShaftTurns: 4, EdgeTries: 1, EdgeMicros: 1})
	require.NoError(t, err)
	zero := false
	for _, p := range truth.Points {
		q := int32(math.Round(p.Outward * 8192))
		point := bench.TablePoint{RatioQ13: q, PulseTenths: uint16(p.PulseMicros * 10)}
		if math.Abs(p.Outward) < 0.01 {
			if !zero { // the dead band
				points = append(points,
					bench.TablePoint{PulseTenths: uint16(truth.Short.BreakawayMicros * 10)},
					bench.TablePoint{PulseTenths: uint16(truth.Long.BreakawayMicros * 10)})
			}
			zero = true
			continue
		}
		if n := len(points); n > 0 && (point.PulseTenths <= points[n-1].PulseTenths || q <= points[n-1].RatioQ13) {
			continue
		}
		points = append(points, point)
	}
	require.True(t, wire.CheckTable(points), "%v", points)
	return points, uint16(truth.Middle * 10)
}

// The whole chain, from set-points on the line to a trolley that stands where it
// was sent: single ones, and a stream along which it follows.
func TestTrolleyGoesWhereItIsSent(t *testing.T) {
	m := machine(t, "trolley")
	points, neutral := scannedTable(t, m)
	rig, err := New(m, Options{Seed: 5})
	require.NoError(t, err)
	conn := Dial(rig, FlatOut)
	c := call(t, conn)
	c.greet()
	decimal := func(v float64) wire.Decimal { d, _ := wire.DecimalFrom(v); return d }
	c.must(wire.Neutral{Axis: 0, PulseTenths: neutral})
	c.must(wire.Table{Axis: 0, Total: uint8(len(points)), Points: points})
	const speed = 1600 * 412.0 / 60 // counts a second at ratio 1
	c.must(wire.Gains{
		Axis: 0, Counter: 1, Kp: decimal(3 / speed), FeedForward: decimal(1 / speed),
		SetPointWeight1000: 1000, RatioLeastQ13: -4000, RatioMostQ13: 4000,
		HoldZoneCounts: 30, HoldReleaseCounts: 60, HoldDelayMillis: 100, PeriodMillis: 10,
	})
	c.must(wire.SampleRate{Hz: 100})
	c.must(wire.Drive{Direction: bench.Forward})
	count := func() float64 {
		all := c.samples()
		return float64(all[len(all)-1].Counters[1].Count)
	}
	for _, goal := range []int32{8000, -4000, 0} {
		c.must(wire.SetPoint{Targets: []wire.Target{{Axis: 0, Value16: goal * 16}}})
		c.stay(6 * time.Second)
		assert.InDelta(t, goal, count(), 60, "within the hold release")
		assert.Less(t, math.Abs(rig.Plant().OutputSpeed(0)), 0.02, "and it stands")
	}

	// 2000 counts a second for 2 s, a set-point every 50 ms, sent 100 ms ahead.
	begin := c.must(wire.Heartbeat{}).(wire.Ack).TimeMicros + 100_000
	var worst float64
	for k := range uint32(41) {
		target := wire.Target{Axis: 0, Value16: int32(100 * k * 16), Rate16: 2000 * 16}
		if k == 40 {
			target.Rate16 = 0
		}
		c.must(wire.Stream{TimeMicros: begin + k*50_000, Targets: []wire.Target{target}})
		c.stay(47 * time.Millisecond)
		if k > 15 {
			all := c.samples()
			last := all[len(all)-1]
			want := float64(int32(last.TimeMicros-begin)) * 2000e-6
			worst = max(worst, math.Abs(want-float64(last.Counters[1].Count)))
		}
	}
	assert.Less(t, worst, 200.0, "0.1 s behind at most")
	c.stay(3 * time.Second)
	assert.InDelta(t, 4000, count(), 60)
	state, _ := rig.Controller().State()
	assert.Equal(t, bench.Moving, state)
}
