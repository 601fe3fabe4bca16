package virtual

import (
	"errors"
	"fmt"
	"io"
	"runtime/debug"
	"sync"
	"time"
)

// PanicError is a panic while a rig was served.
type PanicError struct {
	Value any
	Stack []byte
}

func (e *PanicError) Error() string {
	return fmt.Sprintf("virtual rig: panic: %v; start it again, and report the fault with this text", e.Value)
}

// ErrFlatOut is that of Serve at the pace FlatOut: a stream has no clock by
// which virtual time could pass.
var ErrFlatOut = errors.New("virtual rig: a stream is served in real time, or so many times faster; choose a pace above 0")

// Sizes of the buffers between a stream and the rig, bytes.
const (
	unsentMost = 4096    // towards the controller; then the stream is not read
	unreadMost = 1 << 16 // towards the host; more are lost, as in a UART that nobody empties
)

// servePeriod is how often Serve looks at the clock.
const servePeriod = time.Millisecond

// Serve plays a rig on a stream, such as a pseudo-terminal, until stop is closed
// or the stream ends. Whatever the far end does, the rig's time goes on: a host
// that reads slowly loses bytes. The line rate of the host is taken to be right.
//
// It returns nil after stop, and otherwise the stream's error, or a *PanicError.
// A read of the stream that does not return after its deadline is left behind;
// close the stream then.
func Serve(rig *Rig, stream io.ReadWriter, pace Pace, stop <-chan struct{}) error {
	if pace <= FlatOut {
		return ErrFlatOut
	}
	rig.FollowRate()
	s := &server{
		rig: rig, stream: stream, pacer: newPacer(pace, rig.Now()),
		in: make(chan []byte, 1), ended: make(chan error, 3),
		done: make(chan struct{}), rested: make(chan struct{}),
	}
	s.writable = sync.NewCond(&s.mu)
	var all sync.WaitGroup
	for _, part := range []func() error{s.read, s.write, s.run} {
		all.Go(func() { s.ended <- guarded(part) })
	}
	var err error
	select {
	case <-stop:
	case err = <-s.ended:
	}
	s.finish(&all)
	return err
}

// server plays a rig on a stream.
type server struct {
	rig    *Rig
	stream io.ReadWriter
	pacer  pacer

	in     chan []byte
	ended  chan error
	done   chan struct{} // all parts shall end
	rested chan struct{} // the rig is left alone

	mu       sync.Mutex
	writable *sync.Cond
	out      []byte
	over     bool
}

// guarded runs a part of the server and turns its panic into an error.
func guarded(part func() error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = &PanicError{Value: r, Stack: debug.Stack()}
		}
	}()
	return part()
}

// finish ends all parts and waits for those that can be woken.
func (s *server) finish(all *sync.WaitGroup) {
	close(s.done)
	s.mu.Lock()
	s.over = true
	s.writable.Broadcast()
	s.mu.Unlock()
	if d, ok := s.stream.(interface{ SetDeadline(time.Time) error }); ok {
		_ = d.SetDeadline(time.Now()) // a stream without deadlines is left to its owner
	}
	<-s.rested
	ended := make(chan struct{})
	go func() { all.Wait(); close(ended) }()
	select {
	case <-ended:
	case <-time.After(100 * time.Millisecond):
	}
}

// read hands on what the host sends, as fast as run takes it.
func (s *server) read() error {
	for {
		buffer := make([]byte, 256)
		n, err := s.stream.Read(buffer)
		if n > 0 {
			select {
			case s.in <- buffer[:n]:
			case <-s.done:
				return nil
			}
		}
		if err != nil {
			return err
		}
	}
}

// write sends what run has put out.
func (s *server) write() error {
	var sending []byte
	for {
		s.mu.Lock()
		for len(s.out) == 0 && !s.over {
			s.writable.Wait()
		}
		if s.over {
			s.mu.Unlock()
			return nil
		}
		sending, s.out = s.out, sending[:0]
		s.mu.Unlock()
		if _, err := s.stream.Write(sending); err != nil {
			return err
		}
	}
}

// run lets the rig's time follow the wall's.
func (s *server) run() error {
	defer close(s.rested)
	ticker := time.NewTicker(servePeriod)
	defer ticker.Stop()
	buffer := make([]byte, 4096)
	for {
		select {
		case <-s.done:
			return nil
		case <-ticker.C:
		}
		for behind := s.pacer.behind(s.rig.Now()); behind >= 1000; behind -= 1000 {
			s.takeIn()
			s.rig.Advance(1000)
			s.putOut(buffer)
			if s.ending() {
				return nil
			}
		}
	}
}

func (s *server) ending() bool {
	select {
	case <-s.done:
		return true
	default:
		return false
	}
}

func (s *server) takeIn() {
	for s.rig.Unsent() < unsentMost {
		select {
		case p := <-s.in:
			s.rig.Send(p)
		default:
			return
		}
	}
}

func (s *server) putOut(buffer []byte) {
	n := s.rig.Receive(buffer)
	if n == 0 {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if room := unreadMost - len(s.out); n > room {
		s.rig.lost += uint64(n - room)
		n = room
	}
	s.out = append(s.out, buffer[:n]...)
	s.writable.Signal()
}
