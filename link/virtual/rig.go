package virtual

import (
	"fmt"
	"math/rand/v2"

	"trunnion/link/virtual/controller"
	"trunnion/link/virtual/physics"
	"trunnion/link/wire"
)

// Options of New. The nought value is the board of the machine.
type Options struct {
	// Seed is of everything random.
	Seed uint64

	// Board is the controller; nil is Board of the machine.
	Board *controller.Config

	// Boot is the boot number of the first start.
	Boot uint32

	// StartMicros is how long a restarted controller takes before it hears
	// anything; 0 is 100 ms.
	StartMicros int64
}

// startMicros is how long a start takes unless told otherwise.
const startMicros = 100_000

// hostRoom is how many bytes wait for the host at most; more are lost.
const hostRoom = 1 << 16

// Plant is what a board is wired to: a physics.Plant, or a stand for tests.
type Plant interface {
	Now() int64
	Advance(micros int64)
	SetPulse(axis int, micros float64)
	SetDrive(direction int)
	Counter(i int) (count, lastEdgeMicros int64)
}

// Rig is a plant and its controller on one clock, with the line to them.
type Rig struct {
	plant      Plant
	controller *controller.Controller
	options    Options

	up, down   path
	hostRate   int    // the host's line rate, baud
	follow     bool   // the host's line rate is always the controller's
	host       []byte // arrived at the host
	lost       uint64 // bytes that found no room there
	buffer     []byte
	polled     int64 // when the controller was last polled, us
	stopOpen   bool
	frozen     bool
	starting   bool  // the controller is not up yet
	startUntil int64 // us
}

// New builds a rig at rest. Its error is a *physics.ParameterError, a
// *WiringError or a *controller.ConfigError.
func New(m physics.Machine, o Options) (*Rig, error) {
	plant, err := physics.New(m, o.Seed)
	if err != nil {
		return nil, err
	}
	board := Board(m)
	if o.Board != nil {
		board = *o.Board
	}
	if n := len(board.Counters); n > len(m.Counters) || int(board.Identity.Axes) > len(m.Axes) {
		return nil, &WiringError{Axes: int(board.Identity.Axes), Counters: n}
	}
	return Wire(plant, board, o)
}

// Wire wires a board to a plant. Its error is a *controller.ConfigError.
func Wire(plant Plant, board controller.Config, o Options) (*Rig, error) {
	if o.StartMicros == 0 {
		o.StartMicros = startMicros
	}
	random := rand.New(rand.NewPCG(o.Seed, 0x6c696e65))
	r := &Rig{
		plant: plant, options: o, hostRate: wire.BaseBaud,
		up:   path{rate: wire.BaseBaud, random: random},
		down: path{rate: wire.BaseBaud, random: random},
	}
	var err error
	r.controller, err = controller.New(board, &hardware{r}, o.Boot)
	if err != nil {
		return nil, err
	}
	return r, nil
}

// WiringError says that a board has more axes or counters than the machine.
type WiringError struct{ Axes, Counters int }

func (e *WiringError) Error() string {
	return fmt.Sprintf("virtual rig: the board has %d axes and %d counters, more than the machine; take some away", e.Axes, e.Counters)
}

// Plant is the machine, for faults; its truth is for tests and pictures. It is
// nil if the board is wired to another plant.
func (r *Rig) Plant() *physics.Plant {
	p, _ := r.plant.(*physics.Plant)
	return p
}

// Controller is the controller, to be looked at and not to be fed.
func (r *Rig) Controller() *controller.Controller { return r.controller }

// Now is the rig's time in microseconds.
func (r *Rig) Now() int64 { return r.plant.Now() }

// Advance lets so many microseconds pass. How a time is cut up makes no
// difference, as long as it is cut at whole milliseconds.
func (r *Rig) Advance(micros int64) {
	for end := r.Now() + micros; r.Now() < end; {
		r.step(end)
	}
}

// step goes on to the next time at which the controller has something to do, or
// to end.
func (r *Rig) step(end int64) {
	now := r.Now()
	next := now - now%1000 + 1000
	if r.runs() {
		next = max(r.controller.Due(), now)
	}
	if next > end {
		r.plant.Advance(end - now)
		return
	}
	r.plant.Advance(next - now)
	r.carry()
	switch {
	case r.runs():
		r.controller.Feed(r.buffer)
		r.controller.Poll()
	case r.starting && next >= r.startUntil:
		r.starting = false
		r.controller.Restart()
		r.controller.Poll()
	}
	r.polled = next
}

// runs reports whether the controller runs.
func (r *Rig) runs() bool { return !r.frozen && !r.starting }

// carry moves bytes along the line, both ways, up to now. What reached the
// controller is in r.buffer.
func (r *Rig) carry() {
	now := r.Now() * 1000
	r.buffer = r.up.arrive(r.buffer[:0], now, r.down.rate)
	r.toHost(now)
}

// toHost lets the controller's bytes leave, one after the other, until the line
// is busy or nothing is left.
func (r *Rig) toHost(now int64) {
	for {
		r.host = r.down.arrive(r.host, now, r.receiverRate())
		if over := len(r.host) - hostRoom; over > 0 {
			r.lost += uint64(over)
			r.host = r.host[:hostRoom]
		}
		if r.down.waiting() > 0 || !r.runs() {
			return
		}
		b, any := r.controller.Next()
		if !any {
			return
		}
		r.down.send(r.polled*1000, []byte{b})
	}
}

func (r *Rig) receiverRate() int {
	if r.follow {
		return r.down.rate
	}
	return r.hostRate
}

// Send hands over bytes of the host to the line.
func (r *Rig) Send(p []byte) { r.up.send(r.Now()*1000, p) }

// SendUrgent hands over bytes that overtake those that have not left yet.
func (r *Rig) SendUrgent(p []byte) {
	r.up.drop()
	r.Send(append([]byte{0}, p...))
}

// Unsent is how many bytes of the host have not arrived yet.
func (r *Rig) Unsent() int { return r.up.waiting() }

// Receive fills p with what has arrived at the host.
func (r *Rig) Receive(p []byte) int {
	n := copy(p, r.host)
	r.host = r.host[:copy(r.host, r.host[n:])]
	return n
}

// SetHostRate changes the host's line rate.
func (r *Rig) SetHostRate(baud int) {
	r.hostRate = baud
	if !r.follow {
		r.up.rate = baud
	}
}

// FollowRate makes the host's line rate always the controller's, for streams
// that know none.
func (r *Rig) FollowRate() {
	r.follow = true
	r.up.rate = r.down.rate
}

// Lost is how many bytes found no room at the host.
func (r *Rig) Lost() uint64 { return r.lost }

// hardware is the board under the controller.
type hardware struct{ *Rig }

func (h *hardware) SetPulse(axis int, micros float64)           { h.plant.SetPulse(axis, micros) }
func (h *hardware) SetDrive(direction int)                      { h.plant.SetDrive(direction) }
func (h *hardware) Counter(i int) (count int64, lastEdge int64) { return h.plant.Counter(i) }
func (h *hardware) StopInputOpen() bool                         { return h.stopOpen }
func (h *hardware) Select(int)                                  {} // the machine has no selector
func (h *hardware) Sent() bool                                  { return h.down.waiting() == 0 }
func (h *hardware) SetLineRate(baud int) {
	h.down.rate = baud
	if h.follow {
		h.up.rate = baud
	}
}
