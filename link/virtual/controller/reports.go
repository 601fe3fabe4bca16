package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

func (c *Controller) identity() wire.Message {
	id := c.config.Identity
	id.Token, id.Boot = c.token, c.boot
	return id
}

func (c *Controller) describe(m wire.Describe) wire.Message {
	i := m.Index()
	switch {
	case m.Axis() && i < len(c.axes):
		return c.describeAxis(i)
	case !m.Axis() && i < len(c.counters):
		return c.config.Counters[i]
	}
	return refuse(m.Type(), bench.ReasonNoSuch, int32(i))
}

func (c *Controller) describeAxis(i int) wire.Message {
	a := &c.axes[i]
	d := wire.AxisDescription{
		Axis: uint8(i), LeastTenths: a.least, MostTenths: a.most, SlewTenths: a.slew, NeutralTenths: a.neutral,
	}
	if a.loop.table.whole() {
		d.Loop |= wire.LoopTable
	}
	if a.loop.gained {
		d.Loop |= wire.LoopGained
	}
	if a.loop.closed {
		d.Loop |= wire.LoopClosed
	}
	return d
}
