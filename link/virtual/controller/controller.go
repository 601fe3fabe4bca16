package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// tick is how often everything is examined at least, us. Control periods, which
// are whole milliseconds, begin on ticks.
const tick = 1000

// Controller is a bench controller in software. Make it with New.
type Controller struct {
	config   Config
	hardware Hardware
	boot     uint32
	dropped  uint64 // bad frames before the last restart

	running
}

// running is all that a restart forgets.
type running struct {
	now      int64 // the hardware's time of the latest call, us
	begun    int64 // when the controller started
	nextTick int64

	decoder wire.Decoder
	memory  memory // of the last request (3)
	greeted bool   // there was a hello
	token   uint32 // of it
	heard   int64  // when the last good frame of a host came in (7)

	state bench.State
	cause bench.Cause

	axes      []axis
	nextFrame int64 // start of the next servo frame

	drive       bench.Direction
	guards      []guard
	guardHit    int // place of the guard that has tripped; -1 is none
	limits      []travelLimit
	counters    []counter
	nextRate    int64 // when the counters' rates are looked at next
	selecting   bool
	selectUntil int64

	partial partialTable
	stream  stream

	samples samples
	out     transmitter
	line    lineRate
	notices uint16 // sent so far
}

// New starts a controller whose boot number is boot. Its error is a
// *ConfigError.
func New(config Config, hardware Hardware, boot uint32) (*Controller, error) {
	config, err := config.withDefaults()
	if err != nil {
		return nil, err
	}
	c := &Controller{config: config, hardware: hardware, boot: boot}
	c.start()
	return c, nil
}

// Restart starts the controller anew, as after a dip of its supply: the drive
// is off, no servo has a pulse, everything is forgotten, and the boot number is
// another one.
func (c *Controller) Restart() {
	c.dropped += c.decoder.Stats().Dropped()
	c.boot++
	c.start()
}

func (c *Controller) start() {
	now := c.hardware.Now()
	c.running = running{
		now: now, begun: now, nextTick: now, nextFrame: now, nextRate: now, heard: now,
		axes:     make([]axis, c.config.Identity.Axes),
		counters: make([]counter, len(c.config.Counters)),
		guardHit: -1,
	}
	c.line.baud = wire.BaseBaud
	c.stream.room = c.config.Queue
	c.hardware.SetLineRate(wire.BaseBaud)
	c.hardware.SetDrive(0)
	for i := range c.axes {
		c.axes[i] = axis{least: c.config.Identity.LeastTenths, most: c.config.Identity.MostTenths, since: never}
		c.hardware.SetPulse(i, 0)
	}
	for i := range c.counters {
		if d := c.config.Counters[i]; d.Kind == bench.Absolute {
			c.counters[i].turn = int64(d.CountsPerTurn)
		}
		c.counters[i].start(c.hardware.Counter(i))
	}
}

// Feed takes bytes that have arrived.
func (c *Controller) Feed(p []byte) {
	results := c.decoder.Feed(p)
	if len(results) == 0 {
		return
	}
	c.now = c.hardware.Now()
	c.latch() // requests are about the counts of now
	for _, r := range results {
		c.take(r)
	}
}

// Due is the time at which Poll must be called next.
func (c *Controller) Due() int64 {
	return min(c.nextTick, c.nextFrame, c.samples.due())
}

// Poll does what time and the inputs ask for. It must be called at least once
// every 2 ms; Due names the times at which it is exact.
func (c *Controller) Poll() {
	c.now = c.hardware.Now()
	c.examine()
	c.watchSilence()
	if c.now >= c.nextFrame { // before the loops: what they compute now comes too late for it
		c.servoFrame()
	}
	if c.now >= c.nextTick {
		c.nextTick = c.now - (c.now-c.begun)%tick + tick
		c.control()
	}
	c.sample()
	c.changeLineRate()
}

// examine looks at every input (9).
func (c *Controller) examine() {
	c.latch()
	if c.selecting && c.now >= c.selectUntil {
		c.selecting = false
	}
	c.watchRates()
	if c.hardware.StopInputOpen() && c.state != bench.Stopped {
		c.stop(bench.CauseInput)
	}
	c.watchGuards()
	c.watchTravel()
}

// latch takes all counts together.
func (c *Controller) latch() {
	for i := range c.counters {
		c.counters[i].latch(c.hardware.Counter(i))
	}
}

// clock is a time of the hardware on the controller's clock (5).
func (c *Controller) clock(at int64) uint32 { return c.config.ClockStart + uint32(at-c.begun) }

// State is the state and, in stopped, its cause.
func (c *Controller) State() (bench.State, bench.Cause) { return c.state, c.cause }

// Drive is how the drive is switched.
func (c *Controller) Drive() bench.Direction { return c.drive }

// PulseTenths is the pulse in force on an axis in tenths of a microsecond.
func (c *Controller) PulseTenths(axis int) uint16 { return c.axes[axis].inForce }

// Boot is the boot number.
func (c *Controller) Boot() uint32 { return c.boot }

// DroppedFrames is how many bad frames came since New.
func (c *Controller) DroppedFrames() uint64 { return c.dropped + c.decoder.Stats().Dropped() }

// Axes is how many axes the controller has.
func (c *Controller) Axes() int { return len(c.axes) }
