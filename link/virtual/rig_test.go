package virtual

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link/virtual/controller"
	"trunnion/link/virtual/physics"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// The trolley turns when it is tilted, counts, and its pulses are those of the
// samples.
func TestTrolleyTurns(t *testing.T) {
	rig := newRig(t, "trolley", Options{Seed: 1})
	c := call(t, Dial(rig, FlatOut))
	id := c.greet()
	assert.EqualValues(t, 1, id.Axes)
	assert.EqualValues(t, 2, id.Counters)
	counter := c.must(wire.Describe{What: wire.CounterIndex(1)}).(wire.CounterDescription)
	assert.EqualValues(t, 1600, counter.CountsPerTurn)
	c.must(wire.SampleRate{Hz: 100})
	c.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 17000}}})
	c.must(wire.Drive{Direction: bench.Forward})
	c.other = nil
	c.stay(2 * time.Second)
	all := c.samples()
	require.Greater(t, len(all), 180)
	first, last := all[0], all[len(all)-1]
	assert.EqualValues(t, 17000, last.Axes[0].PulseTenths)
	shaft := float64(last.Counters[0].Count-first.Counters[0].Count) / 400
	assert.InDelta(t, 400.0/60*2, shaft, 2, "turns of the drive shaft in 2 s")
	output := float64(last.Counters[1].Count-first.Counters[1].Count) / 1600
	assert.Greater(t, output, 1.0)
	assert.InDelta(t, rig.Plant().OutputTurns(0)*1600, float64(last.Counters[1].Count), 200)
}

// The same seed and the same calls give the same bytes, whatever the pieces into
// which time is cut.
func TestSameSeedSameBytes(t *testing.T) {
	play := func(seed uint64, piece int64) []byte {
		rig := newRig(t, "trolley", Options{Seed: seed})
		var all []byte
		send := func(number uint16, m wire.Message) {
			line, err := wire.Encode(nil, wire.Frame{Number: number, Message: m})
			require.NoError(t, err)
			rig.Send(line)
			for range 60 / piece {
				rig.Advance(piece * 1000)
				buffer := make([]byte, 4096)
				all = append(all, buffer[:rig.Receive(buffer)]...)
			}
		}
		send(0, wire.Hello{Major: wire.Major, Token: 4})
		send(1, wire.Arm{Token: 4})
		send(2, wire.SampleRate{Hz: 100})
		send(3, wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 16500}}})
		send(4, wire.Drive{Direction: bench.Forward})
		for range 20 {
			send(0, wire.Heartbeat{})
		}
		return all
	}
	reference := play(3, 1)
	assert.Equal(t, reference, play(3, 1))
	assert.Equal(t, reference, play(3, 4))
	assert.Equal(t, reference, play(3, 30))
	assert.False(t, bytes.Equal(reference, play(4, 1)), "another seed wanders otherwise")
}

// A byte takes ten bits at the line's rate.
func TestBytesTakeTheirTime(t *testing.T) {
	for _, baud := range []int{115200, 250000} {
		p := path{rate: baud}
		p.send(1_000_000, make([]byte, 100))
		whole := int64(100) * 10 * 1_000_000_000 / int64(baud)
		assert.Len(t, p.arrive(nil, 1_000_000+whole/2, baud), 50)
		assert.Len(t, p.arrive(nil, 1_000_000+whole+1000, baud), 50)
		assert.Zero(t, p.waiting())
		p.send(9_000_000_000, []byte{1})
		assert.Empty(t, p.arrive(nil, 9_000_000_000+p.byteTime()-1, baud), "an idle line does not save up time")
		assert.Len(t, p.arrive(nil, 9_000_000_000+p.byteTime(), baud), 1)
	}
}

// The answer to a heartbeat of 7 bytes has 11 or 12: they take 1.6 ms at 115200
// baud, and the controller looks once a millisecond.
func TestRoundTripIsHonest(t *testing.T) {
	conn := Dial(newRig(t, "trolley", Options{}), FlatOut)
	c := call(t, conn)
	c.must(wire.Hello{Major: wire.Major, Token: 3})
	for range 20 {
		before := conn.Now()
		c.must(wire.Heartbeat{})
		took := conn.Now() - before
		assert.GreaterOrEqual(t, took, 1600*time.Microsecond)
		assert.LessOrEqual(t, took, 5*time.Millisecond)
		c.read(time.Duration(len(c.other)+1) * time.Millisecond)
	}
}

// Samples that take 85 % of the line all arrive.
func TestLineIsWideEnoughForSamples(t *testing.T) {
	c := call(t, Dial(newRig(t, "lift", Options{}), FlatOut))
	c.must(wire.Hello{Major: wire.Major, Token: 3})
	c.must(wire.SampleRate{Hz: 200})
	c.other = nil
	c.stay(2 * time.Second)
	var numbers []uint16
	for _, f := range c.other {
		numbers = append(numbers, f.Number)
	}
	require.Greater(t, len(numbers), 395)
	for i := range numbers[1:] {
		require.EqualValues(t, 1, numbers[i+1]-numbers[i])
	}
}

func TestLineRateOfBothEnds(t *testing.T) {
	conn := Dial(newRig(t, "trolley", Options{}), FlatOut)
	c := call(t, conn)
	c.must(wire.Hello{Major: wire.Major, Token: 3})
	c.must(wire.LineRate{Baud: 250000})
	c.stay(10 * time.Millisecond)
	require.Nil(t, c.try(wire.Describe{}, 100*time.Millisecond), "one end at another rate understands nothing")
	require.NoError(t, conn.SetRate(250000))
	c.mustSoon(wire.Heartbeat{})
	c.must(wire.Describe{})
	require.NoError(t, conn.SetRate(115200))
	c.read(time.Millisecond)
	c.listen(510 * time.Millisecond)
	c.mustSoon(wire.Heartbeat{})
}

// A change of rate waits for what was handed over before.
func TestSetRateLetsBytesLeave(t *testing.T) {
	conn := Dial(newRig(t, "trolley", Options{}), FlatOut)
	c := call(t, conn)
	c.must(wire.Hello{Major: wire.Major, Token: 3})
	c.send(wire.LineRate{Baud: 250000})
	require.NoError(t, conn.SetRate(250000))
	c.stay(20 * time.Millisecond)
	c.mustSoon(wire.Heartbeat{})
}

func TestUrgentBytesOvertake(t *testing.T) {
	rig := newRig(t, "trolley", Options{})
	conn := Dial(rig, FlatOut)
	c := call(t, conn)
	c.greet()
	c.must(wire.Drive{Direction: bench.Forward})
	for range 100 {
		c.send(wire.Describe{})
	}
	stop, err := wire.Encode(nil, wire.Frame{Number: 200, Message: wire.Stop{}})
	require.NoError(t, err)
	require.NoError(t, conn.WriteUrgent(stop))
	before := conn.Now()
	for state := bench.Moving; state != bench.Stopped; state, _ = rig.Controller().State() {
		c.read(time.Millisecond)
		require.Less(t, conn.Now()-before, 10*time.Millisecond, "100 requests take 80 ms")
	}
}

func TestBoardOfAMachine(t *testing.T) {
	board := Board(machine(t, "lift"))
	assert.EqualValues(t, 3, board.Identity.Axes)
	assert.Len(t, board.Counters, 4)
	assert.Zero(t, board.Identity.Capabilities&wire.CanReverse, "the lift's drive is not reversible")
	for _, c := range []struct {
		counter physics.Counter
		want    wire.CounterDescription
	}{
		{physics.Counter{Kind: physics.Incremental, On: physics.OnShaft, CountsPerTurn: 400}, wire.CounterDescription{Kind: bench.Incremental, CountsPerTurn: 400, MostEdgeRate: edgeRate}},
		{physics.Counter{Kind: physics.Incremental, On: physics.OnJoint, CountsPerTurn: 12.5}, wire.CounterDescription{Kind: bench.Incremental, MostEdgeRate: edgeRate}},
		{physics.Counter{Kind: physics.Absolute, On: physics.OnOutput, CountsPerTurn: 4096}, wire.CounterDescription{Kind: bench.Absolute, CountsPerTurn: 4096, MostEdgeRate: edgeRate}},
		{physics.Counter{Kind: physics.Mark, On: physics.OnShaft}, wire.CounterDescription{Kind: bench.Mark, CountsPerTurn: 1, MostEdgeRate: edgeRate}},
	} {
		assert.Equal(t, c.want, describe(c.counter))
	}
}

func TestWhatCannotBeBuilt(t *testing.T) {
	m := machine(t, "trolley")
	board := Board(m)
	board.Identity.Axes = 2
	_, err := New(m, Options{Board: &board})
	var wiring *WiringError
	require.ErrorAs(t, err, &wiring)

	board = Board(m)
	board.Queue = 1
	_, err = New(m, Options{Board: &board})
	var config *controller.ConfigError
	require.ErrorAs(t, err, &config)

	m.Drive.StallTorqueNM = -1
	_, err = New(m, Options{})
	require.Error(t, err)
}
