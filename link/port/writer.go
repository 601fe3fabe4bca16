package port

import (
	"fmt"
	"slices"
	"time"

	"trunnion/link"
)

// delimiter ends a frame on the wire; an empty frame between two is ignored.
const delimiter = 0x00

const (
	writeSlice   = 2 * time.Millisecond  // after which the writer looks for something urgent
	drainLimit   = 20 * time.Millisecond // a frame that Close still waits for
	adapterDelay = 5 * time.Millisecond  // bytes inside a USB adapter are counted nowhere: 64 take 5.6 ms at 115200
)

// Write implements link.Conn. It fails with link.Stalled when frames before it
// could not be sent, which were then dropped.
func (p *Port) Write(b []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failure != nil {
		return p.failure
	}
	if err := p.stalled; err != nil {
		p.stalled = nil
		return err
	}
	if len(p.queue) >= queueLimit {
		return p.stall()
	}
	p.queue = append(p.queue, slices.Clone(b))
	p.rouse()
	return nil
}

// WriteUrgent implements link.UrgentWriter.
func (p *Port) WriteUrgent(b []byte) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.failure != nil {
		return p.failure
	}
	p.queue, p.stalled = nil, nil
	p.urgent = append([]byte{delimiter}, b...)
	p.rouse()
	return nil
}

// rouse wakes the writing goroutine. The lock is held.
func (p *Port) rouse() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// stall drops what waits and says so. The lock is held.
func (p *Port) stall() error {
	p.queue = nil
	return &link.Error{Op: "write", Port: p.path, Kind: link.Stalled}
}

// write is the writing goroutine.
func (p *Port) write() {
	defer close(p.writer)
	defer func() {
		if r := recover(); r != nil {
			p.fail("write", link.Broken, fmt.Errorf("panic: %v", r))
		}
	}()
	cut := false // the last frame was left in the middle
	for {
		closing := false
		limit := stallLimit
		select {
		case <-p.done: // what was handed over just before, such as a stop, still goes
			closing, limit = true, drainLimit
		case <-p.wake:
		}
		for frame, urgent := p.next(); frame != nil; frame, urgent = p.next() {
			if urgent {
				p.dev.discard()
			} else if cut {
				frame = append([]byte{delimiter}, frame...)
			}
			rest, err := p.send(frame, urgent, time.Now().Add(limit))
			if err != nil {
				p.fail("write", link.Gone, err)
				return
			}
			if cut = rest > 0; cut {
				p.giveUp(urgent)
			}
		}
		if closing {
			return
		}
	}
}

// next takes the frame to be sent; nil is none.
func (p *Port) next() (frame []byte, urgent bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case p.urgent != nil:
		frame, p.urgent, urgent = p.urgent, nil, true
	case len(p.queue) > 0:
		frame, p.queue = p.queue[0], p.queue[1:]
	}
	p.sending = frame != nil
	return frame, urgent
}

// send writes frame until the deadline or, unless it is urgent itself,
// something urgent, and returns how many bytes are left.
func (p *Port) send(frame []byte, urgent bool, deadline time.Time) (rest int, err error) {
	for {
		n, err := p.dev.write(frame, writeSlice)
		if err != nil {
			return len(frame), err
		}
		frame = frame[min(max(n, 0), len(frame)):]
		if len(frame) == 0 || time.Now().After(deadline) || !urgent && p.overtaken() {
			return len(frame), nil
		}
	}
}

func (p *Port) overtaken() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.urgent != nil
}

// giveUp ends a frame of which some is unsent. Unless something urgent cut it
// short the line is stalled: then what the line and the queue hold is dropped
// too, since a stale command must not move anything when the line recovers.
func (p *Port) giveUp(urgent bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if urgent || p.urgent == nil {
		p.dev.discard()
		p.stalled = p.stall()
	}
}

// drained waits until everything handed over has left the system's buffer, and
// reports whether it has.
func (p *Port) drained(limit time.Duration) bool {
	for deadline := time.Now().Add(limit); ; time.Sleep(time.Millisecond) {
		p.mu.Lock()
		empty := len(p.queue) == 0 && p.urgent == nil && !p.sending
		p.mu.Unlock()
		if empty && p.dev.waiting() == 0 {
			time.Sleep(adapterDelay)
			return true
		}
		if time.Now().After(deadline) {
			return false
		}
	}
}
