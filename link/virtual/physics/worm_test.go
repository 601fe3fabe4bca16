package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// hoist lifts a weight over a worm; nothing rubs but the worm.
func hoist(lead, pressure, friction float64) Machine {
	m := plain()
	o := &m.Axes[0].Output
	o.LeadDegrees, o.PressureAngleDegrees, o.WormFriction = lead, pressure, friction
	m.Joints[0].WeightN = 20
	return m
}

func TestWormEfficiencyDriving(t *testing.T) {
	const (
		shigley  = "formula of the published notes, mu 0.05; agrees with Shigley's table of worm efficiencies (recalled) within 0.2"
		shigley2 = "the same formula at a pressure angle of 20 degrees"
		mott     = "Mott, Machine Elements in Mechanical Design, 4th ed., example after p. 480: 6.68 hp out of 7.35 hp"
	)
	for _, c := range []struct {
		lead, pressure, friction, percent float64
		source                            string
	}{
		{1, 14.5, 0.05, 25.2, shigley}, {2.5, 14.5, 0.05, 45.7, shigley}, {5, 14.5, 0.05, 62.6, shigley}, {7.5, 14.5, 0.05, 71.3, shigley},
		{10, 14.5, 0.05, 76.6, shigley}, {15, 14.5, 0.05, 82.7, shigley}, {20, 14.5, 0.05, 85.9, shigley}, {25, 14.5, 0.05, 87.9, shigley}, {30, 14.5, 0.05, 89.1, shigley},
		{1, 20, 0.05, 24.7, shigley2}, {2.5, 20, 0.05, 45.0, shigley2}, {5, 20, 0.05, 61.9, shigley2}, {7.5, 20, 0.05, 70.7, shigley2},
		{10, 20, 0.05, 76.1, shigley2}, {15, 20, 0.05, 82.2, shigley2}, {20, 20, 0.05, 85.6, shigley2}, {25, 20, 0.05, 87.5, shigley2}, {30, 20, 0.05, 88.7, shigley2},
		{14.04, 19.45, 0.022, 90.9, mott},
	} {
		p := runAt(t, hoist(c.lead, c.pressure, c.friction), 1500+200, 2)
		before := p.Energy()
		p.Advance(1_000_000)
		after := p.Energy()
		raised, lost := after.Raised-before.Raised, after.OutputLoss-before.OutputLoss
		assert.InDelta(t, c.percent, 100*raised/(raised+lost), 0.06, "lead %g pressure angle %g: %s; the table has one decimal", c.lead, c.pressure, c.source)
	}
}

func TestWormBackDriving(t *testing.T) {
	// The wheel drives the worm with (cos an - mu cot L)/(cos an + mu tan L);
	// algebra of the same force balance. The worm turns against a viscous drag
	// at constant speed, the output wheel over the bare cap, the drive off.
	m := hoist(14.04, 19.45, 0.022)
	m.Axes[0].Variator.PatchMM, m.Axes[0].Variator.BareCapMM = 0.3, 1
	m.Axes[0].Output.ViscousNMS = 1e-3
	p := build(t, m, 1)
	p.Advance(5_000_000)
	worm := 1e-3 * math.Abs(p.OutputSpeed(0)) * 2 * math.Pi // N m
	weight := 20 * 6e-3 / (2 * math.Pi)
	lead, cos := math.Tan(14.04*math.Pi/180), math.Cos(19.45*math.Pi/180)
	assert.InDelta(t, (cos-0.022/lead)/(cos+0.022*lead), worm/weight, 1e-4)
	assert.Negative(t, p.OutputSpeed(0))
}

func TestSelfLocking(t *testing.T) {
	// The gear cannot drive the worm when mu > tan L cos an; published for
	// mu > tan L, the cosine from memory and from the force balance.
	for _, pressure := range []float64{0, 20} {
		limit := math.Tan(4*math.Pi/180) * math.Cos(pressure*math.Pi/180)
		for _, c := range []struct {
			friction float64
			holds    bool
		}{{1.02 * limit, true}, {0.98 * limit, false}} {
			m := hoist(4, pressure, c.friction)
			m.Axes[0].Variator.PatchMM, m.Axes[0].Variator.BareCapMM = 0.3, 1
			p := build(t, m, 1)
			p.Advance(2_000_000) // the weight comes to rest in the mesh
			before := p.OutputTurns(0)
			p.Advance(10_000_000)
			if c.holds {
				assert.Equal(t, before, p.OutputTurns(0), "a locked worm holds exactly")
				assert.True(t, p.Stuck(0))
			} else {
				assert.Less(t, p.OutputTurns(0), before-1)
			}
		}
	}
}

func TestStaticFrictionHoldsMoreThanSliding(t *testing.T) {
	// A worm between its static and its sliding limit holds until it is moved,
	// then runs.
	limit := math.Tan(4 * math.Pi / 180)
	m := hoist(4, 0, 0.9*limit)
	m.Axes[0].Variator.PatchMM, m.Axes[0].Variator.BareCapMM = 0.3, 1
	m.Axes[0].Output.Stiction, m.Axes[0].Output.StribeckRPM = 1.25, 2
	m.Axes[0].Output.ViscousNMS = 1e-4
	p := build(t, m, 1)
	p.Advance(5_000_000)
	assert.Zero(t, p.OutputSpeed(0))
	p.SetDrive(1)
	p.SetPulse(0, 1350)
	p.Advance(500_000)
	p.SetPulse(0, 1500)
	p.Advance(5_000_000)
	assert.Less(t, p.OutputSpeed(0), -0.2)
}

func TestUpAndDownDiffer(t *testing.T) {
	// Torque up over torque down, from the balance on the thread.
	m := hoist(4, 20, 0.12)
	lead, mu := math.Tan(4*math.Pi/180), 0.12/math.Cos(20*math.Pi/180)
	weight := 20 * 6e-3 / (2 * math.Pi)
	up := runAt(t, m, 1700, 3).Forces(0).OutputTractionN * 0.02
	down := runAt(t, m, 1300, 3).Forces(0).OutputTractionN * 0.02
	assert.InEpsilon(t, weight*(1+mu/lead)/(1-mu*lead), up, 1e-4)
	assert.InEpsilon(t, weight*(1-mu/lead)/(1+mu*lead), down, 1e-4)
}
