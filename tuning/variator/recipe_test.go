package variator

import (
	"math"
	"math/rand/v2"

	"trunnion/tuning/units"
)

// The recipe and the figures below are an independent computation (SciPy 1.10.1): 50 pulses, 25 a side, a contact law
// of known parameters, and noise in three kinds. The readings themselves are invented here anew for every seed.

// recipeTruth is gain, asymmetry, rate, centre, onset.
var recipeTruth = []float64{1.287, 0.035, 0.00175, 1507.3, 9.4}

// recipeBound are the Cramér-Rao standard deviations for Gaussian noise of recipeSigma; recipeBoundAll those with
// ripple and quantisation taken as Gaussian too.
var (
	recipeBound    = []float64{0.0057658172926521, 0.0009397518057053132, 0.005633577019869768e-3, 0.12097342264365246, 0.13358137000066278}
	recipeBoundAll = []float64{0.006049130306784912, 0.0010167407346790976, 0.005827067510994698e-3, 0.14543840446887257, 0.1593347116576925}
)

type recipeKind int

const (
	gaussian recipeKind = iota // s.d. hypot(0.0006, 0.004 ratio)
	rippled                    // and a once-per-output-turn ripple of 2 %, and counting: 0.5 s at 10.3 turn/s, 2400 counts a turn
	slipping                   // and 6 % of the readings beyond a ratio of 0.15 slip: times 0.60 to 0.93
)

const (
	recipeTurns  = 10.3 * 0.5
	recipeCounts = 2400
	recipeRipple = 0.02
)

func recipePulses() []float64 {
	var p []float64
	for i := range 25 {
		p = append(p, 1000+494*float64(i)/24)
	}
	for i := range 25 {
		p = append(p, 1506+494*float64(i)/24)
	}
	return p
}

func recipeRatio(p float64) float64 {
	u, _ := newLaw(contact{}, terms{hysteresis: false}).ratio(recipeTruth, p, 0, make([]float64, 5))
	return u
}

func recipeSigma(u float64) float64 { return math.Hypot(0.0006, 0.004*u) }

// recipeSigmaAll takes ripple and counting in, as if they were Gaussian.
func recipeSigmaAll(u float64) float64 {
	ripple := recipeRipple / (2 * math.Pi) * math.Sqrt2 * math.Abs(math.Sin(math.Pi*u*recipeTurns)) / recipeTurns
	counting := math.Sqrt(1.0/6) / (recipeTurns * recipeCounts)
	return math.Hypot(recipeSigma(u), math.Hypot(ripple, counting))
}

// recipeReadings are the readings of one seed, and which of them slipped.
func recipeReadings(seed uint64, kind recipeKind) (readings []Reading, slipped []bool) {
	rng := rand.New(rand.NewPCG(seed, uint64(kind)))
	for _, p := range recipePulses() {
		truth := recipeRatio(p)
		sigma := recipeSigma(truth)
		u := truth + sigma*rng.NormFloat64()
		slip := false
		if kind >= rippled {
			sigma = recipeSigmaAll(truth)
			if kind == slipping && math.Abs(truth) > 0.15 && rng.Float64() < 0.06 {
				u *= 0.60 + 0.33*rng.Float64()
				slip = true
			}
			phase := 2 * math.Pi * rng.Float64()
			turns := u * recipeTurns
			turns += recipeRipple / (2 * math.Pi) * (math.Sin(phase+2*math.Pi*turns) - math.Sin(phase))
			start := rng.Float64()
			u = (math.Floor(start+turns*recipeCounts) - math.Floor(start)) / (recipeTurns * recipeCounts)
		}
		readings = append(readings, Reading{Pulse: units.Pulse(p), Ratio: u, StdErr: sigma})
		slipped = append(slipped, slip)
	}
	return readings, slipped
}
