package variator

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/units"
)

// lawDraws are laws with effects large enough to be told apart by 42 readings of the recipe's noise: 0.08 rad is 4.6
// degrees of contact angle; a curvature of 0.0004 a us changes the rate by 16 % at 200 us; the friction offset is 0.15 in
// ratio, since a smaller one looks like an onset shift (see TestBetweenTwoLaws). Invented.
var lawDraws = []struct {
	shape shape
	terms terms
	theta []float64
}{
	{disc{}, terms{}, []float64{0.0031, 0.03, 1507, 9}},
	{discArm{}, terms{}, []float64{1.4, 0.03, 0.0021, 1507, 9}},
	{contact{}, terms{}, []float64{1.287, 0.035, 0.00175, 1507.3, 9.4}},
	{contactAngle{}, terms{}, []float64{1.287, 0.035, 0.00175, 0.08, 1507.3, 9.4}},
	{contact{}, terms{curvature: true}, []float64{1.287, 0.035, 0.00175, 1507.3, 9.4, 0.0004}},
	{contact{}, terms{friction: true}, []float64{1.287, 0.035, 0.00175, 1507.3, 9.4, 0.15}},
	{disc{}, terms{curvature: true}, []float64{0.0031, 0.03, 1507, 9, 0.0002}},
}

func TestTheRightLawIsChosen(t *testing.T) {
	runs := campaign(60, 400)
	for _, c := range lawDraws {
		law := newLaw(c.shape, c.terms)
		right, refuted, others := 0.0, 0.0, map[string]int{}
		inside, points := 0.0, 0.0
		for seed := range uint64(runs) {
			m, err := Fit(invented(law, c.theta, seed, noWay, 2), FitOptions{})
			require.NoError(t, err, "%s seed %d", c.shape.name(), seed)
			if m.Law == c.shape.name() && slices.Equal(namesOf(m.Parameters), law.names()) {
				right++
			} else {
				others[lawWordsOf(&m)]++
			}
			if m.Refuted {
				refuted++
			}
			by := make([]float64, law.count())
			for pulse := 1070.0; pulse < 1960; pulse += 89 {
				truth, _ := law.ratio(c.theta, pulse, 0, by)
				band := m.RatioBand(units.Pulse(pulse), 0.95)
				if points++; float64(band.Low) <= truth && truth <= float64(band.High) {
					inside++
				}
			}
		}
		n := float64(runs)
		t.Logf("%s %v: chosen in %.3f of %d runs (s.e. %.3f), refuted in %.3f, band holds %.3f; others %v",
			c.shape.name(), law.added(), right/n, runs, math.Sqrt(0.05*0.95/n), refuted/n, inside/points, others)
		require.GreaterOrEqual(t, right/n, 0.95-2*math.Sqrt(0.05*0.95/n), "%s", c.shape.name())
		require.Less(t, refuted/n, 0.01+4*math.Sqrt(0.01/n), "%s", c.shape.name())
		require.InDelta(t, 0.95, inside/points, 0.025, "%s", c.shape.name())
	}
}

func lawWordsOf(m *Model) string {
	if m.Law == FreeForm {
		return "free form"
	}
	return lawWords(m.Law, namesOf(m.Parameters))
}

// kinkedRatio is a contact law whose rate falls by a third at 210 us beyond the onset, as where a linkage begins to bind.
func kinkedRatio(pulse float64) float64 {
	x := pulse - 1507
	e := math.Max(math.Abs(x)-9, 0)
	if e > 210 {
		e = 210 + (e-210)*2/3
	}
	return math.Copysign(1.287*math.Tan(0.00175*e), x)
}

// unruly are curves that follow no law, and how far the free form may be off.
var unruly = map[string]struct {
	ratio func(pulse float64) float64
	noise float64
	worst float64
}{
	"odd":  {oddRatio, 0.003, 0.08}, // the curve is vertical at its onset: an edge 5 us off costs 0.05
	"kink": {kinkedRatio, 0.003, 0.03},
}

func unrulyReadings(ratio func(float64) float64, noise float64, seed uint64) []Reading {
	rng := rand.New(rand.NewPCG(seed, 6))
	var readings []Reading
	for pulse := 1060.0; pulse <= 1960; pulse += 22.5 {
		for range 2 {
			readings = append(readings, Reading{Pulse: units.Pulse(pulse), Ratio: ratio(pulse) + noise*rng.NormFloat64(), StdErr: noise})
		}
	}
	return readings
}

func TestNoLawLeavesTheFreeForm(t *testing.T) {
	runs := campaign(20, 400)
	for name, c := range unruly {
		free, inside, points := 0.0, 0.0, 0.0
		others := map[string]int{}
		for seed := range uint64(runs) {
			m, err := Fit(unrulyReadings(c.ratio, c.noise, seed), FitOptions{})
			require.NoError(t, err)
			if m.Law != FreeForm {
				others[lawWordsOf(&m)]++
				continue
			}
			free++
			require.NotEmpty(t, m.Candidates)
			worst := 0.0
			for p := 1060.0; p <= 1960; p += 5 {
				band := m.RatioBand(units.Pulse(p), 0.95)
				worst = math.Max(worst, math.Abs(float64(band.Ratio)-c.ratio(p)))
				if c.ratio(p) != 0 {
					if points++; float64(band.Low) <= c.ratio(p) && c.ratio(p) <= float64(band.High) {
						inside++
					}
				}
			}
			require.Less(t, worst, c.worst, "%s, seed %d", name, seed)
		}
		t.Logf("%s: free form in %.3f of %d runs, its band holds %.3f of the curve; others %v", name, free/float64(runs), runs, inside/points, others)
		require.GreaterOrEqual(t, free/float64(runs), 0.95, name)
		require.Greater(t, inside/points, 0.9, name)
	}
}

// A friction offset too small to be told from an onset shift: the wrong law is taken most of the time, and the band must
// still hold the curve, since the rival's distance is in it.
func TestBetweenTwoLaws(t *testing.T) {
	runs := campaign(150, 1000)
	law := newLaw(contact{}, terms{friction: true})
	for _, offset := range []float64{0.03, 0.06} {
		theta := []float64{1.287, 0.035, 0.00175, 1507.3, 9.4, offset}
		right, rivals, inside, points := 0.0, 0.0, 0.0, 0.0
		by := make([]float64, law.count())
		for seed := range uint64(runs) {
			m, err := Fit(invented(law, theta, seed, noWay, 2), FitOptions{})
			require.NoError(t, err)
			if slices.Contains(namesOf(m.Parameters), parFriction) {
				right++
			}
			if m.Rival != nil {
				rivals++
				require.Contains(t, m.Verdict, "describes them better, but not clearly")
			}
			for pulse := 1070.0; pulse < 1960; pulse += 89 {
				truth, _ := law.ratio(theta, pulse, 0, by)
				band := m.RatioBand(units.Pulse(pulse), 0.95)
				if points++; float64(band.Low) <= truth && truth <= float64(band.High) {
					inside++
				}
			}
		}
		n := float64(runs)
		t.Logf("friction offset %v: seen in %.2f of %d runs, a rival named in %.2f; band of 95 %% holds %.3f (s.e. about %.3f)",
			offset, right/n, runs, rivals/n, inside/points, math.Sqrt(0.05*0.95/n))
		require.Greater(t, inside/points, 0.92-2*math.Sqrt(0.05*0.95/n))
	}
}
