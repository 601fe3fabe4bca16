package lsq

import (
	"math"
	"math/rand/v2"
	"testing"
)

// contactFit is the size of fit that the rest of the program lives on: 50 weighted readings, 5 parameters, with
// covariance. Invented data.
func contactFit() (Problem, []float64) {
	rng := rand.New(rand.NewPCG(11, 12))
	n := 50
	x, y, sigma := make([]float64, n), make([]float64, n), make([]float64, n)
	model := func(p []float64, x float64) float64 {
		side := math.Copysign(1, x-p[3])
		e := math.Max(math.Abs(x-p[3])-p[4], 0)
		return side * p[0] * (1 + p[1]*side) * math.Tan(p[2]*e)
	}
	for i := range x {
		x[i] = -0.5 + float64(i)/float64(n-1)
		y[i] = model([]float64{1.3, 0.03, 1.75, 0.007, 0.01}, x[i])
		sigma[i] = 0.001 + 0.004*math.Abs(y[i])
		y[i] += sigma[i] * rng.NormFloat64()
	}
	return Problem{
		Names: []string{"k", "a", "g", "centre", "onset"}, Rows: n, Sigma: sigma,
		Residual: func(dst, p []float64) {
			for i := range dst {
				dst[i] = model(p, x[i]) - y[i]
			}
		},
		Jacobian: func(dst, p []float64) {
			for i := range x {
				side := math.Copysign(1, x[i]-p[3])
				e := math.Max(math.Abs(x[i]-p[3])-p[4], 0)
				tan := math.Tan(p[2] * e)
				gain := p[0] * (1 + p[1]*side)
				steep := gain * (1 + tan*tan)
				row := dst[5*i : 5*i+5]
				row[0], row[1], row[2] = side*(1+p[1]*side)*tan, p[0]*tan, side*steep*e
				row[3], row[4] = 0, 0
				if e > 0 {
					row[3], row[4] = -steep*p[2], -side*steep*p[2]
				}
			}
		},
	}, []float64{1.2, 0, 1.6, 0, 0.005}
}

func BenchmarkFit50x5(b *testing.B) {
	problem, start := contactFit()
	opt := Defaults()
	var s Solver
	b.ReportAllocs()
	for b.Loop() {
		if r, err := s.Fit(problem, start, opt); err != nil || r.Status != Converged {
			b.Fatal(err, r.Status)
		}
	}
}

func BenchmarkFit50x5Fresh(b *testing.B) {
	problem, start := contactFit()
	opt := Defaults()
	b.ReportAllocs()
	for b.Loop() {
		if r, err := Fit(problem, start, opt); err != nil || r.Status != Converged {
			b.Fatal(err, r.Status)
		}
	}
}

func BenchmarkFit50x5Huber(b *testing.B) {
	problem, start := contactFit()
	opt := Defaults()
	opt.Loss = Huber(1.345)
	var s Solver
	b.ReportAllocs()
	for b.Loop() {
		if r, err := s.Fit(problem, start, opt); err != nil || r.Status != Converged {
			b.Fatal(err, r.Status)
		}
	}
}

func BenchmarkFit50x5Differences(b *testing.B) {
	problem, start := contactFit()
	problem.Jacobian = nil
	problem.Typical = []float64{1, 0.01, 1, 0.01, 0.01}
	opt := Defaults()
	var s Solver
	b.ReportAllocs()
	for b.Loop() {
		if r, err := s.Fit(problem, start, opt); err != nil || r.Status != Converged {
			b.Fatal(err, r.Status)
		}
	}
}

// The inner loop allocates nothing: what a reused Solver allocates does not grow with the iterations.
func TestIterationsDoNotAllocate(t *testing.T) {
	problem, start := contactFit()
	var s Solver
	count := func(iterations int) float64 {
		opt := Defaults()
		opt.MaxIterations, opt.PolishSteps = iterations, 0
		opt.GradientTol, opt.StepTol, opt.CostTol = 0, 0, 0
		s.prepare(problem, start, opt)
		return testing.AllocsPerRun(20, func() {
			s.prepare(problem, start, opt)
			s.solve()
		})
	}
	if few, many := count(1), count(6); many > few {
		t.Fatalf("1 iteration allocates %v times, 6 allocate %v times", few, many)
	}
}
