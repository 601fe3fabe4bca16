package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// exercise runs a machine through starts, reversals and a stop, and returns it.
func exercise(t testing.TB, m Machine) *Plant {
	p := build(t, m, 3)
	p.SetDrive(1)
	for _, pulse := range []float64{1500, 1900, 1300, 1530, 1540, 1100, 1500} {
		for i := range m.Axes {
			p.SetPulse(i, pulse+float64(7*i))
		}
		p.Advance(800_000)
	}
	p.SetDrive(0)
	p.Advance(500_000)
	return p
}

// Work in is stored or lost. What the account leaves open is the error of the
// step, so it is small and halves with the step.
func TestEnergyAccountCloses(t *testing.T) {
	for _, name := range []string{"trolley", "lift"} {
		m := fixture(t, name)
		var open []float64
		for _, step := range []int64{500, 250, 125, 62} {
			m.StepMicros = step
			e := exercise(t, m).Energy()
			open = append(open, math.Abs(e.Open())/e.Motor)
			for what, lost := range map[string]float64{
				"shaft": e.ShaftLoss, "in": e.InputCreep, "out": e.OutputCreep, "spin": e.Spin, "output": e.OutputLoss, "mesh": e.MeshLoss, "joint": e.JointLoss,
			} {
				assert.Positive(t, lost, "%s: friction takes (%s)", name, what)
			}
		}
		t.Logf("%s: open share of the motor's work at 500, 250, 125, 62 us: %.2e", name, open)
		assert.Less(t, open[0], 0.01, name)
		assert.InDelta(t, 2, open[0]/open[1], 0.5, name)
		assert.InDelta(t, 2, open[1]/open[2], 0.5, name)
		assert.InDelta(t, 2, open[2]/open[3], 0.5, name)
	}
}

// In steady running nothing is stored, and the account closes far better.
func TestSteadyPowerBalance(t *testing.T) {
	m := plain()
	m.Axes[0].Variator.PatchMM = 0.4
	m.Axes[0].Variator.BallDragNMS = 1e-5
	m.Axes[0].Output.FrictionNM, m.Axes[0].Output.ViscousNMS = 0.03, 1e-4
	m.Axes[0].Output.LeadDegrees, m.Axes[0].Output.WormFriction, m.Axes[0].Output.PressureAngleDegrees = 5, 0.1, 20
	m.Joints[0].WeightN, m.Joints[0].FrictionN = 20, 2
	p := runAt(t, m, 1500+300, 4)
	before := p.Energy()
	p.Advance(2_000_000)
	after := p.Energy()
	in := after.Motor - before.Motor
	assert.InDelta(t, 0, (after.Open()-before.Open())/in, 1e-9)
	assert.InDelta(t, 20*p.JointSpeed(0)/1e3*2, after.Raised-before.Raised, 1e-6, "force times way")
}

// The scheme is of first order: the distance from the limit halves with the
// step. The run has slews, sag and load, and no sticking.
func TestErrorHalvesWithTheStep(t *testing.T) {
	m := plain()
	m.Drive.StallTorqueNM = 1.5
	m.Axes[0].Variator.PatchMM = 0.3
	m.Axes[0].Output.ViscousNMS = 2e-3
	m.Axes[0].Servo.StartMicros = 1700
	end := func(step int64) float64 {
		m.StepMicros = step
		p := build(t, m, 1)
		p.SetDrive(1)
		p.Advance(200_000)
		p.SetPulse(0, 1950)
		p.Advance(240_000)
		p.SetPulse(0, 1650)
		p.Advance(160_000)
		return p.OutputTurns(0)
	}
	// Two steps fine enough give the limit by extrapolation.
	limit := 2*end(10) - end(20)
	errors := []float64{end(800) - limit, end(400) - limit, end(200) - limit, end(100) - limit}
	t.Logf("errors at 800, 400, 200, 100 us: %.3e turns", errors)
	for k := range 3 {
		assert.InDelta(t, 2, errors[k]/errors[k+1], 0.25)
	}
	assert.Less(t, math.Abs(errors[1]), 5e-3)
}
