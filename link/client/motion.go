package client

import (
	"context"
	"errors"
	"math"
	"time"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// Drive implements bench.Bench.
func (c *Client) Drive(ctx context.Context, d bench.Direction) (units.Instant, error) {
	return c.order(ctx, "switch the drive "+direction(d), wire.Drive{Direction: d}, nil)
}

func direction(d bench.Direction) string {
	if d < bench.Off || d > bench.Reverse {
		return "to an unknown direction"
	}
	return d.String()
}

// Select implements bench.Bench. It returns when samples show that the output
// is engaged.
func (c *Client) Select(ctx context.Context, axis int) (units.Instant, error) {
	index, err := index("select", axis)
	at, err := c.order(ctx, "select an output", wire.Select{Axis: index}, err)
	if err != nil {
		return 0, err
	}
	_, err = c.Watch(ctx, bench.Until{From: at, Met: func(s bench.Sample) bool { return !s.Has(bench.Selecting) }})
	return at, err
}

// Tilt implements bench.Bench.
func (c *Client) Tilt(ctx context.Context, tilts ...bench.Tilt) (units.Instant, error) {
	m, err := wire.TiltFrom(tilts...)
	return c.order(ctx, "tilt", m, err)
}

// Guard implements bench.Bench.
func (c *Client) Guard(ctx context.Context, guards ...bench.Guard) error {
	var m wire.Guards
	for _, g := range guards {
		if g.Counts == 0 && g.Time == 0 {
			continue // bounds nothing
		}
		w, err := wire.GuardFrom(g)
		if err != nil {
			return err
		}
		m.Guards = append(m.Guards, w)
	}
	_, err := c.order(ctx, "set guards", m, nil)
	return err
}

// SetPulseLimits implements bench.Bench.
func (c *Client) SetPulseLimits(ctx context.Context, axis int, limits bench.PulseLimits) error {
	m, err := wire.PulseLimitsFrom(axis, limits, c.identity.FrameMicros)
	_, err = c.order(ctx, "set pulse limits", m, err)
	return err
}

// SetNeutral implements bench.Bench. A pulse of 0 forgets the neutral.
func (c *Client) SetNeutral(ctx context.Context, axis int, pulse units.Pulse) error {
	t, err := wire.TiltFrom(bench.Tilt{Axis: axis, Pulse: pulse})
	if err != nil {
		return err
	}
	_, err = c.order(ctx, "set the neutral pulse", wire.Neutral(t.Pulses[0]), nil)
	return err
}

// SetTravelLimits implements bench.Bench.
func (c *Client) SetTravelLimits(ctx context.Context, limits ...bench.TravelLimit) error {
	var m wire.TravelLimits
	for _, l := range limits {
		w, err := wire.TravelLimitFrom(l)
		if err != nil {
			return err
		}
		m.Limits = append(m.Limits, w)
	}
	_, err := c.order(ctx, "set travel limits", m, nil)
	return err
}

// SetDatum implements bench.Bench.
func (c *Client) SetDatum(ctx context.Context, counter int, value units.Counts) error {
	if value < math.MinInt32 || value > math.MaxInt32 {
		return &wire.RangeError{Field: "datum in counts", Value: float64(value)}
	}
	index, err := index("set a datum", counter)
	_, err = c.order(ctx, "set the datum", wire.Datum{Counter: index, Value: int32(value)}, err)
	return err
}

// LoadLoop implements bench.Bench.
func (c *Client) LoadLoop(ctx context.Context, axis int, loop bench.Loop) error {
	table, err := wire.TableFrom(axis, loop.Table)
	if err != nil {
		return err
	}
	gains, err := wire.LoopGainsFrom(axis, loop.Counter, loop.Gains)
	if err != nil {
		return err
	}
	if _, err := c.order(ctx, "load the inverse table", table, nil); err != nil {
		return err
	}
	_, err = c.order(ctx, "load gains", wire.Gains(gains), nil)
	return err
}

// SetPoint implements bench.Bench.
func (c *Client) SetPoint(ctx context.Context, points ...bench.SetPoint) (units.Instant, error) {
	targets, err := targets(points)
	return c.order(ctx, "follow a set-point", wire.SetPoint{Targets: targets}, err)
}

// Stream implements bench.Bench. Neighbours of one time go in one message. When
// the controller's queue is full it waits for room.
func (c *Client) Stream(ctx context.Context, points ...bench.TimedSetPoint) error {
	for len(points) > 0 {
		at := points[0].At
		var together []bench.SetPoint
		for len(points) > 0 && points[0].At == at && len(together) < bench.MaxAxes {
			together, points = append(together, points[0].SetPoint), points[1:]
		}
		targets, err := targets(together)
		if err != nil {
			return err
		}
		if err := c.stream(ctx, wire.Stream{TimeMicros: uint32(at), Targets: targets}); err != nil {
			return err
		}
	}
	return nil
}

// stream offers one message until there is room for it.
func (c *Client) stream(ctx context.Context, m wire.Stream) error {
	for {
		_, err := c.order(ctx, "queue a set-point", m, nil)
		var refused *bench.RefusedError
		if !errors.As(err, &refused) || refused.Reason != bench.ReasonFull {
			return err
		}
		if err := c.pause(ctx, fullWait); err != nil {
			return err
		}
	}
}

// Release implements bench.Bench.
func (c *Client) Release(ctx context.Context, axis int) error {
	index, err := index("release", axis)
	_, err = c.order(ctx, "release an axis", wire.Release{Axis: index}, err)
	return err
}

func targets(points []bench.SetPoint) ([]wire.Target, error) {
	var all []wire.Target
	for _, p := range points {
		t, err := wire.TargetFrom(p)
		if err != nil {
			return nil, err
		}
		all = append(all, t)
	}
	return all, nil
}

// index is a number of an axis or counter on the wire. The controller judges
// whether there is one.
func index(call string, i int) (uint8, error) {
	if i < 0 || i > math.MaxUint8 {
		return 0, &MisuseError{call, "there is no axis or counter of that number"}
	}
	return uint8(i), nil
}

// pause lets time pass on the connection's clock, which need not be the wall's.
func (c *Client) pause(ctx context.Context, d time.Duration) error {
	until := c.conn.Now() + d
	for c.live {
		select {
		case <-time.After(min(d, time.Millisecond)):
		case <-c.done:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
		if c.conn.Now() >= until {
			return nil
		}
	}
	return c.await(ctx, func() bool { return c.core.failure != nil || c.conn.Now() >= until })
}
