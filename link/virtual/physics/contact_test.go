package physics

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// patch integrates Coulomb friction over a Hertz patch of radius 1, load 1,
// coefficient 1, that slides at v and spins at w: traction and moment.
func patch(v, w float64) (traction, moment float64) {
	const rings, sectors = 400, 400
	for i := range rings {
		// Substituting r = sin u takes the root out of the pressure.
		u := (float64(i) + 0.5) / rings * math.Pi / 2
		r := math.Sin(u)
		load := 1.5 / math.Pi * math.Cos(u) * r * math.Cos(u) * (math.Pi / 2 / rings) * (2 * math.Pi / sectors)
		for k := range sectors {
			s, c := math.Sincos((float64(k) + 0.5) / sectors * 2 * math.Pi)
			vx, vy := v-w*r*s, w*r*c
			speed := math.Hypot(vx, vy)
			traction += load * vx / speed
			moment += load * r * (c*vy - s*vx) / speed
		}
	}
	return traction, moment
}

func TestTractionAndSpinAgreeWithThePatch(t *testing.T) {
	for _, c := range []struct {
		v, w             float64
		traction, moment float64 // allowed difference, fraction of the value
		why              string
	}{
		{0.01, 1, 0.01, 0.01, "fast spin"},
		{1, 0.01, 0.01, 0.01, "fast slip"},
		{0.3, 1, 0.15, 0.30, "between: the fractions are smooth joins"},
		{1, 1, 0.15, 0.30, "between"},
		{1, 2, 0.15, 0.30, "between"},
		{1, 5, 0.15, 0.30, "between"},
		{1, 0.3, 0.15, 0.30, "between"},
	} {
		traction, moment := patch(c.v, c.w)
		got := slipDamping(1, c.v, slipScale(0, 0, 1, c.w)) * c.v
		assert.InEpsilon(t, traction, got, c.traction, "traction at v %g w %g (%s)", c.v, c.w, c.why)
		got = spinDamping(1, 1, c.v, c.w) * c.w
		assert.InEpsilon(t, moment, got, c.moment, "moment at v %g w %g (%s)", c.v, c.w, c.why)
	}
}

func TestTractionSaturates(t *testing.T) {
	// Definition: never above mu N, odd, rising.
	before := 0.0
	for v := 1e-6; v < 10; v *= 1.5 {
		f := slipDamping(12, v, slipScale(0.02, 0.8, 3e-4, 40)) * v
		assert.Less(t, before, f)
		assert.Less(t, f, 12.0)
		before = f
	}
	assert.InEpsilon(t, 12, before, 1e-4)
}

func TestOffCapIsTheLoadBeyondAChord(t *testing.T) {
	// Closed form derived at offCap, against a sum over strips of a Hertz patch:
	// the load of a strip at y goes as 1 - y^2.
	for _, x := range []float64{-1.2, -1, -0.5, 0, 0.3, 0.9, 1, 2} {
		var beyond, all float64
		const strips = 20000
		for i := range strips {
			y := -1 + (float64(i)+0.5)*2/strips
			all += 1 - y*y
			if y > -x {
				beyond += 1 - y*y
			}
		}
		assert.InDelta(t, beyond/all, offCap(x), 1e-4, "x %g", x)
	}
}

func TestRippleIsASumOfCosines(t *testing.T) {
	r := Runout{Once: 0.01, Twice: 0.004, Thrice: 0.002, PhasesTurns: [3]float64{0.1, 0.3, 0.25}}
	ready := newRipple(r)
	for angle := -7.0; angle < 7; angle += 0.37 {
		want := 1 + 0.01*math.Cos(angle-2*math.Pi*0.1) + 0.004*math.Cos(2*(angle-2*math.Pi*0.3)) + 0.002*math.Cos(3*(angle-2*math.Pi*0.25))
		assert.InDelta(t, want, ready.at(angle), 1e-14)
	}
}

func TestLossIsInsideItsWindow(t *testing.T) {
	l := Loss{Depth: 0.6, StartTurns: 0.8, WidthTurns: 0.3}
	assert.Equal(t, 1.0, l.pressed(2*math.Pi*0.79))
	assert.InDelta(t, 0.4, l.pressed(2*math.Pi*(0.95+3)), 1e-9, "the middle of the window, any turn")
	assert.Equal(t, 1.0, l.pressed(2*math.Pi*0.11))
}
