package controller

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// stand is hardware in which nothing turns but what the test turns, with a line
// that takes no time.
type stand struct {
	now     int64
	pulses  [bench.MaxAxes]float64
	drive   int
	counts  [bench.MaxCounters]int64
	edges   [bench.MaxCounters]int64
	open    bool
	engaged int
	busy    bool // the line still sends
	baud    int
}

func (s *stand) Now() int64                        { return s.now }
func (s *stand) SetPulse(axis int, micros float64) { s.pulses[axis] = micros }
func (s *stand) SetDrive(direction int)            { s.drive = direction }
func (s *stand) Counter(i int) (int64, int64)      { return s.counts[i], s.edges[i] }
func (s *stand) StopInputOpen() bool               { return s.open }
func (s *stand) Select(axis int)                   { s.engaged = axis }
func (s *stand) Sent() bool                        { return !s.busy }
func (s *stand) SetLineRate(baud int)              { s.baud = baud }

func testConfig() Config {
	c := wire.CounterDescription{MostEdgeRate: 15000, CountsPerTurn: 2400}
	return Config{
		Identity: wire.Identity{
			Axes: 3, LeastTenths: 5000, MostTenths: 25000, FrameMicros: 20000, MostSampleHz: 400,
			MostTablePoints: wire.MostTable, MostBaud: 250000, Name: "test",
			Capabilities: wire.CanReverse | wire.HasStopInput,
		},
		Counters: []wire.CounterDescription{c, c, c, c},
	}
}

// host is a test that speaks to a controller.
type host struct {
	t       testing.TB
	board   *stand
	c       *Controller
	decoder wire.Decoder
	number  uint16
	got     []wire.Frame // not yet looked at
	bad     int
}

func newHost(t testing.TB, config Config) *host {
	t.Helper()
	h := &host{t: t, board: &stand{now: 5_000_000}}
	c, err := New(config, h.board, 1)
	require.NoError(t, err)
	h.c = c
	h.run(3)
	return h
}

// greeted is a host after hello.
func greeted(t testing.TB, config Config) *host {
	h := newHost(t, config)
	require.IsType(t, wire.Identity{}, h.ask(wire.Hello{Major: wire.Major, Token: 9}))
	return h
}

// run lets so many milliseconds pass.
func (h *host) run(millis int) {
	for end := h.board.now + int64(millis)*1000; h.board.now < end; {
		h.board.now = min(max(h.c.Due(), h.board.now), end)
		h.c.Poll()
		h.collect()
		if h.c.Due() <= h.board.now {
			h.t.Fatal("Due does not go on")
		}
	}
}

// stay lets so many milliseconds pass with heartbeats, and drops their answers.
func (h *host) stay(millis int) {
	for ; millis > 0; millis -= 50 {
		h.c.Feed(h.encode(wire.Frame{Message: wire.Heartbeat{}}))
		h.run(min(millis, 50))
	}
	h.got = nil
}

func (h *host) encode(f wire.Frame) []byte {
	line, err := wire.Encode(nil, f)
	require.NoError(h.t, err)
	return line
}

func (h *host) collect() {
	for {
		b, any := h.c.Next()
		if !any {
			return
		}
		for _, r := range h.decoder.Feed([]byte{b}) {
			if r.Err != nil {
				h.bad++
				continue
			}
			h.got = append(h.got, r.Frame)
		}
	}
}

// ask sends a request with the next number and returns its answer; notices and
// samples are dropped.
func (h *host) ask(m wire.Message) wire.Message {
	h.t.Helper()
	number := uint16(0)
	if _, hello := m.(wire.Hello); hello {
		h.number = 0
	} else {
		h.number = wire.NextNumber(h.number)
		number = h.number
	}
	h.got = nil
	h.c.Feed(h.encode(wire.Frame{Number: number, Message: m}))
	h.collect()
	var answer wire.Message
	for _, f := range h.got {
		switch f.Message.(type) {
		case wire.Notice, wire.Sample:
			continue
		}
		require.Nil(h.t, answer, "two answers")
		require.Equal(h.t, number, f.Number)
		answer = f.Message
	}
	require.NotNil(h.t, answer, "no answer to %v", m)
	return answer
}

// must asks, and takes nothing but an ack.
func (h *host) must(m wire.Message) wire.Ack {
	h.t.Helper()
	answer := h.ask(m)
	require.IsType(h.t, wire.Ack{}, answer, "%v: %v", m, answer)
	return answer.(wire.Ack)
}

// refused asks, and takes nothing but a refusal for a reason.
func (h *host) refused(m wire.Message, reason bench.Reason) int32 {
	h.t.Helper()
	answer := h.ask(m)
	require.IsType(h.t, wire.Refuse{}, answer, "%v", m)
	require.Equal(h.t, reason, answer.(wire.Refuse).Reason)
	return answer.(wire.Refuse).Detail
}

func (h *host) arm() { h.t.Helper(); h.must(wire.Arm{Token: 9}) }

// close readies an axis for closed loop on a counter.
func (h *host) ready(axis, counter uint8, g wire.LoopGains) {
	h.t.Helper()
	g.Axis, g.Counter = axis, counter
	h.must(wire.Neutral{Axis: axis, PulseTenths: 15000})
	h.must(wire.Table{Axis: axis, Total: 4, Points: points(-8192, 10000, 0, 14000, 0, 16000, 8192, 20000)})
	h.must(wire.Gains(g))
}

func (h *host) tenths(axis int) int { return int(math.Round(h.board.pulses[axis] * 10)) }
