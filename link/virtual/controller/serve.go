package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// consistent looks for what makes a payload impossible and cannot be seen in
// the message alone.
func (c *Controller) consistent(m wire.Message) bool {
	switch m := m.(type) {
	case wire.Table:
		return c.tableFollows(m)
	case wire.Stream:
		return c.streamInOrder(m)
	}
	return true
}

// serve carries a request out, after its own checks, and returns its answer (11).
func (c *Controller) serve(m wire.Message) wire.Message {
	switch m := m.(type) {
	case wire.Describe:
		return c.describe(m)
	case wire.SampleRate:
		return c.serveSampleRate(m)
	case wire.LineRate:
		return c.serveLineRate(m)
	case wire.Arm:
		return c.serveArm(m)
	case wire.Park:
		return c.ack(c.park())
	case wire.Stop:
		return c.serveStop()
	case wire.Clear:
		return c.serveClear()
	case wire.Drive:
		return c.serveDrive(m)
	case wire.Select:
		return c.serveSelect(m)
	case wire.Tilt:
		return c.serveTilt(m)
	case wire.PulseLimits:
		return c.servePulseLimits(m)
	case wire.Neutral:
		return c.serveNeutral(m)
	case wire.Guards:
		return c.serveGuards(m)
	case wire.TravelLimits:
		return c.serveTravelLimits(m)
	case wire.Datum:
		return c.serveDatum(m)
	case wire.Table:
		return c.serveTable(m)
	case wire.Gains:
		return c.serveGains(m)
	case wire.ReadTable:
		return c.serveReadTable(m)
	case wire.ReadGains:
		return c.serveReadGains(m)
	case wire.SetPoint:
		return c.serveSetPoint(m)
	case wire.Stream:
		return c.serveStream(m)
	case wire.Release:
		return c.serveRelease(m)
	}
	// Every message that the codec reads stands above; one that does not is a
	// fault in here, and a reason to stop.
	c.stop(bench.CauseInternal)
	return refuse(m.Type(), bench.ReasonUnknown, payloadLength(m))
}
