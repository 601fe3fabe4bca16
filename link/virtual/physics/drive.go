package physics

import "math"

// drive is the motor and shaft made ready (SI) and their state.
type drive struct {
	noLoad, stall, inertia, friction, viscous, brake float64
	reversible                                       bool

	direction int
	speed     float64
	angle     float64
	wander    wander

	motor float64 // torque of the motor in the step, N m
	held  float64 // dry friction in use, N m, signed
}

func (d *drive) configure(m Drive) {
	d.noLoad, d.stall, d.inertia = m.NoLoadRPM*rpm, m.StallTorqueNM, m.InertiaKGM2
	d.friction, d.viscous, d.brake = m.FrictionNM, m.ViscousNMS, m.BrakeFraction
	d.reversible = m.Reversible
	d.wander.configure(m.WanderRMS, m.WanderSeconds)
}

// line is the motor's torque line now: torque at rest (N m) and its fall with
// speed (N m s).
func (d *drive) line() (atRest, fall float64) {
	fall = d.stall / d.noLoad
	if d.direction == 0 {
		return 0, fall * d.brake
	}
	return float64(d.direction) * d.stall * (1 + d.wander.now), fall
}

// wander is slow noise: white noise through a first-order lag of the
// correlation time, then through one of a quarter of it, drawn every tick and
// joined by straight lines, so that it does not depend on the step.
type wander struct {
	keep, draw, smooth float64
	raw, from, to      float64
	now                float64
	left               float64 // of the tick, s
	chance             chance
}

const wanderTick = 0.02 // s

func (w *wander) configure(rms, seconds float64) {
	w.keep, w.draw, w.smooth = 0, 0, 1
	if rms <= 0 || seconds <= 0 {
		return
	}
	w.keep = math.Exp(-wanderTick / seconds)
	w.smooth = 1 - math.Exp(-4*wanderTick/seconds)
	// The second lag leaves 4/5 of the variance.
	w.draw = rms * math.Sqrt(1.25*(1-w.keep*w.keep))
}

// step moves the noise on by h seconds.
func (w *wander) step(h float64) {
	if w.draw == 0 {
		w.now = 0
		return
	}
	w.left -= h
	for w.left < -1e-12 {
		w.raw = w.keep*w.raw + w.draw*w.chance.NormFloat64()
		w.from, w.to = w.to, w.to+w.smooth*(w.raw-w.to)
		w.left += wanderTick
	}
	w.now = w.to + (w.from-w.to)*w.left/wanderTick
}
