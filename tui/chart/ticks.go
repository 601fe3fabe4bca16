package chart

import (
	"math"
	"strconv"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// Tick is a value worth a mark on an axis, and how it is written.
type Tick struct {
	Value float64
	Label string
}

// Ticks are at most so many round values from lo to hi: multiples of 1, 2 or 5
// times a power of ten, as few decimals as tell them apart.
func Ticks(lo, hi float64, most int) []Tick {
	if !(hi > lo) || most < 1 || math.IsInf(hi-lo, 0) {
		return nil
	}
	step, decimals := Step((hi-lo)/float64(most), 0)
	for count(lo, hi, step) > most {
		step, decimals = Step(step*1.01, 0)
	}
	var ticks []Tick
	first := math.Ceil(lo/step - 1e-9)
	for k := first; k*step <= hi+1e-9*step; k++ {
		v := k * step
		if v == 0 {
			v = 0 // not -0
		}
		ticks = append(ticks, Tick{v, strconv.FormatFloat(v, 'f', decimals, 64)})
	}
	return ticks
}

func count(lo, hi, step float64) int {
	return int(math.Floor(hi/step+1e-9)-math.Ceil(lo/step-1e-9)) + 1
}

// Step is the least round step that is not below size, and the decimals it is
// written with; least is the fewest decimals wanted.
func Step(size float64, least int) (step float64, decimals int) {
	power := math.Floor(math.Log10(size))
	for _, m := range []float64{1, 2, 5, 10} {
		step = m * math.Pow(10, power)
		if step >= size*(1-1e-12) {
			break
		}
	}
	return step, max(least, int(-math.Floor(math.Log10(step)+1e-9)), 0)
}

// scale maps values to cells along one side of a chart.
type scale struct {
	lo, hi float64
	n      int // cells
}

// at is the place of a value in cells, a fraction included; the middle of the
// first cell is 0.
func (s scale) at(v float64) float64 {
	if s.hi == s.lo {
		return 0
	}
	return (v - s.lo) / (s.hi - s.lo) * float64(s.n-1)
}

func (s scale) cell(v float64) int { return int(math.Floor(s.at(v) + 0.5)) }

// below draws an axis along the canvas: the line with its ticks in row y, their
// labels in the row below, and the unit where there is room for it. Labels begin
// at column x.
func (s scale) below(c *canvas.Canvas, x, y int, unit string) {
	c.Line(x, y, s.n, c.Glyphs.Rule, theme.Faint)
	end := x - 1
	for _, t := range Ticks(s.lo, s.hi, max(2, s.n/9)) {
		k := x + s.cell(t.Value)
		c.Put(k, y, c.Glyphs.Tick, theme.Faint)
		from := max(x, min(k-c.Width(t.Label)/2, x+s.n-c.Width(t.Label)-1-c.Width(unit)))
		if from <= end {
			continue
		}
		end = c.Text(from, y+1, t.Label, theme.Faint)
	}
	if end+1+c.Width(unit) <= x+s.n {
		c.Text(end+1, y+1, unit, theme.Faint)
	}
}

// Around is a round range that holds all values and is at least so wide.
func Around(values []float64, least float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if lo > hi {
		return 0, least
	}
	if short := least - (hi - lo); short > 0 {
		lo, hi = lo-short/2, hi+short/2
	}
	step, _ := Step((hi-lo)/24, 0)
	return math.Floor(lo/step+1e-9) * step, math.Ceil(hi/step-1e-9) * step
}
