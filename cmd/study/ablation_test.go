package study

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"

	"trunnion/link/virtual/physics"
)

// without are the trolley's flaws that can be taken away, one at a time.
var without = []struct {
	what string
	heal func(m *physics.Machine)
}{
	{"as it is", func(*physics.Machine) {}},
	{"servo without scatter", func(m *physics.Machine) { m.Axes[0].Servo.RepeatMicros = 0 }},
	{"servo without scatter, dead zone, play", func(m *physics.Machine) {
		m.Axes[0].Servo.RepeatMicros, m.Axes[0].Servo.DeadZoneMicros, m.Axes[0].Servo.PlayDegrees = 0, 0, 0
	}},
	{"that, and no runout anywhere", func(m *physics.Machine) {
		m.Axes[0].Servo.RepeatMicros, m.Axes[0].Servo.DeadZoneMicros, m.Axes[0].Servo.PlayDegrees = 0, 0, 0
		v := &m.Axes[0].Variator
		v.DriveRunout, v.BallRunout, v.OutputRunout = physics.Runout{}, physics.Runout{}, physics.Runout{}
	}},
	{"servo without scatter, no lost motion", func(m *physics.Machine) {
		m.Axes[0].Servo.RepeatMicros, m.Axes[0].Output.LostMotionTurns = 0, 0
	}},
	{"no lost motion", func(m *physics.Machine) {
		m.Axes[0].Output.LostMotionTurns = 0
	}},
	{"servo without scatter, no creep", func(m *physics.Machine) {
		m.Axes[0].Servo.RepeatMicros, m.Axes[0].Variator.ElasticCreep = 0, 0
	}},
	{"servo without scatter, straight linkage", func(m *physics.Machine) {
		m.Axes[0].Servo.RepeatMicros = 0
		m.Axes[0].Servo.LinkRatio, m.Axes[0].Servo.HornOffsetDegrees = 1, 0
	}},
}

// Where the errors come from: the same study on machines that lack a flaw.
func TestWhereTheErrorsComeFrom(t *testing.T) {
	if os.Getenv("TRUNNION_LONG") == "" {
		t.Skip("calibrates one machine after the other, 20 times each: set TRUNNION_LONG=1")
	}
	t.Log(header("trolley"))
	for _, w := range without {
		m := machine(t, "trolley")
		w.heal(&m)
		r := scan(t, m, 0)
		var edges, readings, curve deviations
		for seed := range seeds() {
			s := calibrate(t, "trolley", m, uint64(seed)+1)
			s.compare(0, r, &edges, &readings, &curve)
		}
		t.Log(edges.row("edges, us: " + w.what))
		t.Log(readings.row("  readings, % of full scale"))
		t.Log(curve.row("  curve, middle, % of full scale"))
		assert.Less(t, curve.rms(), 0.5, w.what)
	}
}
