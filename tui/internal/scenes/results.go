package scenes

import (
	"math"

	"trunnion/tuning/calibration"
	"trunnion/tuning/check"
	"trunnion/tuning/curve"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/measure"
	"trunnion/tuning/pid"
	"trunnion/tuning/proving"
	"trunnion/tuning/step"
	"trunnion/tuning/units"
	"trunnion/tuning/variator"
)

// Invented numbers of an axis: centre and half-width of the dead band in us, and
// the curve beyond it.
type numbers struct {
	centre, half float64
	gain, rate   float64 // ratio, radians a microsecond
}

var lift = map[string]numbers{
	"traverse":   {1509.4, 25.6, 1.08, 0.00182},
	"left drum":  {1498.2, 23.3, 1.11, 0.00179},
	"right drum": {1501.7, 27.1, 1.06, 0.00185},
}

// ratio is the invented curve.
func (n numbers) ratio(pulse float64) float64 {
	e := math.Abs(pulse-n.centre) - n.half
	if e <= 0 {
		return 0
	}
	return math.Copysign(n.gain*math.Tan(n.rate*e), pulse-n.centre)
}

func checkOf(n numbers, findings ...finding.Finding) *check.Result {
	r := &check.Result{
		ShaftSpeed: units.Estimate{Value: 409.3, StdErr: 0.3}, StillPulse: 1500,
		RoughAbove: units.Pulse(10 * math.Ceil((n.centre+n.half)/10)), RoughBelow: units.Pulse(10 * math.Floor((n.centre-n.half)/10)),
		Neutral: units.Pulse(math.Round(n.centre)), CountsAbove: 1, PulseLeast: 1040, PulseMost: 1960,
		WhyLeast: "limit of the rig file", WhyMost: "limit of the rig file",
		Bursts:   []check.Burst{{Pulse: 1500, ShaftTurns: 3.2}},
		Findings: findings,
	}
	for k := range 11 {
		for _, way := range []float64{1, -1} {
			p := math.Round(n.centre + way*(n.half+25+40*float64(k)))
			r.Jog = append(r.Jog, check.Jog{Pulse: units.Pulse(p), Ratio: units.Estimate{Value: n.ratio(p), StdErr: 0.003}})
		}
	}
	return r
}

func edgesOf(n numbers) []deadband.Edge {
	edge := func(side deadband.Side, approach measure.Approach, at, err float64) deadband.Edge {
		return deadband.Edge{Side: side, Approach: approach, Pulse: units.Estimate{Value: at, StdErr: err}, Scatter: 0.7, Tries: 12}
	}
	return []deadband.Edge{
		edge(deadband.Above, measure.Outward, n.centre+n.half, 0.6), edge(deadband.Above, measure.Inward, n.centre+n.half-2.1, 0.7),
		edge(deadband.Below, measure.Outward, n.centre-n.half, 0.6), edge(deadband.Below, measure.Inward, n.centre-n.half+2.6, 0.8),
	}
}

func deadBandOf(n numbers) *deadband.Result {
	return &deadband.Result{
		Edges: edgesOf(n), Width: units.Estimate{Value: 2 * n.half, StdErr: 0.9}, Neutral: units.Pulse(math.Round(10*n.centre) / 10), Safety: 22,
		HysteresisAbove: units.Estimate{Value: 2.1, StdErr: 0.9}, HysteresisBelow: units.Estimate{Value: 2.6, StdErr: 1.0},
	}
}

// tries are invented tries of a search, in turn about, as far as the given number.
func tries(n numbers, most int) []deadband.Try {
	edges := edgesOf(n)
	order := []int{0, 2, 1, 3}
	offsets := []float64{4.4, -3.6, 0.4, -1.6, 1.4, -0.6, 1.4, 0.4, -1.6, 0.4, -0.6, 1.4}
	var list []deadband.Try
	for _, offset := range offsets {
		for _, k := range order {
			if len(list) == most {
				return list
			}
			e := edges[k]
			out := 1.0
			if e.Side == deadband.Below {
				out = -1
			}
			t := deadband.Try{Side: e.Side, Approach: e.Approach, Pulse: units.Pulse(math.Round(e.Pulse.Value + out*offset)), ShaftTurns: 2}
			if out*(float64(t.Pulse)-e.Pulse.Value) > 0.2 {
				t.Turned, t.Counts = true, units.Counts(out*float64(40+10*len(list)%37))
			}
			list = append(list, t)
		}
	}
	return list
}

// readings are invented readings, sides in turn, from inside outward and back.
func readings(n numbers, most int) []measure.Reading {
	var list []measure.Reading
	for k, share := range []float64{0, 0.25, 0.7, 0.05, 0.4, 0.85, 0.12, 0.55, 1, 0.05, 0.4, 0.85, 0.05, 0.4, 0.85, 0.25, 0.7} {
		for _, way := range []float64{1, -1} {
			if len(list) == most {
				return list
			}
			p := math.Round(10*(n.centre+way*(n.half+6+share*(428-n.half)))) / 10
			r := measure.Reading{Pulse: units.Pulse(p), Approach: measure.Outward, ShaftTurns: 4}
			wobble := 0.0015 * math.Sin(7*float64(len(list)))
			if k >= 9 && k < 12 || k >= 15 {
				r.Approach = measure.Inward
				wobble += 0.002 * way
			}
			r.Ratio = units.Estimate{Value: n.ratio(p) + wobble, StdErr: 0.0012}
			list = append(list, r)
		}
	}
	return list
}

func curveOf(n numbers) *curve.Result {
	r := &curve.Result{Readings: readings(n, 1000)}
	for _, m := range r.Readings {
		r.RatioLeast, r.RatioMost = math.Min(r.RatioLeast, m.Ratio.Value), math.Max(r.RatioMost, m.Ratio.Value)
	}
	return r
}

func fitOf(n numbers) *calibration.Fit {
	p := func(name string, value, err float64) variator.Parameter {
		return variator.Parameter{Name: name, Value: value, StdErr: err}
	}
	m := variator.Model{
		Law: variator.Contact, PulseLeast: units.Pulse(n.centre - 434), PulseMost: units.Pulse(n.centre + 434), Readings: 34, DegreesOfFreedom: 28, Scatter: 1.1,
		Parameters: []variator.Parameter{p("gain", n.gain, 0.004), p("side_asymmetry", 0, 0.002), p("rate_rad_per_us", n.rate, 6e-6),
			p("centre_us", n.centre, 0.4), p("onset_us", n.half, 0.5), p("hysteresis_us", 1.1, 0.3)},
		Outliers: []variator.Outlier{}, Candidates: []variator.Candidate{}, Verdict: "the readings are as the law says",
	}
	m.Covariance = make([][]float64, len(m.Parameters))
	for i, q := range m.Parameters {
		m.Covariance[i] = make([]float64, len(m.Parameters))
		m.Covariance[i][i] = q.StdErr * q.StdErr
	}
	f := &calibration.Fit{Model: m, Neutral: units.Pulse(math.Round(10*n.centre) / 10), FitError: 0.31, Findings: []finding.Finding{}}
	f.Table.Points, f.Table.WorstErrorUs = make([]tablePoint, 17), 0.08
	return f
}

func stepOf() *step.Result {
	r := &step.Result{DeadTimeS: units.Estimate{Value: 0.0921, StdErr: 0.0008}, LagS: units.Estimate{Value: 0.0312, StdErr: 0.0011}, Gain: units.Estimate{Value: 1.002, StdErr: 0.003}}
	for range 2 {
		for _, s := range [][4]float64{{0.16, 0.56, 1614.2, 1785.9}, {-0.16, -0.56, 1404.8, 1233.1}, {0.56, 0.16, 1785.9, 1614.2}, {-0.56, -0.16, 1233.1, 1404.8},
			{0.28, 0.44, 1670.3, 1740.4}, {-0.28, -0.44, 1348.7, 1278.6}, {0.44, 0.28, 1740.4, 1670.3}, {-0.44, -0.28, 1278.6, 1348.7}} {
			r.Taken = append(r.Taken, step.Taken{FromRatio: s[0], ToRatio: s[1], FromPulse: units.Pulse(s[2]), ToPulse: units.Pulse(s[3])})
		}
	}
	return r
}

func gainsOf() *gains.Result {
	margins := gains.Margins{GainMargin: 3.4, PhaseMarginDeg: 52, DelayMarginS: 0.171, Ms: 1.58, Mt: 1.21}
	r := &gains.Result{Rule: "Skogestad 2003", Kind: "PI", Margins: margins, HoldZone: 6, Reachable: 3.2, Considered: []gains.Alternative{
		{Rule: "Skogestad 2003", Kind: "PI", Margins: margins, IAE: 412, Chosen: true},
		{Rule: "Skogestad 2003", Kind: "PID", Margins: gains.Margins{GainMargin: 2.9, PhaseMarginDeg: 49, DelayMarginS: 0.142, Ms: 1.60, Mt: 1.24}, IAE: 371},
	}}
	r.Law.Gains = pid.ParallelPID{Kp: 0.000312, Ki: 0.000171}
	r.Law.PeriodS = 0.01
	return r
}

func proveOf(unit string) *proving.Result {
	r := &proving.Result{Unit: unit, SettledError: units.Estimate{Value: 0.12, StdErr: 0.02}, WorstError: 0.21, Tolerance: 0.5, Passed: true}
	at := 0.0
	for _, size := range []float64{2, 39, 130} {
		for k, to := range []float64{size, 0, -size, 0} {
			s := proving.Step{From: at, To: to, Apart: 0.1}
			s.Measured = proving.Metrics{Rise: 0.31 + size/58, Overshoot: 1, Settling: 0.88 + size/48, Settled: true, Error: 0.09 * math.Cos(float64(3*k))}
			s.Predicted = proving.Metrics{Rise: 0.30 + size/58, Overshoot: 0, Settling: 0.85 + size/48, Settled: true, Error: 0.03}
			r.Steps = append(r.Steps, s)
			at = to
		}
	}
	return r
}

// wholeAxis is an axis with everything done.
func wholeAxis(name string) calibration.Axis {
	n := lift[name]
	return calibration.Axis{Name: name, Check: checkOf(n), DeadBand: deadBandOf(n), Curve: curveOf(n), Fit: fitOf(n), Step: stepOf(), Gains: gainsOf(), Prove: proveOf("mm")}
}
