package pid

import "math"

// TablePoint is a ratio and the pulse that gives it.
type TablePoint struct {
	Ratio   float64 `json:"ratio"`
	PulseUs float64 `json:"pulse_us"`
}

// Table is the inverse table of the law with the neutral pulse.
type Table struct {
	points    []TablePoint
	forward   int // index of the inner forward point
	neutralUs float64
}

// NewTable checks points and neutral and returns the table. Ratios must rise, except that the two inner points may both
// have ratio 0; the pulses must all rise or all fall; the neutral must lie strictly between the two inner pulses.
func NewTable(points []TablePoint, neutralUs float64) (*Table, error) {
	if len(points) < 2 {
		return nil, &TableError{len(points), "it needs at least one point on either side of the dead band"}
	}
	t := &Table{points: append([]TablePoint(nil), points...), neutralUs: neutralUs}
	var zeros int
	t.forward, zeros = innerForward(points)
	switch {
	case zeros != 0 && zeros != 2:
		return nil, &TableError{t.forward, "either no point or two points have ratio 0"}
	case t.forward < 1 || t.forward >= len(points):
		return nil, &TableError{t.forward, "it needs points on both sides of the dead band"}
	}
	rising := points[len(points)-1].PulseUs > points[0].PulseUs
	for i, p := range points {
		if math.IsNaN(p.Ratio+p.PulseUs) || math.IsInf(p.Ratio, 0) || math.IsInf(p.PulseUs, 0) {
			return nil, &TableError{i, "its numbers must be finite"}
		}
		if i == 0 {
			continue
		}
		last := points[i-1]
		switch {
		case p.Ratio < last.Ratio, p.Ratio == last.Ratio && !(p.Ratio == 0 && i == t.forward):
			return nil, &TableError{i, "ratios must rise from point to point; only the two inner ones may both be 0"}
		case p.PulseUs == last.PulseUs, (p.PulseUs > last.PulseUs) != rising:
			return nil, &TableError{i, "pulses must all rise or all fall"}
		}
	}
	back, fore := points[t.forward-1].PulseUs, points[t.forward].PulseUs
	if !(neutralUs > min(back, fore) && neutralUs < max(back, fore)) {
		return nil, &TableError{t.forward, "the neutral pulse must lie between the two inner pulses"}
	}
	return t, nil
}

// innerForward is the index of the inner forward point, and how many points have ratio 0.
func innerForward(points []TablePoint) (index, zeros int) {
	for _, p := range points {
		switch {
		case p.Ratio < 0:
			index++
		case p.Ratio == 0:
			zeros++
		}
	}
	return index + zeros/2, zeros
}

// Pulse is the pulse for a wanted ratio, as the law says.
func (t *Table) Pulse(ratio float64) float64 {
	switch {
	case ratio > 0:
		return t.side(ratio, t.points[t.forward:], 1)
	case ratio < 0:
		return t.side(ratio, t.points[:t.forward], -1)
	}
	return t.neutralUs
}

// side is the pulse on one side; its inner point is the first forward and the last backward.
func (t *Table) side(ratio float64, points []TablePoint, sign float64) float64 {
	inner := points[0]
	if sign < 0 {
		inner = points[len(points)-1]
	}
	if sign*ratio < sign*inner.Ratio {
		if sign*ratio < sign*inner.Ratio/2 {
			return t.neutralUs
		}
		return inner.PulseUs
	}
	return interpolate(ratio, points)
}

// interpolate is linear between points and constant beyond them.
func interpolate(ratio float64, points []TablePoint) float64 {
	if ratio <= points[0].Ratio {
		return points[0].PulseUs
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if ratio <= b.Ratio {
			return a.PulseUs + (b.PulseUs-a.PulseUs)*(ratio-a.Ratio)/(b.Ratio-a.Ratio)
		}
	}
	return points[len(points)-1].PulseUs
}

// Ratio is the ratio that the table says of a pulse: 0 between the two inner pulses, linear between points, and the outer
// points' beyond them. It is Pulse turned round, but for the inner ratios, which the law rounds.
func (t *Table) Ratio(pulseUs float64) float64 {
	sign := 1.0
	if t.points[len(t.points)-1].PulseUs < t.points[0].PulseUs {
		sign = -1
	}
	back, fore := t.points[:t.forward], t.points[t.forward:]
	switch x := sign * pulseUs; {
	case x >= sign*fore[0].PulseUs:
		return along(fore, sign, x)
	case x <= sign*back[len(back)-1].PulseUs:
		return along(back, sign, x)
	}
	return 0
}

// along is linear between points whose pulses rise when multiplied by sign, and constant beyond them.
func along(points []TablePoint, sign, x float64) float64 {
	if x <= sign*points[0].PulseUs {
		return points[0].Ratio
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if x <= sign*b.PulseUs {
			return a.Ratio + (b.Ratio-a.Ratio)*(x-sign*a.PulseUs)/(sign*(b.PulseUs-a.PulseUs))
		}
	}
	return points[len(points)-1].Ratio
}

// Inner returns the inner backward and the inner forward point: the slowest ratios that the axis is given.
func (t *Table) Inner() (backward, forward TablePoint) {
	return t.points[t.forward-1], t.points[t.forward]
}
