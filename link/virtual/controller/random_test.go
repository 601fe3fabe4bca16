package controller

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// randomHost sends what comes to its mind.
type randomHost struct {
	*host
	random *rand.Rand
}

func (h *randomHost) axis() uint8 {
	if h.random.IntN(15) == 0 {
		return 3
	}
	return uint8(h.random.IntN(3))
}

func (h *randomHost) counter() uint8 { return uint8(h.random.IntN(4)) }

func (h *randomHost) pulse() uint16 {
	if h.random.IntN(6) == 0 {
		return 0
	}
	return uint16(14000 + h.random.IntN(2000))
}

func (h *randomHost) targets() (targets []wire.Target) {
	for axis := range uint8(3) {
		if h.random.IntN(2) == 0 {
			continue
		}
		t := wire.Target{Axis: axis, Value16: int32(h.random.IntN(6400) - 3200)}
		switch h.random.IntN(3) {
		case 0:
			t.Mode = bench.Speed
		case 1:
			t.Rate16 = int32(h.random.IntN(320) - 160)
		}
		targets = append(targets, t)
	}
	if len(targets) == 0 {
		targets = []wire.Target{{Axis: 0}}
	}
	return targets
}

func (h *randomHost) gains() wire.Gains {
	g := plain()
	g.Axis, g.Counter = h.axis(), h.counter()
	g.Kp, g.Ki, g.Kd = decimal(h.random.Float64()/50), decimal(h.random.Float64()/10), decimal(h.random.Float64()/1000)
	g.TrackingMillis, g.FilterTenthMillis = 200, uint16(h.random.IntN(500))
	g.PeriodMillis = uint16(1 + h.random.IntN(40))
	g.HoldZoneCounts, g.HoldReleaseCounts, g.HoldDelayMillis = uint32(h.random.IntN(4)), 9, uint16(h.random.IntN(60))
	return wire.Gains(g)
}

func (h *randomHost) message() wire.Message {
	switch h.random.IntN(24) {
	case 0:
		return wire.Describe{What: uint8(h.random.IntN(256))}
	case 1:
		return wire.SampleRate{Hz: uint16(h.random.IntN(230))}
	case 2, 3, 4:
		return wire.Arm{Token: 9}
	case 5:
		return wire.Park{}
	case 6:
		return wire.Stop{}
	case 7, 8:
		return wire.Clear{}
	case 9, 10, 11:
		return wire.Drive{Direction: bench.Direction(h.random.IntN(3))}
	case 12, 13:
		return wire.Tilt{Pulses: []wire.AxisPulse{{Axis: h.axis(), PulseTenths: h.pulse()}}}
	case 14:
		return wire.PulseLimits{Axis: h.axis(), LeastTenths: uint16(9000 + h.random.IntN(5500)), MostTenths: uint16(15500 + h.random.IntN(5500)), SlewTenths: uint16(h.random.IntN(300))}
	case 15:
		return wire.Neutral{Axis: h.axis(), PulseTenths: h.pulse()}
	case 16:
		return wire.Guards{Guards: []wire.Guard{{Counter: h.counter(), Counts: uint32(h.random.IntN(200)), TimeMillis: uint16(1 + h.random.IntN(900))}}[:h.random.IntN(2)]}
	case 17:
		c := h.counter()
		return wire.TravelLimits{Limits: []wire.TravelLimit{{Terms: []wire.Term{{Counter: c, Weight256: 256}, {Counter: (c + 1) % 4, Weight256: -128}}, Least: -20, Most: 20}}[:h.random.IntN(2)]}
	case 18:
		return wire.Datum{Counter: h.counter(), Value: int32(h.random.IntN(200))}
	case 19:
		return wire.Table{Axis: h.axis(), Total: 4, Points: points(-8192, 10000, 0, 14000, 0, 16000, 8192, 20000)}
	case 20:
		return h.gains()
	case 21:
		return wire.SetPoint{Targets: h.targets()}
	case 22:
		return wire.Stream{TimeMicros: h.c.clock(h.board.now) + uint32(h.random.IntN(100_000)), Targets: h.targets()}
	}
	return wire.Release{Axis: h.axis()}
}

// watch is what check keeps of the last time.
type watch struct {
	tenths [3]uint16
	frame  int64
	atOnce int64 // the frame at which a stop takes effect, which heeds no slew bound
}

// note is called after whatever may have stopped the rig.
func (w *watch) note(c *Controller) {
	if c.state == bench.Stopped {
		w.atOnce = c.nextFrame
	}
}

// check looks for what must never be.
func (h *randomHost) check(w *watch, seed uint64) {
	c := h.c
	must := func(ok bool, what string, i int) {
		if !ok {
			h.t.Fatalf("seed %d, %v, axis %d: %s", seed, c.state, i, what)
		}
	}
	state, cause := c.State()
	must((state == bench.Moving) == (h.board.drive != 0), "drive and state differ", -1)
	must((state == bench.Stopped) == (cause != bench.CauseNone), "the cause does not fit", -1)
	must(!c.mayMove() || h.board.now-c.heard < 300_000, "it may move in silence", -1)
	for i := range c.axes {
		a := &c.axes[i]
		before := w.tenths[i]
		must(int(a.inForce) == h.tenths(i), "the servo has another pulse", i)
		must(a.inForce == 0 || a.inForce >= 5000 && a.inForce <= 25000, "the pulse is beyond the controller's limits", i)
		must(!a.loop.closed || c.mayMove(), "its loop is closed", i)
		must(a.inForce == before || w.frame != c.nextFrame, "a pulse changed within a frame", i)
		far := max(int(a.inForce)-int(before), int(before)-int(a.inForce))
		free := a.slew == 0 || a.inForce == 0 || before == 0 || w.atOnce == w.frame || state == bench.Stopped
		must(free || far <= int(a.slew), "it slews too fast", i)
		w.tenths[i] = a.inForce
	}
	w.frame = c.nextFrame
	w.note(c)
}

func TestNothingASillyHostSendsBreaksTheRules(t *testing.T) {
	states := map[bench.State]int{}
	causes := map[bench.Cause]int{}
	for seed := range uint64(40) {
		h := &randomHost{host: greeted(t, testConfig()), random: rand.New(rand.NewPCG(seed, 3))}
		var w watch
		for range 1500 {
			millis := h.random.IntN(12)
			switch h.random.IntN(40) {
			case 0:
				millis = h.random.IntN(400)
			case 1:
				noise := make([]byte, h.random.IntN(40))
				for i := range noise {
					noise[i] = byte(h.random.IntN(256))
				}
				h.c.Feed(append(noise, 0))
			case 2:
				h.board.open = h.random.IntN(4) == 0
			default:
				h.ask(h.message())
			}
			w.note(h.c)
			for range millis {
				for i := range h.board.counts {
					h.board.counts[i] += int64(h.random.IntN(7)-3) * int64(h.board.drive*h.board.drive)
				}
				h.run(1)
				h.check(&w, seed)
			}
			state, cause := h.c.State()
			states[state]++
			causes[cause]++
		}
		require.Zero(t, h.bad, "seed %d", seed)
	}
	for _, s := range []bench.State{bench.Safe, bench.Armed, bench.Moving, bench.Stopped} {
		require.Greater(t, states[s], 500, "%v is too rare for this to be a test", s)
	}
	for cause := bench.CauseHost; cause <= bench.CauseStream; cause++ {
		if cause != bench.CauseCounter { // the counts here are too slow for it
			require.NotZero(t, causes[cause], "%v never came", cause)
		}
	}
}

// FuzzFeed looks for bytes that break it: it must go on, and answer the next
// request.
func FuzzFeed(f *testing.F) {
	f.Add([]byte{0x02, 0x02, 0x01, 0x03, 0xfc, 0xa2, 0x00})
	f.Add([]byte{0x00, 0x17, 0xff})
	f.Fuzz(func(t *testing.T, p []byte) {
		h := greeted(t, testConfig())
		h.c.Feed(p)
		h.run(5)
		h.c.Feed([]byte{0})
		h.run(1)
		h.got = nil
		h.c.Feed(h.encode(wire.Frame{Message: wire.Heartbeat{}}))
		h.collect()
		require.NotEmpty(t, h.got)
	})
}
