package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// ratePeriod is how often the rates of the counters are looked at, us.
const ratePeriod = 10_000

// rateSlack is by how many counts a counter may exceed its highest rate in a
// ratePeriod, since edges do not fall on its ends.
const rateSlack = 2

// counter is a sensor as it was last latched.
type counter struct {
	reading int64 // of the hardware
	base    int32 // reading, modulo 2^32, at which the count is 0
	count   int32
	edge    int64 // time of the edge that made the count; 0 is none since the start
	old     int64 // time of the last edge before the start
	watched int32 // reading, modulo 2^32, when its rate was last looked at
	turn    int64 // of an absolute sensor, counts; else 0
}

func (n *counter) start(reading, edge int64) {
	n.reading, n.base, n.watched, n.old = reading, int32(reading), int32(reading), edge
}

// latch takes a reading. An absolute sensor is unwrapped: it has gone less than
// half a turn since the last time.
func (n *counter) latch(reading, edge int64) {
	if n.turn > 0 {
		gone := (reading - n.reading) % n.turn
		switch {
		case gone > n.turn/2:
			gone -= n.turn
		case gone < -n.turn/2:
			gone += n.turn
		}
		reading = n.reading + gone
	}
	if edge != n.old {
		n.edge = edge
	}
	n.reading = reading
	n.count = int32(reading) - n.base
}

// age is how long before now the count was reached.
func (n *counter) age(now int64) wire.Age {
	if n.edge == 0 {
		return wire.AgeUnknown
	}
	return wire.AgeFrom(max(now-n.edge, 0))
}

func (c *Controller) hasCounter(i uint8) bool { return int(i) < len(c.counters) }

// watchRates stops the rig when a counter goes faster than it can count.
func (c *Controller) watchRates() {
	if c.now < c.nextRate {
		return
	}
	span := c.now - c.nextRate + ratePeriod
	c.nextRate = c.now + ratePeriod
	failed := false
	for i := range c.counters {
		n := &c.counters[i]
		gone := int64(int32(n.reading) - n.watched)
		n.watched = int32(n.reading)
		rate := int64(c.config.Counters[i].MostEdgeRate)
		if rate > 0 && max(gone, -gone) > rate*span/1_000_000+rateSlack {
			failed = true
		}
	}
	if failed && c.mayMove() {
		c.stop(bench.CauseCounter)
	}
}

func (c *Controller) serveDatum(m wire.Datum) wire.Message {
	if !c.hasCounter(m.Counter) {
		return refuse(m.Type(), bench.ReasonNoSuch, int32(m.Counter))
	}
	for i := range c.axes {
		if l := &c.axes[i].loop; l.closed && l.gains.Counter == m.Counter {
			return refuse(m.Type(), bench.ReasonClosed, int32(i))
		}
	}
	n := &c.counters[m.Counter]
	shift := m.Value - n.count
	n.base -= shift
	n.count = m.Value
	for i := range c.guards {
		if c.guards[i].counter == int(m.Counter) {
			c.guards[i].origin += shift
		}
	}
	return c.ack(c.now)
}
