package process

import (
	"math"
	"slices"

	"trunnion/tuning/lsq"
)

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
