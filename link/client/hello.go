package client

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// handshake brings the connection to where the rig can be armed. It reads the
// connection itself, in the caller's goroutine.
func (c *Client) handshake() error {
	for c.core.token = c.options.Token; c.core.token == 0; {
		c.core.token = rand.Uint32()
	}
	c.core.stats.LineRate = wire.BaseBaud
	c.core.ring = newRing(int(c.options.Keep.Seconds()*float64(c.options.SampleRate)) + 1)
	if err := c.hello(); err != nil {
		return err
	}
	id := *c.core.identity
	if err := c.enough(id); err != nil {
		return err
	}
	c.locked(func() {
		now := c.conn.Now()
		c.core.greeted, c.core.sent, c.core.heard = true, now, now
	})
	ctx := context.Background()
	counters, err := c.describe(ctx, int(id.Counters))
	if err != nil {
		return err
	}
	if err := c.changeLineRate(ctx, id); err != nil {
		return err
	}
	if c.options.Fresh {
		if err := c.refresh(ctx, id); err != nil {
			return err
		}
	}
	hz := sampleRate(c.options.SampleRate, id, c.core.stats.LineRate)
	c.identity = id.Bench(counters, hz)
	c.core.stats.SampleRate = hz
	_, err = c.order(ctx, "send samples", wire.SampleRate{Hz: uint16(hz)}, nil)
	return err
}

// hello sends hellos until one is answered, with a pause for a boot loader. A
// frame that comes during the pause shows that there is none.
func (c *Client) hello() error {
	line, err := wire.Encode([]byte{0}, wire.Frame{Message: wire.Hello{Major: wire.Major, Minor: wire.Minor, Token: c.core.token}})
	if err != nil {
		return err
	}
	begin := c.conn.Now()
	next := begin
	for sent := 0; ; {
		now := c.conn.Now()
		words := c.core.words
		switch {
		case c.core.failure != nil:
			return c.core.failure
		case c.core.refusal != nil:
			return c.refusedHello(*c.core.refusal)
		case c.core.identity != nil:
			return nil
		case now-begin >= c.options.BootWait:
			return c.unanswered()
		case now >= next:
			if err := c.conn.Write(line); err != nil {
				return linkError("hello", c.options.Name, err)
			}
			sent++
			next = now + helloRepeat
			if sent == helloBurst {
				next = now + helloPause
			}
		}
		c.step()
		if c.core.words > words {
			next = min(next, c.conn.Now()+helloRepeat)
		}
	}
}

// unanswered is the error for a hello without an answer, by what came instead.
func (c *Client) unanswered() error {
	e := &link.Error{Op: "hello", Port: c.options.Name, Kind: link.Silent}
	switch s := c.core.decoder.Stats(); {
	case c.core.words > 0:
		e.Detail = "frames come, but none is an answer"
	case s.Good > 0:
		e.Detail = "only what was sent comes back: receive and send are joined"
	case c.core.bytes > 0:
		e.Kind, e.Detail = link.Garbage, fmt.Sprintf("%d bytes", c.core.bytes)
	}
	return e
}

func (c *Client) refusedHello(m wire.Refuse) error {
	if m.Reason == bench.ReasonVersion {
		return c.versionError(int(m.Detail))
	}
	return &bench.RefusedError{Command: "say hello", Reason: m.Reason, Detail: int(m.Detail)}
}

func (c *Client) versionError(theirs int) error {
	return &link.Error{
		Op: "hello", Port: c.options.Name, Kind: link.Version,
		Detail: fmt.Sprintf("version %d, this program speaks %d", theirs, wire.Major),
	}
}

// enough sees whether the controller is one that the rig can do with.
func (c *Client) enough(id wire.Identity) error {
	if id.Major != wire.Major {
		return c.versionError(int(id.Major))
	}
	if int(id.Axes) < c.options.Axes || int(id.Counters) < c.options.Counters {
		return &link.Error{
			Op: "hello", Port: c.options.Name, Kind: link.FewerAxes,
			Detail: fmt.Sprintf("%d axes and %d counters, needed are %d and %d", id.Axes, id.Counters, c.options.Axes, c.options.Counters),
		}
	}
	return nil
}

// describe asks for all counters.
func (c *Client) describe(ctx context.Context, n int) ([]wire.CounterDescription, error) {
	all := make([]wire.CounterDescription, 0, n)
	for i := range n {
		command := fmt.Sprintf("describe counter %d", i)
		k, err := c.request(ctx, command, wire.Describe{What: wire.CounterIndex(i)})
		if err != nil {
			return nil, err
		}
		d, ok := k.answer.(wire.CounterDescription)
		if !ok {
			return nil, &bench.RefusedError{Command: command, Reason: bench.ReasonUnknown}
		}
		all = append(all, d)
	}
	return all, nil
}

// refresh undoes the settings of an earlier connection. The neutral pulses go
// first, since limits that do not contain them are refused.
func (c *Client) refresh(ctx context.Context, id wire.Identity) error {
	orders := []wire.Message{wire.Guards{}, wire.TravelLimits{}}
	for axis := range id.Axes {
		orders = append(orders,
			wire.Neutral{Axis: axis},
			wire.PulseLimits{Axis: axis, LeastTenths: id.LeastTenths, MostTenths: id.MostTenths})
	}
	for _, m := range orders {
		if _, err := c.order(ctx, "undo earlier settings", m, nil); err != nil {
			return err
		}
	}
	return nil
}

// changeLineRate goes to the wanted line rate as PROTOCOL.md 11.5 says, and
// back if nothing comes there.
func (c *Client) changeLineRate(ctx context.Context, id wire.Identity) error {
	line, able := c.conn.(link.RateChanger)
	want := min(c.options.LineRate, int(id.MostBaud))
	if !able || want <= wire.BaseBaud {
		return nil
	}
	_, err := c.order(ctx, "change the line rate", wire.LineRate{Baud: uint32(want)}, nil)
	var refused *bench.RefusedError
	var silent *bench.SilentError
	switch {
	case errors.As(err, &refused):
		return nil
	case err == nil && c.meetAt(line, want):
		return nil
	case err != nil && !errors.As(err, &silent):
		return err
	}
	c.idle(rateFallBack)
	if err := line.SetRate(wire.BaseBaud); err != nil {
		return linkError("change the line rate", c.options.Name, err)
	}
	c.restartDecoder(wire.BaseBaud)
	return nil
}

// meetAt changes this end of the line to a rate and reports whether anything
// comes there.
func (c *Client) meetAt(line link.RateChanger, baud int) bool {
	if line.SetRate(baud) != nil {
		return false
	}
	c.restartDecoder(baud)
	c.idle(rateSettle)
	began := c.conn.Now()
	c.locked(func() { c.core.sent = began - heartbeat }) // one is due now
	for c.core.heard < began && c.conn.Now()-began < 3*heartbeat {
		if !c.step() {
			return false
		}
	}
	return c.core.heard >= began
}

// idle lets time pass without sending anything.
func (c *Client) idle(d time.Duration) {
	c.locked(func() { c.core.hush = true })
	for until := c.conn.Now() + d; c.conn.Now() < until; {
		if !c.step() {
			break
		}
	}
	c.locked(func() { c.core.hush = false })
}

// restartDecoder forgets what came at another line rate.
func (c *Client) restartDecoder(baud int) {
	c.locked(func() {
		c.core.decoder.Reset()
		c.core.decoder.SetShape(c.core.identity.Shape())
		c.core.stats.LineRate = baud
	})
}
