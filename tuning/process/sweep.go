package process

import "math"

// sweeper gives the lag's answer to a path at times that rise. The answers to the path's pieces are sums of powers and
// of decaying exponentials of one rate, so all pieces passed are carried on together: a time costs one exponential, or
// none where it is as far on as the last one was, instead of one for every piece.
type sweeper struct {
	p      *path
	lag    float64
	origin float64 // when the path begins, dead time included
	slow   bool    // no lag to speak of: each time is computed by itself
	dead   float64

	since     float64 // of the last time
	next      int     // node not yet passed
	b0, b1    float64 // sums over the nodes passed of bend, and of bend x node
	b2        float64 // and of bend x node^2
	s0, s1    float64 // of bend x decay, and of bend x time since the node x decay
	jump      float64 // decay of the jump
	jumped    bool
	lastStep  float64
	lastDecay float64
}

// sameStep is how near two times' distances must be to count as one: what rounding makes of times up to a few minutes.
const sameStep = 2e-14

func (p *path) sweep(deadS, lagS float64) sweeper {
	return sweeper{p: p, lag: lagS, origin: p.atS + deadS, dead: deadS, slow: lagS < leastLag, lastStep: math.NaN()}
}

// decay over a step of time.
func (s *sweeper) decay(step float64) float64 {
	if !(math.Abs(step-s.lastStep) <= sameStep) {
		s.lastStep, s.lastDecay = step, math.Exp(-step/s.lag)
	}
	return s.lastDecay
}

// at is path.at for a time no earlier than the last one.
func (s *sweeper) at(t float64) lagged {
	since := t - s.origin
	if since <= 0 {
		return lagged{}
	}
	if s.slow {
		return s.p.at(t, s.dead, s.lag)
	}
	if len(s.p.nodes) == 0 {
		return s.atJump(since)
	}
	if s.next > 0 {
		step := since - s.since
		e := s.decay(step)
		s.s1 = (s.s1 + step*s.s0) * e
		s.s0 *= e
	}
	for s.next < len(s.p.nodes) && s.p.nodes[s.next] < since {
		node, bend := s.p.nodes[s.next], s.p.bends[s.next]
		x := since - node
		e := math.Exp(-x / s.lag)
		s.b0, s.b1, s.b2 = s.b0+bend, s.b1+bend*node, s.b2+bend*node*node
		s.s0, s.s1 = s.s0+bend*e, s.s1+bend*x*e
		s.next++
	}
	s.since = since
	x1 := s.b0*since - s.b1
	x2 := (s.b0*since-2*s.b1)*since + s.b2
	gone := s.b0 - s.s0
	return lagged{
		rise:       x1 - s.lag*gone,
		integral:   x2/2 - s.lag*(x1-s.lag*gone),
		riseByLag:  s.s1/s.lag - gone,
		integByLag: -x1 + 2*s.lag*gone - s.s1,
		slope:      gone,
	}
}

// atJump is that of a path that is one jump.
func (s *sweeper) atJump(since float64) lagged {
	if s.jumped {
		s.jump *= s.decay(since - s.since)
	} else {
		s.jump, s.jumped = math.Exp(-since/s.lag), true
	}
	s.since = since
	k, q := s.p.jump, since/s.lag
	gone := 1 - s.jump
	if q < 0.01 { // where 1 - e^-q loses digits
		gone = -math.Expm1(-q)
	}
	return lagged{
		rise:       k * gone,
		integral:   k * (since - s.lag*gone),
		riseByLag:  -k * s.jump * q / s.lag,
		integByLag: k * (s.jump*q - gone),
		slope:      k * s.jump / s.lag,
	}
}
