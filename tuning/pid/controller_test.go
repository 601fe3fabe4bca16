package pid

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// testTable is invented: a dead band of 1482 to 1518 us, the smallest ratio 0.05 either way.
func testTable(t require.TestingT) *Table {
	table, err := NewTable([]TablePoint{{-1, 1200}, {-0.4, 1350}, {-0.05, 1482}, {0.05, 1518}, {0.5, 1660}, {1, 1800}}, 1500)
	require.NoError(t, err)
	return table
}

func testLaw() Law {
	return Law{
		Gains: ParallelPID{Kp: 0.004, Ki: 0.002, Kd: 0.0002}, FilterTimeS: 0.02, SetPointWeight: 1, FeedForward: 1.0 / 7200,
		RatioLeast: -1, RatioMost: 1, TrackingTimeS: 1, HoldZone: 6, HoldRelease: 12, HoldDelayS: 0.1, PeriodS: 0.01,
	}
}

func TestTableFollowsTheLaw(t *testing.T) {
	table := testTable(t)
	for ratio, want := range map[float64]float64{
		0: 1500, 0.02: 1500, 0.03: 1518, 0.05: 1518, 0.275: 1589, 0.5: 1660, 0.75: 1730, 1: 1800, 3: 1800,
		-0.02: 1500, -0.03: 1482, -0.05: 1482, -0.4: 1350, -0.7: 1275, -1: 1200, -9: 1200,
	} {
		require.InDelta(t, want, table.Pulse(ratio), 1e-9, "ratio %v", ratio)
	}
	// Two inner points at 0, pulses falling: a curve that starts from nought at the edge.
	table, err := NewTable([]TablePoint{{-1, 1800}, {0, 1520}, {0, 1480}, {1, 1200}}, 1501)
	require.NoError(t, err)
	require.Equal(t, 1501.0, table.Pulse(0))
	require.InDelta(t, 1477.2, table.Pulse(0.01), 1e-9)
	require.InDelta(t, 1522.8, table.Pulse(-0.01), 1e-9)
}

func TestTablesThatAreRefused(t *testing.T) {
	for name, points := range map[string][]TablePoint{
		"empty":            nil,
		"one side":         {{0.1, 1500}, {0.2, 1600}},
		"ratio falls":      {{-0.1, 1400}, {0.2, 1600}, {0.1, 1700}},
		"pulse turns":      {{-0.1, 1400}, {0.1, 1600}, {0.2, 1550}},
		"one nought":       {{-0.1, 1400}, {0, 1520}, {0.1, 1600}},
		"equal ratios":     {{-0.1, 1400}, {0.1, 1600}, {0.1, 1700}},
		"not a number":     {{-0.1, 1400}, {math.NaN(), 1600}},
		"neutral not in":   {{-0.1, 1510}, {0.1, 1600}},
		"three at nought":  {{0, 1400}, {0, 1450}, {0, 1600}},
		"nought not inner": {{0, 1400}, {0, 1450}, {-0.1, 1600}},
	} {
		_, err := NewTable(points, 1500)
		var table *TableError
		require.True(t, errors.As(err, &table), name)
	}
}

func TestLawsThatAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Law){
		"no period":             func(l *Law) { l.PeriodS = 0 },
		"no room forward":       func(l *Law) { l.RatioMost = 0 },
		"no room backward":      func(l *Law) { l.RatioLeast = 0.1 },
		"negative gain":         func(l *Law) { l.Gains.Kp = -1 },
		"tracking too quick":    func(l *Law) { l.TrackingTimeS = 0.001 },
		"release inside zone":   func(l *Law) { l.HoldRelease = 3 },
		"weight above 1":        func(l *Law) { l.SetPointWeight = 1.5 },
		"not a number":          func(l *Law) { l.FilterTimeS = math.NaN() },
		"hold delay before now": func(l *Law) { l.HoldDelayS = -1 },
	} {
		law := testLaw()
		spoil(&law)
		_, err := NewController(law, testTable(t), 0)
		var parameter *ParameterError
		require.True(t, errors.As(err, &parameter), name)
	}
	_, err := NewController(testLaw(), nil, 0)
	var table *TableError
	require.True(t, errors.As(err, &table))
}

func TestFirstPeriodsByHand(t *testing.T) {
	// Closed by hand from the text: measured 100, then a set-point 150 with the measured value moving to 101, 103.
	law := testLaw()
	law.SetPointWeight, law.HoldZone, law.HoldRelease = 0.6, 0, 0
	c, err := NewController(law, testTable(t), 100)
	require.NoError(t, err)

	first := c.Step(101, 150, 0)
	d1 := -0.0002 * 1 / 0.03
	p1 := 0.004 * (49 - 0.4*50)
	require.InDelta(t, d1, first.Derivative, 1e-15)
	require.InDelta(t, p1+d1, first.Ratio, 1e-15)
	second := c.Step(103, 150, 72)
	d2 := (0.02*d1 - 0.0002*2) / 0.03
	i2 := 0.01 * 0.002 * 49
	require.InDelta(t, i2, second.Integral, 1e-15)
	require.InDelta(t, 0.004*(47-0.4*50)+i2+d2+0.01, second.Ratio, 1e-15)
	require.False(t, second.Limited)
}

func TestBackCalculationByHand(t *testing.T) {
	law := testLaw()
	law.HoldZone, law.HoldRelease, law.Gains.Kd = 0, 0, 0
	c, err := NewController(law, testTable(t), 0)
	require.NoError(t, err)
	out := c.Step(0, 500, 0) // wants 2, gets 1
	require.Equal(t, 1.0, out.Ratio)
	require.True(t, out.Limited)
	out = c.Step(0, 500, 0)
	require.InDelta(t, 0.01*(0.002*500+(1-2)/1.0), out.Integral, 1e-15)
}

func TestTheDatumDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		law := testLaw()
		law.SetPointWeight = rapid.Float64Range(0, 1).Draw(t, "b")
		shift := float64(rapid.IntRange(-1_000_000, 1_000_000).Draw(t, "datum"))
		a, err := NewController(law, testTable(t), 0)
		require.NoError(t, err)
		b, err := NewController(law, testTable(t), shift)
		require.NoError(t, err)
		for range 50 {
			y := float64(rapid.IntRange(-300, 300).Draw(t, "y"))
			r := float64(rapid.IntRange(-300, 300).Draw(t, "r"))
			require.InDelta(t, a.Step(y, r, 0).Ratio, b.Step(y+shift, r+shift, 0).Ratio, 1e-9)
		}
	})
}

func TestHoldZone(t *testing.T) {
	law := testLaw() // zone 6, release 12, 10 quiet periods
	c, err := NewController(law, testTable(t), 0)
	require.NoError(t, err)
	c.Step(0, 100, 0) // the set-point moves: not at rest
	for k := range 9 {
		require.False(t, c.Step(95, 100, 0).Holding, "quiet period %d", k+1)
	}
	held := c.Step(95, 100, 0)
	require.True(t, held.Holding, "tenth quiet period")
	require.Zero(t, held.Ratio)
	require.Equal(t, 1500.0, held.PulseUs)
	frozen := held.Integral
	for range 20 {
		held = c.Step(90, 100, 0)
		require.True(t, held.Holding, "outside the zone but not beyond the release")
		require.Equal(t, frozen, held.Integral)
	}
	out := c.Step(87, 100, 0)
	require.False(t, out.Holding, "beyond the release")
	require.Equal(t, frozen, out.Integral)

	for range 11 {
		out = c.Step(100, 100, 0)
	}
	require.True(t, out.Holding)
	require.False(t, c.Step(100, 101, 0).Holding, "a set-point that moves wakes it")
	for range 10 {
		out = c.Step(101, 101, 0)
	}
	require.True(t, out.Holding)
	require.False(t, c.Step(101, 101, 5).Holding, "so does one with a rate")

	law.HoldZone, law.HoldRelease = 0, 0
	c, err = NewController(law, testTable(t), 0)
	require.NoError(t, err)
	for range 50 {
		require.False(t, c.Step(0, 0, 0).Holding, "no zone, no hold")
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	c, err := NewController(testLaw(), testTable(t), 0)
	require.NoError(t, err)
	y := 0.0
	require.Zero(t, testing.AllocsPerRun(100, func() {
		y++
		c.Step(y, 200, 0)
	}))
}

func TestTheLawComesNearItsLinearPart(t *testing.T) {
	// With a short period, wide limits and no hold zone the law on an exactly integrated axis follows the continuous
	// response that the Simulator predicts; the difference shrinks with the period.
	axis := Integrating{RateGain: 3, DeadTimeS: 0.05}
	tuning := Tuning{Gains: ParallelPID{Kp: 2.5, Ki: 2, Kd: 0.05}, FilterTimeS: 0.02, SetPointShare: 0.7}
	var s Simulator
	r, err := s.Run(tuning, axis, SetPointStep)
	require.NoError(t, err)
	worst := func(periodS float64) float64 {
		law := Law{Gains: tuning.Gains, FilterTimeS: 0.02, SetPointWeight: 0.7, RatioLeast: -1e6, RatioMost: 1e6, TrackingTimeS: 1, PeriodS: periodS}
		table, err := NewTable([]TablePoint{{-1e6, 0}, {0, 1499}, {0, 1501}, {1e6, 3000}}, 1500)
		require.NoError(t, err)
		c, err := NewController(law, table, 0)
		require.NoError(t, err)
		waiting := make([]float64, int(math.Round(axis.DeadTimeS/periodS)))
		y, differs := 0.0, 0.0
		for k := 0; k < len(waiting)*40; k++ {
			at := float64(k) * periodS / r.StepS
			if i := int(math.Round(at)); i < len(r.Output) && math.Abs(at-float64(i)) < 1e-6 {
				differs = max(differs, math.Abs(y-r.Output[i]))
			}
			waiting = append(waiting, c.Step(y, 1, 0).Ratio)
			y += axis.RateGain * waiting[0] * periodS
			waiting = waiting[1:]
		}
		return differs
	}
	coarse, fine := worst(0.0005), worst(0.00025)
	t.Logf("greatest difference %.4f at 0.5 ms, %.4f at 0.25 ms", coarse, fine)
	require.Less(t, fine, 0.01)
	require.InDelta(t, 0.5, fine/coarse, 0.1, "first order in the period")
}

func TestTrackingTime(t *testing.T) {
	require.Zero(t, TrackingTime(ParallelPID{Kp: 1}, 0.01))
	require.Equal(t, 2.0, TrackingTime(ParallelPID{Kp: 2, Ki: 1}, 0.01))
	require.Equal(t, 1.0, TrackingTime(ParallelPID{Kp: 2, Ki: 1, Kd: 1}, 0.01))
	require.Equal(t, 0.01, TrackingTime(ParallelPID{Kp: 1, Ki: 1000}, 0.01))
}
