package pid

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestMarginsOfTheTwelveLoops(t *testing.T) {
	const tolerance = 1e-5 // the reference is good to 6e-15; frequencies of a flat peak to 1e-8
	for _, l := range referenceLoops(t) {
		t.Run(l.ID, func(t *testing.T) {
			m, err := LoopMargins(tuningOf(l, 1), processOf(l))
			require.NoError(t, err)
			want := l.Margins
			require.True(t, m.Stable)
			near(t, want.GainMargin, m.GainMargin, tolerance, "gain margin")
			near(t, want.PhaseCrossover, m.PhaseCrossover, tolerance, "phase crossover")
			near(t, want.PhaseMargin, m.PhaseMarginDeg, tolerance, "phase margin")
			near(t, want.GainCrossover, m.GainCrossover, tolerance, "gain crossover")
			near(t, want.DelayMargin, m.DelayMarginS, tolerance, "delay margin")
			near(t, want.Ms, m.Ms, tolerance, "Ms")
			near(t, want.MsFrequency, m.MsFrequency, tolerance, "frequency of Ms")
			near(t, want.Mt, m.Mt, tolerance, "Mt")
			if want.Mt > 1.000001 {
				near(t, want.MtFrequency, m.MtFrequency, tolerance, "frequency of Mt")
			}
			require.Len(t, m.GainCrossings, len(want.GainCrossings))
			for i, c := range m.PhaseCrossings[:min(len(m.PhaseCrossings), 5)] {
				near(t, want.PhaseCrossings[i], c.Frequency, tolerance)
				near(t, want.GainMargins[i], c.GainMargin, tolerance)
			}
		})
	}
}
