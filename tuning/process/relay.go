package process

import (
	"math"

	"trunnion/tuning/pid"
)

// RelayCycle is how a process goes to and fro under a relay: the greatest deviation to either side, and the period.
type RelayCycle struct {
	Amplitude float64
	PeriodS   float64
}

// RelayOnFirstOrder is the exact cycle of a first-order process with dead time under a relay of plus and minus height
// that changes over at hysteresis beyond the middle, without a bias: between changes the output is an exponential, so
// amplitude and period follow in closed form (without hysteresis as in Wang, Hang and Zou 1997, from memory; with it
// derived anew). The first harmonic, by contrast, is up to 18 % off in the gain. It needs gain x height > hysteresis.
func RelayOnFirstOrder(p pid.FirstOrder, height, hysteresis float64) (RelayCycle, error) {
	if err := relayInput(p, height, hysteresis); err != nil {
		return RelayCycle{}, err
	}
	most := p.Gain * height // where the output would come to rest
	if most <= hysteresis {
		return RelayCycle{}, &InputError{-1, "the relay moves the output no farther than its hysteresis, so it never changes over"}
	}
	if p.TimeConstantS == 0 {
		return RelayCycle{Amplitude: most, PeriodS: 2 * p.DeadTimeS}, nil
	}
	a := most - (most-hysteresis)*math.Exp(-p.DeadTimeS/p.TimeConstantS)
	half := p.DeadTimeS + p.TimeConstantS*math.Log((most+a)/(most-hysteresis))
	return RelayCycle{Amplitude: a, PeriodS: 2 * half}, nil
}

// RelayOnIntegrating is that of an integrating process without lag: between changes the output is straight.
func RelayOnIntegrating(p pid.Integrating, height, hysteresis float64) (RelayCycle, error) {
	if err := relayInput(p, height, hysteresis); err != nil {
		return RelayCycle{}, err
	}
	if p.LagS != 0 {
		return RelayCycle{}, &InputError{-1, "the closed form is of an integrating process without lag"}
	}
	slope := p.RateGain * height
	return RelayCycle{Amplitude: slope*p.DeadTimeS + hysteresis, PeriodS: 4*p.DeadTimeS + 4*hysteresis/slope}, nil
}

func relayInput(p pid.Process, height, hysteresis float64) error {
	switch {
	case !(height > 0) || math.IsInf(height, 1):
		return &InputError{-1, "the relay's height must be positive and finite"}
	case !(hysteresis >= 0):
		return &InputError{-1, "the relay's hysteresis must be nought or positive"}
	}
	return p.Validate()
}

// FirstOrderFromRelay turns RelayOnFirstOrder round: lag and dead time from amplitude and period, the static gain being
// known from elsewhere (for an axis the ratio curve gives it).
func FirstOrderFromRelay(c RelayCycle, gain, height, hysteresis float64) (pid.FirstOrder, error) {
	most := gain * height
	if !(c.Amplitude > hysteresis) || !(c.Amplitude < most) || !(c.PeriodS > 0) {
		return pid.FirstOrder{}, &InputError{-1, "the amplitude must lie between the relay's hysteresis and the gain times its height, and the period be positive"}
	}
	share := math.Log((most - hysteresis) / (most - c.Amplitude)) // dead time over lag
	lag := c.PeriodS / 2 / (share + math.Log((most+c.Amplitude)/(most-hysteresis)))
	return pid.FirstOrder{Gain: gain, TimeConstantS: lag, DeadTimeS: share * lag}, nil
}

// IntegratingFromRelay turns RelayOnIntegrating round: rate gain and dead time from amplitude and period.
func IntegratingFromRelay(c RelayCycle, height, hysteresis float64) (pid.Integrating, error) {
	if !(c.Amplitude > hysteresis) || !(c.PeriodS > 0) || !(height > 0) || !(hysteresis >= 0) {
		return pid.Integrating{}, &InputError{-1, "the amplitude must be above the relay's hysteresis, and period and height positive"}
	}
	// a - e = k'd L and P/4 = L + e/(k'd), so P/4 = L (1 + e/(a - e)) = L a/(a - e)
	dead := c.PeriodS / 4 * (c.Amplitude - hysteresis) / c.Amplitude
	return pid.Integrating{RateGain: (c.Amplitude - hysteresis) / (height * dead), DeadTimeS: dead}, nil
}

// UltimateByFirstHarmonic is the usual estimate of the ultimate point from a relay's cycle: 4 d/(pi sqrt(a^2 - e^2)) and
// the period itself (Astrom and Hagglund, Automatica 20 (1984) 645).
func UltimateByFirstHarmonic(c RelayCycle, height, hysteresis float64) (pid.UltimatePoint, error) {
	if !(c.Amplitude > hysteresis) || !(c.PeriodS > 0) || !(height > 0) || !(hysteresis >= 0) {
		return pid.UltimatePoint{}, &InputError{-1, "the amplitude must be above the relay's hysteresis, and period and height positive"}
	}
	return pid.UltimatePoint{Gain: 4 * height / (math.Pi * math.Sqrt(c.Amplitude*c.Amplitude-hysteresis*hysteresis)), PeriodS: c.PeriodS}, nil
}
