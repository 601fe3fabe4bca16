package chart

import (
	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// LeastHistory is the fewest rows that DrawHistory makes something of.
const LeastHistory = 9

// DrawHistory draws the tries of a search in the order they were made, each edge
// in a panel of its own: pulses upward, tries to the right. A search that homes
// in looks like a staircase that grows flat.
func DrawHistory(c *canvas.Canvas, d Edges) {
	room := (c.W - 2) / 2
	if room < leastPanel+yLabels || c.H < LeastHistory {
		return
	}
	h := c.H / 2
	for i, s := range []Side{d.Below, d.Above} {
		side := []string{"below", "above"}[i]
		x := i * (room + 2)
		history(c.Part(canvas.Rect{X: x, Y: 0, W: room, H: h}), side+", outward", s.Outward)
		history(c.Part(canvas.Rect{X: x, Y: h, W: room, H: h}), side+", inward", s.Inward)
	}
}

// history draws one edge.
func history(c *canvas.Canvas, name string, e Edge) {
	if len(e.Tries) == 0 {
		return
	}
	plot := c.Part(canvas.Rect{X: yLabels + 1, Y: 0, W: c.W - yLabels - 1, H: c.H - 1})
	stride := max(1, min(3, plot.W/len(e.Tries)))
	tries := e.Tries[max(0, len(e.Tries)-plot.W/stride):]
	var pulses []float64
	for _, t := range tries {
		pulses = append(pulses, t.Pulse)
	}
	y := scale{n: plot.H}
	y.lo, y.hi = Around(pulses, float64(plot.H-1))
	for k := range plot.H {
		c.Put(yLabels, k, c.Glyphs.Upright, theme.Faint)
	}
	for _, t := range Ticks(y.lo, y.hi, max(2, plot.H/2)) {
		k := plot.H - 1 - y.cell(t.Value)
		c.Put(yLabels, k, c.Glyphs.TickLeft, theme.Faint)
		c.TextRight(yLabels, k, t.Label, theme.Faint)
	}
	if e.Known {
		if k := plot.H - 1 - y.cell(e.Pulse); k >= 0 && k < plot.H {
			plot.Line(0, k, min(plot.W, len(tries)*stride), c.Glyphs.Line, theme.Chosen)
		}
	}
	for i, t := range tries {
		sign, role := 'x', theme.Plain
		if t.Turned {
			sign, role = 'o', theme.Measured
		}
		plot.Put(i*stride, plot.H-1-y.cell(t.Pulse), sign, role)
	}
	c.Text(yLabels+1, c.H-1, name, theme.Faint)
}
