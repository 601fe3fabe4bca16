package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// guard cuts the drive when its counter has gone too far or the drive has been
// on for too long (9).
type guard struct {
	counter int
	counts  int64 // 0 is no bound
	time    int64 // us of drive on; 0 is no bound
	origin  int32 // count when it was set
	ran     int64 // us that the drive has been on since, up to since
	since   int64
}

// run counts the time during which the drive was on.
func (g *guard) run(now int64, on bool) {
	if on {
		g.ran += now - g.since
	}
	g.since = now
}

func (g *guard) reached(count int32) bool {
	far := int64(count - g.origin)
	return g.counts > 0 && max(far, -far) >= g.counts || g.time > 0 && g.ran >= g.time
}

// watchGuards trips the first guard that is reached while the drive is on.
func (c *Controller) watchGuards() {
	on := c.drive != bench.Off
	for i := range c.guards {
		g := &c.guards[i]
		g.run(c.now, on)
		if on && c.guardHit < 0 && g.reached(c.counters[g.counter].count) {
			c.guardHit = i
		}
	}
	if on && c.guardHit >= 0 {
		c.switchDrive(bench.Off)
		c.enter(bench.Armed, bench.CauseNone)
	}
}

func (c *Controller) serveGuards(m wire.Guards) wire.Message {
	for _, g := range m.Guards {
		if !c.hasCounter(g.Counter) {
			return refuse(m.Type(), bench.ReasonNoSuch, int32(g.Counter))
		}
	}
	c.guards, c.guardHit = c.guards[:0], -1
	for _, g := range m.Guards {
		c.guards = append(c.guards, guard{
			counter: int(g.Counter), counts: int64(g.Counts), time: int64(g.TimeMillis) * 1000,
			origin: c.counters[g.Counter].count, since: c.now,
		})
	}
	return c.ack(c.now)
}
