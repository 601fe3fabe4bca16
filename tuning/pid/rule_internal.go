package pid

import "math"

var internalModel2003 = Rule{
	Name: "Skogestad 2003",
	Aim:  "smooth control with a closed-loop time constant of one's choice; equal to the dead time unless chosen",
	Source: "S. Skogestad, Simple analytic rules for model reduction and PID controller tuning, J. Process Control 13 (2003) " +
		"291-309; formulas by way of Skogestad and Grimholt 2012",
	design: designInternal2003,
}

// designInternal2003: Kc = T1/(K (tc + L)), Ti = min(T1, 4 (tc + L)), series Td = T2; integrating: Kc = 1/(k' (tc + L)),
// Ti = 4 (tc + L).
func designInternal2003(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
	gain, first, second, dead, integrates, err := twoLags(p)
	if err != nil {
		return ParallelPID{}, 0, err
	}
	if kind == PI {
		m, err := reduced(p)
		if err != nil {
			return ParallelPID{}, 0, err
		}
		first, second, dead = m.lag, 0, m.dead
	} else if second == 0 {
		return ParallelPID{}, 0, noDesign("it wants a derivative only where the model has a second lag")
	}
	tc := closedLoop(o, dead)
	if integrates {
		return series(1/(gain*(tc+dead)), 4*(tc+dead), second, o)
	}
	if first == 0 { // a pure dead time: integral action alone
		return ParallelPID{Ki: 1 / (gain * (tc + dead))}, 0, nil
	}
	return series(first/(gain*(tc+dead)), math.Min(first, 4*(tc+dead)), second, o)
}

// twoLags are a model's numbers; an integrating model's only lag is the second.
func twoLags(p Process) (gain, first, second, dead float64, integrates bool, err error) {
	switch m := p.(type) {
	case FirstOrder:
		return m.Gain, m.TimeConstantS, 0, m.DeadTimeS, false, nil
	case SecondOrder:
		return m.Gain, m.TimeConstantS, m.SecondS, m.DeadTimeS, false, nil
	case Integrating:
		return m.RateGain, 0, m.LagS, m.DeadTimeS, true, nil
	}
	return 0, 0, 0, 0, false, noDesign("it needs a first-order, second-order or integrating model")
}

func closedLoop(o RuleOptions, advice float64) float64 {
	if o.ClosedLoopS > 0 {
		return o.ClosedLoopS
	}
	return advice
}

var internalModel2012 = Rule{
	Name: "Skogestad and Grimholt 2012",
	Aim:  "as that of 2003, quicker where dead time dominates; with a derivative of a third of the dead time",
	Source: "S. Skogestad and C. Grimholt, The SIMC method for smooth PID controller tuning, in PID Control in the Third " +
		"Millennium (2012), chapter 5",
	design: designInternal2012,
}

// designInternal2012: PI Kc = (T + L/3)/(K (tc + L)), Ti = min(T + L/3, 4 (tc + L)); PID series with Td = L/3 on the
// rule of 2003, tc = L/2 advised.
func designInternal2012(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
	m, err := reduced(p)
	if err != nil {
		return ParallelPID{}, 0, err
	}
	lag, derivative, advice := m.lag, m.dead/3, m.dead/2
	if kind == PI {
		lag, derivative, advice = m.lag+m.dead/3, 0, m.dead
	}
	sum := closedLoop(o, advice) + m.dead
	if m.integrates {
		return series(1/(m.gain*sum), 4*sum, derivative, o)
	}
	if lag == 0 {
		return ParallelPID{}, 0, noDesign("the model is a pure dead time; take the PI")
	}
	return series(lag/(m.gain*sum), math.Min(lag, 4*sum), derivative, o)
}

var lambda1968 = Rule{
	Name: "Dahlin 1968",
	Aim:  "a closed loop that answers a set-point as one lag (lambda), by cancelling the process's own; lambda is that lag unless chosen",
	Source: "E. B. Dahlin, Designing and tuning digital controllers, Instruments and Control Systems 41 (1968); formula by way of " +
		"a secondary text",
	design: designLambda1968,
}

// designLambda1968: Kc = T/(K (lambda + L)), Ti = T.
func designLambda1968(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
	m, err := reduced(p)
	switch {
	case err != nil:
		return ParallelPID{}, 0, err
	case kind == PID:
		return ParallelPID{}, 0, noDesign("it has no derivative")
	case m.integrates:
		return ParallelPID{}, 0, noDesign("it cancels a lag, and an integrating process has none to cancel")
	case m.lag == 0:
		return ParallelPID{}, 0, noDesign("it cancels a lag, and the model has none")
	}
	return ideal(m.lag/(m.gain*(closedLoop(o, m.lag)+m.dead)), m.lag, 0, o)
}
