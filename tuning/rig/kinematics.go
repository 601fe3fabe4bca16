package rig

import (
	"fmt"
	"slices"

	"gonum.org/v1/gonum/mat"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// ToJoints gives the movement of every joint, in its unit, for outputs that have turned so far: matrix times outputs.
// Both are counted from one and the same place. outputs has one number an axis.
func (r Rig) ToJoints(outputs []float64) []float64 {
	r.mustHave(len(outputs), len(r.Axes), "outputs")
	joints := make([]float64, len(r.Joints))
	for j := range joints {
		for i, perTurn := range r.Joints[j].PerTurn {
			joints[j] += perTurn * outputs[i]
		}
	}
	return joints
}

// ToOutputs gives the turns of every output that move the joints so far: the inverse of ToJoints. joints has one number a
// joint, in its unit.
func (r Rig) ToOutputs(joints []float64) []float64 {
	r.mustHave(len(joints), len(r.Joints), "joints")
	n, even := len(r.Axes), r.even()
	right := mat.NewVecDense(n, nil)
	for j := range joints {
		right.SetVec(j, even.rows[j]*joints[j])
	}
	var lu mat.LU
	lu.Factorize(mat.NewDense(n, n, slices.Concat(even.at...)))
	outputs := make([]float64, n)
	if err := lu.SolveVecTo(mat.NewVecDense(n, outputs), false, right); err != nil {
		panic("rig: a joints' matrix that Parse would have refused: " + err.Error())
	}
	for i := range outputs {
		outputs[i] *= even.columns[i]
	}
	return outputs
}

// DriveTurns gives the turns of the drive shaft since its counter read 0. counts has one number a counter.
func (r Rig) DriveTurns(counts []units.Counts) float64 {
	return float64(counts[r.Drive.Sensor.Counter]) / float64(r.Drive.Sensor.CountsPerTurn)
}

// OutputTurns gives the turns of every output since the counters read 0, forward positive. counts has one number a
// counter, at least as many as Counters. An axis goes by the sensor at its output wheel, else by the joints' sensors.
func (r Rig) OutputTurns(counts []units.Counts) []float64 {
	r.mustHave(min(len(counts), r.Counters()), r.Counters(), "counts")
	turns := make([]float64, len(r.Axes))
	for i, form := range r.outputForms() {
		turns[i] = sumOf(form, counts)
	}
	return turns
}

// Positions gives every joint's position, in its unit, counted from where the counters read 0. A joint goes by its own
// sensor where it has one that knows a direction, else by the outputs that move it. To have it from the datum, see Zero.
func (r Rig) Positions(counts []units.Counts) []float64 {
	r.mustHave(min(len(counts), r.Counters()), r.Counters(), "counts")
	positions := make([]float64, len(r.Joints))
	for j, form := range r.jointForms() {
		positions[j] = sumOf(form, counts)
	}
	return positions
}

// Resolution is how far a joint goes for one count of the counter that tells it most coarsely, in its unit.
func (r Rig) Resolution(joint int) float64 { return largest(r.jointForms()[joint]) }

// Feedback is the counter that an axis's closed loop goes by.
type Feedback struct {
	Counter       int
	CountsPerTurn float64 // of the output, signed: negative where it counts down as the output turns forward
}

// Feedback gives the one counter that follows an axis's output alone: the sensor at its output wheel, else that of a
// joint which no other axis moves. It is false where there is none, so that the axis cannot be put under closed loop.
func (r Rig) Feedback(axis int) (Feedback, bool) {
	if s := r.Axes[axis].Sensor; s != nil && s.Directed() {
		return Feedback{s.Counter, float64(s.CountsPerTurn)}, true
	}
	for _, j := range r.Joints {
		alone := j.PerTurn[axis] != 0
		for i, perTurn := range j.PerTurn {
			alone = alone && (i == axis || perTurn == 0)
		}
		if alone && j.Sensor != nil && j.Sensor.Directed() {
			return Feedback{j.Sensor.Counter, j.Sensor.CountsPerUnit * j.PerTurn[axis]}, true
		}
	}
	return Feedback{}, false
}

// CountsOf takes the counts out of a sample, one a counter.
func CountsOf(s bench.Sample) []units.Counts {
	counts := make([]units.Counts, len(s.Counters))
	for c := range s.Counters {
		counts[c] = s.Counters[c].Count
	}
	return counts
}

// mustHave panics on a shape that no correct caller makes.
func (r Rig) mustHave(got, want int, of string) {
	if got != want {
		panic(fmt.Sprintf("rig: %d %s where %d are wanted", got, of, want))
	}
}
