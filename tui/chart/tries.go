package chart

import (
	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// Try is one try at an edge.
type Try struct {
	Pulse  float64 // us
	Turned bool
}

// Edge is the tries at one edge, and where it lies as far as is known.
type Edge struct {
	Tries []Try
	Known bool
	Pulse float64
	// StdErr is one standard error of Pulse, in us.
	StdErr float64
	Text   string // pulse and error in words
}

// Edges is a dead-band search: its two sides, each approached both ways.
type Edges struct {
	Below, Above Side
}

// Side is one side of the dead band.
type Side struct {
	Outward, Inward Edge
}

const (
	leastPanel = 16
	labels     = 9 // cells for the names beside the panels
)

// DrawEdges draws a search as two panels, below and above, on one scale each.
// With less room, turned and still share a row, then the edges go, then the names
// of the sides. A canvas too small for a chart stays empty.
func DrawEdges(c *canvas.Canvas, d Edges) {
	room := (c.W - labels - 2) / 2
	if room < leastPanel || c.H < 4 {
		return
	}
	rows := planRows(c.H)
	names := labels
	if rows.apart {
		names += 7
		room = (c.W - names - 2) / 2
	}
	rows.names(c)
	rows.panel(c.Part(canvas.Rect{X: names, Y: 0, W: room, H: c.H}), "below", d.Below)
	rows.panel(c.Part(canvas.Rect{X: names + room + 2, Y: 0, W: room, H: c.H}), "above", d.Above)
}

// edgeRows is which rows a chart of its height has.
type edgeRows struct {
	title bool
	apart bool // turned and still have rows of their own
	edges bool // a row for where each edge lies
	gap   bool // a blank row between the approaches
}

func planRows(h int) edgeRows {
	r := edgeRows{edges: h >= 6, title: h == 5 || h >= 7, apart: h >= 9, gap: h >= 10}
	return r
}

// of is how many rows one approach takes.
func (r edgeRows) of() int {
	n := 1
	if r.apart {
		n++
	}
	if r.edges {
		n++
	}
	return n
}

// top is the first row of an approach, 0 or 1; approach 2 is the axis.
func (r edgeRows) top(approach int) int {
	n := approach * r.of()
	if r.title {
		n++
	}
	if r.gap && approach > 0 {
		n++
	}
	return n
}

func (r edgeRows) names(c *canvas.Canvas) {
	for i, name := range []string{"outward", "inward"} {
		y := r.top(i)
		c.Text(0, y, name, theme.Plain)
		if r.apart {
			c.Text(8, y, "turned", theme.Faint)
			c.Text(8, y+1, "still", theme.Faint)
		}
	}
}

// panel draws one side.
func (r edgeRows) panel(c *canvas.Canvas, name string, s Side) {
	if r.title {
		c.Text(max(0, (c.W-c.Width(name))/2), 0, name, theme.Faint)
	}
	x := scaleOf(c, s)
	if x.n == 0 {
		c.Text(0, r.top(0), "no try yet", theme.Faint)
		return
	}
	for i, e := range []Edge{s.Outward, s.Inward} {
		y := r.top(i)
		for _, t := range e.Tries {
			r.try(c, x.cell(t.Pulse), y, t.Turned)
		}
		if r.edges && e.Known {
			e.draw(c, x, y+r.of()-1)
		}
	}
	x.below(c, 0, r.top(2), "us")
}

// scaleOf holds all tries of a side and some room beside them.
func scaleOf(c *canvas.Canvas, s Side) scale {
	var pulses []float64
	for _, e := range []Edge{s.Outward, s.Inward} {
		for _, t := range e.Tries {
			pulses = append(pulses, t.Pulse-1, t.Pulse+1)
		}
	}
	if len(pulses) == 0 {
		return scale{}
	}
	lo, hi := Around(pulses, 12)
	return scale{lo, hi, c.W}
}

// try marks one try.
func (r edgeRows) try(c *canvas.Canvas, x, y int, turned bool) {
	sign, role := 'x', theme.Plain
	if turned {
		sign, role = 'o', theme.Measured
	}
	if r.apart {
		if !turned {
			y++
		}
	} else if old := c.Glyph(x, y); (old == 'o' || old == 'x' || old == '*') && old != sign {
		sign = '*'
	}
	c.Put(x, y, sign, role)
}

// draw shows where an edge lies: its band of one standard error, and the number
// beside it.
func (e Edge) draw(c *canvas.Canvas, x scale, y int) {
	left, middle, right := x.cell(e.Pulse-e.StdErr), x.cell(e.Pulse), x.cell(e.Pulse+e.StdErr)
	g := c.Glyphs
	c.Line(left, y, right-left+1, g.Rule, theme.Chosen)
	if left < middle {
		c.Put(left, y, g.BandLeft, theme.Chosen)
	}
	if right > middle {
		c.Put(right, y, g.BandRight, theme.Chosen)
	}
	c.Put(middle, y, g.BandMiddle, theme.Chosen)
	if w := c.Width(e.Text); right+2+w <= c.W {
		c.Text(right+2, y, e.Text, theme.Chosen)
	} else {
		c.Text(max(0, left-1-w), y, e.Text, theme.Chosen)
	}
}
