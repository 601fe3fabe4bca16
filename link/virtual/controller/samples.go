package controller

import (
	"math"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// samples makes samples at a steady rate (12.7).
type samples struct {
	hz     int   // 0 is off
	every  int64 // us
	next   int64
	number uint16      // of the next one
	sample wire.Sample // kept, so that a sample costs no memory
}

func (s *samples) stop() { s.hz, s.every = 0, 0 }

// due is when the next sample is due.
func (s *samples) due() int64 {
	if s.every == 0 {
		return math.MaxInt64
	}
	return s.next
}

func (c *Controller) shape() wire.Shape { return c.config.Identity.Shape() }

func (c *Controller) serveSampleRate(m wire.SampleRate) wire.Message {
	most := int(c.config.Identity.MostSampleHz)
	fits := c.shape().MostHz(c.line.baud)
	switch {
	case int(m.Hz) > most:
		return refuse(m.Type(), bench.ReasonUnsupported, int32(most))
	case int(m.Hz) > fits:
		return refuse(m.Type(), bench.ReasonFull, int32(fits))
	}
	s := &c.samples
	s.stop()
	if m.Hz > 0 {
		s.hz, s.every = int(m.Hz), 1_000_000/int64(m.Hz)
		s.next = c.now + s.every
	}
	return c.ack(c.now)
}

// sample makes a sample if one is due. It is counted even if it cannot be sent.
func (c *Controller) sample() {
	s := &c.samples
	if c.now < s.due() {
		return
	}
	s.next += s.every
	if s.next <= c.now {
		s.next = c.now - (c.now-s.next)%s.every + s.every
	}
	number := s.number
	s.number++
	if c.line.next != 0 || !c.out.sampleFits() {
		return
	}
	c.fill(&s.sample)
	c.out.sample(number, &s.sample)
}

// fill writes the whole rig at this moment into a sample.
func (c *Controller) fill(m *wire.Sample) {
	m.TimeMicros, m.State, m.Cause, m.Flags, m.Shape = c.clock(c.now), c.state, c.cause, c.flags(), c.shape()
	for i := range c.counters {
		n := &c.counters[i]
		m.Counters[i] = wire.SampleCounter{Count: n.count, Edge: n.age(c.now)}
	}
	for i := range c.axes {
		a := &c.axes[i]
		m.Axes[i] = wire.SampleAxis{PulseTenths: a.inForce, Closed: a.loop.closed, Since: wire.AgeFrom(c.now - a.since)}
	}
}

func (c *Controller) flags() (f bench.Flags) {
	set := func(on bool, flag bench.Flags) {
		if on {
			f |= flag
		}
	}
	set(c.drive != bench.Off, bench.DriveOn)
	set(c.drive == bench.Reverse, bench.DriveReverse)
	set(len(c.guards) > 0, bench.GuardSet)
	set(c.guardHit >= 0, bench.GuardHit)
	set(c.hardware.StopInputOpen(), bench.StopOpen)
	set(c.selecting, bench.Selecting)
	set(c.beyondTravel(), bench.BeyondTravel)
	known := true
	for i := range c.axes {
		known = known && c.axes[i].neutral != 0
	}
	set(known, bench.NeutralKnown)
	return f
}
