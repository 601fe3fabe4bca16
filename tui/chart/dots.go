package chart

import (
	"math"

	"trunnion/tui/canvas"
	"trunnion/tui/theme"
)

// dots is a surface of fine dots over a canvas: two across and four down a cell
// where Braille may be drawn, one a cell where not.
type dots struct {
	c            *canvas.Canvas
	across, down int // dots in a cell
	bits         []uint8
	roles        []theme.Role
}

func newDots(c *canvas.Canvas) *dots {
	d := &dots{c: c, across: 1, down: 1, bits: make([]uint8, c.W*c.H), roles: make([]theme.Role, c.W*c.H)}
	if c.Glyphs.Braille {
		d.across, d.down = 2, 4
	}
	return d
}

// brailleBits by row and column of the dot (Unicode, Braille Patterns).
var brailleBits = [4][2]uint8{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

// set marks a dot; a cell has the role of the dot set last.
func (d *dots) set(x, y int, role theme.Role) {
	cx, cy := x/d.across, y/d.down
	if x < 0 || y < 0 || cx >= d.c.W || cy >= d.c.H {
		return
	}
	bit := uint8(1)
	if d.across == 2 {
		bit = brailleBits[y%4][x%2]
	}
	d.bits[cy*d.c.W+cx] |= bit
	d.roles[cy*d.c.W+cx] = role
}

// line draws a straight line between two points in cells, whose middles are at
// whole numbers.
func (d *dots) line(x0, y0, x1, y1 float64, role theme.Role) {
	if math.IsNaN(x0+y0+x1+y1) || math.Abs(x0+x1)+math.Abs(y0+y1) > 1e6 {
		return
	}
	fx, fy := float64(d.across), float64(d.down)
	ax, ay, bx, by := (x0+0.5)*fx-0.5, (y0+0.5)*fy-0.5, (x1+0.5)*fx-0.5, (y1+0.5)*fy-0.5
	n := math.Ceil(math.Max(math.Abs(bx-ax), math.Abs(by-ay)))
	for k := 0.0; k <= n; k++ {
		w := 0.0
		if n > 0 {
			w = k / n
		}
		d.set(int(math.Floor(ax+w*(bx-ax)+0.5)), int(math.Floor(ay+w*(by-ay)+0.5)), role)
	}
}

// draw puts the dots on the canvas.
func (d *dots) draw() {
	for i, bits := range d.bits {
		if bits == 0 {
			continue
		}
		r := d.c.Glyphs.Line
		if d.across == 2 {
			r = 0x2800 + rune(bits)
		}
		d.c.Put(i%d.c.W, i/d.c.W, r, d.roles[i])
	}
}
