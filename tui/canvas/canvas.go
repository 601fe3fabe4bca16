// Package canvas is the paper that screens are drawn on: cells of one sign and
// one role each. A part of a canvas is a canvas again, so that what draws in it
// can neither leave its place nor know where it is.
//
// Text is written in the signs of the canvas's set (package glyph), and measured
// as it will be written. A canvas belongs to one goroutine until it is handed on
// as a finished frame; from then on nobody changes it.
package canvas

import (
	"strings"

	"github.com/mattn/go-runewidth"

	"trunnion/tui/glyph"
	"trunnion/tui/theme"
)

// Cell is one place on the screen. The second cell of a sign that is two wide
// has the rune 0.
type Cell struct {
	Rune rune
	Role theme.Role
}

// Rect is a part of a screen.
type Rect struct{ X, Y, W, H int }

// Empty reports whether nothing is in it.
func (r Rect) Empty() bool { return r.W <= 0 || r.H <= 0 }

// Canvas is a grid of cells.
type Canvas struct {
	W, H   int
	Glyphs *glyph.Set
	stride int
	cells  []Cell
}

// New is an empty canvas.
func New(w, h int, g *glyph.Set) *Canvas {
	w, h = max(w, 0), max(h, 0)
	c := &Canvas{W: w, H: h, Glyphs: g, stride: w, cells: make([]Cell, w*h)}
	for i := range c.cells {
		c.cells[i].Rune = ' '
	}
	return c
}

// Part is the part of c at r, cut to c. It shares its cells.
func (c *Canvas) Part(r Rect) *Canvas {
	x, y := max(r.X, 0), max(r.Y, 0)
	w, h := min(r.X+r.W, c.W)-x, min(r.Y+r.H, c.H)-y
	if w <= 0 || h <= 0 {
		return &Canvas{Glyphs: c.Glyphs}
	}
	return &Canvas{W: w, H: h, Glyphs: c.Glyphs, stride: c.stride, cells: c.cells[y*c.stride+x:]}
}

// Row is the cells of a row.
func (c *Canvas) Row(y int) []Cell { return c.cells[y*c.stride : y*c.stride+c.W] }

// At is the cell at a place on the canvas.
func (c *Canvas) At(x, y int) Cell { return c.cells[y*c.stride+x] }

// Put writes a sign of one cell. Outside the canvas it does nothing.
func (c *Canvas) Put(x, y int, r rune, role theme.Role) {
	if x < 0 || y < 0 || x >= c.W || y >= c.H {
		return
	}
	row := c.Row(y)
	c.unpair(row, x)
	row[x] = Cell{r, role}
}

// unpair blanks the other half of a wide sign that is about to be written over.
func (c *Canvas) unpair(row []Cell, x int) {
	if row[x].Rune == 0 && x > 0 {
		row[x-1].Rune = ' '
	}
	if x+1 < c.W && row[x+1].Rune == 0 {
		row[x+1].Rune = ' '
	}
}

// Line writes a sign over and over to the right.
func (c *Canvas) Line(x, y, n int, r rune, role theme.Role) {
	for i := max(x, 0); i < min(x+n, c.W); i++ {
		c.Put(i, y, r, role)
	}
}

// Clear blanks the canvas.
func (c *Canvas) Clear() {
	for y := range c.H {
		c.Line(0, y, c.W, ' ', theme.Plain)
	}
}

// Text writes a text and returns the place after it. What does not fit is cut
// off. Signs without a width of their own are left out.
func (c *Canvas) Text(x, y int, text string, role theme.Role) int {
	for _, r := range c.Glyphs.Plain(text) {
		w := runeWidth(r)
		if w == 0 {
			continue
		}
		if x+w > c.W {
			return x
		}
		c.Put(x, y, r, role)
		if w == 2 && y >= 0 && y < c.H && x >= 0 {
			c.Put(x+1, y, ' ', role)
			c.Row(y)[x+1].Rune = 0
		}
		x += w
	}
	return x
}

// TextRight writes a text that ends before x and returns where it begins.
func (c *Canvas) TextRight(x, y int, text string, role theme.Role) int {
	start := x - c.Width(text)
	c.Text(start, y, text, role)
	return start
}

// TextCut writes a text in at most w cells, with an ellipsis where it was cut.
func (c *Canvas) TextCut(x, y, w int, text string, role theme.Role) int {
	return c.Text(x, y, c.Cut(text, w), role)
}

// Width is how many cells a text takes.
func (c *Canvas) Width(text string) int { return width(c.Glyphs.Plain(text)) }

// Cut shortens a text to w cells.
func (c *Canvas) Cut(text string, w int) string {
	text = c.Glyphs.Plain(text)
	if width(text) <= w {
		return text
	}
	if w <= 0 {
		return ""
	}
	more := c.Glyphs.Plain("…")
	if w < width(more) {
		return strings.Repeat(".", w)
	}
	var b strings.Builder
	used := width(more)
	for _, r := range text {
		if used += runeWidth(r); used > w {
			break
		}
		b.WriteRune(r)
	}
	return strings.TrimRight(b.String(), " ") + more
}

// Wrap breaks a text into lines of at most w cells, between words where it can.
func (c *Canvas) Wrap(text string, w int) []string {
	if w < 1 {
		return nil
	}
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(c.Glyphs.Plain(text)) {
		for width(word) > w { // a word longer than a line
			head, tail := split(word, w)
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines, word = append(lines, head), tail
		}
		switch {
		case line == "":
			line = word
		case width(line)+1+width(word) <= w:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// split cuts a word after as much as fits into w cells, one sign at least.
func split(word string, w int) (head, tail string) {
	used := 0
	for i, r := range word {
		if used += runeWidth(r); used > w && i > 0 {
			return word[:i], word[i:]
		}
	}
	return word, ""
}

// Rows is the canvas as text, a line a row, each exactly as wide as the canvas.
func (c *Canvas) Rows() []string {
	rows := make([]string, c.H)
	var b strings.Builder
	for y := range rows {
		b.Reset()
		for _, cell := range c.Row(y) {
			if cell.Rune != 0 {
				b.WriteRune(cell.Rune)
			}
		}
		rows[y] = b.String()
	}
	return rows
}

// narrow measures ambiguous signs as one cell, as terminals do unless told
// otherwise, whatever the locale.
var narrow = &runewidth.Condition{StrictEmojiNeutral: true}

func runeWidth(r rune) int {
	if r >= 0x20 && r < 0x7F {
		return 1
	}
	return narrow.RuneWidth(r)
}

func width(text string) int {
	n := 0
	for _, r := range text {
		n += runeWidth(r)
	}
	return n
}

// Glyph is the sign at a place; 0 outside the canvas.
func (c *Canvas) Glyph(x, y int) rune {
	if x < 0 || y < 0 || x >= c.W || y >= c.H {
		return 0
	}
	return c.At(x, y).Rune
}
