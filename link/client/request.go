package client

import (
	"context"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// request sends a message and waits for its answer.
func (c *Client) request(ctx context.Context, command string, m wire.Message) (*call, error) {
	k := &call{command: command, message: m}
	return k, c.carryOut(ctx, k, false)
}

// carryOut waits for the end of a call. If the context ends first the call is
// given up; whether it was carried out is not known then.
func (c *Client) carryOut(ctx context.Context, k *call, front bool) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if _, err := wire.Encode(nil, wire.Frame{Number: 1, Message: k.message}); err != nil {
		return err
	}
	var failure error
	c.locked(func() {
		if failure = c.core.failure; failure == nil {
			c.core.calls.add(k, front)
		}
	})
	if failure != nil {
		return failure
	}
	c.flush()
	if err := c.await(ctx, func() bool { return k.finished }); err != nil {
		c.locked(func() { c.core.calls.drop(k) })
		return err
	}
	return k.err
}

// order sends a message that is only acknowledged, and returns when it takes
// effect.
func (c *Client) order(ctx context.Context, command string, m wire.Message, err error) (units.Instant, error) {
	if err != nil {
		return 0, err
	}
	k, err := c.request(ctx, command, m)
	if err != nil {
		return 0, err
	}
	if _, ok := k.answer.(wire.Ack); !ok {
		return 0, &bench.RefusedError{Command: command, Reason: bench.ReasonUnknown}
	}
	return k.at, nil
}
