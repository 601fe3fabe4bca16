package linktest

import (
	"slices"
	"sync"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// ScriptOptions say how a Script behaves. The nought value is a controller of
// three axes and four counters, on virtual time.
type ScriptOptions struct {
	Identity wire.Identity // with no axes a usual one is taken; the token is filled in
	RealTime bool          // time is the wall's
	Latency  time.Duration // between a frame and its answer; 0 is 2 ms
	Start    uint32        // the controller's clock when the connection opens, in us

	// Answer changes the answer to a request, which usually is as given. None
	// loses it on the line. It is called for each good frame that comes, a
	// repeated one too, and must not call methods of the Script.
	Answer func(at time.Duration, f wire.Frame, usual []wire.Message) []wire.Message

	// Sample fills in a sample, whose time, state, shape and flags are set.
	Sample func(at time.Duration, s *wire.Sample)
}

// Received is a good frame that came from the host.
type Received struct {
	At     time.Duration
	Frame  wire.Frame
	Served bool // it was carried out: neither repeated nor stale
}

// Script is a link.Conn with a scripted controller behind it.
type Script struct {
	o     ScriptOptions
	begun time.Time

	mu       sync.Mutex
	now      time.Duration // virtual
	closed   bool
	deaf     bool // nothing passes, either way
	decoder  wire.Decoder
	received []Received
	out      []parcel // by time
	wake     chan struct{}

	greeted  bool
	token    uint32
	pulses   [bench.MaxAxes]uint16
	neutrals [bench.MaxAxes]uint16
	last     uint16
	sum      uint16
	kept     []wire.Message // answer to the last request
	state    bench.State
	cause    bench.Cause
	flags    bench.Flags
	notices  uint16
	every    time.Duration // between samples; 0 is off
	next     time.Duration // sample
	samples  uint16
}

// parcel is bytes that can be read from a time on.
type parcel struct {
	at    time.Duration
	bytes []byte
}

// UsualIdentity is the identity of a Script that was given none: three axes and
// four counters, of an invented scenery lift.
func UsualIdentity() wire.Identity {
	return wire.Identity{
		Major: wire.Major, Minor: wire.Minor, Boot: 77, Axes: 3, Counters: 4, LeastTenths: 5000, MostTenths: 25000,
		FrameMicros: 20000, MostSampleHz: 200, MostTablePoints: 33, MostBaud: 250000, Name: "script",
	}
}

// NewScript returns a controller that has just started.
func NewScript(o ScriptOptions) *Script {
	if o.Identity.Axes == 0 {
		o.Identity = UsualIdentity()
	}
	if o.Latency == 0 {
		o.Latency = 2 * time.Millisecond
	}
	return &Script{o: o, begun: time.Now(), wake: make(chan struct{}, 1)}
}

// Now implements link.Conn.
func (s *Script) Now() time.Duration {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.clock()
}

func (s *Script) clock() time.Duration {
	if s.o.RealTime {
		return time.Since(s.begun)
	}
	return s.now
}

// Close implements link.Conn.
func (s *Script) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.closed = true
	s.rouse()
	return nil
}

func (s *Script) rouse() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// Read implements link.Conn.
func (s *Script) Read(p []byte, wait time.Duration) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for deadline := s.clock() + wait; ; {
		if s.closed {
			return 0, &link.Error{Op: "read", Kind: link.Closed}
		}
		s.sample()
		now := s.clock()
		if len(s.out) > 0 && s.out[0].at <= now {
			n := copy(p, s.out[0].bytes)
			if s.out[0].bytes = s.out[0].bytes[n:]; len(s.out[0].bytes) == 0 {
				s.out = s.out[1:]
			}
			return n, nil
		}
		if now >= deadline {
			return 0, nil
		}
		s.pass(min(deadline, s.event()))
	}
}

// event is when something will happen by itself, at the latest.
func (s *Script) event() time.Duration {
	at := time.Duration(1<<62 - 1)
	if len(s.out) > 0 {
		at = s.out[0].at
	}
	if s.every > 0 {
		at = min(at, s.next)
	}
	return at
}

// pass lets time pass until then, or until something is written in real time.
func (s *Script) pass(until time.Duration) {
	if !s.o.RealTime {
		s.now = max(s.now, until)
		return
	}
	timer := time.NewTimer(until - s.clock())
	defer timer.Stop()
	s.mu.Unlock()
	defer s.mu.Lock()
	select {
	case <-timer.C:
	case <-s.wake:
	}
}

// Write implements link.Conn.
func (s *Script) Write(p []byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return &link.Error{Op: "write", Kind: link.Closed}
	}
	if s.deaf {
		return nil
	}
	for _, r := range s.decoder.Feed(p) {
		if r.Err == nil {
			s.take(r)
		}
	}
	s.rouse()
	return nil
}

// send makes bytes readable after the latency.
func (s *Script) send(bytes []byte, at time.Duration) {
	if s.deaf {
		return
	}
	if n := len(s.out); n > 0 {
		at = max(at, s.out[n-1].at)
	}
	s.out = append(s.out, parcel{at, bytes})
}

// Received returns the frames that have come.
func (s *Script) Received() []Received {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.received)
}

// Served returns the messages of one type that were carried out, in order.
func (s *Script) Served(t wire.Type) []Received {
	all := s.Received()
	return slices.DeleteFunc(all, func(r Received) bool { return !r.Served || r.Frame.Message.Type() != t })
}

// SetState changes the state, with a notice.
func (s *Script) SetState(state bench.State, cause bench.Cause) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.setState(state, cause)
}

// SetFlags changes the flags of samples to come.
func (s *Script) SetFlags(f bench.Flags) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.flags = f
}

// StopSamples has no samples sent any more, as after a long silence.
func (s *Script) StopSamples() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.every = 0
}

// SetDeaf has nothing pass from now on, either way, or everything again.
func (s *Script) SetDeaf(on bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.deaf = on
}

// Restart has the controller start anew, with another boot number.
func (s *Script) Restart() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.o.Identity.Boot++
	s.greeted, s.last, s.kept, s.every, s.out = false, 0, nil, 0, nil
	s.state, s.cause = bench.Safe, bench.CauseNone
}

// Inject makes bytes readable as if the controller had sent them.
func (s *Script) Inject(bytes []byte) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.send(slices.Clone(bytes), s.clock())
	s.rouse()
}
