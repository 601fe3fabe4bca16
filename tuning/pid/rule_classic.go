package pid

import "math"

var robust2004 = Rule{
	Name: "Astrom and Hagglund 2004",
	Aim:  "load rejection with both sensitivity peaks near 1.4, over a wide range of processes",
	Source: "K. J. Astrom and T. Hagglund, Revisiting the Ziegler-Nichols step response method for PID control, J. Process Control " +
		"14 (2004) 635-650; by way of secondary texts, the integrating PI from memory and as the limit of the other",
	design: designRobust2004,
}

func designRobust2004(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
	m, err := reduced(p)
	if err != nil {
		return ParallelPID{}, 0, err
	}
	l, t := m.dead, m.lag
	switch {
	case m.integrates && kind == PI:
		return ideal(0.35/(m.gain*l), 13.4*l, 0, o)
	case m.integrates:
		return ideal(0.45/(m.gain*l), 8*l, 0.5*l, o)
	case kind == PI:
		return ideal(0.15/m.gain+(0.35-l*t/((l+t)*(l+t)))*t/(m.gain*l), 0.35*l+13*l*t*t/(t*t+12*l*t+7*l*l), 0, o)
	}
	return ideal((0.2+0.45*t/l)/m.gain, l*(0.4*l+0.8*t)/(l+0.1*t), 0.5*l*t/(0.3*l+t), o)
}

var reactionCurve1942 = Rule{
	Name: "Ziegler and Nichols 1942, reaction curve",
	Aim:  "load rejection with a decay to a quarter; lively, little margin",
	Source: "J. G. Ziegler and N. B. Nichols, Optimum settings for automatic controllers, Trans. ASME 64 (1942) 759-768; by way of " +
		"secondary texts",
	design: func(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
		m, err := tangent(p)
		if err != nil {
			return ParallelPID{}, 0, err
		}
		if kind == PI {
			return ideal(0.9/m.normal(), 3.33*m.dead, 0, o)
		}
		return ideal(1.2/m.normal(), 2*m.dead, 0.5*m.dead, o)
	},
}

// tangent is as reduced, except that the whole lag of an integrating process counts as dead time: that is where the
// straight part of its reaction curve, drawn back, meets the start.
func tangent(p Process) (lagged, error) {
	if m, is := p.(Integrating); is {
		return lagged{integrates: true, gain: m.RateGain, dead: m.DeadTimeS + m.LagS}, nil
	}
	return reduced(p)
}

var ultimate1942 = Rule{
	Name:   "Ziegler and Nichols 1942, ultimate gain",
	Aim:    "load rejection with a decay to a quarter, from gain and period at the edge of hunting",
	Source: "Ziegler and Nichols, Trans. ASME 64 (1942) 759-768; by way of secondary texts",
	design: func(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
		u, err := Ultimate(p)
		if err != nil {
			return ParallelPID{}, 0, err
		}
		if kind == PI {
			return ideal(0.45*u.Gain, u.PeriodS/1.2, 0, o)
		}
		return ideal(0.6*u.Gain, u.PeriodS/2, u.PeriodS/8, o)
	},
}

var ultimate1992 = Rule{
	Name:   "Tyreus and Luyben 1992",
	Aim:    "calmer settings for integrating processes, from gain and period at the edge of hunting",
	Source: "B. D. Tyreus and W. L. Luyben, Ind. Eng. Chem. Res. 31 (1992) 2625; from memory",
	design: func(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
		u, err := Ultimate(p)
		if err != nil {
			return ParallelPID{}, 0, err
		}
		if kind == PI {
			return ideal(u.Gain/3.2, 2.2*u.PeriodS, 0, o)
		}
		return ideal(u.Gain/2.2, 2.2*u.PeriodS, u.PeriodS/6.3, o)
	},
}

var quarterDecay1953 = Rule{
	Name: "Cohen and Coon 1953",
	Aim:  "load rejection with a decay to a quarter where dead time matters",
	Source: "G. H. Cohen and G. A. Coon, Theoretical consideration of retarded control, Trans. ASME 75 (1953) 827; by way of secondary " +
		"texts",
	design: func(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
		m, err := reduced(p)
		if err != nil {
			return ParallelPID{}, 0, err
		}
		if m.integrates {
			return ParallelPID{}, 0, noDesign("it is made for processes that come to rest by themselves")
		}
		r, a, l := m.dead/m.lag, m.normal(), m.dead
		if kind == PI {
			return ideal((0.9+r/12)/a, l*(30+3*r)/(9+20*r), 0, o)
		}
		return ideal((4.0/3+r/4)/a, l*(32+6*r)/(13+8*r), 4*l/(11+2*r), o)
	},
}

// settings1952 are a row of the table of 1952: Kc = k/a and so on; the integral time counts in dead times or lags.
type settings1952 struct {
	kc, ti, td float64
	ofLag      bool
}

func rule1952(variant, aim string, pi, full settings1952) Rule {
	return Rule{
		Name: "Chien, Hrones and Reswick 1952, " + variant,
		Aim:  aim,
		Source: "K. L. Chien, J. A. Hrones and J. B. Reswick, On the automatic control of generalized passive systems, Trans. ASME 74 " +
			"(1952) 175; by way of secondary texts",
		design: func(kind Kind, p Process, o RuleOptions) (ParallelPID, float64, error) {
			m, err := reduced(p)
			if err != nil {
				return ParallelPID{}, 0, err
			}
			s := pi
			if kind == PID {
				s = full
			}
			ti := s.ti * m.dead
			if s.ofLag {
				ti = s.ti * m.lag
				if m.integrates {
					ti = math.Inf(1)
				}
			}
			return ideal(s.kc/m.normal(), ti, s.td*m.dead, o)
		},
	}
}

var (
	setPoint1952 = rule1952("set-point without overshoot", "following the set-point without overshoot",
		settings1952{0.35, 1.17, 0, true}, settings1952{0.6, 1, 0.5, true})
	setPointQuick1952 = rule1952("set-point with 20 % overshoot", "following the set-point with 20 % overshoot",
		settings1952{0.6, 1, 0, true}, settings1952{0.95, 1.4, 0.47, true})
	load1952 = rule1952("load without overshoot", "load rejection without overshoot",
		settings1952{0.6, 4, 0, false}, settings1952{0.95, 2.4, 0.42, false})
	loadQuick1952 = rule1952("load with 20 % overshoot", "load rejection with 20 % overshoot",
		settings1952{0.7, 2.3, 0, false}, settings1952{1.2, 2, 0.42, false})
)
