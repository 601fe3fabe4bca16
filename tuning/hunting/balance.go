package hunting

import (
	"cmp"
	"math"
	"math/cmplx"
	"slices"

	"trunnion/tuning/pid"
)

// Cycle is a limit cycle that the first harmonic predicts.
type Cycle struct {
	Amplitude float64 `json:"amplitude"` // of the sine that enters the element
	Frequency float64 `json:"frequency_rad_per_s"`
	PeriodS   float64 `json:"period_s"`
	// Stable: the loop comes back to the cycle after a small push, so it will be seen. An unstable one parts starts that
	// die out from starts that grow.
	Stable bool `json:"stable"`
}

const (
	sweepRatio = 1.01 // of neighbouring frequencies
	sweepTurn  = 0.05 // rad of dead time between neighbours
	sweepBelow = 1e-4 // the sweep starts so far below the frequency at which the loop turns by half a turn or crosses 1
	sweepAbove = 30.0
	sweepMost  = 100_000
)

// LimitCycles solves L(jw) N(A) = -1 for all amplitudes and frequencies, in ascending amplitude. loop is all of the loop
// but the element, and must be stable with the element at its greatest gain for the answers to mean what they say.
func LimitCycles(loop pid.Transfer, e Element) ([]Cycle, error) {
	if err := e.Validate(); err != nil {
		return nil, err
	}
	m, err := pid.MarginsOf(loop)
	if err != nil {
		return nil, err
	}
	b := balance{loop: loop, element: e}
	if b.real() {
		for _, c := range m.PhaseCrossings {
			b.atCrossing(c)
		}
	} else {
		b.sweep(m)
	}
	slices.SortFunc(b.found, func(x, y Cycle) int { return cmp.Compare(x.Amplitude, y.Amplitude) })
	return b.found, nil
}

// balance is one solution in progress.
type balance struct {
	loop    pid.Transfer
	element Element
	found   []Cycle
}

// real tells whether the element never turns the phase.
func (b *balance) real() bool {
	switch e := b.element.(type) {
	case DeadZone, Saturation:
		return true
	case Relay:
		return e.Hysteresis == 0
	}
	return false
}

// atCrossing finds the amplitudes at which a real element has the gain that brings a phase crossing onto -1. All of
// these rise or fall with the amplitude throughout.
func (b *balance) atCrossing(c pid.PhaseCrossing) {
	if c.Frequency == 0 {
		return
	}
	least := max(b.element.Least(), 1e-300)
	gap := func(logA float64) float64 { return real(b.element.Describe(math.Exp(logA))) - c.GainMargin }
	unit := least
	switch e := b.element.(type) {
	case Saturation:
		unit = e.Limit
	case Relay:
		unit = e.Height / c.GainMargin
	}
	if x, found := signChange(gap, math.Log(unit)-1e-12, math.Log(unit)+40); found {
		b.keep(math.Exp(x), c.Frequency)
	} else if x, found := signChange(gap, math.Log(unit)-40, math.Log(unit)); found {
		b.keep(math.Exp(x), c.Frequency)
	}
}

// sweep goes through the frequencies: at each the phase of the loop asks for one of the element, and with it an
// amplitude; where the gains then multiply to 1 is a cycle.
func (b *balance) sweep(m pid.Margins) {
	centre := math.Inf(1)
	for _, c := range m.PhaseCrossings {
		if c.Frequency > 0 {
			centre = min(centre, c.Frequency)
		}
	}
	for _, c := range m.GainCrossings {
		centre = min(centre, c.Frequency)
	}
	if math.IsInf(centre, 1) {
		centre = 1 / max(b.loop.DeadTimeS, 1e-3)
	}
	lastW, last, had := 0.0, 0.0, false
	w := centre * sweepBelow
	for i := 0; i < sweepMost && w < centre*sweepAbove; i++ {
		value, ok := b.excess(w)
		if ok && had && (value < 0) != (last < 0) {
			if at, found := signChange(func(x float64) float64 { v, _ := b.excess(x); return v }, lastW, w); found {
				if a, ok := b.amplitude(at); ok {
					b.keep(a, at)
				}
			}
		}
		lastW, last, had = w, value, ok
		step := w * (sweepRatio - 1)
		if b.loop.DeadTimeS > 0 {
			step = min(step, sweepTurn/b.loop.DeadTimeS)
		}
		w += step
	}
}

// excess is the logarithm of |L N| at the amplitude that the phase asks for; false where no amplitude has that phase.
func (b *balance) excess(w float64) (float64, bool) {
	a, ok := b.amplitude(w)
	if !ok {
		return 0, false
	}
	return math.Log(cmplx.Abs(b.loop.At(w)) * cmplx.Abs(b.element.Describe(a))), true
}

// amplitude is that at which L N is real and negative.
func (b *balance) amplitude(w float64) (float64, bool) {
	asked := cmplx.Phase(-1 / b.loop.At(w)) // of N
	if !(asked < 0 && asked > -math.Pi/2) {
		return 0, false
	}
	if r, is := b.element.(Relay); is {
		return r.Hysteresis / math.Sin(-asked), true
	}
	least := b.element.Least()
	x, found := signChange(func(x float64) float64 {
		return cmplx.Phase(b.element.Describe(least*(1+math.Exp(x)))) - asked
	}, -30, 40)
	return least * (1 + math.Exp(x)), found
}

// keep notes a cycle. It is stable if more amplitude damps: with U + jV = 1 + N(A) L(jw), if U_A V_w - V_A U_w > 0
// (Loeb).
func (b *balance) keep(a, w float64) {
	const share = 1e-6
	f := func(a, w float64) complex128 { return 1 + b.element.Describe(a)*b.loop.At(w) }
	byA := f(a*(1+share), w) - f(a*(1-share), w)
	byW := f(a, w*(1+share)) - f(a, w*(1-share))
	b.found = append(b.found, Cycle{
		Amplitude: a, Frequency: w, PeriodS: 2 * math.Pi / w,
		Stable: real(byA)*imag(byW)-imag(byA)*real(byW) > 0,
	})
}

// signChange finds where f changes sign between a and b, by bisection to rounding error.
func signChange(f func(float64) float64, a, b float64) (float64, bool) {
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a, true
	}
	if (fa < 0) == (fb < 0) {
		return 0, false
	}
	for range 100 {
		middle := a + (b-a)/2
		if middle == a || middle == b {
			break
		}
		if fm := f(middle); (fm < 0) == (fa < 0) {
			a = middle
		} else {
			b = middle
		}
	}
	return a + (b-a)/2, true
}
