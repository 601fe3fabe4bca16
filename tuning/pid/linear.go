package pid

import "math"

// maxStates bounds process order plus integral plus derivative filter.
const maxStates = 12

// vector and matrix have fixed sizes, so that a simulation does not allocate; only the first n entries are in use.
type (
	vector [maxStates]float64
	matrix [maxStates]vector
)

// linear is the loop as a linear system in units of the time step, driven by the ratio that arrives at the process (w),
// the set-point r and the load d at the process input: z' = A z + B (w + d) + R r; y = c z; u = k z + f r.
type linear struct {
	n       int
	a       matrix
	b, r    vector
	c, k    vector
	f       float64
	gain    float64 // of the process at frequency 0; +Inf where it integrates
	kp, b0  float64 // proportional gain and its set-point weight
	acts    bool    // the controller has integral action
	process int     // order of the process, whose states come first
}

// newLinear realises process and tuning with time counted in steps of h seconds. The process is in controllable form
// with its coefficients scaled by the step, so that all entries are small.
func newLinear(t Tuning, p Transfer, h float64) (*linear, error) {
	num, den := trim(p.Num), trim(p.Den)
	n := len(den) - 1
	if len(num) > n {
		return nil, &ModelError{"the process answers a step at once; its response needs at least one more pole than zeros"}
	}
	if n+2 > maxStates {
		return nil, &ModelError{"the order of the process is too high for a response"}
	}
	if t.Gains.Kd > 0 && t.FilterTimeS == 0 {
		return nil, &ParameterError{"filter time", 0, "a derivative needs a filter time for a response"}
	}
	l := &linear{n: n, process: n, acts: t.Gains.Ki > 0, kp: t.Gains.Kp, b0: t.SetPointShare}
	l.realise(num, den, h)
	l.addController(t, h)
	return l, nil
}

// realise fills in the process: a chain of n integrators with feedback, in time scaled by h.
func (l *linear) realise(num, den []float64, h float64) {
	n := l.n
	lead := den[n]
	for i := 0; i < n-1; i++ {
		l.a[i][i+1] = 1
	}
	for i := 0; i < n; i++ {
		scale := math.Pow(h, float64(n-i)) / lead
		l.a[n-1][i] = -den[i] * scale
		if i < len(num) {
			l.c[i] = num[i] * scale
		}
	}
	l.b[n-1] = 1
	l.gain = quotient(num[0], den[0])
}

// rest is the output at which the loop comes to rest after an event. Without integral action an error is left.
func (l *linear) rest(event Event) float64 {
	admittance := 1 / l.gain // 0 where the process integrates
	switch {
	case l.acts && event == SetPointStep:
		return 1
	case l.acts:
		return 0
	case event == SetPointStep:
		return l.kp * l.b0 / (admittance + l.kp)
	}
	return 1 / (admittance + l.kp)
}

// addController appends the integral of the error (in steps) and the filtered value whose difference is the derivative.
func (l *linear) addController(t Tuning, h float64) {
	g := t.Gains
	for i := range l.n {
		l.k[i] = -g.Kp * l.c[i]
	}
	l.f = g.Kp * t.SetPointShare
	y := l.c
	if g.Ki > 0 {
		i := l.n
		l.n++
		for j := range l.process {
			l.a[i][j] = -y[j]
		}
		l.r[i] = 1
		l.k[i] = g.Ki * h
	}
	if g.Kd > 0 {
		i := l.n
		l.n++
		q := h / t.FilterTimeS
		for j := range l.process {
			l.a[i][j] = -q * y[j]
			l.k[j] -= g.Kd / t.FilterTimeS * y[j]
		}
		l.a[i][i] = -q
		l.r[i] = q * t.KickShare
		l.k[i] = -g.Kd / t.FilterTimeS
		l.f += g.Kd / t.FilterTimeS * t.KickShare
	}
}

// close replaces the delayed ratio by the ratio itself, for a loop without dead time.
func (l *linear) close() {
	for i := range l.n {
		for j := range l.n {
			l.a[i][j] += l.b[i] * l.k[j]
		}
		l.r[i] += l.b[i] * l.f
	}
}

func (l *linear) dot(a, b *vector) float64 {
	sum := 0.0
	for i := range l.n {
		sum += a[i] * b[i]
	}
	return sum
}

// times is a v.
func (l *linear) times(a *matrix, v *vector) vector {
	var out vector
	for i := range l.n {
		out[i] = l.dot(&a[i], v)
	}
	return out
}

// before is v a, v as a row.
func (l *linear) before(v *vector, a *matrix) vector {
	var out vector
	for i := range l.n {
		if v[i] == 0 {
			continue
		}
		for j := range l.n {
			out[j] += v[i] * a[i][j]
		}
	}
	return out
}

// transition returns e^A, by its series.
func (l *linear) transition() matrix {
	var sum matrix
	for i := range l.n {
		sum[i][i] = 1
	}
	term := sum
	for k := 1; k < mostTerms; k++ {
		var next matrix
		largest := 0.0
		for i := range l.n {
			row := l.before(&term[i], &l.a)
			for j := range l.n {
				next[i][j] = row[j] / float64(k)
				sum[i][j] += next[i][j]
				largest = max(largest, math.Abs(next[i][j]))
			}
		}
		term = next
		if largest < 1e-18 {
			break
		}
	}
	return sum
}

const mostTerms = 80

// forced returns what one step adds to the state if the input to v is t^m/m!, t in steps: sum over k of
// A^k v / (k + m + 1)!.
func (l *linear) forced(v *vector, m int) vector {
	factorial := 1.0
	for i := 2; i <= m+1; i++ {
		factorial *= float64(i)
	}
	var sum vector
	term := *v
	for i := range l.n {
		term[i] /= factorial
	}
	for k := 1; k < mostTerms; k++ {
		largest := 0.0
		for i := range l.n {
			sum[i] += term[i]
			largest = max(largest, math.Abs(term[i]))
		}
		if largest < 1e-18 {
			break
		}
		term = l.times(&l.a, &term)
		for i := range l.n {
			term[i] /= float64(k + m + 1)
		}
	}
	return sum
}
