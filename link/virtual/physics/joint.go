package physics

import "math"

// joint is a joint made ready (SI: m and kg, or rad and kg m2) and its state.
type joint struct {
	scale               float64 // SI per unit of the joint: m per mm or rad per degree
	inertia, weight     float64
	friction, viscous   float64
	stop, stopDamping   float64
	low, high           float64
	endless             bool
	position, speed     float64
	force, held, atStop float64 // of the step: from the outputs, dry friction in use, end stop
}

func (j *joint) configure(m Joint) {
	j.endless = m.Endless
	if m.Unit == "mm" {
		j.scale = 1e-3
		j.inertia, j.weight, j.friction, j.viscous = m.MassKG, m.WeightN, m.FrictionN, m.ViscousNSPerM
		j.stop, j.stopDamping = m.StopNPerMM*1e3, m.StopDampingNSPerM
	} else {
		j.scale = degree
		j.inertia, j.weight, j.friction, j.viscous = m.InertiaKGM2, m.WeightNM, m.FrictionNM, m.ViscousNMS
		j.stop, j.stopDamping = m.StopNMPerDegree/degree, m.StopDampingNMS
	}
	j.low, j.high = m.Low*j.scale, m.High*j.scale
}

// stopForce is what the end stop pushes with; it never pulls.
func (j *joint) stopForce() float64 {
	sprung := j.sprung()
	switch {
	case sprung > 0:
		return max(sprung-j.stopDamping*j.speed, 0)
	case sprung < 0:
		return min(sprung-j.stopDamping*j.speed, 0)
	}
	return 0
}

// sprung is the spring's share of the end stop's force.
func (j *joint) sprung() float64 {
	if j.endless {
		return 0
	}
	return j.stop * (min(max(j.position, j.low), j.high) - j.position)
}

// solve gives the joint its new speed under the force of the outputs.
func (j *joint) solve(h float64) {
	j.atStop = j.stopForce()
	right := j.inertia/h*j.speed + j.force - j.weight + j.atStop
	resistance := j.inertia/h + j.viscous
	j.held = min(max(right, -j.friction), j.friction)
	j.speed = (right - j.held) / resistance
}

// inverse of a small square matrix by Gauss-Jordan with row pivoting; ok is
// false where it is singular to working accuracy.
func inverse(m [][]float64) (out [][]float64, ok bool) {
	n := len(m)
	work := make([][]float64, n)
	largest := 0.0
	for i := range m {
		work[i] = make([]float64, 2*n)
		copy(work[i], m[i])
		work[i][n+i] = 1
		for _, v := range m[i] {
			largest = max(largest, math.Abs(v))
		}
	}
	for c := range n {
		pivot := c
		for r := c + 1; r < n; r++ {
			if math.Abs(work[r][c]) > math.Abs(work[pivot][c]) {
				pivot = r
			}
		}
		if math.Abs(work[pivot][c]) <= 1e-9*largest {
			return nil, false
		}
		work[c], work[pivot] = work[pivot], work[c]
		eliminateColumn(work, c)
	}
	for i := range work {
		work[i] = work[i][n:]
	}
	return work, true
}

func eliminateColumn(work [][]float64, c int) {
	for k, d := 0, work[c][c]; k < len(work[c]); k++ {
		work[c][k] /= d
	}
	for r := range work {
		if r == c {
			continue
		}
		f := work[r][c]
		for k := range work[r] {
			work[r][k] -= f * work[c][k]
		}
	}
}
