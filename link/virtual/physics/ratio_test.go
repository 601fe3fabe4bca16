package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

const geometry = "exact geometry: contacts 90 degrees apart, ratio = (r_in/r_out) tan(tilt)"

func TestRollingWithoutSlipIsGeometry(t *testing.T) {
	// With nothing to carry there is no slip, whatever the creep curve.
	for _, c := range []struct {
		tiltDegrees, ratio float64
		source             string
	}{
		{5, 0.08749, geometry}, {10, 0.17633, geometry}, {15, 0.26795, geometry}, {20, 0.36397, geometry},
		{30, 0.57735, geometry}, {40, 0.83910, geometry}, {45, 1, geometry}, {50, 1.19175, geometry}, {60, 1.73205, geometry},
	} {
		p := runAt(t, plain(), 1500+10*c.tiltDegrees, 3)
		assert.InDelta(t, c.ratio, steadyRatio(p), 6e-6, "tilt %g: %s; the table has five decimals", c.tiltDegrees, c.source)
		assert.InDelta(t, math.Tan(c.tiltDegrees*math.Pi/180), steadyRatio(p), 1e-8, "and exactly")
		p = runAt(t, plain(), 1500-10*c.tiltDegrees, 3)
		assert.InDelta(t, -c.ratio, steadyRatio(p), 6e-6, "tilt %g the other way", c.tiltDegrees)
	}
}

func TestContactErrorWheelsAndSides(t *testing.T) {
	// Closed form by the arms about the spin axis: out R sin(a), in R cos(a - e).
	m := plain()
	m.Axes[0].Variator.ContactErrorDegrees = 3
	m.Axes[0].Variator.DriveRadiusMM = 24
	m.Axes[0].Variator.SideAsymmetry = 0.03
	for _, tilt := range []float64{-55, -30, -4, 7, 33, 50} {
		a, e := tilt*math.Pi/180, 3*math.Pi/180
		want := 24.0 / 20 * (1 + math.Copysign(0.03, tilt)) * math.Sin(a) / math.Cos(a-e)
		assert.InDelta(t, want, steadyRatio(runAt(t, m, 1500+10*tilt, 3)), 1e-8, "tilt %g", tilt)
	}
}

func TestCreepUnderLoad(t *testing.T) {
	// Closed form for a patch without spin: a contact that carries F of its
	// limit L slips by c roll F / sqrt(L^2 - F^2). The balance about the spin
	// axis gives the drive contact F tan(tilt).
	deficit := func(creep, torque, tilt float64) (got, want float64) {
		m := plain()
		m.Axes[0].Variator.ElasticCreep = creep
		m.Axes[0].Output.FrictionNM = torque
		got = steadyRatio(runAt(t, m, 1500+10*tilt, 3))
		limit, tan := 0.4*30, math.Tan(tilt*math.Pi/180)
		slip := func(f float64) float64 { return creep * f / math.Sqrt(limit*limit-f*f) }
		out := torque / 0.02
		return tan - got, tan - tan*(1-slip(out))/(1+slip(out*tan))
	}
	for _, tilt := range []float64{10, 30, 45} {
		for _, torque := range []float64{0.01, 0.05, 0.12} {
			got, want := deficit(0.02, torque, tilt)
			// The resting slip adds 2e-5 m/s to a scale of c roll; at least 2e-3 m/s here.
			assert.InEpsilon(t, want, got, 0.015, "tilt %g torque %g", tilt, torque)
		}
		whole, _ := deficit(0.02, 0.04, tilt)
		half, _ := deficit(0.01, 0.04, tilt)
		assert.InDelta(t, 0.5, half/whole, 0.01, "the creep vanishes with the curve's width, tilt %g", tilt)
		half, _ = deficit(0.02, 0.02, tilt)
		assert.InDelta(t, 0.5, half/whole, 0.03, "the creep vanishes with the load, tilt %g", tilt)
	}
}

func TestGrossSlipAboveTheLimit(t *testing.T) {
	m := plain()
	limit := 0.4 * 30 * 0.02 // N m at the output wheel
	m.Axes[0].Output.FrictionNM = 0.95 * limit
	p := runAt(t, m, 1500+250, 3)
	assert.Greater(t, steadyRatio(p), 0.35, "below the limit it still turns")
	m.Axes[0].Output.FrictionNM = 1.02 * limit
	p = runAt(t, m, 1500+250, 3)
	assert.Zero(t, p.OutputSpeed(0), "above it does not start")
	assert.InEpsilon(t, 12, p.Forces(0).OutputTractionN, 1e-3, "and the contact gives all it can")
}

func TestMirrorSymmetry(t *testing.T) {
	// A machine without a handed flaw does the same thing to both sides and in
	// both directions of the drive, to the last bits.
	m := plain()
	m.Axes[0].Variator.PatchMM, m.Axes[0].Variator.BareCapMM = 0.3, 0.7
	m.Axes[0].Output.FrictionNM, m.Axes[0].Output.Stiction, m.Axes[0].Output.StribeckRPM = 0.03, 1.4, 5
	m.Axes[0].Output.LeadDegrees, m.Axes[0].Output.WormFriction = 5, 0.1
	m.Axes[0].Output.LostMotionTurns = 0.05
	m.Axes[0].Servo.DeadZoneMicros, m.Axes[0].Servo.PlayDegrees, m.Axes[0].Servo.LinkRatio = 3, 0.1, 0.9
	m.Joints[0].FrictionN = 4
	run := func(side float64, direction int) *Plant {
		p := build(t, m, 1)
		p.SetDrive(direction)
		for _, pulse := range []float64{250, 20, 35, -120, 0, 410} {
			p.SetPulse(0, 1500+side*pulse)
			p.Advance(700_000)
		}
		return p
	}
	there, back, reverse := run(1, 1), run(-1, 1), run(1, -1)
	assert.Greater(t, there.OutputTurns(0), 1.0)
	assert.InDelta(t, there.OutputTurns(0), -back.OutputTurns(0), 1e-9)
	assert.InDelta(t, there.OutputTurns(0), -reverse.OutputTurns(0), 1e-9)
	assert.InDelta(t, there.JointPosition(0), -back.JointPosition(0), 1e-8)
	assert.InDelta(t, there.ShaftTurns(), back.ShaftTurns(), 1e-9)
	assert.InDelta(t, there.ShaftTurns(), -reverse.ShaftTurns(), 1e-9)
}

func TestMotorSagsOnItsLine(t *testing.T) {
	// Speed and torque of a steady shaft lie on the straight line; closed form.
	m := plain()
	m.Drive.StallTorqueNM, m.Drive.FrictionNM = 1.5, 0.01
	m.Axes[0].Output.FrictionNM = 0.1
	p := runAt(t, m, 1500+400, 4)
	load := 0.01 + p.Forces(0).InputTractionN*0.02
	assert.InDelta(t, 400.0/60*(1-load/1.5), p.ShaftSpeed(), 1e-6)
	assert.InDelta(t, load, p.MotorTorque(), 1e-6)
	assert.Greater(t, load, 0.08)
}
