package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// never is the time of what has not been.
const never = -1 << 60

// axis is a servo and its loop. Pulses are in tenths of a microsecond; 0 is no
// pulse, and no neutral.
type axis struct {
	least, most, slew uint16
	neutral           uint16

	wanted  uint16
	atOnce  bool   // the next change does not heed the slew bound
	inForce uint16 // what the servo has
	since   int64  // when inForce came into force

	loop loop
}

// want asks for a pulse from the next servo frame on.
func (a *axis) want(tenths uint16, atOnce bool) { a.wanted, a.atOnce = tenths, atOnce }

// hold keeps the pulse in force.
func (a *axis) hold() { a.want(a.inForce, false) }

// changes reports whether the next servo frame has another pulse.
func (a *axis) changes() bool { return a.next() != a.inForce }

// next is the pulse of the next servo frame (8).
func (a *axis) next() uint16 {
	if a.slew == 0 || a.atOnce || a.wanted == 0 || a.inForce == 0 {
		return a.wanted
	}
	far := int(a.wanted) - int(a.inForce)
	return uint16(int(a.inForce) + min(max(far, -int(a.slew)), int(a.slew)))
}

// within reports whether the limits of the axis allow a pulse.
func (a *axis) within(tenths uint16) bool { return tenths >= a.least && tenths <= a.most }

// servoFrame begins a servo frame: all axes' pulses change together.
func (c *Controller) servoFrame() {
	length := int64(c.config.Identity.FrameMicros)
	begins := c.now - (c.now-c.nextFrame)%length
	for i := range c.axes {
		a := &c.axes[i]
		tenths := a.next()
		if a.wanted == tenths {
			a.atOnce = false
		}
		if tenths == a.inForce {
			continue
		}
		a.inForce, a.since = tenths, begins
		c.hardware.SetPulse(i, float64(tenths)/10)
	}
	c.nextFrame = begins + length
}

// letsGo reports whether a tilt does nothing but let servos hang free.
func letsGo(m wire.Tilt) bool {
	for _, p := range m.Pulses {
		if p.PulseTenths != 0 {
			return false
		}
	}
	return true
}

func (c *Controller) serveTilt(m wire.Tilt) wire.Message {
	t := m.Type()
	for _, p := range m.Pulses {
		if !c.hasAxis(p.Axis) {
			return refuse(t, bench.ReasonNoSuch, int32(p.Axis))
		}
	}
	for _, p := range m.Pulses {
		if c.axes[p.Axis].loop.closed {
			return refuse(t, bench.ReasonClosed, int32(p.Axis))
		}
	}
	for _, p := range m.Pulses {
		if p.PulseTenths != 0 && !c.axes[p.Axis].within(p.PulseTenths) {
			return refuse(t, bench.ReasonPulseLimit, int32(p.Axis))
		}
	}
	for _, p := range m.Pulses {
		c.axes[p.Axis].want(p.PulseTenths, false)
	}
	return c.ack(c.nextFrame)
}

func (c *Controller) hasAxis(axis uint8) bool { return int(axis) < len(c.axes) }

func (c *Controller) servePulseLimits(m wire.PulseLimits) wire.Message {
	t, detail := m.Type(), int32(m.Axis)
	if !c.hasAxis(m.Axis) {
		return refuse(t, bench.ReasonNoSuch, detail)
	}
	a := &c.axes[m.Axis]
	id := &c.config.Identity
	switch {
	case a.loop.closed:
		return refuse(t, bench.ReasonClosed, detail)
	case m.LeastTenths < id.LeastTenths || m.MostTenths > id.MostTenths,
		a.neutral != 0 && (a.neutral < m.LeastTenths || a.neutral > m.MostTenths):
		return refuse(t, bench.ReasonPulseLimit, detail)
	}
	a.least, a.most, a.slew = m.LeastTenths, m.MostTenths, m.SlewTenths
	return c.ack(c.now)
}

func (c *Controller) serveNeutral(m wire.Neutral) wire.Message {
	t, detail := m.Type(), int32(m.Axis)
	if !c.hasAxis(m.Axis) {
		return refuse(t, bench.ReasonNoSuch, detail)
	}
	a := &c.axes[m.Axis]
	switch {
	case a.loop.closed:
		return refuse(t, bench.ReasonClosed, detail)
	case m.PulseTenths != 0 && !a.within(m.PulseTenths):
		return refuse(t, bench.ReasonPulseLimit, detail)
	}
	a.neutral = m.PulseTenths
	return c.ack(c.now)
}
