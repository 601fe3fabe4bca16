package variator

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// anyMachine is a ball variator of random build and random readings of it: either direction, centres far from 1500 us,
// few or many readings, a tenth of them slipped, with or without hysteresis. Invented.
func anyMachine(rng *rand.Rand) (l lawOf, theta []float64, readings []Reading, slipped map[int]bool) {
	l = newLaw(contact{}, terms{hysteresis: rng.IntN(2) == 0})
	reach := 250 + 350*rng.Float64()
	theta = []float64{0.5 + 1.5*rng.Float64(), 0.2 * (rng.Float64() - 0.5), (0.6 + 0.6*rng.Float64()) / reach,
		1350 + 300*rng.Float64(), 3 + 40*rng.Float64()}
	if rng.IntN(2) == 0 {
		theta[0] = -theta[0]
	}
	if l.terms.hysteresis {
		theta = append(theta, 8*rng.Float64())
	}
	perSide := 8 + rng.IntN(20)
	by := make([]float64, l.count())
	slipped = map[int]bool{}
	for k := range perSide {
		for _, side := range []float64{-1, 1} {
			e := 6 + (reach-6)*(float64(k)+0.3*rng.Float64())/float64(perSide)
			reading := Reading{Pulse: units.Pulse(theta[3] + side*(theta[4]+e)).Rounded()}
			way := 0.0
			if l.terms.hysteresis {
				reading.Approach, way = measure.Outward, 1
				if k%2 == 1 {
					reading.Approach, way = measure.Inward, -1
				}
			}
			u, _ := l.ratio(theta, float64(reading.Pulse), way, by)
			reading.StdErr = math.Hypot(0.0008, 0.003*u)
			if rng.Float64() < 0.1 {
				slipped[len(readings)] = true
				u *= 0.5 + 0.4*rng.Float64()
			}
			reading.Ratio = u + reading.StdErr*rng.NormFloat64()
			readings = append(readings, reading)
		}
	}
	rng.Shuffle(len(readings), func(i, j int) {
		readings[i], readings[j] = readings[j], readings[i]
		slipped[i], slipped[j] = slipped[j], slipped[i]
	})
	return l, theta, readings, slipped
}

func TestAnyMachineIsFound(t *testing.T) {
	const runs = 250
	bad, missed, slips, other := 0, 0, 0, 0
	for seed := range uint64(runs) {
		rng := rand.New(rand.NewPCG(seed, 77))
		l, theta, readings, slipped := anyMachine(rng)
		many := 0
		for _, slip := range slipped {
			if slip {
				many++
			}
		}
		if many > len(readings)/5 {
			continue // more than a fifth wild: beyond what is promised
		}
		m, err := Fit(readings, FitOptions{})
		require.NoError(t, err, "seed %d", seed)
		require.NoError(t, m.Check(), "seed %d", seed)
		left := map[int]bool{}
		for _, o := range m.Outliers {
			left[o.Index] = true
		}
		for i, slip := range slipped {
			if slip {
				slips++
				if !left[i] {
					missed++
				}
			}
		}
		if m.Law != Contact {
			other++
		}
		by := make([]float64, l.count())
		worst := 0.0
		for p := m.PulseLeast; p <= m.PulseMost; p += 5 {
			truth, _ := l.ratio(theta, float64(p), 0, by)
			band := m.RatioBand(p, 0.999)
			if off := math.Abs(float64(band.Ratio) - truth); off > float64(band.SimultaneousHigh-band.SimultaneousLow) {
				worst = math.Max(worst, off)
			}
		}
		if worst > 0 {
			bad++
			t.Logf("seed %d: off by %.4f: %s", seed, worst, m.Verdict)
		}
	}
	t.Logf("%d runs: %d curves off, %d of %d slipped readings kept, %d fitted by another law", runs, bad, missed, slips, other)
	require.LessOrEqual(t, bad, runs/50)
	require.Less(t, other, runs/20)
	require.Less(t, missed, slips/20)
}

// Readings without noise, as in an exercise, must not give infinities, which a document cannot hold.
func TestPerfectReadings(t *testing.T) {
	var readings []Reading
	for _, p := range recipePulses() {
		for range 2 {
			readings = append(readings, Reading{Pulse: units.Pulse(p), Ratio: recipeRatio(p), StdErr: 0.001})
		}
	}
	for _, law := range []LawName{Automatic, FreeForm} {
		m, err := Fit(readings, FitOptions{Law: law})
		require.NoError(t, err)
		_, err = json.Marshal(m)
		require.NoError(t, err)
		require.InDelta(t, recipeRatio(1700), float64(m.Ratio(1700)), 1e-4)
		_, err = m.Table(33)
		require.NoError(t, err)
	}
}

// The fewest readings that are accepted give a curve or say why not; never a panic.
func TestFewReadings(t *testing.T) {
	all, _ := recipeReadings(4, gaussian)
	for perSide := 1; perSide < 8; perSide++ {
		var some []Reading
		for k := range perSide {
			some = append(some, all[k*20/perSide], all[49-k*20/perSide])
		}
		m, err := Fit(some, FitOptions{})
		if err != nil {
			require.Less(t, perSide, leastPerSide, "%v", err)
			continue
		}
		require.NoError(t, m.Check())
		_, err = json.Marshal(m)
		require.NoError(t, err)
		t.Logf("%d a side: %s", perSide, m.Verdict)
	}
}
