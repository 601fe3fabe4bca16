package hunting

import (
	"errors"
	"fmt"
	"math"

	"trunnion/tuning/pid"
)

// Question is what a hold zone is chosen for.
type Question struct {
	Law     pid.Law // as designed; its own hold zone is not looked at
	Table   *pid.Table
	Machine Machine
	// Tolerance is the settled error asked for, in units; 0 asks for the finest.
	Tolerance float64
	// Steps are the set-point steps tried, both ways; nil takes small and large ones.
	Steps []float64
}

// Choice is a hold zone with the reasons for it.
type Choice struct {
	Law       pid.Law `json:"law"` // with hold zone, release and delay, and without integral where it had to go
	Zone      float64 `json:"hold_zone_units"`
	Release   float64 `json:"hold_release_units"`
	DelayS    float64 `json:"hold_delay_s"`
	Integral  bool    `json:"integral"`              // integral action stays
	Reachable float64 `json:"reachable_error_units"` // how far the axis runs on at its slowest after it is let go
	Stops     bool    `json:"stops"`                 // no hunting from any start tried; false: nothing found, Law is as asked
	Meets     bool    `json:"meets_tolerance"`
	// Predicted are the cycles that the first harmonic sees in the lost motion, Without the worst run without a hold zone.
	Predicted []Cycle `json:"predicted"`
	Without   Verdict `json:"without_hold_zone"`
	// WorstError is the greatest error at the end of a run with the zone, Trials how many runs were made with it.
	WorstError float64 `json:"worst_settled_error_units"`
	Trials     int     `json:"trials"`
	Words      string  `json:"words"`
}

const (
	zoneGrowth  = 1.25 // from one zone tried to the next
	zoneTries   = 24
	releaseOver = 3.0 // of the zone: a load that creeps does not wake the axis at every count
	leastRunS   = 8.0
	mostRunS    = 90.0
	freeLonger  = 4.0  // a slow cycle without a hold zone takes so much longer to be seen
	settleShare = 0.35 // of a run: the approach, left out of the verdict
)

// HoldZone finds the smallest hold zone, by quarters upward from what sensor and slowest ratio allow, with which no trial
// hunts and all end held, and widens it by a quarter. Where that is wider than the tolerance, the same is tried without
// integral action, which an axis that holds by itself can do without; the narrower zone is taken. It says why.
func HoldZone(q Question) (Choice, error) {
	if err := errors.Join(q.Machine.validate(), notNegative("tolerance", q.Tolerance)); err != nil {
		return Choice{}, err
	}
	if q.Table == nil {
		return Choice{}, &NumberError{"inverse table", 0, "there is none, and the law needs one"}
	}
	if err := q.Law.Validate(); err != nil {
		return Choice{}, err
	}
	c := Choice{Reachable: reachable(q), DelayS: holdDelay(q)}
	c.Predicted = predicted(q)
	q.Law.HoldZone, q.Law.HoldRelease, q.Law.HoldDelayS = 0, 0, 0
	free := c
	without, _, err := worst(q, &free, freeLonger)
	if err != nil {
		return Choice{}, err
	}
	c.Without = without
	kept, err := narrowest(q, c)
	if err != nil {
		return Choice{}, err
	}
	best := kept
	if q.Law.Gains.Ki > 0 && (!kept.Stops || q.Tolerance > 0 && kept.Zone > q.Tolerance) && q.Machine.DriftHeld == 0 {
		dropped := q
		dropped.Law.Gains.Ki = 0
		freed, err := narrowest(dropped, c)
		if err != nil {
			return Choice{}, err
		}
		if freed.Stops && (!kept.Stops || freed.Zone < kept.Zone) {
			best = freed
		}
	}
	best.Integral = best.Law.Gains.Ki > 0
	best.Meets = best.Stops && (q.Tolerance == 0 || best.WorstError <= q.Tolerance && best.Zone <= q.Tolerance)
	best.Words = words(q, best)
	return best, nil
}

// reachable is how far the slowest ratio goes until the axis has stopped: dead time, lag, half a period and half a frame
// pass from the reading to the stop.
func reachable(q Question) float64 {
	back, fore := q.Table.Inner()
	slowest := max(math.Abs(back.Ratio), math.Abs(fore.Ratio))
	return q.Machine.RateGain * slowest * (q.Machine.DeadTimeS + q.Machine.LagS + pid.LoopDelay(q.Law.PeriodS, q.Machine.FrameS))
}

// holdDelay is long enough for what was asked before to have arrived.
func holdDelay(q Question) float64 {
	loop := q.Machine.DeadTimeS + pid.LoopDelay(q.Law.PeriodS, q.Machine.FrameS)
	return math.Ceil((loop+q.Machine.LagS)/q.Law.PeriodS) * q.Law.PeriodS
}

// predicted are the limit cycles with the lost motion as the only element.
func predicted(q Question) []Cycle {
	if q.Machine.LostMotion == 0 {
		return nil
	}
	t := pid.Tuning{Gains: q.Law.Gains, FilterTimeS: q.Law.FilterTimeS, SetPointShare: 1}
	p := pid.Integrating{RateGain: q.Machine.RateGain, LagS: q.Machine.LagS, DeadTimeS: q.Machine.DeadTimeS + pid.LoopDelay(q.Law.PeriodS, q.Machine.FrameS)}
	found, err := LimitCycles(t.Transfer().Times(p.Transfer()), Backlash{q.Machine.LostMotion})
	if err != nil {
		return nil
	}
	return found
}

// trials are the runs that are made: small and large steps both ways, the lost motion at either end, each so many times
// as long as usual.
func (q Question) trials(c Choice, longer float64) []Trial {
	m := q.Machine
	steps := q.Steps
	if steps == nil {
		small := max(reachable(q), m.LostMotion, 2*m.Quantum)
		steps = []float64{small, 4 * small, 0.1 * m.RateGain * q.Law.RatioMost, 0.6 * m.RateGain * q.Law.RatioMost}
	}
	long := leastRunS
	for _, p := range c.Predicted {
		long = max(long, 12*p.PeriodS)
	}
	if ki := q.Law.Gains.Ki; ki > 0 {
		long = max(long, 15*q.Law.Gains.Kp/ki)
	}
	long = longer * min(long, mostRunS)
	var out []Trial
	for i, s := range steps {
		play := 1 - 2*float64(i%2)
		out = append(out, Trial{SetPoint: s, DurationS: long, FromPlay: play}, Trial{SetPoint: -s, DurationS: long, FromPlay: play})
	}
	return out
}

// worst runs all trials and returns the verdict of the one that moves most at the end, and whether all of them ended held
// for good. Into c go how many runs and the greatest error.
func worst(q Question, c *Choice, longer float64) (Verdict, bool, error) {
	loop := Loop{Law: q.Law, Table: q.Table, Machine: q.Machine}
	out, held := Verdict{Kind: Quiet.String(), Words: "it stands still"}, true
	for _, t := range q.trials(*c, longer) {
		run, err := loop.Run(t)
		if err != nil {
			return Verdict{}, false, err
		}
		n := len(run.Measured)
		v := Assess(run.Measured[int(settleShare*float64(n)):], run.PeriodS, max(q.Machine.Quantum, 1e-9*math.Abs(t.SetPoint)))
		if v.Kind != Quiet.String() && v.Amplitude > out.Amplitude {
			out = v
		}
		for _, h := range run.Holding[n-n/4:] {
			held = held && h
		}
		c.Trials++
		c.WorstError = max(c.WorstError, math.Abs(run.Measured[n-1]-t.SetPoint))
	}
	return out, held, nil
}

// narrowest finds the zone for a law as it stands.
func narrowest(q Question, c Choice) (Choice, error) {
	zone := max(1.5*q.Machine.Quantum, c.Reachable/4, 1e-6*q.Machine.RateGain*q.Law.PeriodS)
	found := false
	for range zoneTries {
		tried := c
		set(&q.Law, zone, c.DelayS)
		_, held, err := worst(q, &tried, 1)
		if err != nil {
			return Choice{}, err
		}
		if held && found { // the widened one holds too
			tried.Law, tried.Zone, tried.Release, tried.Stops = q.Law, zone, q.Law.HoldRelease, true
			return tried, nil
		}
		found = held
		zone *= zoneGrowth
	}
	set(&q.Law, 0, 0)
	c.Law = q.Law
	return c, nil
}

func set(l *pid.Law, zone, delayS float64) {
	l.HoldZone, l.HoldRelease, l.HoldDelayS = zone, releaseOver*zone, delayS
}

// words say why.
func words(q Question, c Choice) string {
	why := "without a hold zone it comes to rest by itself"
	if c.Without.Hunting {
		why = fmt.Sprintf("without a hold zone it hunts by %.3g to either side, once in %.3g s", c.Without.Amplitude, c.Without.PeriodS)
		switch {
		case q.Law.Gains.Ki > 0 && q.Machine.LostMotion > 0:
			why += ": integral action with lost motion on an integrating axis always does"
		case c.Reachable > 0:
			why += ": at its slowest the axis runs on farther than the error that set it going"
		}
	} else if c.Without.Kind != Quiet.String() {
		why = "without a hold zone it is not at rest by the end of a run"
	}
	switch {
	case !c.Stops && q.Machine.DriftHeld != 0:
		return why + "; no hold zone stops it, since the axis creeps while it is let go: a brake or a worm that holds is needed"
	case !c.Stops:
		return why + "; no hold zone tried stops it: calmer gains, less lost motion or a slower slowest ratio are needed"
	case !c.Integral && q.Law.Gains.Ki > 0:
		why += "; integral action is left out, since the axis holds by itself and a narrower zone then does"
	}
	out := fmt.Sprintf("%s; a zone of %.3g stops it in all %d trials", why, c.Zone, c.Trials)
	if !c.Meets {
		out += fmt.Sprintf(", but that is coarser than the %.3g asked for: at its slowest the axis runs on by %.3g, and it has %.3g of lost motion", q.Tolerance, c.Reachable, q.Machine.LostMotion)
	}
	return out
}
