package controller

import (
	"math"

	"trunnion/link/wire"
	"trunnion/tuning/bench"
)

// ratioScale is the scale of ratios on the wire.
const ratioScale = 8192

// inverseTable leads from the wanted ratio to a pulse (10.3). It is empty where
// none is in effect.
type inverseTable struct {
	points []bench.TablePoint
	back   int // the inner backward point; the inner forward point is the next
}

func newInverseTable(points []bench.TablePoint) inverseTable {
	t := inverseTable{points: points}
	for i := range points[:len(points)-1] {
		if points[i].RatioQ13 <= 0 {
			t.back = i
		}
	}
	if t.back > 0 && points[t.back].RatioQ13 == 0 && points[t.back-1].RatioQ13 == 0 {
		t.back--
	}
	return t
}

func (t *inverseTable) whole() bool { return len(t.points) > 0 }

// frees reports whether a pulse lies strictly inside the dead band.
func (t *inverseTable) frees(tenths uint16) bool {
	a, b := t.points[t.back].PulseTenths, t.points[t.back+1].PulseTenths
	return tenths > min(a, b) && tenths < max(a, b)
}

// pulse is the pulse in tenths of a microsecond for a ratio, as a real number.
func (t *inverseTable) pulse(u float64, neutral uint16) float64 {
	q := u * ratioScale
	i, step, last := t.back+1, 1, len(t.points)-1
	if u < 0 {
		i, step, last = t.back, -1, 0
	}
	inner := float64(t.points[i].RatioQ13)
	switch {
	case u == 0 || math.Abs(q) < math.Abs(inner)/2:
		return float64(neutral)
	case math.Abs(q) < math.Abs(inner):
		return float64(t.points[i].PulseTenths)
	}
	for ; i != last; i += step {
		next := t.points[i+step]
		if math.Abs(q) > math.Abs(float64(next.RatioQ13)) {
			continue
		}
		from := t.points[i]
		share := (q - float64(from.RatioQ13)) / float64(next.RatioQ13-from.RatioQ13)
		return float64(from.PulseTenths) + share*(float64(next.PulseTenths)-float64(from.PulseTenths))
	}
	return float64(t.points[last].PulseTenths)
}

// partialTable is a table that comes in several messages.
type partialTable struct {
	axis   uint8
	total  uint8
	points []bench.TablePoint
}

func (p *partialTable) forget() { *p = partialTable{} }

// with is the table so far with one more part, and whether the part follows on.
func (p *partialTable) with(m wire.Table) ([]bench.TablePoint, bool) {
	if m.Offset == 0 {
		return m.Points, true
	}
	n := len(p.points)
	if m.Axis != p.axis || m.Total != p.total || int(m.Offset) != n || m.Points[0].RatioQ13 < p.points[n-1].RatioQ13 {
		return nil, false
	}
	return append(p.points[:n:n], m.Points...), true
}

// tableFollows reports whether a part follows on the one before it and, if it is
// the last one, whether the whole is a table. What is none is forgotten.
func (c *Controller) tableFollows(m wire.Table) bool {
	points, follows := c.partial.with(m)
	if !follows {
		return false
	}
	if len(points) == int(m.Total) && !wire.CheckTable(points) {
		c.partial.forget()
		return false
	}
	return true
}

func (c *Controller) serveTable(m wire.Table) wire.Message {
	t := m.Type()
	most := int(c.config.Identity.MostTablePoints)
	switch {
	case most == 0:
		return refuse(t, bench.ReasonUnsupported, 0)
	case !c.hasAxis(m.Axis):
		return refuse(t, bench.ReasonNoSuch, int32(m.Axis))
	case int(m.Total) > most:
		return refuse(t, bench.ReasonFull, int32(most))
	case c.axes[m.Axis].loop.closed:
		return refuse(t, bench.ReasonClosed, int32(m.Axis))
	}
	points, _ := c.partial.with(m)
	if len(points) < int(m.Total) {
		c.partial = partialTable{axis: m.Axis, total: m.Total, points: points}
		return c.ack(c.now)
	}
	c.partial.forget()
	c.axes[m.Axis].loop.table = newInverseTable(points)
	return c.ack(c.now)
}

func (c *Controller) serveReadTable(m wire.ReadTable) wire.Message {
	if !c.hasAxis(m.Axis) {
		return refuse(m.Type(), bench.ReasonNoSuch, int32(m.Axis))
	}
	table := &c.axes[m.Axis].loop.table
	if !table.whole() {
		return refuse(m.Type(), bench.ReasonNoLoop, int32(m.Axis))
	}
	return wire.TableReport{Axis: m.Axis, Total: uint8(len(table.points)), Points: table.points}
}
