package variator

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/units"
)

// slight are readings of a ball that is hardly tilted: by reach, in radian, at the outermost, where the tangent is all but
// straight, so that gain and rate show only in their product. Invented.
func slight(seed uint64, reach float64) ([]Reading, []float64) {
	theta := []float64{1.287, 0.035, reach / 440, 1507.3, 9.4}
	return invented(newLaw(contact{}, terms{}), theta, seed, noWay, 1), theta
}

// covers counts how often the pointwise band of 95 % holds the truth along the curve.
type covers struct{ inside, points float64 }

func (c *covers) add(m *Model, law lawOf, theta []float64) {
	by := make([]float64, law.count())
	for pulse := 1070.0; pulse < 1960; pulse += 89 {
		truth, _ := law.ratio(theta, pulse, 0, by)
		band := m.RatioBand(units.Pulse(pulse), 0.95)
		if c.points++; float64(band.Low) <= truth && truth <= float64(band.High) {
			c.inside++
		}
	}
}

func (c covers) share() float64 { return c.inside / c.points }

// A law that was asked for is fitted though the readings leave its parameters open; these are named, and the band holds.
func TestWhatTheReadingsCannotSeparate(t *testing.T) {
	runs := campaign(100, 2000)
	for _, reach := range []float64{0.05, 0.15, 0.22} {
		named := 0.0
		var c covers
		for seed := range uint64(runs) {
			readings, theta := slight(seed, reach)
			m, err := Fit(readings, FitOptions{Law: Contact})
			require.NoError(t, err, "reach %v, seed %d", reach, seed)
			require.NoError(t, m.Check())
			if slices.ContainsFunc(m.Inseparable, func(g []string) bool {
				return slices.Contains(g, parGain) && slices.Contains(g, parRate)
			}) {
				named++
				require.Contains(t, m.Verdict, "do not tell apart")
			}
			c.add(&m, newLaw(contact{}, terms{}), theta)
		}
		n := float64(runs)
		t.Logf("tilt of %v rad: gain and rate named as inseparable in %.2f of %d runs, band holds %.3f", reach, named/n, runs, c.share())
		require.Greater(t, named/n, 0.95)
		require.InDelta(t, 0.95, c.share(), 0.025)
	}
	m, err := Fit(invented(newLaw(contact{}, terms{}), lawDraws[2].theta, 1, noWay, 1), FitOptions{Law: Contact})
	require.NoError(t, err)
	require.Empty(t, m.Inseparable, "at a tilt of 0.8 rad the readings do tell")
}

// Onset shift and friction offset: both asked for, hardly to be told apart.
func TestOnsetAndFrictionTogether(t *testing.T) {
	runs := campaign(100, 2000)
	law := newLaw(contact{}, terms{friction: true})
	theta := []float64{1.287, 0.035, 0.00175, 1507.3, 9.4, 0.01}
	var c covers
	covered := 0.0
	for seed := range uint64(runs) {
		m, err := Fit(invented(law, theta, seed, noWay, 2), FitOptions{Law: Contact, FrictionOffset: true})
		require.NoError(t, err, "seed %d", seed)
		f, ok := m.Param(parFriction)
		require.True(t, ok)
		if f.Sigmas(0.01) <= m.pointwise(0.95) {
			covered++
		}
		c.add(&m, law, theta)
	}
	n := float64(runs)
	t.Logf("friction offset held by %.3f of its intervals, the curve by %.3f of its bands, %d runs", covered/n, c.share(), runs)
	require.InDelta(t, 0.95, covered/n, 0.02+4*math.Sqrt(0.0475/n))
	require.InDelta(t, 0.95, c.share(), 0.025)
}

// The wheels' quotient helps where the readings leave the gain open, and speaks up where it is wrong.
func TestWheelsAsAPrior(t *testing.T) {
	runs := campaign(100, 2000)
	const reach = 0.3
	var c covers
	gain, alone, square := 0.0, 0.0, 0.0
	for seed := range uint64(runs) {
		readings, theta := slight(seed, reach)
		// Nature draws creep and wheels; the rig file has them a little wrong.
		rng := rand.New(rand.NewPCG(seed, 9))
		quotient := theta[0]/(1-0.005-0.025*rng.Float64()) + 0.01*rng.NormFloat64()
		wheels := units.Estimate{Value: quotient, StdErr: 0.01}
		m, err := Fit(readings, FitOptions{Law: Contact, WheelQuotient: wheels})
		require.NoError(t, err, "seed %d", seed)
		require.NotNil(t, m.WheelsOff)
		k, _ := m.Param(parGain)
		gain += k.StdErr / float64(runs)
		square += (k.Value - theta[0]) * (k.Value - theta[0]) / (k.StdErr * k.StdErr)
		c.add(&m, newLaw(contact{}, terms{}), theta)
		without, err := Fit(readings, FitOptions{Law: Contact})
		require.NoError(t, err)
		k, _ = without.Param(parGain)
		alone += k.StdErr / float64(runs)
	}
	t.Logf("gain ±%.4f with the wheels, ±%.3f without; errors are %.2f of claimed; band holds %.3f, %d runs",
		gain, alone, math.Sqrt(square/float64(runs)), c.share(), runs)
	require.Less(t, gain, 0.02)
	require.Greater(t, alone, 0.1)
	require.InDelta(t, 1, math.Sqrt(square/float64(runs)), 0.15)
	require.InDelta(t, 0.95, c.share(), 0.02)

	readings, _ := recipeReadings(1, gaussian)
	m, err := Fit(readings, FitOptions{WheelQuotient: units.Estimate{Value: 1.5, StdErr: 0.01}})
	require.NoError(t, err)
	require.Less(t, *m.WheelsOff, -5.0)
	require.Contains(t, m.Verdict, "less than the wheels say")
	m, err = Fit(readings, FitOptions{WheelQuotient: units.Estimate{Value: 1.3, StdErr: 0.01}})
	require.NoError(t, err)
	require.NotContains(t, m.Verdict, "the wheels say")
}

// Each ruined reading is named by what it looks like.
func TestRuinedReadingsAreNamed(t *testing.T) {
	readings, _ := recipeReadings(2, gaussian)
	spoil := map[int]struct {
		share float64
		cause Cause
	}{2: {0.8, Slip}, 14: {0.02, ContactLoss}, 30: {0.6, Slip}, 40: {1.2, Unexplained}, 46: {-0.5, Unexplained}}
	for i, s := range spoil {
		readings[i].Ratio *= s.share
	}
	m, err := Fit(readings, FitOptions{})
	require.NoError(t, err)
	require.Equal(t, Contact, m.Law)
	require.Len(t, m.Outliers, len(spoil))
	for _, o := range m.Outliers {
		require.Equal(t, spoil[o.Index].cause, o.Cause, "reading %d", o.Index)
	}
	require.Equal(t, 45, m.Readings)
	require.Contains(t, m.Verdict, "Left out 5 of 50 readings")
	require.Contains(t, m.Verdict, "(slipped)")
	require.Contains(t, m.Verdict, "(lost contact)")
}

// What the residuals suggest is suggested when it is there, and hardly ever when it is not.
func TestResidualsSuggest(t *testing.T) {
	runs := campaign(100, 1000)
	shuffled := func(seed uint64) []Reading {
		readings, _ := recipeReadings(seed, gaussian)
		rng := rand.New(rand.NewPCG(seed, 3))
		rng.Shuffle(len(readings), func(i, j int) { readings[i], readings[j] = readings[j], readings[i] })
		return readings
	}
	spoilt := map[string]func(r []Reading){
		"the centre moved": func(r []Reading) {
			for i := range r {
				r[i].Ratio = recipeRatio(float64(r[i].Pulse)-0.12*float64(i)) + r[i].Ratio - recipeRatio(float64(r[i].Pulse))
			}
		},
		"turned ever slower": func(r []Reading) {
			for i := range r {
				r[i].Ratio *= 1 - 0.0005*float64(i)
			}
		},
		"turned ever faster": func(r []Reading) {
			for i := range r {
				r[i].Ratio *= 1 + 0.0005*float64(i)
			}
		},
		"miss the curve alike": func(r []Reading) {
			for i := range r {
				r[i].Ratio += 4 * r[i].StdErr * math.Sin(float64(r[i].Pulse)/40)
			}
		},
		"fast readings scatter": func(r []Reading) {
			for i := range r {
				u := recipeRatio(float64(r[i].Pulse))
				r[i].Ratio = u + (r[i].Ratio-u)*(1+4*math.Abs(u))
			}
		},
	}
	for words, spoil := range spoilt {
		seen := 0.0
		for seed := range uint64(runs) {
			readings := shuffled(seed)
			spoil(readings)
			m, err := Fit(readings, FitOptions{Law: Contact})
			require.NoError(t, err)
			if slices.ContainsFunc(m.Suggests, func(s string) bool { return strings.Contains(s, words) }) {
				seen++
			}
		}
		t.Logf("%q is suggested in %.2f of %d runs", words, seen/float64(runs), runs)
		require.Greater(t, seen/float64(runs), 0.6, words)
	}
	idle := 0.0
	for seed := range uint64(runs) {
		m, err := Fit(shuffled(seed), FitOptions{Law: Contact})
		require.NoError(t, err)
		if len(m.Suggests) > 0 {
			idle++
		}
	}
	t.Logf("something is suggested for no reason in %.3f of %d runs", idle/float64(runs), runs)
	require.Less(t, idle/float64(runs), 0.02)
}
