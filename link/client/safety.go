package client

import (
	"context"
	"errors"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Limits of what must not hang, by the wall clock of a live client. By the
// connection's clock their requests expire sooner.
const (
	stopLimit = time.Second
	parkLimit = 2 * time.Second
	restLimit = 2 * time.Second
)

// Arm implements bench.Safety.
func (c *Client) Arm(ctx context.Context) error {
	_, err := c.order(ctx, "arm", wire.Arm{Token: c.core.token}, nil)
	return err
}

// Clear implements bench.Safety.
func (c *Client) Clear(ctx context.Context) error {
	_, err := c.order(ctx, "clear the stop", wire.Clear{}, nil)
	return err
}

// Stop implements bench.Safety. The stop goes out at once, before everything
// that is under way or waiting, which ends with a StoppedError; then Stop waits
// for the acknowledgement, for half a second at most.
func (c *Client) Stop() error {
	var k *call
	var line []byte
	var failure error
	c.locked(func() {
		if failure = c.core.failure; failure == nil {
			k, line = c.core.stop(c.conn.Now())
		}
	})
	if failure != nil {
		return failure
	}
	began := c.conn.Now()
	if err := c.overtake(line); err != nil && !errors.Is(err, link.Stalled) {
		c.locked(func() { c.core.unsent(err) })
	}
	ctx, cancel := c.bounded(stopLimit)
	defer cancel()
	if c.await(ctx, func() bool { return k.finished }) != nil {
		return &bench.SilentError{Command: "stop", Waited: (c.conn.Now() - began).Seconds()}
	}
	return k.err
}

// Park implements bench.Bench. It goes before other requests that wait.
func (c *Client) Park() error {
	ctx, cancel := c.bounded(parkLimit)
	defer cancel()
	began := c.conn.Now()
	err := c.carryOut(ctx, &call{command: "park", message: wire.Park{}}, true)
	if errors.Is(err, context.DeadlineExceeded) {
		return &bench.SilentError{Command: "park", Waited: (c.conn.Now() - began).Seconds()}
	}
	return err
}

// rest leaves the rig as PROTOCOL.md 15 wants it at the end of a connection. If
// that fails, the controller stops by itself when the line falls silent.
func (c *Client) rest() {
	s := c.State()
	if s.Failure != nil || s.State == bench.Stopped {
		return
	}
	if s.State != bench.Safe && c.Park() != nil {
		return
	}
	ctx, cancel := c.bounded(restLimit)
	defer cancel()
	resting := map[int]units.Pulse{} // the pulse that the silence does not mind
	var loose []bench.Tilt
	for axis := range c.identity.Axes {
		k, err := c.request(ctx, "describe an axis", wire.Describe{What: wire.AxisIndex(axis)})
		d, ok := k.answer.(wire.AxisDescription)
		if err != nil || !ok {
			return
		}
		resting[axis] = units.PulseFromTenths(d.NeutralTenths)
		if d.NeutralTenths == 0 {
			loose = append(loose, bench.Tilt{Axis: axis})
		}
	}
	if len(loose) > 0 {
		if _, err := c.Tilt(ctx, loose...); err != nil {
			return
		}
	}
	_, _ = c.Watch(ctx, bench.Until{Limit: restLimit, Met: func(s bench.Sample) bool {
		for axis, pulse := range resting {
			if p := s.Axes[axis].Pulse; p != 0 && p != pulse {
				return false
			}
		}
		return true
	}})
}
