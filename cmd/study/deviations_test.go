package study

import (
	"fmt"
	"math"
)

// deviations are errors found by the truth, with what was claimed for them.
type deviations struct{ off, claimed []float64 } // claimed are standard errors

func (e *deviations) add(off, claimed float64) {
	e.off, e.claimed = append(e.off, off), append(e.claimed, claimed)
}

func (e *deviations) join(o deviations) {
	e.off, e.claimed = append(e.off, o.off...), append(e.claimed, o.claimed...)
}

func (e *deviations) n() float64 { return float64(len(e.off)) }

// bias is the mean error and its standard error.
func (e *deviations) bias() (mean, stdErr float64) {
	for _, v := range e.off {
		mean += v / e.n()
	}
	return mean, e.scatter() / math.Sqrt(e.n())
}

// scatter is the standard deviation of the errors.
func (e *deviations) scatter() float64 {
	mean, sum := 0.0, 0.0
	for _, v := range e.off {
		mean += v / e.n()
	}
	for _, v := range e.off {
		sum += (v - mean) * (v - mean)
	}
	return math.Sqrt(sum / math.Max(1, e.n()-1))
}

func (e *deviations) rms() float64 {
	sum := 0.0
	for _, v := range e.off {
		sum += v * v
	}
	return math.Sqrt(sum / e.n())
}

// claim is the root mean square of the claimed standard errors.
func (e *deviations) claim() float64 {
	sum := 0.0
	for _, v := range e.claimed {
		sum += v * v
	}
	return math.Sqrt(sum / e.n())
}

// covered is the share of errors within so many claimed standard errors, and
// the standard error of that share.
func (e *deviations) covered(sigmas float64) (share, stdErr float64) {
	for k, v := range e.off {
		if math.Abs(v) <= sigmas*e.claimed[k] {
			share += 1 / e.n()
		}
	}
	return share, math.Sqrt(math.Max(share*(1-share), 1/e.n()*(1-1/e.n())) / e.n())
}

const head = "%-34s %4s  %15s %7s %7s %7s  %12s %12s"

func (e *deviations) row(name string) string {
	bias, biasErr := e.bias()
	one, oneErr := e.covered(1)
	two, twoErr := e.covered(1.96)
	return fmt.Sprintf("%-34s %4d  %+7.3f ± %5.3f %7.3f %7.3f %7.3f  %5.0f ± %2.0f %% %5.0f ± %2.0f %%",
		name, len(e.off), bias, biasErr, e.scatter(), e.rms(), e.claim(), 100*one, 100*oneErr, 100*two, 100*twoErr)
}

func header(what string) string {
	return fmt.Sprintf(head, what, "n", "bias", "scatter", "rms", "claimed", "within 1", "within 1.96")
}

func sign(v float64) float64 { return math.Copysign(1, v) }
