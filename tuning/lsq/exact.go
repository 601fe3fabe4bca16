package lsq

import "math"

// dotMinus is a·b - y in twice the working precision (Ogita, Rump and Oishi 2005, from memory): refinement of a badly
// conditioned linear fit lives on residuals that are right although their terms cancel.
func dotMinus(a, b []float64, y float64) float64 {
	sum, low := -y, 0.0
	for i, x := range a {
		product := x * b[i]
		low += math.FMA(x, b[i], -product)
		total := sum + product
		part := total - sum
		low += (sum - (total - part)) + (product - part)
		sum = total
	}
	return sum + low
}
