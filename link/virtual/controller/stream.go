package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// stream is the queue of set-points that wait for their time (10.1).
type stream struct {
	room  int
	queue []queued // oldest first; none of them is wholly in effect
}

// queued is a stream message; targets that are in effect are taken off.
type queued struct {
	at      int64 // us, on the hardware's clock
	targets []wire.Target
}

func (s *stream) empty() { s.queue = s.queue[:0] }

// first is the axis of the first queued set-point; -1 if there is none.
func (s *stream) first() int {
	if len(s.queue) == 0 {
		return -1
	}
	return int(s.queue[0].targets[0].Axis)
}

// follows reports whether a set-point for an axis is queued for a time up to
// latest.
func (s *stream) follows(axis int, latest int64) bool {
	for i := range s.queue {
		if s.queue[i].at <= latest && names(s.queue[i].targets, axis) {
			return true
		}
	}
	return false
}

// take takes the latest set-point for an axis that is due off the queue.
func (s *stream) take(axis int, now int64) (t target, any bool) {
	for i := 0; i < len(s.queue) && s.queue[i].at <= now; i++ {
		q := &s.queue[i]
		for k := range q.targets {
			if int(q.targets[k].Axis) == axis {
				t, any = newTarget(q.targets[k], q.at), true
				q.targets = append(q.targets[:k], q.targets[k+1:]...)
				break
			}
		}
	}
	if any {
		s.prune()
	}
	return t, any
}

// prune drops messages that are wholly in effect.
func (s *stream) prune() {
	kept := s.queue[:0]
	for _, q := range s.queue {
		if len(q.targets) > 0 {
			kept = append(kept, q)
		}
	}
	s.queue = kept
}

// move brings what is due for an axis into effect, at the start of a period.
func (s *stream) move(c *Controller, axis int) {
	if len(s.queue) == 0 {
		return
	}
	t, any := s.take(axis, c.now)
	switch {
	case !any:
	case c.ready(&c.axes[axis]) != bench.ReasonNone:
		// What it needs was taken away while it waited: it cannot be followed.
		c.stop(bench.CauseStream)
	default:
		c.aim(axis, t)
	}
}

// moveOpen brings what is due into effect for axes without a period of their
// own: those whose loop is open.
func (s *stream) moveOpen(c *Controller) {
	for i := 0; i < len(c.axes) && len(s.queue) > 0; i++ {
		if !c.axes[i].loop.closed {
			s.move(c, i)
		}
	}
}

// instant is a time of the controller's clock on the hardware's.
func (c *Controller) instant(clock uint32) int64 { return c.now + int64(int32(clock-c.clock(c.now))) }

// streamInOrder reports whether a message's time is not before that of the last
// one in the queue.
func (c *Controller) streamInOrder(m wire.Stream) bool {
	n := len(c.stream.queue)
	return n == 0 || c.instant(m.TimeMicros) >= c.stream.queue[n-1].at
}

func (c *Controller) serveStream(m wire.Stream) wire.Message {
	t := m.Type()
	if reason, detail := c.targetsServable(m.Targets); reason != bench.ReasonNone {
		return refuse(t, reason, detail)
	}
	at := c.instant(m.TimeMicros)
	if at < c.now {
		return refuse(t, bench.ReasonTooLate, int32(c.now-at))
	}
	if len(c.stream.queue) >= c.stream.room {
		return refuse(t, bench.ReasonFull, int32(c.stream.room))
	}
	c.stream.queue = append(c.stream.queue, queued{at: at, targets: m.Targets})
	return wire.Ack{TimeMicros: m.TimeMicros}
}
