package pid

import (
	"fmt"
	"math"
)

// Kind is what a controller is made of.
type Kind int

// The kinds of controllers that rules design.
const (
	PI Kind = iota
	PID
)

func (k Kind) String() string { return [...]string{"PI", "PID"}[k] }

// Rule is a published rule for gains. Rules differ in what they aim at; none is right, which is why they stand side by
// side.
type Rule struct {
	Name   string // author and year, and the variant where a paper has several
	Aim    string // what it was made for
	Source string // where it was published, and how it got here
	design func(Kind, Process, RuleOptions) (ParallelPID, float64, error)
}

// RuleOptions are what a rule leaves open.
type RuleOptions struct {
	// ClosedLoopS is the wanted closed-loop time constant, for rules that have one. 0 takes the rule's own advice.
	ClosedLoopS float64
	// FilterShare is derivative time over filter time; 0 means 10, the usual value.
	FilterShare float64
	// LeastFilterS is the shortest filter time worth having: a derivative filtered less than a control period or two
	// mostly follows the counts' steps.
	LeastFilterS float64
}

// Design is a rule's answer for a process.
type Design struct {
	Rule   string `json:"rule"`
	Kind   string `json:"kind"`
	Tuning Tuning `json:"tuning"`
	// Predicted is what the design will do; nil where it was not asked for (Rule.Design).
	Predicted *Prediction `json:"predicted,omitempty"`
}

// DesignError says that a rule has no answer for a process.
type DesignError struct {
	Rule   string
	Kind   Kind
	Reason string
}

func (e *DesignError) Error() string {
	return fmt.Sprintf("%s gives no %v gains here: %s", e.Rule, e.Kind, e.Reason)
}

const usualFilterShare = 10

// Design applies the rule. Dead time of the controller itself (LoopDelay) is to be in the process. The set-point weight
// is 1 and the derivative acts on the measured value.
func (r Rule) Design(kind Kind, p Process, o RuleOptions) (Design, error) {
	if err := p.Validate(); err != nil {
		return Design{}, err
	}
	if err := requireNotNegative(number{"closed-loop time", o.ClosedLoopS}, number{"filter share", o.FilterShare},
		number{"least filter time", o.LeastFilterS}); err != nil {
		return Design{}, err
	}
	if o.FilterShare == 0 {
		o.FilterShare = usualFilterShare
	}
	if kind != PI && kind != PID {
		return Design{}, &ParameterError{"kind", float64(kind), "it must be PI or PID"}
	}
	gains, filter, err := r.design(kind, p, o)
	if err != nil {
		return Design{}, &DesignError{r.Name, kind, err.Error()}
	}
	for _, g := range []float64{gains.Kp, gains.Ki, gains.Kd, filter} {
		if math.IsNaN(g) || math.IsInf(g, 0) || g < 0 {
			return Design{}, &DesignError{r.Name, kind, "its formula runs out of bounds; the dead time may be nought"}
		}
	}
	t := Tuning{Gains: gains, FilterTimeS: filter, SetPointShare: 1}
	return Design{Rule: r.Name, Kind: kind.String(), Tuning: t}, nil
}

// Rules returns all rules, those recommended for an axis first.
func Rules() []Rule {
	return []Rule{
		internalModel2003, internalModel2012, robust2004, lambda1968,
		ultimate1992, ultimate1942, reactionCurve1942, quarterDecay1953,
		setPoint1952, setPointQuick1952, load1952, loadQuick1952,
	}
}

// RuleByName returns the rule of that name.
func RuleByName(name string) (Rule, bool) {
	for _, r := range Rules() {
		if r.Name == name {
			return r, true
		}
	}
	return Rule{}, false
}

// noDesign is a rule's own reason for having no answer.
type noDesign string

func (e noDesign) Error() string { return string(e) }

// ideal turns a rule's ideal form into gains and filter time.
func ideal(kc, ti, td float64, o RuleOptions) (ParallelPID, float64, error) {
	g, err := IdealPID{kc, ti, td}.Parallel()
	if td == 0 {
		return g, 0, err
	}
	return g, max(td/o.FilterShare, o.LeastFilterS), err
}

// series turns a rule's series form into gains and filter time. The filter stands on the whole series form where such
// gains exist, which keeps the two zeros where the rule wants them.
func series(kc, ti, td float64, o RuleOptions) (ParallelPID, float64, error) {
	s := SeriesPID{kc, ti, td}
	if td == 0 {
		g, err := s.Parallel()
		return g, 0, err
	}
	filter := max(td/o.FilterShare, o.LeastFilterS)
	if g, err := s.Filtered(filter); err == nil {
		return g, filter, nil
	}
	g, err := s.Parallel()
	return g, filter, err
}

// lagged is a process as gain, one lag and dead time, as most rules want it. An integrating process has slope instead
// of gain.
type lagged struct {
	integrates bool
	gain       float64 // or slope
	lag, dead  float64
}

// slope over dead time and lag: the a of the rules, K L/T or k' L.
func (m lagged) normal() float64 {
	if m.integrates {
		return m.gain * m.dead
	}
	return m.gain * m.dead / m.lag
}

// reduced returns p with one lag, by the half rule.
func reduced(p Process) (lagged, error) {
	switch m := p.(type) {
	case FirstOrder:
		return lagged{gain: m.Gain, lag: m.TimeConstantS, dead: m.DeadTimeS}, nil
	case SecondOrder:
		return lagged{gain: m.Gain, lag: m.TimeConstantS + m.SecondS/2, dead: m.DeadTimeS + m.SecondS/2}, nil
	case Integrating:
		return lagged{integrates: true, gain: m.RateGain, dead: m.DeadTimeS + m.LagS/2}, nil
	}
	return lagged{}, noDesign("it needs a first-order, second-order or integrating model")
}
