package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// switchDrive switches the motor, without judging whether it may be, and lets
// the loops rest or start with it.
func (c *Controller) switchDrive(d bench.Direction) {
	if c.drive == d {
		return
	}
	for i := range c.guards {
		c.guards[i].run(c.now, c.drive != bench.Off)
	}
	c.drive = d
	c.hardware.SetDrive([...]int{0, 1, -1}[d])
	if d == bench.Off {
		c.restLoops()
		return
	}
	c.relieve()
	c.startLoops()
}

func (c *Controller) serveDrive(m wire.Drive) wire.Message {
	t := m.Type()
	if m.Direction == bench.Off {
		c.switchDrive(bench.Off)
		if c.state == bench.Moving {
			c.enter(bench.Armed, bench.CauseNone)
		}
		return c.ack(c.now)
	}
	reverse := m.Direction == bench.Reverse
	if reverse && c.config.Identity.Capabilities&wire.CanReverse == 0 {
		return refuse(t, bench.ReasonUnsupported, 0)
	}
	if c.drive != bench.Off && c.drive != m.Direction || c.selecting {
		return refuse(t, bench.ReasonMoving, int32(c.state))
	}
	if axis := c.followed(); reverse && axis >= 0 {
		return refuse(t, bench.ReasonClosed, int32(axis))
	}
	if c.guardHit >= 0 {
		return refuse(t, bench.ReasonGuardHit, int32(c.guardHit))
	}
	c.switchDrive(m.Direction)
	c.enter(bench.Moving, bench.CauseNone)
	return c.ack(c.now)
}

func (c *Controller) serveSelect(m wire.Select) wire.Message {
	t := m.Type()
	switch {
	case c.config.Identity.Capabilities&wire.HasSelector == 0:
		return refuse(t, bench.ReasonUnsupported, 0)
	case !c.hasAxis(m.Axis):
		return refuse(t, bench.ReasonNoSuch, int32(m.Axis))
	case c.selecting:
		return refuse(t, bench.ReasonMoving, int32(c.state))
	}
	c.hardware.Select(int(m.Axis))
	c.selecting, c.selectUntil = true, c.now+c.config.SelectMicros
	return c.ack(c.selectUntil)
}
