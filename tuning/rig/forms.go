package rig

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"trunnion/tuning/units"
)

// worstCondition is the condition number, rows and columns brought to equal size first, from which joints are taken to
// hang together: an error of a thousandth in the gearing could then turn one into the other.
const worstCondition = 1e4

// rankTolerance tells a singular value that is nought but for rounding.
const rankTolerance = 1e-9

// even is the joints' matrix with every row and then every column brought to a largest number of 1, so that neither
// units nor gearing count when it is judged or solved. An entry is row scale times per turn times column scale.
type even struct {
	at      [][]float64
	rows    []float64 // what each joint was multiplied by
	columns []float64 // what each axis was multiplied by; an output in turns is this times the unknown
}

func (r Rig) even() even {
	e := even{rows: make([]float64, len(r.Joints)), columns: make([]float64, len(r.Axes))}
	for k, j := range r.Joints {
		e.rows[k] = 1 / largest(j.PerTurn)
		e.at = append(e.at, scaled(j.PerTurn, e.rows[k]))
	}
	for i := range r.Axes {
		most := 0.0
		for k := range e.at {
			most = max(most, math.Abs(e.at[k][i]))
		}
		e.columns[i] = 1 / most
		for k := range e.at {
			e.at[k][i] /= most
		}
	}
	return e
}

// Counters is how many counters the rig needs the controller to have: one more than the highest number.
func (r Rig) Counters() int {
	n := r.Drive.Sensor.Counter
	for _, a := range r.Axes {
		if a.Sensor != nil {
			n = max(n, a.Sensor.Counter)
		}
	}
	for _, j := range r.Joints {
		if j.Sensor != nil {
			n = max(n, j.Sensor.Counter)
		}
	}
	return n + 1
}

// outputForms gives for each axis the weights, one a counter, whose sum over the counts is the output's turns. An axis
// goes by the sensor at its output wheel; those without one are solved from the joints' sensors, by least squares where
// there are more of them than needed.
func (r Rig) outputForms() [][]float64 {
	forms := make([][]float64, len(r.Axes))
	var without []int
	for i, a := range r.Axes {
		forms[i] = make([]float64, r.Counters())
		if a.Sensor != nil && a.Sensor.Directed() {
			forms[i][a.Sensor.Counter] = 1 / float64(a.Sensor.CountsPerTurn)
		} else {
			without = append(without, i)
		}
	}
	if len(without) > 0 {
		r.solveOutputs(forms, without)
	}
	return forms
}

// solveOutputs fills the forms of the axes without a sensor of their own. For each joint with a sensor, count over
// counts per unit is the sum over the axes of per turn times turns; what the axes with sensors contribute is taken to
// the other side.
func (r Rig) solveOutputs(forms [][]float64, without []int) {
	var rows, sides []float64
	n, width, even := 0, r.Counters(), r.even()
	for k, j := range r.Joints {
		if j.Sensor == nil || !j.Sensor.Directed() {
			continue
		}
		side := make([]float64, width)
		side[j.Sensor.Counter] = even.rows[k] / j.Sensor.CountsPerUnit
		for i, a := range r.Axes {
			if a.Sensor != nil && a.Sensor.Directed() {
				side[a.Sensor.Counter] -= even.rows[k] * j.PerTurn[i] / float64(a.Sensor.CountsPerTurn)
			}
		}
		for _, i := range without {
			rows = append(rows, even.at[k][i])
		}
		sides = append(sides, side...)
		n++
	}
	var svd mat.SVD
	if n == 0 || !svd.Factorize(mat.NewDense(n, len(without), rows), mat.SVDThin) {
		return
	}
	var solved mat.Dense
	svd.SolveTo(&solved, mat.NewDense(n, width, sides), rankOf(svd.Values(nil)))
	for k, i := range without {
		copy(forms[i], scaled(solved.RawRowView(k), even.columns[i]))
	}
}

// jointForms gives for each joint the weights, one a counter, whose sum over the counts is the joint's position: by its
// own sensor where it has one that knows a direction, else by the outputs that move it.
func (r Rig) jointForms() [][]float64 {
	outputs := r.outputForms()
	forms := make([][]float64, len(r.Joints))
	for k, j := range r.Joints {
		forms[k] = make([]float64, r.Counters())
		if j.Sensor != nil && j.Sensor.Directed() {
			forms[k][j.Sensor.Counter] = 1 / j.Sensor.CountsPerUnit
			continue
		}
		for i, perTurn := range j.PerTurn {
			for c, w := range outputs[i] {
				forms[k][c] += perTurn * w
			}
		}
	}
	return forms
}

// determined tells, for each axis, whether the sensors say where its output stands. Every sensor that knows a direction
// is a row over the outputs; an axis is determined where its unit vector lies in the space of those rows, that is,
// where the projection onto it has length 1. Scaling rows and columns changes nothing in that.
func (r Rig) determined() []bool {
	n, even := len(r.Axes), r.even()
	var rows []float64
	for i, a := range r.Axes {
		if a.Sensor != nil && a.Sensor.Directed() {
			row := make([]float64, n)
			row[i] = 1
			rows = append(rows, row...)
		}
	}
	for k, j := range r.Joints {
		if j.Sensor != nil && j.Sensor.Directed() {
			rows = append(rows, even.at[k]...)
		}
	}
	known := make([]bool, n)
	var svd mat.SVD
	if len(rows) == 0 || !svd.Factorize(mat.NewDense(len(rows)/n, n, rows), mat.SVDThin) {
		return known
	}
	var right mat.Dense
	svd.VTo(&right)
	rank := rankOf(svd.Values(nil))
	for i := range known {
		within := 0.0
		for k := range rank {
			within += right.At(i, k) * right.At(i, k)
		}
		known[i] = within > 1-1e-6
	}
	return known
}

func rankOf(values []float64) int {
	rank := 0
	for _, v := range values {
		if v > rankTolerance*values[0] {
			rank++
		}
	}
	return rank
}

// sumOf is the weighted sum of the counts.
func sumOf(form []float64, counts []units.Counts) float64 {
	sum := 0.0
	for c, w := range form {
		if w != 0 {
			sum += w * float64(counts[c])
		}
	}
	return sum
}

func largest(values []float64) float64 {
	most := 0.0
	for _, v := range values {
		most = max(most, math.Abs(v))
	}
	return most
}

func scaled(values []float64, by float64) []float64 {
	out := make([]float64, len(values))
	for i, v := range values {
		out[i] = v * by
	}
	return out
}
