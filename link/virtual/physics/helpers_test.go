package physics

import (
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
)

// plain is a machine without flaws: nothing rubs, nothing creeps more than the
// contact needs to carry, every part is exactly where the drawing has it, and
// the motor hardly sags. Tests add the one flaw they look at.
func plain() Machine {
	return Machine{
		Name:       "plain",
		StepMicros: 500,
		Drive:      Drive{NoLoadRPM: 400, StallTorqueNM: 20, InertiaKGM2: 2e-3, Reversible: true},
		Axes: []Axis{{
			Name: "axis",
			Servo: Servo{
				CentreMicros: 1500, DegreesPerMicro: 0.1, SlewDegreesPerSecond: 500, GainPerSecond: 40, LagSeconds: 0.005,
				LinkRatio: 1, LeastTiltDegrees: -65, MostTiltDegrees: 65,
			},
			Variator: Variator{
				DriveRadiusMM: 20, BallRadiusMM: 20, OutputRadiusMM: 20, BallInertiaKGM2: 8e-6,
				Friction: 0.4, InputNormalN: 30, OutputNormalN: 30, ElasticCreep: 0.02,
			},
			Output: Output{InertiaKGM2: 6e-5, MeshStiffnessNMPerRad: 0.5, MeshDampingNMS: 5e-4},
		}},
		Joints: []Joint{{Name: "joint", Unit: "mm", PerOutputTurn: []float64{6}, Endless: true, MassKG: 1.5}},
	}
}

func build(t testing.TB, m Machine, seed uint64) *Plant {
	t.Helper()
	p, err := New(m, seed)
	require.NoError(t, err)
	return p
}

func fixture(t testing.TB, name string) Machine {
	t.Helper()
	text, err := machines.Text(name)
	require.NoError(t, err)
	m, err := Read(text)
	require.NoError(t, err)
	return m
}

// runAt returns the plant with the servos standing exactly at a pulse, drive on
// and run for some seconds.
func runAt(t testing.TB, m Machine, pulse, seconds float64) *Plant {
	t.Helper()
	m = m.clone()
	for i := range m.Axes {
		m.Axes[i].Servo.StartMicros = pulse
	}
	p := build(t, m, 1)
	p.SetDrive(1)
	p.Advance(int64(seconds * 1e6))
	return p
}

// steadyRatio is output speed over shaft speed.
func steadyRatio(p *Plant) float64 { return p.OutputSpeed(0) / p.ShaftSpeed() }
