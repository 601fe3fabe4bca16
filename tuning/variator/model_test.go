package variator

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// invented makes readings of a law: pulses 1060 to 1960 with a gap in the dead band, each from both approaches if
// wanted and repeated, Gaussian noise of the recipe's size. Invented data.
func invented(l lawOf, theta []float64, seed uint64, ways []measure.Approach, repeats int) []Reading {
	rng := rand.New(rand.NewPCG(seed, 5))
	by := make([]float64, l.count())
	var readings []Reading
	for pulse := 1060.0; pulse <= 1960; pulse += 45 {
		for _, approach := range ways {
			way := map[measure.Approach]float64{measure.Outward: 1, measure.Inward: -1}[approach]
			u, _ := l.ratio(theta, pulse, way, by)
			for range repeats {
				sigma := recipeSigma(u)
				readings = append(readings, Reading{Pulse: units.Pulse(pulse), Ratio: u + sigma*rng.NormFloat64(), StdErr: sigma, Approach: approach})
			}
		}
	}
	return readings
}

var (
	bothWays = []measure.Approach{measure.Outward, measure.Inward}
	noWay    = []measure.Approach{""}
)

// oddRatio follows no law that the package knows. Invented.
func oddRatio(pulse float64) float64 {
	x := pulse - 1510
	e := math.Max(math.Abs(x)-12, 0)
	return math.Copysign(0.02*math.Pow(e, 0.6)+0.12*(1-math.Exp(-math.Pow(e/250, 6))), x)
}

func models(t *testing.T) map[string]Model {
	t.Helper()
	list := map[string]Model{}
	for _, c := range lawCases {
		m, err := Fit(invented(newLaw(c.shape, terms{hysteresis: true}), c.theta, 1, bothWays, 1), FitOptions{Law: c.shape.name()})
		require.NoError(t, err, "%s", c.shape.name())
		name := string(c.shape.name())
		if c.theta[0] < 0 {
			name += " reversed"
		}
		list[name] = m
	}
	slip, _ := recipeReadings(3, slipping)
	for name, readings := range map[string][]Reading{
		"slip": slip, "odd": unrulyReadings(oddRatio, 0.003, 1), "free with hysteresis": invented(newLaw(contact{}, terms{hysteresis: true}), lawCases[4].theta, 2, bothWays, 2),
	} {
		opt := FitOptions{}
		if name == "free with hysteresis" {
			opt.Law = FreeForm
		}
		m, err := Fit(readings, opt)
		require.NoError(t, err, name)
		list[name] = m
	}
	require.Equal(t, FreeForm, list["odd"].Law)
	return list
}

// The calibration document must give back the very curve.
func TestModelSurvivesItsJSON(t *testing.T) {
	for name, m := range models(t) {
		text, err := json.Marshal(m)
		require.NoError(t, err, name)
		var back Model
		require.NoError(t, json.Unmarshal(text, &back), name)
		require.Equal(t, m, back, name)
		require.NoError(t, back.Check(), name)
		again, err := json.Marshal(back)
		require.NoError(t, err)
		require.Equal(t, text, again, name)
		for p := units.Pulse(1000); p < 2000; p += 13.37 {
			require.Equal(t, m.RatioBand(p, 0.95), back.RatioBand(p, 0.95), "%s at %v", name, p)
		}
	}
}

func TestInverseUndoesTheCurve(t *testing.T) {
	for name, m := range models(t) {
		for p := m.PulseLeast; p <= m.PulseMost; p += 3.1 {
			u := m.Ratio(p)
			if u == 0 {
				continue
			}
			inverse, err := m.Inverse(u)
			require.NoError(t, err, name)
			require.InDelta(t, float64(p), float64(inverse.Pulse), 1e-6, "%s at %v", name, p)
			require.Greater(t, inverse.StdErr, 0.0, name)
			require.Less(t, inverse.StdErr, 10.0, name)
		}
		least, most := m.RatioRange()
		require.Less(t, least, units.Ratio(0))
		require.Greater(t, most, units.Ratio(0))
		_, err := m.Inverse(most + 0.01)
		var beyond *RangeError
		require.ErrorAs(t, err, &beyond, name)
		require.Equal(t, most, beyond.Most)

		lower, upper, centre := m.Edges()
		small := units.Ratio(1e-6)
		if m.Ratio(m.PulseMost) < 0 {
			small = -small
		}
		ahead, err := m.Inverse(small)
		require.NoError(t, err)
		behind, err := m.Inverse(-small)
		require.NoError(t, err)
		require.InDelta(t, upper.Value, float64(ahead.Pulse), 0.01, "%s jumps the dead band", name)
		require.InDelta(t, lower.Value, float64(behind.Pulse), 0.01, "%s jumps the dead band", name)
		neutral, err := m.Inverse(0)
		require.NoError(t, err)
		require.InDelta(t, centre.Value, float64(neutral.Pulse), 1e-12, name)
	}
}

// Hysteresis widens the inverse's band by half of it on either side.
func TestHysteresisIsFoundAndCarried(t *testing.T) {
	l := newLaw(contact{}, terms{hysteresis: true})
	truth := lawCases[4].theta
	const runs = 300
	covered, freeCovered := 0, 0
	for seed := range uint64(runs) {
		readings := invented(l, truth, seed, bothWays, 1)
		m, err := Fit(readings, FitOptions{Law: Contact})
		require.NoError(t, err)
		h, ok := m.Param(parHysteresis)
		require.True(t, ok)
		if h.Sigmas(truth[5]) <= m.pointwise(0.95) {
			covered++
		}
		if seed < 60 {
			free, err := Fit(readings, FitOptions{Law: FreeForm})
			require.NoError(t, err)
			h, ok := free.Param(parHysteresis)
			require.True(t, ok)
			if h.Sigmas(truth[5]) < 3 {
				freeCovered++
			}
		}
		if seed > 0 {
			continue
		}
		outward, inward := m.RatioFrom(1700, measure.Outward), m.RatioFrom(1700, measure.Inward)
		require.InDelta(t, h.Value*m.Slope(1700), float64(inward-outward), 1e-4)
		inverse, err := m.Inverse(0.5)
		require.NoError(t, err)
		require.InDelta(t, h.Value/2, inverse.HalfHysteresis, 1e-12)
		low, high, err := m.InverseBand(0.5, 0.95)
		require.NoError(t, err)
		require.InDelta(t, h.Value+2*m.pointwise(0.95)*inverse.StdErr, float64(high-low), 1e-9)
	}
	t.Logf("hysteresis: %.3f of 95 %% intervals hold the truth (s.e. %.3f); free form within 3 s.e. %d of 60", float64(covered)/runs, math.Sqrt(0.05*0.95/runs), freeCovered)
	require.InDelta(t, 0.95, float64(covered)/runs, 0.04)
	require.GreaterOrEqual(t, freeCovered, 51)
}

// Under the right law the p-value is uniform: its mean is 1/2 with standard deviation sqrt(1/12).
func TestLackOfFitPValueIsUniform(t *testing.T) {
	const runs = 300
	sum, low := 0.0, 0
	for seed := range uint64(runs) {
		m, err := Fit(invented(newLaw(contact{}, terms{hysteresis: false}), lawCases[4].theta[:5], seed, noWay, 3),
			FitOptions{Law: Contact, OutlierSigmas: math.Inf(1)})
		require.NoError(t, err)
		require.Equal(t, basisReplicates, m.LackOfFit.Basis)
		sum += m.LackOfFit.PValue
		if m.LackOfFit.PValue < 0.1 {
			low++
		}
	}
	require.InDelta(t, 0.5, sum/runs, 4*math.Sqrt(1.0/12/runs))
	require.InDelta(t, 0.1, float64(low)/runs, 4*math.Sqrt(0.09/runs))
}

func TestFreeFormKeepsItsPromises(t *testing.T) {
	const runs = 200
	inside, whole, count := 0.0, 0.0, 0.0
	for seed := range uint64(runs) {
		readings, _ := recipeReadings(seed, gaussian)
		m, err := Fit(readings, FitOptions{Law: FreeForm})
		require.NoError(t, err)
		all := true
		last := math.Inf(-1)
		for _, band := range m.RatioBands(turningPulses, 0.95) {
			require.GreaterOrEqual(t, float64(band.Ratio), last-1e-12, "seed %d: not monotone at %v", seed, band.Pulse)
			last = float64(band.Ratio)
			truth := units.Ratio(recipeRatio(float64(band.Pulse)))
			if band.Low <= truth && truth <= band.High {
				inside++
			}
			all = all && band.SimultaneousLow <= truth && truth <= band.SimultaneousHigh
			count++
		}
		if all {
			whole++
		}
	}
	t.Logf("free form: pointwise band holds %.3f of the curve, simultaneous band %.3f of the curves, %d runs", inside/count, whole/runs, runs)
	require.Greater(t, inside/count, 0.92)
	require.Greater(t, whole/runs, 0.9)
}

func TestWrongInput(t *testing.T) {
	good, _ := recipeReadings(1, gaussian)
	change := func(f func(r []Reading) []Reading) []Reading { return f(append([]Reading{}, good...)) }
	for name, readings := range map[string][]Reading{
		"none":      nil,
		"one side":  good[25:],
		"no error":  change(func(r []Reading) []Reading { r[3].StdErr = 0; return r }),
		"infinite":  change(func(r []Reading) []Reading { r[3].StdErr = math.Inf(1); return r }),
		"no number": change(func(r []Reading) []Reading { r[3].Ratio = math.NaN(); return r }),
		"approach":  change(func(r []Reading) []Reading { r[3].Approach = "sideways"; return r }),
	} {
		_, err := Fit(readings, FitOptions{})
		var wrong *ReadingsError
		require.True(t, errors.As(err, &wrong), "%s: %v", name, err)
	}
	for _, opt := range []FitOptions{{Law: "belt"}, {OutlierSigmas: 1}, {RejectBelow: 0.7}} {
		_, err := Fit(good, opt)
		var wrong *OptionsError
		require.ErrorAs(t, err, &wrong)
	}
	m, err := Fit(good, FitOptions{})
	require.NoError(t, err)
	for _, spoil := range []func(*Model){
		func(m *Model) { m.Law = "belt" },
		func(m *Model) { m.Parameters = m.Parameters[1:] },
		func(m *Model) { m.Parameters[0].Name = "speed" },
		func(m *Model) { m.Covariance = nil },
		func(m *Model) { m.PulseLeast = m.PulseMost },
		func(m *Model) { m.Law = FreeForm },
	} {
		bad := m
		bad.Parameters = append([]Parameter{}, m.Parameters...)
		spoil(&bad)
		var wrong *ModelError
		require.ErrorAs(t, bad.Check(), &wrong)
	}
}

func TestFromMeasured(t *testing.T) {
	got := FromMeasured([]measure.Reading{
		{Pulse: 1600, Approach: measure.Inward, Ratio: units.Estimate{Value: 0.2, StdErr: 0.001}},
		{Pulse: 1620, Ratio: units.Estimate{StdErr: math.Inf(1)}}, // the shaft stood
		{Pulse: 1640, Ratio: units.Estimate{Value: 0.3, StdErr: 0.002}},
	})
	require.Equal(t, []Reading{
		{Pulse: 1600, Ratio: 0.2, StdErr: 0.001, Approach: measure.Inward},
		{Pulse: 1640, Ratio: 0.3, StdErr: 0.002},
	}, got)
}
