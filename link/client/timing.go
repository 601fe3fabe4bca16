package client

import (
	"time"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// heartbeatLine is what keeps the controller from stopping.
var heartbeatLine = func() []byte {
	line, err := wire.Encode(nil, wire.Frame{Message: wire.Heartbeat{}})
	if err != nil {
		panic(err) // a constant message
	}
	return line
}()

// outgoing returns the next frame to be sent now, or nil.
func (c *core) outgoing(now time.Duration) []byte {
	if c.failure != nil {
		return nil
	}
	line := c.calls.send(now)
	if line == nil && c.greeted && !c.hush && now-c.sent >= heartbeat {
		line, c.beat = heartbeatLine, now
	}
	if line != nil {
		c.sent = now
	}
	return line
}

// wait is how long a read may take before something is due.
func (c *core) wait(now time.Duration) time.Duration {
	wait := readWait
	if at, any := c.calls.due(); any {
		wait = min(wait, at-now)
	}
	if c.greeted && !c.hush {
		wait = min(wait, c.sent+heartbeat-now)
	}
	return max(wait, time.Millisecond)
}

// tick does what time alone brings about.
func (c *core) tick(now time.Duration) {
	if c.failure != nil {
		return
	}
	if c.calls.expire(now) {
		c.changed = true
	}
	if !c.greeted {
		return
	}
	if now-c.heard >= lostAfter {
		c.fail(c.silent(now))
		return
	}
	quiet := c.quiet(now)
	if quiet && !c.mute {
		c.changed = true
	}
	c.mute = quiet
	if c.hz > 0 && now-c.heard < silenceLimit && now-max(c.seen, c.asked) >= silenceLimit && c.calls.idle() {
		// The controller lives, but after a silence that only it noticed it
		// sends no samples any more.
		c.asked = now
		c.calls.add(&call{command: "send samples", message: wire.SampleRate{Hz: c.hz}, yields: true}, false)
	}
}

// rateLost reports whether the silence has lasted so long that the controller
// is back at the line rate of the opening.
func (c *core) rateLost(now time.Duration) bool {
	return c.failure == nil && c.hz > 0 && c.stats.LineRate > wire.BaseBaud && now-c.heard >= rateFallBack
}

// quiet reports whether neither frames nor samples have come for too long.
func (c *core) quiet(now time.Duration) bool {
	return now-c.lastWord() >= silenceLimit
}

// lastWord is when the controller was last heard as it should be: with samples
// if they are on.
func (c *core) lastWord() time.Duration {
	if c.hz == 0 {
		return c.heard
	}
	return min(c.heard, c.seen)
}

// silent is the error that tells of the silence.
func (c *core) silent(now time.Duration) error {
	return &bench.SilentError{Command: "the wait for samples", Waited: (now - c.lastWord()).Seconds()}
}

// stop puts a stop before everything else and ends all other calls. It returns
// the call, and the frame that is to be sent at once.
func (c *core) stop(now time.Duration) (*call, []byte) {
	k := c.calls.active
	if k == nil || !k.urgent {
		reason := &bench.StoppedError{Cause: bench.CauseHost}
		if s := c.ring.newest(); s != nil {
			reason.At = s.At
		}
		c.calls.finishAll(reason)
		k = &call{command: "stop", message: wire.Stop{}, urgent: true, every: stopRepeat, most: mostStops}
		c.calls.add(k, true)
		c.calls.begin()
		k.first = now
		c.changed = true
	}
	k.sends, k.last, c.sent = k.sends+1, now, now
	return k, k.line
}
