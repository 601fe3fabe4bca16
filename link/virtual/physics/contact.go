package physics

import "math"

// The constants of a circular Hertz patch of radius a, pressed with N, under
// Coulomb friction mu, that slides at v and spins at w about its normal. With
// the pressure p = p0 sqrt(1 - (r/a)^2), N = (2/3) pi a^2 p0:
//
//   - Slow slip on fast spin: the traction is mu times the integral of
//     p v cos^2(t) / (w r) over the patch = mu N v 3 pi / (8 a w). So the
//     curve starts as mu N v / vc with vc = (8 / 3 pi) a w.
//   - Pure spin: the moment is mu times the integral of p r = (3 pi / 16) mu N a.
//   - Slow spin on fast slip: mu (w / v) N <x^2> with <x^2> = a^2 / 5, that is
//     mu N a (a w / v) / 5.
//
// Between these limits both go as x / sqrt(x^2 + xc^2), which meets each limit.
// Against the patch integrated in the test the traction is then up to 14 % low
// halfway and the moment, a small loss, up to 29 %.
const (
	spinSlip   = 8 / (3 * math.Pi)
	spinMoment = 3 * math.Pi / 16
	slipOnSpin = spinMoment * 5

	// restSlip keeps the curves finite where nothing moves, m/s. Below it a
	// contact acts as a stiff damper instead of a spring.
	restSlip = 2e-5
)

// slipScale is the slip speed in m/s over which traction builds up: elastic
// creep in proportion to the rolling speed (m/s), and the patch's own spin
// (rad/s) over its radius (m). That the two add is a choice of this model.
func slipScale(elasticCreep, rolling, patch, spin float64) float64 {
	return elasticCreep*math.Abs(rolling) + spinSlip*patch*math.Abs(spin) + restSlip
}

// slipDamping is traction over slip speed, N s/m, at a slip speed: the limit
// mu N over the root of the squares of slip and scale. Times the slip it never
// exceeds the limit.
func slipDamping(limit, slip, scale float64) float64 {
	return limit / math.Sqrt(slip*slip+scale*scale)
}

// spinDamping is the moment that resists spin over the spin, N m s.
func spinDamping(limit, patch, slip, spin float64) float64 {
	u, v := patch*spin, slipOnSpin*slip
	return spinMoment * limit * patch * patch / math.Sqrt(u*u+v*v+restSlip*restSlip)
}

// offCap is the share of a patch's load that lies beyond a bare cap's edge,
// x patch radii from the patch's middle (positive: the middle is outside). A
// Hertz patch cut by a straight chord: its line load goes as 1 - x^2, so the
// share is 1/2 + (3 x - x^3) / 4. The cap is taken as wide beside the patch.
func offCap(x float64) float64 {
	switch {
	case x >= 1:
		return 1
	case x <= -1:
		return 0
	}
	return 0.5 + (3-x*x)*x/4
}

// ripple is a runout made ready: the radius factor is 1 + sum of
// c[k] cos((k+1) t) + s[k] sin((k+1) t).
type ripple struct {
	flat bool
	c, s [3]float64
}

func newRipple(r Runout) ripple {
	out := ripple{flat: r.Once == 0 && r.Twice == 0 && r.Thrice == 0}
	for k, amplitude := range [3]float64{r.Once, r.Twice, r.Thrice} {
		phase := 2 * math.Pi * r.PhasesTurns[k] * float64(k+1)
		out.c[k] = amplitude * math.Cos(phase)
		out.s[k] = amplitude * math.Sin(phase)
	}
	return out
}

// at returns the radius factor at an angle in radians.
func (r *ripple) at(angle float64) float64 {
	if r.flat {
		return 1
	}
	s1, c1 := math.Sincos(angle)
	c2, s2 := 2*c1*c1-1, 2*s1*c1
	c3, s3 := c1*c2-s1*s2, s1*c2+c1*s2
	return 1 + r.c[0]*c1 + r.s[0]*s1 + r.c[1]*c2 + r.s[1]*s2 + r.c[2]*c3 + r.s[2]*s3
}

// pressed is the share of the pressing force that is left at a phase of the
// ball's turn, radians.
func (l *Loss) pressed(phase float64) float64 {
	if l.Depth == 0 {
		return 1
	}
	t := phase/(2*math.Pi) - l.StartTurns
	t -= math.Floor(t)
	if t >= l.WidthTurns {
		return 1
	}
	s := math.Sin(math.Pi * t / l.WidthTurns)
	return 1 - l.Depth*s*s
}
