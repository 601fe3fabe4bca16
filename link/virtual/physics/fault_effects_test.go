package physics

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// ailing is a machine without end stops, drive on, all servos at a pulse, with a
// fault that strikes after 2 s, and what is looked at from then on.
type ailing struct {
	*Plant
	machine Machine
}

func ail(t *testing.T, machine string, pulse float64, f Fault) ailing {
	t.Helper()
	m := fixture(t, machine)
	for j := range m.Joints {
		m.Joints[j].Endless = true
	}
	for i := range m.Axes {
		m.Axes[i].Servo.RepeatMicros = 0
	}
	p := build(t, m, 1)
	f.AtMicros = 2_000_000
	require.NoError(t, p.Inject(f))
	for i := range m.Axes {
		p.SetPulse(i, pulse)
	}
	p.SetDrive(1)
	p.Advance(2_000_000)
	return ailing{p, m}
}

// ratio is the mean over so many seconds, after one of settling.
func (a ailing) ratio(seconds float64) float64 {
	a.Advance(1_000_000)
	shaft, output := a.ShaftTurns(), a.OutputTurns(0)
	a.Advance(int64(seconds * 1e6))
	return (a.OutputTurns(0) - output) / (a.ShaftTurns() - shaft)
}

// ripple is the peak-to-peak ripple of the ratio, as a share of its mean, over
// a second.
func (a ailing) ripple() float64 {
	var seen []float64
	for range 1000 {
		a.Advance(1000)
		seen = append(seen, steadyRatio(a.Plant))
	}
	return (slices.Max(seen) - slices.Min(seen)) / math.Abs(mean(seen))
}

func mean(v []float64) float64 {
	m, _ := meanAndScatter(v)
	return m
}

// tilts goes through pulses, half a second each, and gives the tilt after each.
func (a ailing) tilts(pulses ...float64) (tilts []float64) {
	for _, pulse := range pulses {
		a.SetPulse(0, pulse)
		a.Advance(500_000)
		tilts = append(tilts, a.Tilt(0))
	}
	return tilts
}

// effects are, for every fault, a size, the axis's pulse, and what must be seen
// after it has struck beside a plant that it has not.
var effects = map[string]struct {
	machine string
	of      int
	size    float64
	pulse   float64
	see     func(t *testing.T, ill, well ailing)
}{
	"drive speed": {"trolley", 0, 0.7, 1700, func(t *testing.T, ill, well ailing) {
		ratio, sound := ill.ratio(2), well.ratio(2)
		assert.InDelta(t, 0.7, ill.ShaftSpeed()/well.ShaftSpeed(), 0.03, "the shaft is as much slower")
		assert.InDelta(t, sound, ratio, 0.01*sound, "the ratio is not")
	}},
	"drive torque": {"trolley", 0, 0.05, 1900, func(t *testing.T, ill, well ailing) {
		ill.Advance(3_000_000)
		well.Advance(3_000_000)
		loaded := ill.ShaftSpeed() / well.ShaftSpeed()
		assert.Less(t, loaded, 0.6, "it sags under the trolley")
		ill.SetPulse(0, 1500)
		ill.Advance(3_000_000)
		assert.Greater(t, ill.ShaftSpeed()/well.ShaftSpeed(), 1.5*loaded, "and less without it")
	}},
	"servo dead": {"trolley", 0, 0, 1500, func(t *testing.T, ill, well ailing) {
		assert.Equal(t, ill.tilts(1700, 1300)[0], ill.Tilt(0))
		assert.Less(t, math.Abs(ill.ratio(1)), 1e-6)
	}},
	"servo reversed": {"trolley", 0, 0, 1700, func(t *testing.T, ill, well ailing) {
		assert.Less(t, ill.ratio(1), -0.2)
		assert.Greater(t, well.ratio(1), 0.2)
	}},
	"servo saturates": {"trolley", 0, 250, 1500, func(t *testing.T, ill, well ailing) {
		got, sound := ill.tilts(1600, 1750, 1900, 1250, 1100), well.tilts(1600, 1750, 1900, 1250, 1100)
		assert.InDelta(t, sound[0], got[0], 1e-6)
		assert.InDelta(t, got[1], got[2], 0.01, "no farther than 1750")
		assert.InDelta(t, got[3], got[4], 0.01, "nor than 1250")
		assert.Greater(t, sound[2], got[2]+10)
	}},
	"servo sticks": {"trolley", 0, 8, 1600, func(t *testing.T, ill, well ailing) {
		// In steps of 2 us it stands still for some and then jumps.
		var up []float64
		for k := range 20 {
			up = append(up, 1700+2*float64(k))
		}
		stands := func(tilts []float64) (n int) {
			for k := 1; k < len(tilts); k++ {
				if math.Abs(tilts[k]-tilts[k-1]) < 0.02 {
					n++
				}
			}
			return n
		}
		assert.GreaterOrEqual(t, stands(ill.tilts(up...)), 12)
		assert.LessOrEqual(t, stands(well.tilts(up...)), 1)
	}},
	"servo hunts": {"trolley", 0, 8, 1650, func(t *testing.T, ill, well ailing) {
		swing := func(a ailing) float64 {
			a.Advance(500_000)
			var seen []float64
			for range 500 {
				a.Advance(1000)
				micros, _ := a.ServoPulse(0)
				seen = append(seen, micros)
			}
			return slices.Max(seen) - slices.Min(seen)
		}
		got := swing(ill)
		assert.Greater(t, got, 7.9, "to and fro by its smallest move")
		assert.Less(t, got, 16.0, "and what it runs on")
		assert.Less(t, swing(well), 0.1)
	}},
	"servo unsteady": {"trolley", 0, 3, 1650, func(t *testing.T, ill, well ailing) {
		scatter := func(a ailing) float64 {
			var seen []float64
			for range 100 {
				a.tilts(1600, 1700)
				micros, _ := a.ServoPulse(0)
				seen = append(seen, micros)
			}
			_, s := meanAndScatter(seen)
			return s
		}
		assert.InDelta(t, 3, scatter(ill), 4*3/math.Sqrt(200), "the asked standard deviation, seed 1")
		assert.Less(t, scatter(well), 0.2)
	}},
	"servo drift": {"trolley", 0, 20, 1650, func(t *testing.T, ill, well ailing) {
		before, sound := ill.Tilt(0), well.Tilt(0)
		ill.Advance(240_000_000)
		well.Advance(240_000_000)
		// 20 us (1 - 1/e), less the dead zone's 2.6, at some 0.1 degrees a us, less
		// the play; well drifts 0.6 us.
		assert.InDelta(t, -(20*(1-math.Exp(-1))-2.6)*0.1+0.12, ill.Tilt(0)-before, 0.1)
		assert.Less(t, math.Abs(well.Tilt(0)-sound), 0.2)
	}},
	"horn slip": {"trolley", 0, 14.4, 1500, func(t *testing.T, ill, well ailing) {
		assert.InDelta(t, 14.4, ill.tilts(1500.0, 1600)[1]-well.tilts(1500.0, 1600)[1], 1.5, "a tooth, through the linkage")
		ill.SetPulse(0, 1500)
		assert.Greater(t, ill.ratio(1), 0.1, "it turns where it rested")
	}},
	"play": {"trolley", 0, 2, 1600, func(t *testing.T, ill, well ailing) {
		width := func(a ailing) float64 { tilts := a.tilts(1500, 1600, 1700, 1600); return tilts[3] - tilts[1] }
		assert.InDelta(t, 2-0.12, width(ill)-width(well), 0.05)
	}},
	"contact lost": {"trolley", 0, 0, 1800, func(t *testing.T, ill, well ailing) {
		ill.Advance(1_000_000)
		assert.True(t, ill.Stuck(0))
		assert.Greater(t, math.Abs(ill.BallSpeed(0)), 3.0, "the ball runs free under it")
	}},
	"contact pressure": {"trolley", 0, 0.15, 1800, func(t *testing.T, ill, well ailing) {
		assert.Less(t, ill.ratio(2), 0.8*well.ratio(2), "it slips under the trolley")
	}},
	"contact loss": {"trolley", 0, 1, 1800, func(t *testing.T, ill, well ailing) {
		assert.Greater(t, ill.ripple(), 4*well.ripple())
		least, most := 1.0, 0.0
		for range 1000 {
			ill.Advance(1000)
			least, most = min(least, ill.Forces(0).Carried), max(most, ill.Forces(0).Carried)
		}
		assert.Less(t, least, 0.1)
		assert.InDelta(t, 1, most, 1e-6, "in a part of the turn only")
	}},
	"oil": {"trolley", 0, 0.15, 1800, func(t *testing.T, ill, well ailing) {
		assert.Less(t, ill.ratio(2), 0.8*well.ratio(2), "it slips under the trolley")
		assert.Greater(t, ill.Forces(0).OutputSlip, 5*well.Forces(0).OutputSlip)
	}},
	"bare cap": {"trolley", 0, 3, 1570, func(t *testing.T, ill, well ailing) {
		assert.Greater(t, well.ratio(2), 0.05)
		assert.Less(t, ill.ratio(2), 1e-3, "8.6 degrees of cap reach beyond 70 us of tilt")
	}},
	"sides unequal": {"trolley", 0, 0.1, 1700, func(t *testing.T, ill, well ailing) {
		high, soundHigh := ill.ratio(1), well.ratio(1)
		ill.SetPulse(0, 1300)
		well.SetPulse(0, 1300)
		low, soundLow := ill.ratio(1), well.ratio(1)
		// The wheel runs on a ball of R (1 + 0.1) or R (1 - 0.1); well has 0.012.
		assert.InDelta(t, 1.1/1.012, high/soundHigh, 0.01)
		assert.InDelta(t, 0.9/0.988, low/soundLow, 0.01)
	}},
	"drive runout":  {"trolley", 0, 0.05, 1800, rippled},
	"ball runout":   {"trolley", 0, 0.05, 1800, rippled},
	"output runout": {"trolley", 0, 0.05, 1800, rippled},
	"output friction": {"trolley", 0, 6, 1800, func(t *testing.T, ill, well ailing) {
		ratio, sound := ill.ratio(2), well.ratio(2)
		assert.Less(t, ratio, 0.99*sound, "more creep under more load")
		assert.InDelta(t, 5*0.026, ill.Forces(0).GripNM-well.Forces(0).GripNM, 0.04)
	}},
	"jam": {"trolley", 0, 5, 1800, func(t *testing.T, ill, well ailing) {
		ill.Advance(1_000_000)
		assert.True(t, ill.Stuck(0))
		// Held fast, the contact slides at its limit, 0.45 x 26 N, less what its
		// spin takes.
		assert.InDelta(t, 0.45*26, ill.Forces(0).OutputTractionN, 2)
	}},
	"worm friction": {"lift", 1, 0.05, 1500, func(t *testing.T, ill, well ailing) {
		// More weight than the output's bearings can hold.
		for _, a := range []ailing{ill, well} {
			require.NoError(t, a.Inject(Fault{Name: "weight", Of: 1, Size: 220, AtMicros: 2_500_000}))
			a.Advance(1_000_000)
		}
		from, sound := ill.JointPosition(1), well.JointPosition(1)
		ill.Advance(5_000_000)
		well.Advance(5_000_000)
		assert.Less(t, ill.JointPosition(1), from-1, "the bar's weight turns the worm back")
		assert.InDelta(t, sound, well.JointPosition(1), 0.05)
	}},
	"lost motion": {"trolley", 0, 0.4, 1600, func(t *testing.T, ill, well ailing) {
		// Turned about, the output goes so far before the trolley follows: 6 mm a
		// turn.
		lost := func(a ailing) float64 {
			a.Advance(1_000_000)
			a.SetPulse(0, 1400)
			output, joint := a.OutputTurns(0), a.JointPosition(0)
			for peak := output; a.OutputTurns(0) > peak-2; peak = max(peak, a.OutputTurns(0)) {
				a.Advance(10_000)
			}
			return (output-a.OutputTurns(0))*6 - (joint - a.JointPosition(0))
		}
		assert.InDelta(t, 6*(0.4-0.03), lost(ill)-lost(well), 0.1)
	}},
	"joint friction": {"trolley", 0, 8, 1800, func(t *testing.T, ill, well ailing) {
		ill.Advance(1_000_000)
		well.Advance(1_000_000)
		assert.InDelta(t, 7*3, (ill.Forces(0).JointSideNM-well.Forces(0).JointSideNM)*2*math.Pi/6e-3, 1.5, "21 N more on 6 mm a turn")
	}},
	"weight": {"lift", 1, 90, 1700, func(t *testing.T, ill, well ailing) {
		up := func(a ailing) (speed float64) {
			a.Advance(1_000_000)
			from := a.JointPosition(1)
			a.Advance(1_000_000)
			return a.JointPosition(1) - from
		}
		rise, soundRise := up(ill), up(well)
		for i := range 3 {
			ill.SetPulse(i, 1300)
			well.SetPulse(i, 1300)
		}
		fall, soundFall := up(ill), up(well)
		assert.Less(t, rise, soundRise, "slower up")
		assert.Greater(t, -fall/rise, -soundFall/soundRise*1.005, "up and down more unequal")
	}},
	"counter dead": {"trolley", 1, 0, 1700, func(t *testing.T, ill, well ailing) {
		assert.Zero(t, counted(ill))
		assert.Greater(t, ill.OutputSpeed(0), 1.0)
	}},
	"counter misses": {"trolley", 1, 0.1, 1700, func(t *testing.T, ill, well ailing) {
		edges := float64(counted(well))
		assert.InDelta(t, 0.9, float64(counted(ill))/edges, 5*math.Sqrt(0.09/edges))
	}},
	"counter noise": {"trolley", 1, 300, 1500, func(t *testing.T, ill, well ailing) {
		// Either way, so the count walks; its edges are seen by their times.
		seen, last := 0, int64(0)
		for range 2000 {
			ill.Advance(1000)
			if _, at := ill.Counter(1); at != last {
				seen, last = seen+1, at
			}
		}
		assert.InDelta(t, 600*0.87, float64(seen), 80, "those of one ms count once")
		assert.Zero(t, counted(well))
	}},
	"counter reversed": {"trolley", 1, 0, 1700, func(t *testing.T, ill, well ailing) {
		before, _ := ill.Counter(1)
		ill.Advance(1000)
		after, _ := ill.Counter(1)
		assert.InDelta(t, float64(before), float64(after), 8, "it counts on from where it was")
		well.Advance(1000)
		assert.InDelta(t, -float64(counted(well)), float64(counted(ill)), 2)
	}},
}

func rippled(t *testing.T, ill, well ailing) {
	// 5 % of a radius either way is 10 % from peak to peak.
	ill.Advance(500_000)
	well.Advance(500_000)
	ripple, sound := ill.ripple(), well.ripple()
	assert.InDelta(t, 0.10, ripple, 0.02)
	assert.Less(t, sound, 0.03)
}

// counted is what the output's counter goes in a second.
func counted(a ailing) int64 {
	before, _ := a.Counter(1)
	a.Advance(1_000_000)
	after, _ := a.Counter(1)
	return after - before
}

func TestEveryFaultHasItsEffect(t *testing.T) {
	for name := range Faults() {
		effect, known := effects[name]
		if !assert.True(t, known, "no effect is stated for the fault %q", name) {
			continue
		}
		t.Run(name, func(t *testing.T) {
			ill := ail(t, effect.machine, effect.pulse, Fault{Name: name, Of: effect.of, Size: effect.size})
			well := ail(t, effect.machine, effect.pulse, Fault{Name: "counter misses"})
			assert.Equal(t, well.OutputTurns(0), ill.OutputTurns(0), "nothing before its time")
			effect.see(t, ill, well)
		})
	}
}
