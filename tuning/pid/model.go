package pid

// Process is a model of what the controller drives: ratio in, measured value out.
type Process interface {
	// Transfer is the model as a rational function with exact dead time.
	Transfer() Transfer
	// Delayed is the same model with s seconds more dead time.
	Delayed(s float64) Process
	// Validate reports the first number that makes no sense.
	Validate() error
}

// FirstOrder is Gain e^{-DeadTimeS s}/(TimeConstantS s + 1): how an output's speed answers, and the textbook process.
// A time constant of 0 is a pure dead time.
type FirstOrder struct {
	Gain          float64 `json:"gain_units_per_ratio"`
	TimeConstantS float64 `json:"time_constant_s"`
	DeadTimeS     float64 `json:"dead_time_s"`
}

// Transfer implements Process.
func (p FirstOrder) Transfer() Transfer {
	return Transfer{Num: []float64{p.Gain}, Den: []float64{1, p.TimeConstantS}, DeadTimeS: p.DeadTimeS}
}

// Delayed implements Process.
func (p FirstOrder) Delayed(s float64) Process { p.DeadTimeS += s; return p }

// Validate implements Process.
func (p FirstOrder) Validate() error {
	if err := requirePositive(number{"gain", p.Gain}); err != nil {
		return err
	}
	return requireNotNegative(number{"time constant", p.TimeConstantS}, number{"dead time", p.DeadTimeS})
}

// SecondOrder is Gain e^{-DeadTimeS s}/((TimeConstantS s + 1)(SecondS s + 1)), SecondS being the shorter.
type SecondOrder struct {
	Gain          float64 `json:"gain_units_per_ratio"`
	TimeConstantS float64 `json:"time_constant_s"`
	SecondS       float64 `json:"second_time_constant_s"`
	DeadTimeS     float64 `json:"dead_time_s"`
}

// Transfer implements Process.
func (p SecondOrder) Transfer() Transfer {
	return Transfer{
		Num:       []float64{p.Gain},
		Den:       []float64{1, p.TimeConstantS + p.SecondS, p.TimeConstantS * p.SecondS},
		DeadTimeS: p.DeadTimeS,
	}
}

// Delayed implements Process.
func (p SecondOrder) Delayed(s float64) Process { p.DeadTimeS += s; return p }

// Validate implements Process.
func (p SecondOrder) Validate() error {
	if err := requirePositive(number{"gain", p.Gain}, number{"time constant", p.TimeConstantS}); err != nil {
		return err
	}
	if p.SecondS > p.TimeConstantS {
		return &ParameterError{"second time constant", p.SecondS, "it must be the shorter of the two"}
	}
	return requireNotNegative(number{"second time constant", p.SecondS}, number{"dead time", p.DeadTimeS})
}

// Integrating is RateGain e^{-DeadTimeS s}/(s (LagS s + 1)): the position of an axis, whose speed follows the ratio
// with a lag. RateGain is units a second per unit of ratio: the drive shaft's turns a second times units per output turn.
type Integrating struct {
	RateGain  float64 `json:"rate_gain_units_per_second_per_ratio"`
	LagS      float64 `json:"lag_s"`
	DeadTimeS float64 `json:"dead_time_s"`
}

// Transfer implements Process.
func (p Integrating) Transfer() Transfer {
	return Transfer{Num: []float64{p.RateGain}, Den: []float64{0, 1, p.LagS}, DeadTimeS: p.DeadTimeS}
}

// Delayed implements Process.
func (p Integrating) Delayed(s float64) Process { p.DeadTimeS += s; return p }

// Validate implements Process.
func (p Integrating) Validate() error {
	if err := requirePositive(number{"rate gain", p.RateGain}); err != nil {
		return err
	}
	return requireNotNegative(number{"lag", p.LagS}, number{"dead time", p.DeadTimeS})
}

// Rational is a process given as any transfer with positive gain, for comparison with published ones.
type Rational Transfer

// Transfer implements Process.
func (p Rational) Transfer() Transfer { return Transfer(p) }

// Delayed implements Process.
func (p Rational) Delayed(s float64) Process { p.DeadTimeS += s; return p }

// Validate implements Process.
func (p Rational) Validate() error { return Transfer(p).Validate() }
