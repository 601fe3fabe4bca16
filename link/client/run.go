package client

import (
	"fmt"
	"runtime/debug"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// PanicError is a panic that the client caught, in its own goroutine or in the
// observer of samples.
type PanicError struct {
	Value any
	Stack []byte
}

func (e *PanicError) Error() string { return fmt.Sprintf("panic: %v", e.Value) }

// run is the goroutine of a live client.
func (c *Client) run() {
	defer close(c.ended)
	for c.step() {
	}
}

// stepUnless reads once, unless another caller's reading has meanwhile brought
// what is waited for.
func (c *Client) stepUnless(reached func() bool) {
	c.stepMu.Lock()
	defer c.stepMu.Unlock()
	c.mu.Lock()
	yes := reached()
	c.mu.Unlock()
	if !yes {
		c.step()
	}
}

// step sends what is due, reads once, and handles what came. It reports whether
// the connection is still of use.
func (c *Client) step() (useful bool) {
	defer func() {
		if r := recover(); r != nil {
			c.broken(r)
			useful = false
		}
	}()
	c.flush()
	var wait time.Duration
	c.locked(func() { wait, useful = c.core.wait(c.conn.Now()), c.core.failure == nil })
	if !useful {
		return false
	}
	n, err := c.conn.Read(c.buffer[:], wait)
	var fresh []bench.Sample
	c.locked(func() {
		now := c.conn.Now()
		fresh = c.core.feed(now, c.buffer[:max(n, 0)])
		if err != nil {
			c.core.fail(linkError("read", c.options.Name, err))
		}
		c.core.tick(now)
		useful = c.core.failure == nil
	})
	c.fallBack()
	c.flush()
	c.show(fresh)
	return useful
}

// fallBack follows the controller to the line rate of the opening, to which it
// returns when it hears nothing.
func (c *Client) fallBack() {
	var lost bool
	c.mu.Lock()
	lost = c.core.rateLost(c.conn.Now())
	c.mu.Unlock()
	line, able := c.conn.(link.RateChanger)
	if !lost || !able {
		return
	}
	if err := line.SetRate(wire.BaseBaud); err != nil {
		c.locked(func() { c.core.fail(linkError("change the line rate", c.options.Name, err)) })
		return
	}
	c.restartDecoder(wire.BaseBaud)
	c.locked(func() {
		hz := sampleRate(c.options.SampleRate, *c.core.identity, wire.BaseBaud)
		c.core.stats.SampleRate, c.core.hz = hz, uint16(hz)
	})
}

// flush sends what is due.
func (c *Client) flush() {
	c.sendMu.Lock()
	defer c.sendMu.Unlock()
	for {
		var line []byte
		c.locked(func() { line = c.core.outgoing(c.conn.Now()) })
		if line == nil {
			return
		}
		if err := c.conn.Write(line); err != nil {
			c.locked(func() { c.core.unsent(err) })
		}
	}
}

// show hands samples to the observer.
func (c *Client) show(fresh []bench.Sample) {
	if c.options.OnSample == nil || len(fresh) == 0 {
		return
	}
	if c.watcher == nil {
		for _, s := range fresh {
			c.options.OnSample(s)
		}
		return
	}
	if !c.watcher.add(fresh) {
		c.abandon(&link.Error{Op: "record", Port: c.options.Name, Kind: link.Broken, Detail: "the observer of samples is a minute behind"})
	}
}

// broken ends the connection after a panic.
func (c *Client) broken(value any) {
	c.abandon(&link.Error{Op: "run", Port: c.options.Name, Kind: link.Broken, Err: &PanicError{Value: value, Stack: debug.Stack()}})
}

// abandon stops the rig, without waiting for an answer, and ends the connection.
func (c *Client) abandon(reason error) {
	c.parting.Lock()
	defer c.parting.Unlock()
	var line []byte
	c.locked(func() {
		if c.core.failure == nil && c.core.greeted {
			_, line = c.core.stop(c.conn.Now())
		}
		c.core.fail(reason)
	})
	if line != nil {
		_ = c.overtake(line) // if it fails, the controller stops when the line falls silent
	}
}

// overtakeLimit is how long a stop waits for a connection that, against its
// promise, blocks in Write.
const overtakeLimit = 50 * time.Millisecond

// overtake sends a frame before everything else. It does not take the lock of
// flush, where a connection that breaks its promise might hang.
func (c *Client) overtake(line []byte) error {
	write := c.conn.Write
	if u, ok := c.conn.(link.UrgentWriter); ok {
		write = u.WriteUrgent
	}
	if !c.live {
		return write(line)
	}
	result := make(chan error, 1)
	go func() {
		defer func() {
			if r := recover(); r != nil {
				result <- &PanicError{Value: r, Stack: debug.Stack()}
			}
		}()
		result <- write(line)
	}()
	limit := time.NewTimer(overtakeLimit)
	defer limit.Stop()
	select {
	case err := <-result:
		return err
	case <-limit.C:
		return &link.Error{Op: "stop", Port: c.options.Name, Kind: link.Stalled}
	}
}
