package chart

import (
	"math"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// Sweep is the recent past of a value, in a ring: the value of number n is at n
// modulo the length. What was not measured is NaN.
type Sweep struct {
	Values []float32
	Newest int64 // its number; below 0 is none yet
	Lo, Hi float64
}

// sweepGap is how many columns are blank before the newest.
const sweepGap = 2

// DrawSweep draws the past as bars that stay where they are: the newest overwrites
// the oldest from left to right, and a gap moves before it. So a screen changes
// by one column at a time.
func DrawSweep(c *canvas.Canvas, s Sweep, role theme.Role) {
	if c.W < 2*sweepGap || c.H < 1 || s.Newest < 0 || !(s.Hi > s.Lo) {
		return
	}
	for back := range int64(min(c.W-sweepGap, len(s.Values))) {
		n := s.Newest - back
		if n < 0 {
			return
		}
		v := float64(s.Values[n%int64(len(s.Values))])
		if math.IsNaN(v) {
			continue
		}
		column(c, int(n%int64(c.W)), (v-s.Lo)/(s.Hi-s.Lo), role)
	}
}

// column draws a bar whose height is a share of the canvas. The least is not
// nothing, so that nought can be told from not measured.
func column(c *canvas.Canvas, x int, share float64, role theme.Role) {
	rows := math.Max(share, 0) * float64(c.H)
	for k := range c.H {
		y, part := c.H-1-k, rows-float64(k)
		if part <= 0 && k > 0 {
			return
		}
		c.Put(x, y, c.Glyphs.Level(math.Max(math.Min(part, 1), 1e-6)), role)
	}
}

// Span is the range of the values that a sweep of w columns shows, rounded
// outward, at least so wide.
func Span(values []float32, newest int64, w int, least float64) (lo, hi float64) {
	var shown []float64
	for back := range int64(min(max(w-sweepGap, 0), len(values))) {
		if n := newest - back; n >= 0 {
			shown = append(shown, float64(values[n%int64(len(values))]))
		}
	}
	return Around(shown, least)
}

// DrawProgress draws a bar of w cells filled to a share.
func DrawProgress(c *canvas.Canvas, x, y, w int, share float64) {
	full := int(math.Round(math.Max(0, math.Min(1, share)) * float64(w)))
	c.Line(x, y, full, c.Glyphs.Fill, theme.Chosen)
	c.Line(x+full, y, w-full, c.Glyphs.Rest, theme.Faint)
}
