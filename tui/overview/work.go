package overview

import (
	"strings"

	tea "github.com/charmbracelet/bubbletea"

	"trunnion/tui/chart"
	"trunnion/tui/feed"
	"trunnion/tuning/calibration"
	"trunnion/tuning/deadband"
	"trunnion/tuning/measure"
	"trunnion/tuning/units"
)

// job names what a computation was made for; its outcome is dropped when the
// screen has moved on.
type job struct {
	place    feed.Place
	revision uint64 // of what it was made from
}

// edgesFound is the edges of a search as far as it has come.
type edgesFound struct {
	job
	edges []deadband.Edge
}

// findEdges computes the edges from the tries so far; that takes some
// milliseconds, too long for the event loop.
func findEdges(j job, tries []deadband.Try) tea.Cmd {
	return func() tea.Msg {
		var found []deadband.Edge
		for _, side := range []deadband.Side{deadband.Above, deadband.Below} {
			for _, approach := range []measure.Approach{measure.Outward, measure.Inward} {
				if e, ok := edgeSoFar(tries, side, approach); ok {
					found = append(found, e)
				}
			}
		}
		return edgesFound{j, found}
	}
}

// edgeSoFar is one edge of a search under way. Analyse begins with the outward
// edge above and ends at the first one that is not bracketed; so the tries of
// one edge are handed to it alone, as if they were that one's, those below
// mirrored.
func edgeSoFar(tries []deadband.Try, side deadband.Side, approach measure.Approach) (deadband.Edge, bool) {
	mirror := units.Pulse(1)
	if side == deadband.Below {
		mirror = -1
	}
	var own []deadband.Try
	for _, t := range tries {
		if t.Side == side && t.Approach == approach {
			t.Side, t.Approach, t.Pulse = deadband.Above, measure.Outward, mirror*t.Pulse
			own = append(own, t)
		}
	}
	r, _ := deadband.Analyse(own) // an error says that the next edge is missing, or this one
	if len(r.Edges) == 0 {
		return deadband.Edge{}, false
	}
	e := r.Edges[0]
	e.Side, e.Approach = side, approach
	e.Pulse.Value *= float64(mirror)
	return e, true
}

// lineTraced is the fitted curve, ready to be drawn.
type lineTraced struct {
	job
	x, y, low, high []float64
}

// tracePoints is enough for the widest chart.
const tracePoints = 240

// traceLine asks a fitted model for its curve and 95 % band.
func traceLine(j job, fit *calibration.Fit) tea.Cmd {
	return func() tea.Msg {
		t := lineTraced{job: j}
		if fit.Model.Check() != nil {
			return t
		}
		from, to := float64(fit.Model.PulseLeast), float64(fit.Model.PulseMost)
		for i := range tracePoints {
			p := from + (to-from)*float64(i)/(tracePoints-1)
			band := fit.Model.RatioBand(units.Pulse(p), 0.95)
			t.x, t.y = append(t.x, p), append(t.y, float64(band.Ratio))
			t.low, t.high = append(t.low, float64(band.Low)), append(t.high, float64(band.High))
		}
		return t
	}
}

// chartEdge is one edge for the chart.
func chartEdge(tries []deadband.Try, edges []deadband.Edge, side deadband.Side, approach measure.Approach) chart.Edge {
	var e chart.Edge
	for _, t := range tries {
		if t.Side == side && t.Approach == approach {
			e.Tries = append(e.Tries, chart.Try{Pulse: float64(t.Pulse), Turned: t.Turned})
		}
	}
	for _, found := range edges {
		if found.Side == side && found.Approach == approach {
			e.Known, e.Pulse, e.StdErr, e.Text = true, found.Pulse.Value, found.Pulse.StdErr, found.Pulse.String()
		}
	}
	return e
}

// edgeWords are the edges so far in one sentence, from short pulses to long.
func edgeWords(edges []deadband.Edge) string {
	of := func(approach measure.Approach) string {
		var known []string
		for _, side := range []deadband.Side{deadband.Below, deadband.Above} {
			for _, e := range edges {
				if e.Side == side && e.Approach == approach {
					known = append(known, e.Pulse.String())
				}
			}
		}
		if len(known) == 0 {
			return ""
		}
		return string(approach) + " " + strings.Join(known, ", ")
	}
	out, in := of(measure.Outward), of(measure.Inward)
	switch {
	case out == "" && in == "":
		return ""
	case out == "" || in == "":
		return out + in + " us"
	}
	return out + "; " + in + " us"
}
