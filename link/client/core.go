package client

import (
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// core is the client without input, output and clock: bytes and times go in,
// frames come out. The client's mutex guards it.
type core struct {
	name    string
	failure error // why the connection is of no more use; latched
	changed bool  // something that a waiting caller may wait for

	decoder wire.Decoder
	unwrap  wire.Unwrapper
	bytes   uint64 // received
	words   uint64 // good frames from the controller
	calls   calls

	token    uint32
	identity *wire.Identity // once the hello was answered
	refusal  *wire.Refuse   // of the hello
	greeted  bool           // the handshake is past hello: keep alive
	hz       uint16         // samples a second in force; 0 before they are on

	sent  time.Duration // the last frame to the controller
	beat  time.Duration // the last heartbeat to it, until its answer; else 0
	heard time.Duration // the last valid frame from it
	seen  time.Duration // the last sample
	asked time.Duration // the last request to go on with samples
	mute  bool          // it was quiet at the last tick
	hush  bool          // send no heartbeat

	ring  ring
	state state
	trip  trip
	stats Stats
}

// state is what was last learnt of the rig's state, from whatever message.
type state struct {
	state bench.State
	cause bench.Cause
	at    units.Instant
}

// trip is a guard that cut the drive, until a Watch has told of it.
type trip struct {
	pending  bool
	sequence uint64        // of the first sample that shows it
	at       units.Instant // of that sample
	guards   units.Instant // when guards were last set: older samples tell of older guards
}

// feed takes bytes and returns the samples in them.
func (c *core) feed(now time.Duration, p []byte) []bench.Sample {
	if c.failure != nil {
		return nil
	}
	c.bytes += uint64(len(p))
	before := c.ring.added
	for _, r := range c.decoder.Feed(p) {
		if !fromController(r) {
			continue
		}
		c.heard, c.words = now, c.words+1
		if r.Err == nil {
			c.take(now, r.Frame)
		}
	}
	if c.ring.added == before {
		return nil
	}
	c.changed = true
	return c.ring.after(nil, max(before, c.ring.oldest()))
}

// fromController reports whether the frame is good, perhaps with a message of a
// newer version that is not understood, and no echo of our own.
func fromController(r wire.Result) bool {
	var t wire.Type
	switch e := r.Err.(type) {
	case nil:
		t = r.Frame.Message.Type()
	case *wire.Malformed:
		t = e.Type
	}
	return t >= 0x40 && t <= 0x7f
}

// take handles one frame from the controller.
func (c *core) take(now time.Duration, f wire.Frame) {
	switch m := f.Message.(type) {
	case wire.Sample:
		c.sample(now, f.Number, m)
	case wire.Notice:
		c.learn(m.State, m.Cause, c.unwrap.Instant(m.TimeMicros))
	case wire.Identity:
		c.greet(m)
	case wire.Refuse:
		c.refused(now, f.Number, m)
	case wire.Ack:
		c.acknowledged(now, f.Number, c.unwrap.Instant(m.TimeMicros))
	default:
		c.answered(now, f.Number, m, nil)
	}
}

// greet takes the answer to a hello. One that comes later, of another boot,
// tells that the controller restarted.
func (c *core) greet(m wire.Identity) {
	switch {
	case m.Token != c.token: // a former connection's
	case c.identity == nil:
		c.identity, c.changed = &m, true
	case c.greeted && m.Boot != c.identity.Boot:
		c.fail(&bench.RestartedError{})
	}
}

// sample takes a sample, unless it came before. Its time tells that; its number
// wraps too soon to tell, after a while without any.
func (c *core) sample(now time.Duration, number uint16, m wire.Sample) {
	if c.identity == nil || m.Shape != c.identity.Shape() {
		return
	}
	if last := c.ring.newest(); last != nil {
		if c.unwrap.Instant(m.TimeMicros) <= last.At {
			c.stats.RepeatedSamples++
			return
		}
		c.stats.LostSamples += uint64(number - uint16(last.Sequence) - 1)
	}
	c.seen = now
	s := c.unwrap.Sample(number, m)
	c.guard(s)
	c.ring.add(s)
	c.stats.Samples++
	c.learn(s.State, s.Cause, s.At)
}

// guard notes when a guard cuts the drive.
func (c *core) guard(s bench.Sample) {
	last := c.ring.newest()
	if last != nil && s.Has(bench.GuardHit) && !last.Has(bench.GuardHit) && s.At >= c.trip.guards {
		c.trip = trip{pending: true, sequence: s.Sequence, at: s.At, guards: c.trip.guards}
	}
}

// learn notes the state, unless something newer is known.
func (c *core) learn(s bench.State, cause bench.Cause, at units.Instant) {
	if at < c.state.at {
		return
	}
	if c.state.state != s || c.state.cause != cause {
		c.changed = true
		c.state = state{s, cause, at}
	}
}

// answered ends the request under way if the number is its own. An answer that
// comes too late, or twice, belongs to none.
func (c *core) answered(now time.Duration, number uint16, m wire.Message, err error) {
	k := c.calls.active
	if k == nil || k.sends == 0 || number != k.number {
		return
	}
	if k.sends == 1 { // a repeated one does not tell which was answered
		c.stats.roundTrip(now - k.last)
	}
	k.answer = m
	c.calls.finish(k, err)
	c.changed = true
}

// refused takes a refusal. A controller that knows of no hello, which it says
// to a heartbeat too, has started anew.
func (c *core) refused(now time.Duration, number uint16, m wire.Refuse) {
	switch k := c.calls.active; {
	case m.Request == wire.TypeHello:
		c.refusal, c.changed = &m, true
	case m.Reason == bench.ReasonNoHello && c.greeted:
		c.fail(&bench.RestartedError{})
	case k != nil:
		c.answered(now, number, m, c.refusalOf(k.command, m))
	}
}

// refusalOf is the error for a refused command.
func (c *core) refusalOf(command string, m wire.Refuse) error {
	e := &bench.RefusedError{Command: command, Reason: m.Reason, Detail: int(m.Detail)}
	if m.Reason != bench.ReasonStopped {
		return e
	}
	stop := c.stopped()
	stop.Cause = bench.Cause(m.Detail) // known before the notice of it may be
	return &stoppedRefusal{stop, e}
}

// stopped is the error that tells of the stop in force.
func (c *core) stopped() *bench.StoppedError {
	return &bench.StoppedError{Cause: c.state.cause, At: c.state.at}
}

// acknowledged takes an ack and draws the consequences of what was carried out,
// so that they are known before the next sample tells of them.
func (c *core) acknowledged(now time.Duration, number uint16, at units.Instant) {
	if number == 0 {
		if c.beat > 0 {
			c.stats.roundTrip(now - c.beat)
			c.beat = 0
		}
		return
	}
	k := c.calls.active
	if k == nil || number != k.number {
		return
	}
	k.at = at
	switch m := k.message.(type) {
	case wire.Datum:
		c.unwrap.Datum(int(m.Counter), units.Counts(m.Value))
	case wire.Guards:
		c.trip = trip{guards: at}
	case wire.SampleRate:
		c.seen, c.hz = now, m.Hz
	case wire.Arm:
		c.learn(bench.Armed, bench.CauseNone, at)
	case wire.Clear:
		c.learn(bench.Safe, bench.CauseNone, at)
	case wire.Park:
		if c.state.state != bench.Stopped {
			c.learn(bench.Safe, bench.CauseNone, at)
		}
	case wire.Stop:
		if c.state.state != bench.Stopped {
			c.learn(bench.Stopped, bench.CauseHost, at)
		}
	}
	c.answered(now, number, wire.Ack{TimeMicros: uint32(at)}, nil)
}

// fail latches why the connection is of no more use and ends every call.
func (c *core) fail(err error) {
	if c.failure == nil {
		c.failure = err
	}
	c.calls.finishAll(c.failure)
	c.changed = true
}

// unsent takes the error of a frame that could not be sent. A stalled line may
// recover, but the request under way is given up.
func (c *core) unsent(err error) {
	e := linkError("write", c.name, err)
	if e.Kind != link.Stalled {
		c.fail(e)
		return
	}
	if k := c.calls.active; k != nil && !k.urgent {
		c.calls.finish(k, e)
		c.changed = true
	}
}
