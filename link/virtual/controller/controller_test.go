package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

func TestConfigIsChecked(t *testing.T) {
	for name, spoil := range map[string]func(*Config){
		"no axis":              func(c *Config) { c.Identity.Axes = 0 },
		"too many axes":        func(c *Config) { c.Identity.Axes = 7 },
		"no pulse":             func(c *Config) { c.Identity.LeastTenths = 0 },
		"no frame":             func(c *Config) { c.Identity.FrameMicros = 0 },
		"slow line":            func(c *Config) { c.Identity.MostBaud = 9600 },
		"small queue":          func(c *Config) { c.Queue = 7 },
		"absolute, no turn":    func(c *Config) { c.Counters[1].Kind, c.Counters[1].CountsPerTurn = bench.Absolute, 0 },
		"too many counters":    func(c *Config) { c.Counters = make([]wire.CounterDescription, 9) },
		"name that is no text": func(c *Config) { c.Identity.Name = "\xff" },
	} {
		config := testConfig()
		spoil(&config)
		_, err := New(config, &stand{}, 0)
		var bad *ConfigError
		require.ErrorAs(t, err, &bad, name)
	}
}

// Frames of any length begin exactly where they must, whatever else is due.
func TestServoFramesKeepTheirTime(t *testing.T) {
	config := testConfig()
	config.Identity.FrameMicros = 16_667
	h := greeted(t, config)
	h.arm()
	h.must(wire.SampleRate{Hz: 190})
	begun := h.c.begun
	for i := range 30 {
		pulse := uint16(15000 + i)
		ack := h.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: pulse}}})
		frame := begun + int64(ack.TimeMicros)
		require.Zero(t, (frame-begun)%16_667)
		require.Greater(t, frame, h.board.now)
		for h.board.now < frame {
			require.NotEqual(t, int(pulse), h.tenths(0), "before its frame")
			h.board.now = h.c.Due()
			h.c.Poll()
		}
		require.Equal(t, frame, h.board.now, "Due names the frame")
		require.Equal(t, int(pulse), h.tenths(0))
		h.run(3)
	}
}

func TestSamplesKeepTheirTimeAndNumbers(t *testing.T) {
	h := greeted(t, testConfig())
	h.must(wire.SampleRate{Hz: 190})
	h.got = nil
	h.run(200)
	var last *wire.Frame
	n := 0
	for i := range h.got {
		f := &h.got[i]
		s, ok := f.Message.(wire.Sample)
		if !ok {
			continue
		}
		n++
		if last != nil {
			assert.EqualValues(t, 5263, s.TimeMicros-last.Message.(wire.Sample).TimeMicros)
			assert.EqualValues(t, 1, f.Number-last.Number)
		}
		last = f
	}
	assert.InDelta(t, 38, n, 1)
}

// A sample that finds the line busy is left out but counted.
func TestSamplesLeftOutLeaveAGap(t *testing.T) {
	h := greeted(t, testConfig())
	h.must(wire.SampleRate{Hz: 100})
	h.run(10)
	before := h.c.samples.number
	for range 30 { // nobody takes the bytes
		h.board.now = h.c.Due()
		h.c.Poll()
	}
	assert.EqualValues(t, before+3, h.c.samples.number)
	h.got = nil
	h.collect()
	require.Len(t, h.got, 1)
	assert.EqualValues(t, before, h.got[0].Number)
	h.got = nil
	h.run(10)
	require.Len(t, h.got, 1)
	assert.EqualValues(t, before+3, h.got[0].Number)
}

// Answers go before samples, but no frame is cut.
func TestAnswersGoBeforeSamples(t *testing.T) {
	var out transmitter
	frame := func(m wire.Message) []byte {
		line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: m})
		require.NoError(t, err)
		return line
	}
	sample := wire.Sample{Shape: wire.Shape{Axes: 1}}
	out.sample(1, &sample)
	out.answer(frame(wire.Ack{TimeMicros: 7}))
	var d wire.Decoder
	d.SetShape(sample.Shape)
	var got []wire.Message
	take := func(n int) {
		for range n {
			b, any := out.next()
			if !any {
				return
			}
			for _, r := range d.Feed([]byte{b}) {
				require.NoError(t, r.Err)
				got = append(got, r.Frame.Message)
			}
		}
	}
	take(200)
	require.Equal(t, []wire.Message{wire.Ack{TimeMicros: 7}, sample}, got)

	got = nil
	out.sample(2, &sample)
	take(3)
	out.answer(frame(wire.Ack{TimeMicros: 8}))
	take(200)
	require.Equal(t, []wire.Message{sample, wire.Ack{TimeMicros: 8}}, got)
}

// Answers that nobody takes are lost whole, and those that are kept are whole.
func TestAnswersWithoutRoomAreLostWhole(t *testing.T) {
	h := greeted(t, testConfig())
	h.number = 1
	for n := uint16(1); n <= 400; n++ {
		h.c.Feed(h.encode(wire.Frame{Number: n, Message: wire.Describe{What: 0x80}}))
	}
	h.got = nil
	h.collect()
	assert.Zero(t, h.bad)
	assert.Greater(t, len(h.got), 80)
	assert.Less(t, len(h.got), 400)
	for i, f := range h.got {
		assert.EqualValues(t, i+1, f.Number)
	}
}

func TestRestartForgetsEverything(t *testing.T) {
	h := greeted(t, testConfig())
	h.ready(1, 2, plain())
	h.arm()
	h.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 15500}}})
	h.must(wire.Drive{Direction: bench.Forward})
	h.board.counts[2], h.board.edges[2] = 40, h.board.now
	h.stay(60)
	require.Equal(t, 15500, h.tenths(0))

	h.c.Restart()
	assert.Zero(t, h.board.drive)
	assert.Zero(t, h.tenths(0))
	assert.EqualValues(t, 2, h.c.Boot())
	h.run(5)
	h.refused(wire.Describe{}, bench.ReasonNoHello)
	id := h.ask(wire.Hello{Major: wire.Major, Token: 9}).(wire.Identity)
	assert.EqualValues(t, 2, id.Boot)
	assert.Equal(t, wire.AxisDescription{Axis: 1, LeastTenths: 5000, MostTenths: 25000}, h.ask(wire.Describe{What: wire.AxisIndex(1)}))
	h.must(wire.SampleRate{Hz: 100})
	h.run(20)
	s := h.got[len(h.got)-1].Message.(wire.Sample)
	assert.Zero(t, s.Counters[2].Count, "counts begin at 0 wherever the sensor stands")
	assert.Equal(t, wire.AgeUnknown, s.Counters[2].Edge, "an edge of before the start is not known")
	state, _ := h.c.State()
	assert.Equal(t, bench.Safe, state)
}

// An absolute sensor is unwrapped over many turns, both ways.
func TestAbsoluteSensorIsUnwrapped(t *testing.T) {
	config := testConfig()
	config.Counters[1] = wire.CounterDescription{Kind: bench.Absolute, CountsPerTurn: 4096}
	h := newHost(t, config)
	place := int64(0)
	for _, by := range []int64{700, -900} {
		for range 40 {
			place += by
			h.board.counts[1] = ((place % 4096) + 4096) % 4096
			h.run(1)
			require.EqualValues(t, place, h.c.counters[1].count)
		}
	}
}

// A datum is of the place where the sensor stands when it is asked for.
func TestDatumIsOfThePlaceOfNow(t *testing.T) {
	h := greeted(t, testConfig())
	h.board.counts[1] = 30 // since the last look
	h.must(wire.Datum{Counter: 1, Value: 500})
	h.run(2)
	assert.EqualValues(t, 500, h.c.counters[1].count)
}

// A counter that is too fast stops the rig only where it may move.
func TestCounterThatIsTooFast(t *testing.T) {
	for _, c := range []struct {
		perMilli int64
		stops    bool
	}{{14, false}, {15, false}, {17, true}, {-15, false}, {-17, true}} {
		h := greeted(t, testConfig())
		h.arm()
		for range 100 {
			h.board.counts[3] += c.perMilli
			h.run(1)
		}
		state, cause := h.c.State()
		if c.stops {
			assert.Equal(t, bench.Stopped, state)
			assert.Equal(t, bench.CauseCounter, cause)
			continue
		}
		assert.Equal(t, bench.Armed, state, "%d a millisecond", c.perMilli)
	}
}

func TestStreamQueueIsFullAndTooLate(t *testing.T) {
	config := testConfig()
	config.Queue = 10
	h := greeted(t, config)
	h.ready(0, 0, plain())
	h.arm()
	now := h.c.clock(h.board.now)
	stream := func(at uint32) wire.Stream {
		return wire.Stream{TimeMicros: at, Targets: []wire.Target{{Axis: 0}}}
	}
	assert.EqualValues(t, 1, h.refused(stream(now-1), bench.ReasonTooLate))
	for range 10 {
		h.must(stream(now + 100_000))
	}
	assert.EqualValues(t, 10, h.refused(stream(now+100_000), bench.ReasonFull))
	h.stay(120)
	h.must(stream(h.c.clock(h.board.now)))
}

// What a streamed set-point needs can be taken away while it waits.
func TestStreamThatCannotBeFollowedStops(t *testing.T) {
	h := greeted(t, testConfig())
	h.ready(0, 0, plain())
	h.arm()
	h.must(wire.Stream{TimeMicros: h.c.clock(h.board.now) + 100_000, Targets: []wire.Target{{Axis: 0}}})
	h.must(wire.Neutral{Axis: 0})
	h.stay(150)
	state, cause := h.c.State()
	assert.Equal(t, bench.Stopped, state)
	assert.Equal(t, bench.CauseStream, cause)
}

// A moving position whose follower waits in the queue for the axis's next period
// has been followed in time.
func TestFollowerInTheQueueIsInTime(t *testing.T) {
	h := greeted(t, testConfig())
	g := plain()
	g.PeriodMillis = 1000
	h.ready(0, 0, g)
	h.arm()
	h.must(wire.Drive{Direction: bench.Forward})
	h.stay(int((h.c.begun + 20_000_000 - h.board.now) / 1000 % 1000)) // a period begins now
	now := h.c.clock(h.board.now)
	moving := []wire.Target{{Axis: 0, Value16: 0, Rate16: 16}}
	h.must(wire.SetPoint{Targets: moving})
	h.must(wire.Stream{TimeMicros: now + 240_000, Targets: moving})
	h.must(wire.Stream{TimeMicros: now + 480_000, Targets: []wire.Target{{Axis: 0}}})
	h.stay(1500)
	state, _ := h.c.State()
	assert.Equal(t, bench.Moving, state)
}

func TestNoClosedLoopWithoutATable(t *testing.T) {
	config := testConfig()
	config.Identity.MostTablePoints = 0
	h := greeted(t, config)
	h.arm()
	table := wire.Table{Total: 2, Points: points(-1, 14000, 1, 16000)}
	h.refused(table, bench.ReasonUnsupported)
	h.refused(wire.Gains(plain()), bench.ReasonUnsupported)
	h.refused(wire.SetPoint{Targets: []wire.Target{{}}}, bench.ReasonUnsupported)
	h.refused(wire.Stream{Targets: []wire.Target{{}}}, bench.ReasonUnsupported)
	h.refused(wire.ReadTable{}, bench.ReasonNoLoop)

	config.Identity.MostTablePoints = 5
	config.LeastPeriodMillis = 10
	h = greeted(t, config)
	table = wire.Table{Total: 6, Points: points(-3, 1, -2, 2, -1, 3, 1, 4, 2, 5, 3, 6)}
	assert.EqualValues(t, 5, h.refused(table, bench.ReasonFull))
	g := plain()
	g.PeriodMillis = 9
	assert.EqualValues(t, 10, h.refused(wire.Gains(g), bench.ReasonUnsupported))
}

func TestReverseNeedsTheCapability(t *testing.T) {
	config := testConfig()
	config.Identity.Capabilities = 0
	h := greeted(t, config)
	h.arm()
	h.refused(wire.Drive{Direction: bench.Reverse}, bench.ReasonUnsupported)
	h.refused(wire.Select{}, bench.ReasonUnsupported)
	h.must(wire.Drive{Direction: bench.Forward})
	assert.Equal(t, 1, h.board.drive)
}

func TestSelectorEngages(t *testing.T) {
	config := testConfig()
	config.Identity.Capabilities |= wire.HasSelector
	config.SelectMicros = 30_000
	h := greeted(t, config)
	h.arm()
	ack := h.must(wire.Select{Axis: 2})
	assert.Equal(t, h.c.clock(h.board.now+30_000), ack.TimeMicros)
	assert.Equal(t, 2, h.board.engaged)
	h.run(29)
	h.refused(wire.Drive{Direction: bench.Forward}, bench.ReasonMoving)
	h.run(1)
	h.must(wire.Drive{Direction: bench.Forward})
}

// The line changes its rate when the last bit of the ack has left, and no sample
// is begun before.
func TestLineRateChangesAfterTheAck(t *testing.T) {
	h := greeted(t, testConfig())
	h.must(wire.SampleRate{Hz: 200})
	h.run(12)
	h.board.busy = true
	h.must(wire.LineRate{Baud: 250000})
	h.got = nil
	h.run(20)
	assert.Equal(t, wire.BaseBaud, h.board.baud)
	assert.Empty(t, h.got, "samples wait")
	h.board.busy = false
	h.run(10)
	assert.Equal(t, 250000, h.board.baud)
	assert.NotEmpty(t, h.got)
	h.run(490)
	assert.Equal(t, wire.BaseBaud, h.board.baud, "silence")
}

// Samples that do not fit the new rate go off.
func TestSamplesThatDoNotFitTheRateGoOff(t *testing.T) {
	h := greeted(t, testConfig())
	h.refused(wire.SampleRate{Hz: 212}, bench.ReasonFull) // 12.7: 211 at 115200 for 4 counters and 3 axes
	faster := func(hz uint16) {
		h.must(wire.LineRate{Baud: 250000})
		h.run(5)
		h.must(wire.SampleRate{Hz: hz})
		h.run(50)
		require.NotEmpty(t, h.got)
	}
	faster(400)
	h.must(wire.LineRate{Baud: wire.BaseBaud})
	h.got = nil
	h.run(50)
	assert.Empty(t, h.got)

	faster(400) // and when silence brings the rate back
	h.run(460)
	h.got = nil
	h.run(50)
	assert.Empty(t, h.got)
	faster(200) // those that fit go on
	h.run(460)
	h.got = nil
	h.run(50)
	assert.NotEmpty(t, h.got)
}

// After standing still for long, the controller does each thing once and goes on.
func TestCatchingUpAfterAPause(t *testing.T) {
	h := greeted(t, testConfig())
	h.must(wire.Neutral{Axis: 0, PulseTenths: 15000})
	h.arm()
	h.must(wire.SampleRate{Hz: 100})
	h.must(wire.Tilt{Pulses: []wire.AxisPulse{{Axis: 0, PulseTenths: 16000}}})
	h.must(wire.Drive{Direction: bench.Forward})
	h.stay(40)
	h.board.now += 5_000_000
	h.c.Poll()
	state, cause := h.c.State()
	assert.Equal(t, bench.Stopped, state)
	assert.Equal(t, bench.CauseSilence, cause)
	assert.Zero(t, h.board.drive)
	h.run(21)
	assert.Equal(t, 15000, h.tenths(0))
	assert.Greater(t, h.c.Due(), h.board.now)
}

// Nothing is allocated as time goes by, with samples and closed loops.
func TestTimeCostsNoMemory(t *testing.T) {
	h := greeted(t, testConfig())
	for i := range uint8(3) {
		g := plain()
		g.Kp, g.Ki, g.TrackingMillis = decimal(0.01), decimal(0.1), 100
		h.ready(i, i, g)
	}
	h.arm()
	h.must(wire.SampleRate{Hz: 200})
	h.must(wire.SetPoint{Targets: []wire.Target{{Axis: 0, Value16: 1600}, {Axis: 1, Value16: 800}, {Axis: 2, Mode: bench.Speed, Value16: 160}}})
	h.must(wire.Drive{Direction: bench.Forward})
	step := func() {
		for range 100 {
			h.board.now = h.c.Due()
			h.c.Poll()
			for any := true; any; {
				_, any = h.c.Next()
			}
		}
		h.c.heard = h.board.now
	}
	step()
	assert.Zero(t, testing.AllocsPerRun(20, step))
}

func BenchmarkPoll(b *testing.B) {
	h := greeted(b, testConfig())
	h.must(wire.SampleRate{Hz: 100})
	for b.Loop() {
		h.board.now = h.c.Due()
		h.c.Poll()
		for any := true; any; {
			_, any = h.c.Next()
		}
		h.c.heard = h.board.now
	}
}
