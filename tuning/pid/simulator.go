package pid

import "math"

// Simulator computes step responses of linear loops with exact dead time. Within a step the process, integral and
// filter are propagated exactly by the matrix exponential; the delayed ratio enters as a quintic through its value and
// first two derivatives at both ends of the step. Steps divide the dead time, so every kink falls on a grid point, where
// both one-sided derivatives are kept. A Simulator reuses its buffers: it is for one goroutine, and a Response that it
// returned is valid until the next call.
type Simulator struct {
	// StepsPerDelay is the least number of steps in a dead time; 0 means 20. The filter time adds more.
	StepsPerDelay int
	// HorizonS ends a response that has not settled; 0 means 400 dead times or 40 of the process's longest time constant,
	// whichever is longer.
	HorizonS float64
	// Tolerance is the share of the step below which error and drift must stay for the response to count as over; 0
	// means 1e-6. Where it is negative, exactly HorizonS is computed.
	Tolerance float64

	out Response
}

// ends are value and first two derivatives (in steps) of a signal at the start and the end of a step.
type ends struct{ v0, d0, s0, v1, d1, s1 float64 }

// Event is what happens at time 0 to a loop at rest.
type Event int

// The two steps of a loop at rest.
const (
	SetPointStep Event = iota // the set-point rises by 1
	LoadStep                  // 1 is added to the ratio that reaches the process
)

// Status is how a response ended.
type Status int

const (
	Settled     Status = iota // the response came to rest
	HorizonOver               // it was still moving at the horizon
	Diverged                  // it left all bounds: the loop is unstable
)

func (s Status) String() string {
	return [...]string{"settled", "still moving at the horizon", "diverged"}[s]
}

// Response is a step response on a uniform grid.
type Response struct {
	Event   Event
	Status  Status
	Final   float64   // value at which the output rests, or would
	StepS   float64   // time between points
	Output  []float64 // measured value at k StepS
	Control []float64 // ratio at k StepS, just after
	y, u    []ends    // output and ratio within each step
}

// DurationS is the time that the response covers.
func (r *Response) DurationS() float64 { return float64(len(r.y)) * r.StepS }

const (
	defaultStepsPerDelay = 20
	horizonDelays        = 400
	horizonLags          = 40
	defaultTolerance     = 1e-6
	stepsPerFilter       = 2    // the quintic follows an exponential of two steps to 1e-7
	mostSteps            = 4000 // per dead time
	divergence           = 1e6  // times what the first ten dead times show
)

// Run computes the response of a tuning on a process to an event.
func (s *Simulator) Run(t Tuning, p Process, event Event) (*Response, error) {
	if err := t.Validate(); err != nil {
		return nil, err
	}
	if err := p.Validate(); err != nil {
		return nil, err
	}
	transfer := p.Transfer()
	if err := transfer.Validate(); err != nil {
		return nil, err
	}
	h, perDelay := s.step(t, transfer)
	l, err := newLinear(t, transfer, h)
	if err != nil {
		return nil, err
	}
	if perDelay == 0 {
		l.close()
	}
	s.begin(l, event, h)
	run := newRun(s, l, event, perDelay, transfer)
	run.execute()
	return &s.out, nil
}

// step chooses the step and how many make a dead time. Without dead time it is a share of the shortest time.
func (s *Simulator) step(t Tuning, p Transfer) (h float64, perDelay int) {
	per := s.StepsPerDelay
	if per <= 0 {
		per = defaultStepsPerDelay
	}
	shortest, _ := timeConstants(p)
	if t.Gains.Kd > 0 && t.FilterTimeS > 0 {
		shortest = min(shortest, t.FilterTimeS)
	}
	if p.DeadTimeS == 0 {
		return shortest / float64(per), 0
	}
	need := stepsPerFilter * p.DeadTimeS / shortest
	perDelay = max(per, int(math.Ceil(min(need, mostSteps))))
	return p.DeadTimeS / float64(perDelay), perDelay
}

// timeConstants estimates the shortest and longest time constant of a process from neighbouring coefficients. Without any
// it takes the dead time.
func timeConstants(p Transfer) (shortest, longest float64) {
	den := trim(p.Den)
	shortest = math.Inf(1)
	for i := 1; i < len(den); i++ {
		if den[i-1] != 0 && den[i] != 0 {
			t := math.Abs(den[i] / den[i-1])
			shortest, longest = min(shortest, t), max(longest, t)
		}
	}
	if longest == 0 {
		shortest = max(p.DeadTimeS, 1e-3)
		longest = shortest
	}
	return shortest, longest
}

// begin clears the output.
func (s *Simulator) begin(l *linear, event Event, h float64) {
	s.out = Response{
		Event: event, StepS: h, Status: HorizonOver, Final: l.rest(event),
		Output: s.out.Output[:0], Control: s.out.Control[:0], y: s.out.y[:0], u: s.out.u[:0],
	}
}
