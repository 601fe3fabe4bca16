package physics

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/fixtures/machines"
)

func TestValidateNamesTheParameter(t *testing.T) {
	for where, spoil := range map[string]func(*Machine){
		"step_micros":                         func(m *Machine) { m.StepMicros = 5000 },
		"drive.no_load_rpm":                   func(m *Machine) { m.Drive.NoLoadRPM = 0 },
		"drive.wander_seconds":                func(m *Machine) { m.Drive.WanderRMS = 0.01 },
		"axes":                                func(m *Machine) { m.Axes = nil },
		"joints":                              func(m *Machine) { m.Joints = nil },
		"axes[0].servo.link_ratio":            func(m *Machine) { m.Axes[0].Servo.LinkRatio = math.NaN() },
		"axes[0].servo.most_tilt_degrees":     func(m *Machine) { m.Axes[0].Servo.MostTiltDegrees, m.Axes[0].Servo.LeastTiltDegrees = 0, 0 },
		"axes[0].variator.bare_cap_mm":        func(m *Machine) { m.Axes[0].Variator.BareCapMM = 1 },
		"axes[0].variator.drive_runout.twice": func(m *Machine) { m.Axes[0].Variator.DriveRunout.Twice = -1 },
		"axes[0].output.stiction":             func(m *Machine) { m.Axes[0].Output.Stiction = 0.5 },
		"axes[0].output.mesh_stiffness_nm_per_rad": func(m *Machine) {
			m.Axes[0].Output.MeshStiffnessNMPerRad = 500
			m.Joints[0].MassKG = 1e5
		},
		"joints[0].unit":            func(m *Machine) { m.Joints[0].Unit = "inch" },
		"joints[0].mass_kg":         func(m *Machine) { m.Joints[0].MassKG = 0 },
		"joints[0].per_output_turn": func(m *Machine) { m.Joints[0].PerOutputTurn = nil },
		"joints[0].high":            func(m *Machine) { m.Joints[0].Endless, m.Joints[0].StopNPerMM = false, 1 },
		"counters[0].kind":          func(m *Machine) { m.Counters = []Counter{{}} },
		"counters[0].of": func(m *Machine) {
			m.Counters = []Counter{{Kind: Incremental, On: OnOutput, Of: 3, CountsPerTurn: 4}}
		},
	} {
		m := plain()
		require.NoError(t, m.Validate())
		spoil(&m)
		_, err := New(m, 1)
		var bad *ParameterError
		require.ErrorAs(t, err, &bad, where)
		assert.Equal(t, where, bad.Where)
	}
}

func TestValidateRefusesDependentJoints(t *testing.T) {
	m := fixture(t, "lift")
	m.Joints[2].PerOutputTurn = []float64{0, 4, 4}
	var bad *ParameterError
	require.ErrorAs(t, m.Validate(), &bad)
	assert.Equal(t, "joints", bad.Where)
}

func TestReadSaysWhere(t *testing.T) {
	text, err := machines.Text("trolley")
	require.NoError(t, err)
	var bad *ReadError
	_, err = Read([]byte(strings.Replace(string(text), "friction = 0.45", "grip = 0.45", 1)))
	require.ErrorAs(t, err, &bad)
	assert.ErrorIs(t, err, ErrUnknownKey)
	lines := strings.Split(string(text), "\n")
	assert.Equal(t, "friction = 0.45", lines[bad.Row-1])
	_, err = Read([]byte("name = 3\n"))
	require.ErrorAs(t, err, &bad)
	assert.Equal(t, 1, bad.Row)
	var parameter *ParameterError
	_, err = Read([]byte("name = \"empty\"\n"))
	assert.ErrorAs(t, err, &parameter)
}

func TestInverse(t *testing.T) {
	m := [][]float64{{0, 2, 1}, {1, 1, 0}, {3, 0, -1}}
	back, ok := inverse(m)
	require.True(t, ok)
	for i := range m {
		for j := range m {
			var sum float64
			for k := range m {
				sum += m[i][k] * back[k][j]
			}
			want := 0.0
			if i == j {
				want = 1
			}
			assert.InDelta(t, want, sum, 1e-12)
		}
	}
	_, ok = inverse([][]float64{{1, 2}, {2, 4}})
	assert.False(t, ok)
}
