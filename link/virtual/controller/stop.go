package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// Silence (7), us without a good frame of a host. The first is the time at which
// the drive is off at the latest and 5 ms less: bytes are looked at and the
// clock is examined every millisecond only, and a servo frame of 20 ms must
// still begin by 320 ms.
const (
	silenceStops   = 295_000
	silenceRate    = 500_000
	silenceSamples = 2_000_000
)

// stop stops the rig, latched (7). In stopped the first cause stays.
func (c *Controller) stop(cause bench.Cause) {
	c.rest(true)
	if c.state != bench.Stopped {
		c.enter(bench.Stopped, cause)
	}
}

// park brings the rig to rest and leaves it safe, or stopped (7). It returns
// when the first pulse changes.
func (c *Controller) park() int64 {
	at := c.rest(false)
	if c.state != bench.Stopped {
		c.enter(bench.Safe, bench.CauseNone)
	}
	return at
}

// rest is what stop and park have in common: drive off, loops open, stream
// empty, axes to neutral where it is known. A stop does not heed the slew bound.
func (c *Controller) rest(atOnce bool) (at int64) {
	c.switchDrive(bench.Off)
	c.stream.empty()
	at = c.now
	for i := range c.axes {
		a := &c.axes[i]
		a.loop.closed = false
		switch {
		case a.neutral == 0:
			a.hold()
		case c.mayMove() || a.inForce != 0 || a.wanted != 0:
			a.want(a.neutral, atOnce)
		}
		if a.changes() {
			at = c.nextFrame
		}
	}
	return at
}

func (c *Controller) serveStop() wire.Message {
	c.stop(bench.CauseHost)
	return c.ack(c.now)
}

// watchSilence does what is due when the host is not heard (7).
func (c *Controller) watchSilence() {
	silence := c.now - c.heard
	if silence >= silenceStops && (c.mayMove() || c.state == bench.Safe && c.pulseAstray()) {
		c.stop(bench.CauseSilence)
	}
	if silence >= silenceRate && (c.line.baud != wire.BaseBaud || c.line.next != 0) {
		c.setLineRate(wire.BaseBaud)
		c.decoder.Reset()
	}
	if silence >= silenceSamples {
		c.samples.stop()
	}
}

// pulseAstray reports whether an axis has a pulse that is not its known neutral.
func (c *Controller) pulseAstray() bool {
	for i := range c.axes {
		if a := &c.axes[i]; a.inForce != 0 && (a.neutral == 0 || a.inForce != a.neutral) {
			return true
		}
	}
	return false
}
