package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEdgesOfASteadyShaft(t *testing.T) {
	// At constant speed every edge time is exact, to the rounding to 1 us.
	m := plain()
	m.Axes[0].Variator.Friction = 1e-9 // the shaft turns alone
	m.Counters = []Counter{{Kind: Incremental, On: OnShaft, CountsPerTurn: 400}}
	p := runAt(t, m, 1500, 3)
	for range 200 {
		p.Advance(1700)
		count, edge := p.Counter(0)
		since := (p.ShaftTurns()*400 - float64(count)) / (p.ShaftSpeed() * 400) // s
		assert.InDelta(t, float64(p.Now())-since*1e6, float64(edge), 0.5+1e-3)
	}
}

func TestEdgesOfAStartingShaft(t *testing.T) {
	// Closed form of a shaft on a straight torque line without load:
	// angle = w0 (t - T (1 - exp(-t/T))), T = J w0 / stall torque. The edges'
	// error is that of the scheme and halves with the step.
	m := plain()
	m.Axes[0].Variator.Friction = 1e-9
	m.Drive.StallTorqueNM = 1
	m.Counters = []Counter{{Kind: Incremental, On: OnShaft, CountsPerTurn: 400}}
	w0 := 400 * 2 * math.Pi / 60
	lag := 2e-3 * w0 / 1
	worst := func(step int64) float64 {
		m.StepMicros = step
		p := build(t, m, 1)
		p.SetDrive(1)
		var worst float64
		for p.Now() < 400_000 {
			p.Advance(step)
			count, edge := p.Counter(0)
			if count < 40 {
				continue // so slow still that a small angle takes long
			}
			at := float64(edge) * 1e-6
			turns := w0 * (at - lag*(1-math.Exp(-at/lag))) / (2 * math.Pi)
			speed := w0 * (1 - math.Exp(-at/lag)) / (2 * math.Pi)
			worst = max(worst, math.Abs(turns-float64(count)/400)/speed)
		}
		return worst * 1e6
	}
	coarse, fine, finest := worst(500), worst(250), worst(50)
	t.Logf("worst edge error at 500, 250, 50 us: %.1f %.1f %.1f us", coarse, fine, finest)
	assert.InDelta(t, 2, coarse/fine, 0.1)
	assert.InDelta(t, 10, coarse/finest, 1)
	assert.Less(t, coarse, 300.0)
}

func TestReversedMarkAbsoluteAndJoint(t *testing.T) {
	m := plain()
	m.Counters = []Counter{
		{Kind: Incremental, On: OnOutput, CountsPerTurn: 1600},
		{Kind: Incremental, On: OnOutput, CountsPerTurn: 1600, Reversed: true},
		{Kind: Mark, On: OnShaft, PhaseTurns: 0.25},
		{Kind: Absolute, On: OnOutput, CountsPerTurn: 1024},
		{Kind: Incremental, On: OnJoint, CountsPerTurn: 20}, // a line a mm: 20 counts
	}
	p := runAt(t, m, 1500-300, 3.3)
	read := func(i int) int64 { n, _ := p.Counter(i); return n }
	turns := p.OutputTurns(0)
	require.Less(t, turns, -5.0)
	assert.Equal(t, int64(math.Floor(turns*1600)), read(0))
	assert.Equal(t, int64(math.Floor(-turns*1600)), read(1))
	assert.Equal(t, int64(math.Floor(p.ShaftTurns()-0.25))+1, read(2))
	_, frac := math.Modf(turns)
	assert.Equal(t, int64(math.Floor((frac+1)*1024)), read(3))
	assert.Equal(t, int64(math.Floor(p.JointPosition(0)*20)), read(4))

	marks, before := read(2), p.ShaftTurns()
	p.SetDrive(-1)
	p.Advance(3_000_000)
	assert.Less(t, p.ShaftTurns(), before-5)
	assert.Greater(t, read(2), marks+5, "a mark knows no direction")
}

func TestMissedCounts(t *testing.T) {
	m := plain()
	m.Counters = []Counter{
		{Kind: Incremental, On: OnShaft, CountsPerTurn: 400},
		{Kind: Incremental, On: OnShaft, CountsPerTurn: 400, MissedFraction: 0.02},
	}
	p := runAt(t, m, 1500, 30)
	all, _ := p.Counter(0)
	some, _ := p.Counter(1)
	n := float64(all)
	// Binomial: four standard deviations.
	assert.InDelta(t, 0.02*n, n-float64(some), 4*math.Sqrt(n*0.02*0.98))
}

func TestJitterScattersEdges(t *testing.T) {
	m := plain()
	m.Axes[0].Variator.Friction = 1e-9
	m.Counters = []Counter{{Kind: Incremental, On: OnShaft, CountsPerTurn: 400, JitterMicros: 20}}
	p := runAt(t, m, 1500, 3)
	const n = 3000
	var sum, squares float64
	for range n {
		p.Advance(2000)
		count, edge := p.Counter(0)
		off := float64(edge) - float64(p.Now()) + (p.ShaftTurns()*400-float64(count))/(p.ShaftSpeed()*400)*1e6
		sum += off
		squares += off * off
	}
	assert.InDelta(t, 0, sum/n, 4*20/math.Sqrt(n))
	assert.InEpsilon(t, 20, math.Sqrt(squares/n), 4/math.Sqrt(2*n))
}

func TestWobbleRepeatsEachTurn(t *testing.T) {
	m := plain()
	m.Axes[0].Variator.Friction = 1e-9
	m.Counters = []Counter{{Kind: Incremental, On: OnShaft, CountsPerTurn: 4000, WobbleCounts: 50}}
	p := runAt(t, m, 1500, 3)
	var most, least float64
	for range 1000 {
		p.Advance(1000)
		count, _ := p.Counter(0)
		off := float64(count) - p.ShaftTurns()*4000
		most, least = max(most, off), min(least, off)
	}
	assert.InDelta(t, 50, most, 1.1)
	assert.InDelta(t, -51, least, 1.1)
}

func TestNoiseOfAnAbsoluteReading(t *testing.T) {
	m := plain()
	m.Counters = []Counter{{Kind: Absolute, On: OnOutput, CountsPerTurn: 4096, NoiseCounts: 3, PhaseTurns: 0.5}}
	p := build(t, m, 1)
	var seen []float64
	for range 4000 {
		p.Advance(500)
		count, _ := p.Counter(0)
		seen = append(seen, float64(count))
	}
	middle, scatter := meanAndScatter(seen)
	assert.InDelta(t, 2048, middle, 4*3/math.Sqrt(4000), "seed 1")
	assert.InDelta(t, 3, scatter, 4*3/math.Sqrt(8000), "rounding adds 1/12 to the square, 0.014 here")
}

func TestFalseEdges(t *testing.T) {
	m := plain()
	m.Counters = []Counter{{Kind: Mark, On: OnShaft, FalsePerSecond: 40}, {Kind: Incremental, On: OnShaft, CountsPerTurn: 400, FalsePerSecond: 40}}
	p := build(t, m, 1)
	p.Advance(50_000_000)
	marks, _ := p.Counter(0)
	assert.InDelta(t, 2000, float64(marks), 4*math.Sqrt(2000), "one way only: a mark knows no direction; Poisson, seed 1")
	walked, _ := p.Counter(1)
	assert.LessOrEqual(t, math.Abs(float64(walked)), 4*math.Sqrt(2000), "a walk")
	assert.NotZero(t, walked)
}
