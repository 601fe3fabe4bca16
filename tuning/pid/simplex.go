package pid

import (
	"math"
	"slices"
)

// simplexDescent is the method of Nelder and Mead (Computer Journal 7 (1965) 308; from memory) with its usual
// coefficients: reflect, expand, contract, shrink. It ends when the corners lie within tolerance of one another in every
// coordinate, or after so many evaluations, give or take a shrink.
func simplexDescent(f func([]float64) float64, x []float64, step, tolerance float64, most int) {
	type corner struct {
		x []float64
		f float64
	}
	n, used := len(x), 0
	try := func(x []float64) corner { used++; return corner{x, f(x)} }
	corners := []corner{try(slices.Clone(x))}
	for i := range n {
		y := slices.Clone(x)
		y[i] += step
		corners = append(corners, try(y))
	}
	along := func(centre, worst []float64, k float64) []float64 {
		y := make([]float64, n)
		for i := range y {
			y[i] = centre[i] + k*(worst[i]-centre[i])
		}
		return y
	}
	for used < most {
		slices.SortStableFunc(corners, func(a, b corner) int {
			switch {
			case a.f < b.f:
				return -1
			case a.f > b.f:
				return 1
			}
			return 0
		})
		best, worst := corners[0], corners[n]
		wide := 0.0
		centre := make([]float64, n)
		for _, c := range corners[:n] {
			for i := range centre {
				centre[i] += c.x[i] / float64(n)
			}
		}
		for _, c := range corners {
			for i := range centre {
				wide = max(wide, math.Abs(c.x[i]-best.x[i]))
			}
		}
		if wide < tolerance {
			return
		}
		reflected := try(along(centre, worst.x, -1))
		switch {
		case reflected.f < best.f:
			if expanded := try(along(centre, worst.x, -2)); expanded.f < reflected.f {
				corners[n] = expanded
			} else {
				corners[n] = reflected
			}
			continue
		case reflected.f < corners[n-1].f:
			corners[n] = reflected
			continue
		}
		k := 0.5
		if reflected.f < worst.f {
			k = -0.5
		}
		if contracted := try(along(centre, worst.x, k)); contracted.f < min(worst.f, reflected.f) {
			corners[n] = contracted
			continue
		}
		for i := 1; i <= n; i++ {
			corners[i] = try(along(best.x, corners[i].x, 0.5))
		}
	}
}
