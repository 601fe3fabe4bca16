package process

import "testing"

// Benchmarks of one reference set of each kind: 250 samples, one step.
func BenchmarkRateSet(b *testing.B) {
	sets := referenceSteps(b).Sets["rate"]
	steps := []RateStep{fromRates(sets[0])}
	for b.Loop() {
		if _, err := FitRates(steps, false); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCountsSet(b *testing.B) {
	sets := referenceSteps(b).Sets["counts"]
	steps := []Step{fromGates(sets[0])}
	for b.Loop() {
		if _, err := Fit(steps, Settings{CountsPerTurn: setPerTurn}); err != nil {
			b.Fatal(err)
		}
	}
}
