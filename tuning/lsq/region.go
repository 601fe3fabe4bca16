package lsq

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// region finds the step that minimises the linear model within a radius. One singular value decomposition of the
// scaled triangle, R D^-1 = U S V', gives every damped step: z = -V S/(S^2 + damping) U'c, and the move is D^-1 z.
// Where the full step of a sound triangle lies within the radius, back substitution is enough and saves it.
type region struct {
	n          int
	lin        *linearisation
	decomposed bool
	a, u, vt   []float64 // n x n
	s, b, b2   []float64 // singular values; U'c; U' of another right-hand side
	z, move    []float64 // step, scaled and in parameters
	diag       []float64
	lapack     []float64
	length     float64 // of z
	damping    float64
	negligible float64 // singular values up to here count as zero
}

func (r *region) resize(n int) {
	r.n = n
	for _, m := range []*[]float64{&r.a, &r.u, &r.vt} {
		*m = resize(*m, n*n)
	}
	for _, v := range []*[]float64{&r.s, &r.b, &r.b2, &r.z, &r.move, &r.diag} {
		*v = resize(*v, n)
	}
	r.lapack = resize(r.lapack, svdWork(n))
}

// svdWork is a workspace for Gesvd on an n x n matrix: its minimum is 5n, more lets it work in blocks.
func svdWork(n int) int { return 5*n + 32*2*n + n*n }

// reset prepares for the steps of one linearisation.
func (r *region) reset(l *linearisation) {
	r.lin, r.decomposed = l, false
	copy(r.diag, l.diag)
}

// decompose factors the scaled triangle, once.
func (r *region) decompose() {
	if r.decomposed {
		return
	}
	r.decomposed = true
	n := r.n
	for i := range n {
		for j := range n {
			r.a[i*n+j] = r.lin.r[i*n+j] / r.diag[j]
		}
	}
	svd(n, r.a, r.u, r.vt, r.s, r.lapack)
	r.project(r.b, r.lin.c)
	r.negligible = float64(n) * epsilon * r.s[0]
}

// project writes U'c.
func (r *region) project(dst, c []float64) {
	for k := range r.n {
		sum := 0.0
		for i := range r.n {
			sum += r.u[i*r.n+k] * c[i]
		}
		dst[k] = sum
	}
}

// epsilon is the distance from 1 to the next double.
const epsilon = 0x1p-52

// svd factors a (n x n, destroyed) into u, s and vt.
func svd(n int, a, u, vt, s, work []float64) {
	general := func(data []float64) blas64.General {
		return blas64.General{Rows: n, Cols: n, Stride: n, Data: data}
	}
	lapack64.Gesvd(lapack.SVDAll, lapack.SVDAll, general(a), general(u), general(vt), s, work, len(work))
}

// step finds the best step of length radius at most, to a tenth of the radius as usual (Moré 1978).
func (r *region) step(radius float64) {
	r.gaussNewton()
	if r.length <= 1.1*radius {
		return
	}
	r.decompose()
	r.damped(r.dampingFor(radius))
}

// dampingFor solves |z(damping)| = radius by Newton's method on 1/|z|, which is nearly straight and rises, so that
// the iteration from 0 never overshoots.
func (r *region) dampingFor(radius float64) float64 {
	damping := r.leastDamping(radius)
	for range 50 {
		length2, slope := 0.0, 0.0 // |z|^2 and minus half its derivative
		for k, s := range r.s {
			if s <= r.negligible && damping == 0 {
				continue
			}
			d := s*s + damping
			z := s * r.b[k] / d
			length2 += z * z
			slope += z * z / d
		}
		length := math.Sqrt(length2)
		if length <= 1.05*radius || slope == 0 {
			break
		}
		damping += (length - radius) / radius * length2 / slope
	}
	return damping
}

// leastDamping is a damping that is surely not too large: 0, or for a nearly singular triangle a small positive one
// so that Newton's method does not start at a pole.
func (r *region) leastDamping(radius float64) float64 {
	if r.s[r.n-1] > r.negligible {
		return 0
	}
	return math.SmallestNonzeroFloat64 + epsilon*epsilon*r.s[0]*r.s[0]
}

// gaussNewton is the undamped step; directions without effect get none.
func (r *region) gaussNewton() {
	if !r.substitute() {
		r.damped(0)
	}
}

// substitute takes the undamped step by back substitution and tells whether the triangle is sound enough for that: no
// parameter held or all but a combination of the ones before it.
func (r *region) substitute() (sound bool) {
	n, t := r.n, r.lin.r
	for j := range n {
		if !(math.Abs(t[j*n+j]) > 1e-6*r.lin.norm[j]) {
			return false
		}
	}
	sum := 0.0
	for i := n - 1; i >= 0; i-- {
		v := -r.lin.c[i]
		for j := i + 1; j < n; j++ {
			v -= t[i*n+j] * r.move[j]
		}
		r.move[i] = v / t[i*n+i]
		z := r.move[i] * r.diag[i]
		sum += z * z
	}
	r.damping, r.length = 0, math.Sqrt(sum)
	return true
}

// damped fills z, move and length for a damping.
func (r *region) damped(damping float64) {
	r.decompose()
	r.damping = damping
	r.solve(r.z, r.b)
	sum := 0.0
	for j, z := range r.z {
		r.move[j] = z / r.diag[j]
		sum += z * z
	}
	r.length = math.Sqrt(sum)
}

// correction writes the move that the last damping gives for other rotated residuals.
func (r *region) correction(move, c []float64) {
	r.decompose()
	r.project(r.b2, c)
	r.solve(move, r.b2)
	for j := range move {
		move[j] /= r.diag[j]
	}
}

// solve writes -V S/(S^2 + damping) b.
func (r *region) solve(z, b []float64) {
	clear(z)
	for k, s := range r.s {
		if s <= r.negligible && r.damping == 0 || s == 0 {
			continue
		}
		q := -s * b[k] / (s*s + r.damping)
		for j, v := range r.vt[k*r.n : (k+1)*r.n] {
			z[j] += q * v
		}
	}
}
