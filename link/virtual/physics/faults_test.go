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

func TestFaultsThatCannotBe(t *testing.T) {
	p := build(t, fixture(t, "trolley"), 1)
	assert.ErrorIs(t, p.Inject(Fault{Name: "rust"}), ErrUnknownFault)
	assert.ErrorIs(t, p.Inject(Fault{Name: "oil", Of: 1}), ErrNoSuchPart)
	var bad *ParameterError
	assert.ErrorAs(t, p.Inject(Fault{Name: "oil", Size: -1}), &bad)
	assert.Equal(t, "axes[0].variator.friction", bad.Where)
}
