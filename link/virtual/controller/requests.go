package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// memory is what is kept of the last request, so that a repeat is answered and
// not carried out (3).
type memory struct {
	last   uint16 // its number; 0 is none
	sum    uint16 // its checksum
	answer []byte // what it was answered with, as on the line
}

// take handles what the decoder found. A bad frame is dropped; a frame of
// another sender than a host, such as an echo, is no word from the host.
func (c *Controller) take(r wire.Result) {
	t, good := typeOf(r)
	if !good || !t.FromHost() {
		return
	}
	c.heard = c.now
	number := r.Frame.Number
	malformed, _ := r.Err.(*wire.Malformed)

	// The order is that of section 3.
	switch {
	case t == wire.TypeHello: // 1
		c.answer(number, c.meet(r.Frame.Message, malformed))
	case !c.greeted: // 2
		c.answer(number, c.beforeHello(t, malformed))
	case t == wire.TypeHeartbeat: // 3
		if malformed != nil {
			c.answer(number, malformed.Refusal())
			return
		}
		c.answer(number, c.ack(c.now))
	case number == 0: // 4
		c.answer(number, refuse(t, bench.ReasonMalformed, int32(malformed.Detail)))
	case number == c.memory.last && r.Sum == c.memory.sum: // 5
		c.out.answer(c.memory.answer)
	case !wire.Newer(number, c.memory.last): // 6
		if t == wire.TypeStop && malformed == nil {
			c.answer(number, c.serveStop())
			return
		}
		c.answer(number, refuse(t, bench.ReasonStale, int32(c.memory.last)))
	default: // 7
		c.memory.last, c.memory.sum = number, r.Sum
		c.memory.answer = c.answer(number, c.request(t, r.Frame.Message, malformed))
	}
}

// typeOf is the type of a frame, and whether the frame is good.
func typeOf(r wire.Result) (wire.Type, bool) {
	switch e := r.Err.(type) {
	case nil:
		return r.Frame.Message.Type(), true
	case *wire.Malformed:
		return e.Type, true
	}
	return 0, false
}

// beforeHello serves a stop, and nothing else.
func (c *Controller) beforeHello(t wire.Type, malformed *wire.Malformed) wire.Message {
	switch {
	case t != wire.TypeStop:
		return refuse(t, bench.ReasonNoHello, 0)
	case malformed != nil && malformed.Fault != wire.FaultNumber:
		return malformed.Refusal()
	}
	return c.serveStop()
}

// request judges a new request: its form, then the state, then its own checks.
func (c *Controller) request(t wire.Type, m wire.Message, malformed *wire.Malformed) wire.Message {
	if malformed != nil {
		return malformed.Refusal()
	}
	if !c.consistent(m) {
		return refuse(t, bench.ReasonMalformed, payloadLength(m))
	}
	if reason, detail := c.allowed(m); reason != bench.ReasonNone {
		return refuse(t, reason, detail)
	}
	return c.serve(m)
}

// payloadLength is the length of a message's payload: that of its frame on the
// line without type, number, checksum, stuffing and delimiter.
func payloadLength(m wire.Message) int32 {
	line, err := wire.Encode(nil, wire.Frame{Number: 1, Message: m})
	if err != nil {
		return 0
	}
	return int32(len(line) - 7)
}

// answer sends an answer, and returns its bytes.
func (c *Controller) answer(number uint16, m wire.Message) []byte {
	line, err := wire.Encode(nil, wire.Frame{Number: number, Message: m})
	if err != nil {
		c.stop(bench.CauseInternal)
		return nil
	}
	c.out.answer(line)
	return line
}

func (c *Controller) ack(at int64) wire.Message { return wire.Ack{TimeMicros: c.clock(at)} }

func refuse(t wire.Type, reason bench.Reason, detail int32) wire.Message {
	return wire.Refuse{Request: t, Reason: reason, Detail: detail}
}
