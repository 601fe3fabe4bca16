package positioning

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	fixture "trunnion/fixtures/positioning"
	"trunnion/tuning/units"
)

// published are the readings of the report of 2021, in micrometres.
func published(t *testing.T) []Target {
	t.Helper()
	readings, err := fixture.Report2021()
	require.NoError(t, err)
	var out []Target
	for _, r := range readings {
		at := -1
		for i := range out {
			if out[i].Commanded == r.Target*1000 {
				at = i
			}
		}
		if at < 0 {
			out = append(out, Target{Commanded: r.Target * 1000})
			at = len(out) - 1
		}
		if r.Up {
			out[at].Up = append(out[at].Up, r.At*1000)
		} else {
			out[at].Down = append(out[at].Down, r.At*1000)
		}
	}
	return out
}

// Recomputed independently from the report's data, in micrometres.
func TestPublishedTest(t *testing.T) {
	r, err := Evaluate(published(t))
	require.NoError(t, err)
	for i, want := range []struct{ up, down, sUp, sDown, b, mean, rUp, rDown, r float64 }{
		{2.250, 4.202, 0.6694, 0.9706, -1.952, 3.226, 2.678, 3.882, 5.232},
		{0.394, -4.170, 0.4644, 0.3912, 4.564, -1.888, 1.858, 1.565, 6.275},
		{2.084, -0.854, 1.8756, 0.8324, 2.938, 0.615, 7.502, 3.330, 8.354},
		{-9.020, -7.884, 0.9840, 0.5377, -1.136, -8.452, 3.936, 2.151, 4.179},
		{6.032, 6.968, 0.5227, 0.3076, -0.936, 6.500, 2.091, 1.230, 2.597},
	} {
		a := r.Targets[i]
		for k, pair := range [][2]float64{
			{want.up, a.Up.Mean.Value}, {want.down, a.Down.Mean.Value}, {want.sUp, a.Up.Deviation.Value}, {want.sDown, a.Down.Deviation.Value},
			{want.b, a.Reversal.Value}, {want.mean, a.Mean.Value}, {want.rUp, a.Up.Repeatability.Value}, {want.rDown, a.Down.Repeatability.Value},
			{want.r, a.Repeatability.Value},
		} {
			require.InDelta(t, pair[0], pair[1], 6e-4, "target %d, value %d", i+1, k)
		}
	}
	for name, pair := range map[string][2]float64{
		"B": {4.564, r.Reversal.Value}, "mean B": {0.696, r.MeanReversal.Value}, "R up": {7.502, r.Up.Repeatability.Value},
		"R down": {3.882, r.Down.Repeatability.Value}, "R": {8.354, r.Both.Repeatability.Value}, "E up": {15.052, r.Up.Systematic.Value},
		"E down": {14.852, r.Down.Systematic.Value}, "E": {15.988, r.Both.Systematic.Value}, "M": {14.952, r.MeanRange.Value},
		"A up": {18.065, r.Up.Accuracy.Value}, "A down": {16.543, r.Down.Accuracy.Value}, "A": {18.571, r.Both.Accuracy.Value},
	} {
		require.InDelta(t, pair[0], pair[1], 6e-4, name)
	}
	require.Equal(t, 2, r.WorstTarget)
	// As the report prints them, in mm, to its last digit.
	for name, pair := range map[string][2]float64{
		"B": {0.00456, r.Reversal.Value}, "mean B": {0.00069, r.MeanReversal.Value}, "R up": {0.0075, r.Up.Repeatability.Value},
		"R down": {0.00388, r.Down.Repeatability.Value}, "E up": {0.01505, r.Up.Systematic.Value}, "E down": {0.01485, r.Down.Systematic.Value},
		"M": {0.01495, r.MeanRange.Value}, "A up": {0.01806, r.Up.Accuracy.Value}, "A down": {0.01655, r.Down.Accuracy.Value}, "A": {0.01858, r.Both.Accuracy.Value},
	} {
		require.InDelta(t, pair[0], pair[1]/1000, 1.1e-5, name)
	}
	// Its overall R and E are those of one direction only, contrary to the standard.
	require.Greater(t, math.Abs(r.Both.Repeatability.Value/1000-0.0075), 5e-4)
	require.Greater(t, math.Abs(r.Both.Systematic.Value/1000-0.01485), 5e-4)
	t.Logf("R %.3f (s.e. %.3f), E %.3f (%.3f), A %.3f (%.3f), B %.3f (%.3f) um; the report's overall R 7.5 and E 14.85 are wrong",
		r.Both.Repeatability.Value, r.Both.Repeatability.StdErr, r.Both.Systematic.Value, r.Both.Systematic.StdErr,
		r.Both.Accuracy.Value, r.Both.Accuracy.StdErr, r.Reversal.Value, r.Reversal.StdErr)
}

// Standard errors against the scatter over many invented tests, at one target so far from the others that it is always
// the extreme one.
func TestStandardErrorsCoverTheScatter(t *testing.T) {
	const seed, repeats = 11, 3000
	rng := rand.New(rand.NewPCG(seed, 1))
	at := []float64{0, 1, 2}
	mean, sigma, reversal := []float64{-40, 0, 50}, []float64{3, 1, 2}, []float64{1, -12, 2}
	of := map[string]func(Result) units.Estimate{
		"mean":   func(r Result) units.Estimate { return r.Targets[2].Up.Mean },
		"B":      func(r Result) units.Estimate { return r.Reversal },
		"mean B": func(r Result) units.Estimate { return r.MeanReversal },
		"E up":   func(r Result) units.Estimate { return r.Up.Systematic },
		"M":      func(r Result) units.Estimate { return r.MeanRange },
		"A up":   func(r Result) units.Estimate { return r.Up.Accuracy },
		"R_i":    func(r Result) units.Estimate { return r.Targets[1].Repeatability },
	}
	sums, squares, claimed := map[string]float64{}, map[string]float64{}, map[string]float64{}
	for range repeats {
		var targets []Target
		for i := range at {
			x := Target{Commanded: at[i]}
			for range Runs {
				x.Up = append(x.Up, at[i]+mean[i]+reversal[i]/2+sigma[i]*rng.NormFloat64())
				x.Down = append(x.Down, at[i]+mean[i]-reversal[i]/2+sigma[i]*rng.NormFloat64())
			}
			targets = append(targets, x)
		}
		r, err := Evaluate(targets)
		require.NoError(t, err)
		for name, f := range of {
			e := f(r)
			sums[name] += e.Value / repeats
			squares[name] += e.Value * e.Value / repeats
			claimed[name] += e.StdErr * e.StdErr / repeats
		}
	}
	for name := range of {
		ratio := math.Sqrt(claimed[name] / (squares[name] - sums[name]*sums[name]))
		t.Logf("%-7s claimed over seen %.3f", name, ratio)
		// s/sqrt(2(n-1)) is the leading term of the error of s; for n = 5 it is about 4 % large in the mean square.
		require.InDelta(t, 1, ratio, 0.09, "%s, seed %d", name, seed)
	}
}

func TestPlanIsUnevenAndInside(t *testing.T) {
	for _, c := range []struct {
		travel Travel
		n      int
	}{
		{Travel{0, 400, 1000, 0}, 5}, {Travel{-100, 1700, 1000, 4}, 9}, {Travel{-45, 45, 0, 0}, 3}, {Travel{0, 180, 0, 6}, 5}, {Travel{0, 360, 0, 9}, 8},
	} {
		at, err := Plan(c.travel)
		require.NoError(t, err)
		require.Len(t, at, c.n)
		least, most := math.Inf(1), 0.0
		for i, v := range at {
			require.Greater(t, v, c.travel.From)
			require.Less(t, v, c.travel.To)
			if i > 0 {
				require.Greater(t, v, at[i-1])
				least, most = min(least, v-at[i-1]), max(most, v-at[i-1])
			}
		}
		require.Greater(t, most, 1.1*least, "evenly spaced: %v", at)
		if p := c.travel.PeriodUnits; p > 0 {
			var phases [4]int
			for _, v := range at {
				phases[int(4*math.Mod(math.Mod(v/p, 1)+1, 1))%4]++
			}
			for _, k := range phases {
				require.LessOrEqual(t, k, (c.n+1)/2, "they meet the same place of the turn: %v", at)
			}
		}
		moves := Sequence(c.travel, at, Runs)
		require.Len(t, moves, Runs*2*(c.n+1))
		last := math.Inf(1)
		for _, m := range moves {
			require.Equal(t, m.Up, m.Commanded > last, "approached from its own side: %+v", m)
			last = m.Commanded
		}
	}
	_, err := Plan(Travel{From: 3, To: 3})
	var bad *ReadingsError
	require.True(t, errors.As(err, &bad))
}

func TestRefusesWhatCannotBeEvaluated(t *testing.T) {
	good := Target{1, []float64{1, 2}, []float64{1, 2}}
	for _, targets := range [][]Target{nil, {good}, {good, {1, []float64{1}, []float64{1, 2}}}, {good, {1, []float64{1, math.NaN()}, []float64{1, 2}}}} {
		_, err := Evaluate(targets)
		var bad *ReadingsError
		require.True(t, errors.As(err, &bad))
	}
}

func TestResultIsStoredInWholeWords(t *testing.T) {
	r, err := Evaluate(published(t))
	require.NoError(t, err)
	data, err := json.Marshal(r)
	require.NoError(t, err)
	for _, name := range regexp.MustCompile(`"([^"]+)":`).FindAllSubmatch(data, -1) {
		require.Regexp(t, `^[a-z][a-z0-9_]*$`, string(name[1]))
	}
	var back Result
	require.NoError(t, json.Unmarshal(data, &back))
	require.Equal(t, r, back)
}
