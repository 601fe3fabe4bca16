package process

import (
	"fmt"
	"math"
)

// RateSample is a reading of the output's speed, or of its ratio, at one moment.
type RateSample struct {
	TimeS float64
	Rate  float64
}

// RateStep is one change watched as a rate: a tachometer, or ratios read over gates and stamped at the gates' middle.
type RateStep struct {
	Samples []RateSample
	AtS     float64
	// From and To are what was wanted before and after, in the rate's unit.
	From, To float64
}

// FitRates fits steps whose rate was read at single instants with independent noise. Gain, dead time and lag are as in
// Fit; each step's InitialRatio is its rate before the step. Where there are counts, Fit is better.
func FitRates(steps []RateStep, noLag bool) (Result, error) {
	if len(steps) == 0 {
		return Result{}, &InputError{-1, "there are no steps"}
	}
	records := make([]*record, len(steps))
	for i, st := range steps {
		r, err := newRateRecord(st, i)
		if err != nil {
			return Result{}, err
		}
		records[i] = r
	}
	common, _, err := fitTogether(records, freeParameters(noLag), false)
	if err != nil {
		return Result{}, err
	}
	return report(records, common, 0, 0, true), nil
}

// newRateRecord checks a step and makes it ready.
func newRateRecord(st RateStep, i int) (*record, error) {
	n := len(st.Samples)
	if n < leastSamples {
		return nil, &InputError{i, fmt.Sprintf("it has %d samples; at least %d are needed", n, leastSamples)}
	}
	if st.To == st.From {
		return nil, &InputError{i, "the wanted rate is the same before and after"}
	}
	r := &record{timeS: make([]float64, n), read: make([]float64, n), offset: true, kinks: true, rise: st.To - st.From, from: st.From, to: st.To}
	ones := make([]float64, n)
	for j, v := range st.Samples {
		if math.IsNaN(v.TimeS+v.Rate) || math.IsInf(v.TimeS+v.Rate, 0) {
			return nil, &InputError{i, fmt.Sprintf("sample %d is not finite", j)}
		}
		if j > 0 && !(v.TimeS > st.Samples[j-1].TimeS) {
			return nil, &InputError{i, fmt.Sprintf("sample %d is not later than the one before it", j)}
		}
		r.timeS[j], r.read[j], ones[j] = v.TimeS, v.Rate, 1
	}
	r.own = [][]float64{ones}
	way := path{atS: st.AtS, jump: r.rise}
	r.fill = func(c *columns, deadS, lagS float64) {
		sweep := way.sweep(deadS, lagS)
		for j, t := range r.timeS {
			a := sweep.at(t)
			c.answer[j], c.byDead[j], c.byLag[j] = a.rise, -a.slope, a.riseByLag
		}
	}
	r.fewer = func(every int) *record {
		few := st
		few.Samples = nil
		for j := 0; j < n; j += every {
			few.Samples = append(few.Samples, st.Samples[j])
		}
		thinned, err := newRateRecord(few, i)
		if err != nil { // too few: the whole record then
			return r
		}
		return thinned
	}
	r.size()
	return r, nil
}
