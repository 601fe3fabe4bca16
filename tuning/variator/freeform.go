package variator

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"

	"trunnion/tuning/units"
)

// place is the weighted mean of readings at one pulse, as one side sees it: distance outward and size of the ratio.
type place struct {
	out, size float64 // us outward from zero pulse; ratio, positive outward
	weight    float64 // 1/variance by the claimed errors
	members   []int
}

func (p place) stdErr() float64 { return 1 / math.Sqrt(p.weight) }

// freeSide is one side of a free-form curve, outward.
type freeSide struct {
	side, direction float64 // -1 or +1: at lower or higher pulses; sign of the ratio at higher pulses
	places          []place // by distance
	stopped         float64 // farthest distance at which no turning was seen; -Inf if none
	edge, edgeErr   float64
}

// fitFreeForm fits a monotone curve that knows no law: readings at one pulse are averaged, places that do not rise are
// pooled (isotonic regression), and a monotone cubic (Fritsch and Butland 1984) is drawn through them.
func fitFreeForm(d *readingData, opt FitOptions) (Model, error) {
	shift, shiftErr := 0.0, 0.0
	if d.hysteresis {
		shift, shiftErr = freeShift(d)
	}
	dropped := freeOutliers(d, shift, opt.OutlierSigmas)
	sides, ok := bothSides(d, shift, dropped)
	if !ok {
		return Model{}, &FitError{FreeForm, "fewer than three places turn on one side"}
	}
	m := Model{
		Law:        FreeForm,
		PulseLeast: units.Pulse(slices.Min(d.pulse)),
		PulseMost:  units.Pulse(slices.Max(d.pulse)),
		Outliers:   []Outlier{},
		Candidates: []Candidate{},
	}
	m.LeaveOneOut, m.InterpolationError = freeLeaveOneOut(d, sides)
	scatter, _, degrees := d.pick(keptOf(d, dropped)).pureScatter()
	m.Scatter = 1
	if degrees >= leastScatterDegrees && scatter > 0 {
		m.Scatter, m.DegreesOfFreedom = math.Sqrt(scatter/float64(degrees)), degrees
	}
	for _, s := range sides {
		for i := range s.places {
			m.Readings += len(s.places[i].members)
		}
		s.pool()
		s.findEdge(m.Scatter)
	}
	m.addKnots(sides)
	m.addEdges(sides, shift, shiftErr)
	m.EffectiveParameters = float64(len(sides[0].places) + len(sides[1].places) + len(m.Parameters))
	c := newFreeCurve(&m)
	for _, i := range dropped {
		u, _ := c.ratio(d.pulse[i], d.way[i])
		m.Outliers = append(m.Outliers, d.outlier(i, u, m.Scatter))
	}
	m.describe()
	return m, nil
}

func keptOf(d *readingData, dropped []int) []int {
	var kept []int
	for i := range d.pulse {
		if !slices.Contains(dropped, i) {
			kept = append(kept, i)
		}
	}
	return kept
}

// bothSides sorts the readings into places on the lower and the higher side.
func bothSides(d *readingData, shift float64, dropped []int) ([2]*freeSide, bool) {
	direction := d.direction()
	var sides [2]*freeSide
	ok := true
	for k, side := range []float64{-1, 1} {
		s := &freeSide{side: side, direction: direction, stopped: math.Inf(-1)}
		for i, p := range d.pulse {
			if !slices.Contains(dropped, i) {
				s.add(d, i, side*p-d.way[i]*shift/2)
			}
		}
		slices.SortStableFunc(s.places, func(a, b place) int { return cmp.Compare(a.out, b.out) })
		s.merge()
		sides[k] = s
		ok = ok && len(s.places) >= leastPerSide
	}
	return sides, ok
}

// add takes a reading that turns to this side, or notes how far out it did not turn.
func (s *freeSide) add(d *readingData, i int, out float64) {
	size := s.side * s.direction * d.ratio[i]
	if size <= turningSigmas*d.sigma[i] {
		if size > -turningSigmas*d.sigma[i] {
			s.stopped = math.Max(s.stopped, out)
		}
		return
	}
	s.places = append(s.places, place{out: out, size: size, weight: 1 / (d.sigma[i] * d.sigma[i]), members: []int{i}})
}

// merge averages readings at one pulse, to a tenth of a microsecond.
func (s *freeSide) merge() {
	var merged []place
	for _, p := range s.places {
		if n := len(merged); n > 0 && p.out-merged[n-1].out < 0.05 {
			merged[n-1] = join(merged[n-1], p)
			continue
		}
		merged = append(merged, p)
	}
	s.places = merged
}

func join(a, b place) place {
	w := a.weight + b.weight
	return place{
		out: (a.out*a.weight + b.out*b.weight) / w, size: (a.size*a.weight + b.size*b.weight) / w, weight: w,
		members: append(slices.Clone(a.members), b.members...),
	}
}

// pool makes the sizes rise strictly by joining neighbours that do not (pool adjacent violators).
func (s *freeSide) pool() {
	var pooled []place
	for _, p := range s.places {
		pooled = append(pooled, p)
		for n := len(pooled); n > 1 && pooled[n-1].size <= pooled[n-2].size; n = len(pooled) {
			pooled = append(pooled[:n-2], join(pooled[n-2], pooled[n-1]))
		}
	}
	s.places = pooled
}

// findEdge extends the line through the slowest places to zero, but not back to where it was seen standing.
func (s *freeSide) findEdge(scatter float64) {
	near := s.places[:min(len(s.places), 4)]
	var w, wx, wu float64
	for _, p := range near {
		w, wx, wu = w+p.weight, wx+p.weight*p.out, wu+p.weight*p.size
	}
	mx, mu := wx/w, wu/w
	var sxx, sxu float64
	for _, p := range near {
		sxx += p.weight * (p.out - mx) * (p.out - mx)
		sxu += p.weight * (p.out - mx) * (p.size - mu)
	}
	first := s.places[0].out
	slope := sxu / sxx
	s.edge = mx - mu/slope
	back := mu / slope
	s.edgeErr = scatter / slope * math.Sqrt(1/w+back*back/sxx)
	if !(s.edge < first) || s.edge < s.stopped || len(near) < 2 || !(slope > 0) {
		inner := math.Max(s.stopped, math.Min(s.edge, first-1))
		inner = math.Min(inner, first-0.1)
		s.edge, s.edgeErr = (inner+first)/2, (first-inner)/math.Sqrt(12)
	}
}

// slopes of the monotone cubic through the edge and the places, at each.
func (s *freeSide) slopes() []float64 {
	x, u := []float64{s.edge}, []float64{0}
	for _, p := range s.places {
		x, u = append(x, p.out), append(u, p.size)
	}
	var cubic interp.FritschButland
	if err := cubic.Fit(x, u); err != nil {
		panic("variator: knots of a free-form curve out of order: " + err.Error()) // pool and merge see to the order
	}
	slopes := make([]float64, len(x))
	for i := range x {
		slopes[i] = cubic.PredictDerivative(x[i])
	}
	return slopes
}

// addKnots writes both sides as knots by pulse.
func (m *Model) addKnots(sides [2]*freeSide) {
	for _, s := range sides {
		slopes := s.slopes()
		knots := []Knot{{Pulse: units.Pulse(s.side * s.edge), Slope: s.direction * slopes[0], StdErr: slopes[0] * s.edgeErr}}
		for i, p := range s.places {
			knots = append(knots, Knot{
				Pulse: units.Pulse(s.side * p.out), Ratio: s.side * s.direction * p.size,
				Slope: s.direction * slopes[i+1], StdErr: m.Scatter * p.stdErr(),
			})
		}
		if s.side < 0 {
			slices.Reverse(knots)
		}
		m.Knots = append(m.Knots, knots...)
	}
}

// addEdges writes the parameters; the two edges and the shift are estimated from different readings.
func (m *Model) addEdges(sides [2]*freeSide, shift, shiftErr float64) {
	m.Parameters = []Parameter{
		{parLowerEdge, -sides[0].edge, sides[0].edgeErr},
		{parUpperEdge, sides[1].edge, sides[1].edgeErr},
	}
	if shiftErr > 0 {
		m.Parameters = append(m.Parameters, Parameter{parHysteresis, shift, shiftErr})
	}
	m.Covariance = make([][]float64, len(m.Parameters))
	for j, p := range m.Parameters {
		m.Covariance[j] = make([]float64, len(m.Parameters))
		m.Covariance[j][j] = p.StdErr * p.StdErr
	}
}
