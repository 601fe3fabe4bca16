package process

import "math"

// path is the way of the wanted ratio from its first to its last value: a jump, or pieces of constant slope.
type path struct {
	atS   float64
	jump  float64   // of the ratio, all at once
	nodes []float64 // times after atS at which the slope changes
	bends []float64 // by how much, ratio a second
}

// slewPieces is how many straight pieces stand for the ratio curve while the servo slews. The curve's bend over a piece is
// then less than a hundredth of its bend over the step.
const slewPieces = 12

// newPath is the way of a step.
func newPath(st Step, s Settings) path {
	rise := st.ToRatio - st.FromRatio
	if s.SlewUsPerS == 0 {
		return path{atS: st.AtS, jump: rise}
	}
	p := path{atS: st.AtS}
	lastsS := math.Abs(st.ToPulseUs-st.FromPulseUs) / s.SlewUsPerS
	share := func(x float64) float64 { return x }
	if s.Curve != nil {
		from, to := s.Curve(st.FromPulseUs), s.Curve(st.ToPulseUs)
		if to != from && !math.IsNaN(to-from) {
			share = func(x float64) float64 {
				return (s.Curve(st.FromPulseUs+x*(st.ToPulseUs-st.FromPulseUs)) - from) / (to - from)
			}
		}
	}
	slope := 0.0
	for k := range slewPieces {
		x0, x1 := float64(k)/slewPieces, float64(k+1)/slewPieces
		next := rise * (share(x1) - share(x0)) / (lastsS / slewPieces)
		p.nodes, p.bends = append(p.nodes, lastsS*x0), append(p.bends, next-slope)
		slope = next
	}
	p.nodes, p.bends = append(p.nodes, lastsS), append(p.bends, -slope)
	return p
}

// lagged is the answer of a lag to the path at one time: the ratio's rise, its integral over time, and the derivative of
// both by the lag. The derivative of the integral by the dead time is minus the rise.
type lagged struct {
	rise, integral        float64
	riseByLag, integByLag float64
	slope                 float64 // of the rise by time
}

// at returns the answer at time t for dead time and lag, K being 1.
func (p *path) at(t, deadS, lagS float64) lagged {
	var sum lagged
	since := t - p.atS - deadS
	if p.jump != 0 && since > 0 {
		sum.add(jumpAnswer(since, lagS), p.jump)
	}
	for k, node := range p.nodes {
		if since > node {
			sum.add(rampAnswer(since-node, lagS), p.bends[k])
		}
	}
	return sum
}

func (l *lagged) add(o lagged, k float64) {
	l.rise += k * o.rise
	l.integral += k * o.integral
	l.riseByLag += k * o.riseByLag
	l.integByLag += k * o.integByLag
	l.slope += k * o.slope
}

// leastLag is the lag below which there is none.
const leastLag = 1e-9

// jumpAnswer is the answer to a unit jump, a time x > 0 after it.
func jumpAnswer(x, lag float64) lagged {
	if lag < leastLag {
		return lagged{rise: 1, integral: x, integByLag: -1}
	}
	q := x / lag
	gone := -math.Expm1(-q)
	rest := 1 - gone
	return lagged{
		rise:       gone,
		integral:   x - lag*gone,
		riseByLag:  -rest * q / lag,
		integByLag: rest*q - gone,
		slope:      rest / lag,
	}
}

// rampAnswer is the answer to a unit ramp, a time x > 0 after its start: the integral of jumpAnswer.
func rampAnswer(x, lag float64) lagged {
	if lag < leastLag {
		return lagged{rise: x, integral: x * x / 2, riseByLag: -1, integByLag: -x, slope: 1}
	}
	q := x / lag
	gone := -math.Expm1(-q)
	rest := 1 - gone
	return lagged{
		rise:       x - lag*gone,
		integral:   x*x/2 - lag*(x-lag*gone),
		riseByLag:  rest*q - gone,
		integByLag: -x + 2*lag*gone - x*rest,
		slope:      gone,
	}
}
