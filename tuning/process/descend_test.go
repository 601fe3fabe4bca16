package process

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/lsq"
)

// The quick way beside the general solver: the same minimum, from the same rough start.
func TestDescentAgreesWithTheGeneralSolver(t *testing.T) {
	for seed := range uint64(12) {
		steps, s := invented(500+seed, inventedAxis())
		if seed%3 == 0 {
			s.SlewUsPerS, s.Curve = 0, nil
		}
		var records []*record
		for _, st := range steps[:1+seed%4] {
			r := newRecord(st, s)
			r.whiten(0.01 * float64(seed))
			records = append(records, r)
		}
		free := freeParameters(false)
		start := [parameters]float64{0.8, 0.05, 0.03}
		p, squares, arrived := descend(records, start, free, fullyArrived)
		require.True(t, arrived, "seed %d", seed)
		problem, first := newProblem(records, start, free)
		options := lsq.Defaults()
		options.Noise = lsq.ScaledByResiduals
		want, err := lsq.Fit(problem, first, options)
		require.NoError(t, err)
		require.InDelta(t, want.ChiSquare, squares, 1e-9*squares, "seed %d", seed)
		for a := range parameters {
			require.InDelta(t, want.Params[a], p[a], 1e-4*want.StdErr[a], "%s, seed %d", parameterNames[a], seed)
		}
	}
}
