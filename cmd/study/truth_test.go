package study

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link/virtual/physics"
	"trunnion/tuning/deadband"
	"trunnion/tuning/measure"
)

// truth is what the machine says of an axis, servos cold and without scatter.
type truth struct{ physics.Truth }

// scan asks the machine. A try is as long as the search's own, and the same
// mean ratio counts as turning, so that both mean the same by an edge; the
// shaft's phase is another at each of the tries.
func scan(t testing.TB, m physics.Machine, axis int) truth {
	t.Helper()
	found, err := physics.Scan(m, physics.ScanOptions{Axis: axis, EdgeTurns: 2, LeastRatio: 0.003, EdgeTries: 6})
	require.NoError(t, err)
	require.True(t, found.Holds)
	return truth{found}
}

// edge is the true edge when the servo's centre has drifted by so many us.
func (r truth) edge(side deadband.Side, approach measure.Approach, drift float64) (micros, scatter float64) {
	e := r.Short
	if side == deadband.Above {
		e = r.Long
	}
	if approach == measure.Inward {
		return e.DropoutMicros + drift, e.DropoutScatter
	}
	return e.BreakawayMicros + drift, e.BreakawayScatter
}

// at is the true ratio at a pulse, by a parabola through the three scanned
// points next to it; ok is false where one of them lies in the dead band, since
// no parabola bends round an edge.
func (r truth) at(pulse float64, approach measure.Approach) (ratio float64, ok bool) {
	k := 1
	for k < len(r.Points)-2 && math.Abs(r.Points[k+1].PulseMicros-pulse) < math.Abs(r.Points[k].PulseMicros-pulse) {
		k++
	}
	for a := k - 1; a <= k+1; a++ {
		if rests(r.Points[a]) {
			return 0, false
		}
		weight := 1.0
		for b := k - 1; b <= k+1; b++ {
			if a != b {
				weight *= (pulse - r.Points[b].PulseMicros) / (r.Points[a].PulseMicros - r.Points[b].PulseMicros)
			}
		}
		value := r.Points[a].Outward
		if approach == measure.Inward {
			value = r.Points[a].Inward
		}
		ratio += weight * value
	}
	return ratio, true
}

// rests reports whether the output hardly turns at a point from either approach.
func rests(p physics.Point) bool { return math.Min(math.Abs(p.Outward), math.Abs(p.Inward)) < 0.01 }

// turning are the scanned points at which the output turns from either
// approach, between two pulses, with the drift taken off by the local slope.
func (r truth) turning(least, most, drift float64) []physics.Point {
	var points []physics.Point
	for k := 1; k < len(r.Points)-1; k++ {
		p := r.Points[k]
		if p.PulseMicros < least || p.PulseMicros > most || rests(p) {
			continue
		}
		before, after := r.Points[k-1], r.Points[k+1]
		span := after.PulseMicros - before.PulseMicros
		p.Outward -= drift * (after.Outward - before.Outward) / span
		p.Inward -= drift * (after.Inward - before.Inward) / span
		points = append(points, p)
	}
	return points
}

// outward is the direction in which an edge lies too far out.
func outward(side deadband.Side) float64 {
	if side == deadband.Below {
		return -1
	}
	return 1
}
