package pid

import (
	"math"
	"math/cmplx"
)

// response evaluates L(jw) quickly: numerator and denominator split into even and odd parts, which are real polynomials
// in x = w^2.
type response struct {
	numEven, numOdd, denEven, denOdd []float64
	num, den                         []float64 // trimmed, ascending
	delay                            float64
	final                            float64 // limit of L without dead time at high frequency; 0 unless as many zeros as poles
}

func newResponse(t Transfer) *response {
	r := &response{num: trim(t.Num), den: trim(t.Den), delay: t.DeadTimeS}
	for len(r.num) > 0 && len(r.den) > 0 && r.num[0] == 0 && r.den[0] == 0 { // a pole and a zero at 0 cancel
		r.num, r.den = r.num[1:], r.den[1:]
	}
	r.numEven, r.numOdd = split(r.num)
	r.denEven, r.denOdd = split(r.den)
	if len(r.num) == len(r.den) {
		r.final = r.num[len(r.num)-1] / r.den[len(r.den)-1]
	}
	return r
}

// split returns polynomials e and o in x = w^2 such that p(jw) = e(x) + j w o(x).
func split(p []float64) (even, odd []float64) {
	for i, c := range p {
		if i/2%2 == 1 {
			c = -c
		}
		if i%2 == 0 {
			even = append(even, c)
		} else {
			odd = append(odd, c)
		}
	}
	return even, odd
}

// parts returns numerator and denominator at w, without dead time.
func (r *response) parts(w float64) (num, den complex128) {
	x := w * w
	num = complex(horner(r.numEven, x), w*horner(r.numOdd, x))
	den = complex(horner(r.denEven, x), w*horner(r.denOdd, x))
	return num, den
}

// turned returns the numerator with dead time, and the denominator, at w.
func (r *response) turned(w float64) (num, den complex128) {
	num, den = r.parts(w)
	if r.delay > 0 {
		sin, cos := math.Sincos(w * r.delay)
		num *= complex(cos, -sin)
	}
	return num, den
}

// at is L(jw).
func (r *response) at(w float64) complex128 {
	num, den := r.turned(w)
	return num / den
}

// integrates tells whether L is infinite at frequency 0.
func (r *response) integrates() bool { return r.den[0] == 0 }

// start is L(0) where that is finite.
func (r *response) start() float64 { return r.num[0] / r.den[0] }

// squares returns |num|^2 and |den|^2 as polynomials in x = w^2.
func (r *response) squares() (num, den []float64) {
	return squared(r.numEven, r.numOdd), squared(r.denEven, r.denOdd)
}

// squared is e^2 + x o^2.
func squared(even, odd []float64) []float64 {
	return add(multiply(even, even), append([]float64{0}, multiply(odd, odd)...), 1)
}

// add is p + k q.
func add(p, q []float64, k float64) []float64 {
	out := make([]float64, max(len(p), len(q)))
	copy(out, p)
	for i, c := range q {
		out[i] += k * c
	}
	return out
}

// crossings are the frequencies at which |L| = 1. Dead time has no part in it.
func (r *response) crossings() []float64 {
	num, den := r.squares()
	return frequencies(positiveRoots(add(num, den, -1)))
}

// lastPeak is the frequency beyond which |L| neither rises nor turns again.
func (r *response) lastPeak() float64 {
	num, den := r.squares()
	slope := add(multiply(derivative(num), den), multiply(num, derivative(den)), -1)
	if w := frequencies(positiveRoots(slope)); len(w) > 0 {
		return w[len(w)-1]
	}
	return 0
}

// realAxisCrossings are the frequencies above 0 at which L without dead time is real: those at which Im(num conj(den)) = 0.
func (r *response) realAxisCrossings() []float64 {
	return frequencies(positiveRoots(add(multiply(r.numOdd, r.denEven), multiply(r.numEven, r.denOdd), -1)))
}

// corners returns the least and greatest of the frequencies at which numerator or denominator bends, with those of the
// gain crossings and the dead time.
func (r *response) corners(crossings []float64) (least, greatest float64) {
	least, greatest = math.Inf(1), 0
	take := func(w float64) { least, greatest = min(least, w), max(greatest, w) }
	bends(r.num, take)
	bends(r.den, take)
	for _, w := range crossings {
		take(w)
	}
	if r.delay > 0 {
		take(1 / r.delay)
	}
	if greatest == 0 { // a bare gain
		return 1, 1
	}
	return least, greatest
}

// bends calls take with the frequencies at which one term of p takes over from a lower one as the largest (Newton's
// polygon): about the sizes of its roots. Terms that are never the largest do not count.
func bends(p []float64, take func(w float64)) {
	for i := 0; i < len(p); {
		if p[i] == 0 {
			i++
			continue
		}
		next, first := len(p), math.Inf(1)
		for j := i + 1; j < len(p); j++ {
			w := math.Pow(math.Abs(p[i]/p[j]), 1/float64(j-i))
			if p[j] != 0 && w <= first {
				next, first = j, w
			}
		}
		if next < len(p) {
			take(first)
		}
		i = next
	}
}

func derivative(p []float64) []float64 {
	if len(p) < 2 {
		return nil
	}
	out := make([]float64, len(p)-1)
	for i := range out {
		out[i] = float64(i+1) * p[i+1]
	}
	return out
}

// frequencies are the square roots of x = w^2.
func frequencies(x []float64) []float64 {
	for i := range x {
		x[i] = math.Sqrt(x[i])
	}
	return x
}

func phase(c complex128) float64 { return cmplx.Phase(c) }
