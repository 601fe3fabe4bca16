package pid

import (
	"math"
)

// Uncertain is a process as a fit knows it: gain, dead time and lag with their covariance.
type Uncertain struct {
	Integrates bool    // Integrating with rate gain and lag, else FirstOrder with gain and time constant
	Gain       float64 // its dead time is to hold the controller's own (LoopDelay)
	DeadTimeS  float64
	LagS       float64
	Covariance [3][3]float64 // of gain, dead time, lag, in this order
}

// Share is the part of the uncertainty within which WorstCase looks.
const Share = 0.95

// ellipsoids are the squared radii, in standard deviations, that hold Share of a normal distribution of 1, 2 and 3
// dimensions: chi-square of as many degrees of freedom.
var ellipsoids = [4]float64{0, 3.841459, 5.991465, 7.814728}

// WorstCase is the worst that a tuning meets within the ellipsoid that holds 95 % of the uncertainty.
type WorstCase struct {
	Stable bool `json:"stable"` // everywhere in it
	// Ms and Mt are the greatest met; +Inf where a loop is unstable. At those of Ms stand the process's numbers.
	Ms        float64 `json:"sensitivity_peak_ms"`
	Mt        float64 `json:"complementary_peak_mt"`
	Gain      float64 `json:"at_gain"`
	DeadTimeS float64 `json:"at_dead_time_s"`
	LagS      float64 `json:"at_lag_s"`
	Share     float64 `json:"share"`
}

// Within tells whether the loop may be offered: stable everywhere in the ellipsoid and inside the bounds there.
func (w WorstCase) Within(b Bounds) bool {
	return w.Stable && w.Ms <= b.Ms && (b.Mt == 0 || w.Mt <= b.Mt)
}

// Process is the model at its estimates.
func (u Uncertain) Process() Process { return u.process([3]float64{u.Gain, u.DeadTimeS, u.LagS}) }

// leastGain is the share of the estimate below which a gain is not followed down: it would change sign.
const leastGain = 0.01

func (u Uncertain) process(p [3]float64) Process {
	gain, dead, lag := max(p[0], leastGain*u.Gain), max(p[1], 0), max(p[2], 0)
	if u.Integrates {
		return Integrating{RateGain: gain, DeadTimeS: dead, LagS: lag}
	}
	return FirstOrder{Gain: gain, DeadTimeS: dead, TimeConstantS: lag}
}

// Worst finds the greatest Ms over the surface of the ellipsoid, where it lies, since Ms grows away from the estimates.
// The surface is gone over in 26 directions and then climbed. An ellipsoid is taken and not the 95th percentile of Ms
// over drawn processes, for three reasons: it needs no chance, so the same fit gives the same answer; it takes a few
// dozen evaluations where a percentile takes thousands; and it errs on the safe side, since at least 95 % of all
// processes are better than its worst. In exchange it is somewhat too strict.
func (u Uncertain) Worst(t Tuning) (WorstCase, error) {
	if err := u.Process().Validate(); err != nil {
		return WorstCase{}, err
	}
	half, rank, err := u.root()
	if err != nil {
		return WorstCase{}, err
	}
	w := WorstCase{Stable: true, Share: Share}
	radius := math.Sqrt(ellipsoids[rank])
	look := func(direction [3]float64) (float64, error) {
		p := [3]float64{u.Gain, u.DeadTimeS, u.LagS}
		size := math.Sqrt(direction[0]*direction[0] + direction[1]*direction[1] + direction[2]*direction[2])
		for i := range p {
			for j := range p {
				if size > 0 {
					p[i] += radius / size * half[i][j] * direction[j]
				}
			}
		}
		m, err := LoopMargins(t, u.process(p))
		if err != nil {
			return 0, err
		}
		if !m.Stable {
			m.Ms, m.Mt, w.Stable = math.Inf(1), math.Inf(1), false
		}
		if m.Ms > w.Ms {
			w.Ms, w.Gain, w.DeadTimeS, w.LagS = m.Ms, p[0], p[1], p[2]
		}
		w.Mt = max(w.Mt, m.Mt)
		return m.Ms, nil
	}
	return w, climb(look, rank)
}

// climb looks in the 26 directions of a cube's faces, edges and corners, and in none, and goes on from the best in
// ever smaller turns.
func climb(look func([3]float64) (float64, error), rank int) error {
	best, most := [3]float64{}, math.Inf(-1)
	take := func(d [3]float64) (bool, error) {
		v, err := look(d)
		if err != nil || !(v > most) {
			return false, err
		}
		best, most = d, v
		return true, nil
	}
	for i := range 27 {
		d := [3]float64{float64(i%3 - 1), float64(i/3%3 - 1), float64(i/9 - 1)}
		if rank < 3 && d[2] != 0 || rank < 2 && d[1] != 0 || rank < 1 && d[0] != 0 {
			continue
		}
		if _, err := take(d); err != nil {
			return err
		}
	}
	for step := 0.4; step > 0.02 && !math.IsInf(most, 1); {
		moved := false
		from := best
		for k := range 2 * rank {
			d := from
			d[k/2] += step * float64(1-2*(k%2))
			better, err := take(d)
			if err != nil {
				return err
			}
			moved = moved || better
		}
		if !moved {
			step /= 2
		}
	}
	return nil
}

// root is a matrix whose product with its transpose is the covariance, and its rank: Cholesky's, with numbers that are
// known exactly put last.
func (u Uncertain) root() (half [3][3]float64, rank int, err error) {
	c := u.Covariance
	var done [3]bool
	for rank < 3 {
		at, most := -1, 0.0
		for i := range 3 { // the largest share of its own variance that is left
			if v := c[i][i]; !done[i] && v > 1e-12*u.Covariance[i][i] && v/u.Covariance[i][i] > most {
				at, most = i, v/u.Covariance[i][i]
			}
		}
		if at < 0 {
			break
		}
		done[at] = true
		pivot := math.Sqrt(c[at][at])
		column := [3]float64{}
		for i := range 3 {
			column[i] = c[i][at] / pivot
		}
		for i := range 3 {
			half[i][rank] = column[i]
			for j := range 3 {
				c[i][j] -= column[i] * column[j]
			}
		}
		rank++
	}
	for i := range 3 {
		if v := u.Covariance[i][i]; math.IsNaN(v) || v < 0 || c[i][i] < -1e-9*v || math.IsInf(v, 1) {
			return half, 0, &ParameterError{"variance", v, "the covariance must be one: symmetric, and no variance below nought"}
		}
	}
	return half, rank, nil
}

// OptimumForAll is the optimum whose Ms and Mt keep to the bounds over the whole ellipsoid, not just at the estimates: it
// draws the bounds at the estimates in until the worst case lies within. It fails where no design does.
func OptimumForAll(kind Kind, u Uncertain, b Bounds) (Design, WorstCase, error) {
	if err := b.validate(); err != nil {
		return Design{}, WorstCase{}, err
	}
	inside := b
	for range 14 {
		d, err := OptimumWithin(kind, u.Process(), inside)
		if err != nil {
			return Design{}, WorstCase{}, err
		}
		w, err := u.Worst(d.Tuning)
		if err != nil {
			return Design{}, WorstCase{}, err
		}
		if w.Within(b) {
			return d, w, nil
		}
		inside.Ms = drawnIn(inside.Ms, w.Ms, b.Ms)
		if b.Mt > 0 {
			inside.Mt = drawnIn(inside.Mt, w.Mt, b.Mt)
		}
	}
	return Design{}, WorstCase{}, &DesignError{OptimumName, kind, "no gains keep to the bounds over all that the fit leaves open; measure the step again, longer or with larger steps"}
}

// drawnIn is the bound at the estimates for which the worst is expected just within the bound.
func drawnIn(now, worst, bound float64) float64 {
	if worst <= bound {
		return now
	}
	if math.IsInf(worst, 1) {
		return 1 + (now-1)*0.6
	}
	return 1 + (now-1)*min(0.999, 0.998*(bound-1)/(worst-1))
}
