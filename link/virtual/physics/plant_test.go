package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// watch runs the lift through some motion in pieces of so many microseconds and
// returns all counters and edge times on the way.
func watch(t *testing.T, p *Plant, piece int64) (seen []int64) {
	p.SetDrive(1)
	for k, pulse := range []float64{1500, 1800, 1520, 1300} {
		for i := range p.axes {
			p.SetPulse(i, pulse+float64(11*i*k))
		}
		for range 500_000 / piece {
			p.Advance(piece)
			if p.Now()%100_000 == 0 {
				for i := range p.sensors {
					count, edge := p.Counter(i)
					seen = append(seen, count, edge)
				}
			}
		}
	}
	return seen
}

func TestSameSeedSameCounts(t *testing.T) {
	m := fixture(t, "lift")
	m.Counters[1].MissedFraction = 0.01
	first := watch(t, build(t, m, 7), 20_000)
	assert.Equal(t, first, watch(t, build(t, m, 7), 20_000))
	assert.Equal(t, first, watch(t, build(t, m, 7), 500), "however the time is cut up")
	assert.NotEqual(t, first, watch(t, build(t, m, 8), 20_000))
}

func TestOddPiecesGoWhereTheyAreAsked(t *testing.T) {
	p := build(t, fixture(t, "trolley"), 1)
	p.SetDrive(1)
	p.SetPulse(0, 1700)
	for range 1000 {
		p.Advance(777)
	}
	assert.Equal(t, int64(777_000), p.Now())
	q := build(t, fixture(t, "trolley"), 1)
	q.SetDrive(1)
	q.SetPulse(0, 1700)
	q.Advance(777_000)
	assert.InDelta(t, q.OutputTurns(0), p.OutputTurns(0), 5e-3, "within the error of the step")
}

func TestCloneGoesOnAlike(t *testing.T) {
	p := build(t, fixture(t, "lift"), 5)
	watch(t, p, 10_000)
	c := p.Clone()
	first := watch(t, p, 10_000)
	assert.Equal(t, first, watch(t, c, 10_000))
	assert.Equal(t, p.Energy(), c.Energy())
}

func TestFrictionAlwaysSettles(t *testing.T) {
	// Rough use: jerks, reversals, the joint against both stops.
	for _, name := range []string{"trolley", "firstday", "lift"} {
		p := build(t, fixture(t, name), 2)
		for k := range 60 {
			p.SetDrive((k/7)%3%2 + k%2)
			for i := range p.axes {
				p.SetPulse(i, 1500+500*math.Sin(float64(k*k+i)))
			}
			p.Advance(700_000)
		}
		assert.Zero(t, p.unsolved, name)
		assert.False(t, math.IsNaN(p.JointPosition(0)))
	}
}

func TestEndStop(t *testing.T) {
	m := fixture(t, "trolley")
	m.Joints[0].Start = 380
	p := build(t, m, 1)
	p.SetDrive(1)
	p.SetPulse(0, 1900)
	p.Advance(5_000_000)
	assert.Greater(t, p.JointPosition(0), 400.0, "it presses into the stop")
	assert.Less(t, p.JointPosition(0), 404.0)
	// Less than half a micron a second on: it stands there, the contact slipping.
	before := p.JointPosition(0)
	p.Advance(1_000_000)
	assert.InDelta(t, before, p.JointPosition(0), 5e-4)
	f := p.Forces(0)
	limit := m.Axes[0].Variator.Friction * m.Axes[0].Variator.OutputNormalN
	assert.InEpsilon(t, limit, f.OutputTractionN, 0.01)
	assert.Greater(t, p.ShaftSpeed(), 4.0)
}

func TestLostMotion(t *testing.T) {
	// On reversal the output turns by the lost motion before the joint follows.
	m := plain()
	m.Axes[0].Output.LostMotionTurns = 0.2
	m.Joints[0].FrictionN = 5
	p := build(t, m, 1)
	p.SetDrive(1)
	p.SetPulse(0, 1650)
	p.Advance(2_000_000)
	windup := 2 * 5 * 6e-3 / (2 * math.Pi) / 0.5 / (2 * math.Pi) // of the mesh spring, both ways, turns
	p.SetPulse(0, 1350)
	p.Advance(5000)
	for p.OutputSpeed(0) > 0 {
		p.Advance(500)
	}
	turns, joint := p.OutputTurns(0), p.JointPosition(0)
	for p.JointPosition(0) > joint-0.001 {
		p.Advance(500)
		require.Less(t, p.Now(), int64(10_000_000))
	}
	assert.InDelta(t, 0.2+windup, turns-p.OutputTurns(0), 0.01)
}

func TestHoldsUnderWeightAndNotWithoutWorm(t *testing.T) {
	m := fixture(t, "lift")
	p := build(t, m, 1)
	p.Advance(1_000_000)
	before := p.JointPosition(1)
	p.Advance(20_000_000)
	assert.InDelta(t, before, p.JointPosition(1), 1e-6, "worms hold the bar")
	for i := range m.Axes {
		m.Axes[i].Output.LeadDegrees = 0
		m.Axes[i].Output.FrictionNM = 0.002
	}
	p = build(t, m, 1)
	p.Advance(3_000_000)
	assert.Less(t, p.JointPosition(1), before-20, "without worms it falls")
}

func TestSumAndDifference(t *testing.T) {
	p := build(t, fixture(t, "lift"), 1)
	p.SetDrive(1)
	for i := range 3 {
		p.SetPulse(i, 1500)
	}
	p.Advance(1_000_000)
	start := [3]float64{p.OutputTurns(0), p.OutputTurns(1), p.OutputTurns(2)}
	lift, tip := p.JointPosition(1), p.JointPosition(2)
	p.SetPulse(1, 1620)
	p.SetPulse(2, 1640)
	p.Advance(4_000_000)
	left, right := p.OutputTurns(1)-start[1], p.OutputTurns(2)-start[2]
	require.Greater(t, left, 2.0)
	assert.Zero(t, p.OutputSpeed(0))
	// Apart from lost motion and windup, 0.05 turns each at most.
	assert.InDelta(t, 2*left+2*right, p.JointPosition(1)-lift, 0.2)
	assert.InDelta(t, 0.381972*(right-left), p.JointPosition(2)-tip, 0.04)
}

func TestWanderIsAsAsked(t *testing.T) {
	w := wander{chance: newChance(11, 0x77616e646572)}
	w.configure(0.01, 2)
	const n = 400_000
	var sum, squares, lagged float64
	past := make([]float64, 0, n)
	for range n {
		w.step(0.02)
		past = append(past, w.now)
		sum += w.now
		squares += w.now * w.now
	}
	for k := 100; k < n; k++ {
		lagged += past[k] * past[k-100]
	}
	// 8000 s hold some 2000 independent pieces.
	assert.InEpsilon(t, 0.01, math.Sqrt(squares/n), 0.08)
	assert.InDelta(t, 0, sum/n, 0.01*4/math.Sqrt(2000))
	// Two lags T and T/4: correlation (4/3) e^-1 - (1/3) e^-4 after T; closed form.
	assert.InDelta(t, 4.0/3*math.Exp(-1)-math.Exp(-4)/3, lagged/squares, 0.09)
}
