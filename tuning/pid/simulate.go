package pid

import "math"

// run is one simulation in progress.
type run struct {
	s        *Simulator
	l        *linear
	event    Event
	perDelay int
	steps    int

	phi    matrix    // e^A
	in     [6]vector // what the six ends of the delayed ratio add in a step
	onLoad vector    // what a constant load adds
	onSet  vector    // what a constant set-point adds

	y, u rows
	z    vector

	tolerance   float64
	size, early float64 // greatest |y| so far, and in the first ten dead times
	calm        int     // steps at rest
}

// rows give a signal and its first two derivatives from the state: value = v0 z + feed, and so on. With w the input that
// reaches the process, load included: d1 = v1 z + b1 w + r1 r; d2 = v2 z + b2 w + b1 w' + r2 r.
type rows struct {
	v0, v1, v2     vector
	b1, b2, r1, r2 float64
	feed           float64
}

func newRows(l *linear, v vector, feed float64) rows {
	out := rows{v0: v, feed: feed}
	out.v1 = l.before(&v, &l.a)
	out.v2 = l.before(&out.v1, &l.a)
	out.b1, out.r1 = l.dot(&v, &l.b), l.dot(&v, &l.r)
	out.b2, out.r2 = l.dot(&out.v1, &l.b), l.dot(&out.v1, &l.r)
	return out
}

func newRun(s *Simulator, l *linear, event Event, perDelay int, p Transfer) *run {
	r := &run{s: s, l: l, event: event, perDelay: perDelay}
	r.phi = l.transition()
	var force [6]vector
	most := 6
	if perDelay == 0 {
		most = 1
	}
	for m := range most {
		force[m] = l.forced(&l.b, m)
	}
	r.onLoad = force[0]
	r.onSet = l.forced(&l.r, 0)
	if perDelay > 0 {
		r.in = throughEnds(l.n, &force)
	}
	feed := 0.0
	if event == SetPointStep {
		feed = l.f
	}
	r.y = newRows(l, l.c, 0)
	r.u = newRows(l, l.k, feed)
	r.steps = r.horizon(p)
	r.tolerance = math.Abs(s.Tolerance)
	if s.Tolerance == 0 {
		r.tolerance = defaultTolerance
	}
	return r
}

// throughEnds turns vectors for the input t^m/m! into vectors for value and derivatives of a quintic at both ends: its
// coefficients of t^3, t^4 and t^5 are those of Hermite interpolation.
func throughEnds(n int, force *[6]vector) [6]vector {
	// coefficient of t^3, t^4, t^5 by v0, d0, s0, v1, d1, s1
	cubic := [3][6]float64{
		{-10, -6, -1.5, 10, -4, 0.5},
		{15, 8, 1.5, -15, 7, -1},
		{-6, -3, -0.5, 6, -3, 0.5},
	}
	factorial := [3]float64{6, 24, 120}
	var in [6]vector
	for i := range n {
		for e := range 6 {
			if e < 3 {
				in[e][i] = force[e][i]
			}
			for c := range 3 {
				in[e][i] += cubic[c][e] * factorial[c] * force[3+c][i]
			}
		}
	}
	return in
}

// horizon is the greatest number of steps.
func (r *run) horizon(p Transfer) int {
	span := r.s.HorizonS
	if span == 0 {
		_, longest := timeConstants(p)
		span = max(horizonDelays*p.DeadTimeS, horizonLags*longest)
	}
	return max(1, int(math.Ceil(span/r.s.out.StepS-1e-9)))
}

// execute is the simulation. In each step: see what reaches the process, read output and ratio at its start, let it
// pass, read them at its end, store, and see whether it is over.
func (r *run) execute() {
	out := &r.s.out
	set := 0.0
	if r.event == SetPointStep {
		set = 1
	}
	var y, u ends
	for k := range r.steps {
		w, load := r.arriving(k), r.load(k)
		if r.kink(k) {
			y.v1, y.d1, y.s1 = r.read(&r.y, w.v0+load, w.d0, set)
			u.v1, u.d1, u.s1 = r.read(&r.u, w.v0+load, w.d0, set)
		}
		y.v0, y.d0, y.s0 = y.v1, y.d1, y.s1
		u.v0, u.d0, u.s0 = u.v1, u.d1, u.s1
		if k == 0 {
			out.Output, out.Control = append(out.Output, y.v0), append(out.Control, u.v0)
		}
		r.advance(&w, load, set)
		y.v1, y.d1, y.s1 = r.read(&r.y, w.v1+load, w.d1, set)
		u.v1, u.d1, u.s1 = r.read(&r.u, w.v1+load, w.d1, set)
		r.store(y, u)
		if r.over(k, y.v1) {
			return
		}
	}
}

// kink tells whether the derivatives may differ on either side of point k.
func (r *run) kink(k int) bool { return k == 0 || r.perDelay > 0 && k%r.perDelay == 0 }

// store keeps a step.
func (r *run) store(y, u ends) {
	out := &r.s.out
	out.y, out.u = append(out.y, y), append(out.u, u)
	out.Output, out.Control = append(out.Output, y.v1), append(out.Control, u.v1)
}

// over tells whether the response has come to rest or left all bounds, and says so in its status.
func (r *run) over(k int, y float64) bool {
	out := &r.s.out
	perDelay := max(r.perDelay, defaultStepsPerDelay)
	r.size = max(r.size, math.Abs(y))
	if k == 10*perDelay {
		r.early = r.size
	}
	if math.IsNaN(y) || k > 10*perDelay && r.size > divergence*max(r.early, math.Abs(out.Final)) {
		out.Status = Diverged
		return true
	}
	if k < 2*perDelay || !(math.Abs(y-out.Final) < r.tolerance*max(r.size, math.Abs(out.Final))) {
		r.calm = 0
		return false
	}
	r.calm++
	if r.calm <= calmDelays*perDelay {
		return false
	}
	out.Status = Settled
	return r.s.Tolerance >= 0
}

// calmDelays is how many dead times the output must stay at rest: longer than a crossing of an oscillation takes.
const calmDelays = 3

// arriving is the ratio that reaches the process in step k. Before a dead time has passed it is nought.
func (r *run) arriving(k int) ends {
	if r.perDelay == 0 || k < r.perDelay {
		return ends{}
	}
	return r.s.out.u[k-r.perDelay]
}

// load is the load that reaches the process in step k.
func (r *run) load(k int) float64 {
	if r.event == LoadStep && k >= r.perDelay {
		return 1
	}
	return 0
}

// read is a signal and its derivatives.
func (r *run) read(s *rows, w, slope, set float64) (v, d, dd float64) {
	z := &r.z
	for i := range r.l.n {
		v += s.v0[i] * z[i]
		d += s.v1[i] * z[i]
		dd += s.v2[i] * z[i]
	}
	return v + s.feed, d + s.b1*w + s.r1*set, dd + s.b2*w + s.b1*slope + s.r2*set
}

// advance lets one step pass.
func (r *run) advance(w *ends, load, set float64) {
	var next vector
	n := r.l.n
	for i := range n {
		row := &r.phi[i]
		sum := r.onLoad[i]*load + r.onSet[i]*set
		for j := range n {
			sum += row[j] * r.z[j]
		}
		next[i] = sum
	}
	if r.perDelay > 0 {
		in := &r.in
		for i := range n {
			next[i] += in[0][i]*w.v0 + in[1][i]*w.d0 + in[2][i]*w.s0 + in[3][i]*w.v1 + in[4][i]*w.d1 + in[5][i]*w.s1
		}
	}
	r.z = next
}
