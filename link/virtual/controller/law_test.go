package controller

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"trunnion/link/wire"
)

// decimal is v as the wire carries it.
func decimal(v float64) wire.Decimal {
	d, ok := wire.DecimalFrom(v)
	if !ok {
		panic("no decimal")
	}
	return d
}

// plain are gains with nothing in them: ratio limited to 1, 10 ms, b = 1.
func plain() wire.LoopGains {
	return wire.LoopGains{SetPointWeight1000: 1000, RatioLeastQ13: -8192, RatioMostQ13: 8192, PeriodMillis: 10}
}

func counts(n float64) int64 { return int64(math.Round(n * fine)) }

func TestProportionalActionWithWeight(t *testing.T) {
	g := plain()
	g.Kp, g.SetPointWeight1000 = decimal(0.01), 250
	l := newLaw(g)
	l.begin(counts(1000))
	u, holding := l.step(counts(1010), counts(1040), 0)
	// 10.2 step 6: Kp (e - (1 - b)(r - r0)) = 0.01 (30 - 0.75 x 40) = 0.
	assert.InDelta(t, 0, u, 1e-15)
	assert.False(t, holding)
	u, _ = l.step(counts(1000), counts(1040), 0)
	assert.InDelta(t, 0.1, u, 1e-15)
}

// A constant error e gives I = n h Ki e after n periods, and I is used before it
// is advanced.
func TestIntegralIsUsedBeforeItIsAdvanced(t *testing.T) {
	g := plain()
	g.Ki, g.TrackingMillis = decimal(0.02), 500
	l := newLaw(g)
	l.begin(0)
	for n := range 20 {
		u, _ := l.step(0, counts(30), 0)
		assert.InDelta(t, float64(n)*0.01*0.02*30, u, 1e-12)
	}
}

// While the output is limited, I comes to rest where Ki e + (u - v)/Tt = 0, that
// is v = u + Ki e Tt: the definition of back calculation.
func TestIntegralDoesNotWindUp(t *testing.T) {
	g := plain()
	g.Kp, g.Ki, g.TrackingMillis = decimal(0.001), decimal(0.05), 200
	l := newLaw(g)
	l.begin(0)
	for range 2000 {
		u, _ := l.step(0, counts(500), 0)
		assert.LessOrEqual(t, u, 1.0)
	}
	v := 0.001*500 + l.integral
	assert.InDelta(t, 1+0.05*500*0.2, v, 1e-9)
}

// On a ramp of a counts a second the filtered derivative comes to -Kd a, with
// any filter; on the way it has the filter's time constant.
func TestDerivativeOfARamp(t *testing.T) {
	g := plain()
	g.Kd, g.FilterTenthMillis = decimal(0.004), 400
	l := newLaw(g)
	l.begin(0)
	u := 0.0
	for n := 1; n <= 100; n++ {
		u, _ = l.step(counts(float64(n)), counts(float64(n)), 0)
		// With h = 10 ms and Tf = 40 ms the step-invariant decay is (Tf / (Tf + h))^n.
		want := -0.004 * 100 * (1 - math.Pow(0.8, float64(n)))
		assert.InDelta(t, want, u, 1e-12)
	}
	assert.InDelta(t, -0.4, u, 1e-9)
}

func TestDerivativeIsDroppedWithoutGain(t *testing.T) {
	g := plain()
	g.FilterTenthMillis = 100
	l := newLaw(g)
	l.begin(0)
	l.derivative = 5
	u, _ := l.step(counts(50), counts(50), 0)
	assert.Zero(t, u)
}

func TestFeedForward(t *testing.T) {
	g := plain()
	g.FeedForward = decimal(0.002)
	l := newLaw(g)
	l.begin(0)
	u, _ := l.step(0, counts(5), 125)
	assert.InDelta(t, 0.25, u, 1e-15)
}

func TestQuietPeriods(t *testing.T) {
	for _, c := range []struct {
		delay, period uint16
		want          int
	}{
		{0, 10, 1}, {1, 10, 1}, {10, 10, 1}, {11, 10, 2}, {300, 10, 30}, {65535, 1, 65535},
	} {
		g := plain()
		g.HoldDelayMillis, g.PeriodMillis = c.delay, c.period
		l := newLaw(g)
		assert.Equal(t, c.want, l.quietPeriods, "N is the least whole number, at least 1, at least %d / %d", c.delay, c.period)
	}
}

// Step by step through 3 to 5 of 10.2.
func TestHoldZone(t *testing.T) {
	g := plain()
	g.Kp, g.Ki, g.TrackingMillis = decimal(0.01), decimal(0.1), 1000
	g.HoldZoneCounts, g.HoldReleaseCounts, g.HoldDelayMillis = 4, 10, 20
	l := newLaw(g)
	l.begin(0)
	held := func(y, r, rate float64) bool {
		_, holding := l.step(counts(y), counts(r), rate)
		return holding
	}
	assert.False(t, held(0, 4, 0), "r is not rLast: not at rest")
	assert.False(t, held(0, 4, 0), "Q = 1 of 2")
	assert.False(t, held(-1, 4, 0), "error 5 starts the count again")
	assert.False(t, held(0, 4, 0), "Q = 1")
	frozen := l.integral
	assert.True(t, held(0, 4, 0), "Q = 2")
	assert.NotEqual(t, 0.0, frozen)
	integral := l.integral
	assert.True(t, held(-6, 4, 0), "error 10 is not more than the release")
	assert.Equal(t, integral, l.integral, "I is frozen while holding")
	assert.False(t, held(-6.5, 4, 0), "error 10.5 is")
	assert.False(t, held(4, 4, 0), "Q = 1")
	assert.True(t, held(4, 4, 0), "Q = 2")
	assert.False(t, held(4, 4, 1), "a rate is no rest")
	assert.False(t, held(4, 4, 0), "Q was set back to 0")
	assert.True(t, held(4, 4, 0))
}

// With no delay an error inside the zone at rest holds at once.
func TestHoldWithoutDelay(t *testing.T) {
	g := plain()
	g.Kp, g.HoldZoneCounts, g.HoldReleaseCounts = decimal(0.01), 2, 2
	l := newLaw(g)
	l.begin(counts(7))
	u, holding := l.step(counts(7), counts(7), 0)
	assert.True(t, holding)
	assert.Zero(t, u)
}

// The law is the same wherever the datum lies, over the wrap of the counts too.
func TestLawDoesNotKnowTheDatum(t *testing.T) {
	const seed = 20261124
	random := rand.New(rand.NewPCG(seed, 1))
	g := plain()
	g.Kp, g.Ki, g.Kd, g.FeedForward = decimal(0.003), decimal(0.02), decimal(0.0004), decimal(0.001)
	g.TrackingMillis, g.FilterTenthMillis, g.SetPointWeight1000 = 300, 150, 600
	g.HoldZoneCounts, g.HoldReleaseCounts, g.HoldDelayMillis = 3, 8, 40
	for range 20 {
		shift := int64(int32(random.Uint32())) * fine
		a, b := newLaw(g), newLaw(g)
		a.begin(0)
		b.begin(wrapped(shift))
		y, r := int64(0), int64(0)
		for range 300 {
			y += counts(math.Round(8 * random.NormFloat64()))
			if random.IntN(20) == 0 {
				r += counts(math.Round(50*random.NormFloat64()) / 16)
			}
			ua, ha := a.step(y, r, 0)
			ub, hb := b.step(wrapped(y+shift), wrapped(r+shift), 0)
			if !assert.Equal(t, ua, ub, "seed %d, shift %d", seed, shift) || !assert.Equal(t, ha, hb) {
				return
			}
		}
	}
}

// wrapped is a position as the count of 32 bits gives it.
func wrapped(p int64) int64 { return apart(p, 0) }

func TestApartTakesTheShortWay(t *testing.T) {
	top := int64(math.MaxInt32) * fine
	bottom := int64(math.MinInt32) * fine
	assert.EqualValues(t, fine, apart(bottom, top))
	assert.EqualValues(t, -fine, apart(top, bottom))
	assert.EqualValues(t, -5, apart(0, 5))
	assert.EqualValues(t, bottom, apart(bottom, 0))
}
