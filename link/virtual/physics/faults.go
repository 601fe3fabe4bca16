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
		for i := range p.sensors {
			p.sensors[i].resume(p.watched(&p.sensors[i]))
		}
	}
	for i := range p.axes {
		p.axes[i].servo.turn(p.axes[i].servo.angle)
	}
	if len(p.faults) == 0 {
		return p.step
	}
	return p.faults[0].AtMicros - p.now
}
