package controller

import (
	"math"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// loop is the closed loop of an axis (10).
type loop struct {
	table  inverseTable
	gains  wire.LoopGains
	gained bool // gains are loaded
	law    law

	closed bool
	target target
	r      int64 // the set-point of the latest period, 1/16000 count
}

// target is a set-point in effect.
type target struct {
	mode  bench.Mode
	place int64 // a position, at time T, 1/16000 count
	speed int64 // or a position's rate, 1/16 count a second
	at    int64 // T, us
}

func newTarget(m wire.Target, at int64) target {
	if m.Mode == bench.Speed {
		return target{mode: m.Mode, speed: int64(m.Value16), at: at}
	}
	return target{mode: m.Mode, place: int64(m.Value16) * perWire, speed: int64(m.Rate16), at: at}
}

// moves reports whether the target is a position with a rate.
func (t *target) moves() bool { return t.mode == bench.Position && t.speed != 0 }

// position is where a position is at a time, 1/16000 count.
func (t *target) position(now int64) int64 { return t.place + t.speed*(now-t.at)/1000 }

// arrest turns a position with a rate into one without, where it is now.
func (t *target) arrest(now int64) {
	if t.moves() {
		t.place, t.speed, t.at = t.position(now), 0, now
	}
}

// measured is the present count of the loop's counter, in 1/16000.
func (c *Controller) measured(l *loop) int64 { return int64(c.counters[l.gains.Counter].count) * fine }

// control begins what is due on a tick: streamed set-points and control periods.
func (c *Controller) control() {
	c.stream.moveOpen(c)
	millis := (c.now - c.begun) / tick
	for i := range c.axes {
		a := &c.axes[i]
		if !a.loop.gained || millis%a.loop.law.periodMillis != 0 {
			continue
		}
		c.stream.move(c, i)
		if a.loop.closed && c.drive != bench.Off {
			c.period(a)
		}
	}
	c.watchMoving()
}

// period is one period of the law for an axis.
func (c *Controller) period(a *axis) {
	l := &a.loop
	r, rate := l.advance(c.now)
	u, holding := l.law.step(c.measured(l), r, rate)
	pulse := float64(a.neutral)
	if !holding {
		pulse = l.table.pulse(u, a.neutral)
	}
	tenths := min(max(math.Round(pulse), float64(a.least)), float64(a.most))
	a.want(uint16(tenths), false)
}

// advance is the set-point at this period, 1/16000 count, and its rate, counts a
// second.
func (l *loop) advance(now int64) (r int64, rate float64) {
	t := &l.target
	if t.mode == bench.Speed {
		l.r += t.speed * l.law.periodMillis
	} else {
		l.r = t.position(now)
	}
	return l.r, float64(t.speed) / 16
}

// begin starts the law, as at the closing of the loop.
func (l *loop) begin(y int64) {
	l.law.begin(y)
	l.r = y
}

// aim gives an axis a set-point and closes its loop if it is open. While the
// drive is off a set-point does not move.
func (c *Controller) aim(i int, t target) {
	a := &c.axes[i]
	l := &a.loop
	if !l.closed {
		l.closed = true
		l.begin(c.measured(l))
		if c.drive == bench.Off {
			a.want(a.neutral, false)
		}
	}
	if c.drive == bench.Off {
		t.at = c.now
		t.arrest(c.now)
	}
	l.target = t
}

// restLoops brings the axes of closed loops to neutral, as the drive goes off, and
// arrests their set-points.
func (c *Controller) restLoops() {
	for i := range c.axes {
		if a := &c.axes[i]; a.loop.closed {
			a.loop.target.arrest(c.now)
			a.want(a.neutral, false)
		}
	}
}

// startLoops starts the law of closed loops anew, as the drive comes on.
func (c *Controller) startLoops() {
	for i := range c.axes {
		if l := &c.axes[i].loop; l.closed {
			l.begin(c.measured(l))
		}
	}
}

// ready is the reason for which the loop of an axis cannot be closed, or none.
func (c *Controller) ready(a *axis) bench.Reason {
	switch {
	case a.neutral == 0 || a.loop.table.whole() && !a.loop.table.frees(a.neutral):
		return bench.ReasonNoNeutral
	case !a.loop.table.whole() || !a.loop.gained:
		return bench.ReasonNoLoop
	}
	return bench.ReasonNone
}

func (c *Controller) serveGains(m wire.Gains) wire.Message {
	t := m.Type()
	least := c.config.LeastPeriodMillis
	switch {
	case c.config.Identity.MostTablePoints == 0,
		c.hasCounter(m.Counter) && c.config.Counters[m.Counter].Kind == bench.Mark:
		return refuse(t, bench.ReasonUnsupported, 0)
	case m.PeriodMillis < least:
		return refuse(t, bench.ReasonUnsupported, int32(least))
	case !c.hasAxis(m.Axis):
		return refuse(t, bench.ReasonNoSuch, int32(m.Axis))
	case !c.hasCounter(m.Counter):
		return refuse(t, bench.ReasonNoSuch, int32(m.Counter))
	}
	l := &c.axes[m.Axis].loop
	if l.closed {
		return refuse(t, bench.ReasonClosed, int32(m.Axis))
	}
	l.gains, l.gained, l.law = wire.LoopGains(m), true, newLaw(wire.LoopGains(m))
	return c.ack(c.now)
}

func (c *Controller) serveReadGains(m wire.ReadGains) wire.Message {
	switch {
	case !c.hasAxis(m.Axis):
		return refuse(m.Type(), bench.ReasonNoSuch, int32(m.Axis))
	case !c.axes[m.Axis].loop.gained:
		return refuse(m.Type(), bench.ReasonNoLoop, int32(m.Axis))
	}
	return wire.GainsReport(c.axes[m.Axis].loop.gains)
}

func (c *Controller) serveRelease(m wire.Release) wire.Message {
	if !c.hasAxis(m.Axis) {
		return refuse(m.Type(), bench.ReasonNoSuch, int32(m.Axis))
	}
	c.stream.empty()
	a := &c.axes[m.Axis]
	if !a.loop.closed {
		return c.ack(c.now)
	}
	a.loop.closed = false
	a.want(a.neutral, false)
	if a.changes() {
		return c.ack(c.nextFrame)
	}
	return c.ack(c.now)
}
