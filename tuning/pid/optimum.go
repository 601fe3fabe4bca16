package pid

import (
	"cmp"
	"errors"
	"math"
	"slices"
)

// OptimumName is how the designs of this package's own search are called among the rules.
const OptimumName = "least load error"

// Optimum is the design with the least integral of the absolute error after a load step, among those of its kind that
// keep Ms and Mt to their bounds (mt 0 sets none), with the set-point weight that makes the error after a set-point step
// least. It holds all predictions. The process must not be unstable by itself.
func Optimum(kind Kind, p Process, ms, mt float64) (Design, error) {
	return OptimumWithin(kind, p, Bounds{Ms: ms, Mt: mt})
}

// OptimumWithin is Optimum with all that may be bounded.
func OptimumWithin(kind Kind, p Process, b Bounds) (Design, error) {
	d, _, err := optimum(kind, p, b, nil)
	return d, err
}

// tightenings are by how much the bounds are drawn in for the search. On a ridge, where peaks at two frequencies meet the
// bound at once, less gain mends one and spoils the other; the bound is then met by searching anew inside it.
var tightenings = []float64{2e-6, 1e-4, 2e-3}

// optimum searches from a start, nil for none, and returns the design with the candidate it came from.
func optimum(kind Kind, p Process, b Bounds, start *candidate) (Design, *candidate, error) {
	var outside error
	for _, share := range tightenings {
		s, err := newSearch(kind, p, b, share)
		if err != nil {
			return Design{}, nil, err
		}
		best, err := s.best(start)
		if err != nil {
			return Design{}, nil, err
		}
		d, err := s.finish(best)
		if err == nil {
			return d, &best, nil
		}
		outside, start = err, &best
	}
	return Design{}, nil, outside
}

// TradePoint is the optimum at one Ms.
type TradePoint struct {
	Ms     float64 `json:"ms"` // asked for
	Design Design  `json:"design"`
}

// LoadIAE is the load error of the point, the other axis of the trade.
func (t TradePoint) LoadIAE() float64 { return t.Design.Predicted.Load.IAE }

// TradeOff is the curve of the least load error against Ms, from calm to lively, at so many values evenly spaced. The
// bounds' own Ms is not used. Points that cannot be had are left out; it fails where none can.
func TradeOff(kind Kind, p Process, b Bounds, from, to float64, points int) ([]TradePoint, error) {
	if points < 2 || !(to > from) {
		return nil, &ParameterError{"points of the trade", float64(points), "it needs two or more, and a range of Ms that rises"}
	}
	var out []TradePoint
	var start *candidate
	var failed error
	for i := range points {
		b.Ms = from + (to-from)*float64(i)/float64(points-1)
		d, best, err := optimum(kind, p, b, start)
		if err != nil {
			var none *DesignError
			if !errors.As(err, &none) {
				return nil, err
			}
			failed = err
			continue
		}
		start = best
		out = append(out, TradePoint{Ms: b.Ms, Design: d})
	}
	if len(out) == 0 {
		return nil, failed
	}
	return out, nil
}

// search looks for the shape with the least load error at the greatest gain that the bounds admit.
type search struct {
	kind    Kind
	process Process
	bounds  Bounds
	period  float64 // s, at which the process itself would hunt
	edge    *boundary
	sim     Simulator
}

// candidate is a shape with its gain and load error.
type candidate struct {
	shape shape
	gain  float64
	error float64 // integral of the absolute error; before a simulation, that of the error, which is never more
}

// newSearch lays the grids, with the bounds drawn in by a share.
func newSearch(kind Kind, p Process, b Bounds, share float64) (*search, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	if err := b.validate(); err != nil {
		return nil, err
	}
	if kind != PI && kind != PID {
		return nil, &ParameterError{"kind", float64(kind), "it must be PI or PID"}
	}
	if b.FilterShare == 0 {
		b.FilterShare = usualFilterShare
	}
	u, err := Ultimate(p)
	if err != nil {
		return nil, &DesignError{OptimumName, kind, "no gain is too high for this model, so none is best; give it its dead time"}
	}
	inside := b
	inside.Ms = 1 + (b.Ms-1)*(1-share)
	if b.Mt > 0 {
		inside.Mt = 1 + (b.Mt-1)*(1-share)
	}
	return &search{
		kind: kind, process: p, bounds: b, period: u.PeriodS,
		edge: newBoundary(p.Transfer(), inside, 2*math.Pi/u.PeriodS),
		sim:  Simulator{StepsPerDelay: 8, Tolerance: 1e-4},
	}, nil
}

// Integral and derivative time are searched for in shares of the process's own period of hunting.
const (
	searchLeast, searchMost         = 0.04, 60.0
	derivativeLeast, derivativeMost = 0.01, 0.6
	integralGrid, derivativeGrid    = 22, 10
	starts                          = 2
)

// shape from logarithms of integral and derivative time.
func (s *search) shape(x []float64) shape {
	c := shape{ti: math.Exp(x[0])}
	if s.kind == PID {
		c.td = math.Exp(x[1])
		c.tf = max(c.td/s.bounds.FilterShare, s.bounds.LeastFilterS)
	}
	return c
}

// best is the search. Its steps: the shapes on a grid by the integral of the error, which is Ti/gain exactly and never
// more than that of its absolute value; descend from the few that promise most, or from a start given; descend once more
// from the best.
func (s *search) best(start *candidate) (candidate, error) {
	var from []candidate
	if start != nil {
		from = []candidate{*start}
	} else {
		from = s.openings()
	}
	best := candidate{error: math.Inf(1)}
	for _, c := range from {
		if found := s.descend(c, 0.3, 4e-3); found.error < best.error {
			best = found
		}
	}
	if math.IsInf(best.error, 1) {
		return best, &DesignError{OptimumName, s.kind, "nothing keeps to the bounds; allow a larger Ms or Mt"}
	}
	if found := s.descend(best, 0.05, 3e-4); found.error < best.error {
		best = found
	}
	if calmer := best.scaled(lessGain); s.measure(calmer) < best.error {
		if found := s.descendInside(best); found.error < best.error {
			best = found
		}
	}
	return best, nil
}

// openings are shapes of the grid in the order in which they promise, the first few by simulation.
func (s *search) openings() []candidate {
	var all []candidate
	each := func(from, to float64, n int, do func(float64)) {
		for i := range n {
			do(math.Log(s.period) + math.Log(from) + math.Log(to/from)*float64(i)/float64(n-1))
		}
	}
	each(searchLeast, searchMost, integralGrid, func(ti float64) {
		take := func(x ...float64) {
			c := candidate{shape: s.shape(x)}
			var ok bool
			if c.gain, ok = s.edge.gain(c.shape); ok {
				c.error = c.shape.ti / c.gain
				all = append(all, c)
			}
		}
		if s.kind == PI {
			take(ti)
			return
		}
		each(derivativeLeast, derivativeMost, derivativeGrid, func(td float64) { take(ti, td) })
	})
	byError := func(a, b candidate) int { return cmp.Compare(a.error, b.error) }
	slices.SortFunc(all, byError)
	const tried = 14
	all = all[:min(tried, len(all))]
	for i := range all {
		all[i].error = s.measure(all[i])
	}
	slices.SortFunc(all, byError)
	return all[:min(starts, len(all))]
}

// measure is the integral of the absolute error after a load step, by simulation.
func (s *search) measure(c candidate) float64 {
	r, err := s.sim.Run(c.shape.tuning(c.gain), s.process, LoadStep)
	if err != nil || r.Status == Diverged {
		return math.Inf(1)
	}
	absolute, _ := r.errorIntegrals(0)
	return absolute
}

// at is the candidate of a shape, of infinite error where the bounds admit none.
func (s *search) at(x []float64) candidate {
	c := candidate{shape: s.shape(x), error: math.Inf(1)}
	var ok bool
	if c.gain, ok = s.edge.gain(c.shape); ok {
		c.error = s.measure(c)
	}
	return c
}

// descend is Nelder and Mead's simplex from a candidate with a first step in logarithms. The error has ridges where
// another part of the bound takes over, so nothing that wants slopes will do.
func (s *search) descend(from candidate, step, tolerance float64) candidate {
	x := []float64{math.Log(from.shape.ti)}
	if s.kind == PID {
		x = append(x, math.Log(from.shape.td))
	}
	best := candidate{error: math.Inf(1)}
	simplexDescent(func(x []float64) float64 {
		c := s.at(x)
		if c.error < best.error {
			best = c
		}
		return c.error
	}, x, step, tolerance, 45*len(x))
	return best
}

// lessGain is the share of the gain at which it is seen whether the bound is in the way at all. Where dead time rules and
// Ms is large, it need not be.
const lessGain = 0.98

func (c candidate) scaled(k float64) candidate { c.gain *= k; return c }

// descendInside searches with the gain as one more coordinate, its logarithm below that of the greatest.
func (s *search) descendInside(from candidate) candidate {
	x := []float64{math.Log(from.shape.ti)}
	if s.kind == PID {
		x = append(x, math.Log(from.shape.td))
	}
	best := candidate{error: math.Inf(1)}
	simplexDescent(func(x []float64) float64 {
		c := candidate{shape: s.shape(x)}
		var ok bool
		if c.gain, ok = s.edge.gain(c.shape); !ok {
			return math.Inf(1)
		}
		c.gain *= math.Exp(min(0, x[len(x)-1]))
		if c.error = s.measure(c); c.error < best.error {
			best = c
		}
		return c.error
	}, append(x, math.Log(lessGain)), 0.05, 3e-4, 60*len(x))
	return best
}

// finish sees that the exact margins keep to the bounds, with a little less gain if need be, chooses the set-point weight
// and predicts all.
func (s *search) finish(c candidate) (Design, error) {
	for _, less := range []float64{0, 1e-6, 1e-5, 1e-4, 1e-3} {
		t := c.shape.tuning(c.gain * (1 - less))
		m, err := LoopMargins(t, s.process)
		if err != nil {
			return Design{}, err
		}
		if !m.Stable || m.Ms > s.bounds.Ms || s.bounds.Mt > 0 && m.Mt > s.bounds.Mt {
			continue
		}
		t.SetPointShare = s.weight(t)
		d := Design{Rule: OptimumName, Kind: s.kind.String(), Tuning: t}
		return d, d.predict(s.process)
	}
	return Design{}, &DesignError{OptimumName, s.kind, "the search ended outside the bounds; allow a larger Ms or Mt"}
}

// weight is the set-point weight with the least integral of the absolute error after a set-point step, among those that
// overshoot no more than the bounds say; if all do, 0.
func (s *search) weight(t Tuning) float64 {
	sim := Simulator{StepsPerDelay: 8, Tolerance: 1e-4}
	worth := func(share float64) float64 {
		t.SetPointShare = share
		r, err := sim.Run(t, s.process, SetPointStep)
		if err != nil {
			return math.Inf(1)
		}
		absolute, _ := r.errorIntegrals(1)
		if high, _ := r.extreme(1); s.bounds.MostOvershootPercent > 0 && 100*(high-1) > s.bounds.MostOvershootPercent {
			return 1e6 * absolute * high
		}
		return absolute
	}
	best, least := 0.0, math.Inf(1)
	for i := range 11 {
		if v := worth(float64(i) / 10); v < least {
			best, least = float64(i)/10, v
		}
	}
	return best
}
