package process

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/units"
)

// The recipe of fixtures/loops/steps.json: 250 samples at 10 ms, a step at 0.5 s.
const (
	trueRise, trueDead, trueLag, trueStart = 5.0, 0.12, 0.35, 10.0
	rampRate, rampDead, rampStart          = 0.08, 0.15, 0.02
)

func trueRate(t float64) float64 {
	if t <= setStep+trueDead {
		return trueStart
	}
	return trueStart - trueRise*math.Expm1(-(t-setStep-trueDead)/trueLag)
}

func rateSet(rng *rand.Rand) []float64 {
	set := make([]float64, 250)
	for i := range set {
		set[i] = math.Round((trueRate(float64(i+1)*setSample)+0.05*rng.NormFloat64())/0.025) * 0.025
	}
	return set
}

// gateSet are counts whose speed has independent noise of 0.05 turn/s in each gate.
func gateSet(rng *rand.Rand) []float64 {
	set := make([]float64, 250)
	sum, last := rng.Float64(), 0.0
	for i := range set {
		from, to := float64(i)*setSample, float64(i+1)*setSample
		mean := 0.0
		const parts = 20
		for k := range parts { // the rate's average over the gate, finely
			mean += trueRate(from+(float64(k)+0.5)*(to-from)/parts) / parts
		}
		sum += setPerTurn * setSample * (mean + 0.05*rng.NormFloat64())
		set[i] = math.Floor(sum) - last
		last = math.Floor(sum)
	}
	return set
}

func rampSet(rng *rand.Rand) []float64 {
	set := make([]float64, 250)
	for i := range set {
		at := float64(i+1) * setSample
		y := rampStart + rampRate*math.Max(0, at-setStep-rampDead)
		set[i] = math.Round((y+0.002*rng.NormFloat64())/0.001) * 0.001
	}
	return set
}

// tally gathers an estimate over many runs.
type tally struct {
	name                   string
	truth                  float64
	n                      int
	sum, squares, variance float64
	covered                int
}

func (c *tally) add(e units.Estimate) {
	d := e.Value - c.truth
	c.n++
	c.sum += d
	c.squares += d * d
	c.variance += e.StdErr * e.StdErr
	if math.Abs(d) <= 1.96*e.StdErr {
		c.covered++
	}
}

// check requires: bias within 4 of its standard errors (plus a stated allowance), scatter within the claimed error and,
// where given, the Cramer-Rao bound, and coverage of 95 % intervals, each with the room that the number of runs leaves.
func (c *tally) check(t *testing.T, seed uint64, bound, allowance float64) {
	t.Helper()
	n := float64(c.n)
	bias := c.sum / n
	scatter := math.Sqrt(c.squares/n - bias*bias)
	claimed := math.Sqrt(c.variance / n)
	coverage := float64(c.covered) / n
	room := 4 / math.Sqrt(2*n)
	t.Logf("%-10s bias %+.2e (s.e. %.1e)  scatter %.3e  claimed %.3e  bound %.3e  coverage %.3f (s.e. %.3f)",
		c.name, bias, scatter/math.Sqrt(n), scatter, claimed, bound, coverage, math.Sqrt(0.05*0.95/n))
	require.LessOrEqual(t, math.Abs(bias), 4*scatter/math.Sqrt(n)+allowance, "%s, seed %d", c.name, seed)
	require.InDelta(t, 1, scatter/claimed, room+0.08, "%s claims its scatter, seed %d", c.name, seed)
	if bound > 0 {
		require.InDelta(t, 1, scatter/bound, room+0.06, "%s reaches its bound, seed %d", c.name, seed)
	}
	require.InDelta(t, 0.95, coverage, 4*math.Sqrt(0.05*0.95/n)+0.02, "%s, seed %d", c.name, seed)
}

const scatterRuns = 120

func TestRatesReachTheBound(t *testing.T) {
	t.Parallel()
	const seed = 20261
	rng := rand.New(rand.NewPCG(seed, 1))
	gain, dead, lag, start := tally{name: "rise", truth: trueRise}, tally{name: "dead time", truth: trueDead}, tally{name: "lag", truth: trueLag}, tally{name: "start", truth: trueStart}
	for range scatterRuns {
		r, err := FitRates([]RateStep{fromRates(rateSet(rng))}, false)
		require.NoError(t, err, "seed %d", seed)
		gain.add(units.Estimate{Value: 5 * r.Gain.Value, StdErr: 5 * r.Gain.StdErr})
		dead.add(r.DeadTime)
		lag.add(r.Lag)
		start.add(r.Steps[0].InitialRatio)
	}
	// Cramer-Rao bounds: independent computation (numpy), oracle of fixtures/loops.
	gain.check(t, seed, 0.00918, 0)
	dead.check(t, seed, 0.00134, 0)
	lag.check(t, seed, 0.00253, 0)
	start.check(t, seed, 0.0063, 0)
}

func TestCountsReachTheBound(t *testing.T) {
	t.Parallel()
	const seed = 20262
	rng := rand.New(rand.NewPCG(seed, 1))
	gain, dead, lag := tally{name: "rise", truth: trueRise}, tally{name: "dead time", truth: trueDead}, tally{name: "lag", truth: trueLag}
	for range scatterRuns {
		r, err := Fit([]Step{fromGates(gateSet(rng))}, Settings{CountsPerTurn: setPerTurn})
		require.NoError(t, err, "seed %d", seed)
		gain.add(units.Estimate{Value: 5 * r.Gain.Value, StdErr: 5 * r.Gain.StdErr})
		dead.add(r.DeadTime)
		lag.add(r.Lag)
	}
	// The bound is that of the rates, whose noise this is; quantisation adds a little and the filter for it takes less
	// than the differences of counts would.
	gain.check(t, seed, 0.00918, 0)
	dead.check(t, seed, 0.00134, 0)
	lag.check(t, seed, 0.00253, 0)
}

func TestRampsReachTheBound(t *testing.T) {
	t.Parallel()
	const seed = 20263
	rng := rand.New(rand.NewPCG(seed, 1))
	rate, dead := tally{name: "rate", truth: rampRate}, tally{name: "dead time", truth: rampDead}
	for range scatterRuns {
		r, err := Fit([]Step{fromRamp(rampSet(rng))}, rampSettings)
		require.NoError(t, err, "seed %d", seed)
		rate.add(units.Estimate{Value: rampRate * r.Gain.Value, StdErr: rampRate * r.Gain.StdErr})
		dead.add(r.DeadTime)
	}
	rate.check(t, seed, 0.00028, 0)
	dead.check(t, seed, 0.00484, 0)
}

func TestStampingGatesAtTheirEndIsBiased(t *testing.T) {
	t.Parallel()
	// The trap that fitting counts avoids: rates from gates, stamped at the gates' ends, make the dead time half a gate
	// too long; stamped at the middle they do not.
	const seed = 20264
	rng := rand.New(rand.NewPCG(seed, 1))
	var ends, middles, counts float64
	const runs = 40
	covered := 0
	for range runs {
		set := gateSet(rng)
		rates := make([]float64, len(set))
		for i, v := range set {
			rates[i] = v / setPerTurn / setSample
		}
		end := fromRates(rates)
		middle := fromRates(rates)
		for i := range middle.Samples {
			middle.Samples[i].TimeS -= setSample / 2
		}
		a, err := FitRates([]RateStep{end}, false)
		require.NoError(t, err)
		b, err := FitRates([]RateStep{middle}, false)
		require.NoError(t, err)
		c, err := Fit([]Step{fromGates(set)}, Settings{CountsPerTurn: setPerTurn})
		require.NoError(t, err)
		ends += (a.DeadTime.Value - trueDead) / runs
		middles += (b.DeadTime.Value - trueDead) / runs
		counts += (c.DeadTime.Value - trueDead) / runs
		if a.DeadTime.Sigmas(trueDead) < 1.96 {
			covered++
		}
	}
	stdErr := 0.00134 / math.Sqrt(runs)
	t.Logf("bias of the dead time: stamped at the end %.2f ms, middle %.2f ms, counts %.2f ms (s.e. %.2f ms)", 1e3*ends, 1e3*middles, 1e3*counts, 1e3*stdErr)
	require.InDelta(t, setSample/2, ends, 4*stdErr)
	require.InDelta(t, 0, middles, 4*stdErr)
	require.InDelta(t, 0, counts, 4*stdErr)
	require.Less(t, covered, runs/4)
}
