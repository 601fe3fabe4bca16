package pid

import (
	"cmp"
	"math"
	"slices"
)

// Chain is a process known in detail: a gain, any number of lags and inverse responses, and dead time.
type Chain struct {
	Gain       float64   // or rate gain, where it integrates
	Integrates bool      // it has a pole at nought besides the lags
	LagsS      []float64 // time constants, in any order
	InverseS   []float64 // times T of inverse responses (1 - T s)
	DeadTimeS  float64
	PeriodS    float64 // of sampling; half of it counts as dead time
}

// OneLag reduces the chain to a FirstOrder, or to an Integrating without lag, by the half rule of Skogestad 2003 (J.
// Process Control 13, 291-309; by way of Skogestad and Grimholt 2012): of the largest lag left out, half is added to the
// dead time and half to the smallest lag kept; all smaller ones and the inverse responses are added to the dead time.
func (c Chain) OneLag() (Process, error) {
	lags, err := c.sorted()
	if err != nil {
		return nil, err
	}
	if c.Integrates {
		_, dead := c.halve(lags, 0)
		return Integrating{RateGain: c.Gain, DeadTimeS: dead}, nil
	}
	kept, dead := c.halve(lags, 1)
	return FirstOrder{Gain: c.Gain, TimeConstantS: kept[0], DeadTimeS: dead}, nil
}

// TwoLags reduces the chain to a SecondOrder, or to an Integrating with one lag, by the same rule.
func (c Chain) TwoLags() (Process, error) {
	lags, err := c.sorted()
	if err != nil {
		return nil, err
	}
	if c.Integrates {
		kept, dead := c.halve(lags, 1)
		return Integrating{RateGain: c.Gain, LagS: kept[0], DeadTimeS: dead}, nil
	}
	kept, dead := c.halve(lags, 2)
	return SecondOrder{Gain: c.Gain, TimeConstantS: math.Max(kept[0], kept[1]), SecondS: math.Min(kept[0], kept[1]), DeadTimeS: dead}, nil
}

// sorted returns the lags, largest first.
func (c Chain) sorted() ([]float64, error) {
	if err := requirePositive(number{"gain", c.Gain}); err != nil {
		return nil, err
	}
	if err := requireNotNegative(number{"dead time", c.DeadTimeS}, number{"sampling period", c.PeriodS}); err != nil {
		return nil, err
	}
	for _, list := range [][]float64{c.LagsS, c.InverseS} {
		for _, t := range list {
			if err := requireNotNegative(number{"time constant", t}); err != nil {
				return nil, err
			}
		}
	}
	lags := slices.Clone(c.LagsS)
	slices.SortFunc(lags, func(a, b float64) int { return cmp.Compare(b, a) })
	return lags, nil
}

// halve keeps so many lags and returns them with the dead time.
func (c Chain) halve(lags []float64, keep int) (kept []float64, dead float64) {
	kept = make([]float64, keep)
	copy(kept, lags)
	dead = c.DeadTimeS + c.PeriodS/2
	for _, t := range c.InverseS {
		dead += t
	}
	for i := keep; i < len(lags); i++ {
		if i > keep {
			dead += lags[i]
			continue
		}
		dead += lags[i] / 2
		if keep > 0 {
			kept[keep-1] += lags[i] / 2
		}
	}
	return kept, dead
}
