package process

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The covariance handed on against the scatter of fits of invented step tests, each with its own noise: the correlation
// of gain and lag is seen with its own error of some 1/sqrt(runs).
func TestUncertainHandsTheCovarianceOn(t *testing.T) {
	const runs = 40
	var gains, lags, claimed []float64
	for seed := range uint64(runs) {
		steps, s := invented(100+seed, inventedAxis())
		r, err := Fit(steps[:2], s)
		require.NoError(t, err)
		u := r.Uncertain(5, 2400, 0.025)
		require.True(t, u.Integrates)
		require.InDelta(t, r.DeadTime.Value+0.025, u.DeadTimeS, 1e-12)
		require.InDelta(t, 12000*r.Gain.Value, u.Gain, 1e-9)
		require.InDelta(t, r.Gain.StdErr*12000, math.Sqrt(u.Covariance[0][0]), 1e-9)
		require.InDelta(t, r.DeadTimeLagCorrelation, u.Covariance[1][2]/math.Sqrt(u.Covariance[1][1]*u.Covariance[2][2]), 1e-9)
		gains, lags = append(gains, r.Gain.Value), append(lags, r.Lag.Value)
		claimed = append(claimed, u.Covariance[0][2]/math.Sqrt(u.Covariance[0][0]*u.Covariance[2][2]))

		data, err := json.Marshal(r)
		require.NoError(t, err)
		var back Result
		require.NoError(t, json.Unmarshal(data, &back))
		stored := back.Uncertain(5, 2400, 0.025)
		require.Zero(t, stored.Covariance[0][2])
		require.InDelta(t, u.Covariance[1][2], stored.Covariance[1][2], 1e-15)
	}
	mg, sg := meanAndSquares(gains)
	ml, sl := meanAndSquares(lags)
	across := 0.0
	for i := range gains {
		across += (gains[i] - mg) * (lags[i] - ml)
	}
	mean, _ := meanAndSquares(claimed)
	seen := across / math.Sqrt(sg*sl)
	t.Logf("correlation of gain and lag: claimed %.2f, seen %.2f over %d runs", mean, seen, runs)
	require.InDelta(t, mean, seen, 4/math.Sqrt(runs))
}
