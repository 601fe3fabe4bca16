package virtual

import (
	"sync"
	"time"

	"trunnion/link"
)

// Conn is a connection to a rig in this process. It is a link.Conn, and can
// change its rate and send urgently.
//
// Flat out, virtual time passes inside Read and nowhere else, so that one
// goroutine that reads and writes gets the same run every time. In real time it
// passes with the wall's, whoever asks for it. Faster, it follows the wall's but
// inside Read only: a host that is held up for a moment of the wall's time must
// not look silent for ten times as long.
type Conn struct {
	mu     sync.Mutex
	rig    *Rig
	pacer  pacer
	opened int64 // us
	closed bool
	gone   bool
}

var (
	_ link.Conn         = (*Conn)(nil)
	_ link.RateChanger  = (*Conn)(nil)
	_ link.UrgentWriter = (*Conn)(nil)
)

// Dial connects to a rig, which belongs to the Conn from then on: see Do.
func Dial(rig *Rig, pace Pace) *Conn {
	return &Conn{rig: rig, pacer: newPacer(pace, rig.Now()), opened: rig.Now()}
}

// leastSleep is how long Read sleeps at least before it looks again.
const leastSleep = 500 * time.Microsecond

// Read implements link.Conn. Time passes in steps of a millisecond.
func (c *Conn) Read(p []byte, wait time.Duration) (int, error) {
	deadline := c.Now() + wait
	for {
		n, sleep, err := c.tryRead(p, deadline)
		if n > 0 || err != nil || sleep < 0 {
			return n, err
		}
		time.Sleep(sleep)
	}
}

// tryRead returns what there is, or how long to sleep before trying again; less
// than 0 if the deadline is past.
func (c *Conn) tryRead(p []byte, deadline time.Duration) (n int, sleep time.Duration, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.usable("read"); err != nil {
		return 0, 0, err
	}
	behind := c.pass()
	if n = c.rig.Receive(p); n > 0 {
		return n, 0, nil
	}
	left := deadline - c.now()
	switch {
	case left <= 0:
		return 0, -1, nil
	case c.pacer.pace == FlatOut:
		for n == 0 && c.now() < deadline {
			c.rig.Advance(1000)
			n = c.rig.Receive(p)
		}
		return n, -1, nil
	case behind > 0:
		return 0, 0, nil
	}
	return 0, max(leastSleep, c.pacer.real(min(1000, left.Microseconds()))), nil
}

// pass lets virtual time follow the wall's, and returns how far it is still
// behind.
func (c *Conn) pass() (behind int64) {
	if c.pacer.pace == FlatOut {
		return 0
	}
	behind = c.pacer.behind(c.rig.Now())
	behind -= behind % 1000
	if behind <= 0 {
		return 0
	}
	now := min(behind, mostChunk)
	c.rig.Advance(now)
	return behind - now
}

// passOutside is pass for calls other than Read.
func (c *Conn) passOutside() {
	if c.pacer.pace <= RealTime {
		c.pass()
	}
}

// Write implements link.Conn.
func (c *Conn) Write(p []byte) error { return c.hand("write", func() { c.rig.Send(p) }) }

// WriteUrgent implements link.UrgentWriter.
func (c *Conn) WriteUrgent(p []byte) error { return c.hand("write", func() { c.rig.SendUrgent(p) }) }

// SetRate implements link.RateChanger.
func (c *Conn) SetRate(bitsPerSecond int) error {
	return c.hand("change the line rate", func() {
		for c.rig.Unsent() > 0 { // it leaves in time, whatever the pace
			c.rig.Advance(1000)
		}
		c.rig.SetHostRate(bitsPerSecond)
	})
}

// hand lets time follow and does something to the rig.
func (c *Conn) hand(op string, f func()) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if err := c.usable(op); err != nil {
		return err
	}
	c.passOutside()
	f()
	return nil
}

// Do does something to the rig while no time passes: a fault, or a look at it.
// It must not call methods of the Conn.
func (c *Conn) Do(f func(*Rig)) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.passOutside()
	f(c.rig)
}

// Now implements link.Conn: virtual time since Dial.
func (c *Conn) Now() time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	if !c.closed {
		c.passOutside()
	}
	return c.now()
}

func (c *Conn) now() time.Duration {
	return time.Duration(c.rig.Now()-c.opened) * time.Microsecond
}

// Close implements link.Conn. Time does not pass any more.
func (c *Conn) Close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.closed = true
	return nil
}

// Unplug takes the port away: every call fails from then on.
func (c *Conn) Unplug() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.gone = true
	c.rig.Cut(true)
}

// String names the connection in errors.
func (c *Conn) String() string { return "the virtual rig" }

func (c *Conn) usable(op string) error {
	switch {
	case c.closed:
		return &link.Error{Op: op, Port: c.String(), Kind: link.Closed}
	case c.gone:
		return &link.Error{Op: op, Port: c.String(), Kind: link.Gone}
	}
	return nil
}
