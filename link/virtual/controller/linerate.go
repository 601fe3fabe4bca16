package controller

import (
	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// lineRate is the rate of the line and the one to come (11.5).
type lineRate struct {
	baud int
	next int // once the ack has left; 0 is none
}

func (c *Controller) serveLineRate(m wire.LineRate) wire.Message {
	if m.Baud != wire.BaseBaud && m.Baud != c.config.Identity.MostBaud {
		return refuse(m.Type(), bench.ReasonUnsupported, int32(c.config.Identity.MostBaud))
	}
	c.line.next = int(m.Baud)
	return c.ack(c.now)
}

// changeLineRate changes the rate when all that was to be sent at the old one
// has left; no sample is begun meanwhile.
func (c *Controller) changeLineRate() {
	if c.line.next == 0 || !c.out.empty() || !c.hardware.Sent() {
		return
	}
	c.setLineRate(c.line.next)
}

// setLineRate changes the rate; samples that do not fit it any more are off.
func (c *Controller) setLineRate(baud int) {
	c.line.baud, c.line.next = baud, 0
	if c.samples.hz > c.shape().MostHz(baud) {
		c.samples.stop()
	}
	c.hardware.SetLineRate(baud)
}
