package chart

import (
	"math"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// Reading is a point with its error.
type Reading struct {
	X, Y, StdErr float64
	Inward       bool
	Left         bool // left out of the fit
}

// Curve is readings and, where there is one, the line through them.
type Curve struct {
	Readings []Reading
	LineX    []float64 // ascending
	LineY    []float64
	Low      []float64 // the band about the line, at LineX; may be absent
	High     []float64
	XUnit    string
	YUnit    string
	XLo, XHi float64 // wanted range of x; equal where the data decide
}

const (
	leastCurveWidth  = 24
	leastCurveHeight = 4
	yLabels          = 6 // cells for the labels beside the chart
)

// DrawCurve draws a curve with axes. A canvas too small for a chart stays empty.
func DrawCurve(c *canvas.Canvas, d Curve) {
	if c.W < leastCurveWidth || c.H < leastCurveHeight {
		return
	}
	plot := c.Part(canvas.Rect{X: yLabels + 1, Y: 0, W: c.W - yLabels - 1, H: c.H - 2})
	x, y := d.scales(plot)
	d.axes(c, plot, x, y)
	surface := newDots(plot)
	row := func(v float64) float64 { return float64(plot.H-1) - y.at(v) }
	for i := 1; i < len(d.LineX); i++ {
		x0, x1 := x.at(d.LineX[i-1]), x.at(d.LineX[i])
		if len(d.Low) == len(d.LineX) && len(d.High) == len(d.LineX) {
			surface.line(x0, row(d.Low[i-1]), x1, row(d.Low[i]), theme.Band)
			surface.line(x0, row(d.High[i-1]), x1, row(d.High[i]), theme.Band)
		}
	}
	for i := 1; i < len(d.LineX); i++ {
		surface.line(x.at(d.LineX[i-1]), row(d.LineY[i-1]), x.at(d.LineX[i]), row(d.LineY[i]), theme.Predicted)
	}
	surface.draw()
	for _, r := range d.Readings {
		r.draw(plot, x, y)
	}
}

// scales of both axes over all that is to be seen.
func (d Curve) scales(plot *canvas.Canvas) (x, y scale) {
	var xs, ys []float64
	for _, r := range d.Readings {
		xs, ys = append(xs, r.X), append(ys, r.Y)
	}
	xs, ys = append(xs, d.LineX...), append(ys, d.LineY...)
	if d.XHi > d.XLo {
		xs = append(xs, d.XLo, d.XHi)
	}
	ys = append(ys, 0)
	x.lo, x.hi = Around(xs, 20)
	y.lo, y.hi = Around(ys, 0.02)
	x.n, y.n = plot.W, plot.H
	return x, y
}

// axes draws both axes and the line of nought.
func (d Curve) axes(c, plot *canvas.Canvas, x, y scale) {
	left, bottom := yLabels, plot.H
	for k := range plot.H {
		c.Put(left, k, c.Glyphs.Upright, theme.Faint)
	}
	for _, t := range Ticks(y.lo, y.hi, max(3, plot.H/2)) {
		k := plot.H - 1 - y.cell(t.Value)
		c.Put(left, k, c.Glyphs.TickLeft, theme.Faint)
		c.TextRight(left, k, t.Label, theme.Faint)
	}
	plot.Text(1, 0, d.YUnit, theme.Faint)
	if k := plot.H - 1 - y.cell(0); y.lo < 0 && y.hi > 0 {
		for i := 0; i < plot.W; i += 2 {
			plot.Put(i, k, c.Glyphs.Line, theme.Faint)
		}
	}
	c.Put(left, bottom, c.Glyphs.Corner, theme.Faint)
	x.below(c, left+1, bottom, d.XUnit)
}

// draw marks a reading, with its error where that can be seen.
func (r Reading) draw(plot *canvas.Canvas, x, y scale) {
	k, m := x.cell(r.X), plot.H-1-y.cell(r.Y)
	if !math.IsInf(r.StdErr, 0) && !math.IsNaN(r.StdErr) {
		top, bottom := plot.H-1-y.cell(r.Y+r.StdErr), plot.H-1-y.cell(r.Y-r.StdErr)
		for i := max(top, 0); i <= min(bottom, plot.H-1); i++ {
			if i != m {
				plot.Put(k, i, plot.Glyphs.Upright, theme.Measured)
			}
		}
	}
	sign, role := 'o', theme.Measured
	if r.Inward {
		sign = 'x'
	}
	if r.Left {
		role = theme.Trouble
	}
	if old := plot.Glyph(k, m); (old == 'o' || old == 'x' || old == '*') && old != sign {
		sign = '*'
	}
	plot.Put(k, m, sign, role)
}
