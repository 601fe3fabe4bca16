package process

import "math"

// Parameters of the fit, in this order.
const (
	gainAt = iota
	deadAt
	lagAt
	parameters
)

// columns are the model's part of a record at some dead time and lag, for gain 1: the answer and its derivatives.
type columns struct{ answer, byDead, byLag []float64 }

// record is one step made ready: what was read, the columns that belong to it alone, and how to compute the answer.
type record struct {
	timeS  []float64
	read   []float64   // counts, or rates
	own    [][]float64 // columns that are the step's own: runout, and last the shaft angle; the offset is left to the whitening
	offset bool        // the offset is a column of its own (rates), not left to the whitening
	kinks  bool        // the answer has a kink or a jump at the dead time, and with it the sum of squares
	fill   func(c *columns, deadS, lagS float64)
	fewer  func(every int) *record // the same step with fewer samples
	rise   float64                 // of the wanted ratio
	to     float64
	from   float64

	// after whiten: everything in units of the noise of one reading, the step's own columns projected out
	wander  float64
	basis   [][]float64
	white   []float64
	raw     columns
	clean   columns
	at      [2]float64 // dead time and lag for which clean was computed; NaN: none
	walk    walkFilter
	lastOwn []float64 // the whitened last own column, whose factor is the initial ratio
	others  int       // how many of the basis came before it
	spread  float64   // sum of the logarithms of what was left of each own column: half their log determinant
}

// newRecord makes a step ready.
func newRecord(st Step, s Settings) *record {
	n := len(st.Samples)
	r := &record{timeS: make([]float64, n), read: make([]float64, n), rise: st.ToRatio - st.FromRatio, from: st.FromRatio, to: st.ToRatio}
	first := st.Samples[0]
	angle := make([]float64, n)
	for j, v := range st.Samples {
		r.timeS[j] = v.TimeS
		r.read[j] = v.Counts - first.Counts
		angle[j] = v.ShaftTurns - first.ShaftTurns
	}
	for h := 1; h <= s.Harmonics; h++ {
		sin, cos := make([]float64, n), make([]float64, n)
		for j := range angle {
			sin[j], cos[j] = math.Sincos(2 * math.Pi * float64(h) * angle[j])
		}
		r.own = append(r.own, sin, cos)
	}
	if !s.FromRest {
		r.own = append(r.own, scaled(angle, s.CountsPerTurn))
	}
	way := newPath(st, s)
	r.fill = func(c *columns, deadS, lagS float64) {
		fillCounts(c, &way, r.timeS, angle, s.CountsPerTurn, deadS, lagS)
	}
	r.fewer = func(every int) *record {
		few := st
		few.Samples = nil
		for j := 0; j < n; j += every {
			few.Samples = append(few.Samples, st.Samples[j])
		}
		return newRecord(few, s)
	}
	r.kinks = s.NoLag && way.jump != 0
	r.size()
	return r
}

// thinnedTo is about how many samples the search of a start looks at.
const thinnedTo = 50

// thin is the record with fewer samples, or itself where it has few.
func (r *record) thin() *record {
	if every := len(r.timeS) / thinnedTo; every > 1 {
		return r.fewer(every)
	}
	return r
}

// size allocates the working columns.
func (r *record) size() {
	n := len(r.timeS)
	r.raw = columns{make([]float64, n), make([]float64, n), make([]float64, n)}
	r.clean = columns{make([]float64, n), make([]float64, n), make([]float64, n)}
	r.white = make([]float64, n)
}

// fillCounts integrates the answer over the shaft angle, which turns evenly between samples.
func fillCounts(c *columns, way *path, timeS, angle []float64, countsPerTurn, deadS, lagS float64) {
	sweep := way.sweep(deadS, lagS)
	before := sweep.at(timeS[0])
	var sum, byDead, byLag float64
	c.answer[0], c.byDead[0], c.byLag[0] = 0, 0, 0
	for j := 1; j < len(timeS); j++ {
		here := sweep.at(timeS[j])
		speed := countsPerTurn * (angle[j] - angle[j-1]) / (timeS[j] - timeS[j-1])
		sum += speed * (here.integral - before.integral)
		byDead -= speed * (here.rise - before.rise)
		byLag += speed * (here.integByLag - before.integByLag)
		c.answer[j], c.byDead[j], c.byLag[j] = sum, byDead, byLag
		before = here
	}
}

// whiten sets the proportion of wander and projects the step's own columns out of the readings.
func (r *record) whiten(wander float64) {
	r.wander, r.at = wander, [2]float64{math.NaN()}
	if !r.offset {
		r.walk.set(r.timeS, wander)
	}
	r.basis, r.spread = r.basis[:0], 0
	for _, own := range r.own {
		column := make([]float64, len(own))
		r.filter(column, own)
		r.lastOwn, r.others = append(r.lastOwn[:0], column...), len(r.basis)
		before := norm(column)
		r.project(column)
		if after := norm(column); after > 1e-9*before && after > 0 {
			r.basis = append(r.basis, scaled(column, 1/after))
			r.spread += math.Log(after)
		}
	}
	r.filter(r.white, r.read)
	r.project(r.white)
}

// filter whitens a column: by the random-walk filter, or not at all where the offset is a column of its own.
func (r *record) filter(dst, src []float64) {
	if r.offset {
		copy(dst, src)
		return
	}
	r.walk.whiten(dst, src)
}

// projectOnce takes the step's own columns out of v, once: for columns of the model, which are far from being spanned by
// them.
func (r *record) projectOnce(v []float64) {
	for _, b := range r.basis {
		addScaled(v, b, -dot(v, b))
	}
}

// project takes the step's own columns out of v.
func (r *record) project(v []float64) {
	for range 2 { // the second time takes out what rounding left
		for _, b := range r.basis {
			addScaled(v, b, -dot(v, b))
		}
	}
}

// model computes the answer and its derivatives, whitened and projected. It keeps the last, since residuals and
// derivatives are asked for one after the other.
func (r *record) model(deadS, lagS float64) *columns {
	if r.at == [2]float64{deadS, lagS} {
		return &r.clean
	}
	r.at = [2]float64{deadS, lagS}
	r.fill(&r.raw, deadS, lagS)
	for _, pair := range [...][2][]float64{{r.clean.answer, r.raw.answer}, {r.clean.byDead, r.raw.byDead}, {r.clean.byLag, r.raw.byLag}} {
		r.filter(pair[0], pair[1])
		r.projectOnce(pair[0])
	}
	return &r.clean
}

// answerAlone is the answer without its derivatives, whitened and projected.
func (r *record) answerAlone(deadS, lagS float64) []float64 {
	r.at = [2]float64{math.NaN()}
	r.fill(&r.raw, deadS, lagS)
	r.filter(r.clean.answer, r.raw.answer)
	r.projectOnce(r.clean.answer)
	return r.clean.answer
}

// rows is how many independent readings there are: the first of a record goes into its offset.
func (r *record) rows() int {
	if r.offset {
		return len(r.white)
	}
	return len(r.white) - 1
}

func scaled(v []float64, k float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = k * x
	}
	return out
}

func addScaled(v, w []float64, k float64) {
	for i := range v {
		v[i] += k * w[i]
	}
}

func dot(v, w []float64) float64 {
	sum := 0.0
	for i := range v {
		sum += v[i] * w[i]
	}
	return sum
}

func norm(v []float64) float64 { return math.Sqrt(dot(v, v)) }
