package process

import (
	"math"

	"trunnion/tuning/units"
)

// passes of estimating the noise and fitting anew; a third changes nothing that shows.
const passes = 2

// Fit fits steps together. Its steps: make the records ready; find a start; fit; estimate the noise and fit again; fit
// each step by itself; test whether one model serves all.
func Fit(steps []Step, s Settings) (Result, error) {
	if err := s.validate(); err != nil {
		return Result{}, err
	}
	if len(steps) == 0 {
		return Result{}, &InputError{-1, "there are no steps"}
	}
	records := make([]*record, len(steps))
	for i, st := range steps {
		if err := st.validate(i, s); err != nil {
			return Result{}, err
		}
		records[i] = newRecord(st, s)
	}
	free := freeParameters(s.NoLag)
	common, wander, err := fitTogether(records, free, true)
	if err != nil {
		return Result{}, err
	}
	return report(records, common, wander, s.quantum()/math.Sqrt(12), !s.FromRest), nil
}

// fitTogether fits all records, with the proportion of wander estimated if asked.
func fitTogether(records []*record, free []int, walks bool) (solution, float64, error) {
	for _, r := range records {
		r.whiten(0)
	}
	common, err := solveAround(records, opening(records, free), free)
	wander := 0.0
	for range passes {
		if err != nil || !walks {
			break
		}
		wander = estimateWander(records, common.p, wander)
		for _, r := range records {
			r.whiten(wander)
		}
		common, err = solveAround(records, common.p, free)
	}
	return common, wander, err
}

// solveAround solves from a start and, where the sum of squares has kinks, from other dead times near it, half a sample
// apart. Rates read at single instants make it kink at every sample that the dead time passes, with a minimum of its own
// between each two; so do counts of an axis without lag. Counts of one with lag do not.
func solveAround(records []*record, start [parameters]float64, free []int) (solution, error) {
	if !records[0].kinks {
		return solve(records, start, free)
	}
	if p, _, arrived := descend(records, start, free, roughlyArrived); arrived {
		start = p
	}
	best, least := start, math.Inf(1)
	shortest, _ := gridTimes(records)
	for k := -startsAround; k <= startsAround; k++ {
		from := start
		from[deadAt] += float64(k) * shortest / 2
		if p, squares, _ := descend(records, from, free, roughlyArrived); squares < least {
			best, least = p, squares
		}
	}
	return solve(records, best, free)
}

// startsAround is how many starts are tried to either side.
const startsAround = 4

// report turns solutions into a Result.
func report(records []*record, common solution, wander, quantisation float64, ratios bool) Result {
	noise := math.Sqrt(common.variance())
	unit := common.variance()
	if wander == 0 { // a reading cannot be better than its quantum allows
		unit = math.Max(unit, quantisation*quantisation)
	}
	alone := fitAlone(records, common)
	r := Result{
		Steps:            make([]StepResult, len(records)),
		ReadingNoise:     noise,
		Quantisation:     quantisation,
		Ripple:           math.Sqrt(math.Max(0, noise*noise-quantisation*quantisation)),
		Wander:           noise * math.Sqrt(wander),
		Autocorrelation:  common.lagOne,
		DegreesOfFreedom: common.dof(),
		correlation:      common.correlations(),
	}
	r.OneModel = testOneModel(records, common, alone)
	widen := [parameters]float64{}
	if !r.OneModel.Holds {
		widen = meanErrors(alone)
	}
	estimate := func(a int) units.Estimate {
		return units.Estimate{Value: common.p[a], StdErr: math.Max(widen[a], common.stdErr(alongOne(a), unit))}
	}
	r.Gain, r.DeadTime, r.Lag = estimate(gainAt), estimate(deadAt), estimate(lagAt)
	r.Response = units.Estimate{
		Value:  common.p[deadAt] + common.p[lagAt],
		StdErr: common.stdErr(alongResponse, unit),
	}
	if !r.OneModel.Holds {
		r.Response.StdErr = math.Max(r.Response.StdErr, meanResponseError(alone))
	}
	c := &common.covariance
	if d := math.Sqrt(c[deadAt][deadAt] * c[lagAt][lagAt]); d > 0 {
		r.DeadTimeLagCorrelation = c[deadAt][lagAt] / d
	}
	for i, rec := range records {
		r.Steps[i] = stepResult(rec, common, alone[i], unit, ratios)
	}
	return r
}

// stepResult is what one step says by itself.
func stepResult(r *record, common solution, alone *solution, unit float64, ratios bool) StepResult {
	out := StepResult{FromRatio: r.from, ToRatio: r.to, Outward: math.Abs(r.to) > math.Abs(r.from)}
	if ratios {
		out.InitialRatio = initialRatio(r, common, unit)
	}
	c := r.model(common.p[deadAt], common.p[lagAt])
	sum := 0.0
	for j := range r.white {
		e := common.p[gainAt]*c.answer[j] - r.white[j]
		sum += e * e
	}
	out.ResidualRms = math.Sqrt(sum / math.Max(1, float64(r.rows()-len(r.basis))))
	if alone == nil {
		return out
	}
	out.Alone = &Alone{}
	for a, into := range [parameters]*units.Estimate{&out.Alone.Gain, &out.Alone.DeadTime, &out.Alone.Lag} {
		*into = units.Estimate{Value: alone.p[a], StdErr: alone.stdErr(alongOne(a), unit)}
	}
	return out
}

// initialRatio regresses what the common model leaves of a step on its last own column, the others taken out. Its error
// holds that of gain, dead time and lag.
func initialRatio(r *record, common solution, unit float64) units.Estimate {
	r.fill(&r.raw, common.p[deadAt], common.p[lagAt])
	n := len(r.read)
	left, own := make([]float64, n), append([]float64(nil), r.lastOwn...)
	gradients := [parameters][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	r.filter(left, r.read)
	r.filter(gradients[gainAt], r.raw.answer)
	r.filter(gradients[deadAt], r.raw.byDead)
	r.filter(gradients[lagAt], r.raw.byLag)
	addScaled(left, gradients[gainAt], -common.p[gainAt])
	for _, b := range r.basis[:r.others] {
		addScaled(own, b, -dot(own, b))
	}
	size := dot(own, own)
	if size == 0 {
		return units.Estimate{}
	}
	var by [parameters]float64
	for a := range parameters {
		by[a] = -dot(own, gradients[a]) / size
	}
	by[deadAt] *= common.p[gainAt]
	by[lagAt] *= common.p[gainAt]
	variance := 1 / size
	for a := range parameters {
		for b := range parameters {
			variance += by[a] * common.covariance[a][b] * by[b]
		}
	}
	return units.Estimate{Value: dot(own, left) / size, StdErr: math.Sqrt(unit * variance)}
}
