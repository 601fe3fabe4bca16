package process

import "math"

// descent is Levenberg and Marquardt's method in gain, dead time and lag alone: three unknowns need no general solver, and
// residuals and derivatives come from the same columns. Where it does not arrive, the general solver has the last word.

const (
	descentSteps   = 40
	fullyArrived   = 1e-14 // share of the sum of squares that the next step would still save
	roughlyArrived = 1e-6  // enough to tell one start from another
	descentLeast   = 1e-14 // damping, of the diagonal
	descentMost    = 1e8
)

// normalEquations are the sum of squares, half its slope and the product of the derivatives.
type normalEquations struct {
	squares float64
	slope   [parameters]float64
	product [parameters][parameters]float64
}

// equations at a point.
func equations(records []*record, p [parameters]float64) normalEquations {
	var q normalEquations
	k := p[gainAt]
	for _, r := range records {
		c := r.model(p[deadAt], p[lagAt])
		answer, byDead, byLag := c.answer, c.byDead[:len(c.answer)], c.byLag[:len(c.answer)]
		white := r.white[:len(answer)]
		var e2, ea, ed, el, aa, ad, al, dd, dl, ll float64
		for j, a := range answer {
			d, l := byDead[j], byLag[j]
			e := k*a - white[j]
			e2 += e * e
			ea += e * a
			ed += e * d
			el += e * l
			aa += a * a
			ad += a * d
			al += a * l
			dd += d * d
			dl += d * l
			ll += l * l
		}
		q.squares += e2
		q.slope[gainAt] += ea
		q.slope[deadAt] += k * ed
		q.slope[lagAt] += k * el
		q.product[gainAt][gainAt] += aa
		q.product[gainAt][deadAt] += k * ad
		q.product[gainAt][lagAt] += k * al
		q.product[deadAt][deadAt] += k * k * dd
		q.product[deadAt][lagAt] += k * k * dl
		q.product[lagAt][lagAt] += k * k * ll
	}
	for a := range parameters {
		for b := range a {
			q.product[a][b] = q.product[b][a]
		}
	}
	return q
}

// step solves (product + damping x its diagonal) step = -slope for the free parameters, and says what it would save. It
// reports false where they cannot be told apart.
func (q *normalEquations) step(free []int, damping float64) (step [parameters]float64, saves float64, ok bool) {
	var l [parameters][parameters]float64 // Cholesky's factor, of the product scaled to a diagonal of 1
	var scale, y [parameters]float64
	for i, a := range free {
		scale[i] = math.Sqrt(q.product[a][a])
		if !(scale[i] > 0) {
			return step, 0, false
		}
		for j := 0; j <= i; j++ {
			sum := q.product[a][free[j]] / (scale[i] * scale[j])
			if i == j {
				sum += damping
			}
			for m := range j {
				sum -= l[i][m] * l[j][m]
			}
			if i == j {
				if !(sum > 1e-13) {
					return step, 0, false
				}
				l[i][i] = math.Sqrt(sum)
			} else {
				l[i][j] = sum / l[j][j]
			}
		}
		y[i] = -q.slope[a] / scale[i]
		for m := range i {
			y[i] -= l[i][m] * y[m]
		}
		y[i] /= l[i][i]
		saves += y[i] * y[i]
	}
	for i := len(free) - 1; i >= 0; i-- {
		for m := i + 1; m < len(free); m++ {
			y[i] -= l[m][i] * y[m]
		}
		y[i] /= l[i][i]
	}
	for i, a := range free {
		step[a] = y[i] / scale[i]
	}
	return step, saves, true
}

// descend follows the sum of squares down from a start, until a step saves no more than the given share of it. It reports false where it did not arrive.
func descend(records []*record, p [parameters]float64, free []int, enough float64) ([parameters]float64, float64, bool) {
	damping := 1e-3
	here := equations(records, p)
	for range descentSteps {
		moving := free
		if p[lagAt] == 0 && here.slope[lagAt] >= 0 && len(free) == parameters { // held at its bound
			moving = free[:2]
		}
		_, left, determined := here.step(moving, 0)
		if determined && left <= enough*here.squares {
			return p, here.squares, true
		}
		step, _, ok := here.step(moving, damping)
		if !ok {
			if damping *= 10; damping > descentMost {
				return p, here.squares, false
			}
			continue
		}
		next := p
		for _, a := range moving {
			next[a] += step[a]
		}
		next[lagAt] = min(max(next[lagAt], 0), lagMost)
		there := equations(records, next)
		if there.squares < here.squares {
			p, here = next, there
			damping = max(damping/20, descentLeast)
			continue
		}
		if determined && left <= 1e-10*here.squares { // rounding hides what is left
			return p, here.squares, true
		}
		if damping *= 8; damping > descentMost {
			return p, here.squares, false
		}
	}
	return p, here.squares, false
}
