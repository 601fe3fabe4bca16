package physics

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestFaultStrikesAtItsTime(t *testing.T) {
	m := fixture(t, "trolley")
	m.Joints[0].Endless = true
	healthy, ill := build(t, m, 1), build(t, m, 1)
	require.NoError(t, ill.Inject(Fault{"oil", 0, 0.1, 2_000_250}))
	for _, p := range []*Plant{healthy, ill} {
		p.SetDrive(1)
		p.SetPulse(0, 1800)
		p.Advance(2_000_000)
	}
	assert.Equal(t, healthy.OutputTurns(0), ill.OutputTurns(0), "not before")
	for _, p := range []*Plant{healthy, ill} {
		p.Advance(2_000_000)
	}
	assert.Greater(t, healthy.OutputSpeed(0), 2.0)
	assert.Less(t, ill.OutputSpeed(0), 0.5*healthy.OutputSpeed(0))
}

func TestEveryFaultShows(t *testing.T) {
	m := fixture(t, "trolley")
	m.Joints[0].Endless = true
	for name := range Faults() {
		size := map[string]float64{
			"contact pressure": 0.2, "contact loss": 0.9, "oil": 0.2, "drive runout": 0.05, "horn slip": 4, "play": 2, "output friction": 3,
			"lost motion": 0.3, "joint friction": 4, "drive speed": 0.7, "counter misses": 0.1, "servo dead": 0, "counter dead": 0,
		}
		require.Contains(t, size, name)
		counts := func(fault bool) (seen []int64) {
			p := build(t, m, 1)
			if fault {
				require.NoError(t, p.Inject(Fault{Name: name, Size: size[name], AtMicros: 500_000}))
			}
			p.SetDrive(1)
			for _, pulse := range []float64{1700, 1300} {
				p.SetPulse(0, pulse)
				p.Advance(1_000_000)
				shaft, _ := p.Counter(0)
				output, _ := p.Counter(1)
				seen = append(seen, shaft, output)
			}
			return seen
		}
		assert.NotEqual(t, counts(false), counts(true), name)
	}
}

func TestFaultsThatCannotBe(t *testing.T) {
	p := build(t, fixture(t, "trolley"), 1)
	assert.ErrorIs(t, p.Inject(Fault{Name: "rust"}), ErrUnknownFault)
	assert.ErrorIs(t, p.Inject(Fault{Name: "oil", Of: 1}), ErrNoSuchPart)
	var bad *ParameterError
	assert.ErrorAs(t, p.Inject(Fault{Name: "oil", Size: -1}), &bad)
	assert.Equal(t, "axes[0].variator.friction", bad.Where)
}
