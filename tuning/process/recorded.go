package process

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trunnion/tuning/lsq"
	"trunnion/tuning/pid"
	"trunnion/tuning/units"
)

// Model is the form of process that is fitted to recorded data.
type Model int

// The forms of models.
const (
	OneLag  Model = iota // gain, dead time, one lag
	TwoLags              // a second lag
	Ramping              // rate gain, dead time, one lag: it integrates
)

func (m Model) String() string {
	return [...]string{"one lag", "two lags", "integrating, one lag"}[m]
}

// Recorded is any record of what went in and what came out, as it comes from a file: times rising, the input held from
// each to the next.
type Recorded struct {
	TimeS, Input, Output []float64
}

// RecordedOptions say how to fit a record.
type RecordedOptions struct {
	Model Model
	// MostDeadTimeS is the longest dead time looked for; 0 is a tenth of the record.
	MostDeadTimeS float64
	// Drift fits a steady drift of the output, in an integrating model the input at which it stands.
	Drift bool
}

// RecordedResult is a fit to a record. Standard errors hold what correlation is left in the residuals.
type RecordedResult struct {
	Model    string         `json:"model"`
	Gain     units.Estimate `json:"gain"` // static, or the rate gain of an integrating model
	DeadTime units.Estimate `json:"dead_time_s"`
	Lag      units.Estimate `json:"lag_s"`
	Second   units.Estimate `json:"second_lag_s"` // 0 but for two lags
	// FitPercent is one minus the simulated model's r.m.s. error over that of the output's mean: 100 is perfect. The
	// simulation sees no output but the start that was fitted.
	FitPercent       float64 `json:"fit_percent"`
	ResidualRms      float64 `json:"residual_rms"`
	Autocorrelation  float64 `json:"residual_autocorrelation"` // between neighbours; near 1 says that the model lacks something
	DegreesOfFreedom int     `json:"degrees_of_freedom"`
	// Determined is false where the record does not tell the numbers apart; the standard errors are then +Inf.
	Determined bool      `json:"determined"`
	Simulated  []float64 `json:"-"`
}

// Process is the fitted process for a design.
func (r RecordedResult) Process() pid.Process {
	switch r.Model {
	case Ramping.String():
		return pid.Integrating{RateGain: r.Gain.Value, DeadTimeS: r.DeadTime.Value, LagS: r.Lag.Value}
	case TwoLags.String():
		return pid.SecondOrder{Gain: r.Gain.Value, TimeConstantS: r.Lag.Value, SecondS: r.Second.Value, DeadTimeS: r.DeadTime.Value}
	}
	return pid.FirstOrder{Gain: r.Gain.Value, TimeConstantS: r.Lag.Value, DeadTimeS: r.DeadTime.Value}
}

// FitRecorded fits a model to a record by least squares of the simulated output (output error). Gain, offset, start and
// drift are linear and projected out; dead time and lags are searched for on a grid and refined from the best few of it,
// since the sum of squares has a kink wherever the dead time passes a sample.
func FitRecorded(r Recorded, o RecordedOptions) (RecordedResult, error) {
	if err := r.validate(); err != nil {
		return RecordedResult{}, err
	}
	if o.Model != OneLag && o.Model != TwoLags && o.Model != Ramping {
		return RecordedResult{}, &InputError{-1, "the model must be one lag, two lags or integrating"}
	}
	f := newRecordedFit(r, o)
	best, least := []float64(nil), math.Inf(1)
	for _, start := range f.openings() {
		result, err := lsq.Fit(f.problem(), start, f.options())
		if err != nil {
			return RecordedResult{}, err
		}
		if result.ChiSquare < least {
			best, least = slices.Clone(result.Params), result.ChiSquare
		}
	}
	return f.report(best), nil
}

const leastRecorded = 20

func (r Recorded) validate() error {
	n := len(r.TimeS)
	if n < leastRecorded || len(r.Input) != n || len(r.Output) != n {
		return &InputError{-1, fmt.Sprintf("the record has %d times, %d inputs and %d outputs; all three need the same number, at least %d", n, len(r.Input), len(r.Output), leastRecorded)}
	}
	moves := false
	for i := range n {
		if v := r.TimeS[i] + r.Input[i] + r.Output[i]; math.IsNaN(v) || math.IsInf(v, 0) {
			return &InputError{-1, fmt.Sprintf("row %d of the record is not finite", i)}
		}
		if i > 0 && !(r.TimeS[i] > r.TimeS[i-1]) {
			return &InputError{-1, fmt.Sprintf("row %d of the record is not later than the one before it", i)}
		}
		moves = moves || r.Input[i] != r.Input[0]
	}
	if !moves {
		return &InputError{-1, "the input never changes, so nothing can be learned from the record"}
	}
	return nil
}

// recordedFit is one fit in progress: nonlinear parameters are the dead time and the logarithms of the lags.
type recordedFit struct {
	r       Recorded
	o       RecordedOptions
	step    float64 // mean time between readings
	longest float64
	columns [][]float64 // linear part: gain, offset, start of each lag, drift
	basis   [][]float64
}

func newRecordedFit(r Recorded, o RecordedOptions) *recordedFit {
	n := len(r.TimeS)
	span := r.TimeS[n-1] - r.TimeS[0]
	f := &recordedFit{r: r, o: o, step: span / float64(n-1), longest: o.MostDeadTimeS}
	if f.longest == 0 {
		f.longest = span / 10
	}
	count := 3
	if o.Model == TwoLags || o.Model == Ramping {
		count++
	}
	if o.Drift {
		count++
	}
	for range count {
		f.columns, f.basis = append(f.columns, make([]float64, n)), append(f.basis, make([]float64, n))
	}
	return f
}

// lags from the parameters; the second is 0 unless there is one.
func (f *recordedFit) lags(p []float64) (first, second float64) {
	first = math.Exp(p[1])
	if f.o.Model == TwoLags {
		second = math.Exp(p[2])
	}
	return first, second
}

// fill computes the linear columns for dead time and lags.
func (f *recordedFit) fill(p []float64) {
	first, second := f.lags(p)
	t := f.r.TimeS
	c := f.columns
	respond(c[0], f.r, p[0], first, second, f.o.Model == Ramping)
	for i := range t {
		x := t[i] - t[0]
		c[1][i] = 1
		c[2][i] = math.Exp(-x / first)
		at := 3
		switch f.o.Model {
		case TwoLags:
			c[3][i] = c[2][i] * x / first
			if math.Abs(first-second) > 1e-3*first {
				c[3][i] = math.Exp(-x / second)
			}
			at++
		case Ramping: // the position at the start is the offset, its speed the lag's start; and the input's middle level
			c[3][i] = x
			at++
		}
		if f.o.Drift && f.o.Model != Ramping {
			c[at][i] = x
		}
	}
	if f.o.Model == Ramping && !f.o.Drift {
		clear(c[3])
	}
}

// respond is the unit-gain answer to the held input, dead time exact, from rest at the first input.
func respond(dst []float64, r Recorded, dead, first, second float64, ramps bool) {
	base := r.Input[0]
	var x, y, sum float64 // behind the first lag, behind the second, integral
	k := 0                // the input now arriving is that of row k
	now := r.TimeS[0]
	level := 0.0
	for i, t := range r.TimeS {
		for {
			next := t
			change := k+1 < len(r.TimeS) && r.TimeS[k+1]+dead < t
			if change {
				next = r.TimeS[k+1] + dead
			}
			if dt := next - now; dt > 0 {
				e := math.Exp(-dt / first)
				sum += level*dt + (x-level)*first*(1-e)
				if second > 0 {
					y = throughBoth(y, x, level, dt, first, second, e)
				}
				x = level + (x-level)*e
				now = next
			}
			if !change {
				break
			}
			k++
			level = r.Input[k] - base
		}
		switch {
		case ramps:
			dst[i] = sum
		case second > 0:
			dst[i] = y
		default:
			dst[i] = x
		}
	}
}

// throughBoth is the second lag's output after dt, its input being the first lag's on its way to level.
func throughBoth(y, x, level, dt, first, second, e float64) float64 {
	q := math.Exp(-dt / second)
	gap := first - second
	share := dt / first * e
	if math.Abs(gap) > 1e-6*first {
		share = first / gap * (e - q)
	}
	return level + (y-level)*q + (x-level)*share
}

// residual projects the columns out of the output and leaves what they do not explain.
func (f *recordedFit) residual(dst, p []float64) {
	f.fill(p)
	copy(dst, f.r.Output)
	used := 0
	for _, c := range f.columns {
		b := f.basis[used]
		copy(b, c)
		before := norm(b)
		for range 2 {
			for _, o := range f.basis[:used] {
				addScaled(b, o, -dot(b, o))
			}
		}
		after := norm(b)
		if !(after > 1e-9*before) {
			continue
		}
		for i := range b {
			b[i] /= after
		}
		addScaled(dst, b, -dot(dst, b))
		used++
	}
}

func (f *recordedFit) problem() lsq.Problem {
	names := []string{"dead time", "log lag"}
	lower, upper := []float64{0, math.Log(f.step / 30)}, []float64{f.longest, math.Log(1e3 * f.longest)}
	typical := []float64{f.step / 10, 0.1}
	if f.o.Model == TwoLags {
		names = append(names, "log second lag")
		lower, upper, typical = append(lower, lower[1]), append(upper, upper[1]), append(typical, 0.1)
	}
	return lsq.Problem{Names: names, Rows: len(f.r.TimeS), Residual: f.residual, Lower: lower, Upper: upper, Typical: typical}
}

func (f *recordedFit) options() lsq.Options {
	o := lsq.Defaults()
	o.Noise = lsq.ScaledByResiduals
	return o
}

const (
	recordedStarts = 3
	recordedDeads  = 24 // dead times on the grid, at most
	recordedLags   = 9
)

// openings are the best points of the grid.
func (f *recordedFit) openings() [][]float64 {
	type point struct {
		p       []float64
		squares float64
	}
	var all []point
	rest := make([]float64, len(f.r.TimeS))
	try := func(p ...float64) {
		f.residual(rest, p)
		all = append(all, point{p, dot(rest, rest)})
	}
	spacing := max(f.step, f.longest/recordedDeads)
	span := f.r.TimeS[len(f.r.TimeS)-1] - f.r.TimeS[0]
	ratio := math.Pow(0.2*span/f.step, 1.0/(recordedLags-1))
	for dead := f.step / 2; dead < f.longest; dead += spacing {
		for i := range recordedLags {
			lag := f.step * math.Pow(ratio, float64(i))
			if f.o.Model != TwoLags {
				try(dead, math.Log(lag))
				continue
			}
			for _, share := range []float64{0.15, 0.6} {
				try(dead, math.Log(lag), math.Log(lag*share))
			}
		}
	}
	slices.SortFunc(all, func(a, b point) int {
		switch {
		case a.squares < b.squares:
			return -1
		case a.squares > b.squares:
			return 1
		}
		return 0
	})
	var out [][]float64
	for _, a := range all[:min(recordedStarts, len(all))] {
		out = append(out, a.p)
	}
	return out
}

// report simulates the best model and gives its errors.
func (f *recordedFit) report(p []float64) RecordedResult {
	n := len(f.r.TimeS)
	e := make([]float64, n)
	f.residual(e, p)
	out := RecordedResult{Model: f.o.Model.String(), Simulated: make([]float64, n)}
	mean, about := 0.0, 0.0
	for i, y := range f.r.Output {
		out.Simulated[i] = y - e[i]
		mean += y / float64(n)
	}
	for _, y := range f.r.Output {
		about += (y - mean) * (y - mean)
	}
	squares := dot(e, e)
	out.FitPercent = 100 * (1 - math.Sqrt(squares/about))
	out.Autocorrelation = dot(e[1:], e[:n-1]) / squares
	gain, sigma, unknowns, determined := f.errors(p, e)
	out.DegreesOfFreedom = n - unknowns
	out.ResidualRms = math.Sqrt(squares / float64(max(1, out.DegreesOfFreedom)))
	out.Determined = determined
	first, second := f.lags(p)
	out.Gain = units.Estimate{Value: gain, StdErr: sigma[0]}
	out.DeadTime = units.Estimate{Value: p[0], StdErr: sigma[1]}
	out.Lag = units.Estimate{Value: first, StdErr: first * sigma[2]}
	if f.o.Model == TwoLags {
		out.Second = units.Estimate{Value: second, StdErr: second * sigma[3]}
		if out.Second.Value > out.Lag.Value {
			out.Lag, out.Second = out.Second, out.Lag
		}
	}
	return out
}

// errors linearises the whole model about the solution: gain, dead time and logarithms of the lags, with all other
// columns projected out. It returns the gain and the four standard errors, widened by the correlation of the residuals
// (Newey and West).
func (f *recordedFit) errors(p, e []float64) (gain float64, sigma [4]float64, unknowns int, determined bool) {
	n := len(e)
	sigma = [4]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	f.fill(p)
	design := mat.NewDense(n, len(f.columns), nil)
	for j, c := range f.columns {
		design.SetCol(j, c)
	}
	var linear mat.VecDense
	var svd mat.SVD
	if !svd.Factorize(design, mat.SVDThin) {
		return 0, sigma, len(p), false
	}
	rank := svd.Rank(1e-10)
	svd.SolveVecTo(&linear, mat.NewVecDense(n, slices.Clone(f.r.Output)), rank)
	gain = linear.AtVec(0)
	unknowns = rank + len(p)
	model := func(q []float64) []float64 {
		f.fill(q)
		out := make([]float64, n)
		for j, c := range f.columns {
			addScaled(out, c, linear.AtVec(j))
		}
		return out
	}
	gradients := [][]float64{slices.Clone(f.columns[0])}
	for a := range p {
		step := []float64{f.step / 50, 1e-4, 1e-4}[a]
		up, down := slices.Clone(p), slices.Clone(p)
		up[a], down[a] = p[a]+step, max(p[a]-step, 0)
		if a > 0 {
			down[a] = p[a] - step
		}
		g := model(up)
		addScaled(g, model(down), -1)
		gradients = append(gradients, scaled(g, 1/(up[a]-down[a])))
	}
	f.fill(p)
	others := f.columns[1:]
	project(gradients, others)
	k := len(gradients)
	normal := mat.NewSymDense(k, nil)
	long := mat.NewDense(k, k, nil)
	lag := int(4 * math.Cbrt(float64(n)))
	for a := range k {
		for b := range k {
			if b >= a {
				normal.SetSym(a, b, dot(gradients[a], gradients[b]))
			}
			sum := 0.0
			for l := -lag; l <= lag; l++ {
				weight := 1 - math.Abs(float64(l))/float64(lag+1)
				for j := max(0, l); j < min(n, n+l); j++ {
					sum += weight * gradients[a][j] * e[j] * gradients[b][j-l] * e[j-l]
				}
			}
			long.Set(a, b, sum)
		}
	}
	var chol mat.Cholesky
	var inverse mat.SymDense
	if !chol.Factorize(normal) || chol.InverseTo(&inverse) != nil {
		return gain, sigma, unknowns, false
	}
	var sandwich, half mat.Dense
	half.Mul(&inverse, long)
	sandwich.Mul(&half, &inverse)
	variance := dot(e, e) / float64(max(1, n-unknowns))
	for a := range k {
		sigma[a] = math.Sqrt(max(variance*inverse.At(a, a), sandwich.At(a, a)))
	}
	return gain, sigma, unknowns, true
}

// project takes the others out of the gradients.
func project(gradients, others [][]float64) {
	var basis [][]float64
	for _, o := range others {
		v := slices.Clone(o)
		before := norm(v)
		for range 2 {
			for _, b := range basis {
				addScaled(v, b, -dot(v, b))
			}
		}
		if after := norm(v); after > 1e-9*before {
			basis = append(basis, scaled(v, 1/after))
		}
	}
	for _, g := range gradients {
		for range 2 {
			for _, b := range basis {
				addScaled(g, b, -dot(g, b))
			}
		}
	}
}
