package process

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The quick way beside the plain one, on random paths, times and lags.
func TestSweepAgreesWithThePathItself(t *testing.T) {
	const seed = 4
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 300 {
		p := path{atS: 100 * rng.Float64()}
		if rng.IntN(2) == 0 {
			p.jump = rng.NormFloat64()
		} else {
			node := 0.0
			for range slewPieces + 1 {
				p.nodes, p.bends = append(p.nodes, node), append(p.bends, 10*rng.NormFloat64())
				node += 0.02 * rng.Float64()
			}
		}
		dead, lag := 0.1*rng.Float64(), math.Pow(10, -5+5*rng.Float64())
		s := p.sweep(dead, lag)
		at, even := p.atS-0.3*rng.Float64(), rng.IntN(2) == 0
		for k := range 400 {
			time := at + 0.005*float64(k)
			if !even {
				time = at + 0.005*float64(k) + 0.004*rng.Float64()
			}
			want, got := p.at(time, dead, lag), s.at(time)
			for i, pair := range [][2]float64{{want.rise, got.rise}, {want.integral, got.integral}, {want.integByLag, got.integByLag}, {want.slope, got.slope}, {want.riseByLag, got.riseByLag}} {
				require.InDelta(t, pair[0], pair[1], 1e-9*(1+math.Abs(pair[0])), "value %d at step %d, lag %g, seed %d", i, k, lag, seed)
			}
		}
	}
}
