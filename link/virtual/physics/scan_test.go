package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// capped returns plain with a bare cap of asin(0.9/20) = 2.579 degrees and a
// patch so small that the cap has a sharp edge.
func capped() Machine {
	m := plain()
	m.Axes[0].Variator.BareCapMM, m.Axes[0].Variator.PatchMM = 0.9, 0.01
	m.Axes[0].Output.FrictionNM = 0.03
	return m
}

func TestScanFindsTheCap(t *testing.T) {
	truth, err := Scan(capped(), ScanOptions{Pulses: []float64{1700, 1300}})
	require.NoError(t, err)
	require.True(t, truth.Holds)
	edge := math.Asin(0.9/20) * 180 / math.Pi * 10 // us from the middle; closed form
	// The patch straddles the cap's edge over 0.6 us.
	for _, got := range []float64{1500 - truth.Short.BreakawayMicros, 1500 - truth.Short.DropoutMicros, truth.Long.BreakawayMicros - 1500, truth.Long.DropoutMicros - 1500} {
		assert.InDelta(t, edge, got, 0.4)
	}
	assert.InDelta(t, truth.Points[0].Outward, truth.Points[0].Inward, 1e-4, "nothing has hysteresis here")
	assert.InDelta(t, truth.Points[0].Outward, -truth.Points[1].Outward, 1e-4, "mirror image")
	assert.InDelta(t, math.Tan(20*math.Pi/180), truth.Points[0].Outward, 0.004, "less the creep under 0.03 N m")
}

func TestScanShowsTheServosDeadZone(t *testing.T) {
	m := capped()
	m.Axes[0].Servo.DeadZoneMicros = 5
	truth, err := Scan(m, ScanOptions{Pulses: []float64{1700}})
	require.NoError(t, err)
	// The servo stops half a dead zone short from either direction, less what it
	// coasts: measured on the servo itself.
	between := (tiltAfter(t, m, 1700, 1600) - tiltAfter(t, m, 1500, 1600)) * 10 // us at 0.1 deg/us
	assert.InDelta(t, between, truth.Long.BreakawayMicros-truth.Long.DropoutMicros, 0.5)
	assert.InDelta(t, between, truth.Short.DropoutMicros-truth.Short.BreakawayMicros, 0.5)
	assert.Greater(t, truth.Points[0].Inward, truth.Points[0].Outward)
}

func TestScanShowsStiction(t *testing.T) {
	// With a patch that leaves the cap slowly, a static friction above the
	// sliding one needs more of it to start than to go on.
	m := capped()
	m.Axes[0].Variator.PatchMM = 0.5
	m.Axes[0].Output.Stiction, m.Axes[0].Output.StribeckRPM = 2.5, 1
	truth, err := Scan(m, ScanOptions{Pulses: []float64{1700}})
	require.NoError(t, err)
	assert.Greater(t, truth.Long.BreakawayMicros-truth.Long.DropoutMicros, 1.5)
}

// The truth must not hang on the step it was computed with.
func TestScanDoesNotHangOnTheStep(t *testing.T) {
	m := fixture(t, "trolley")
	o := ScanOptions{Pulses: []float64{1000, 1450, 1560, 2000}, EdgeTries: 1, EdgeTurns: 4, EdgeMicros: 0.02, ShaftTurns: 8}
	coarse, err := Scan(m, o)
	require.NoError(t, err)
	m.StepMicros = 125
	fine, err := Scan(m, o)
	require.NoError(t, err)
	worst := 0.0
	for k, c := range coarse.Points {
		f := fine.Points[k]
		worst = max(worst, math.Abs(c.Outward-f.Outward), math.Abs(c.Inward-f.Inward))
	}
	t.Logf("500 against 125 us: edges differ by %.2f %.2f %.2f %.2f us, ratios by up to %.1e",
		coarse.Short.BreakawayMicros-fine.Short.BreakawayMicros, coarse.Short.DropoutMicros-fine.Short.DropoutMicros,
		coarse.Long.DropoutMicros-fine.Long.DropoutMicros, coarse.Long.BreakawayMicros-fine.Long.BreakawayMicros, worst)
	assert.Less(t, worst, 5e-4)
	assert.InDelta(t, fine.Short.BreakawayMicros, coarse.Short.BreakawayMicros, 0.2)
	assert.InDelta(t, fine.Short.DropoutMicros, coarse.Short.DropoutMicros, 0.2)
	assert.InDelta(t, fine.Long.BreakawayMicros, coarse.Long.BreakawayMicros, 0.2)
	assert.InDelta(t, fine.Long.DropoutMicros, coarse.Long.DropoutMicros, 0.2)
}

func TestScanKeepsResults(t *testing.T) {
	m := fixture(t, "trolley")
	o := ScanOptions{Pulses: []float64{1300, 1700}, EdgeTries: 1}
	first, err := Scan(m, o)
	require.NoError(t, err)
	again, err := Scan(m, o)
	require.NoError(t, err)
	assert.Same(t, &first.Points[0], &again.Points[0])
	m.Axes[0].Variator.Friction *= 0.8
	other, err := Scan(m, o)
	require.NoError(t, err)
	assert.NotEqual(t, first.Points, other.Points)
}

func TestScanOfTheFixtures(t *testing.T) {
	var pulses []float64
	for k := range 17 {
		pulses = append(pulses, 1000+62.5*float64(k))
	}
	for _, c := range []struct {
		name string
		axis int
	}{{"trolley", 0}, {"firstday", 0}, {"lift", 0}, {"lift", 1}, {"lift", 2}, {"worn", 0}, {"worn", 1}, {"worn", 2}} {
		m := fixture(t, c.name)
		truth, err := Scan(m, ScanOptions{Axis: c.axis, Pulses: pulses, ShaftTurns: 6, EdgeTries: 1, EdgeTurns: 4})
		require.NoError(t, err)
		width := truth.Long.BreakawayMicros - truth.Short.BreakawayMicros
		first, last := truth.Points[0], truth.Points[len(truth.Points)-1]
		t.Logf("%s %d: middle %.1f, breakaway %.1f %.1f, dropout %.1f %.1f, ratio %.3f to %.3f", c.name, c.axis, truth.Middle,
			truth.Short.BreakawayMicros, truth.Long.BreakawayMicros, truth.Short.DropoutMicros, truth.Long.DropoutMicros, first.Outward, last.Outward)
		assert.True(t, truth.Holds)
		assert.Greater(t, width, 40.0)
		assert.Less(t, width, 110.0)
		assert.Greater(t, truth.Short.DropoutMicros, truth.Short.BreakawayMicros)
		assert.Less(t, truth.Long.DropoutMicros, truth.Long.BreakawayMicros)
		for k := 1; k < len(truth.Points); k++ {
			assert.Greater(t, truth.Points[k].Outward, truth.Points[k-1].Outward-1e-5, "the curve rises, and is level at the servo's stop")
		}
		// No encoder sees more than 15 000 edges a second.
		top := max(math.Abs(first.Inward), math.Abs(last.Inward)) * m.Drive.NoLoadRPM / 60 * 1.01
		assert.Less(t, top*1600, 15000.0)
		assert.Greater(t, min(math.Abs(first.Outward), last.Outward), 0.85)
	}
}

func TestScanErrors(t *testing.T) {
	_, err := Scan(capped(), ScanOptions{Axis: 2})
	assert.ErrorIs(t, err, ErrNoSuchPart)
	m := capped()
	m.Axes[0].Output.FrictionNM = 1
	_, err = Scan(m, ScanOptions{})
	assert.ErrorIs(t, err, ErrNoEdge)
	m = capped()
	m.Drive.StallTorqueNM, m.Drive.FrictionNM = 0.1, 0.2
	_, err = Scan(m, ScanOptions{})
	assert.ErrorIs(t, err, ErrShaftStalls)
}
