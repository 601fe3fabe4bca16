package gains

import (
	"math"
	"time"

	"trunnion/tuning/bench"
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// weighted picks the set-point weight: the largest one whose small step
// overshoots no more than mostOvershoot, since a larger one is quicker. It
// returns the law without its hold zone and the metrics of that step.
func weighted(c *candidate, s Settings) (SmallStep, pid.Law) {
	sim := pid.Simulator{}
	var metrics pid.StepMetrics
	t := c.design.Tuning
	for _, b := range []float64{1, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0} {
		t.SetPointShare, t.KickShare = b, 0
		response, err := sim.Run(t, c.plant.process(), pid.SetPointStep)
		if err != nil {
			break
		}
		metrics = response.StepMetrics()
		if metrics.OvershootPercent <= mostOvershoot {
			break
		}
	}
	return smallStep(metrics), pid.Law{
		Gains: t.Gains, FilterTimeS: t.FilterTimeS, SetPointWeight: t.SetPointShare,
		FeedForward: 1 / c.plant.RateGain, // the ratio that moves at the set-point's own rate
		RatioLeast:  s.RatioLeast, RatioMost: s.RatioMost,
		TrackingTimeS: pid.QuickTrackingTime(t.Gains, period.Seconds()), PeriodS: period.Seconds(),
	}
}

// smallStep puts nought for what did not happen, so that it can be stored.
func smallStep(m pid.StepMetrics) SmallStep {
	or0 := func(v float64) float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0
		}
		return v
	}
	return SmallStep{RiseS: or0(m.RiseS), OvershootPercent: or0(m.OvershootPercent), SettlingS: or0(m.SettlingS), IAE: or0(m.IAE), ControlTravel: or0(m.ControlTravel)}
}

// hold sets the hold zone. The axis cannot be sent to a finer place than the
// slowest ratio covers in the loop's dead time: the error is seen, the pulse
// comes, and so far it has gone. The zone is half the tolerance, but never
// finer than that, nor than two counts; it is left again at three times its
// size, so that a load that creeps does not wake the axis at every count.
func hold(r *Result, s Settings) {
	r.Reachable = math.Max(1, s.Slowest*r.Plant.RateGain*(r.Plant.LoopS+r.Plant.LagS))
	zone := math.Max(2, math.Max(s.Tolerance/2, r.Reachable/2))
	r.HoldZone = math.Ceil(zone)
	r.Law.HoldZone, r.Law.HoldRelease = r.HoldZone, 3*r.HoldZone
	r.Law.HoldDelayS = math.Max(r.Plant.LoopS, 0.1)
}

// Loop is what the controller is given: the law, the counter it goes by, and
// the inverse table.
func (r Result) Loop(counter int, table []bench.TablePoint) bench.Loop {
	return bench.Loop{Counter: counter, Table: table, Gains: onTheWire(r.Law)}
}

// onTheWire is the law as the controller takes it.
func onTheWire(l pid.Law) bench.Gains {
	return bench.Gains{
		Kp: l.Gains.Kp, Ki: l.Gains.Ki, Kd: l.Gains.Kd,
		FilterTime: seconds(l.FilterTimeS), SetPointWeight: l.SetPointWeight, FeedForward: l.FeedForward,
		RatioLeast: units.Ratio(l.RatioLeast), RatioMost: units.Ratio(l.RatioMost),
		TrackingTime: seconds(l.TrackingTimeS),
		HoldZone:     units.Counts(l.HoldZone), HoldRelease: units.Counts(l.HoldRelease), HoldDelay: seconds(l.HoldDelayS),
		Period: seconds(l.PeriodS),
	}
}

func seconds(s float64) time.Duration { return time.Duration(math.Round(s*1e6)) * time.Microsecond }
