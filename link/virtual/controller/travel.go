package controller

import (
	"math"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// relief is how far a travel limit moves out beyond where its form stands when
// the drive comes on outside, in weighted counts.
const relief = 16

// travelLimit bounds a linear form of the counts (9). Forms and bounds are in
// 1/256 of a weighted count.
type travelLimit struct {
	terms       []wire.Term
	least, most int64 // its own bounds
	low, high   int64 // those in effect while the drive is on
}

const (
	unbounded    = 1 << 56 // beyond any form, which takes 50 bits
	weightScale  = 256
	reliefScaled = relief * weightScale
)

func newTravelLimit(m wire.TravelLimit) travelLimit {
	l := travelLimit{terms: m.Terms, least: -unbounded, most: unbounded}
	if m.Least != math.MinInt32 {
		l.least = int64(m.Least) * weightScale
	}
	if m.Most != math.MaxInt32 {
		l.most = int64(m.Most) * weightScale
	}
	l.low, l.high = l.least, l.most
	return l
}

// beyond is how far a form is outside the limit's own bounds.
func (l *travelLimit) beyond(form int64) int64 { return max(l.least-form, form-l.most, 0) }

// relieve moves the bound that form is beyond out past it, so that the drive can
// turn to come back.
func (l *travelLimit) relieve(form int64) {
	l.low, l.high = l.least, l.most
	if form < l.least {
		l.low = form - reliefScaled
	}
	if form > l.most {
		l.high = form + reliefScaled
	}
}

// settle takes a bound back to its own place once the form is inside again.
func (l *travelLimit) settle(form int64) {
	if form >= l.least {
		l.low = l.least
	}
	if form <= l.most {
		l.high = l.most
	}
}

// form is the limit's linear form of the counts.
func (c *Controller) form(l *travelLimit) int64 {
	var sum int64
	for _, t := range l.terms {
		sum += int64(t.Weight256) * int64(c.counters[t.Counter].count)
	}
	return sum
}

// relieve readies the limits for the drive to come on.
func (c *Controller) relieve() {
	for i := range c.limits {
		c.limits[i].relieve(c.form(&c.limits[i]))
	}
}

// watchTravel stops the rig when a form is out of bounds while the drive is on.
func (c *Controller) watchTravel() {
	if c.drive == bench.Off {
		return
	}
	for i := range c.limits {
		l := &c.limits[i]
		form := c.form(l)
		l.settle(form)
		if form < l.low || form > l.high {
			c.stop(bench.CauseTravel)
			return
		}
	}
}

// beyondTravel reports whether a form is outside its own bounds.
func (c *Controller) beyondTravel() bool {
	for i := range c.limits {
		if c.limits[i].beyond(c.form(&c.limits[i])) > 0 {
			return true
		}
	}
	return false
}

func (c *Controller) serveTravelLimits(m wire.TravelLimits) wire.Message {
	for _, l := range m.Limits {
		for _, t := range l.Terms {
			if !c.hasCounter(t.Counter) {
				return refuse(m.Type(), bench.ReasonNoSuch, int32(t.Counter))
			}
		}
	}
	c.limits = c.limits[:0]
	for _, l := range m.Limits {
		c.limits = append(c.limits, newTravelLimit(l))
	}
	if c.drive != bench.Off {
		c.relieve()
	}
	return c.ack(c.now)
}
