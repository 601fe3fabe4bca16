package main

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/fixtures/machines"
	"trunnion/fixtures/rigs"
	"trunnion/link/client"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/tuning/bench"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/measure"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

// odd is a session at a machine that is not as the demo has it, with the places
// that its joints really went to.
type odd struct {
	rig       *virtual.Rig
	client    *client.Client
	session   *session.Session
	low, high []float64
}

// demo reads a machine and the rig file that belongs to it.
func demo(t *testing.T, name string) (physics.Machine, string) {
	t.Helper()
	text, err := machines.Text(name)
	require.NoError(t, err)
	m, err := physics.Read(text)
	require.NoError(t, err)
	description, err := rigs.Text(name)
	require.NoError(t, err)
	return m, string(description)
}

// sitAt opens a session at a machine, flat out and without a record.
func sitAt(t *testing.T, m physics.Machine, rigText string, stands session.StandsAt) *odd {
	t.Helper()
	description, err := rig.Parse("odd.toml", []byte(rigText))
	require.NoError(t, err)
	o := &odd{low: make([]float64, len(m.Joints)), high: make([]float64, len(m.Joints))}
	o.rig, err = virtual.New(m, virtual.Options{Seed: 1, Boot: 1})
	require.NoError(t, err)
	for j := range m.Joints {
		o.low[j], o.high[j] = math.Inf(1), math.Inf(-1)
	}
	o.client, err = client.Dial(virtual.Dial(o.rig, virtual.FlatOut), client.Options{
		Synchronous: true, Fresh: true, Axes: axesNeeded(description), Counters: countersNeeded(description),
		OnSample: func(sample bench.Sample) {
			if o.session != nil {
				o.session.Observe(sample)
			}
			for j := range m.Joints {
				at := o.rig.Plant().JointPosition(j)
				o.low[j], o.high[j] = math.Min(o.low[j], at), math.Max(o.high[j], at)
			}
		},
	})
	require.NoError(t, err)
	t.Cleanup(func() { _ = o.client.Close() })
	o.session, err = session.New(session.Config{Rig: description, Bench: o.client, Now: time.Now, StandsAt: stands})
	require.NoError(t, err)
	return o
}

// run arms and does everything.
func (o *odd) run(t *testing.T) error {
	t.Helper()
	require.NoError(t, o.session.Arm(context.Background()))
	return o.session.Run(context.Background())
}

// found is the finding that ended a run.
func found(err error) finding.Name {
	var f *finding.Error
	if errors.As(err, &f) {
		return f.Finding.Name
	}
	return ""
}

var onTheMark = session.StandsAt{"trolley": 0}

// With a shaft that counts down every ratio has the other sign, and a closed
// loop would run away: the check must end at the first burst.
func TestShaftThatCountsDownEndsTheCheck(t *testing.T) {
	m, r := demo(t, "trolley")
	m.Counters[0].Reversed = true
	o := sitAt(t, m, r, onTheMark)
	assert.Equal(t, finding.DriveReversed, found(o.run(t)))
	assert.Less(t, o.high[0]-o.low[0], 10.0, "mm; it moved no farther than a burst")
}

// The joint moves between two armings: its datum must not move with it.
func TestArmingAgainKeepsTheDatum(t *testing.T) {
	m, r := demo(t, "trolley")
	o := sitAt(t, m, r, onTheMark)
	ctx := context.Background()
	require.NoError(t, o.session.Arm(ctx))
	require.NoError(t, o.session.RunTask(ctx, 0, session.Check))
	up := o.session.Document().Axes[0].Check.Known.CountsUp
	for range 4 {
		require.NoError(t, o.client.Arm(ctx))
		_, err := o.client.Drive(ctx, bench.Forward)
		require.NoError(t, err)
		_, err = o.client.Tilt(ctx, bench.Tilt{Axis: 0, Pulse: up})
		require.NoError(t, err)
		_, _ = o.client.Watch(ctx, bench.Until{Span: 12 * time.Second}) // ends at the travel limit
		require.NoError(t, o.session.Stop("the test"))
		require.NoError(t, o.session.Clear(ctx))
		require.NoError(t, o.session.Arm(ctx))
		require.NoError(t, o.client.Park())
	}
	assert.Less(t, o.high[0], 395.0, "mm; the limit is at 390, the end stop at 400")
}

// Before one axis is worked at, the outputs that share its drive are brought to
// stand, wherever their servos were left.
func TestOtherOutputsAreBroughtToStand(t *testing.T) {
	m, r := demo(t, "lift")
	m.Axes[1].Servo.StartMicros = 1900
	o := sitAt(t, m, r, session.StandsAt{"trolley": 0, "lift": 200, "tip": 0})
	require.NoError(t, o.run(t))
	assert.Less(t, math.Max(-o.low[2], o.high[2]), 11.0, "degrees of tip")
	for _, a := range o.session.Document().Axes {
		assert.True(t, a.Prove.Passed, a.Name)
	}
}

func TestSwappedCountersAreNamed(t *testing.T) {
	m, r := demo(t, "lift")
	m.Counters[2].Of, m.Counters[3].Of = m.Counters[3].Of, m.Counters[2].Of
	o := sitAt(t, m, r, session.StandsAt{"trolley": 0, "lift": 200, "tip": 0})
	assert.Equal(t, finding.OutputsSwapped, found(o.run(t)))
	assert.Less(t, o.high[1]-o.low[1], 10.0, "mm; the bar hardly moved")
}

// Servo numbers need not be in the order of the rig file.
func TestServosInAnotherOrder(t *testing.T) {
	m, r := demo(t, "lift")
	m.Axes[0], m.Axes[2] = m.Axes[2], m.Axes[0]
	for j := range m.Joints {
		p := m.Joints[j].PerOutputTurn
		p[0], p[2] = p[2], p[0]
	}
	m.Counters[1].Of, m.Counters[3].Of = 2, 0
	r = strings.NewReplacer("servo = 0", "servo = 2", "servo = 2", "servo = 0").Replace(r)
	o := sitAt(t, m, r, session.StandsAt{"trolley": 0, "lift": 200, "tip": 0})
	require.NoError(t, o.run(t))
	for _, a := range o.session.Document().Axes {
		assert.True(t, a.Prove.Passed, a.Name)
	}
}

// A joint near its end is brought to the middle and measured as any other.
func TestJointThatStandsNearItsEnd(t *testing.T) {
	m, r := demo(t, "trolley")
	m.Joints[0].Start = 385
	o := sitAt(t, m, r, session.StandsAt{"trolley": 385})
	require.NoError(t, o.run(t))
	assert.Less(t, o.high[0], 390.0)
	assert.True(t, o.session.Document().Axes[0].Prove.Passed)
}

// A joint that goes round needs no datum and is not sent far.
func TestEndlessJoint(t *testing.T) {
	m, r := demo(t, "trolley")
	m.Joints[0].Endless = true
	r = strings.NewReplacer("travel = {", "endless = true\n#", "datum =", "#", "free_at_start =", "#").Replace(r)
	o := sitAt(t, m, r, nil)
	require.NoError(t, o.run(t))
	assert.Less(t, o.high[0]-o.low[0], 400.0, "mm")
	assert.True(t, o.session.Document().Axes[0].Prove.Passed)
}

// The joint has the sensor, and it counts down as the joint goes forward.
func TestSensorAtTheJointThatCountsDown(t *testing.T) {
	m, r := demo(t, "trolley")
	m.Counters[1] = physics.Counter{Name: "joint", Kind: physics.Incremental, On: physics.OnJoint, Of: 0, CountsPerTurn: 100, Reversed: true}
	from, to := strings.Index(r, "[axis.sensor]"), strings.Index(r, "[axis.variator]")
	r = r[:from] + r[to:]
	r = strings.Replace(r, "tolerance = 0.5", "tolerance = 0.5\n[joint.sensor]\ncounter = 1\nkind = \"incremental\"\ncounts_per_unit = -100\n", 1)
	o := sitAt(t, m, r, onTheMark)
	require.NoError(t, o.run(t))
	assert.True(t, o.session.Document().Axes[0].Prove.Passed)
}

// Twelve counts a turn: the tries must last long enough for a slow turning to
// show, or the band comes out wide. By the physics' own scan the edges outward
// are at 1485.3 and 1538.1 us.
func TestCoarseEncoderFindsTheSameEdges(t *testing.T) {
	m, r := demo(t, "trolley")
	m.Counters[1].CountsPerTurn = 12
	r = strings.Replace(r, "counts_per_turn = 1600", "counts_per_turn = 12", 1)
	o := sitAt(t, m, r, onTheMark)
	ctx := context.Background()
	require.NoError(t, o.session.Arm(ctx))
	require.NoError(t, o.session.RunTask(ctx, 0, session.Check))
	require.NoError(t, o.session.RunTask(ctx, 0, session.DeadBand))
	band := o.session.Document().Axes[0].DeadBand
	for side, truth := range map[deadband.Side]float64{deadband.Above: 1538.1, deadband.Below: 1485.3} {
		e, ok := band.Edge(side, measure.Outward)
		require.True(t, ok)
		assert.Less(t, e.Pulse.Sigmas(truth), 4.0, "%s: %v", side, e.Pulse)
	}
}

// A check can be done again and again: an earlier one's tighter limits must not
// be in its way.
func TestCheckCanBeDoneAgain(t *testing.T) {
	m, r := demo(t, firstDay)
	o := sitAt(t, m, r, nil)
	ctx := context.Background()
	require.NoError(t, o.session.Arm(ctx))
	for range 3 {
		require.NoError(t, o.session.RunTask(ctx, 0, session.Check))
	}
}
