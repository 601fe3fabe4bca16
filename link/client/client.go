package client

import (
	"context"
	"sync"
	"time"

	"trunnion/link"
	"trunnion/tuning/bench"
)

// Client is one connection to a controller, as a bench. Make it with Dial.
type Client struct {
	conn     link.Conn
	options  Options
	identity bench.Identity
	live     bool // the client's own goroutine reads; set before Dial returns

	sendMu  sync.Mutex // held while frames go out, so that they do in their order
	stepMu  sync.Mutex // held while reading
	parting sync.Mutex // held while the stop of a client that breaks down goes out
	buffer  [512]byte  // under stepMu

	mu      sync.Mutex // guards what follows
	core    core
	changed chan struct{} // closed at the next change
	done    chan struct{} // closed at the failure

	watcher *observer     // of a live client with an observer; else nil
	ended   chan struct{} // closed when the client's goroutine has ended
	closing sync.Once
}

var (
	_ bench.Bench  = (*Client)(nil)
	_ bench.Safety = (*Client)(nil)
)

// Dial shakes hands with the controller at the far end of conn. Its error is a
// *link.Error of kind Silent, Garbage, Version or FewerAxes, or one that conn
// gave, or one of package bench. The client owns conn from here on; it is
// closed if Dial fails.
func Dial(conn link.Conn, o Options) (*Client, error) {
	o = o.withDefaults(conn)
	c := &Client{
		conn: conn, options: o,
		changed: make(chan struct{}), done: make(chan struct{}), ended: make(chan struct{}),
	}
	c.core.name = o.Name
	if err := c.handshake(); err != nil {
		c.locked(func() { c.core.fail(err) })
		conn.Close()
		return nil, err
	}
	if o.Synchronous {
		close(c.ended)
		return c, nil
	}
	c.live = true
	if o.OnSample != nil {
		c.watcher = newObserver(o.OnSample, mostBehind*c.identity.SampleRate, c.broken)
		go c.watcher.run()
	}
	go c.run()
	return c, nil
}

// Identity is what the controller said of itself.
func (c *Client) Identity() bench.Identity { return c.identity }

// Done is closed when the connection is of no more use; State says why.
func (c *Client) Done() <-chan struct{} { return c.done }

// Close leaves the rig so that the silence that follows does not stop it: parked
// if it may move, and servos without a neutral pulse let go. Then it ends the
// connection, and returns when the observer has had every sample. It may be
// called twice, and takes up to a few seconds.
func (c *Client) Close() error {
	var err error
	c.closing.Do(func() { err = c.close() })
	return err
}

func (c *Client) close() error {
	c.rest()
	c.locked(func() { c.core.fail(&link.Error{Op: "use", Port: c.options.Name, Kind: link.Closed}) })
	err := c.hangUp()
	limit := time.NewTimer(closeLimit)
	defer limit.Stop()
	select {
	case <-c.ended:
	case <-limit.C:
		return &link.Error{Op: "close", Port: c.options.Name, Kind: link.Stalled, Detail: "the connection did not let go", Err: err}
	}
	if c.watcher != nil && !c.watcher.close(limit.C) {
		return &link.Error{Op: "close", Port: c.options.Name, Kind: link.Stalled, Detail: "the observer of samples did not return", Err: err}
	}
	return err
}

// hangUp closes the connection. Who closes it because the client broke down must
// not take the line from the stop that is going out.
func (c *Client) hangUp() error {
	c.parting.Lock()
	defer c.parting.Unlock()
	return c.conn.Close()
}

// closeLimit is how long Close waits for the goroutines of a live client.
const closeLimit = 5 * time.Second

// locked runs f under the mutex and then tells those who wait.
func (c *Client) locked(f func()) {
	c.mu.Lock()
	defer c.mu.Unlock()
	f()
	if !c.core.changed {
		return
	}
	c.core.changed = false
	close(c.changed)
	c.changed = make(chan struct{})
	select {
	case <-c.done:
	default:
		if c.core.failure != nil {
			close(c.done)
		}
	}
}

// await returns when reached, which is called under the mutex and perhaps again
// after it has reported true, reports true; or with the context's error. A
// synchronous client reads the connection meanwhile.
func (c *Client) await(ctx context.Context, reached func() bool) error {
	for {
		c.mu.Lock()
		yes, changed := reached(), c.changed
		c.mu.Unlock()
		if yes {
			return nil
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if !c.live {
			c.stepUnless(reached)
			continue
		}
		select {
		case <-changed:
		case <-ctx.Done():
		}
	}
}

// bounded is a context for what must not hang even if the connection breaks its
// promise to return. A synchronous client has only the connection's clock, by
// which requests expire.
func (c *Client) bounded(limit time.Duration) (context.Context, context.CancelFunc) {
	if !c.live {
		return context.Background(), func() {}
	}
	return context.WithTimeout(context.Background(), limit)
}
