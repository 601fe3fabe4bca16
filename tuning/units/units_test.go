package units

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

func TestPulseKeepsItsTenths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tenths := rapid.Uint16Range(0, 0x7fff).Draw(t, "tenths")
		assert.Equal(t, tenths, PulseFromTenths(tenths).Tenths())
	})
	assert.Equal(t, uint16(0), Pulse(math.NaN()).Tenths(), "an impossible pulse is none")
	assert.Equal(t, uint16(0), Pulse(-3).Tenths())
	assert.Equal(t, uint16(0x7fff), Pulse(math.Inf(1)).Tenths())
	assert.Equal(t, Pulse(1528.4), Pulse(1528.3999).Rounded())
}

func TestPulseIsReadOnlyWithItsUnit(t *testing.T) {
	for text, want := range map[string]Pulse{"1528.4 us": 1528.4, "1.5 ms": 1500, " 900 us ": 900} {
		got, err := ParsePulse(text)
		assert.NoError(t, err, text)
		assert.InDelta(t, float64(want), float64(got), 1e-9, text)
	}
	for _, text := range []string{"", "1500", "1500us", "x us", "1500 s", "NaN us", "Inf us"} {
		_, err := ParsePulse(text)
		assert.Error(t, err, text)
	}
}

func TestEstimateShowsAsManyDigitsAsItsErrorAllows(t *testing.T) {
	for want, e := range map[string]Estimate{
		"1528.4 ±0.6":        {1528.41, 0.61},
		"0.0123 ±0.0004":     {0.01234, 0.0004},
		"1.04 ±0.15":         {1.04, 0.151},
		"250 ±30":            {250, 30},
		"0.250000 ±0.000000": {0.25, 1e-9},
	} {
		assert.Equal(t, want, e.String())
	}
	assert.Equal(t, 2.0, Estimate{10, 0.5}.Sigmas(11))
	assert.Equal(t, 0.0, Estimate{10, 0}.Sigmas(10))
	assert.True(t, math.IsInf(Estimate{10, 0}.Sigmas(11), 1))
}
