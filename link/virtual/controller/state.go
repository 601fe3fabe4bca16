package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// permission is a row of the table of section 6: for each state the reason for
// which a request is refused, or none.
type permission struct{ safe, armed, moving, stopped bench.Reason }

const (
	served   = bench.ReasonNone
	notArmed = bench.ReasonNotArmed
	moving   = bench.ReasonMoving
	stopped  = bench.ReasonStopped
)

// permissions holds the rows that refuse in some state; what is not in it is
// served in all.
var permissions = map[wire.Type]permission{
	wire.TypeDatum:    {served, served, moving, served},
	wire.TypeLineRate: {served, moving, moving, stopped},
	wire.TypeArm:      {served, moving, moving, stopped},
	wire.TypeClear:    {served, moving, moving, served},
	wire.TypeDrive:    {notArmed, served, served, stopped}, // but for off
	wire.TypeSelect:   {notArmed, served, moving, stopped},
	wire.TypeTilt:     {notArmed, served, served, stopped}, // but for pulses 0 in safe
	wire.TypeSetPoint: {notArmed, served, served, stopped},
	wire.TypeStream:   {notArmed, served, served, stopped},
}

// allowed says whether the state lets a request through.
func (c *Controller) allowed(m wire.Message) (bench.Reason, int32) {
	row := permissions[m.Type()]
	reason := [...]bench.Reason{row.safe, row.armed, row.moving, row.stopped}[c.state]
	switch m := m.(type) {
	case wire.Drive:
		if m.Direction == bench.Off {
			return bench.ReasonNone, 0
		}
	case wire.Tilt:
		if c.state == bench.Safe && letsGo(m) {
			return bench.ReasonNone, 0
		}
	case wire.Clear:
		if c.state == bench.Stopped && c.hardware.StopInputOpen() {
			return bench.ReasonInputOpen, 0
		}
	}
	switch reason {
	case bench.ReasonMoving:
		return reason, int32(c.state)
	case bench.ReasonStopped:
		return reason, int32(c.cause)
	}
	return reason, 0
}

// mayMove reports whether the state is armed or moving.
func (c *Controller) mayMove() bool { return c.state == bench.Armed || c.state == bench.Moving }

// enter changes the state and tells of it.
func (c *Controller) enter(s bench.State, cause bench.Cause) {
	if s == c.state {
		return
	}
	c.state, c.cause = s, cause
	number := c.notices
	c.notices++
	line, err := wire.Encode(nil, wire.Frame{
		Number:  number,
		Message: wire.Notice{State: s, Cause: cause, TimeMicros: c.clock(c.now)},
	})
	if err == nil { // a notice of a known state always encodes
		c.out.answer(line)
	}
}

// meet serves hello (4).
func (c *Controller) meet(m wire.Message, malformed *wire.Malformed) wire.Message {
	if malformed != nil {
		return malformed.Refusal()
	}
	if c.mayMove() {
		c.park()
	}
	c.greeted, c.token = true, m.(wire.Hello).Token
	c.memory = memory{}
	c.samples.stop()
	c.stream.empty()
	c.partial.forget()
	return c.identity()
}

func (c *Controller) serveArm(m wire.Arm) wire.Message {
	if m.Token != c.token {
		return refuse(m.Type(), bench.ReasonNoHello, 0)
	}
	c.enter(bench.Armed, bench.CauseNone)
	return c.ack(c.now)
}

func (c *Controller) serveClear() wire.Message {
	if c.state == bench.Stopped {
		c.enter(bench.Safe, bench.CauseNone)
	}
	return c.ack(c.now)
}
