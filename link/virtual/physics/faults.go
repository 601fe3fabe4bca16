package physics

import (
	"errors"
	"fmt"
	"slices"
)

// Fault is a change for the worse at a time of the plant.
type Fault struct {
	Name     string  // one of Faults
	Of       int     // axis, joint or counter, as the name says
	Size     float64 // meaning and unit depend on the name
	AtMicros int64
}

// FaultError is a fault that cannot be injected.
type FaultError struct {
	Fault Fault
	Err   error
}

func (e *FaultError) Error() string {
	return fmt.Sprintf("fault %q on %d: %v", e.Fault.Name, e.Fault.Of, e.Err)
}

func (e *FaultError) Unwrap() error { return e.Err }

// Why a fault is refused.
var (
	ErrUnknownFault = errors.New("no such fault; Faults lists them")
	ErrNoSuchPart   = errors.New("the machine has no such part")
)

type faultKind struct {
	means string
	count func(*Machine) int // how many there are to strike
	apply func(p *Plant, f Fault)
}

func axisCount(m *Machine) int    { return len(m.Axes) }
func counterCount(m *Machine) int { return len(m.Counters) }
func one(*Machine) int            { return 1 }

var faultKinds = map[string]faultKind{
	"contact pressure": {"axis; both pressing forces times size", axisCount, func(p *Plant, f Fault) {
		v := &p.machine.Axes[f.Of].Variator
		v.InputNormalN *= f.Size
		v.OutputNormalN *= f.Size
	}},
	"contact loss": {"axis; depth of a contact loss over a quarter of the ball's turn", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Variator.Loss = Loss{Depth: f.Size, WidthTurns: 0.25}
	}},
	"oil": {"axis; traction coefficient times size", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Variator.Friction *= f.Size
	}},
	"drive runout": {"axis; once a turn, fraction of the radius", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Variator.DriveRunout.Once = f.Size
	}},
	"horn slip": {"axis; degrees by which the horn slips on the servo's shaft", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Servo.HornSlipDegrees += f.Size
	}},
	"play": {"axis; degrees of play in the linkage", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Servo.PlayDegrees = f.Size
	}},
	"servo dead": {"axis; the servo no longer answers", axisCount, func(p *Plant, f Fault) {
		p.axes[f.Of].servo.dead = true
	}},
	"output friction": {"axis; friction of the output times size", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Output.FrictionNM *= f.Size
	}},
	"lost motion": {"axis; turns of the output", axisCount, func(p *Plant, f Fault) {
		p.machine.Axes[f.Of].Output.LostMotionTurns = f.Size
	}},
	"joint friction": {"joint; friction of the joint times size", axisCount, func(p *Plant, f Fault) {
		p.machine.Joints[f.Of].FrictionN *= f.Size
		p.machine.Joints[f.Of].FrictionNM *= f.Size
	}},
	"drive speed": {"0; no-load speed and stall torque times size", one, func(p *Plant, f Fault) {
		p.machine.Drive.NoLoadRPM *= f.Size
		p.machine.Drive.StallTorqueNM *= f.Size
	}},
	"counter dead": {"counter; counts no more", counterCount, func(p *Plant, f Fault) {
		p.sensors[f.Of].dead = true
	}},
	"counter misses": {"counter; fraction of the edges", counterCount, func(p *Plant, f Fault) {
		p.machine.Counters[f.Of].MissedFraction = f.Size
	}},
}

// Faults lists the names that Inject knows, each with what Of and Size mean.
func Faults() map[string]string {
	names := make(map[string]string, len(faultKinds))
	for name, kind := range faultKinds {
		names[name] = kind.means
	}
	return names
}

// Inject plans a fault. It strikes when the plant reaches its time, or at the
// next step if that has passed. The error is a *FaultError.
func (p *Plant) Inject(f Fault) error {
	kind, known := faultKinds[f.Name]
	if !known {
		return &FaultError{f, ErrUnknownFault}
	}
	if f.Of < 0 || f.Of >= kind.count(&p.machine) {
		return &FaultError{f, ErrNoSuchPart}
	}
	trial := p.Clone()
	kind.apply(trial, f)
	if err := trial.machine.Validate(); err != nil {
		return &FaultError{f, err}
	}
	p.faults = append(p.faults, f)
	slices.SortStableFunc(p.faults, func(a, b Fault) int { return int(a.AtMicros - b.AtMicros) })
	return nil
}

// applyFaults strikes with what is due and returns the time to the next one.
func (p *Plant) applyFaults() int64 {
	for len(p.faults) > 0 && p.faults[0].AtMicros <= p.now {
		faultKinds[p.faults[0].Name].apply(p, p.faults[0])
		p.faults = p.faults[1:]
		p.configure()
	}
	for i := range p.axes {
		p.axes[i].servo.turn(p.axes[i].servo.angle)
	}
	if len(p.faults) == 0 {
		return p.step
	}
	return p.faults[0].AtMicros - p.now
}
