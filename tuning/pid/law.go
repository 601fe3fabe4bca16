package pid

import "math"

// Law holds the parameters of the control law in the package comment. The unit of the measured value is the count on the
// wire; any other will do as long as all fields agree.
type Law struct {
	Gains          ParallelPID `json:"gains"`
	FilterTimeS    float64     `json:"filter_time_s"`
	SetPointWeight float64     `json:"set_point_weight"`
	FeedForward    float64     `json:"feed_forward_ratio_second_per_unit"`
	RatioLeast     float64     `json:"ratio_least"`
	RatioMost      float64     `json:"ratio_most"`
	TrackingTimeS  float64     `json:"tracking_time_s"`
	HoldZone       float64     `json:"hold_zone_units"`
	HoldRelease    float64     `json:"hold_release_units"`
	HoldDelayS     float64     `json:"hold_delay_s"`
	PeriodS        float64     `json:"period_s"`
}

// Validate reports the first parameter that the law does not allow.
func (l Law) Validate() error {
	if err := requirePositive(number{"control period", l.PeriodS}, number{"greatest ratio", l.RatioMost}, number{"least ratio, turned round", -l.RatioLeast}); err != nil {
		return err
	}
	if err := requireNotNegative(
		number{"Kp", l.Gains.Kp}, number{"Ki", l.Gains.Ki}, number{"Kd", l.Gains.Kd}, number{"filter time", l.FilterTimeS},
		number{"set-point weight", l.SetPointWeight}, number{"feed-forward", l.FeedForward},
		number{"hold zone", l.HoldZone}, number{"hold release", l.HoldRelease}, number{"hold delay", l.HoldDelayS}); err != nil {
		return err
	}
	switch {
	case l.SetPointWeight > 1:
		return &ParameterError{"set-point weight", l.SetPointWeight, "it must be from 0 to 1"}
	case l.Gains.Ki > 0 && !(l.TrackingTimeS >= l.PeriodS):
		return &ParameterError{"tracking time", l.TrackingTimeS, "with integral action it must be at least the control period"}
	case l.HoldRelease < l.HoldZone:
		return &ParameterError{"hold release", l.HoldRelease, "it must be at least the hold zone"}
	}
	return nil
}

// QuietPeriods is N of the law: for so many periods the axis must be quiet before it is held.
func (l Law) QuietPeriods() int {
	return max(1, int(math.Ceil(l.HoldDelayS/l.PeriodS-1e-9)))
}

// TrackingTime is the usual choice of the anti-windup's time: the root of integral and derivative time, or the integral
// time without a derivative, and never less than the period. (Astrom and Hagglund, Advanced PID Control, 2006; from
// memory.) It is 0 without integral action.
func TrackingTime(g ParallelPID, periodS float64) float64 {
	if g.Ki == 0 {
		return 0
	}
	ti := g.Kp / g.Ki
	t := ti
	if g.Kd > 0 && g.Kp > 0 {
		t = math.Sqrt(ti * g.Kd / g.Kp)
	}
	return max(t, periodS)
}

// QuickTrackingTime is the tracking time for an integrating axis whose large set-point steps drive the ratio into its
// limits: a tenth of the integral time, at least two periods. The usual choice lets the integral grow through the whole
// way, so that the axis runs past and comes back late; see the comparison in package hunting. It is 0 without integral
// action.
func QuickTrackingTime(g ParallelPID, periodS float64) float64 {
	if g.Ki == 0 {
		return 0
	}
	return max(g.Kp/g.Ki/10, 2*periodS)
}
