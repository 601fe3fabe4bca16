// Package gains chooses the gains of an axis from what the step test found, and
// says what they will do before anything moves.
//
// The controller puts out a wanted ratio; turned into a pulse by the inverse
// table, that sets the output's speed, so that the axis under control is an
// integrator with a lag and a dead time: the position in counts rises by counts
// a turn times shaft speed for each unit of ratio. Gains come from the
// internal-model rule of 2003 with its closed-loop time stretched until the
// sensitivity peak is no more than asked; margins are from the exact frequency
// response, dead time included. Functions are pure.
package gains

import (
	"fmt"
	"math"
	"time"

	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// Settings is what a design starts from.
type Settings struct {
	DeadTime   units.Estimate // s, from the step test
	Lag        units.Estimate // s
	ShaftSpeed float64        // turns a second
	PerTurn    float64        // counts of an output turn
	Frame      float64        // servo frame, s
	Goal       float64        // greatest Ms
	Tolerance  float64        // settled error asked for, counts; 0 is none
	RatioLeast float64        // measured range, with a margin
	RatioMost  float64
	Slowest    float64 // smallest ratio that the axis can hold, > 0
}

// Result of the gains task.
type Result struct {
	Rule        string        `json:"rule"`
	Kind        string        `json:"kind"`
	Plant       Plant         `json:"plant"`
	Law         pid.Law       `json:"law_in_counts"`
	ClosedLoopS float64       `json:"closed_loop_time_s"`
	Margins     Margins       `json:"margins"`
	Predicted   SmallStep     `json:"predicted_small_step"` // of a step too small to saturate
	HoldZone    float64       `json:"hold_zone_counts"`
	Reachable   float64       `json:"reachable_error_counts"` // the finest place the axis can be sent to
	Considered  []Alternative `json:"considered"`
}

// Plant is the axis as the loop sees it.
type Plant struct {
	RateGain  float64 `json:"rate_gain_counts_per_s"` // for a ratio of 1
	LagS      float64 `json:"lag_s"`
	DeadTimeS float64 `json:"dead_time_s"`      // of the axis alone
	LoopS     float64 `json:"loop_dead_time_s"` // with control period and servo frame
}

// process is the plant for the frequency response.
func (p Plant) process() pid.Integrating {
	return pid.Integrating{RateGain: p.RateGain, LagS: p.LagS, DeadTimeS: p.LoopS}
}

// Margins of the loop. A margin that has no end is given as 1000.
type Margins struct {
	GainMargin     float64 `json:"gain_margin"`
	PhaseMarginDeg float64 `json:"phase_margin_deg"`
	DelayMarginS   float64 `json:"delay_margin_s"`
	Ms             float64 `json:"ms"`
	Mt             float64 `json:"mt"`
}

// SmallStep is the predicted answer to a step of the set-point that is too small
// to saturate. Times that do not exist are 0.
type SmallStep struct {
	RiseS            float64 `json:"rise_s"`
	OvershootPercent float64 `json:"overshoot_percent"`
	SettlingS        float64 `json:"settling_s"` // to 2 percent, from the step
	IAE              float64 `json:"absolute_error_integral_s"`
	ControlTravel    float64 `json:"control_travel_ratio_per_count"`
}

// Alternative is a design that was weighed and what it would have given.
type Alternative struct {
	Rule    string  `json:"rule"`
	Kind    string  `json:"kind"`
	Margins Margins `json:"margins"`
	IAE     float64 `json:"load_error_integral"` // of a unit load step, counts s for a ratio of 1
	Chosen  bool    `json:"chosen"`
}

const (
	// period of control: half a servo frame; a shorter one gains nothing, since
	// pulses change once a frame.
	period = 10 * time.Millisecond
	// mostOvershoot of a small step that the set-point weight is chosen for.
	mostOvershoot = 5.0 // percent
	endless       = 1000.0
)

// Design chooses gains. It returns an error when no design of the rule is
// stable with Ms within the goal.
func Design(s Settings) (Result, error) {
	plant := Plant{
		RateGain:  s.PerTurn * s.ShaftSpeed,
		LagS:      math.Max(0, s.Lag.Value),
		DeadTimeS: math.Max(0, s.DeadTime.Value),
	}
	plant.LoopS = plant.DeadTimeS + pid.LoopDelay(period.Seconds(), s.Frame)
	var best *candidate
	var considered []Alternative
	for _, kind := range []pid.Kind{pid.PI, pid.PID} {
		c, err := stretched(kind, plant, s.Goal)
		if err != nil {
			continue
		}
		considered = append(considered, c.alternative())
		if best == nil || c.loadIAE < best.loadIAE*(1-worthADerivative) {
			best = c
		}
	}
	if best == nil {
		return Result{}, fmt.Errorf("gains: no PI or PID of the internal-model rule keeps Ms within %.2f with a dead time of %.0f ms; ask for a larger Ms", s.Goal, 1000*plant.LoopS)
	}
	for i := range considered {
		considered[i].Chosen = considered[i].Kind == best.design.Kind
	}
	r := Result{
		Rule: best.design.Rule, Kind: best.design.Kind, Plant: plant, ClosedLoopS: best.closedLoop,
		Margins: best.margins, Considered: considered,
	}
	r.Predicted, r.Law = weighted(best, s)
	hold(&r, s)
	return r, r.Law.Validate()
}

// worthADerivative is the share of the load error that a derivative must save
// to be worth the noise it brings to the servo.
const worthADerivative = 0.2

// candidate is one design under consideration.
type candidate struct {
	design     pid.Design
	plant      Plant
	closedLoop float64
	margins    Margins
	loadIAE    float64
}

func (c *candidate) alternative() Alternative {
	return Alternative{Rule: c.design.Rule, Kind: c.design.Kind, Margins: c.margins, IAE: c.loadIAE}
}

// stretched is the quickest design of the rule whose Ms is within the goal: the
// closed-loop time is halved in on between a quarter of the dead time and
// twenty times it.
func stretched(kind pid.Kind, plant Plant, goal float64) (*candidate, error) {
	rule, ok := pid.RuleByName("Skogestad 2003")
	if !ok {
		return nil, fmt.Errorf("gains: the rule of 2003 is not in the list of rules")
	}
	quick, slow := 0.25*plant.LoopS, 20*plant.LoopS
	best, err := try(rule, kind, plant, slow)
	if err != nil || best.margins.Ms > goal {
		return nil, fmt.Errorf("gains: Ms %.2f cannot be had", goal)
	}
	for range 40 {
		middle := math.Sqrt(quick * slow)
		c, err := try(rule, kind, plant, middle)
		if err == nil && c.margins.Ms <= goal {
			best, slow = c, middle
		} else {
			quick = middle
		}
	}
	sim := pid.Simulator{}
	response, err := sim.Run(best.design.Tuning, plant.process(), pid.LoadStep)
	if err != nil {
		return nil, err
	}
	best.loadIAE = response.LoadMetrics().IAE
	return best, nil
}

func try(rule pid.Rule, kind pid.Kind, plant Plant, closedLoop float64) (*candidate, error) {
	design, err := rule.Design(kind, plant.process(), pid.RuleOptions{ClosedLoopS: closedLoop, LeastFilterS: period.Seconds()})
	if err != nil {
		return nil, err
	}
	m, err := pid.LoopMargins(design.Tuning, plant.process())
	if err != nil {
		return nil, err
	}
	if !m.Stable {
		return nil, fmt.Errorf("gains: unstable")
	}
	return &candidate{design: design, plant: plant, closedLoop: closedLoop, margins: Margins{
		GainMargin: finite(m.GainMargin), PhaseMarginDeg: finite(m.PhaseMarginDeg), DelayMarginS: finite(m.DelayMarginS), Ms: m.Ms, Mt: m.Mt,
	}}, nil
}

func finite(v float64) float64 {
	if !(v < endless) { // also NaN, where there is no crossing at all
		return endless
	}
	return v
}
