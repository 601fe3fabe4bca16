package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// tiltAfter drives an axis through pulses, a second each, and gives its tilt.
func tiltAfter(t *testing.T, m Machine, pulses ...float64) float64 {
	p := build(t, m, 1)
	for _, pulse := range pulses {
		p.SetPulse(0, pulse)
		p.Advance(1_000_000)
	}
	return p.Tilt(0)
}

func TestDeadZoneAndPlayMakeHysteresis(t *testing.T) {
	// The servo stops at the near edge of its dead zone, and the play is left on
	// the side it came from: widths add, less what the servo coasts.
	m := plain()
	m.Axes[0].Servo.DeadZoneMicros = 4
	fromBelow, fromAbove := tiltAfter(t, m, 1500, 1600), tiltAfter(t, m, 1700, 1600)
	assert.InDelta(t, 0.4, fromAbove-fromBelow, 0.03, "4 us at 0.1 deg/us")
	assert.InDelta(t, 10, (fromAbove+fromBelow)/2, 1e-6, "even about the pulse")
	m.Axes[0].Servo.PlayDegrees = 0.3
	fromBelow, fromAbove = tiltAfter(t, m, 1500, 1600), tiltAfter(t, m, 1700, 1600)
	assert.InDelta(t, 0.7, fromAbove-fromBelow, 0.03)
}

func TestServoAnswersNothingWithinItsDeadZone(t *testing.T) {
	m := plain()
	m.Axes[0].Servo.DeadZoneMicros = 6
	// Coming from below it rests some 3 us short of 1550, so it answers to
	// nothing between 1544 and 1550.
	assert.Equal(t, tiltAfter(t, m, 1550), tiltAfter(t, m, 1550, 1545, 1549.9, 1546))
	assert.NotEqual(t, tiltAfter(t, m, 1550), tiltAfter(t, m, 1550, 1551))
	assert.NotEqual(t, tiltAfter(t, m, 1550), tiltAfter(t, m, 1550, 1543))
}

func TestServoSlew(t *testing.T) {
	// 60 degrees at 500 degrees a second: 0.12 s, the figure makers give for a
	// micro servo at 4.8 V, and the settling after it.
	m := plain()
	p := build(t, m, 1)
	p.SetPulse(0, 1200)
	p.Advance(1_000_000)
	assert.InDelta(t, -30, p.Tilt(0), 1e-3)
	p.SetPulse(0, 1800)
	p.Advance(70_000)
	before := p.Tilt(0)
	p.Advance(10_000)
	assert.InDelta(t, 500, (p.Tilt(0)-before)/0.01, 1)
	p.Advance(920_000)
	assert.InDelta(t, 30, p.Tilt(0), 1e-3)
}

func TestLinkageKeepsSinesInProportion(t *testing.T) {
	m := plain()
	s := &m.Axes[0].Servo
	s.LinkRatio, s.HornOffsetDegrees, s.TrunnionOffsetDegrees = 1.1, 8, -2
	for _, pulse := range []float64{1100, 1380, 1500, 1650, 1900} {
		horn := (pulse-1500)*0.1 + 8
		sine := math.Sin((tiltAfter(t, m, pulse) + 2) * math.Pi / 180)
		assert.InDelta(t, 1.1*(math.Sin(horn*math.Pi/180)-math.Sin(8*math.Pi/180)), sine, 2e-5, "pulse %g", pulse)
	}
}

func TestMechanicalStop(t *testing.T) {
	m := plain()
	m.Axes[0].Servo.MostTiltDegrees, m.Axes[0].Servo.LeastTiltDegrees = 41, -38
	p := build(t, m, 1)
	p.SetPulse(0, 2100)
	p.Advance(1_000_000)
	assert.InDelta(t, 41, p.Tilt(0), 1e-9)
	_, atStop := p.ServoPulse(0)
	assert.True(t, atStop)
	p.SetPulse(0, 1000)
	p.Advance(1_000_000)
	assert.InDelta(t, -38, p.Tilt(0), 1e-9)
	p.SetPulse(0, 1500)
	p.Advance(1_000_000)
	micros, atStop := p.ServoPulse(0)
	assert.False(t, atStop)
	assert.InDelta(t, 1500, micros, 0.02)
}

func TestNoPulseLeavesTheServo(t *testing.T) {
	p := build(t, plain(), 1)
	p.SetPulse(0, 1700)
	p.Advance(1_000_000)
	p.SetPulse(0, 0)
	p.Advance(1_000_000)
	assert.InDelta(t, 20, p.Tilt(0), 1e-3)
}

func TestDriftWarms(t *testing.T) {
	m := plain()
	m.Axes[0].Servo.DriftMicros, m.Axes[0].Servo.DriftSeconds = 5, 20
	p := build(t, m, 1)
	p.SetPulse(0, 1600)
	p.Advance(1_000_000)
	cold := p.Tilt(0)
	p.Advance(19_000_000)
	assert.InDelta(t, 10-0.5*(1-math.Exp(-1)), p.Tilt(0), 5e-3, "one time constant; closed form")
	p.Advance(200_000_000)
	assert.InDelta(t, 9.5, p.Tilt(0), 5e-3)
	assert.InDelta(t, 10-0.5*(1-math.Exp(-1.0/20)), cold, 5e-3)
}

func TestCloneGoesOnAsTheOriginal(t *testing.T) {
	m := plain()
	m.Axes[0].Servo.RepeatMicros = 2
	p := build(t, m, 5)
	p.SetPulse(0, 1600)
	p.Advance(500_000)
	c := p.Clone()
	for _, pulse := range []float64{1700, 1400, 1600} {
		for _, one := range []*Plant{p, c} {
			one.SetPulse(0, pulse)
			one.Advance(500_000)
		}
		assert.Equal(t, p.Tilt(0), c.Tilt(0))
	}
	assert.NotEqual(t, tiltAfter(t, m, 1600), p.Tilt(0), "the same pulse, another rest")
}
