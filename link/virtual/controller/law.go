package controller

import "trunnion/link/wire"

// Positions in the law are whole numbers of 1/16000 count, so that a set-point
// in 1/16 count that moves for whole milliseconds stays exact.
const (
	fine      = 16000 // in a count
	perWire   = 1000  // in 1/16 count
	wholeTurn = fine << 32
)

// apart is a - b where positions wrap with the counts, modulo 2^32 counts.
func apart(a, b int64) int64 {
	d := (a - b) % wholeTurn
	switch {
	case d >= wholeTurn/2:
		d -= wholeTurn
	case d < -wholeTurn/2:
		d += wholeTurn
	}
	return d
}

// law is the control law of 10.2 with its parameters: s, counts, ratios.
type law struct {
	h, tf, tt     float64
	kp, ki, kd    float64
	weight, ff    float64
	least, most   float64
	zone, release int64 // 1/16000 count
	quietPeriods  int   // N
	periodMillis  int64
	integral      float64
	derivative    float64
	yLast, rLast  int64 // 1/16000 count
	origin        int64 // r0
	quiet         int   // Q
	holding       bool
}

func newLaw(g wire.LoopGains) law {
	h := int64(g.PeriodMillis)
	return law{
		h: float64(h) / 1e3, tf: float64(g.FilterTenthMillis) / 1e4, tt: float64(g.TrackingMillis) / 1e3,
		kp: g.Kp.Float(), ki: g.Ki.Float(), kd: g.Kd.Float(),
		weight: float64(g.SetPointWeight1000) / 1e3, ff: g.FeedForward.Float(),
		least: float64(g.RatioLeastQ13) / ratioScale, most: float64(g.RatioMostQ13) / ratioScale,
		zone: int64(g.HoldZoneCounts) * fine, release: int64(g.HoldReleaseCounts) * fine,
		quietPeriods: max(1, int((int64(g.HoldDelayMillis)+h-1)/h)),
		periodMillis: h,
	}
}

// begin is the closing of the loop with measured value y.
func (l *law) begin(y int64) {
	l.integral, l.derivative = 0, 0
	l.yLast, l.rLast, l.origin = y, y, y
	l.quiet, l.holding = 0, false
}

// step is one period with measured value y, set-point r and its rate in counts
// a second. It returns the wanted ratio, and whether the axis is held, in which
// case the pulse is the neutral one. The numbers are those of 10.2.
func (l *law) step(y, r int64, rate float64) (u float64, holding bool) {
	e := apart(r, y)                   // 1
	l.differentiate(apart(y, l.yLast)) // 2
	rest := r == l.rLast && rate == 0  // 3
	l.watch(e, rest)                   // 3, 4
	if !l.holding {                    // 6, else 5
		u = l.ratio(e, apart(r, l.origin), rate)
	}
	l.yLast, l.rLast = y, r // 7
	return u, l.holding
}

func (l *law) differentiate(gone int64) {
	if l.kd == 0 {
		l.derivative = 0
		return
	}
	l.derivative = (l.tf*l.derivative - l.kd*float64(gone)/fine) / (l.tf + l.h)
}

// watch counts quiet periods and decides whether the axis is held.
func (l *law) watch(e int64, rest bool) {
	far := max(e, -e)
	if l.zone > 0 && rest && far <= l.zone {
		l.quiet = min(l.quiet+1, l.quietPeriods)
	} else {
		l.quiet = 0
	}
	if l.holding && (!rest || far > l.release) {
		l.holding = false
	}
	if !l.holding && l.zone > 0 && l.quiet >= l.quietPeriods {
		l.holding = true
	}
}

func (l *law) ratio(e, fromOrigin int64, rate float64) float64 {
	v := l.kp*(float64(e)-(1-l.weight)*float64(fromOrigin))/fine + l.integral + l.derivative + l.ff*rate
	u := min(max(v, l.least), l.most)
	if l.ki > 0 {
		l.integral += l.h * (l.ki*float64(e)/fine + (u-v)/l.tt)
	}
	return u
}
