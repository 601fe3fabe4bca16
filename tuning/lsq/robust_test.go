package lsq

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
)

func TestLossesAreConsistent(t *testing.T) {
	for _, loss := range []Loss{Squares(), Huber(1.345), SoftL1(1.345), Bisquare(4.685)} {
		for z := -6.05; z < 6.1; z += 0.1 {
			const h = 1e-5
			psi := func(z float64) float64 { return z * loss.weight(z) }
			require.InDelta(t, (loss.rho(z+h)-loss.rho(z-h))/(2*h), psi(z), 1e-8, "%s at %v: rho' = psi", loss, z)
			require.InDelta(t, (psi(z+h)-psi(z-h))/(2*h), loss.slope(z), 1e-6, "%s at %v: psi' = slope", loss, z)
		}
		require.InEpsilon(t, 1e-4*1e-4/2, loss.rho(1e-4), 1e-6, "%s is z^2/2 near zero", loss)
	}
}

// The tuning constants by their definition: efficiency under Gaussian noise is (E psi')^2 / E psi^2. The 95 % of Huber's
// 1.345 and Tukey's 4.685 are P. W. Holland and R. E. Welsch 1977 (from memory).
func TestLossEfficiency(t *testing.T) {
	for _, c := range []struct {
		loss Loss
		want float64
	}{{Huber(1.345), 0.95}, {Bisquare(4.685), 0.95}, {SoftL1(1.345), 0.954}, {Squares(), 1}} {
		mean := func(f func(float64) float64) float64 {
			density := func(z float64) float64 { return f(z) * math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
			total := 0.0
			for _, span := range [][2]float64{{-9, -4.685}, {-4.685, -1.345}, {-1.345, 1.345}, {1.345, 4.685}, {4.685, 9}} {
				total += quad.Fixed(density, span[0], span[1], 60, quad.Legendre{}, 0) // psi' jumps at the tuning constants
			}
			return total
		}
		slope := mean(c.loss.slope)
		psi2 := mean(func(z float64) float64 { w := c.loss.weight(z) * z; return w * w })
		got := slope * slope / psi2
		t.Logf("%s: efficiency %.4f", c.loss, got)
		require.InDelta(t, c.want, got, 0.005, c.loss.String())
	}
}

// coverage fits many seeded sets and returns by parameter the share of 95 % intervals that hold the truth, and the
// variance over the mean claimed variance.
func coverage(t *testing.T, runs int, opt Options, withSigma bool, spoil func(*rand.Rand, []float64)) (covered, variance []float64) {
	truth := []float64{2, 0.8, 0.5}
	const sd = 0.02
	covered, variance = make([]float64, 3), make([]float64, 3)
	claimed := make([]float64, 3)
	var s Solver
	for seed := range runs {
		rng := rand.New(rand.NewPCG(uint64(seed), 99))
		x, y := decayData(rng, 40, sd)
		spoil(rng, y)
		sigma := make([]float64, len(x))
		for i := range sigma {
			sigma[i] = 1
			if withSigma {
				sigma[i] = sd
			}
		}
		start := []float64{1, 1, 0}
		if opt.Loss.kind == bisquareLoss { // must be led to the right minimum
			lead := opt
			lead.Loss = Huber(1.345)
			led, err := s.Fit(decay(x, y, sigma), start, lead)
			require.NoError(t, err, "seed %d", seed)
			start = led.Params
		}
		result, err := s.Fit(decay(x, y, sigma), start, opt)
		require.NoError(t, err, "seed %d", seed)
		require.Equal(t, Converged, result.Status, "seed %d: %s", seed, result.Summary.Full())
		for j := range truth {
			e := result.Params[j] - truth[j]
			if math.Abs(e) <= result.Quantile(0.95)*result.StdErr[j] {
				covered[j] += 1 / float64(runs)
			}
			variance[j] += e * e
			claimed[j] += result.StdErr[j] * result.StdErr[j]
		}
	}
	for j := range variance {
		variance[j] /= claimed[j]
	}
	return covered, variance
}

func TestStandardErrorsAreHonest(t *testing.T) {
	wild := func(rng *rand.Rand, y []float64) {
		for i := range y {
			if rng.Float64() < 0.08 {
				y[i] += 0.4 * (rng.Float64() - 0.2)
			}
		}
	}
	clean := func(*rand.Rand, []float64) {}
	const runs = 1000
	for _, c := range []struct {
		name           string
		loss           Loss
		noise          Noise
		withSigma      bool
		spoil          func(*rand.Rand, []float64)
		lowest, spread float64 // least coverage; how far the variance may be from the claim
	}{
		{"known sigma", Squares(), KnownSigma, true, clean, 0.92, 0.17},
		{"scaled", Squares(), ScaledByResiduals, false, clean, 0.92, 0.17},
		{"huber, clean", Huber(1.345), ScaledByResiduals, false, clean, 0.92, 0.17},
		{"huber, wild", Huber(1.345), ScaledByResiduals, false, wild, 0.915, 0.3},
		{"soft, wild", SoftL1(1.345), KnownSigma, true, wild, 0.915, 0.3},
		{"bisquare, wild", Bisquare(4.685).WithScale(1), KnownSigma, true, wild, 0.915, 0.3},
	} {
		opt := Defaults()
		opt.Loss, opt.Noise = c.loss, c.noise
		covered, variance := coverage(t, runs, opt, c.withSigma, c.spoil)
		t.Logf("%-15s coverage %.3f (s.e. %.3f), variance over claim %.3f", c.name, covered, math.Sqrt(0.05*0.95/runs), variance)
		for j := range covered {
			require.Greater(t, covered[j], c.lowest, c.name)
			require.Less(t, covered[j], 0.98, c.name)
			require.InDelta(t, 1, variance[j], c.spread, c.name)
		}
	}
}

// Where a redescending loss has thrown every reading out, nothing is known, and the result must say so.
func TestAllReadingsThrownOut(t *testing.T) {
	opt := Defaults()
	opt.Loss = Bisquare(4.685)
	result, err := Fit(line([]float64{0, 1, 2, 3}, []float64{0, 1, 2, 3}, nil), []float64{1000, 0}, opt)
	require.NoError(t, err)
	require.Equal(t, RankLoss, result.Status)
	require.Equal(t, []string{"a", "b"}, result.Unidentified)
	require.Nil(t, result.StdErr)
}
