package main

import (
	"context"
	"math"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/fixtures/rigs"
	"trunnion/link"
	"trunnion/link/client"
	"trunnion/link/port"
	"trunnion/link/virtual"
	"trunnion/link/virtual/ptyline"
	"trunnion/tuning/calibration"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
	"trunnion/tuning/units"
)

// longRun says whether campaigns of minutes may run.
func longRun() bool { return os.Getenv("TRUNNION_LONG") != "" }

// calibrate takes the small demo rig through all seven tasks over a connection.
func calibrate(t *testing.T, conn link.Conn, synchronous bool) calibration.Document {
	t.Helper()
	text, err := rigs.Text("trolley")
	require.NoError(t, err)
	description, err := rig.Parse("trolley.toml", text)
	require.NoError(t, err)
	c, err := client.Dial(conn, client.Options{Synchronous: synchronous, Fresh: true})
	require.NoError(t, err)
	defer c.Close()
	s, err := session.New(session.Config{Rig: description, Bench: c, Now: time.Now, StandsAt: session.StandsAt{"trolley": 0}})
	require.NoError(t, err)
	require.NoError(t, s.Arm(context.Background()))
	require.NoError(t, s.Run(context.Background()))
	return s.Document()
}

// The same axis over a pseudo-terminal through the serial library, at real pace
// and with another seed, agrees with the flat-out run within the errors both
// state: 3.5 standard errors for each of some thirty numbers, which by chance
// alone is exceeded once in seventy such comparisons.
func TestSerialPathAgreesWithTheFlatOutRun(t *testing.T) {
	if !longRun() {
		t.Skip("takes three minutes at real pace: set TRUNNION_LONG=1")
	}
	t.Parallel()
	fast, _, err := virtualRig("trolley", 1)
	require.NoError(t, err)
	flat := calibrate(t, virtual.Dial(fast, virtual.FlatOut), true).Axes[0]

	slow, _, err := virtualRig("trolley", 2)
	require.NoError(t, err)
	line, err := ptyline.Open()
	require.NoError(t, err)
	stop := make(chan struct{})
	served := make(chan error, 1)
	go func() { served <- virtual.Serve(slow, line, virtual.RealTime, stop) }()
	p, err := port.Open(line.Path(), port.Options{})
	require.NoError(t, err)
	serial := calibrate(t, p, false).Axes[0]
	close(stop)
	require.NoError(t, <-served)
	require.NoError(t, line.Close())

	same := func(what string, a, b units.Estimate) {
		t.Helper()
		apart := math.Abs(a.Value-b.Value) / math.Hypot(a.StdErr, b.StdErr)
		t.Logf("%-28s flat out %v, serial %v: %.1f standard errors apart", what, a, b, apart)
		assert.Less(t, apart, 3.5, what)
	}
	for i, e := range flat.DeadBand.Edges {
		same("edge "+string(e.Side)+" "+string(e.Approach), e.Pulse, serial.DeadBand.Edges[i].Pulse)
	}
	for _, ratio := range []units.Ratio{-0.9, -0.7, -0.5, -0.3, -0.1, 0.1, 0.3, 0.5, 0.7, 0.9} {
		a, err := flat.Fit.Model.Inverse(ratio)
		require.NoError(t, err)
		b, err := serial.Fit.Model.Inverse(ratio)
		require.NoError(t, err)
		// Without knowing the approach, the pulse is good to half the hysteresis.
		same("pulse", units.Estimate{Value: float64(a.Pulse), StdErr: math.Hypot(a.StdErr, a.HalfHysteresis/2)},
			units.Estimate{Value: float64(b.Pulse), StdErr: math.Hypot(b.StdErr, b.HalfHysteresis/2)})
	}
	same("dead time s", flat.Step.DeadTimeS, serial.Step.DeadTimeS)
	same("lag s", flat.Step.LagS, serial.Step.LagS)
	same("settled error", flat.Prove.SettledError, serial.Prove.SettledError)
	assert.Equal(t, flat.Prove.Passed, serial.Prove.Passed)
	assert.InEpsilon(t, flat.Gains.Law.Gains.Kp, serial.Gains.Law.Gains.Kp, 0.05)
}
