package linktest

import (
	"slices"
	"time"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// take handles a frame by the rules of PROTOCOL.md 3.
func (s *Script) take(r wire.Result) {
	now, f := s.clock(), r.Frame
	t := f.Message.Type()
	counted := t != wire.TypeHello && t != wire.TypeHeartbeat
	got := Received{At: now, Frame: f}
	var usual []wire.Message
	switch {
	case !s.greeted && t != wire.TypeHello && t != wire.TypeStop:
		usual = s.refuse(f, bench.ReasonNoHello, 0)
	case counted && s.kept != nil && f.Number == s.last && r.Sum == s.sum:
		usual = s.kept
	case counted && s.greeted && !wire.Newer(f.Number, s.last):
		usual = s.refuse(f, bench.ReasonStale, int32(s.last))
		if t == wire.TypeStop {
			usual, got.Served = s.serve(now, f), true
		}
	default:
		usual, got.Served = s.serve(now, f), true
		if counted {
			s.last, s.sum, s.kept = f.Number, r.Sum, usual
		}
	}
	s.received = append(s.received, got)
	given := usual
	if s.o.Answer != nil {
		given = s.o.Answer(now, f, usual)
	}
	if given != nil && got.Served && counted {
		s.kept = given
	}
	if len(given) > 0 {
		s.send(encode(f.Number, given), now+s.o.Latency)
	}
}

func (s *Script) refuse(f wire.Frame, r bench.Reason, detail int32) []wire.Message {
	return []wire.Message{wire.Refuse{Request: f.Message.Type(), Reason: r, Detail: detail}}
}

// serve carries a request out and returns its answer.
func (s *Script) serve(now time.Duration, f wire.Frame) []wire.Message {
	ack := []wire.Message{wire.Ack{TimeMicros: s.micros(now)}}
	switch m := f.Message.(type) {
	case wire.Hello:
		return s.hello(m)
	case wire.Describe:
		return []wire.Message{s.describe(m)}
	case wire.SampleRate:
		s.every = 0
		if m.Hz > 0 {
			s.every = time.Second / time.Duration(m.Hz)
			s.next = now + s.every
		}
	case wire.Arm:
		s.setState(bench.Armed, bench.CauseNone)
	case wire.Drive:
		state := bench.Armed
		if s.flags &^= bench.DriveOn; m.Direction != bench.Off {
			state, s.flags = bench.Moving, s.flags|bench.DriveOn
		}
		s.setState(state, bench.CauseNone)
	case wire.Park, wire.Clear:
		s.flags &^= bench.DriveOn
		s.setState(bench.Safe, bench.CauseNone)
	case wire.Stop:
		s.flags &^= bench.DriveOn
		s.setState(bench.Stopped, bench.CauseHost)
	case wire.Tilt:
		for _, p := range m.Pulses {
			s.pulses[p.Axis] = p.PulseTenths
		}
	case wire.Neutral:
		s.neutrals[m.Axis] = m.PulseTenths
	case wire.Guards:
		s.flags &^= bench.GuardHit
	}
	return ack
}

func (s *Script) hello(m wire.Hello) []wire.Message {
	s.greeted, s.token, s.last, s.kept, s.every = true, m.Token, 0, nil, 0
	if s.state != bench.Stopped {
		s.setState(bench.Safe, bench.CauseNone)
	}
	id := s.o.Identity
	id.Token = m.Token
	return []wire.Message{id}
}

func (s *Script) describe(m wire.Describe) wire.Message {
	i, id := m.Index(), s.o.Identity
	switch {
	case m.Axis() && i < int(id.Axes):
		return wire.AxisDescription{Axis: uint8(i), LeastTenths: id.LeastTenths, MostTenths: id.MostTenths, NeutralTenths: s.neutrals[i]}
	case !m.Axis() && i < int(id.Counters):
		return wire.CounterDescription{Counter: uint8(i), CountsPerTurn: 2400, MostEdgeRate: 15000}
	}
	return wire.Refuse{Request: wire.TypeDescribe, Reason: bench.ReasonNoSuch, Detail: int32(i)}
}

// micros is the controller's clock.
func (s *Script) micros(now time.Duration) uint32 { return s.o.Start + uint32(now.Microseconds()) }

func (s *Script) setState(state bench.State, cause bench.Cause) {
	if s.state == state && s.cause == cause {
		return
	}
	s.state, s.cause = state, cause
	if s.greeted {
		now := s.clock()
		s.send(encode(s.notices, []wire.Message{wire.Notice{State: state, Cause: cause, TimeMicros: s.micros(now)}}), now+s.o.Latency)
		s.notices++
	}
}

// sample sends the samples that are due.
func (s *Script) sample() {
	for s.every > 0 && s.next <= s.clock() {
		m := wire.Sample{TimeMicros: s.micros(s.next), State: s.state, Cause: s.cause, Flags: s.flags, Shape: s.o.Identity.Shape()}
		for i := range m.Axes {
			m.Axes[i] = wire.SampleAxis{PulseTenths: s.pulses[i], Since: wire.AgeUnknown}
		}
		for i := range m.Counters {
			m.Counters[i].Edge = wire.AgeUnknown
		}
		if s.o.Sample != nil {
			s.o.Sample(s.next, &m)
		}
		s.send(encode(s.samples, []wire.Message{m}), s.next+s.o.Latency)
		s.samples++
		s.next += s.every
	}
}

func encode(number uint16, messages []wire.Message) []byte {
	var b []byte
	for _, m := range messages {
		n := number
		if m.Type() == wire.TypeIdentity {
			n = 0
		}
		var err error
		if b, err = wire.Encode(b, wire.Frame{Number: n, Message: m}); err != nil {
			panic(err) // a fault of the test
		}
	}
	return slices.Clip(b)
}
