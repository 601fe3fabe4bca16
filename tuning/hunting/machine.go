package hunting

import (
	"math"

	"trunnion/tuning/pid"
)

// Machine is the axis for a simulation. Positions are in the law's unit, usually counts.
type Machine struct {
	RateGain  float64 // units a second for a ratio of 1
	LagS      float64
	DeadTimeS float64 // of the axis alone: the servo's frame is played out
	FrameS    float64 // of the servo; 0: a pulse is in force at once
	// Ratio is the true ratio at a pulse, in the state in which it comes to rest. Nil takes what the inverse table says, so
	// that table and axis agree.
	Ratio func(pulseUs float64) float64
	// TiltPlayUs is the whole play of servo and linkage, in microseconds of pulse.
	TiltPlayUs float64
	// LostMotion is the whole play between what the loop drives and what the sensor sees.
	LostMotion float64
	Quantum    float64 // step of the sensor; 0: none
	PulseUs    float64 // step of the servo's pulse; 0: none
	// Drift is a steady push, in units a second, while the axis is driven; DriftHeld while it is held in neutral. A worm
	// makes the latter 0.
	Drift, DriftHeld float64
}

func (m Machine) validate() error {
	return firstOf(positive("rate gain", m.RateGain), notNegative("lag", m.LagS), notNegative("dead time", m.DeadTimeS),
		notNegative("frame", m.FrameS), notNegative("play of the tilt", m.TiltPlayUs), notNegative("lost motion", m.LostMotion),
		notNegative("quantum", m.Quantum), notNegative("step of the pulse", m.PulseUs))
}

// Trial is one run of the loop: from rest at 0, the set-point goes to SetPoint at once.
type Trial struct {
	SetPoint  float64
	DurationS float64
	// StepS is the simulation's own step; 0 takes a tenth of the control period, at most 1 ms.
	StepS float64
	// FromPlay is where the driven side stands in its lost motion at the start, from -1 (its lower end) to 1.
	FromPlay float64
}

// Run is what a trial gave, every control period. It is valid until the Loop's next one.
type Run struct {
	PeriodS  float64
	Measured []float64 // what the sensor says
	Driven   []float64 // the side before the lost motion
	Ratio    []float64 // wanted by the controller
	Holding  []bool
}

// Loop runs trials of one law, table and machine, and reuses its buffers. It belongs to one goroutine.
type Loop struct {
	Law     pid.Law
	Table   *pid.Table
	Machine Machine

	run  Run
	wait []float64 // pulses on their way through the dead time
}

const mostStepS = 1e-3

// Run simulates a trial. The axis is propagated exactly over each step for the ratio that holds through it.
func (l *Loop) Run(t Trial) (*Run, error) {
	m := l.Machine
	if err := firstOf(m.validate(), positive("duration", t.DurationS), notNegative("step", t.StepS)); err != nil {
		return nil, err
	}
	controller, err := pid.NewController(l.Law, l.Table, 0)
	if err != nil {
		return nil, err
	}
	perPeriod := l.perPeriod(t)
	step := l.Law.PeriodS / float64(perPeriod)
	l.clear(int(math.Round(m.DeadTimeS / step)))
	axis := newAxis(m, l.Table, step, t.FromPlay)
	perFrame := max(1, int(math.Round(m.FrameS/step)))
	sent := l.Table.Pulse(0)
	inForce, held := sent, false
	for k := range int(math.Ceil(t.DurationS / step)) {
		if k%perPeriod == 0 {
			y := rounded(axis.measured, m.Quantum)
			out := controller.Step(y, t.SetPoint, 0)
			sent, held = rounded(out.PulseUs, m.PulseUs), out.Holding
			l.run.Measured = append(l.run.Measured, axis.measured)
			l.run.Driven = append(l.run.Driven, axis.position)
			l.run.Ratio = append(l.run.Ratio, out.Ratio)
			l.run.Holding = append(l.run.Holding, out.Holding)
		}
		if k%perFrame == 0 {
			inForce = sent
		}
		axis.advance(l.delayed(k, inForce), held)
	}
	return &l.run, nil
}

func (l *Loop) perPeriod(t Trial) int {
	step := t.StepS
	if step == 0 {
		step = min(mostStepS, l.Law.PeriodS/10)
	}
	return max(1, int(math.Round(l.Law.PeriodS/step)))
}

// clear empties the buffers; the pulse on its way is neutral.
func (l *Loop) clear(delay int) {
	l.run = Run{PeriodS: l.Law.PeriodS, Measured: l.run.Measured[:0], Driven: l.run.Driven[:0], Ratio: l.run.Ratio[:0], Holding: l.run.Holding[:0]}
	l.wait = l.wait[:0]
	for range delay {
		l.wait = append(l.wait, l.Table.Pulse(0))
	}
}

// delayed takes the pulse now in force in and gives the one that reaches the axis.
func (l *Loop) delayed(k int, pulse float64) float64 {
	if len(l.wait) == 0 {
		return pulse
	}
	slot := &l.wait[k%len(l.wait)]
	out := *slot
	*slot = pulse
	return out
}

// rounded is v to the nearest multiple of a step, or v itself without one.
func rounded(v, step float64) float64 {
	if step == 0 {
		return v
	}
	return math.Round(v/step) * step
}

// axis is the machine in motion.
type axis struct {
	m                Machine
	ratio            func(float64) float64
	lastPulse, asked float64 // the tilt's last place, and the ratio that it asks for
	speed            float64 // ratio that the output has, behind the lag
	position         float64 // driven side
	measured         float64
	step             float64
	stays, gains     float64 // shares of the speed after a step, and its integral
}

func newAxis(m Machine, table *pid.Table, step, fromPlay float64) *axis {
	a := &axis{m: m, ratio: m.Ratio, step: step, lastPulse: table.Pulse(0)}
	if a.ratio == nil {
		a.ratio = table.Ratio
	}
	a.asked = a.ratio(a.lastPulse)
	a.position = fromPlay * m.LostMotion / 2
	if m.LagS > 0 {
		a.stays = math.Exp(-step / m.LagS)
		a.gains = m.LagS * (1 - a.stays)
	}
	return a
}

// advance lets one step pass with a pulse at the axis.
func (a *axis) advance(pulse float64, held bool) {
	half := a.m.TiltPlayUs / 2
	if tilt := min(max(a.lastPulse, pulse-half), pulse+half); tilt != a.lastPulse {
		a.lastPulse, a.asked = tilt, a.ratio(tilt)
	}
	moved := a.asked*(a.step-a.gains) + a.speed*a.gains
	a.speed = a.asked + (a.speed-a.asked)*a.stays
	drift := a.m.Drift
	if held {
		drift = a.m.DriftHeld
	}
	a.position += a.m.RateGain*moved + drift*a.step
	gap := a.m.LostMotion / 2
	a.measured = min(max(a.measured, a.position-gap), a.position+gap)
}
