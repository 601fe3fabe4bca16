package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// mostLead is how long a moving position may stand without another set-point
// for its axis, us (10.1).
const mostLead = 250_000

func (c *Controller) serveSetPoint(m wire.SetPoint) wire.Message {
	t := m.Type()
	if reason, detail := c.targetsServable(m.Targets); reason != bench.ReasonNone {
		return refuse(t, reason, detail)
	}
	if place := c.leavesTravel(m.Targets); place >= 0 {
		return refuse(t, bench.ReasonTravel, int32(place))
	}
	c.stream.empty()
	for _, p := range m.Targets {
		c.aim(int(p.Axis), newTarget(p, c.now))
	}
	return c.ack(c.now)
}

// targetsServable makes the checks that set-point and stream have in common,
// each over all entries.
func (c *Controller) targetsServable(targets []wire.Target) (bench.Reason, int32) {
	if c.config.Identity.MostTablePoints == 0 {
		return bench.ReasonUnsupported, 0
	}
	if c.drive == bench.Reverse {
		return bench.ReasonMoving, int32(c.state)
	}
	for _, p := range targets {
		if !c.hasAxis(p.Axis) {
			return bench.ReasonNoSuch, int32(p.Axis)
		}
	}
	for _, wanting := range [...]bench.Reason{bench.ReasonNoNeutral, bench.ReasonNoLoop} {
		for _, p := range targets {
			if c.ready(&c.axes[p.Axis]) == wanting {
				return wanting, int32(p.Axis)
			}
		}
	}
	return bench.ReasonNone, 0
}

// leavesTravel is the place of the first travel limit whose form the targets
// would bring outside, and farther outside than now; -1 if there is none.
func (c *Controller) leavesTravel(targets []wire.Target) int {
	for i := range c.limits {
		l := &c.limits[i]
		if c.beyondAfter(l, targets) > l.beyond(c.form(l))*16 {
			return i
		}
	}
	return -1
}

// beyondAfter is how far the form would be outside once the targets are reached,
// in 1/4096 of a weighted count.
func (c *Controller) beyondAfter(l *travelLimit, targets []wire.Target) int64 {
	var form int64
	for _, t := range l.terms {
		form += int64(t.Weight256) * c.comingTo(t.Counter, targets)
	}
	return max(l.least*16-form, form-l.most*16, 0)
}

// comingTo is where a counter will be, in 1/16 count: at the new position if one
// is given, at the last one if its loop has one, where it is otherwise.
func (c *Controller) comingTo(counter uint8, targets []wire.Target) int64 {
	for _, p := range targets {
		if p.Mode == bench.Position && c.axes[p.Axis].loop.gains.Counter == counter {
			return int64(p.Value16)
		}
	}
	for i := range c.axes {
		l := &c.axes[i].loop
		if l.closed && l.target.mode == bench.Position && l.gains.Counter == counter && !names(targets, i) {
			return l.target.place / perWire
		}
	}
	return int64(c.counters[counter].count) * 16
}

func names(targets []wire.Target, axis int) bool {
	for _, p := range targets {
		if int(p.Axis) == axis {
			return true
		}
	}
	return false
}

// followed is the first axis whose loop is closed or, with none, the first that
// the stream will close; -1 if there is none.
func (c *Controller) followed() int {
	for i := range c.axes {
		if c.axes[i].loop.closed {
			return i
		}
	}
	return c.stream.first()
}

// watchMoving stops the rig when a moving position was not followed by another
// set-point in time.
func (c *Controller) watchMoving() {
	if c.drive == bench.Off {
		return
	}
	for i := range c.axes {
		l := &c.axes[i].loop
		if l.closed && l.target.moves() && c.now-l.target.at > mostLead && !c.stream.follows(i, l.target.at+mostLead) {
			c.stop(bench.CauseStream)
			return
		}
	}
}
