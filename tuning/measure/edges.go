package measure

import (
	"math"
	"sort"

	"trunnion/tuning/bench"
)

// edge is an instant in seconds at which a shaft stood at an exact angle.
type edge struct {
	t     float64 // seconds of the controller's clock
	turns float64
}

// edges lists the distinct last edges that a trace shows of a sensor. A sensor
// whose edge times are not known gives the sampled counts instead, which are
// right to half a count.
func edges(trace bench.Trace, s Sensor) []edge {
	list := make([]edge, 0, len(trace))
	for i := range trace {
		c := trace[i].Counters[s.Counter]
		at := c.LastEdge
		if at == 0 {
			if i > 0 && trace[i-1].Counters[s.Counter].Count == c.Count {
				continue
			}
			at = trace[i].At
		}
		if at < trace[0].At && i > 0 {
			continue // still the edge from before the window
		}
		e := edge{at.Seconds(), float64(c.Count) / s.PerTurn}
		if n := len(list); n > 0 && e.t <= list[n-1].t {
			continue
		}
		list = append(list, e)
	}
	return list
}

// point pairs the angles of shaft and output at one instant.
type point struct{ shaft, output float64 } // turns

// pair gives the shaft's angle at each of the output's edges, by straight lines
// between the shaft's edges. Output edges outside the shaft's are left out.
func pair(output, shaft []edge) []point {
	points := make([]point, 0, len(output))
	for _, o := range output {
		k := sort.Search(len(shaft), func(i int) bool { return shaft[i].t >= o.t })
		switch {
		case k == len(shaft):
			continue
		case shaft[k].t == o.t:
			points = append(points, point{shaft[k].turns, o.turns})
		case k > 0:
			a, b := shaft[k-1], shaft[k]
			w := (o.t - a.t) / (b.t - a.t)
			points = append(points, point{a.turns + w*(b.turns-a.turns), o.turns})
		}
	}
	return points
}

// travel is the span of the shaft's angle over the points, in turns.
func travel(points []point) float64 {
	return math.Abs(points[len(points)-1].shaft - points[0].shaft)
}

// Angles gives a sensor's angle in turns at every sample of a trace, by
// straight lines between its edges, so that it is finer than a count. Before
// the first and after the last edge, and where edge times are not known, it is
// the count itself.
func Angles(trace bench.Trace, s Sensor) []float64 {
	list := edges(trace, s)
	angles := make([]float64, len(trace))
	k := 0
	for i := range trace {
		t := trace[i].At.Seconds()
		for k+1 < len(list) && list[k+1].t <= t {
			k++
		}
		angles[i] = float64(trace[i].Counters[s.Counter].Count) / s.PerTurn
		if k+1 < len(list) && list[k].t <= t && trace[i].Counters[s.Counter].LastEdge != 0 {
			a, b := list[k], list[k+1]
			angles[i] = a.turns + (t-a.t)/(b.t-a.t)*(b.turns-a.turns)
		}
	}
	return angles
}
