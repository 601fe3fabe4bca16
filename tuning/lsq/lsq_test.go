package lsq

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// line is y = a + b x with Gaussian noise, for tests with a closed form.
func line(x, y, sigma []float64) Problem {
	return Problem{
		Names: []string{"a", "b"}, Rows: len(x), Sigma: sigma,
		Residual: func(dst, p []float64) {
			for i := range dst {
				dst[i] = p[0] + p[1]*x[i] - y[i]
			}
		},
		Jacobian: func(dst, _ []float64) {
			for i := range x {
				dst[2*i], dst[2*i+1] = 1, x[i]
			}
		},
	}
}

// decay is y = a exp(-b x) + c, a mild nonlinear case.
func decay(x, y, sigma []float64) Problem {
	return Problem{
		Names: []string{"a", "b", "c"}, Rows: len(x), Sigma: sigma,
		Residual: func(dst, p []float64) {
			for i := range dst {
				dst[i] = p[0]*math.Exp(-p[1]*x[i]) + p[2] - y[i]
			}
		},
		Jacobian: func(dst, p []float64) {
			for i := range x {
				e := math.Exp(-p[1] * x[i])
				dst[3*i], dst[3*i+1], dst[3*i+2] = e, -p[0]*x[i]*e, 1
			}
		},
	}
}

func decayData(rng *rand.Rand, n int, sigma float64) (x, y []float64) {
	for i := range n {
		x = append(x, 4*float64(i)/float64(n-1))
		y = append(y, 2*math.Exp(-0.8*x[i])+0.5+sigma*rng.NormFloat64())
	}
	return x, y
}

// JCGM 100:2008 (GUM), example H.3: data and printed results; the longer figures were recomputed in full precision
// from the printed data (a calibration line for a thermometer).
func TestGUMExampleH3(t *testing.T) {
	temp := []float64{21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511}
	corr := []float64{-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160}
	x := make([]float64, len(temp))
	for i := range x {
		x[i] = temp[i] - 20
	}
	opt := Defaults()
	opt.Noise = ScaledByResiduals
	result, err := Fit(line(x, corr, nil), []float64{0, 0}, opt)
	require.NoError(t, err)
	require.Equal(t, Converged, result.Status)
	for _, c := range []struct {
		what       string
		got        float64
		gum        float64 // printed
		unit       float64 // of its last digit
		recomputed float64
	}{
		{"y1", result.Params[0], -0.1712, 1e-4, -0.17120379013135},
		{"y2", result.Params[1], 0.00218, 1e-5, 0.00218269773988728},
		{"s(y1)", result.StdErr[0], 0.0029, 1e-4, 0.00287759783516},
		{"s(y2)", result.StdErr[1], 0.00067, 1e-5, 0.000667938773227833},
		{"r", result.Correlation()[0][1], -0.930, 1e-3, -0.930429603093446},
		{"s", result.Scale, 0.0035, 1e-4, 0.00349756396350529},
		{"b(30)", result.Params[0] + 10*result.Params[1], -0.1494, 1e-4, -0.149376812732477},
		{"u(b(30))", result.StdErrOf([]float64{1, 10}), 0.0041, 1e-4, 0.00413859575285496},
		{"SSR", result.ChiSquare, 0.000110096583109298, 1e-15, 0.000110096583109298},
	} {
		require.InDelta(t, c.gum, c.got, 0.5000001*c.unit, c.what)
		require.InEpsilon(t, c.recomputed, c.got, 1e-9, c.what)
	}
	require.Equal(t, 9, result.DOF)
	require.InDelta(t, 2.262, result.Quantile(0.95), 5e-4, "Student's t, 9 degrees of freedom (GUM table G.2)")
}

// A prior is one more reading: the result must be the weighted mean in closed form.
func TestPriorIsOneMoreReading(t *testing.T) {
	y := []float64{3.1, 2.9, 3.3, 3.0}
	sigma := []float64{0.2, 0.2, 0.2, 0.2}
	problem := Problem{
		Names: []string{"mean"}, Rows: 4, Sigma: sigma, Priors: []Prior{{Param: 0, Mean: 2, StdErr: 0.1}},
		Residual: func(dst, p []float64) {
			for i := range dst {
				dst[i] = p[0] - y[i]
			}
		},
	}
	result, err := Fit(problem, []float64{0}, Defaults())
	require.NoError(t, err)
	data, prior := 4/0.04, 1/0.01
	require.InDelta(t, (data*3.075+prior*2)/(data+prior), result.Params[0], 1e-12)
	require.InEpsilon(t, 1/math.Sqrt(data+prior), result.StdErr[0], 1e-9)
	require.Equal(t, 4, result.DOF)
	require.InDelta(t, 1.959964, result.Quantile(0.95), 1e-6, "normal quantile, tables")

	opt := Defaults()
	opt.Noise = ScaledByResiduals
	_, err = Fit(problem, []float64{0}, opt)
	var wrong *ProblemError
	require.ErrorAs(t, err, &wrong)
	require.Equal(t, "Priors", wrong.Field)
}

func TestBoundsHoldAndAreNamed(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4}
	y := []float64{0.1, -0.9, -2.1, -2.9, -4.1} // slope near -1
	problem := line(x, y, nil)
	problem.Lower = []float64{math.Inf(-1), 0}
	result, err := Fit(problem, []float64{5, 3}, Defaults())
	require.NoError(t, err)
	require.Equal(t, Converged, result.Status)
	require.Zero(t, result.Params[1])
	require.InDelta(t, -1.98, result.Params[0], 1e-12, "mean of y, the slope held at 0")
	require.Equal(t, []string{"b"}, result.AtBound)
	require.InEpsilon(t, 1/math.Sqrt(5), result.StdErr[0], 1e-12)
	require.Zero(t, result.StdErr[1])
	require.Equal(t, 4, result.DOF)

	problem.Lower[1] = -3 // a bound that does not bind changes nothing
	result, err = Fit(problem, []float64{5, 3}, Defaults())
	require.NoError(t, err)
	free, err := Fit(line(x, y, nil), []float64{5, 3}, Defaults())
	require.NoError(t, err)
	require.InDeltaSlice(t, free.Params, result.Params, 1e-12)
	require.Empty(t, result.AtBound)
}

func TestRankLossNamesTheParameters(t *testing.T) {
	x := []float64{0, 1, 2, 3, 4, 5}
	problem := Problem{
		Names: []string{"offset", "gain", "lever"}, Rows: len(x),
		Residual: func(dst, p []float64) { // only gain times lever shows
			for i := range dst {
				dst[i] = p[0] + p[1]*p[2]*x[i] - (1 + 6*x[i] + 0.1*math.Sin(9*x[i]))
			}
		},
	}
	for _, analytic := range []bool{false, true} {
		if analytic {
			problem.Jacobian = func(dst, p []float64) {
				for i, v := range x {
					dst[3*i], dst[3*i+1], dst[3*i+2] = 1, p[2]*v, p[1]*v
				}
			}
		}
		result, err := Fit(problem, []float64{0, 1, 2}, Defaults())
		require.NoError(t, err)
		require.Equal(t, RankLoss, result.Status)
		require.False(t, result.Status.Early())
		require.Equal(t, []string{"gain", "lever"}, result.Unidentified)
		require.Nil(t, result.StdErr)
		require.InDelta(t, 6, result.Params[1]*result.Params[2], 0.1)
		var status *StatusError
		require.ErrorAs(t, result.Status.Err(), &status)
	}
	problem.Jacobian = nil
	problem.Priors = []Prior{{Param: 1, Mean: 3, StdErr: 0.3}} // knowledge of one settles both
	result, err := Fit(problem, []float64{0, 1, 2}, Defaults())
	require.NoError(t, err)
	require.Equal(t, Converged, result.Status)
	require.InDelta(t, 3, result.Params[1], 1e-6)
	require.InDelta(t, 0.3, result.StdErr[1], 1e-3)
}

func TestMisuseIsAnError(t *testing.T) {
	good := line([]float64{0, 1, 2}, []float64{0, 1, 2}, nil)
	for _, c := range []struct {
		field  string
		change func(*Problem, *Options, *[]float64)
	}{
		{"Names", func(p *Problem, _ *Options, _ *[]float64) { p.Names = nil }},
		{"Residual", func(p *Problem, _ *Options, _ *[]float64) { p.Residual = nil }},
		{"Residual", func(p *Problem, _ *Options, _ *[]float64) { p.Residual = func(dst, _ []float64) { dst[0] = 1 } }},
		{"Jacobian", func(p *Problem, _ *Options, _ *[]float64) { p.Jacobian = func(dst, _ []float64) { dst[0] = 1 } }},
		{"Rows", func(p *Problem, _ *Options, _ *[]float64) { p.Rows = 0 }},
		{"Rows", func(p *Problem, _ *Options, _ *[]float64) { p.Rows = 1 }},
		{"start", func(_ *Problem, _ *Options, s *[]float64) { *s = []float64{1} }},
		{"start", func(_ *Problem, _ *Options, s *[]float64) { *s = []float64{1, math.NaN()} }},
		{"Sigma", func(p *Problem, _ *Options, _ *[]float64) { p.Sigma = []float64{1} }},
		{"Sigma", func(p *Problem, _ *Options, _ *[]float64) { p.Sigma = []float64{1, 0, 1} }},
		{"Lower", func(p *Problem, _ *Options, _ *[]float64) { p.Lower = []float64{1} }},
		{"Lower", func(p *Problem, _ *Options, _ *[]float64) { p.Lower, p.Upper = []float64{1, 1}, []float64{0, 2} }},
		{"Priors", func(p *Problem, _ *Options, _ *[]float64) { p.Priors = []Prior{{Param: 2, StdErr: 1}} }},
		{"Priors", func(p *Problem, _ *Options, _ *[]float64) { p.Priors = []Prior{{Param: 1}} }},
		{"MaxIterations", func(_ *Problem, o *Options, _ *[]float64) { o.MaxIterations = 0 }},
		{"GradientTol", func(_ *Problem, o *Options, _ *[]float64) { o.GradientTol = math.NaN() }},
		{"StepTol", func(_ *Problem, o *Options, _ *[]float64) { o.StepTol = -1 }},
		{"CostTol", func(_ *Problem, o *Options, _ *[]float64) { o.CostTol = 1 }},
		{"InitialRadius", func(_ *Problem, o *Options, _ *[]float64) { o.InitialRadius = 0 }},
		{"PolishSteps", func(_ *Problem, o *Options, _ *[]float64) { o.PolishSteps = -1 }},
		{"Attempts", func(_ *Problem, o *Options, _ *[]float64) { o.Attempts = 0 }},
		{"RankTol", func(_ *Problem, o *Options, _ *[]float64) { o.RankTol = 1 }},
		{"Noise", func(_ *Problem, o *Options, _ *[]float64) { o.Noise = 7 }},
		{"Loss", func(_ *Problem, o *Options, _ *[]float64) { o.Loss = Huber(0) }},
		{"Loss", func(_ *Problem, o *Options, _ *[]float64) { o.Loss = Huber(1).WithScale(math.NaN()) }},
	} {
		problem, opt, start := good, Defaults(), []float64{1, 1}
		c.change(&problem, &opt, &start)
		_, err := Fit(problem, start, opt)
		var wrong *ProblemError
		require.True(t, errors.As(err, &wrong), "%s: %v", c.field, err)
		require.Equal(t, c.field, wrong.Field, "%v", err)
	}
	opt := Defaults()
	require.NoError(t, opt.Validate())
}

func TestOutcomesThatAreNoMinimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	x, y := decayData(rng, 20, 0.01)
	problem := decay(x, y, nil)

	opt := Defaults()
	opt.MaxIterations = 2
	result, err := Fit(problem, []float64{1, 3, 0}, opt)
	require.NoError(t, err)
	require.Equal(t, IterationLimit, result.Status)
	require.True(t, result.Status.Early())

	result, err = Fit(problem, []float64{1, -1e4, 0}, Defaults())
	require.NoError(t, err)
	require.Equal(t, BadStart, result.Status)
	require.Equal(t, []float64{1, -1e4, 0}, result.Params)

	wrong := problem
	wrong.Jacobian = func(dst, p []float64) {
		problem.Jacobian(dst, p)
		for i := range dst {
			dst[i] = -dst[i]
		}
	}
	require.Greater(t, CheckJacobian(wrong, []float64{1, 1, 0}).Relative, 0.1)
	result, err = Fit(wrong, []float64{1, 3, 0}, Defaults())
	require.NoError(t, err)
	require.Equal(t, Stalled, result.Status)
}

// A step into a region where the model does not exist must be taken back, not end the fit.
func TestImpossibleStepsAreTakenBack(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	problem := Problem{
		Names: []string{"at"}, Rows: len(x),
		Residual: func(dst, p []float64) {
			for i := range dst {
				dst[i] = math.Log(p[0]+x[i]) - math.Log(0.05+x[i])
			}
		},
	}
	result, err := Fit(problem, []float64{60}, Defaults()) // the first Gauss-Newton step lands at a negative logarithm
	require.NoError(t, err)
	require.Equal(t, Converged, result.Status)
	require.InDelta(t, 0.05, result.Params[0], 1e-9)
}

func TestJacobianCheckPasses(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	x, y := decayData(rng, 20, 0.01)
	require.Less(t, CheckJacobian(decay(x, y, nil), []float64{1.3, 0.4, 0.2}).Relative, 1e-8)
}

type tape struct{ iterations []Iteration }

func (t *tape) Iteration(i Iteration) { t.iterations = append(t.iterations, i) }

func TestRecorderAndSummary(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	x, y := decayData(rng, 20, 0.01)
	var seen tape
	opt := Defaults()
	opt.Recorder = &seen
	result, err := Fit(decay(x, y, nil), []float64{1, 3, 0}, opt)
	require.NoError(t, err)
	require.NotEmpty(t, seen.iterations)
	last := math.Inf(1)
	for _, i := range seen.iterations {
		if i.Accepted {
			require.LessOrEqual(t, i.Cost, last, "an accepted step never raises the cost")
			last = i.Cost
		}
	}
	require.Less(t, result.Summary.FinalCost, result.Summary.InitialCost)
	require.NotContains(t, result.Summary.Brief(), "\n")
	require.Equal(t, 4, strings.Count(result.Summary.Full(), "\n"))
	require.InEpsilon(t, result.ChiSquare/2, result.Summary.FinalCost, 1e-9)
}

func TestSolverMayBeReused(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	var s Solver
	for n := 40; n >= 5; n -= 7 { // shapes change, old numbers must not leak
		x, y := decayData(rng, n, 0.02)
		again, err := s.Fit(decay(x, y, nil), []float64{1, 1, 0}, Defaults())
		require.NoError(t, err)
		fresh, err := Fit(decay(x, y, nil), []float64{1, 1, 0}, Defaults())
		require.NoError(t, err)
		require.Equal(t, fresh, again)
		two, err := s.Fit(line(x, y, nil), []float64{1, 1}, Defaults())
		require.NoError(t, err)
		require.Len(t, two.Params, 2)
	}
}

// Differences at a bound must not ask the model outside it, and must lose no order of accuracy.
func TestDifferencesRespectBounds(t *testing.T) {
	x := []float64{0.5, 1, 2, 3, 4}
	asked := math.Inf(1)
	problem := Problem{
		Names: []string{"scale", "power"}, Rows: len(x), Lower: []float64{0, 0}, Upper: []float64{3, 2},
		Residual: func(dst, p []float64) {
			asked = math.Min(asked, math.Min(p[1], 2-p[1]))
			for i := range dst {
				dst[i] = p[0]*math.Pow(x[i], p[1]) - 1.5*math.Pow(x[i], 2.4)
			}
		},
	}
	result, err := Fit(problem, []float64{1, 0}, Defaults())
	require.NoError(t, err)
	require.Equal(t, Converged, result.Status)
	require.Equal(t, []string{"power"}, result.AtBound)
	require.GreaterOrEqual(t, asked, 0.0)
	over, under := 0.0, 0.0 // the scale in closed form, the power held at 2
	for _, v := range x {
		over += 1.5 * math.Pow(v, 4.4)
		under += math.Pow(v, 4)
	}
	require.InEpsilon(t, over/under, result.Params[0], 1e-8)

	problem.Jacobian = func(dst, p []float64) {
		for i, v := range x {
			dst[2*i], dst[2*i+1] = math.Pow(v, p[1]), p[0]*math.Pow(v, p[1])*math.Log(v)
		}
	}
	for _, p := range [][]float64{{1, 0}, {0.5, 2}, {3, 1}, {1, 1}} {
		require.Less(t, CheckJacobian(problem, p).Relative, 1e-8, "at %v", p)
	}
}

// A derivative that fails on the way ends the fit where it stands.
func TestBrokenJacobian(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	x, y := decayData(rng, 20, 0.01)
	problem := decay(x, y, nil)
	good := problem.Jacobian
	calls := 0
	problem.Jacobian = func(dst, p []float64) {
		good(dst, p)
		if calls++; calls > 3 {
			dst[0] = math.NaN()
		}
	}
	opt := Defaults()
	opt.Attempts = 1
	result, err := Fit(problem, []float64{1, 3, 0}, opt)
	require.NoError(t, err)
	require.Equal(t, Stalled, result.Status)
	require.Nil(t, result.StdErr)
	require.True(t, math.IsNaN(result.StdErrOf([]float64{1, 0, 0})))
	require.Less(t, result.Summary.FinalCost, result.Summary.InitialCost)
}
