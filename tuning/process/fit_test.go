package process

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// axis is an invented axis, played by small time steps: its own way to compute what the fit has in closed form.
type axis struct {
	gain, deadS, lagS float64
	slewUsPerS        float64 // 0: at once
	shaftPerS, sag    float64 // turns a second, and the share by which it falls after a step
	runout            float64 // counts, once a turn of the shaft
	wander            float64 // counts per root second
	lateInwardS       float64 // more dead time inward
	slowLargeS        float64 // more lag for steps above 0.3
	curveWrong        float64 // gain more by this forward
}

func inventedAxis() axis {
	return axis{gain: 0.97, deadS: 0.034, lagS: 0.052, slewUsPerS: 2500, shaftPerS: 5, sag: 0.06, runout: 3}
}

// The curve of the invented axis, either side of 1500 us.
func inventedCurve(pulse float64) float64 { return 1.3 * math.Tan((pulse-1500)*0.0018) }
func inventedPulse(ratio float64) float64 { return 1500 + math.Atan(ratio/1.3)/0.0018 }

const inventedPerTurn = 2400

// play makes the samples of one step at 200 a second, from 0.4 s before to 0.7 s after it.
func (a axis) play(rng *rand.Rand, from, to float64) Step {
	st := Step{AtS: 10, FromRatio: from, ToRatio: to, FromPulseUs: inventedPulse(from), ToPulseUs: inventedPulse(to)}
	dead, lag, gain := a.deadS, a.lagS, a.gain
	if math.Abs(to) < math.Abs(from) {
		dead += a.lateInwardS
	}
	if math.Abs(to-from) > 0.3 {
		lag += a.slowLargeS
	}
	if to+from > 0 {
		gain *= 1 + a.curveWrong
	}
	const h = 1e-4
	settles := -math.Expm1(-h / lag)
	start := from * (1 + 0.03*rng.NormFloat64()) // the curve is a little off
	ratio, pulse := start, st.FromPulseUs
	angle, turned := rng.Float64(), rng.Float64()
	phase := 2 * math.Pi * rng.Float64()
	asked := make([]float64, 0, 1<<15) // ratio asked, to be read after the dead time
	late := int(math.Round(dead / h))
	speed := a.shaftPerS
	for k := 0; k <= int(1.1/h); k++ {
		t := st.AtS - 0.4 + float64(k)*h
		if k%50 == 0 {
			count := turned*inventedPerTurn + a.runout*math.Sin(2*math.Pi*angle+phase)
			st.Samples = append(st.Samples, Sample{t, angle, math.Floor(count)})
		}
		before := pulse
		if t > st.AtS-h/2 {
			if a.slewUsPerS == 0 {
				pulse = st.ToPulseUs
			} else if d := st.ToPulseUs - pulse; math.Abs(d) > a.slewUsPerS*h {
				pulse += math.Copysign(a.slewUsPerS*h, d)
			} else {
				pulse = st.ToPulseUs
			}
			speed += (a.shaftPerS*(1-a.sag*math.Abs(ratio)) - speed) * h / 0.15 // the motor sags with what it drives
		}
		asked = append(asked, (inventedCurve(before)+inventedCurve(pulse))/2)
		wanted := from
		if k >= late {
			wanted = asked[k-late]
		}
		last := ratio
		ratio += (start + gain*(wanted-from) - ratio) * settles
		turned += (last + ratio) / 2 * speed * h
		turned += a.wander / inventedPerTurn * math.Sqrt(h) * rng.NormFloat64()
		angle += speed * h
	}
	return st
}

// invented are eight steps of two sizes, both ways and both sides.
func invented(seed uint64, a axis) ([]Step, Settings) {
	rng := rand.New(rand.NewPCG(seed, 7))
	var steps []Step
	for _, side := range []float64{1, -1} {
		for _, way := range [][2]float64{{0.2, 0.7}, {0.7, 0.2}, {0.35, 0.55}, {0.55, 0.35}} {
			steps = append(steps, a.play(rng, side*way[0], side*way[1]))
		}
	}
	return steps, Settings{CountsPerTurn: inventedPerTurn, SlewUsPerS: a.slewUsPerS, Curve: inventedCurve, Harmonics: 1}
}

const inventedRuns = 25

func TestInventedAxisIsFound(t *testing.T) {
	t.Parallel()
	for name, wander := range map[string]float64{"still": 0, "wandering": 8} {
		t.Run(name, func(t *testing.T) {
			a := inventedAxis()
			a.wander = wander
			gain, dead, lag := tally{name: "gain", truth: a.gain}, tally{name: "dead time", truth: a.deadS}, tally{name: "lag", truth: a.lagS}
			response := tally{name: "response", truth: a.deadS + a.lagS}
			rejected := 0
			for run := range inventedRuns {
				steps, s := invented(uint64(run)+100, a)
				r, err := Fit(steps, s)
				require.NoError(t, err, "seed %d", run+100)
				gain.add(r.Gain)
				dead.add(r.DeadTime)
				lag.add(r.Lag)
				response.add(r.Response)
				if !r.OneModel.Holds {
					rejected++
				}
			}
			gain.check(t, 100, 0, 0)
			dead.check(t, 100, 0, 0)
			lag.check(t, 100, 0, 0)
			response.check(t, 100, 0, 0)
			t.Logf("one model rejected in %d of %d runs", rejected, inventedRuns)
			require.LessOrEqual(t, rejected, 2, "one model does serve these")
		})
	}
}

func TestSagIsNotTakenForLag(t *testing.T) {
	// The same axis with a motor that sags a lot: the measured shaft angle keeps it out of the lag.
	a := inventedAxis()
	a.sag, a.runout = 0.3, 0
	steps, s := invented(5, a)
	r, err := Fit(steps, s)
	require.NoError(t, err)
	require.Less(t, r.Lag.Sigmas(a.lagS), 4.0)
	require.Less(t, r.DeadTime.Sigmas(a.deadS), 4.0)
	for i := range steps { // as if the shaft turned evenly
		n := len(steps[i].Samples)
		first, last := steps[i].Samples[0], steps[i].Samples[n-1]
		for j := range steps[i].Samples {
			v := &steps[i].Samples[j]
			v.ShaftTurns = first.ShaftTurns + (last.ShaftTurns-first.ShaftTurns)*(v.TimeS-first.TimeS)/(last.TimeS-first.TimeS)
		}
	}
	wrong, err := Fit(steps, s)
	require.NoError(t, err)
	t.Logf("lag %v with the shaft's angle, %v without; truth %v", r.Lag, wrong.Lag, a.lagS)
	require.Greater(t, math.Abs(wrong.Lag.Value-a.lagS), 10*math.Abs(r.Lag.Value-a.lagS))
}

func TestWhatBreaksOneModelIsNamed(t *testing.T) {
	for name, c := range map[string]struct {
		spoil   func(*axis)
		differs string
		between string
		change  float64
	}{
		"late inward":   {func(a *axis) { a.lateInwardS = 0.012 }, "dead time", "outward and inward", -0.012},
		"slow if large": {func(a *axis) { a.slowLargeS = 0.02 }, "lag", "large and small", 0.02},
		"curve wrong":   {func(a *axis) { a.curveWrong = 0.08 }, "gain", "forward and backward", 0.08 * 0.97},
	} {
		t.Run(name, func(t *testing.T) {
			a := inventedAxis()
			c.spoil(&a)
			steps, s := invented(11, a)
			r, err := Fit(steps, s)
			require.NoError(t, err)
			require.True(t, r.OneModel.Tested)
			require.False(t, r.OneModel.Holds, "p %v", r.OneModel.P)
			require.Equal(t, c.differs, r.OneModel.Differs)
			require.Equal(t, c.between, r.OneModel.Between)
			require.InDelta(t, c.change, r.OneModel.Change, 5*r.OneModel.StdErr)
			require.True(t, strings.HasPrefix(r.OneModel.Words, "the "+c.differs), r.OneModel.Words)
			t.Logf("F %.1f, %s: %+.4f, s.e. %.4f", r.OneModel.F, r.OneModel.Words, r.OneModel.Change, r.OneModel.StdErr)
		})
	}
}

func TestUnknownSlewBecomesDeadTimeAndLag(t *testing.T) {
	a := inventedAxis()
	steps, s := invented(3, a)
	known, err := Fit(steps, s)
	require.NoError(t, err)
	s.SlewUsPerS = 0
	unknown, err := Fit(steps, s)
	require.NoError(t, err)
	require.Greater(t, unknown.Response.Value, known.Response.Value+0.01)
}

func TestResultIsStored(t *testing.T) {
	steps, s := invented(3, inventedAxis())
	r, err := Fit(steps, s)
	require.NoError(t, err)
	data, err := json.Marshal(r)
	require.NoError(t, err)
	for _, key := range []string{"gain", "dead_time_s", "lag_s", "dead_time_plus_lag_s", "steps", "one_model", "standard_error"} {
		require.Contains(t, string(data), `"`+key+`"`)
	}
	var back Result
	require.NoError(t, json.Unmarshal(data, &back))
	back.correlation = r.correlation // the one thing that is not stored
	require.Equal(t, r, back)
	position := r.Position(5, 100)
	require.NoError(t, position.Validate())
	require.InDelta(t, 500*r.Gain.Value, position.RateGain, 1e-9)
	require.InDelta(t, 500*r.Gain.Value, r.Speed(5, 100).Gain, 1e-9)
}

func TestWhatCannotBeFitted(t *testing.T) {
	good, s := invented(3, inventedAxis())
	for name, spoil := range map[string]func(*Step, *Settings){
		"no counts per turn":   func(_ *Step, s *Settings) { s.CountsPerTurn = 0 },
		"negative slew":        func(_ *Step, s *Settings) { s.SlewUsPerS = -1 },
		"too many harmonics":   func(_ *Step, s *Settings) { s.Harmonics = 9 },
		"quantum not a number": func(_ *Step, s *Settings) { s.QuantumCounts = math.NaN() },
		"few samples":          func(st *Step, _ *Settings) { st.Samples = st.Samples[:5] },
		"nothing after":        func(st *Step, _ *Settings) { st.AtS = 1e6 },
		"nothing before":       func(st *Step, _ *Settings) { st.AtS = -1 },
		"time stands still":    func(st *Step, _ *Settings) { st.Samples[3].TimeS = st.Samples[2].TimeS },
		"shaft stands still": func(st *Step, _ *Settings) {
			for j := range st.Samples {
				st.Samples[j].ShaftTurns = 0
			}
		},
		"no step":       func(st *Step, _ *Settings) { st.ToRatio = st.FromRatio },
		"pulses absent": func(st *Step, _ *Settings) { st.FromPulseUs, st.ToPulseUs = 0, 0 },
		"infinite":      func(st *Step, _ *Settings) { st.Samples[3].Counts = math.Inf(1) },
	} {
		st := good[0]
		st.Samples = append([]Sample(nil), st.Samples...)
		settings := s
		spoil(&st, &settings)
		_, err := Fit([]Step{st}, settings)
		var input *InputError
		require.True(t, errors.As(err, &input), "%s: %v", name, err)
	}
	_, err := Fit(nil, s)
	var input *InputError
	require.True(t, errors.As(err, &input))
	_, err = FitRates(nil, false)
	require.True(t, errors.As(err, &input))

	// An output that does not answer at all.
	st := good[0]
	st.Samples = append([]Sample(nil), st.Samples...)
	for j := range st.Samples {
		st.Samples[j].Counts = 0
	}
	_, err = Fit([]Step{st}, s)
	require.Error(t, err)
	var undetermined *UndeterminedError
	require.True(t, errors.As(err, &undetermined), "%v", err)
}

func BenchmarkFit(b *testing.B) {
	steps, s := invented(3, inventedAxis())
	for b.Loop() {
		if _, err := Fit(steps, s); err != nil {
			b.Fatal(err)
		}
	}
}
