package pid

// Tuning is the linear part of the law: u = Kp (b r - y) + Ki/s (r - y) + Kd s/(Tf s + 1) (c r - y). Margins and
// responses are computed for it.
type Tuning struct {
	Gains         ParallelPID `json:"gains"`
	FilterTimeS   float64     `json:"filter_time_s"`   // Tf
	SetPointShare float64     `json:"set_point_share"` // b
	// KickShare is c. The law of this package has c = 0, so that a step of the set-point does not kick; other values
	// serve comparison with published responses.
	KickShare float64 `json:"kick_share"`
}

// Validate reports the first number that makes no sense.
func (t Tuning) Validate() error {
	return requireNotNegative(
		number{"Kp", t.Gains.Kp}, number{"Ki", t.Gains.Ki}, number{"Kd", t.Gains.Kd}, number{"filter time", t.FilterTimeS},
		number{"set-point weight", t.SetPointShare}, number{"set-point weight of the derivative", t.KickShare})
}

// Transfer returns the controller from error to ratio, C(s) = Kp + Ki/s + Kd s/(Tf s + 1), over one denominator.
func (t Tuning) Transfer() Transfer {
	g := t.Gains
	if g.Kd == 0 {
		if g.Ki == 0 {
			return Transfer{Num: []float64{g.Kp}, Den: []float64{1}}
		}
		return Transfer{Num: []float64{g.Ki, g.Kp}, Den: []float64{0, 1}}
	}
	if g.Ki == 0 {
		return Transfer{Num: []float64{g.Kp, g.Kp*t.FilterTimeS + g.Kd}, Den: []float64{1, t.FilterTimeS}}
	}
	return Transfer{
		Num: []float64{g.Ki, g.Kp + g.Ki*t.FilterTimeS, g.Kp*t.FilterTimeS + g.Kd},
		Den: []float64{0, 1, t.FilterTimeS},
	}
}

// LoopDelay is the dead time that the controller itself adds to a process: half the control period, because the output
// is held for a period, and a whole servo frame, the longest that a new pulse may have to wait to take effect. Where
// frames and control periods are in step, the wait is less; the longest is taken, so the margins are not flattered.
func LoopDelay(periodS, servoFrameS float64) float64 { return periodS/2 + servoFrameS }
